"""Tables on sheets of their own: numbers with formats, a filter, heads that stay and are repeated in print."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import xlsxwriter

from reliability.formats import TEXT_KIND, missing
from reliability.report.blocks import PLUS_MINUS, Column, Table
from reliability.report.content import Content
from reliability.report.workbook_print import print_on_pages
from reliability.report.workbook_rows import RowSheet, Values
from reliability.report.workbook_sheets import LINE_HEIGHT, LONGEST_TEXT, Formats, WrittenSheet

WIDEST = 46
YEAR_COLUMN = "year"               # key of a column of texts whose years are numbers on a sheet


def by_scenario(content: Content) -> list[Table]:
    """laterals.csv and sections.csv as they are."""
    return [Table(key, title, tuple(Column(str(c), str(c), _kind(frame[c])) for c in frame.columns), frame, sheet)
            for key, title, sheet, frame in (
                ("laterals-scenarios", "What the faults on each lateral do under each scenario (laterals.csv)",
                 "Laterals by scenario", content.laterals),
                ("sections-scenarios", "What a customer on each section sees under each scenario (sections.csv)",
                 "Sections by scenario", content.sections))]


def _kind(column: pd.Series) -> str:
    return "any" if pd.api.types.is_numeric_dtype(column.dtype) else TEXT_KIND


def write_table(book: xlsxwriter.Workbook, formats: Formats, content: Content, table: Table) -> WrittenSheet:
    """One table on a sheet of its own, header in row 1."""
    sheet = book.add_worksheet(table.sheet, RowSheet)
    columns = [(name, header, c.kind) for c in table.on_sheet for name, header in _headers(c)]
    widths = [_width(header, kind, table.frame[name]) for name, header, kind in columns]
    for c, width in enumerate(widths):
        sheet.set_column(c, c, width)
    sheet.set_row(0, LINE_HEIGHT * max(_lines(header, width) for (_, header, _),
                                       width in zip(columns, widths, strict=True)))
    for c, (_, header, kind) in enumerate(columns):
        sheet.write_string(0, c, header[:LONGEST_TEXT], formats.header if kind == TEXT_KIND else formats.number_header)
    sheet.freeze_panes(1, 1)
    if len(table.frame):
        sheet.autofilter(0, 0, len(table.frame), len(columns) - 1)
    # numbers among texts are whole
    sheet.write_columns(1, [_values(table.frame[name], kind, name) for name, _, kind in columns],
                        [formats.number("whole" if kind == TEXT_KIND else kind) for *_, kind in columns], formats.text)
    print_on_pages(sheet, content, heads=(0, 0))
    return WrittenSheet(table.sheet, table.title, len(table.frame), {name: c for c, (name, *_) in enumerate(columns)},
                        table.frame)


def _values(column: pd.Series, kind: str, name: str) -> Values:
    """Values of a column: numbers, or texts and numbers, None where a cell stays empty."""
    if kind == TEXT_KIND:
        texts = [None if missing(v) or v == "" else str(v)[:LONGEST_TEXT] for v in column.tolist()]
        return [float(t) if t is not None and t.isdecimal() else t for t in texts] if name == YEAR_COLUMN else [*texts]
    return pd.to_numeric(column, errors="coerce").to_numpy(dtype=float, na_value=np.nan)


def _headers(column: Column) -> list[tuple[str, str]]:
    """Names in the frame and headers on the sheet: an interval takes two columns."""
    if not column.high:
        return [(column.key, column.header)]
    if column.between == PLUS_MINUS:
        return [(column.key, column.header), (column.high, f"{column.header}, standard error")]
    return [(column.key, f"{column.header}, from"), (column.high, f"{column.header}, to")]


def _width(header: str, kind: str, values: pd.Series) -> float:
    longest = max((len(w) for w in header.split()), default=8)
    if kind == TEXT_KIND:
        longest = max(longest, *(len(str(v)) for v in values.head(200)), 4) if len(values) else longest
    return float(min(max(longest + 2, 10), WIDEST))


def _lines(header: str, width: float) -> int:
    """Lines that a header takes in a column, words whole."""
    lines, room = 1, math.floor(width - 1)
    left = room
    for word in header.split():
        if len(word) > left and left < room:
            lines, left = lines + 1, room
        left -= len(word) + 1
    return lines
