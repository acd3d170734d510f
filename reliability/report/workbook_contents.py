"""Sheets in groups by topic, each with the colour of its tab, and the list of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import xlsxwriter

from reliability.cautions import CAUTION
from reliability.report.blocks import KeyFigures, Section, Table, Text
from reliability.report.content import Content
from reliability.report.figures import plain
from reliability.report.palette import BLUE, GREY, ORANGE, PLUM, SAND, SOFT, TEAL
from reliability.report.workbook_print import print_on_pages
from reliability.report.workbook_sheets import LINE_HEIGHT, LONGEST_TEXT, CellBuffer, Formats

CONTENTS_SHEET = "Contents"
LINE_LETTERS = 105              # letters of a line of the summary
PROPOSAL, SCENARIOS, MONEY_GROUP, RECORDS_GROUP, PROTECTION, DETAIL, METHOD_GROUP = (
    "Proposal", "Scenarios", "Business case", "Outage records", "Protection", "By lateral and section",
    "Method and inputs")
COLOURS = {PROPOSAL: BLUE, SCENARIOS: TEAL, MONEY_GROUP: ORANGE, RECORDS_GROUP: PLUM, PROTECTION: SAND, DETAIL: GREY,
           METHOD_GROUP: SOFT}
# group of the sheets of a section of the report
OF_SECTION = {
    "summary": PROPOSAL, "selection": PROPOSAL, "scenarios": SCENARIOS, "business": MONEY_GROUP, "drivers": MONEY_GROUP,
    "years": RECORDS_GROUP, "feeders": RECORDS_GROUP, "worst": RECORDS_GROUP, "events": RECORDS_GROUP,
              "causes": RECORDS_GROUP,
    "excluded": RECORDS_GROUP, "conversions": RECORDS_GROUP, "accuracy": RECORDS_GROUP, "application": PROTECTION,
    "coordination": PROTECTION, "definitions": METHOD_GROUP, "method": METHOD_GROUP, "assumptions": METHOD_GROUP,
              "limits": METHOD_GROUP,
    "reproducibility": METHOD_GROUP}


@dataclass(frozen=True)
class Entry:
    """A sheet in the list: its name, "" for a table that is left to its file; what it holds; rows, None for no table.
    """

    group: str
    sheet: str
    title: str
    rows: int | None = None
    table: Table | None = None


def entries_of(made: Sequence[Section], frames: Sequence[Table], most: int) -> list[Entry]:
    """An entry for every table that has a sheet; most: rows of a table from which on it is left to its CSV file."""
    found = [(OF_SECTION[s.key], b) for s in made for b in s.blocks if isinstance(b, Table)]
    kept = [(group, table) for group, table in [*found, *((DETAIL, frame) for frame in frames)] if table.sheet]
    return [Entry(group, t.sheet, t.whole or t.title, len(t.frame), t) if len(t.frame) <= most else
            Entry(group, "", f"{t.whole or t.title}: too long for a sheet here, see the CSV file", len(t.frame))
            for group, t in kept]


def grouped(entries: Sequence[Entry]) -> list[Entry]:
    """The entries group by group, in their order within each."""
    return [e for group in COLOURS for e in entries if e.group == group]


def write_contents(book: xlsxwriter.Workbook, formats: Formats, content: Content, entries: Sequence[Entry]) -> None:
    """The list of the sheets under the headings of their groups."""
    sheet, draft = book.add_worksheet(CONTENTS_SHEET), CellBuffer()
    sheet.set_column(0, 0, 28)
    sheet.set_column(1, 1, 96)
    sheet.set_column(2, 2, 10)
    draft.put(0, 0, str(content.summary.get("study") or content.study.name)[:LONGEST_TEXT], formats.of(bold=True))
    draft.put(1, 0, CAUTION)
    draft.put(2, 0, f"Version {content.summary.get('version')}, inputs "
                    f"{str(content.summary.get('inputs_sha256') or 'without a digest')[:16]}, seed "
                    f"{content.summary.get('seed')}, trials {content.summary.get('trials') or 'none'}")
    draft.line(4, ("Sheet", "What it holds"), formats.header)
    draft.put(4, 2, "Rows", formats.number_header)
    row = 5
    for group in dict.fromkeys(e.group for e in entries):
        draft.line(row, (group, "", ""),
                   formats.of(bold=True, font_color=COLOURS[group], bottom=1))
        for entry in (e for e in entries if e.group == group):
            row += 1
            if entry.sheet:
                draft.link(row, 0, entry.sheet)
            else:
                draft.put(row, 0, "(no sheet)")
            draft.put(row, 1, entry.title[:LONGEST_TEXT], formats.text(entry.title))
            if entry.rows is not None:
                draft.put(row, 2, entry.rows, formats.number("count"))
        row += 1
    draft.write(sheet, formats)
    sheet.freeze_panes(5, 0)
    print_on_pages(sheet, content, heads=(4, 4))


def write_summary(book: xlsxwriter.Workbook, formats: Formats, content: Content, made: Sequence[Section]) -> None:
    """The summary in words."""
    sheet, draft = book.add_worksheet("Summary"), CellBuffer()
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, 1, 110)
    row = 0
    for block in next(s for s in made if s.key == "summary").blocks:
        lines = [(block.label, plain(block.sentence))] if isinstance(block, Text) else [
            (key.label, "; ".join(filter(None, (plain(key.value), plain(key.note))))) for key in block.figures
        ] if isinstance(block, KeyFigures) else []
        for label, text in lines:
            draft.put(row, 0, label[:LONGEST_TEXT], formats.of(bold=True, valign="top"))
            draft.put(row, 1, text[:LONGEST_TEXT], formats.of(text_wrap=True, valign="top"))
            sheet.set_row(row, LINE_HEIGHT * math.ceil(len(text) / LINE_LETTERS))
            row += 1
    draft.put(row, 1, CAUTION, formats.of(text_wrap=True, bold=True, valign="top"))
    sheet.set_row(row, LINE_HEIGHT * math.ceil(len(CAUTION) / LINE_LETTERS))
    draft.write(sheet, formats)
    print_on_pages(sheet, content)
