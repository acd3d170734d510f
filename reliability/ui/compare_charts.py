"""Pictures of the meeting's page: scenarios side by side, year-to-year variation, impact by customer group."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from reliability.formats import HOVER, HOVER_CHANGE, HOVER_SHARE, TICK_SHARE, number, shown, signed_number
from reliability.indices.customer_groups import customer_groups
from reliability.report.palette import BLUE, GREY, INK, ORANGE, PAPER, see_through, series
from reliability.ui.plotting import axis, layout, pattern, picture
from reliability.ui.text import label
from reliability.ui.trials import SimulatedSpread
from reliability.what_if import ScenarioResults

COMPARED_MEASURES = (("saifi", "SAIFI", "interruptions a year"), ("saidi_min", "SAIDI", "minutes a year"),
                     ("maifi_e", "MAIFI<sub>E</sub>", "events a year"), ("callouts", "Call-outs", "a year"))
PLAIN_NAMES = {"saifi": "SAIFI", "saidi_min": "SAIDI", "maifi_e": "MAIFI_E", "callouts": "call-outs"}
BINS = 60


def value(now: ScenarioResults, scenario: int, key: str) -> float:
    """Expected value of one of COMPARED_MEASURES."""
    return now.callouts[scenario] if key == "callouts" else now.indices[scenario][key]


@dataclass(frozen=True)
class Indices:
    """Indices of scenarios as `bars` shows them: of a state or of a recorded run.

    expected: by key of COMPARED_MEASURES, of each scenario. simulated: quantiles of a year by key, of each scenario.
    """

    names: list[str]
    expected: list[dict[str, float]]
    simulated: list[dict[str, dict[str, float]]] | None = None


def indices_of(now: ScenarioResults, spread: SimulatedSpread | None) -> Indices:
    """Indices of a state."""
    return Indices(now.names, [{key: value(now, s, key) for key,
                                *_ in COMPARED_MEASURES} for s in range(len(now.names))],
                   spread.summaries if spread else None)


def bars(shown: Indices, large: bool = False, columns: int = 4) -> go.Figure:
    """A panel a measure, a bar a scenario: expected values, and P10 to P90 of a year where they are simulated."""
    traces: list[dict[str, object]] = []
    notes: list[dict[str, object]] = []
    axes: dict[str, object] = {}
    rows = -(-len(COMPARED_MEASURES) // columns)
    for k, (key, name, unit) in enumerate(COMPARED_MEASURES):
        at, across, down = "" if k == 0 else str(k + 1), k % columns, k // columns
        values = [of[key] for of in shown.expected]
        traces += [_bar(shown, s, k, unit) for s in range(len(shown.names))]
        domain = [across / columns + (0.05 if across else 0.0), (across + 1) / columns - 0.012]
        upright = [1.0 - (down + 1) / rows + (0.16 if down < rows - 1 else 0.0), 1.0 - down / rows - 0.06 * bool(down)]
        axes[f"xaxis{at}"] = {
            "domain": domain, "anchor": f"y{at}", "linecolor": GREY, "tickvals": list(range(len(values))),
            "ticktext": [f"<b>{number(v)}</b>" for v in values], "tickangle": 0 if len(values) < 6 else -90,
            "automargin": True}
        axes[f"yaxis{at}"] = axis("", rangemode="tozero", anchor=f"x{at}", domain=upright)
        notes.append({"text": f"<b>{name}</b>, {unit}", "x": domain[0] - (0.03 if across else 0.02), "y": upright[1],
                      "xref": "paper", "yref": "paper", "showarrow": False, "xanchor": "left", "yanchor": "bottom",
                      "align": "left", "yshift": 6})
    below = (-0.12 if rows == 1 else -0.09) - 0.1 * (len(shown.names) >= 6)      # room for upright figures
    legend = {"orientation": "h", "y": below, "yanchor": "top", "x": 0}
    return picture(traces, layout(300 if rows == 1 else 470, large, legend=legend, annotations=notes,
                                  margin={"l": 10, "r": 10, "t": 34, "b": 10}) | axes)


def _bar(shown: Indices, s: int, panel: int, unit: str) -> dict[str, object]:
    """The bar of one scenario in one panel."""
    key, at = COMPARED_MEASURES[panel][0], "" if panel == 0 else str(panel + 1)
    expected, (colour, shape), name = shown.expected[s][key], series(s), label(shown.names[s])
    trace: dict[str, object] = {
        "type": "bar", "x": [s], "y": [expected], "xaxis": f"x{at}", "yaxis": f"y{at}", "name": name,
        "legendgroup": str(s), "showlegend": panel == 0,
        "hovertemplate": f"{name}: %{{y:{HOVER}}} {unit}<extra></extra>",
        "marker": {"color": colour, "pattern": pattern(shape), "line": {"color": colour, "width": 1}}}
    if shown.simulated:
        of = shown.simulated[s][key]
        trace["error_y"] = {"type": "data", "symmetric": False, "array": [of["p90"] - expected],
                            "arrayminus": [expected - of["p10"]], "color": INK, "thickness": 1.5, "width": 6}
    return trace


def bars_data(shown: Indices) -> pd.DataFrame:
    """The numbers of `bars`."""
    rows = []
    for s, scenario in enumerate(shown.names):
        for key, _, unit in COMPARED_MEASURES:
            of = shown.simulated[s][key] if shown.simulated else {}
            rows.append({"scenario": scenario, "index": PLAIN_NAMES[key], "unit": unit,
                         "expected": shown.expected[s][key],
                         **{p: of.get(p) for p in ("mean", "se", "p10", "p50", "p90")}})
    return pd.DataFrame(rows)


def bars_alt(shown: Indices) -> str:
    """What `bars` shows, in words."""
    parts = [f"{name}: " + ", ".join(f"{PLAIN_NAMES[key]} {number(of[key])}" for key, *_ in COMPARED_MEASURES)
             for name, of in zip(shown.names, shown.expected, strict=True)]
    more = " Whiskers: 80 % range of a single year, P10 to P90." if shown.simulated else ""
    return "Bars of expected indices by scenario. " + "; ".join(parts) + "." + more


def yearly_spread(spread: SimulatedSpread, first: int, second: int, worse_than: float | None, large: bool = False,
                  stale: bool = False) -> go.Figure:
    """How often a year brings how much SAIDI, under two scenarios, on one axis."""
    traces: list[dict[str, object]] = []
    shapes: list[dict[str, object]] = []
    notes: list[dict[str, object]] = []
    edges, heights = _bins(spread, (first, second))
    for place, s in enumerate(dict.fromkeys((first, second))):
        colour = GREY if stale else series(s)[0]
        traces.append({
            "type": "scatter", "x": edges.round(3), "y": np.append(heights[place], 0.0).round(5), "mode": "lines",
            "line": {"color": colour, "shape": "hv", "width": 2.5, "dash": ("solid", "dash")[place]},
            "name": label(spread.names[s], 30), "fill": "tozeroy", "fillcolor": see_through(colour, 0.14),
            "hovertemplate": f"%{{x:{HOVER}}} min: %{{y:{HOVER_SHARE}}}<extra></extra>"})
    if worse_than is not None:
        shapes.append({"type": "line", "x0": worse_than, "x1": worse_than, "y0": 0, "y1": 1, "yref": "paper",
                       "line": {"color": INK, "dash": "dot", "width": 2}})
        notes.append({"x": worse_than, "y": 1, "yref": "paper", "text": f"{number(worse_than)} min", "showarrow": False,
                      "xanchor": "left", "yanchor": "top", "xshift": 4, "bgcolor": PAPER})
    return picture(traces, layout(330, large, shapes=shapes, annotations=notes, showlegend=True,
                                  xaxis=axis("SAIDI of a year, minutes", rangemode="tozero"),
                                  yaxis=axis("Share of years", tickformat=TICK_SHARE, rangemode="tozero")))


def _bins(spread: SimulatedSpread, scenarios: tuple[int, ...]) -> tuple[np.ndarray, list[np.ndarray]]:
    """Edges (b + 1,) up to the 99.5 % point, and the share of years in each bin; the worst years lie beyond."""
    wanted = list(dict.fromkeys(scenarios))
    top = float(np.percentile(spread.saidi[wanted], 99.5)) or 1.0
    edges = np.linspace(0.0, top, BINS + 1)
    shares = [np.histogram(spread.saidi[s], edges)[0] / spread.saidi.shape[1] for s in wanted]
    return edges, shares


def yearly_spread_data(spread: SimulatedSpread, first: int, second: int) -> pd.DataFrame:
    """The numbers of `yearly_spread`."""
    edges, shares = _bins(spread, (first, second))
    columns = {f"share of years, {spread.names[s]}": h
               for s, h in zip(dict.fromkeys((first, second)), shares, strict=True)}
    return pd.DataFrame({"saidi_min_from": edges[:-1], "saidi_min_to": edges[1:], **columns})


def share_worse(spread: SimulatedSpread, scenario: int, saidi_min: float) -> float:
    """Share of simulated years with more SAIDI than `saidi_min`."""
    return float((spread.saidi[scenario] > saidi_min).mean())


def gains(now: ScenarioResults, scenario: int) -> pd.DataFrame:
    """Change of what customers see a year against as built, by group; see `customer_groups`."""
    plans, expected = now.results.table.protections, now.results.expected
    return customer_groups(expected[0], expected[scenario], plans[0], plans[scenario])


def gains_chart(table: pd.DataFrame, large: bool = False) -> go.Figure:
    """Impact by customer group: sustained interruptions beside momentary events, each on its own axis."""
    rows = list(range(len(table)))
    traces, axes = [], {}
    panels = (("sustained", "Sustained interruptions", BLUE, "", "x", [0.0, 0.47]),
              ("momentary", "Momentary events", ORANGE, "/", "x2", [0.53, 1.0]))
    for column, name, colour, shape, at, domain in panels:
        change = table[column].to_numpy()
        traces.append({
            "type": "bar", "y": rows, "x": change, "orientation": "h", "name": name, "xaxis": at, "showlegend": False,
            "width": 0.34, "marker": {"color": colour, "pattern": pattern(shape)},
            "customdata": table["group"].tolist(),
            "text": [signed_number(v) for v in change], "textposition": "outside", "cliponaxis": False,
            "hovertemplate": f"%{{customdata}}: %{{x:{HOVER_CHANGE}}}<extra></extra>"})
        span = max(float(np.abs(change).max(initial=0.0)), 1e-3)
        axes[f"xaxis{at[1:]}"] = axis(
            f"{name}, a year", domain=domain, nticks=4, zerolinecolor=INK,
            range=[-1.7 * span if change.min(initial=0.0) < 0 else -0.15 * span,
                   1.7 * span if change.max(initial=0.0) > 0 else 0.15 * span])
    notes = [{"x": 0, "xref": "paper", "xanchor": "left", "y": k - 0.36, "showarrow": False, "bgcolor": PAPER,
              "text": f"<b>{group}</b>, {shown(customers, 'count')} served"}
             for k, (group, customers) in enumerate(zip(table["group"], table["customers"], strict=True))]
    return picture(traces, layout(330, large, annotations=notes,
                                  yaxis={"range": [len(rows) - 0.6, -0.6], "visible": False}) | axes)
