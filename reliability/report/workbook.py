"""workbook.xlsx: the proposal with live formulas, charts, and a sheet a table: real numbers with formats and filters.

Text from the user's files stays text: nothing but our own cells becomes a formula or a link.
"""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from pathlib import Path

import xlsxwriter
from xlsxwriter.exceptions import FileCreateError

from reliability.cautions import CAUTION
from reliability.report import workbook_bills as bills
from reliability.report import workbook_proposal as proposal
from reliability.report import workbook_years as by_year
from reliability.report.blocks import Section
from reliability.report.content import Content
from reliability.report.documents import sections
from reliability.report.reporting import day_of
from reliability.report.workbook_cashflow import write_cashflow
from reliability.report.workbook_chart_data import DATA, write_chart_data
from reliability.report.workbook_charts import CHARTS, write_charts
from reliability.report.workbook_contents import (
    COLOURS,
    CONTENTS_SHEET,
    METHOD_GROUP,
    MONEY_GROUP,
    PROPOSAL,
    Entry,
    entries_of,
    grouped,
    write_contents,
    write_summary,
)
from reliability.report.workbook_sheets import Formats
from reliability.report.workbook_tables import by_scenario, write_table

OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "constant_memory": True}
ROWS_MOST = 100_000         # rows of a frame by scenario; a longer one is left to its CSV file; our choice
# packing as usual takes a third of the time of a large workbook, for a seventh less; the library has no setting for it
xlsxwriter.workbook.ZipFile = partial(zipfile.ZipFile, compresslevel=1)
# the file says when it was made; a fixed day keeps equal runs equal
WORKBOOK_MADE = datetime(2000, 1, 1)


def write_workbook(content: Content, target: str | Path | io.BytesIO, made: list[Section] | None = None) -> None:
    """Write the workbook to a file or a stream; made: `sections(content)`, where they have been made already.

    Raises OSError where it cannot be written.
    """
    made = made or sections(content)
    scenario = proposal.live(content)
    flows = {f"Cash flow {view}": view for view in content.cases}
    entries = grouped([*_ours(scenario, flows), *entries_of(made, by_scenario(content), ROWS_MOST)])
    with _book(target) as book:
        book.set_properties({"title": "Reliability report", "comments": CAUTION,
                             "author": str(content.study.values["prepared_by"] or ""),
                             "created": day_of(content.study.values["date"]) or WORKBOOK_MADE})
        formats = Formats(book)
        if scenario is not None:
            proposal.write_proposal(book, formats, content, scenario)
        write_contents(book, formats, content, entries)
        tables, data = {}, {}
        for entry in entries:
            if entry.table is not None:
                tables[entry.table.key] = write_table(book, formats, content, entry.table)
            elif entry.sheet == "Summary":
                write_summary(book, formats, content, made)
            elif entry.sheet == CHARTS:
                charts = book.add_worksheet(CHARTS)
            elif entry.sheet == DATA:
                data = write_chart_data(book, formats, content)
            elif entry.sheet in flows:
                write_cashflow(book, formats, content, flows[entry.sheet], entry.sheet, linked=scenario is not None)
            elif scenario is not None and entry.sheet in LIVE:
                LIVE[entry.sheet](book, formats, content, scenario)
        write_charts(book, charts, content, tables, data)
        _colours(book, entries)


@contextmanager
def _book(target: str | Path | io.BytesIO) -> Iterator[xlsxwriter.Workbook]:
    """The workbook while it is written; until then its sheets lie in a folder beside it, gone whatever happens."""
    beside = None if isinstance(target, io.BytesIO) else Path(target).parent
    with tempfile.TemporaryDirectory(prefix=".sheets-", dir=beside) as sheets:
        try:
            with xlsxwriter.Workbook(target, {**OPTIONS, "tmpdir": sheets}) as book:
                yield book
        except FileCreateError as error:      # no OSError, but made of one
            cause = error.args[0] if error.args else None
            raise (cause if isinstance(cause, OSError) else OSError(str(error))) from error


LIVE = {by_year.YEARS_SHEET: by_year.write_years, bills.BILLS_SHEET: bills.write_bills}


def _ours(scenario: int | None, flows: Mapping[str, str]) -> list[Entry]:
    """Sheets that are no table of the report."""
    live = [] if scenario is None else [
        Entry(PROPOSAL, proposal.PROPOSAL_SHEET,
              "Result and inputs, with live formulas: change an input, and all else follows"),
        Entry(PROPOSAL, by_year.YEARS_SHEET, "Its cash flow by year in both perspectives, live"),
        Entry(PROPOSAL, bills.BILLS_SHEET, "Its revenue requirement by year, live")]
    return [*live[:1], Entry(PROPOSAL, "Summary", "The summary in words"),
            Entry(PROPOSAL, CHARTS, "The main charts, drawn from the sheets"), *live[1:],
            *(Entry(MONEY_GROUP, name, f"Cash flow of every scenario, {view} perspective, live in the rates")
              for name, view in flows.items()),
            Entry(METHOD_GROUP, DATA, "What some of the charts are drawn from")]


def _colours(book: xlsxwriter.Workbook, entries: Sequence[Entry]) -> None:
    """The colour of its group on the tab of each sheet."""
    groups = {entry.sheet: entry.group for entry in entries} | {CONTENTS_SHEET: PROPOSAL}
    for sheet in book.worksheets():
        sheet.set_tab_color(COLOURS[groups[sheet.get_name()]])
