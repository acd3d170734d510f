"""The workbook's charts: drawn by the spreadsheet from its own sheets, so that they follow a change."""

from __future__ import annotations

from collections.abc import Mapping

import xlsxwriter
from xlsxwriter.chart import Chart
from xlsxwriter.worksheet import Worksheet

from reliability.report.content import Content, leading
from reliability.report.palette import BLUE, GRID, PAPER, fill
from reliability.report.workbook_cashflow import DISCOUNTED, NET, YEAR, LiveFlow
from reliability.report.workbook_sheets import Sheet
from reliability.schema.problems import shorten

ROWS_APART, COLUMNS_APART = 20, 10
MOST_BARS = 15


def write_charts(book: xlsxwriter.Workbook, sheet: Worksheet, content: Content, written: Mapping[str, Sheet],
                 live: Mapping[str, LiveFlow]) -> None:
    """Place every chart whose sheets are there, two in a row."""
    made = [*_scenarios(book, written), *_years(book, written), *_causes(book, written),
            *_cashflow(book, content, live), *_frontier(book, written, content), *_drivers(book, written, content)]
    for i, chart in enumerate(made):
        chart.set_size({"width": 620, "height": 360})
        sheet.insert_chart(ROWS_APART * (i // 2), COLUMNS_APART * (i % 2), chart)


def _chart(book: xlsxwriter.Workbook, kind: str, title: str, x: str, y: str, **more: object) -> Chart:
    chart = book.add_chart({"type": kind, **more})
    chart.set_title({"name": title, "name_font": {"size": 12}, "overlay": False})
    chart.set_x_axis({"name": x, "label_position": "low"})
    grid = {"visible": True, "line": {"color": GRID}}
    chart.set_y_axis({"name": y, "label_position": "low", "major_gridlines": grid})
    chart.set_legend({"position": "bottom"})
    return chart


def _fill(series: int) -> dict[str, object]:
    colour, pattern = fill(series)
    if pattern:
        return {"pattern": {"pattern": "wide_upward_diagonal", "fg_color": PAPER, "bg_color": colour}}
    return {"fill": {"color": colour}}


def _scenarios(book: xlsxwriter.Workbook, written: Mapping[str, Sheet]) -> list[Chart]:
    found, expected = [], written.get("expected")
    for key, title, axis in (("saifi", "SAIFI of the scenarios", "interruptions a customer and year"),
                             ("saidi_min", "SAIDI of the scenarios", "minutes a customer and year"),
                             ("maifi_e", "MAIFI_E of the scenarios", "events a customer and year")):
        if expected is not None and key in expected.columns:
            chart = _chart(book, "column", title, "Scenario", axis)
            chart.add_series({"name": title.split()[0], "categories": expected.cells("scenario"),
                              "values": expected.cells(key), **_fill(0)})
            chart.set_legend({"none": True})
            found.append(chart)
    return found


def _years(book: xlsxwriter.Workbook, written: Mapping[str, Sheet]) -> list[Chart]:
    years, found = written.get("years"), []
    if years is None:
        return []
    views = list(dict.fromkeys(years.frame["view"]))
    single = years.frame["year"].str.isdigit()
    for key, title in (("saidi_min", "SAIDI, minutes a year"), ("saifi", "SAIFI, interruptions a year")):
        chart = _chart(book, "column", f"{title.split(',')[0]} by year", "Year", title)
        for i, view in enumerate(views):
            rows = [int(r) for r in years.frame.index[single & (years.frame["view"] == view)]]
            chart.add_series({"name": view.capitalize(), "categories": years.cells("year", rows),
                              "values": years.cells(key, rows), **_fill(i)})
        found.append(chart)
    return found


def _causes(book: xlsxwriter.Workbook, written: Mapping[str, Sheet]) -> list[Chart]:
    causes = written.get("causes")
    if causes is None or not causes.rows:
        return []
    rows = list(range(min(causes.rows, MOST_BARS)))
    chart = _chart(book, "bar", "Causes by customer-minutes", "Cause", "Customer-minutes, all years")
    chart.add_series({"name": "Customer-minutes", "categories": causes.cells("cause", rows),
                      "values": causes.cells("customer_minutes", rows), **_fill(0)})
    chart.set_x_axis({"name": "Cause", "reverse": True})
    chart.set_legend({"none": True})
    return [chart]


def _cashflow(book: xlsxwriter.Workbook, content: Content, live: Mapping[str, LiveFlow]) -> list[Chart]:
    scenario, found = leading(content), []
    if scenario is None:
        return []
    name = content.scenarios[scenario]
    for perspective, flow in live.items():
        view = "societal" if perspective == "society" else "utility"
        title = f"Cash flow of {shorten(name, 40)}, {view} perspective"
        chart = _chart(book, "column", title, "Year", shorten(content.currency, 12))
        for i, (label, column) in enumerate((("Net", NET), ("Discounted", DISCOUNTED))):
            chart.add_series({"name": label, "categories": flow.cells(name, YEAR), "values": flow.cells(name, column),
                              **_fill(i)})
        found.append(chart)
    return found


def _frontier(book: xlsxwriter.Workbook, written: Mapping[str, Sheet], content: Content) -> list[Chart]:
    frontier = written.get("frontier")
    if frontier is None or not frontier.rows:
        return []
    chart = _chart(book, "scatter", "SAIDI avoided for a budget", f"Capital, {shorten(content.currency, 12)}",
                   "SAIDI avoided, min/yr", subtype="straight_with_markers")
    chart.add_series({"name": "Best choice", "categories": frontier.cells("capex"),
                      "values": frontier.cells("saidi_minutes_avoided"), "line": {"color": BLUE},
                      "marker": {"type": "circle", "size": 4, "fill": {"color": BLUE}}})
    chart.set_legend({"none": True})
    return [chart]


def _drivers(book: xlsxwriter.Workbook, written: Mapping[str, Sheet], content: Content) -> list[Chart]:
    drivers = written.get("drivers")
    if drivers is None or not drivers.rows:
        return []
    name = drivers.frame["scenario"].iloc[0]
    rows = list(range(min(int((drivers.frame["scenario"] == name).sum()), MOST_BARS)))
    chart = _chart(book, "bar", f"What moves the NPV of {shorten(str(name), 40)}", "Assumption",
                   f"NPV, {shorten(content.currency, 12)}")
    for i, (key, label) in enumerate((("npv_low", "Assumption at its low"), ("npv_high", "at its high"))):
        chart.add_series({"name": label, "categories": drivers.cells("label", rows),
                          "values": drivers.cells(key, rows), **_fill(i)})
    chart.set_x_axis({"name": "Assumption", "reverse": True, "label_position": "low"})
    return [chart]
