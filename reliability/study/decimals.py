"""Decimal signs and thousands separators, distinguished over a whole table of text."""

from __future__ import annotations

import re
from collections.abc import Iterable

from reliability.schema.columns import ColumnRule

_GROUPED = {s: re.compile(rf"[+-]?[1-9]\d{{0,2}}(?:{re.escape(s)}\d{{3}})+") for s in ".,"}
_DECIMAL = {s: re.compile(rf"[+-]?[\d.,]*{re.escape(s)}\d*") for s in ".,"}


def doubtful_signs(numbers: Iterable[list[str]], whole: Iterable[list[str]], comma: bool) -> str:
    """Those of the signs "." and "," that may separate thousands in a table, in some order.

    numbers: the cells of each column of numbers; whole: of those that hold whole numbers only, and may hold thousands.
    comma: the cells are separated by semicolons, so that a comma may be a decimal sign as well.

    A sign is doubtful where it stands in a whole number and is plainly decimal nowhere, and where the table has
    both signs unless this one alone is plainly decimal somewhere: 2,4 beside 3.900 leaves the point in doubt.
    """
    signs = ".," if comma else "."
    separating = {s for cells in whole for s in signs if _separates_whole(cells, s)}
    if not comma and not separating:
        return ""  # the usual file, without a look at every cell
    seen = {text for cells in numbers for text in cells if "." in text or "," in text}
    decimal = {s for s in signs if any(_DECIMAL[s].fullmatch(t) and not _GROUPED[s].fullmatch(t) for t in seen)}
    doubtful = separating - decimal
    if all(any(s in text for text in seen) for s in ".,") and comma:
        doubtful |= set(signs) - decimal if len(decimal) == 1 else set(signs)
    return "".join(sorted(doubtful))


def may_hold_thousands(column: ColumnRule) -> bool:
    """Whether a column of whole numbers may hold some of four digits."""
    return column.kind == "whole" and (column.high is None or column.high >= 1000)


def in_doubt(text: str, doubtful: str) -> bool:
    """Whether a cell may be a number whose thousands are separated by one of the doubtful signs."""
    return any(_GROUPED[s].fullmatch(text) for s in doubtful)


def _separates_whole(cells: list[str], sign: str) -> bool:
    """Whether a sign may separate the thousands of one of these whole numbers; 2.0 is one with a decimal."""
    return sign in "".join(cells) and any(_GROUPED[sign].fullmatch(text) for text in set(cells))
