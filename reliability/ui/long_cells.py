"""Cells with more digits than anybody reads, as a program writes them: shown with three, saved with all of them."""

from __future__ import annotations

import re

import pandas as pd

from reliability.formats import DIGITS
from reliability.schema.columns import COLUMN_TABLES

READ = 6                        # significant digits; a cell with more of them is shortened
_DECIMAL = re.compile(r"-?\d+\.\d+")


def shortened(frame: pd.DataFrame, table: str) -> pd.DataFrame:
    """The rows of a table as text, long numbers with three significant digits and no digit before the point lost."""
    numbers = {c.name for c in COLUMN_TABLES[table] if c.kind == "number"}
    return frame.assign(**{name: frame[name].map(short) for name in map(str, frame.columns) if name in numbers})


def short(cell: str) -> str:
    """One cell."""
    if len(cell) <= READ + 1 or not _DECIMAL.fullmatch(cell) or len(cell.replace(".", "").strip("-0")) <= READ:
        return cell
    value = float(cell)
    before = len(str(int(abs(value)))) if abs(value) >= 1.0 else 0
    return f"{value:.{DIGITS}g}" if not before else f"{value:.{max(DIGITS - before, 0)}f}"


def whole(edited: pd.DataFrame, original: pd.DataFrame, table: str) -> pd.DataFrame:
    """An edited table with all digits of the cells that nobody changed. original: what was shortened for it."""
    rows, columns = edited.index.intersection(original.index), edited.columns.intersection(original.columns)
    before, result = original.loc[rows, columns], edited.copy()
    same = edited.loc[rows, columns] == shortened(before, table)
    result.loc[rows, columns] = edited.loc[rows, columns].where(~same, before)
    return result
