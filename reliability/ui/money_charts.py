"""Pictures of the business case and of the choice under a budget."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from reliability.formats import HOVER, HOVER_COUNT, HOVER_SHARE, TICK, TICK_SHARE, compact, shown
from reliability.report.frontier_mix import changes, mixes
from reliability.report.money_summary import CUSTOMERS_GAIN
from reliability.report.palette import BLUE, GREY, INK, ORANGE, PAPER, PLUM, SAND, TEAL, see_through
from reliability.schema.units import spoken_unit
from reliability.ui.plotting import axis, layout, named_lines, pattern, picture, upright
from reliability.ui.text import label

_PARTS = (("callout_saving", "Call-outs saved", BLUE, ""), ("energy_saving", "Energy margin", TEAL, "x"),
          ("incentive", "Incentive", SAND, "."), ("interruption_cost_saving", CUSTOMERS_GAIN, PLUM, "\\"))
DRIVERS_SHOWN = 12
MONEY_BINS = 50
NOTE_TO_THE_LEFT = 0.7          # of the most capital: from here on a note stands to the left of its point
LEGEND_BELOW = {"orientation": "h", "y": -0.32, "yanchor": "top", "x": 0}       # a key below the picture


def cashflow_chart(flow: pd.DataFrame, currency: str, large: bool = False) -> go.Figure:
    """Cash flow of one scenario by year, and its discounted sum.

    flow: rows of cashflow.csv of the scenario.
    """
    unit, years = label(currency), flow["year"].tolist()
    traces: list[dict[str, object]] = [
        {"type": "bar", "x": years, "y": flow[column].tolist(), "name": _signed_name(name, flow[column].sum()),
         "marker": {"color": colour, "pattern": pattern(shape)}}
        for column, name, colour, shape in _PARTS if np.any(flow[column].to_numpy() != 0)]
    traces += [
        {"type": "bar", "x": years, "y": (-(flow["capex"] + flow["inspection"])).tolist(),
         "name": "Capital and inspection", "marker": {"color": ORANGE, "pattern": pattern("/")}},
        {"type": "scatter", "x": years, "y": flow["discounted"].cumsum().tolist(), "mode": "lines+markers",
         "name": "Cumulative present value", "line": {"color": INK, "width": 3}, "marker": {"size": 6}}]
    return picture(traces, layout(380, large, bargap=0.25, barmode="relative", xaxis=axis("Year", dtick=2),
                                  yaxis=axis(f"Money, {unit}", tickformat=TICK)))


def _signed_name(name: str, total: float) -> str:
    """Name of a part of the cash flow; of one that is a cost, that it is added."""
    return name if total >= 0 else name.replace("saved", "added")


def npv_chart(npv: np.ndarray, currency: str, large: bool = False) -> go.Figure:
    """How the net present value spreads over the trials, losses marked."""
    low, high = np.percentile(npv, [0.25, 99.75])
    edges = np.linspace(min(low, 0.0) if low < high * 0.2 else low, max(high, low + 1.0), MONEY_BINS + 1)
    shares = np.histogram(npv, edges)[0] / len(npv)
    middle = (edges[:-1] + edges[1:]) / 2
    traces: list[dict[str, object]] = [
        {"type": "bar", "x": middle[where].tolist(), "y": shares[where].tolist(), "width": float(edges[1] - edges[0]),
         "name": name, "marker": {"color": colour, "pattern": pattern(shape), "line": {"width": 0}},
         "hovertemplate": f"%{{x:{HOVER}}}: %{{y:{HOVER_SHARE}}}<extra></extra>"}
        for where, name, colour, shape in ((middle < 0, "loses", ORANGE, "/"), (middle >= 0, "pays", BLUE, ""))
        if shares[where].sum() > 0]
    places = {p: float(np.percentile(npv, p)) for p in (10, 50, 90)}
    shapes, notes = named_lines({f"P{p}: {compact(at)}": at for p, at in places.items()}, float(np.ptp(edges)))
    shapes.append(upright(0, color=INK, width=2))
    return picture(traces, layout(380, large, bargap=0.05, barmode="overlay", shapes=shapes, annotations=notes,
                                  margin={"l": 10, "r": 10, "t": 76, "b": 10}, legend=LEGEND_BELOW,
                                  xaxis=axis(f"Net present value, {label(currency)}", tickformat=TICK),
                                  yaxis=axis("Share of trials", tickformat=TICK_SHARE)))


def drivers_chart(drivers: pd.DataFrame, currency: str, large: bool = False) -> go.Figure:
    """What moves the net present value most: each assumption at its low and high end, the others as they are.

    drivers: rows of drivers.csv of one scenario.
    """
    top = drivers.head(DRIVERS_SHOWN).iloc[::-1]
    base = float(top["npv"].iloc[0])
    names = [f"{name} ({shown(low, 'any')}–{shown(high, 'any')}{spoken_unit(key, label(currency))})"
             for name, key, low, high in zip(top["label"], top["assumption"], top["low"], top["high"], strict=True)]
    traces: list[dict[str, object]] = [
        {"type": "bar", "y": names, "x": (top[column] - base).tolist(), "base": base, "orientation": "h", "name": name,
         "marker": {"color": colour, "pattern": pattern(shape)}, "customdata": top[column].tolist(),
         "hovertemplate": f"%{{y}}: %{{customdata:{HOVER}}}<extra></extra>"}
        for column, name, colour, shape in (("npv_low", "assumption at its low end", SAND, "/"),
                                            ("npv_high", "assumption at its high end", BLUE, ""))]
    shapes, ends = [upright(base, color=INK, width=1.5)], top[["npv_low", "npv_high"]].to_numpy()
    if ends.min() <= 0 <= ends.max():
        shapes.append(upright(0, color=ORANGE, width=2, dash="dash"))
    return picture(traces, layout(max(300, 32 * len(top) + 110), large, bargap=0.3, barmode="overlay", shapes=shapes,
                                  xaxis=axis(f"Net present value, {label(currency)}", tickformat=TICK),
                                  yaxis={"automargin": True, "type": "category"}))


def frontier_chart(frontier: pd.DataFrame, chosen: Mapping[str, float] | None, currency: str,
                   large: bool = False) -> go.Figure:
    """The most SAIDI that each budget can avoid, with which devices, and where the choice stands."""
    mix = mixes(frontier)
    traces: list[dict[str, object]] = [
        {"type": "scatter", "x": frontier["capex"].tolist(), "y": frontier["saidi_minutes_avoided"].tolist(),
         "mode": "lines+markers", "name": "Most that can be avoided", "line": {"color": BLUE, "width": 3},
         "marker": {"size": 7}, "text": [label(m, 90) for m in mix],
         "customdata": frontier[["laterals", "npv"]].to_numpy().tolist(),
         "hovertemplate": f"%{{x:{HOVER}}} {label(currency)}: %{{y:{HOVER}}} min a year, "
                          f"%{{customdata[0]:{HOVER_COUNT}}} laterals, NPV %{{customdata[1]:{HOVER}}} "
                          f"{label(currency)}<br>%{{text}}<extra></extra>"}]
    pays = frontier[frontier["npv"] > 0]
    if len(pays):
        traces.append({"type": "scatter", "x": pays["capex"].tolist(), "y": pays["saidi_minutes_avoided"].tolist(),
                       "mode": "markers", "name": "… and pays", "hoverinfo": "skip",
                       "marker": {"size": 13, "symbol": "circle-open", "color": TEAL, "line": {"width": 2.5}}})
    if chosen:
        traces.append({"type": "scatter", "x": [chosen["capex"]], "y": [chosen["saidi_minutes_avoided"]],
                       "mode": "markers", "name": "This selection",
                       "marker": {"size": 16, "symbol": "diamond", "color": ORANGE,
                                  "line": {"color": INK, "width": 1.5}}})
    top = float(frontier["saidi_minutes_avoided"].max()) or 1.0
    capital = frontier["capex"].to_numpy(float)
    # below the curve, where nothing is: to the right of a point, or to its left where the picture ends
    side = {i: ("right", -14) if capital[i] > NOTE_TO_THE_LEFT * capital.max() else ("left", 14)
            for i in changes(frontier)}
    notes = [{"x": float(capital[i]), "y": float(frontier["saidi_minutes_avoided"].iloc[i]),
              "text": "<br>".join(label(mix[i], 90).split(", ")), "align": at, "xanchor": at,
              "yanchor": "top", "ax": shift, "ay": 30, "arrowcolor": GREY, "arrowwidth": 1, "arrowhead": 0,
              "bgcolor": see_through(PAPER, 0.85)} for i, (at, shift) in side.items()]
    return picture(traces, layout(380, large, annotations=notes,
                                  xaxis=axis(f"Capital, {label(currency)}", tickformat=TICK, rangemode="tozero"),
                                  yaxis=axis("SAIDI avoided, minutes a year", range=[0.0, 1.12 * top])))


def programme_chart(programme: pd.DataFrame, currency: str, large: bool = False) -> go.Figure:
    """What a programme spends and brings by year."""
    years = programme.groupby("year")[["capex"]].sum()
    brought = programme.groupby("year")["cumulative_saidi_minutes_avoided"].last()
    traces: list[dict[str, object]] = [
        {"type": "bar", "x": years.index.tolist(), "y": years["capex"].tolist(), "name": "Capital of the year",
         "marker": {"color": BLUE}},
        {"type": "scatter", "x": brought.index.tolist(), "y": brought.tolist(), "yaxis": "y2", "mode": "lines+markers",
         "name": "SAIDI avoided so far (right)", "line": {"color": ORANGE, "width": 3},
         "marker": {"size": 9, "symbol": "diamond"}}]
    return picture(traces, layout(330, large, xaxis=axis("Year", dtick=1),
                                  yaxis=axis(f"Capital, {label(currency)}", tickformat=TICK, rangemode="tozero"),
                                  yaxis2=axis("SAIDI avoided, minutes a year", overlaying="y", side="right",
                                              rangemode="tozero", showgrid=False)))
