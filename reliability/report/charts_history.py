"""Charts of the outage records, described once for the documents and for the app's page."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.formats import compact, count, number, shown
from reliability.history.calibration import Calibration
from reliability.history.history import History
from reliability.history.units import MAIN
from reliability.report.chart import (
    DASHED,
    DATE,
    DOTTED,
    LOG_AXIS,
    SOLID,
    Axis,
    BarChart,
    Bars,
    Line,
    PlotChart,
    Points,
    Reference,
)
from reliability.report.plain_words import SPOKEN_KINDS
from reliability.report.records import causes_frame
from reliability.schema.problems import shorten
from reliability.study.report_settings import benchmarks

# index of a year: short name, axis, kind of its numbers
YEAR_INDICES = {
    "saidi_min": ("SAIDI", "SAIDI, minutes a year", "minutes"),
    "saifi": ("SAIFI", "SAIFI, interruptions a year", "index"),
    "caidi_min": ("CAIDI", "CAIDI, minutes", "minutes"),
    "maifi": ("MAIFI", "MAIFI, interruptions a year", "index"),
    "maifi_e": ("MAIFI_E", "MAIFI_E, events a year", "index"),
}
MOST_CAUSES, MOST_LATERALS, MOST_HISTORY_MARKS = 12, 15, 1200
APART = 0.02                       # of an axis: lines closer than that hide one another
ONE_TO_ONE = "1 : 1 line"
NO_THRESHOLD = "†"                 # marks a year without a threshold of major event days


def years(history: History, index: str = "saidi_min") -> BarChart:
    """An index by year with and without major event days.

    Where a year has no threshold no day is set apart, so both bars are equal, and its name is marked.
    """
    records, (name, axis, kind) = history.records, YEAR_INDICES[index]
    known = [history.major_events.has_verdict(int(y)) for y in records.years]
    names = [str(int(y)) + ("*" if int(y) in records.partial else "") + ("" if of else NO_THRESHOLD)
             for y, of in zip(records.years, known, strict=True)]
    every, without = (of.years[index].to_numpy(dtype=float) for of in (history.every_event,
                                                                       history.without_major_events))
    description = "; ".join(f"{y}: {shown(a, kind)}" + (f", without {shown(b, kind)}" if of else
                                                        ", no threshold and no day set apart")
                            for y, a, b, of in zip(names, every, without, known, strict=True))
    notes = [note for note, holds in (("* covered in part", bool(records.partial)),
                                      (f"{NO_THRESHOLD} no threshold, no day set apart", not all(known))) if holds]
    return BarChart(f"chart-years-{index}", f"{name} by year", description, names, (
        Bars("All events", every, labels=_labels(every, kind)),
        Bars("Without major event days", without, labels=_labels(without, kind), fill=1)), Axis(axis),
        "Year" + (f" ({'; '.join(notes)})" if notes else ""), references=_references(history, index))


def _references(history: History, index: str) -> tuple[Reference, ...]:
    """The five-year mean and the benchmark, where there are."""
    found, values = [], history.study.values
    without = values["benchmark_excludes_major_events"]
    means = history.reported.five_years.without if without else history.reported.five_years.every_event
    if index in means and history.reported.shown in means.index:
        found.append(Reference(f"Five-year mean, {'without' if without else 'with'} major event days",
                               float(means[index].loc[history.reported.shown]), DOTTED))
    if (benchmark := benchmarks(values).get(index)) is not None:
        found.append(Reference("Benchmark", benchmark))
    return tuple(found)


def rolling(history: History, index: str = "saidi_min") -> PlotChart:
    """An index over the twelve months that end with each month, with and without major event days."""
    name, axis, kind = YEAR_INDICES[index]
    months = history.reported.months
    ends = months.every_event.index.to_numpy().astype("datetime64[M]").astype("datetime64[D]")
    every, without = (frame[index].to_numpy(dtype=float) for frame in (months.every_event, months.without))
    last = f"to {months.every_event.index[-1]}: {shown(every[-1], kind)}, without {shown(without[-1], kind)}"
    return PlotChart("chart-rolling", f"{name} over twelve months that end with each month", last,
                     Axis("Last of the twelve months", DATE), Axis(axis), (
                         Line("All events", ends, every, SOLID, 0),
                         Line("Without major event days", ends, without, DASHED, 1)))


def _labels(values: np.ndarray, kind: str) -> list[str]:
    return [shown(v, kind) if np.isfinite(v) else "" for v in values.tolist()]


def daily(history: History) -> PlotChart:
    """Daily SAIDI on a logarithmic axis, the threshold of each year and the days above it.

    Every major event day is drawn; of very many others only one in so many.
    """
    days = history.daily[history.daily["saidi_min"].to_numpy() > 0]
    major = days.index.isin(history.major_events.days.index)
    one_in = max(-(-int((~major).sum()) // MOST_HISTORY_MARKS), 1)
    others = "Other days" if one_in == 1 else f"Other days (one in {one_in})"
    x, y = [], []
    for year, limit in history.major_events.thresholds["t_med"].items():
        x += [f"{year}-01-01", f"{year}-12-31", f"{year}-12-31"]
        y += [limit, limit, np.nan]
    above = days[major]
    description = (f"{count(len(days), 'day')} with interruptions, {count(len(above), 'major event day')} among them" +
            (f"; the largest is {above['saidi_min'].idxmax():%Y-%m-%d} with {number(above['saidi_min'].max())} minutes."
             if len(above) else "."))
    return PlotChart(
        "chart-daily", "Daily SAIDI and the threshold of a major event day", description,
        Axis("Day on which the event began", DATE), Axis("Daily SAIDI, minutes (logarithmic)", LOG_AXIS), (
            _days(others, days[~major].iloc[::one_in], 0), _days("Major event days", above, 1),
            Line("Threshold T_MED", np.array(x, dtype="datetime64[D]"), np.array(y, dtype=float), DASHED)))


def _days(name: str, rows: pd.DataFrame, fill: int) -> Points:
    return Points(name, rows.index.to_numpy().astype("datetime64[D]"), rows["saidi_min"].to_numpy(dtype=float),
                  fill=fill, large=fill == 1)


def causes(history: History) -> BarChart:
    """Customer-minutes by cause over all years, the largest on top; more than MOST_CAUSES share one bar."""
    frame = causes_frame(history)
    frame = frame[frame["customer_minutes"] > 0]
    names, values = [str(c) for c in frame["cause"]], frame["customer_minutes"].to_numpy(dtype=float)
    if len(names) > MOST_CAUSES:
        rest = len(names) - (MOST_CAUSES - 1)          # never a bar that hides a single cause
        names = [*names[:MOST_CAUSES - 1], f"{rest} other causes"]
        values = np.append(values[:MOST_CAUSES - 1], values[MOST_CAUSES - 1:].sum())
    description = "; ".join(f"{shorten(n, 30)}: {number(v)}" for n, v in zip(names, values, strict=True))
    return BarChart("chart-causes", "Causes by customer-minutes", description, names, (
        Bars("Customer-minutes", values, labels=[compact(v) for v in values]),),
        Axis("Customer-minutes of interruption, all years"), lying=True)


def worst_laterals(history: History) -> BarChart:
    """Laterals with the most sustained events a year in the records."""
    table = history.worst_laterals.head(MOST_LATERALS)
    known = history.records.network.name_by_id
    names, values = [known.get(str(i), str(i)) for i in table.index], table["events_per_year"].to_numpy(dtype=float)
    labels = [f"{shown(v, 'ratio')} ({int(n)})" for v, n in zip(values, table["events"], strict=True)]
    description = "; ".join(f"{shorten(n, 30)}: {shown(v, 'ratio')}" for n, v in zip(names, values, strict=True))
    return BarChart("chart-worst-laterals", "Worst-performing laterals", description, names, (
        Bars("Sustained events", values, labels=labels),),
        Axis("Sustained events a year (in brackets: in all years)"), lying=True)


def learned_rates(history: History) -> PlotChart:
    """Observed against learned fault rate of each lateral: the less exposure, the more it is pulled to the mean."""
    units = history.learned.units
    units = units[(units["group"] != MAIN) & units["rate_per_km"].notna()]
    units = units.nlargest(MOST_HISTORY_MARKS, "exposure_km_years", keep="first")
    observed, learned, low, high = (units[c].to_numpy(dtype=float) for c in (
        "observed_rate_per_km", "rate_per_km", "rate_low", "rate_high"))
    top = float(np.nanmax([0.0, *observed]))
    series: list[Points | Line] = [
        Points("Lateral, with its 90 % interval", observed, learned, low, high,
               hover=[history.records.network.name_by_id.get(str(u), str(u)) for u in units["unit"]]),
        Line(ONE_TO_ONE, [0.0, top], [0.0, top], DOTTED)]
    means = history.learned.priors.reindex(columns=["mean_per_km"])["mean_per_km"].drop(MAIN, errors="ignore").dropna()
    series += [Line(f"Mean of {name}", [0.0, top], [mean, mean], DASHED, 1 + i)
               for i, (name, mean) in enumerate(_lines_apart(means, APART * top))]
    description = (f"{count(len(units), 'lateral')}; observed from {compact(np.nanmin(observed))} to {compact(top)}, "
            f"learned from {compact(np.nanmin(learned))} to {compact(np.nanmax(learned))} faults a km and year."
            if len(units) else "No lateral has a learned rate.")
    return PlotChart("chart-rates", "Fault rates of laterals, recorded and learned", description,
                     Axis("Recorded, faults/(km·yr)"), Axis("Learned, faults/(km·yr)"), tuple(series))


def _lines_apart(means: pd.Series, apart: float) -> list[tuple[str, float]]:
    """Names and means, ascending; those that lie closer than `apart` under one line, which would hide one another."""
    found: list[tuple[str, float]] = []
    for name, mean in sorted(means.items(), key=lambda item: float(item[1])):
        if found and float(mean) - found[-1][1] < apart:
            found[-1] = f"{found[-1][0]} and of {name}", found[-1][1]
        else:
            found.append((str(name), float(mean)))
    return found


def device_fit(history: History) -> PlotChart:
    """What each reclosing device recorded against what is predicted for it, with the prediction's interval."""
    table, ids = history.learned.fit.table, history.records.network.names
    fits = table["fits"].to_numpy(dtype=bool)
    series: list[Points | Line] = []
    for number_of, (name, rows) in enumerate((("Device that fits, with its 90 % interval", table[fits]),
                                              ("Device that does not fit", table[~fits]))):
        names = [str(ids[d]) for d in rows["device"]]
        x, y, low, high = (rows[c].to_numpy(dtype=float) for c in ("recorded", "predicted", "low", "high"))
        series.append(Points(name, x, y, low, high, labels=names if number_of else None, hover=names, fill=number_of))
    top = float(max([1.0, *table["recorded"], *table["predicted"]]))
    series.append(Line(ONE_TO_ONE, [0.0, top], [0.0, top], DOTTED))
    description = "; ".join(f"{ids[d]}: recorded {number(a)}, predicted {number(b)}" for d, a, b in zip(
        *(table[c].tolist() for c in ("device", "recorded", "predicted")), strict=True))
    return PlotChart("chart-device-fit", "Faults that reclosing devices rode through, recorded and predicted",
                     description or "No device records momentary events.", Axis("Recorded by the device"),
                     Axis("Predicted from all else"), tuple(series))


def against_model(found: Calibration) -> PlotChart:
    """Modelled against recorded SAIDI of the feeders, on equal axes."""
    rows = found.feeders.drop(index="")
    rows = rows[np.isfinite(rows[["modelled_saidi_min", "observed_saidi_min"]].to_numpy(dtype=float)).all(axis=1)]
    x, y = (rows[c].to_numpy(dtype=float) for c in ("modelled_saidi_min", "observed_saidi_min"))
    top = float(max([1.0, *x, *y]))
    description = "; ".join(f"{shorten(str(n), 20)}: modelled {number(a)}, recorded {number(b)}"
                     for n, a, b in zip(rows.index, x, y, strict=True))
    return PlotChart(
        "chart-against-model", "Modelled against recorded SAIDI by feeder", description,
        Axis("SAIDI modelled, minutes a year"), Axis("SAIDI recorded, minutes a year"), (
            Points("Feeder", x, y, labels=[str(n) for n in rows.index]),
            Line(ONE_TO_ONE, [0.0, top], [0.0, top], DOTTED)), equal=True)


def restoration_times(history: History) -> BarChart:
    """Mean time to restore by kind of call-out, with its interval."""
    table = history.times
    names, mean, low, high = ([SPOKEN_KINDS.get(str(k), str(k)).capitalize() for k in table.index],
                              *(table[c].to_numpy(dtype=float) for c in ("mean_hours", "mean_low", "mean_high")))
    description = "; ".join(f"{n}: {number(m)} h ({number(a)} to {number(b)})"
                     for n, m, a, b in zip(names, mean, low, high, strict=True))
    return BarChart("chart-times", "Mean time to restore, with its 90 % interval", description, names, (
        Bars("Mean", mean, low, high, [shown(m, "hours") for m in mean], dots=True),), Axis("Hours"), lying=True)
