"""The report's charts, drawn from its frames and from summary.json."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.history.history import History
from reliability.report import drawing
from reliability.report.content import Case, Content
from reliability.report.drawing import Chart, Label, Mark, Series
from reliability.report.figures import noun_for
from reliability.report.records import causes_frame
from reliability.schema.problems import shorten

PANELS = (("saifi", "SAIFI, sustained interruptions a customer and year"),
          ("saidi_min", "SAIDI, minutes a customer and year"),
          ("maifi_e", "MAIFI_E, momentary events a customer and year"))
INDEX_TITLES = {"saidi_min": ("SAIDI", "SAIDI, minutes a year"), "saifi": ("SAIFI", "SAIFI, interruptions a year")}
MOST_CAUSES, MOST_DRIVERS, MOST_SCENARIOS = 10, 12, 12


def scenarios(content: Content) -> list[Chart]:
    """SAIFI, SAIDI and MAIFI_E of every scenario, a chart each."""
    names = content.scenarios[:MOST_SCENARIOS]

    def simulated(index: str, i: int, part: str) -> float:
        value = content.at("scenarios", i, "simulated", index, part)
        return np.nan if value is None else float(value)

    def expected(index: str, i: int) -> float:
        value = content.at("scenarios", i, "expected", index)
        return np.nan if value is None else float(value)

    drawn = []
    for index, axis in PANELS:
        means = [expected(index, i) for i in range(len(names))]
        low, high = ([simulated(index, i, p) for i in range(len(names))] if content.simulated else None
                     for p in ("p10", "p90"))
        said = "; ".join(f"{shorten(n, 30)}: {v:.4g}" for n, v in zip(names, means, strict=True))
        title = f"{axis.split(',')[0]} of the scenarios, expected" + (
            ", and the range of single years, eight in ten" if content.simulated else "")
        drawn.append(drawing.bars(f"chart-scenarios-{index}", title, said, names, [Series(axis, means, low, high)],
                                  axis))
    return drawn


def years(history: History, index: str) -> Chart:
    """An index by year with and without major event days."""
    records = history.records
    names = [str(int(y)) + ("*" if int(y) in records.partial else "") for y in records.years]
    told = np.array([history.major_events.has_verdict(int(y)) for y in records.years])
    every = history.all.years[index].to_numpy(dtype=float)
    without = np.where(told, history.without_major_events.years[index].to_numpy(dtype=float), np.nan)
    name, axis = INDEX_TITLES[index]
    said = "; ".join(f"{y}: {a:.4g}" + (f", without {b:.4g}" if np.isfinite(b) else ", no day told apart")
                     for y, a, b in zip(names, every, without, strict=True))
    return drawing.columns(f"chart-years-{index}", f"{name} by year", said, names, [
        Series("All events", every), Series("Without major event days", without)],
        "Year" + (" (* covered in part)" if records.partial else ""), axis)


def causes(history: History) -> Chart:
    """Customer-minutes by cause, the rest in one bar."""
    frame = causes_frame(history)
    frame = frame[frame["customer_minutes"] > 0]
    names = [str(c) for c in frame["cause"][:MOST_CAUSES]]
    values = frame["customer_minutes"].to_numpy(dtype=float)
    bars = [*values[:MOST_CAUSES]]
    if len(values) > MOST_CAUSES:
        names.append(f"{len(values) - MOST_CAUSES} other {noun_for(len(values) - MOST_CAUSES, 'cause')}")
        bars.append(float(values[MOST_CAUSES:].sum()))
    said = "; ".join(f"{shorten(n, 30)}: {v:,.0f}" for n, v in zip(names, bars, strict=True))
    return drawing.bars("chart-causes", "Causes by customer-minutes", said, names,
                        [Series("Customer-minutes", bars)], "Customer-minutes of interruption, all years")


def cashflow(content: Content, case: Case, scenario: int, perspective: str) -> Chart:
    """Net flow of each year and the running sum of its present value."""
    name = content.scenarios[scenario]
    rows = case.cashflow[case.cashflow["scenario"] == name]
    running = np.cumsum(rows["discounted"].to_numpy(dtype=float))
    said = (f"Year 0: {rows['net'].iloc[0]:,.0f}; year 1: {rows['net'].iloc[min(1, len(rows) - 1)]:,.0f}; "
            f"discounted sum at the end: {running[-1]:,.0f} {content.currency}.")
    net = Series("Net of the year", rows["net"].to_numpy(dtype=float))
    return drawing.columns(f"chart-cashflow-{perspective}", f"Cash flow of {shorten(name, 60)}", said,
                           [str(int(y)) for y in rows["year"]], [net], "Year",
                           f"Money, {shorten(content.currency, 12)}", Series("Discounted, running sum", running))


def frontier(content: Content, frame: pd.DataFrame) -> Chart:
    """The largest SAIDI reduction for a budget, and the selection on it."""
    chosen, mark = content.selected, None
    if chosen is not None and chosen.feasible and chosen.totals:
        mark = (float(chosen.totals["capex"]), float(chosen.totals["saidi_minutes_avoided"]), "The selection")
    x, y = (frame[c].to_numpy(dtype=float) for c in ("capex", "saidi_minutes_avoided"))
    said = f"From {x[0]:,.0f} for {y[0]:.3g} minutes to {x[-1]:,.0f} for {y[-1]:.3g} minutes."
    return drawing.curve("chart-frontier", "What money buys: SAIDI avoided for a budget", said, x, y,
                         f"Capital, {shorten(content.currency, 12)}", "SAIDI avoided, min/yr", mark)


def drivers(content: Content, name: str, frame: pd.DataFrame) -> Chart:
    """NPV from the low to the high of each assumption, the widest on top."""
    rows = frame.head(MOST_DRIVERS)
    now = float(rows["npv"].iloc[0])
    low, high = (rows[c].to_numpy(dtype=float) for c in ("npv_low", "npv_high"))
    labels = [str(x) for x in rows["label"]]
    said = "; ".join(f"{n}: {a:,.0f} to {b:,.0f}" for n, a, b in zip(labels, low, high, strict=True))
    return _tornado("chart-drivers", f"What moves the NPV of {shorten(name, 60)}", said, labels, low, high, now,
                    f"NPV, {shorten(content.currency, 12)}")


def _tornado(key: str, title: str, said: str, labels: list[str], low: np.ndarray, high: np.ndarray, now: float,
             axis: str) -> Chart:
    left, top, step = drawing.room(labels), 26.0, 20.0
    right, bottom = drawing.WIDTH - 24.0, 26.0 + 20.0 * len(labels)
    marks_at = drawing.ticks(min(*low, *high, now), max(*low, *high, now))

    def place(value: float) -> float:
        return left + (value - marks_at[0]) / (marks_at[-1] - marks_at[0]) * (right - left)

    marks: list[Mark] = [*drawing.filled(left, 5.0, 14.0, 12.0, 0), Label(left + 20.0, 15.0, "Assumption at its low"),
                         *drawing.filled(left + 180.0, 5.0, 14.0, 12.0, 1), Label(left + 200.0, 15.0, "at its high")]
    for tick in marks_at:
        marks += [drawing.Line(((place(tick), top), (place(tick), bottom)), drawing.GRID),
                  Label(place(tick), bottom + 16.0, drawing.tick_text(tick, marks_at), "middle", drawing.SOFT)]
    for i, label in enumerate(labels):
        y = top + step * i + 3.0
        marks.append(Label(left - 8.0, y + 11.0, drawing.name(label), "end"))
        for s, end in enumerate((low[i], high[i])):
            x = sorted((place(now), place(end)))
            marks += drawing.filled(x[0], y, x[1] - x[0], step - 6.0, s)
    marks += [drawing.Line(((place(now), top), (place(now), bottom)), drawing.INK, 1.5),
              Label((left + right) / 2, bottom + 34.0, axis, "middle")]
    return Chart(key, title, said, drawing.WIDTH, bottom + 42.0, tuple(marks))
