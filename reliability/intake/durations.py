"""Lengths of time with a colon, 1:35: hours and minutes, or minutes and seconds where the column's unit is minutes."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

_CLOCK = re.compile(r"(?:(\d+) days?, )?(\d+):([0-5]\d)(?::([0-5]\d)(?:\.\d+)?)?")    # a workbook's has days
_PARTS = {"h": (24.0, 1.0, 1 / 60, 1 / 3600), "min": (24.0, 1 / 60, 1 / 3600, 0.0)}


def with_colons(texts: Sequence[str], unit: str) -> tuple[list[str], np.ndarray]:
    """The other texts of a column of durations, "" in the place of those with a colon, and the hours of these.

    unit: as stated, "" where it is open: then 1:35 has two readings, and only 1:35:20 has hours. Hours: (n,), NaN
    elsewhere.
    """
    hours = np.full(len(texts), np.nan)
    others = list(texts)
    for k, text in enumerate(texts):
        match = _CLOCK.fullmatch(text) if ":" in text else None
        parts = _PARTS.get("h" if match is not None and match[4] else unit)
        if match is not None and (parts is not None or not unit):
            others[k] = ""
            if parts is not None:
                hours[k] = sum(float(number or 0) * part for number, part in zip(match.groups(), parts, strict=True))
    return others, hours
