"""Data frames as rows of text, exact to the last digit, as if they had been read from a file."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from reliability.study.tables import Rows
from reliability.xlsx.process import FLAG_CELL, NUMBER_CELL, TEXT_CELL, TIME_CELL, WHOLE_CELL

_FIRST_INEXACT = 2.0**53    # from here on a float does not tell every whole number from the next


def frame_rows(name: str, frame: pd.DataFrame) -> Rows:
    """Rows of a frame, numbered as in a file whose first row holds the headers; blank rows are left out.

    A named index is a column too. Missing values (NaN, None, NaT, pd.NA) are blank.
    """
    if any(label is not None for label in frame.index.names):
        frame = frame.reset_index()
    columns = [column_text(frame.iloc[:, k]) for k in range(frame.shape[1])]
    kinds = {k: letters for k in range(frame.shape[1]) if (letters := column_kinds(frame.iloc[:, k])) is not None}
    numbers = [1, *range(2, len(frame) + 2)]
    if columns and "" in columns[0]:
        filled = [k for k, cells in enumerate(zip(*columns, strict=True)) if any(cells)]
        columns = [[cells[k] for k in filled] for cells in columns]
        kinds = {k: [letters[i] for i in filled] for k, letters in kinds.items()}
        numbers = [1, *(k + 2 for k in filled)]
    return Rows(name, [str(label) for label in frame.columns], columns, numbers, kinds=kinds)


def column_text(column: pd.Series) -> list[str]:
    """Text of each cell: a number in all its digits, a whole one without a point, a time in ISO 8601."""
    if isinstance(column.dtype, np.dtype):
        if column.dtype.kind == "f":
            return [_float_text(x) for x in column.astype(float).tolist()]
        if column.dtype.kind in "iu":
            return list(map(str, column.tolist()))
    return [cell_text(cell) for cell in column.astype(object).tolist()]


def column_kinds(column: pd.Series) -> list[str] | None:
    """Kind of each cell, a letter of `xlsx.process`; None where every cell is text or a whole number."""
    if isinstance(column.dtype, np.dtype) and column.dtype.kind == "f":
        numbers = column.to_numpy(dtype=float)
        inexact = (numbers != np.floor(numbers)) & ~np.isnan(numbers) | (np.abs(numbers) >= _FIRST_INEXACT)
        return np.where(inexact, NUMBER_CELL, WHOLE_CELL).tolist() if inexact.any() else None
    if isinstance(column.dtype, np.dtype) and column.dtype.kind == "M":
        return np.where(column.isna(), TEXT_CELL, TIME_CELL).tolist()
    if column.dtype != object:
        return None
    kinds = [_kind(cell) for cell in column.tolist()]
    return kinds if {NUMBER_CELL, TIME_CELL, FLAG_CELL} & set(kinds) else None


def _kind(cell: object) -> str:
    if isinstance(cell, bool):
        return FLAG_CELL
    if isinstance(cell, float) and cell == cell:
        return WHOLE_CELL if cell.is_integer() and abs(cell) < _FIRST_INEXACT else NUMBER_CELL
    return TIME_CELL if isinstance(cell, dt.date | dt.time) and cell == cell else TEXT_CELL


def cell_text(cell: object) -> str:
    """Text of one cell, see `column_text`."""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, np.generic):
        cell = cell.item()
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return _float_text(cell)
    if cell is None or cell is pd.NA or cell is pd.NaT:
        return ""
    if isinstance(cell, dt.date):
        return cell.isoformat()
    return str(cell).strip()


def _float_text(x: float) -> str:
    return "" if x != x else repr(x).removesuffix(".0")
