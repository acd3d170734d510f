"""A sheet to which whole columns are written at once: the same file as cell by cell, in a fraction of the time.

The writer's own calls check and keep every cell by itself, 8 µs each; a workbook of a whole utility has millions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeAlias

import numpy as np
import pyarrow
from pyarrow import compute
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

SHEET_ROWS_AT_ONCE = 10_000

Value = str | float | None
Values = Sequence[Value] | np.ndarray
Part: TypeAlias = pyarrow.Array | str
ARROW_TEXT = pyarrow.large_string()           # of any length in all


class RowSheet(Worksheet):
    """A worksheet of a book with `constant_memory`."""

    def write_columns(self, first: int, columns: Sequence[Values], looks: Sequence[Format],
                      look_of_text: Callable[[str], Format | None]) -> None:
        """Write columns of equal length below all that was written, from row `first` (0 the top one).

        columns: numbers as arrays, of which one that is not finite leaves its cell out, or values of any kind, of which
        None does. looks: of the numbers of each column. look_of_text: format of a text.
        """
        rows = max(map(len, columns), default=0)
        if not rows:
            return
        self._write_single_row(first)                   # what waits to be written stands above
        styles = _styles(columns, looks, look_of_text)
        cells = [self._cells(c, values, styles) for c, values in enumerate(columns)]
        for start in range(0, rows, SHEET_ROWS_AT_ONCE):
            some = slice(start, min(start + SHEET_ROWS_AT_ONCE, rows))
            self.fh.write("".join(_lines(cells, first + 1, some)))
        self._check_dimensions(first + rows - 1, len(columns) - 1)
        self.previous_row = first + rows

    def _cells(self, column: int, values: Values, styles: _Styles) -> _Cells:
        style = styles.of_numbers[column]
        if isinstance(values, np.ndarray):
            left_out = ~np.isfinite(values)
            texts = compute.cast(pyarrow.array(values, mask=left_out), ARROW_TEXT)
            return _Cells(xl_col_to_name(column), texts, (f'"{style}><v>', texts, "</v></c>"))
        after = {text: f'"{self._text(text, styles)}' for text in {*values} if isinstance(text, str)}
        bodies = pyarrow.array([after[v] if isinstance(v, str) else None if v is None else f'"{style}><v>{v}</v></c>'
                                for v in values], ARROW_TEXT)
        return _Cells(xl_col_to_name(column), bodies, (bodies,))

    def _text(self, text: str, styles: _Styles) -> str:
        """What a cell of a text holds after its place."""
        space = ' xml:space="preserve"' if text[:1].isspace() or text[-1:].isspace() else ""
        safe = self._escape_data(self._escape_control_characters(text))
        return f'{styles.of_texts[text]} t="inlineStr"><is><t{space}>{safe}</t></is></c>'


class _Cells:
    """The cells of a column. there: null where one is left out. parts: what each holds after the number of its row."""

    def __init__(self, name: str, there: pyarrow.Array, parts: tuple[Part, ...]) -> None:
        self.name, self.there, self.parts = name, there, parts

    def of(self, some: slice, number: pyarrow.Array) -> list[Part]:
        """Parts of some of the cells, to be written behind each other. number: of their rows."""
        parts = [f'<c r="{self.name}', number, *(p if isinstance(p, str) else p[some] for p in self.parts)]
        if not self.there[some].null_count:
            return parts
        return [compute.fill_null(_joined(*parts), "")]


def _joined(*parts: Part) -> pyarrow.Array:
    """Texts written behind each other, row by row; null where one of them is."""
    return compute.binary_join_element_wise(*(pyarrow.scalar(part, ARROW_TEXT) if isinstance(part, str) else part
                                              for part in (*parts, "")))


def _lines(cells: Sequence[_Cells], first: int, some: slice) -> Iterator[str]:
    """Some of the rows; nothing for one without a cell. first: number of the first row of all."""
    number = compute.cast(pyarrow.array(np.arange(first + some.start, first + some.stop)), ARROW_TEXT)
    parts = [part for one in cells for part in one.of(some, number)]
    lines = _joined('<row r="', number, '">', *parts, "</row>")
    if all(one.there[some].null_count for one in cells):
        empty = np.all([one.there[some].is_null().to_numpy(zero_copy_only=False) for one in cells], axis=0)
        lines = lines.filter(pyarrow.array(~empty))
    yield from lines.to_pylist()


class _Styles:
    """Attributes of cells by column (numbers) and by text."""

    def __init__(self, columns: int) -> None:
        self.of_numbers = [""] * columns
        self.of_texts: dict[str, str] = {}


def _styles(columns: Sequence[Values], looks: Sequence[Format],
            look_of_text: Callable[[str], Format | None]) -> _Styles:
    """A format has the number at which it is first asked for: asked in the order of the cells."""
    found = _Styles(len(columns))
    asked: list[tuple[int, int, str | None]] = []
    for c, values in enumerate(columns):
        if isinstance(values, np.ndarray):
            asked += [(r, c, None) for r in np.flatnonzero(np.isfinite(values))[:1].tolist()]
            continue
        rows = range(len(values) - 1, -1, -1)           # backwards, so that the first of equal ones stays
        seen = dict(zip(reversed(values), rows, strict=True))
        asked += [(r, c, v) for v, r in seen.items() if isinstance(v, str)]
        numbers = [r for v, r in seen.items() if v is not None and not isinstance(v, str)]
        asked += [(r, c, None) for r in sorted(numbers)[:1]]
    for _, c, text in sorted(asked, key=lambda one: one[:2]):
        look = looks[c] if text is None else look_of_text(text)
        style = f' s="{look._get_xf_index()}"' if look is not None else ""
        if text is None:
            found.of_numbers[c] = style
        else:
            found.of_texts[text] = style
    return found
