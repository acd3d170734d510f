"""Rows of totals that a report writes below or between its records: no record, and never counted."""

from __future__ import annotations

import numpy as np

from reliability.intake.kinds import REQUIRED
from reliability.intake.recognise import Recognised
from reliability.schema.total_words import is_total

_SHOWN = 6      # cells of a row that a message gives


def total_rows(one: Recognised) -> np.ndarray:
    """Rows (rows,) bool that have a word for a total and leave blank what a row of the table's kind needs."""
    columns = one.table.columns
    worded = np.zeros(len(one.table), bool)
    words = {h: _worded(cells) for h, cells in columns.items()}
    for found in words.values():
        worded |= found
    if not worded.any():
        return worded
    lacking = np.zeros(len(one.table), bool)
    filled = np.sum([cells != "" for cells in columns.values()], axis=0)
    for group in REQUIRED[one.kind]:
        headers = [h for m in one.matches if m.name in group for h in m.headers]
        if not headers:         # not recognised as yet: a row with half the cells of the others
            lacking |= filled <= np.median(filled) / 2
        else:
            blank = np.array([columns[h] == "" for h in headers], bool)
            word = np.array([words[h] for h in headers], bool)
            lacking |= (blank | word).all(axis=0) & blank.any(axis=0)
    return worded & lacking


def _worded(cells: np.ndarray) -> np.ndarray:
    """Where a cell is a word for a total, (rows,) bool; each distinct text is looked at once."""
    of = {text: is_total(text) for text in set(cells.tolist())}
    return np.array([of[text] for text in cells.tolist()], bool)


def described(one: Recognised, at: int) -> str:
    """A row of totals as a message names it: its number and its cells."""
    cells = [str(c[at]) for c in one.table.columns.values() if c[at] != ""]
    more = " …" if len(cells) > _SHOWN else ""
    return f"row {one.table.rows[at]} ({', '.join(cells[:_SHOWN])}{more})"
