"""Words with which a report heads a row of totals."""

from __future__ import annotations

import re

# Our collection; common practice, no source.
_WORD = re.compile(r"(grand|sub|report|overall)?[\s\-]*(totals?|sums?)\b([:.\-]*|[:.]*\s.{0,40}|\s*\(.*\))",
                   re.IGNORECASE)


def may_hold_totals(text: str) -> bool:
    """Whether there may be such a word in a text of any length: quick, and true of more."""
    small = text.casefold()
    return "total" in small or "sum" in small


def is_total(text: str) -> bool:
    """Whether a cell is a word for a total: "Total", "Grand total:", "Sum (all feeders)"."""
    return _WORD.fullmatch(text) is not None
