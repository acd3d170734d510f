"""CSV that no spreadsheet takes for a program."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

# A spreadsheet runs a cell that begins with one of these, or drops it and looks at the next character; the wide signs
# are those of East Asian keyboards. Common practice, no source.
_SIGNS = "=+-@＝＋－＠"
FORMULA_STARTS = (*_SIGNS, "\t", "\r", "\n")
# Where a spreadsheet may cut a cell in two: at the separator that its country or its user has chosen, whatever ours is,
# and at an end of line where it does not look at quotation marks.
_SPLIT = re.compile(rf"""([,;|\t\r\n]["']*)(?=[{re.escape(_SIGNS)}])""")
EMPTY = '""'
ROWS_AT_ONCE = 20_000           # so that memory stays bounded; our choice


def safe_text(cell: object) -> object:
    """Text with an apostrophe wherever a spreadsheet could find a formula; anything else unchanged."""
    if not isinstance(cell, str):
        return cell
    inner = _SPLIT.sub(r"\1'", cell)
    return "'" + inner if cell.startswith(FORMULA_STARTS) else inner


def csv_text(frame: pd.DataFrame) -> str:
    """A table as CSV text without its index, every text and heading safe and in quotation marks.

    What does not exist is an empty cell, an infinite number too.
    """
    if not len(frame.columns):
        return ""
    heading = ",".join(_written(safe_text(name)) for name in frame.columns) or EMPTY
    return "".join([f"{heading}\n", *_lines(frame)])


def _lines(frame: pd.DataFrame) -> Iterator[str]:
    """The rows of a table as lines of CSV."""
    columns = [_written_column(frame.iloc[:, i]) for i in range(len(frame.columns))]
    # a line of one column that is empty would be no record at all
    return (f"{','.join(cells) or EMPTY}\n" for cells in zip(*columns, strict=True))


def _written_column(column: pd.Series) -> list[str]:
    """The cells of a column as they stand in the file; a text that many rows share is looked at once."""
    if pd.api.types.is_float_dtype(column.dtype):
        return ["" if number is pd.NA or not math.isfinite(number) else str(number) for number in column.tolist()]
    cells = column.tolist()
    texts = {text: _written(safe_text(text)) for text in {cell for cell in cells if isinstance(cell, str)}}
    return [texts[cell] if isinstance(cell, str) else _written(cell) for cell in cells]


def _written(cell: object) -> str:
    """A cell as it stands in the file."""
    if isinstance(cell, str):
        return '"' + cell.replace('"', '""') + '"' if cell else ""
    return "" if cell is None or cell is pd.NA or cell != cell else str(cell)


def write_csv(frame: pd.DataFrame, path: str | os.PathLike[str]) -> None:
    """Write `csv_text` of a table to a file, UTF-8; so many rows at a time, as cells as text take much memory."""
    with Path(path).open("w", encoding="utf-8", newline="") as file:
        file.write(csv_text(frame.iloc[:0]))
        for start in range(0, len(frame), ROWS_AT_ONCE):
            file.writelines(_lines(frame.iloc[start:start + ROWS_AT_ONCE]))
