"""Charts of a study's results, described from its frames and from summary.json."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.formats import compact, money, number, shown, signed_number, spoken
from reliability.report.chart import (
    LOG_AXIS,
    SOLID,
    Axis,
    BarChart,
    Bars,
    Line,
    PlotChart,
    Points,
    Reference,
    scale_for,
)
from reliability.report.content import Case, Content
from reliability.report.frontier_mix import changes, mixes
from reliability.schema.problems import shorten

PANELS = (("saifi", "SAIFI, sustained interruptions a customer and year", "index"),
          ("saidi_min", "SAIDI, minutes a customer and year", "minutes"),
          ("maifi_e", "MAIFI_E, momentary events a customer and year", "index"))
MOST_DRIVERS, MOST_SCENARIOS = 12, 12


def scenarios(content: Content) -> list[BarChart]:
    """SAIFI, SAIDI and MAIFI_E of every scenario, a chart each, and the change from today's where simulated."""
    drawn = []
    for index, axis, kind in PANELS:
        drawn.append(_expected(content, index, axis, kind))
        if content.simulated and len(content.scenarios) > 1:
            drawn.append(_change(content, index, axis, kind))
    return drawn


def _expected(content: Content, index: str, axis: str, kind: str) -> BarChart:
    rows = content.order[:MOST_SCENARIOS]
    names = [content.scenarios[i] for i in rows]
    means = [_number(content.at("scenarios", i, "expected", index)) for i in rows]
    description = "; ".join(f"{shorten(n, 30)}: {spoken(v, kind)}" for n, v in zip(names, means, strict=True))
    name = axis.split(",")[0]
    return BarChart(f"chart-scenarios-{index}", f"{name} of the scenarios, expected", description, names, (
        Bars(axis, means, labels=[shown(v, kind) for v in means]),), Axis(axis), lying=True)


def _change(content: Content, index: str, axis: str, kind: str) -> BarChart:
    """Difference to today's protection under the same faults, expected, and its range over the trials."""
    rows = content.order[1:MOST_SCENARIOS]
    names = [content.scenarios[i] for i in rows]
    mean, low, high = (np.array([_number(content.at("scenarios", i, "difference_to_as_built", index, part))
                                 for i in rows]) for part in ("expected", "average_p10", "average_p90"))
    name = axis.split(",")[0]
    description = "; ".join(f"{shorten(n, 30)}: {signed_number(m)}, 80 % range {signed_number(a)} to {signed_number(b)}"
                            for n, m, a, b in zip(names, mean, low, high, strict=True))
    return BarChart(
        f"chart-change-{index}", f"Change of {name} from today's protection, under the same faults", description,
        names, (Bars("Expected, with the 80 % range of an average year", mean, low, high,
                     [shown(v, kind, True) for v in mean], dots=True),),
        Axis(f"Change of {axis}"), lying=True, references=(Reference("As today", 0.0, SOLID),))


def _number(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def cashflow(content: Content, case: Case, scenario: int, perspective: str) -> BarChart:
    """Net flow of each year and the running sum of its present value."""
    name = content.scenarios[scenario]
    rows = case.cashflow[case.cashflow["scenario"] == name]
    net = rows["net"].to_numpy(dtype=float)
    running = np.cumsum(rows["discounted"].to_numpy(dtype=float))
    description = (f"Year 0: {money(net[0])}; year 1: {money(net[min(1, len(rows) - 1)])}; "
            f"discounted sum at the end: {money(running[-1], content.currency)}.")
    labels = [compact(v) if i in (0, len(net) - 1) else "" for i, v in enumerate(net)]
    return BarChart(f"chart-cashflow-{perspective}", f"Cash flow of {shorten(name, 60)}", description,
                    [str(int(y)) for y in rows["year"]], (Bars("Net of the year", net, labels=labels),),
                    Axis(f"Money, {shorten(content.currency, 12)}"), "Year",
                    line=Line(f"Discounted, running sum (at the end {compact(running[-1])})", (), running, marked=True))


def frontier(content: Content, frame: pd.DataFrame) -> PlotChart:
    """The largest SAIDI reduction for a budget, the selection on it, and the devices where another one leads."""
    x, y = (frame[c].to_numpy(dtype=float) for c in ("capex", "saidi_minutes_avoided"))
    mix = mixes(frame)
    description = (f"From {money(x[0])} for {number(y[0])} minutes to {money(x[-1])} for {number(y[-1])} minutes, "
                   f"there with {mix[-1]}.")
    scale = scale_for(x)
    drawn = x > 0 if scale == LOG_AXIS else np.ones(len(x), dtype=bool)
    series: list[Line | Points] = [Line("The most that a budget can avoid", x[drawn], y[drawn], fill=0, marked=True)]
    turns = [i for i in changes(frame) if drawn[i]]
    if turns:
        series.append(Points("From here on with other devices", x[turns], y[turns], labels=[mix[i] for i in turns],
                             fill=3))
    pays = drawn & (frame["npv"].to_numpy(dtype=float) > 0)
    if pays.any():
        series.append(Points("… and pays", x[pays], y[pays], fill=2))
    chosen = content.selected
    if chosen is not None and chosen.feasible and chosen.totals and (chosen.totals["capex"] > 0 or scale != LOG_AXIS):
        series.append(Points("The proposal", [float(chosen.totals["capex"])],
                             [float(chosen.totals["saidi_minutes_avoided"])], fill=1, large=True))
    return PlotChart("chart-frontier", "Benefit against budget: SAIDI avoided", description,
                     Axis(f"Capital, {shorten(content.currency, 12)}" + (" (logarithmic)" if scale == LOG_AXIS else ""),
                          scale), Axis("SAIDI avoided, min/yr"), tuple(series))


def drivers(content: Content, name: str, frame: pd.DataFrame) -> BarChart:
    """NPV from the low to the high of each assumption, the widest on top."""
    rows = frame.head(MOST_DRIVERS)
    now = float(rows["npv"].iloc[0])
    low, high = (rows[c].to_numpy(dtype=float) for c in ("npv_low", "npv_high"))
    labels = [str(x) for x in rows["label"]]
    description = "; ".join(f"{n}: {money(a)} to {money(b)}" for n, a, b in zip(labels, low, high, strict=True))
    ends = [*low, *high]
    zero = (Reference("Breaks even", 0.0),) if min(ends) <= 0 <= max(ends) else ()
    # where both ends lie on one side of today's value the nearer one would be overprinted
    apart = (low - now) * (high - now) < 0
    further = np.abs(low - now) >= np.abs(high - now)
    return BarChart(
        "chart-drivers", f"Sensitivity of the NPV of {shorten(name, 60)}", description, labels, (
            Bars("Assumption at its low", low, base=now, fill=0,
                 labels=[compact(v) if a or f else "" for v, a, f in zip(low, apart, further, strict=True)]),
            Bars("at its high", high, base=now, fill=1,
                 labels=[compact(v) if a or not f else "" for v, a, f in zip(high, apart, further, strict=True)])),
        Axis(f"NPV, {shorten(content.currency, 12)}"), lying=True, overlaid=True,
        references=(Reference(f"Now, {compact(now)}", now, SOLID), *zero))
