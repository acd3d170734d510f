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
_TITLES = {"saidi_min": "SAIDI, minutes a year", "saifi": "SAIFI, interruptions a year",
           "caidi_min": "CAIDI, minutes", "maifi": "MAIFI, interruptions a year", "maifi_e": "MAIFI_E, events a year"}


def _figure(title: str, x: str, y: str, **layout: object) -> go.Figure:
    figure = go.Figure()
    figure.update_layout(
        title={"text": title, "x": 0, "xanchor": "left"}, template="plotly_white", font={"size": 14},
        xaxis={"title": {"text": x}, "automargin": True}, yaxis={"title": {"text": y}, "automargin": True},
        margin={"l": 60, "r": 20, "t": 60, "b": 50}, legend={"orientation": "h", "y": -0.22, "x": 0})
    figure.update_layout(**layout)
    return figure


def yearly_chart(history: History, index: str = "saidi_min") -> go.Figure:
    """An index by year with and without major event days; no second bar where no day was told apart."""
    years = history.records.years
    told = np.array([history.major_events.has_verdict(int(y)) for y in years])
    names = [str(y) + ("*" if int(y) in history.records.partial else "") for y in years]
    figure = _figure(f"{_TITLES[index].split(',')[0]} by year", "Year (* covered in part)", _TITLES[index])
    figure.add_bar(x=names, y=history.all.years[index], name="All events", marker={"color": BLUE})
    figure.add_bar(x=names, y=np.where(told, history.without_major_events.years[index], np.nan),
                   name="Without major event days",
                   marker={"color": ORANGE, "pattern": {"shape": "/", "fgcolor": "white", "solidity": 0.2}})
    figure.update_xaxes(type="category")
    figure.update_yaxes(rangemode="tozero")
    return figure


def daily_chart(history: History) -> go.Figure:
    """Daily SAIDI on a logarithmic axis, the threshold of each year and the days above it."""
    daily = history.daily[history.daily["saidi_min"].to_numpy() > 0]
    major = daily.index.isin(history.major_events.days.index)
    figure = _figure("Daily SAIDI and the major event day threshold", "Day on which the event began",
                     "Daily SAIDI, minutes (logarithmic)")
    for name, rows, colour, shape in (("Other days", daily[~major], BLUE, "circle"),
                                      ("Major event days", daily[major], ORANGE, "diamond")):
        figure.add_scatter(x=rows.index, y=rows["saidi_min"], mode="markers", name=name,
                           marker={"color": colour, "symbol": shape, "size": 5 if shape == "circle" else 10,
                                   "line": {"color": "black", "width": 0 if shape == "circle" else 1}})
    x, y = [], []
    for year, limit in history.major_events.thresholds["t_med"].items():
        x += [f"{year}-01-01", f"{year}-12-31", None]
        y += [limit, limit, None]
    figure.add_scatter(x=x, y=y, mode="lines", name="Threshold T_MED", line={"color": GREY, "width": 2, "dash": "dash"})
    figure.update_yaxes(type="log")
    return figure


def causes_chart(history: History) -> go.Figure:
    """Customer-minutes by cause over all years, the largest on top, the rest in one bar."""
    minutes = history.all.causes.groupby("cause")["customer_minutes"].sum().sort_values(ascending=False)
    minutes = minutes[minutes > 0]
    bars = [(escape(str(name)) or "(no cause given)", value) for name, value in minutes.head(MOST_CAUSES).items()]
    if len(minutes) > MOST_CAUSES:
        bars.append((f"{len(minutes) - MOST_CAUSES} other causes", minutes.iloc[MOST_CAUSES:].sum()))
    figure = _figure("Causes by customer-minutes", "Customer-minutes of interruption, all years", "")
    figure.add_bar(x=[b[1] for b in bars], y=[b[0] for b in bars], orientation="h", marker={"color": BLUE},
                   showlegend=False)
    figure.update_yaxes(autorange="reversed", type="category", title={"text": "Cause"})
    return figure


def shrinkage_chart(history: History) -> go.Figure:
    """Observed against learned fault rate of each lateral: the more exposure, the less it is pulled."""
    units = history.learned.units
    units = units[(units["group"] != MAIN) & units["rate_per_km"].notna()]
    units = units.nlargest(MOST_MARKS, "exposure_km_years", keep="first")
    figure = _figure("Fault rates of laterals, observed and learned", "Observed, faults/(km·yr)",
                     "Learned, faults/(km·yr), with its 90 % interval")
    size = np.sqrt(units["exposure_km_years"] / max(units["exposure_km_years"].max(), 1e-9)) if len(units) else []
    figure.add_scatter(
        x=units["observed_rate_per_km"], y=units["rate_per_km"], mode="markers", name="Lateral (larger: more exposure)",
        text=[escape(str(u)) for u in units["unit"]], hovertemplate="%{text}: %{x:.3g} → %{y:.3g}<extra></extra>",
        marker={"color": BLUE, "opacity": 0.7, "size": 5 + 11 * np.asarray(size), "line": {"width": 0}},
        error_y={"type": "data", "symmetric": False, "array": units["rate_high"] - units["rate_per_km"],
                 "arrayminus": units["rate_per_km"] - units["rate_low"], "color": "rgba(0,114,178,0.25)", "width": 0})
    top = float(np.nanmax([0.0, *units["observed_rate_per_km"]]))
    figure.add_scatter(x=[0, top], y=[0, top], mode="lines", name="Taken at face value",
                       line={"color": GREY, "dash": "dot"})
    for i, (group, row) in enumerate(history.learned.priors.iterrows()):
        if group != MAIN and np.isfinite(row.get("mean_per_km", np.nan)):
            figure.add_scatter(x=[0, top], y=[row["mean_per_km"]] * 2, mode="lines", name=f"Mean, {escape(str(group))}",
                               line={"color": (ORANGE, GREEN)[i % 2], "dash": "dash"})
    return figure


def offenders_chart(history: History, most: int = 15) -> go.Figure:
    """Laterals with the most sustained events a year."""
    table = history.offenders.head(most)
    figure = _figure("Repeat offenders", "Sustained events a year", "")
    figure.add_bar(x=table["events_per_year"], y=[escape(str(i)) for i in table.index], orientation="h",
                   marker={"color": BLUE}, showlegend=False)
    figure.update_yaxes(autorange="reversed", type="category", title={"text": "Lateral"})
    return figure
