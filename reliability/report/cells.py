"""CSV that no spreadsheet takes for a program."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def safe_text(cell: object) -> object:
    """Text that a spreadsheet would run as a formula, behind an apostrophe; anything else unchanged."""
    if isinstance(cell, str) and cell.startswith(FORMULA_STARTS):
        return "'" + cell
    return cell


def safe_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with every text cell and heading made safe; numbers stay numbers."""
    safe = frame.copy()
    for column in frame.columns:
        if not (pd.api.types.is_numeric_dtype(frame[column]) or pd.api.types.is_bool_dtype(frame[column])):
            safe[column] = frame[column].map(safe_text)
    return safe.rename(columns=safe_text)


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write a table as UTF-8 CSV; missing values are empty cells."""
    safe_frame(frame).to_csv(path, index=False, encoding="utf-8", lineterminator="\n")
