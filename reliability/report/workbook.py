"""workbook.xlsx: a sheet a table, real numbers with formats, filters, and the cash flow as live formulas.

Text from the user's files stays text: nothing but our own cells becomes a formula or a link.
"""

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from reliability.cautions import CAUTION
from reliability.formats import TEXT, missing
from reliability.report.blocks import PLUS_MINUS, Column, KeyFigures, Section, Table, Text, tables
from reliability.report.content import Content
from reliability.report.documents import sections
from reliability.report.figures import plain
from reliability.report.workbook_cashflow import write_cashflow
from reliability.report.workbook_charts import write_charts
from reliability.report.workbook_sheets import Formats, Sheet

OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "constant_memory": True}
LONGEST_TEXT = 32_767       # letters in a cell of the format
ROWS_MOST = 100_000         # rows of a frame by scenario; a longer one is left to its CSV file; our choice
WIDEST = 46
# the file says when it was made; a fixed day keeps equal runs equal
MADE = datetime(2000, 1, 1)


def write_workbook(content: Content, target: str | Path | io.BytesIO, made: list[Section] | None = None) -> None:
    """Write the workbook to a file or a stream; made: `sections(content)`, where they have been made already."""
    made = made or sections(content)
    with xlsxwriter.Workbook(target, OPTIONS) as book:
        book.set_properties({"title": "Reliability report", "comments": CAUTION, "created": MADE})
        formats = Formats(book)
        kept = [t for t in [*tables(made), *_by_scenario(content)] if t.sheet]
        wanted, left = [t for t in kept if len(t.frame) <= ROWS_MOST], [t for t in kept if len(t.frame) > ROWS_MOST]
        flows = [f"Cash flow {p}" for p in content.cases]
        _contents(book, formats, content, wanted, left, flows)
        _summary(book, formats, made)
        live = {p: write_cashflow(book, formats, content, p, f"Cash flow {p}") for p in content.cases}
        charts = book.add_worksheet("Charts")
        written = {t.key: _table(book, formats, t) for t in wanted}
        write_charts(book, charts, content, written, live)


def _by_scenario(content: Content) -> list[Table]:
    """laterals.csv and sections.csv as they are."""
    return [Table(key, title, tuple(Column(str(c), str(c), _kind(frame[c])) for c in frame.columns), frame, sheet)
            for key, title, sheet, frame in (
                ("laterals-scenarios", "What the faults on each lateral do under each scenario (laterals.csv)",
                 "Laterals by scenario", content.laterals),
                ("sections-scenarios", "What a customer on each section sees under each scenario (sections.csv)",
                 "Sections by scenario", content.sections))]


def _kind(column: pd.Series) -> str:
    return "any" if pd.api.types.is_numeric_dtype(column.dtype) else TEXT


def _contents(book: xlsxwriter.Workbook, formats: Formats, content: Content, wanted: list[Table], left: list[Table],
              flows: list[str]) -> None:
    sheet = book.add_worksheet("Contents")
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 80)
    sheet.set_column(2, 2, 10)
    _text(sheet, 0, 0, str(content.summary.get("study") or content.study.name), formats, bold=True)
    _text(sheet, 1, 0, CAUTION, formats)
    _text(sheet, 2, 0, f"Version {content.summary.get('version')}, inputs "
                       f"{str(content.summary.get('inputs_sha256') or 'without a digest')[:16]}, seed "
                       f"{content.summary.get('seed')}, trials {content.summary.get('trials') or 'none'}", formats)
    for c, header in enumerate(("Sheet", "What it holds", "Rows")):
        sheet.write_string(4, c, header, formats.header)
    rows = [("Summary", "The summary in words", None),
            *((name, "Cash flow with live formulas", None) for name in flows),
            ("Charts", "The main charts, drawn from the sheets", None),
            *((t.sheet, t.title, len(t.frame)) for t in wanted)]
    for r, (name, title, count) in enumerate(rows, start=5):
        sheet.write_url(r, 0, f"internal:'{name}'!A1", string=name)
        _text(sheet, r, 1, title, formats)
        if count is not None:
            sheet.write_number(r, 2, count, formats.number("count"))
    for r, table in enumerate(left, start=5 + len(rows)):
        _text(sheet, r, 0, "(no sheet)", formats)
        _text(sheet, r, 1, f"{table.title}: too long for a sheet here, see the CSV file", formats)
        sheet.write_number(r, 2, len(table.frame), formats.number("count"))
    sheet.freeze_panes(5, 0)


def _summary(book: xlsxwriter.Workbook, formats: Formats, made: list[Section]) -> None:
    sheet = book.add_worksheet("Summary")
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, 1, 110)
    row = 0
    for block in next(s for s in made if s.key == "summary").blocks:
        lines = [(block.label, plain(block.sentence))] if isinstance(block, Text) else [
            (key.label, "; ".join(filter(None, (plain(key.value), plain(key.note))))) for key in block.figures
        ] if isinstance(block, KeyFigures) else []
        for label, text in lines:
            _text(sheet, row, 0, label, formats, bold=True, valign="top")
            _text(sheet, row, 1, text, formats, text_wrap=True, valign="top")
            row += 1
    _text(sheet, row, 1, CAUTION, formats, text_wrap=True, bold=True)


def _text(sheet: Worksheet, row: int, column: int, text: str, formats: Formats, **look: object) -> None:
    sheet.write_string(row, column, text[:LONGEST_TEXT], formats.of(**look) if look else formats.text(text))


def _table(book: xlsxwriter.Workbook, formats: Formats, table: Table) -> Sheet:
    """One table on a sheet of its own, header in row 1."""
    sheet = book.add_worksheet(table.sheet)
    columns = [(name, header, c.kind) for c in table.on_sheet for name, header in _headers(c)]
    for c, (name, header, kind) in enumerate(columns):
        sheet.set_column(c, c, _width(header, kind, table.frame[name]))
    for c, (_, header, _) in enumerate(columns):
        sheet.write_string(0, c, header[:LONGEST_TEXT], formats.header)
    sheet.freeze_panes(1, 1)
    if len(table.frame):
        sheet.autofilter(0, 0, len(table.frame), len(columns) - 1)
    _cells(sheet, formats, [_values(table.frame[name], kind) for name, _, kind in columns], [k for *_, k in columns])
    return Sheet(table.sheet, table.title, len(table.frame), {name: c for c, (name, *_) in enumerate(columns)},
                 table.frame)


def _cells(sheet: Worksheet, formats: Formats, values: list[list[Any]], kinds: list[str]) -> None:
    """Values below the header, row by row as the file is written."""
    looks = [None if kind == TEXT else formats.number(kind) for kind in kinds]
    for r, row in enumerate(zip(*values, strict=True), start=1):
        for c, value in enumerate(row):
            if value is None:
                continue
            if looks[c] is None:
                sheet.write_string(r, c, value, formats.text(value))
            else:
                sheet.write_number(r, c, value, looks[c])


def _values(column: pd.Series, kind: str) -> list[str | float | None]:
    """Values of a column, None where a cell stays empty: nothing there, or no finite number."""
    if kind == TEXT:
        return [None if missing(v) or v == "" else str(v)[:LONGEST_TEXT] for v in column.tolist()]
    numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return [v if f else None for v, f in zip(numbers.tolist(), np.isfinite(numbers).tolist(), strict=True)]


def _headers(column: Column) -> list[tuple[str, str]]:
    """Names in the frame and headers on the sheet: an interval takes two columns."""
    if not column.high:
        return [(column.key, column.header)]
    if column.between == PLUS_MINUS:
        return [(column.key, column.header), (column.high, f"{column.header}, standard error")]
    return [(column.key, f"{column.header}, from"), (column.high, f"{column.header}, to")]


def _width(header: str, kind: str, values: pd.Series) -> float:
    longest = max((len(w) for w in header.split()), default=8)
    if kind == TEXT:
        longest = max(longest, *(len(str(v)) for v in values.head(200)), 4) if len(values) else longest
    return float(min(max(longest + 2, 10), WIDEST))
