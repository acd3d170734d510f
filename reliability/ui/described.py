"""A chart that `report` describes, drawn by plotly; the documents draw the same description as a picture.

plotly reads markup in names, so every text is escaped.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import plotly.graph_objects as go

from reliability.formats import HOVER, exact
from reliability.report.chart import (
    DATE,
    LOG_AXIS,
    Axis,
    BarChart,
    Bars,
    Chart,
    Line,
    MapChart,
    Numbers,
    Places,
    PlotChart,
    Points,
    Rectangles,
    Words,
)
from reliability.report.palette import GRID, INK, PAPER, fill, see_through
from reliability.ui.described_map import map_figure
from reliability.ui.plotting import BAR_GAP, PLOTLY_DASHES, axis, layout, log_axis, pattern, picture
from reliability.ui.text import label

SERIES_SYMBOLS = ("circle", "diamond", "square", "triangle-up", "triangle-down")
SMALL_LABELS = 12                         # size of the type of labels
CROWD = 100                        # more points are drawn small and faint


def figure(chart: Chart, large: bool = False, height: int = 370) -> go.Figure:
    """The chart on the screen; its title stands on the page above it."""
    if isinstance(chart, MapChart):
        return map_figure(chart, large, height)
    if isinstance(chart, BarChart):
        traces, axes = _bars(chart)
    else:
        traces, axes = _plot(chart)
    return picture(traces, layout(height, large, hovermode="closest") | axes)


def _bars(chart: BarChart) -> tuple[list[dict[str, object]], dict[str, object]]:
    names = [label(n) or "(blank)" for n in chart.categories]
    measured, across = ("xaxis", "yaxis") if chart.lying else ("yaxis", "xaxis")
    traces = [_one(chart, bars, names) for bars in chart.bars]
    if chart.line is not None:
        traces.append(_line(replace(chart.line, x=names)))
    traces += [{"type": "scatter", "x": [None], "y": [None], "mode": "lines", "name": label(r.name, 60),
                "line": {"color": INK, "dash": PLOTLY_DASHES[r.dash]}} for r in chart.references]      # for the key
    more: dict[str, object] = {"rangemode": "tozero"} if not any(b.dots for b in chart.bars) else {}
    ends = [v for b in chart.bars for v in np.asarray(b.values, dtype=float) if np.isfinite(v)]
    if (chart.lying or _crossed(chart)) and more and any(b.labels is not None for b in chart.bars) and (
            min(ends, default=0.0) >= 0):
        ends += [r.at for r in chart.references]
        more = {"range": [0.0, 1.18 * (max(ends, default=0.0) or 1.0)]}      # room for the labels
    categories = axis(label(chart.category), type="category", showgrid=False,
                      **({"autorange": "reversed"} if chart.lying else {}))
    at = "x" if chart.lying else "y"
    shapes = [{"type": "line", f"{at}0": r.at, f"{at}1": r.at, "line": {"color": INK, "dash": PLOTLY_DASHES[r.dash]},
               **({"y0": 0, "y1": 1, "yref": "paper"} if chart.lying else {"x0": 0, "x1": 1, "xref": "paper"})}
              for r in chart.references]
    notes = [note for k, bars in enumerate(chart.bars) for note in _labels(chart, bars, k)] if _crossed(chart) else []
    reach = [v for b in chart.bars for some in (b.values, b.low, b.high) if some is not None for v in some]
    return traces, {measured: _axis(chart.value, reach) | more, across: categories, "shapes": shapes,
                    "annotations": notes, "showlegend": len(traces) > 1,
                    "barmode": "overlay" if chart.overlaid else "group"}


def _crossed(chart: BarChart) -> bool:
    """Whether lines of reference may run through the labels of upright bars."""
    return bool(chart.references) and not (chart.lying or chart.overlaid)


def _labels(chart: BarChart, bars: Bars, number: int) -> list[dict[str, object]]:
    """Labels of a group's bar number `number` on a ground of their own, which no line of reference crosses."""
    width = (1.0 - BAR_GAP) / len(chart.bars)
    shift = width * (number - 0.5 * (len(chart.bars) - 1))
    return [{"x": k + shift, "y": float(value), "text": label(text), "showarrow": False, "yanchor": "bottom",
             "yshift": 1, "borderpad": 0, "font": {"size": SMALL_LABELS}, "bgcolor": see_through(PAPER, 0.85)}
            for k, (value, text) in enumerate(zip(bars.values, bars.labels or (), strict=False)) if text]


def _one(chart: BarChart, bars: Bars, names: list[str]) -> dict[str, object]:
    colour, shape = fill(bars.fill)
    values = np.asarray(bars.values, dtype=float)
    along, up = ("x", "y") if chart.lying else ("y", "x")
    trace: dict[str, object] = {along: values, up: names, "name": label(bars.name)}
    if bars.dots:
        trace |= {"type": "scatter", "mode": "markers",
                  "marker": {"size": 10, "color": colour, "symbol": SERIES_SYMBOLS[bars.fill % len(SERIES_SYMBOLS)]}}
    else:
        trace |= {"type": "bar", along: values - bars.base, "base": bars.base,
                  "marker": {"color": colour, "pattern": pattern(shape)}}
        trace |= {"orientation": "h"} if chart.lying else {}
        if bars.labels is not None and not _crossed(chart):
            trace |= {"text": [label(t) for t in bars.labels], "textposition": "outside", "cliponaxis": False,
                      "constraintext": "none", "textangle": 0, "textfont": {"size": SMALL_LABELS}}
    if bars.low is not None and bars.high is not None:
        trace[f"error_{along}"] = _interval(values, bars.low, bars.high, INK)
    return trace


def _plot(chart: PlotChart) -> tuple[list[dict[str, object]], dict[str, object]]:
    draw: dict[type, Callable[[Any], dict[str, object]]] = {
        Line: _line, Points: _points, Rectangles: _areas, Words: _words}
    traces = [draw[type(s)](s) for s in chart.series]
    if not chart.equal:
        return traces, {"xaxis": _axis(chart.x, _drawn(chart, "x")), "yaxis": _axis(chart.y, _drawn(chart, "y"))}
    values = [v for s in chart.series if isinstance(s, Line | Points) for v in (*s.x, *s.y) if np.isfinite(v)]
    square = {"range": [0.0, 1.05 * max(values, default=1.0)], "constrain": "domain"}
    return traces, {"xaxis": _axis(chart.x) | square, "yaxis": _axis(chart.y) | square | {"scaleanchor": "x"}}


def _drawn(chart: PlotChart, along: str) -> list[float]:
    """What a chart's lines and points have along an axis that may be logarithmic, "x" or "y"."""
    return [v for s in chart.series if isinstance(s, Line | Points) for v in getattr(s, along)]


def _axis(of: Axis, values: Sequence[float] = ()) -> dict[str, object]:
    """values: what is drawn along it, where it is logarithmic and has no ticks of its own."""
    scale: dict[str, object] = {"type": "date"} if of.scale == DATE else {}
    if of.limits is not None:
        scale["range"] = np.log10(of.limits).tolist() if of.scale == LOG_AXIS else list(of.limits)
    if of.ticks is not None:
        scale |= {"tickmode": "array", "tickvals": list(of.ticks), "ticktext": [exact(t) for t in of.ticks]}
    title = label(of.title, 80)
    return log_axis(title, values, **scale) if of.scale == LOG_AXIS else axis(title, **scale)


def _points(points: Points) -> dict[str, object]:
    colour, crowded = fill(points.fill)[0], len(points.x) > CROWD
    y = np.asarray(points.y, dtype=float)
    names = points.labels if points.labels is not None else points.hover
    trace: dict[str, object] = {
        "type": "scatter", "x": _places(points.x), "y": y, "name": label(points.name, 60),
        "mode": "markers+text" if points.labels is not None else "markers",
        "marker": {"color": colour, "symbol": SERIES_SYMBOLS[points.fill % len(SERIES_SYMBOLS)],
                   "opacity": 0.75 if crowded else 1,
                   "size": 10 if points.large else 5 if crowded else 11,
                   "line": {"color": INK, "width": 1 if points.large else 0}}}
    if names is not None:
        trace |= {"text": [label(n, 14 if points.labels is not None else 40) for n in names],
                  "hovertemplate": f"%{{text}}: %{{x:{HOVER}}}, %{{y:{HOVER}}}<extra></extra>"}
    if points.labels is not None:
        trace |= {"textposition": _sides(points.x, y), "cliponaxis": False, "textfont": {"size": SMALL_LABELS}}
    if points.low is not None and points.high is not None:
        trace["error_y"] = _interval(y, points.low, points.high, see_through(colour, 0.25)) | {"width": 0}
    return trace


# sides on which a name may stand: (word of plotly, its middle from the point and half its size in shares of the axes)
_SIDES = (("middle right", (0.085, 0.0)), ("middle left", (-0.085, 0.0)), ("top center", (0.0, 0.045)),
          ("bottom center", (0.0, -0.045)), ("top right", (0.06, 0.045)), ("bottom right", (0.06, -0.045)),
          ("top left", (-0.06, 0.045)), ("bottom left", (-0.06, -0.045)))
_HALF_NAME = np.array([0.055, 0.022])


def _sides(x: Places, y: np.ndarray) -> list[str]:
    """On which side of each point its name stands: the first side on which it covers no point and no name before."""
    if not len(x):
        return []
    at = np.column_stack([np.asarray(x, dtype=float), y])
    at = at / np.maximum(np.nanmax(np.abs(at), axis=0), 1e-9)
    taken, sides = at.copy(), []
    half = np.tile(0.4 * _HALF_NAME, (len(at), 1))       # of a mark
    for place in at:
        cover = [int((np.abs(taken - place - shift) < half + _HALF_NAME).all(axis=1).sum()) for _, shift in _SIDES]
        best = int(np.argmin(cover))
        sides.append(_SIDES[best][0])
        taken, half = np.vstack([taken, place + _SIDES[best][1]]), np.vstack([half, _HALF_NAME])
    return sides


def _line(line: Line) -> dict[str, object]:
    colour = INK if line.fill is None else fill(line.fill)[0]
    return {"type": "scatter", "x": _places(line.x), "y": np.asarray(line.y, dtype=float), "name": label(line.name, 60),
            "mode": "lines+markers" if line.marked else "lines", "line": {"color": colour, "width": 2,
                                                                          "dash": PLOTLY_DASHES[line.dash]}}


def _areas(areas: Rectangles) -> dict[str, object]:
    """All rectangles as one outline, broken between them."""
    colour, shape = (GRID, "") if areas.fill is None else fill(areas.fill)
    x, y = [], []
    for left, right, bottom, top in zip(areas.left, areas.right, areas.bottom, areas.top, strict=True):
        x += [left, right, right, left, left, None]
        y += [bottom, bottom, top, top, bottom, None]
    return {"type": "scatter", "x": x, "y": y, "name": label(areas.name, 60), "mode": "lines", "line": {"width": 0},
            "fill": "toself", "fillcolor": colour, "fillpattern": pattern(shape), "hoverinfo": "name",
            "hoveron": "fills"}


def _words(words: Words) -> dict[str, object]:
    return {"type": "scatter", "x": list(words.x), "y": list(words.y), "text": [label(t) for t in words.texts],
            "name": label(words.name, 60), "mode": "text", "textposition": "middle right", "hoverinfo": "skip",
            "showlegend": False}


def _places(x: Places) -> list[float] | list[str]:
    """Numbers, or days as text, which plotly reads as dates."""
    values = np.asarray(x)
    return values.astype("datetime64[D]").astype(str).tolist() if values.dtype.kind == "M" else values.tolist()


def _interval(values: np.ndarray, low: Numbers, high: Numbers, colour: str) -> dict[str, object]:
    return {"type": "data", "symmetric": False, "array": np.asarray(high, dtype=float) - values,
            "arrayminus": values - np.asarray(low, dtype=float), "color": colour, "thickness": 1.5}
