"""Sheets and cell formats of a workbook being written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from reliability.cells import FORMULA_STARTS
from reliability.formats import KINDS
from reliability.report.palette import RULE, WASH

LONGEST_TEXT = 32_767       # letters in a cell of the format
LINE_HEIGHT = 15.0                 # height of a row with one line, in points


@dataclass(frozen=True)
class WrittenSheet:
    """A sheet that has been written: its name, and where the columns of its table stand."""

    name: str
    title: str
    rows: int
    columns: dict[str, int]
    frame: pd.DataFrame

    def cells(self, column: str, rows: Sequence[int] | None = None) -> str:
        """Reference to a column's values, or to those of some rows (0 the first), as a chart wants it."""
        name, at = self.name.replace("'", "''"), self.columns[column]
        if rows is None:
            top, end = (xlsxwriter.utility.xl_rowcol_to_cell(r, at, True, True) for r in (1, max(self.rows, 1)))
            return f"='{name}'!{top}:{end}"
        parts = (f"'{name}'!{xlsxwriter.utility.xl_rowcol_to_cell(r + 1, at, True, True)}" for r in rows)
        return f"=({','.join(parts)})"


@dataclass(frozen=True)
class Formula:
    """A formula and what it gives at the values of the run."""

    text: str
    value: float | str


@dataclass
class CellBuffer:
    """Cells put in any order, as a sheet's rows have to be written one after another."""

    cells: dict[tuple[int, int], tuple[float | str | Formula, Format | None]] = field(default_factory=dict)
    links: set[tuple[int, int]] = field(default_factory=set)

    def put(self, row: int, column: int, value: float | str | Formula | None, look: Format | None = None) -> None:
        """A cell; None leaves it empty but for its look."""
        self.cells[row, column] = ("" if value is None else value, look)

    def line(self, row: int, texts: Sequence[str], look: Format | None = None) -> None:
        """Texts side by side."""
        for column, text in enumerate(texts):
            self.put(row, column, text, look)

    def link(self, row: int, column: int, sheet: str) -> None:
        """A cell that leads to a sheet."""
        self.put(row, column, sheet)
        self.links.add((row, column))

    def write(self, sheet: Worksheet, formats: Formats) -> None:
        """Write all cells."""
        for (row, column), (value, look) in sorted(self.cells.items(), key=lambda item: item[0]):
            if (row, column) in self.links:
                sheet.write_url(row, column, f"internal:'{value}'!A1", string=str(value))
            elif isinstance(value, Formula):
                sheet.write_formula(row, column, value.text, look, value.value)
            elif value == "":
                sheet.write_blank(row, column, None, look)
            elif isinstance(value, str):
                sheet.write_string(row, column, value, formats.text(value, look))
            else:
                sheet.write_number(row, column, value, look)


class Formats:
    """Cell formats of one workbook, made when first asked for."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self.book = book
        self._kept: dict[tuple[tuple[str, object], ...], Format] = {}

    def of(self, **properties: object) -> Format:
        """The format with these properties."""
        key = tuple(sorted(properties.items()))
        if key not in self._kept:
            self._kept[key] = self.book.add_format(dict(properties))
        return self._kept[key]

    def number(self, kind: str, **more: object) -> Format:
        """The format of a kind of number."""
        return self.of(num_format=KINDS[kind].excel, **more)

    @property
    def header(self) -> Format:
        """A column's header."""
        return self.of(bold=True, text_wrap=True, valign="top", bottom=1, bg_color=WASH)

    @property
    def number_header(self) -> Format:
        """The header of a column of numbers."""
        return self.of(bold=True, text_wrap=True, valign="top", bottom=1, bg_color=WASH, align="right")

    @property
    def unit_header(self) -> Format:
        """The header of a column of units, which stands off from the numbers before it."""
        return self.of(bold=True, text_wrap=True, valign="top", bottom=1, bg_color=WASH, indent=1)

    def text(self, value: str, look: Format | None = None) -> Format | None:
        """Format of a text: one that looks like a formula stays text even when somebody edits it.

        look: what it looks like otherwise, of this workbook.
        """
        if not value.startswith(FORMULA_STARTS):
            return look
        properties = next((key for key, kept in self._kept.items() if kept is look), ())
        return self.of(**dict(properties), quote_prefix=True)


def grey_where_none_counts(sheet: Worksheet, formats: Formats, rows: tuple[int, int], columns: int) -> None:
    """Let rows step back whose second column says that they do not count; rows: the first and the last, from 0."""
    first, last = rows
    sheet.conditional_format(first, 0, last, columns - 1, {
        "type": "formula", "criteria": f"=$B{first + 1}=0",
        "format": formats.of(font_color=RULE)})
