"""CSV that no spreadsheet takes for a program."""

from __future__ import annotations

import os
import re
from pathlib import Path

import numpy as np
import pandas as pd

# A spreadsheet runs a cell that begins with one of these, or drops it and looks at the next character; the wide signs
# are those of East Asian keyboards. Common practice, no source.
_SIGNS = "=+-@＝＋－＠"
FORMULA_STARTS = (*_SIGNS, "\t", "\r", "\n")
# Where a spreadsheet may cut a cell in two: at the separator that its country or its user has chosen, whatever ours is,
# and at an end of line where it does not look at quotation marks.
_SPLIT = re.compile(rf"""([,;|\t\r\n]["']*)(?=[{re.escape(_SIGNS)}])""")


def safe_text(cell: object) -> object:
    """Text with an apostrophe wherever a spreadsheet could find a formula; anything else unchanged."""
    if not isinstance(cell, str):
        return cell
    inner = _SPLIT.sub(r"\1'", cell)
    return "'" + inner if cell.startswith(FORMULA_STARTS) else inner


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
    return pd.Series([safe_text(cell) for cell in column.tolist()], index=column.index, dtype=object)


def csv_text(frame: pd.DataFrame) -> str:
    """A table as CSV text without its index, every text in quotation marks; what does not exist is an empty cell."""
    safe = safe_frame(frame)
    columns = [[_written(name), *map(_written, safe.iloc[:, i].tolist())] for i, name in enumerate(safe.columns)]
    # a line of one column that is empty would be no record at all
    lines = [",".join(cells) or '""' for cells in zip(*columns, strict=True)]
    return "".join(f"{line}\n" for line in lines)


def _written(cell: object) -> str:
    """A cell as it stands in the file."""
    if isinstance(cell, str):
        return '"' + cell.replace('"', '""') + '"' if cell else ""
    return "" if cell is None or cell is pd.NA or cell != cell else str(cell)


def write_csv(frame: pd.DataFrame, path: str | os.PathLike[str]) -> None:
    """Write `csv_text` of a table to a file, UTF-8."""
    Path(path).write_text(csv_text(frame), encoding="utf-8", newline="")
