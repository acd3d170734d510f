"""A sheet to which whole columns are written at once: the same file as cell by cell, in a fraction of the time.

The writer's own calls check and keep every cell by itself, 8 µs each; a workbook of a whole utility has millions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import islice

from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

ROWS_AT_ONCE = 10_000

Value = str | float | None


class RowSheet(Worksheet):
    """A worksheet of a book with `constant_memory`."""

    def write_columns(self, first: int, columns: Sequence[Sequence[Value]], looks: Sequence[Format],
                      look_of_text: Callable[[str], Format | None]) -> None:
        """Write columns of equal length below all that was written, from row `first` (0 the top one).

        looks: of the numbers of each column. look_of_text: format of a text. None leaves a cell out.
        """
        rows = max(map(len, columns), default=0)
        if not rows:
            return
        self._write_single_row(first)                   # what waits to be written stands above
        styles = _styles(columns, looks, look_of_text)
        cells = [self._cells(c, values, first, styles) for c, values in enumerate(columns)]
        lines = zip(range(first + 1, first + rows + 1), zip(*cells, strict=True), strict=True)
        while some := list(islice(lines, ROWS_AT_ONCE)):
            self.fh.write("".join([f'<row r="{r}">{"".join(row)}</row>' for r, row in some if any(row)]))
        self._check_dimensions(first + rows - 1, len(columns) - 1)
        self.previous_row = first + rows

    def _cells(self, column: int, values: Sequence[Value], first: int, styles: _Styles) -> list[str]:
        """The cells of a column; nothing where one is left out."""
        name, style = xl_col_to_name(column), styles.of_numbers[column]
        texts = {text: self._text(text, styles) for text in {v for v in values if isinstance(v, str)}}
        return ["" if v is None else f'<c r="{name}{r}"{texts[v]}' if isinstance(v, str)
                else f'<c r="{name}{r}"{style}><v>{v:.16G}</v></c>' for r, v in enumerate(values, first + 1)]

    def _text(self, text: str, styles: _Styles) -> str:
        """What a cell of a text holds after its place."""
        space = ' xml:space="preserve"' if text[:1].isspace() or text[-1:].isspace() else ""
        safe = self._escape_data(self._escape_control_characters(text))
        return f'{styles.of_texts[text]} t="inlineStr"><is><t{space}>{safe}</t></is></c>'


class _Styles:
    """Attributes of cells by column (numbers) and by text."""

    def __init__(self, columns: int) -> None:
        self.of_numbers = [""] * columns
        self.of_texts: dict[str, str] = {}


def _styles(columns: Sequence[Sequence[Value]], looks: Sequence[Format],
            look_of_text: Callable[[str], Format | None]) -> _Styles:
    """A format has the number at which it is first asked for: asked in the order of the cells."""
    found = _Styles(len(columns))
    asked: list[tuple[int, int, str | None]] = []
    for c, values in enumerate(columns):
        number = next((r for r, v in enumerate(values) if v is not None and not isinstance(v, str)), None)
        if number is not None:
            asked.append((number, c, None))
        seen: dict[str, int] = {}
        for r, v in enumerate(values):
            if isinstance(v, str) and v not in seen:
                seen[v] = r
        asked += [(r, c, text) for text, r in seen.items()]
    for _, c, text in sorted(asked, key=lambda one: one[:2]):
        look = looks[c] if text is None else look_of_text(text)
        style = f' s="{look._get_xf_index()}"' if look is not None else ""
        if text is None:
            found.of_numbers[c] = style
        else:
            found.of_texts[text] = style
    return found
