"""The workbook's charts: drawn by the spreadsheet from its own sheets, so that they follow a change."""

from __future__ import annotations

from collections.abc import Mapping

import xlsxwriter
from xlsxwriter.chart import Chart
from xlsxwriter.worksheet import Worksheet

from reliability.formats import KINDS
from reliability.report import workbook_proposal as proposal
from reliability.report import workbook_years as by_year
from reliability.report.content import Content
from reliability.report.palette import BLUE, GRID, PAPER, fill
from reliability.report.workbook_chart_data import MOST_BARS, Placed
from reliability.report.workbook_print import print_in_blocks
from reliability.report.workbook_sheets import WrittenSheet
from reliability.schema.problems import shorten

CHARTS = "Charts"
ROWS_APART, COLUMNS_APART = 22, 10
CHART_SIZE = {"width": 620, "height": 420}     # pixels
SMALL_FONT = {"size": 9}
MONEY_AXIS = KINDS["money"].excel


def write_charts(book: xlsxwriter.Workbook, sheet: Worksheet, content: Content, written: Mapping[str, WrittenSheet],
                 data: Mapping[str, Placed]) -> None:
    """Place every chart whose sheets are there, two in a row."""
    made = [*_cashflow(book, content), *_scenarios(book, written), *_frontier(book, written, content),
            *_drivers(book, content, data), *_years(book, data), *_causes(book, written)]
    for i, chart in enumerate(made):
        chart.set_size(CHART_SIZE)
        sheet.insert_chart(ROWS_APART * (i // 2), COLUMNS_APART * (i % 2), chart, {"object_position": 3})
    rows = -(-len(made) // 2)
    print_in_blocks(sheet, content, [ROWS_APART * r for r in range(rows)], ROWS_APART * rows)


def _chart(book: xlsxwriter.Workbook, kind: str, title: str, x: Mapping[str, object], y: Mapping[str, object],
           **more: object) -> Chart:
    """A chart with a title; x and y are the axes as they lie on paper."""
    chart = book.add_chart({"type": kind, **more})
    chart.set_title({"name": title, "name_font": {"size": 12}, "overlay": False})
    for put, axis in ((chart.set_x_axis, x), (chart.set_y_axis, y)):
        put({"label_position": "low", "num_font": SMALL_FONT, "name_font": SMALL_FONT, **axis})
    chart.set_legend({"position": "bottom"})
    return chart


def _values(name: str, form: str = "", least: float | None = None) -> dict[str, object]:
    """An axis of values, from `least` on."""
    return {"name": name, "major_gridlines": {"visible": True, "line": {"color": GRID}}, "label_position": "next_to",
            **({"num_format": form} if form else {}), **({} if least is None else {"min": least})}


def _names(name: str) -> dict[str, object]:
    """An axis of names, each of them shown, the first on top; what crosses it does so at the bottom."""
    return {"name": name, "reverse": True, "interval_unit": 1, "crossing": "max", "major_gridlines": {"visible": False}}


def _fill(series: int) -> dict[str, object]:
    colour, pattern = fill(series)
    if pattern:
        return {"pattern": {"pattern": "wide_upward_diagonal", "fg_color": PAPER, "bg_color": colour}}
    return {"fill": {"color": colour}}


def _scenarios(book: xlsxwriter.Workbook, written: Mapping[str, WrittenSheet]) -> list[Chart]:
    found, expected = [], written.get("expected")
    for key, title, axis in (("saifi", "SAIFI of the scenarios", "interruptions a customer and year"),
                             ("saidi_min", "SAIDI of the scenarios", "minutes a customer and year"),
                             ("maifi_e", "MAIFI_E of the scenarios", "events a customer and year")):
        if expected is not None and key in expected.columns:
            chart = _chart(book, "bar", title, _values(axis, least=0.0), _names(""))
            chart.add_series({"name": title.split()[0], "categories": expected.cells("scenario"),
                              "values": expected.cells(key), "gap": 60,
                              "data_labels": {"value": True, "font": SMALL_FONT},
                              **_fill(0)})
            chart.set_legend({"none": True})
            found.append(chart)
    return found


def _years(book: xlsxwriter.Workbook, data: Mapping[str, Placed]) -> list[Chart]:
    found = []
    for key, placed in data.items():
        if key.startswith("years-"):
            chart = _chart(book, "column", f"{placed.title.split(',')[0]} by year",
                           {"name": "Year", "interval_unit": 1}, _values(placed.title, least=0.0))
            for column in (1, 2):
                chart.add_series({"name": placed.columns[column], "categories": placed.cells(0),
                                  "values": placed.cells(column), **_fill(column - 1)})
            found.append(chart)
    return found


def _causes(book: xlsxwriter.Workbook, written: Mapping[str, WrittenSheet]) -> list[Chart]:
    causes = written.get("causes")
    if causes is None or not causes.rows:
        return []
    rows = list(range(min(causes.rows, MOST_BARS)))
    chart = _chart(book, "bar", "Causes by customer-minutes", _values("Customer-minutes, all years", MONEY_AXIS, 0.0),
                   _names("Cause"))
    chart.add_series({"name": "Customer-minutes", "categories": causes.cells("cause", rows),
                      "values": causes.cells("customer_minutes", rows), "gap": 60, **_fill(0)})
    chart.set_legend({"none": True})
    return [chart]


def _cashflow(book: xlsxwriter.Workbook, content: Content) -> list[Chart]:
    scenario = proposal.live(content)
    if scenario is None:
        return []
    found, horizon = [], int(content.study.values["horizon_years"])
    name = "the proposal" if scenario == content.proposed else shorten(content.scenarios[scenario], 40)
    for perspective, view in (("utility", "utility"), ("society", "societal")):
        chart = _chart(book, "column", f"Cash flow of {name}, {view} perspective", {"name": "Year"},
                       _values(shorten(content.currency, 12), MONEY_AXIS))
        span = {key: by_year.cells(content, key, last=horizon) for key in (
            "year", f"net_{perspective}", f"sum_present_{perspective}")}
        chart.add_series({"name": "Net of the year", "categories": f"={span['year']}",
                          "values": f"={span[f'net_{perspective}']}", "gap": 40, **_fill(0)})
        line = book.add_chart({"type": "line"})
        line.add_series({"name": "Discounted, running sum", "categories": f"={span['year']}",
                         "values": f"={span[f'sum_present_{perspective}']}", "line": {"color": fill(1)[0], "width": 2}})
        chart.combine(line)
        found.append(chart)
    return found


def _frontier(book: xlsxwriter.Workbook, written: Mapping[str, WrittenSheet], content: Content) -> list[Chart]:
    frontier = written.get("frontier")
    if frontier is None or not frontier.rows:
        return []
    chart = _chart(book, "scatter", "SAIDI avoided for a budget",
                   _values(f"Capital, {shorten(content.currency, 12)}", MONEY_AXIS, 0.0),
                   _values("SAIDI avoided, min/yr"),
                   subtype="straight_with_markers")
    chart.add_series({"name": "Best choice", "categories": frontier.cells("capex"),
                      "values": frontier.cells("saidi_minutes_avoided"), "line": {"color": BLUE},
                      "marker": {"type": "circle", "size": 4, "fill": {"color": BLUE}}})
    chart.set_legend({"none": True})
    return [chart]


def _drivers(book: xlsxwriter.Workbook, content: Content, data: Mapping[str, Placed]) -> list[Chart]:
    """One bar an assumption, from its low to its high, about what the NPV is now."""
    placed = data.get("drivers")
    if placed is None:
        return []
    chart = _chart(book, "bar", placed.title,
                   _values(f"Change of the NPV, {shorten(content.currency, 12)}", MONEY_AXIS),
                   _names(""))
    for column in (1, 2):
        chart.add_series({"name": placed.columns[column], "categories": placed.cells(0), "values": placed.cells(column),
                          "overlap": 100, "gap": 40, **_fill(column - 1)})
    return [chart]
