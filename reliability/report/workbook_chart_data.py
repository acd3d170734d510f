"""What some of the workbook's charts are drawn from: years beside each other, and the sensitivity as changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.utility import xl_rowcol_to_cell

from reliability.formats import money
from reliability.report.content import Content, leading
from reliability.report.workbook_print import print_on_pages
from reliability.report.workbook_sheets import CellBuffer, Formats
from reliability.schema.assumptions import label_of
from reliability.schema.problems import shorten

DATA = "Chart data"
MOST_BARS = 15
CHART_INDICES = {"saidi_min": "SAIDI, minutes a year", "saifi": "SAIFI, interruptions a year"}


@dataclass(frozen=True)
class Placed:
    """A table among the chart data: its title, names of its columns, first and last row of its values."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[int, int]

    def cells(self, column: int) -> str:
        """Reference to the values of a column, as a chart wants it."""
        first, last = (xl_rowcol_to_cell(row, column, True, True) for row in self.rows)
        return f"='{DATA}'!{first}:{last}"


def write_chart_data(book: xlsxwriter.Workbook, formats: Formats, content: Content) -> dict[str, Placed]:
    """The sheet, and where its tables stand."""
    sheet, draft, top, placed = book.add_worksheet(DATA), CellBuffer(), 0, {}
    sheet.set_column(0, 0, 44)
    sheet.set_column(1, 3, 24)
    for key, title, frame, kind in (*_years(content), *_drivers(content)):
        names = [str(c) for c in frame.columns]
        draft.put(top, 0, title, formats.of(bold=True))
        draft.line(top + 1, names[:1], formats.header)
        for column, name in enumerate(names[1:], start=1):
            draft.put(top + 1, column, name, formats.number_header)
        for row, values in enumerate(frame.itertuples(index=False), start=top + 2):
            for column, value in enumerate(values):
                if isinstance(value, str):
                    draft.put(row, column, value, formats.text(value))
                elif np.isfinite(value):
                    draft.put(row, column, float(value), formats.number(kind if column else "whole"))
        placed[key] = Placed(title, tuple(names), (top + 2, top + 1 + len(frame)))
        top += len(frame) + 3
    draft.write(sheet, formats)
    print_on_pages(sheet, content)
    return placed


def _years(content: Content) -> Sequence[tuple[str, str, pd.DataFrame, str]]:
    """Indices by year with and without major event days; blank without, where a year has no threshold."""
    history = content.history
    if history is None or not len(history.records.years):
        return []
    known = [history.major_events.has_verdict(int(y)) for y in history.records.years]
    found = []
    for index, title in CHART_INDICES.items():
        every, without = (part.years[index].to_numpy(dtype=float)
                          for part in (history.every_event, history.without_major_events))
        frame = pd.DataFrame({"Year": np.asarray(history.records.years, dtype=float), "All events": every,
                              "Without major event days": np.where(known, without, np.nan)})
        found.append((f"years-{index}", title, frame, "minutes" if index == "saidi_min" else "index"))
    return found


def _drivers(content: Content) -> Sequence[tuple[str, str, pd.DataFrame, str]]:
    """What an assumption alone changes the NPV by, at its low and at its high, the widest first."""
    drivers, at = content.drivers, leading(content)
    if drivers is None or not len(drivers):
        return []
    names = list(dict.fromkeys(drivers["scenario"]))
    name = content.scenarios[at] if at is not None and content.scenarios[at] in names else names[0]
    rows = drivers[drivers["scenario"] == name].head(MOST_BARS)
    frame = pd.DataFrame({
        "Assumption": [label_of(str(k)) for k in rows["assumption"]],
        "Assumption at its low": rows["npv_low"].to_numpy(dtype=float) - rows["npv"].to_numpy(dtype=float),
        "Assumption at its high": rows["npv_high"].to_numpy(dtype=float) - rows["npv"].to_numpy(dtype=float)})
    now = money(float(rows["npv"].iloc[0]), shorten(content.currency, 12))
    return [("drivers", f"What moves the NPV of {shorten(str(name), 40)} from {now}", frame, "money")]
