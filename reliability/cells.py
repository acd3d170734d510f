"""CSV that no spreadsheet takes for a program."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Collection, Iterable, Iterator
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
CELL_ROWS_AT_ONCE = 20_000           # so that memory stays bounded; our choice


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
    return b"".join(_parts(frame)).decode("utf-8")


def write_csv(frame: pd.DataFrame, path: str | os.PathLike[str]) -> None:
    """Write `csv_text` of a table to a file, UTF-8."""
    with Path(path).open("wb") as file:
        file.writelines(_parts(frame))


def _parts(frame: pd.DataFrame) -> Iterator[bytes | memoryview]:
    """The text of a table, few rows at a time, as cells as text take much memory."""
    if not len(frame.columns):
        return
    heading = ",".join(_written(safe_text(name)) for name in frame.columns) or EMPTY
    yield f"{heading}\n".encode()
    for start in range(0, len(frame), CELL_ROWS_AT_ONCE):
        yield _lines(frame.iloc[start:start + CELL_ROWS_AT_ONCE])


def _lines(frame: pd.DataFrame) -> memoryview:
    """The rows of a table, of which there are some, as lines of CSV."""
    cells = [_written_column(frame.iloc[:, i]) for i in range(len(frame.columns))]
    lines = compute.binary_join_element_wise(*cells, ",")
    if len(cells) == 1:         # a line of one column that is empty would be no record at all
        lines = compute.if_else(compute.equal(lines, ""), EMPTY, lines)
    lines = compute.binary_join_element_wise(lines, "", "\n")
    _, ends, text = lines.buffers()
    return memoryview(text)[:np.frombuffer(ends, dtype=np.int32)[len(lines)]]


def _written_column(column: pd.Series) -> pyarrow.Array:
    """The cells of a column as they stand in the file; a text that many rows share is looked at once."""
    if column.dtype == np.float64:
        return _written_numbers(column.to_numpy())
    if isinstance(column.dtype, np.dtype) and column.dtype.kind in "iu":
        return compute.cast(pyarrow.array(column.to_numpy()), pyarrow.string())
    if isinstance(column.dtype, pd.StringDtype):
        return _written_strings(pyarrow.array(column))
    if pd.api.types.is_float_dtype(column.dtype):
        return _texts("" if number is pd.NA or not math.isfinite(number) else str(number)
                      for number in column.tolist())
    cells = column.tolist()
    texts = _written_texts({cell for cell in cells if isinstance(cell, str)})
    return _texts(texts[cell] if isinstance(cell, str) else _written(cell) for cell in cells)


def _texts(cells: Iterable[str]) -> pyarrow.Array:
    return pyarrow.array(cells, pyarrow.string())


def _written_strings(cells: pyarrow.Array | pyarrow.ChunkedArray) -> pyarrow.Array:
    """Texts as they stand in the file."""
    whole = cells.combine_chunks() if isinstance(cells, pyarrow.ChunkedArray) else cells
    which = whole.dictionary_encode()
    texts: list[str] = which.dictionary.to_pylist()
    written = _written_texts(texts)
    return compute.fill_null(_texts(written[text] for text in texts).take(which.indices), "")


def _written_numbers(numbers: np.ndarray) -> pyarrow.Array:
    """Numbers as `str` writes them, nothing for what is not finite.

    The shortest digits that give a number back are the same wherever they come from; in these ranges their form is too.
    """
    size, whole = np.abs(numbers), numbers == np.floor(numbers)
    digits = (size >= 1e-4) & (size < 1e9) & ~whole
    no_digits = whole & (size < 1e15) & ~(np.signbit(numbers) & (size == 0.0))
    others = np.flatnonzero(np.isfinite(numbers) & ~(digits | no_digits))
    parts = (compute.cast(pyarrow.array(numbers[digits]), pyarrow.string()),
             compute.binary_join_element_wise(
                 compute.cast(pyarrow.array(numbers[no_digits].astype(np.int64)), pyarrow.string()), "", ".0"),
             _texts([*map(str, numbers[others].tolist()), ""]))
    found = np.concatenate([np.flatnonzero(digits), np.flatnonzero(no_digits), others])
    place = np.full(len(numbers), len(found))       # of what is not finite: the last of the parts
    place[found] = np.arange(len(found))
    return pyarrow.concat_arrays(parts).take(pyarrow.array(place))


def _written_texts(texts: Collection[str]) -> dict[str, str]:
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
