"""Charts of a history as plotly figures, for the page on disk and for the app.

Colours are told apart with any colour vision, and never carry a meaning alone: shape, pattern
or position carries it too. Names from records are escaped, as plotly reads markup in labels.
"""

from __future__ import annotations

from html import escape

import numpy as np
import plotly.graph_objects as go

from reliability.history.history import History
from reliability.history.rates import MAIN

BLUE, ORANGE, GREEN, GREY = "#0072B2", "#E69F00", "#009E73", "#595959"   # Okabe and Ito's palette; grey ours
MOST_MARKS = 2000
MOST_CAUSES = 12
GRID = "#e3e3e3"
_TITLES = {"saidi_min": "SAIDI, minutes a year", "saifi": "SAIFI, interruptions a year",
           "caidi_min": "CAIDI, minutes", "maifi": "MAIFI, interruptions a year", "maifi_e": "MAIFI_E, events a year"}


def _figure(title: str, x: str, y: str, traces: list[dict[str, object]], across: dict[str, object] | None = None,
            up: dict[str, object] | None = None) -> go.Figure:
    """A figure of plain descriptions: plotly's own check of each takes a second or two, and adds nothing to ours.

    across, up: more on the axes.
    """
    axis = {"automargin": True, "gridcolor": GRID, "zerolinecolor": GRID, "linecolor": GREY}
    return go.Figure({"data": traces, "layout": {
        "template": {}, "title": {"text": title, "x": 0, "xanchor": "left"}, "font": {"size": 14},
        "xaxis": axis | {"title": {"text": x}} | (across or {}), "yaxis": axis | {"title": {"text": y}} | (up or {}),
        "margin": {"l": 60, "r": 20, "t": 60, "b": 50}, "legend": {"orientation": "h", "y": -0.22, "x": 0},
        "hovermode": "closest"}}, _validate=False)


def yearly_chart(history: History, index: str = "saidi_min") -> go.Figure:
    """An index by year with and without major event days; no second bar where no day was told apart."""
    years = history.records.years
    told = np.array([history.major_events.has_verdict(int(y)) for y in years])
    names = [str(y) + ("*" if int(y) in history.records.partial else "") for y in years]
    return _figure(f"{_TITLES[index].split(',')[0]} by year", "Year (* covered in part)", _TITLES[index], [
        {"type": "bar", "x": names, "y": history.all.years[index].to_numpy(), "name": "All events",
         "marker": {"color": BLUE}},
        {"type": "bar", "x": names, "y": np.where(told, history.without_major_events.years[index], np.nan),
         "name": "Without major event days",
         "marker": {"color": ORANGE, "pattern": {"shape": "/", "fillmode": "overlay", "fgcolor": "white",
                                                 "solidity": 0.2}}},
    ], {"type": "category"}, {"rangemode": "tozero"})


def daily_chart(history: History) -> go.Figure:
    """Daily SAIDI on a logarithmic axis, the threshold of each year and the days above it.

    Every day above its threshold is drawn; of very many others only one in so many.
    """
    daily = history.daily[history.daily["saidi_min"].to_numpy() > 0]
    major = daily.index.isin(history.major_events.days.index)
    one_in = -(-int((~major).sum()) // MOST_MARKS)
    others = "Other days" if one_in <= 1 else f"Other days (one in {one_in})"
    traces = [
        {"type": "scatter", "x": [str(day)[:10] for day in rows.index], "y": rows["saidi_min"].to_numpy(),
         "mode": "markers", "name": name, "marker": {
             "color": colour, "symbol": shape, "size": size, "line": {"color": "black", "width": width}}}
        for name, rows, colour, shape, size, width in (
            (others, daily[~major].iloc[::max(one_in, 1)], BLUE, "circle", 5, 0),
            ("Major event days", daily[major], ORANGE, "diamond", 10, 1))]
    x, y = [], []
    for year, limit in history.major_events.thresholds["t_med"].items():
        x += [f"{year}-01-01", f"{year}-12-31", None]
        y += [limit, limit, None]
    traces.append({"type": "scatter", "x": x, "y": y, "mode": "lines", "name": "Threshold T_MED",
                   "line": {"color": GREY, "width": 2, "dash": "dash"}})
    return _figure("Daily SAIDI and the major event day threshold", "Day on which the event began",
                   "Daily SAIDI, minutes (logarithmic)", traces, {"type": "date"}, {"type": "log", "dtick": "D2"})


def causes_chart(history: History) -> go.Figure:
    """Customer-minutes by cause over all years, the largest on top, the rest in one bar."""
    minutes = history.all.causes.groupby("cause")["customer_minutes"].sum().sort_values(ascending=False)
    minutes = minutes[minutes > 0]
    bars = [(escape(str(name)) or "(no cause given)", value) for name, value in minutes.head(MOST_CAUSES).items()]
    if len(minutes) > MOST_CAUSES:
        bars.append((f"{len(minutes) - MOST_CAUSES} other causes", minutes.iloc[MOST_CAUSES:].sum()))
    return _figure("Causes by customer-minutes", "Customer-minutes of interruption, all years", "Cause",
                   [_bars_across([b[1] for b in bars], [b[0] for b in bars])],
                   up={"autorange": "reversed", "type": "category"})


def _bars_across(values: list[float], names: list[str]) -> dict[str, object]:
    return {"type": "bar", "x": values, "y": names, "orientation": "h", "marker": {"color": BLUE}, "showlegend": False}


def shrinkage_chart(history: History) -> go.Figure:
    """Observed against learned fault rate of each lateral: the more exposure, the less it is pulled."""
    units = history.learned.units
    units = units[(units["group"] != MAIN) & units["rate_per_km"].notna()]
    units = units.nlargest(MOST_MARKS, "exposure_km_years", keep="first")
    size = np.sqrt(units["exposure_km_years"] / max(units["exposure_km_years"].max(), 1e-9)) if len(units) else []
    observed, learned = units["observed_rate_per_km"].to_numpy(), units["rate_per_km"].to_numpy()
    top = float(np.nanmax([0.0, *observed]))
    traces = [
        {"type": "scatter", "x": observed, "y": learned, "mode": "markers", "name": "Lateral (larger: more exposure)",
         "text": [escape(str(u)) for u in units["unit"]],
         "hovertemplate": "%{text}: %{x:.3g} → %{y:.3g}<extra></extra>",
         "marker": {"color": BLUE, "opacity": 0.7, "size": 5 + 11 * np.asarray(size), "line": {"width": 0}},
         "error_y": {"type": "data", "symmetric": False, "array": units["rate_high"].to_numpy() - learned,
                     "arrayminus": learned - units["rate_low"].to_numpy(), "color": "rgba(0,114,178,0.25)",
                     "width": 0}},
        {"type": "scatter", "x": [0, top], "y": [0, top], "mode": "lines", "name": "Taken at face value",
         "line": {"color": GREY, "dash": "dot"}}]
    for i, (group, row) in enumerate(history.learned.priors.iterrows()):
        if group != MAIN and np.isfinite(row.get("mean_per_km", np.nan)):
            traces.append({"type": "scatter", "x": [0, top], "y": [row["mean_per_km"]] * 2, "mode": "lines",
                           "name": f"Mean, {escape(str(group))}",
                           "line": {"color": (ORANGE, GREEN)[i % 2], "dash": "dash"}})
    return _figure("Fault rates of laterals, observed and learned", "Observed, faults/(km·yr)",
                   "Learned, faults/(km·yr), with its 90 % interval", traces)


def offenders_chart(history: History, most: int = 15) -> go.Figure:
    """Laterals with the most sustained events a year."""
    table = history.offenders.head(most)
    return _figure("Repeat offenders", "Sustained events a year", "Lateral",
                   [_bars_across(table["events_per_year"].tolist(), [escape(str(i)) for i in table.index])],
                   up={"autorange": "reversed", "type": "category"})
