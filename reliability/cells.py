"""CSV that no spreadsheet takes for a program."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow
from pyarrow import compute

# A spreadsheet runs a cell that begins with one of these, or drops it and looks at the next character; the wide signs
# are those of East Asian keyboards. Common practice, no source.
_SIGNS = "=+-@＝＋－＠"
FORMULA_STARTS = (*_SIGNS, "\t", "\r", "\n")
# Where a spreadsheet may cut a cell in two: at the separator that its country or its user has chosen, whatever ours is,
# and at an end of line where it does not look at quotation marks.
_SPLIT = re.compile(rf"""([,;|\t\r\n]["']*)(?=[{re.escape(_SIGNS)}])""")
EMPTY = '""'
_BETWEEN = "\0"                 # between texts that are looked at together
_MATTERS = re.compile(rf"""[",;|\t\r\n]|{_BETWEEN}[{re.escape(_SIGNS)}]""")
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
    if column.dtype == np.float64:
        return _written_numbers(column.to_numpy())
    if pd.api.types.is_float_dtype(column.dtype):
        return ["" if number is pd.NA or not math.isfinite(number) else str(number) for number in column.tolist()]
    cells = column.tolist()
    texts = _written_texts({cell for cell in cells if isinstance(cell, str)})
    return [texts[cell] if isinstance(cell, str) else _written(cell) for cell in cells]


def _written_numbers(numbers: np.ndarray) -> list[str]:
    """Numbers as `str` writes them, nothing for what is not finite.

    The shortest digits that give a number back are the same wherever they come from; in this range their form is too.
    """
    size, cells = np.abs(numbers), np.empty(len(numbers), dtype=object)
    usual = (size >= 1e-4) & (size < 1e9) & (numbers != np.floor(numbers))
    cells[usual] = compute.cast(pyarrow.array(numbers[usual]), pyarrow.string()).to_pylist()
    cells[~usual] = [str(number) if math.isfinite(number) else "" for number in numbers[~usual].tolist()]
    return cells.tolist()


def _written_texts(texts: set[str]) -> dict[str, str]:
    """Texts as they stand in the file; where none of them has a sign that matters, they are not looked at one by one.
    """
    if _MATTERS.search(_BETWEEN + _BETWEEN.join(texts)):
        return {text: _written(safe_text(text)) for text in texts}
    return {text: f'"{text}"' if text else "" for text in texts}


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
