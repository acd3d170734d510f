"""Pictures of single laterals: fault current along them, and why laterals fail their checks."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from reliability.formats import HOVER, number
from reliability.network.application import ApplicationChecks, verdict_counts
from reliability.network.application_catalogue import VERDICTS
from reliability.network.model import Model
from reliability.network.rates import fault_currents_a
from reliability.network.tree import Network
from reliability.report.palette import BLUE, GREY, INK, ORANGE, PAPER, VERDICT_FILLS, see_through
from reliability.schema.values import Assumptions
from reliability.ui.plotting import axis, layout, log_axis, pattern, picture
from reliability.ui.text import label

CURVE_POINTS = 12                        # of each section's curve
MOST_SECTIONS = 120


def profile(network: Network, head: int, values: Assumptions) -> pd.DataFrame:
    """Fault current along every section of a lateral: section_id, km from the lateral's head, current_a.

    Currents are those stated times `fault_current_factor`, as the model and the checks see them. Impedance grows
    linearly along a section, so 1/I does (model §2). Sections without currents are left out.
    """
    sections = np.arange(head, head + int(network.size[head]))[:MOST_SECTIONS]
    length = np.nan_to_num(network.column["length_km"])
    start = network.along_path(length) - length
    start = start - start[head]
    share = np.linspace(0.0, 1.0, CURVE_POINTS)
    parts, currents = [], fault_currents_a(Model(network, values))
    for i in sections.tolist():
        source, end = (float(side[i]) for side in currents)
        if np.isfinite(source) and np.isfinite(end):
            parts.append(pd.DataFrame({"section_id": str(network.ids[i]), "km": start[i] + share * length[i],
                                       "current_a": 1.0 / ((1.0 - share) / source + share / end)}))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=["section_id", "km", "current_a"])


def profile_chart(curve: pd.DataFrame, actuating_a: float, ceiling_a: float, large: bool = False,
                  unit: tuple[str, float] = ("km", 1.0)) -> go.Figure:
    """Fault current along the lateral against actuating current and the largest current for fuse saving.

    unit: of lengths, and how many kilometres it has.
    """
    word, km = unit
    traces: list[dict[str, object]] = [
        {"type": "scatter", "x": (part["km"] / km).tolist(), "y": part["current_a"].tolist(), "mode": "lines",
         "line": {"color": BLUE, "width": 3}, "name": "Fault current",
         "hovertemplate": f"{label(name)}<br>%{{x:{HOVER}}} {word}: %{{y:{HOVER}}} A<extra></extra>"}
        for name, part in curve.groupby("section_id", sort=False)]
    notes, reach = [], float(curve["km"].max()) / km if len(curve) else 1.0
    for level, name, colour, dash in ((actuating_a, "actuating current", ORANGE, "dash"),
                                      (ceiling_a, "largest current for fuse saving, as built", GREY, "dot")):
        if np.isfinite(level) and level > 0:
            traces.append({"type": "scatter", "x": [0, reach], "y": [level, level], "mode": "lines",
                           "hoverinfo": "skip", "line": {"color": colour, "width": 2.5, "dash": dash}})
            notes.append({"x": reach, "y": float(np.log10(level)), "text": f"{name}, {number(level)} A",
                          "showarrow": False, "xanchor": "right", "yanchor": "bottom", "font": {"color": INK},
                          "bgcolor": see_through(PAPER, 0.8)})
    return picture(traces, layout(330, large, showlegend=False, annotations=notes,
                                  xaxis=axis(f"Distance from the lateral's head, {word}", rangemode="tozero"),
                                  yaxis=log_axis("Fault current, A (logarithmic)",
                                                 [*curve["current_a"], actuating_a, ceiling_a])))


def verdicts_chart(checks: ApplicationChecks, large: bool = False) -> go.Figure:
    """Why laterals do not pass: for each check the laterals by verdict, those that pass left out."""
    counts = verdict_counts(checks)
    not_passing = [v for v in VERDICTS if v != "pass"]
    counts = counts[counts[not_passing].sum(axis=1) > 0]
    counts = counts.iloc[np.argsort(counts[not_passing].sum(axis=1).to_numpy(), kind="stable")]
    traces: list[dict[str, object]] = []
    for verdict in ("fail", "unknown", "review"):
        colour, shape = VERDICT_FILLS[verdict]
        traces.append({
            "type": "bar", "y": counts["label"].tolist(), "x": counts[verdict].tolist(), "orientation": "h",
            "name": verdict, "marker": {"color": colour, "pattern": pattern(shape)},
            "hovertemplate": "%{y}: %{x} laterals<extra>" + verdict + "</extra>"})
    return picture(traces, layout(max(220, 34 * len(counts) + 110), large, barmode="stack",
                                  xaxis=axis("Laterals", rangemode="tozero"), yaxis={"automargin": True}))
