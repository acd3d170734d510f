"""Sheets and cell formats of a workbook being written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
import xlsxwriter
from xlsxwriter.format import Format

from reliability.cells import FORMULA_STARTS
from reliability.formats import KINDS
from reliability.report.palette import WASH


@dataclass(frozen=True)
class Sheet:
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

    def text(self, value: str) -> Format | None:
        """Format of a text: one that looks like a formula stays text even when somebody edits it."""
        return self.of(quote_prefix=True) if value.startswith(FORMULA_STARTS) else None
