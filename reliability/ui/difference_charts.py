"""How the difference between two scenarios spreads, year by year under the same faults and over a whole horizon.

Two scenarios' years lie almost on one another, as both have the same storms; what a change brings shows in the
difference, year by year.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from reliability.formats import HOVER_CHANGE, HOVER_SHARE, TICK_SHARE, probability, signed_number
from reliability.indices.spread import PERCENTILES
from reliability.report.palette import BLUE, GREY, INK, ORANGE, see_through
from reliability.ui.plotting import axis, layout, named_lines, picture, upright
from reliability.ui.text import label
from reliability.ui.trials import SimulatedSpread

BINS, SHOWN_PERCENTILES = 60, (2.0, 98.0)       # percentiles at which the picture ends
ONE_YEAR, AVERAGE = "single year", "average year of a trial"


def changes_of(spread: SimulatedSpread, first: int, second: int) -> dict[str, np.ndarray]:
    """SAIDI of the second scenario less the first, minutes: of single years (y,), and of a trial's mean (trials,)."""
    return {ONE_YEAR: (spread.saidi[second] - spread.saidi[first]).astype(float),
            AVERAGE: (spread.saidi_average[second] - spread.saidi_average[first]).astype(float)}


def _binned(spread: SimulatedSpread, first: int, second: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Edges (b + 1,) and the share of years, and of averages, in each bin; the furthest years lie beyond."""
    of = changes_of(spread, first, second)
    low, high = np.percentile(of[ONE_YEAR], SHOWN_PERCENTILES)
    low, high = min(low, 0.0), max(high, 0.0)
    edges = np.linspace(low, high if high > low else low + 1.0, BINS + 1)
    return edges, {name: np.histogram(values, edges)[0] / len(values)
                   for name, values in of.items()}


def difference_chart(spread: SimulatedSpread, first: int, second: int, large: bool = False,
                     stale: bool = False) -> go.Figure:
    """Distribution of the yearly and of the average difference in SAIDI, with the percentiles of the average."""
    edges, heights = _binned(spread, first, second)
    traces: list[dict[str, object]] = []
    for (name, shares), colour, dash in zip(heights.items(), (BLUE, ORANGE), ("solid", "dash"), strict=True):
        shade = GREY if stale else colour
        traces.append({
            "type": "scatter", "x": edges.round(4), "y": np.append(shares, 0.0).round(5), "mode": "lines",
            "line": {"color": shade, "shape": "hv", "width": 2.5, "dash": dash}, "fill": "tozeroy",
            "fillcolor": see_through(shade, 0.14), "name": name.capitalize(),
            "hovertemplate": f"%{{x:{HOVER_CHANGE}}} min: %{{y:{HOVER_SHARE}}}<extra></extra>"})
    average = changes_of(spread, first, second)[AVERAGE]
    shapes, notes = named_lines({f"P{p}: {signed_number(v)}": float(v) for p, v in zip(
        PERCENTILES, np.percentile(average, PERCENTILES), strict=True)}, float(np.ptp(edges)))
    shapes.append(upright(0, color=INK, width=2))
    title = f"SAIDI, {label(spread.names[second], 24)} less {label(spread.names[first], 24)}, minutes a year"
    return picture(traces, layout(360, large, shapes=shapes, annotations=notes, showlegend=True,
                                  margin={"l": 10, "r": 10, "t": 64, "b": 10},
                                  legend={"orientation": "h", "y": -0.36, "yanchor": "top", "x": 0},
                                  xaxis=axis(title, range=[edges[0], edges[-1]]),
                                  yaxis=axis("Share", tickformat=TICK_SHARE, rangemode="tozero")))


def difference_words(spread: SimulatedSpread, first: int, second: int) -> str:
    """How often the second scenario has less SAIDI than the first, in a year and over a trial's years."""
    of = changes_of(spread, first, second)
    years, average = (float((values < 0).mean()) for values in of.values())
    low, high = np.percentile(of[AVERAGE], (PERCENTILES[0], PERCENTILES[-1]))
    return (f"{spread.names[second]} has less SAIDI than {spread.names[first]} in {probability(years)} of years and in "
            f"{probability(average)} of averages over {spread.years} years; 80 % range of such an average: "
            f"{signed_number(low)} to {signed_number(high)} minutes a year.")


def difference_data(spread: SimulatedSpread, first: int, second: int) -> pd.DataFrame:
    """The numbers of `difference_chart`."""
    edges, heights = _binned(spread, first, second)
    return pd.DataFrame({"difference_min_from": edges[:-1], "difference_min_to": edges[1:],
                         **{f"share, {name}": shares for name, shares in heights.items()}})
