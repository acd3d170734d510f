"""CSV that no spreadsheet takes for a program."""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np
import pandas as pd

# A spreadsheet runs a cell that begins with one of these, or drops it and looks at the next
# character; common practice, no source.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def safe_text(cell: object) -> object:
    """Text that a spreadsheet would run as a formula, behind an apostrophe; anything else unchanged."""
    if isinstance(cell, str) and cell.startswith(FORMULA_STARTS):
        return "'" + cell
    return cell


def safe_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with every text cell and heading made safe; numbers stay numbers, infinities go blank."""
    columns = [_safe_column(frame.iloc[:, i]) for i in range(frame.shape[1])]  # by place: names may repeat
    safe = pd.concat(columns, axis=1) if columns else frame.copy()
    safe.columns = [safe_text(name) for name in frame.columns]
    return safe


def _safe_column(column: pd.Series) -> pd.Series:
    if pd.api.types.is_float_dtype(column.dtype):
        return column.replace([np.inf, -np.inf], np.nan)
    if pd.api.types.is_numeric_dtype(column.dtype):
        return column
    cells = column.astype(object)
    risky = cells.astype("str").str.slice(0, 1).isin(FORMULA_STARTS).to_numpy(dtype=bool)   # few or none, seldom all
    return cells.mask(risky, cells[risky].map(safe_text)) if risky.any() else cells


def csv_text(frame: pd.DataFrame) -> str:
    """A table as CSV text without its index; what does not exist is an empty cell."""
    out = io.StringIO()
    safe_frame(frame).to_csv(out, index=False, lineterminator="\n")
    return out.getvalue()


def write_csv(frame: pd.DataFrame, path: str | os.PathLike[str]) -> None:
    """Write `csv_text` of a table to a file, UTF-8."""
    Path(path).write_text(csv_text(frame), encoding="utf-8", newline="")
