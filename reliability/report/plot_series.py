"""Bars, points, lines and the words beside them, put onto matplotlib's axes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from reliability.report.chart import (
    DASHED,
    DOTTED,
    LOG_AXIS,
    SOLID,
    BarChart,
    Bars,
    Line,
    Numbers,
    Points,
    Rectangles,
    Series,
    Words,
)
from reliability.report.palette import GRID, INK, PAPER, SOFT, fill
from reliability.report.plot_layout import OnePicture
from reliability.schema.problems import shorten

TYPE_SIZE, SMALL_TYPE = 8.5, 7.5             # points of type
LETTER = 0.6 * TYPE_SIZE / 72           # width of a letter in inches: for what has to fit before it is laid out
LONGEST_LABEL, LONGEST_IN_KEY = 34, 60    # letters of a name
HATCHES = {"": "", "/": "////", "x": "xxxx", "-": "----", "\\": "\\\\\\\\", ".": "...", "+": "+++", "|": "||||"}
DASHES: dict[str, Any] = {SOLID: "-", DASHED: (0, (5, 2.5)), DOTTED: (0, (1.2, 1.8))}
MARKERS = ("o", "D", "s", "^", "v")
CLEAR = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.4}
FILLED = 0.78                      # of the room of a category that its bars take
FAR_PLACES = ((14, 12), (-14, 12), (14, -12))    # where a reader may take a name for another point's
# where a name may stand beside its point, in points of type: right, left, above, below, and the corners
LABEL_PLACES = ((6, 0), (-6, 0), (0, 8), (0, -8), (6, 7), (-6, 7), (6, -7), (-6, -7), *FAR_PLACES)


def name(text: object, most: int = LONGEST_LABEL) -> str:
    """A name from the user's files, short enough for a chart."""
    return shorten(str(text), most) or "(blank)"


def draw_bars(axes: Axes, chart: BarChart, wide: float) -> None:
    """All bars of a chart with their intervals and labels, its line, and lines across at its references."""
    places = np.arange(len(chart.categories), dtype=float)
    beside = 1 if chart.overlaid else max(len(chart.bars), 1)
    thick = FILLED / beside
    across = axes.axvline if chart.lying else axes.axhline
    if chart.value.scale != LOG_AXIS and not any(b.dots or b.base for b in chart.bars):
        across(0.0, color=SOFT, linewidth=0.8)
    for i, bars in enumerate(chart.bars):
        at = places + (0.0 if chart.overlaid else thick * (i - (beside - 1) / 2))
        if not bars.faint:
            (_dots if bars.dots else _boxes)(axes, chart, bars, at, thick)
        if bars.low is not None and bars.high is not None:
            look: dict[str, Any] = {}
            if bars.faint:
                look = {"elinewidth": 0.8, "ecolor": SOFT, "label": name(bars.name, LONGEST_IN_KEY), "zorder": 2}
            elif bars.dots:
                look = {"elinewidth": 2.4, "ecolor": fill(bars.fill)[0]}
            _interval(axes, at, np.asarray(bars.values, dtype=float), bars.low, bars.high, chart.lying, **look)
    if chart.line is not None:
        _line(axes, replace(chart.line, x=places))
    for reference in chart.references:
        across(reference.at, color=INK, linewidth=1.1, linestyle=DASHES[reference.dash], zorder=1.8,
               label=name(reference.name, LONGEST_IN_KEY))
    _label_ends(axes, chart, places, thick, wide)


def _boxes(axes: Axes, chart: BarChart, bars: Bars, at: np.ndarray, thick: float) -> None:
    colour, pattern = fill(bars.fill)
    length = np.nan_to_num(np.asarray(bars.values, dtype=float) - bars.base)
    look: dict[str, Any] = {"color": colour, "hatch": HATCHES[pattern], "hatchcolor": PAPER, "linewidth": 0,
            "label": name(bars.name, LONGEST_IN_KEY)}
    if chart.lying:
        axes.barh(at, length, thick * 0.96, left=bars.base, **look)
    else:
        axes.bar(at, length, thick * 0.96, bottom=bars.base, **look)


def _dots(axes: Axes, chart: BarChart, bars: Bars, at: np.ndarray, _: float) -> None:
    values = np.asarray(bars.values, dtype=float)
    x, y = (values, at) if chart.lying else (at, values)
    axes.plot(x, y, linestyle="none", marker=MARKERS[bars.fill % len(MARKERS)], markersize=6, color=fill(bars.fill)[0],
              markeredgecolor=INK, markeredgewidth=0.7, label=name(bars.name, LONGEST_IN_KEY), zorder=3)


def _interval(axes: Axes, at: np.ndarray, values: np.ndarray, low: Numbers, high: Numbers,
              lying: bool, **look: Any) -> None:
    reach = np.clip([values - np.asarray(low, dtype=float), np.asarray(high, dtype=float) - values], 0.0, None)
    style: dict[str, Any] = {"ecolor": INK, "elinewidth": 1.2, "capsize": 3, "zorder": 2.5} | look
    if lying:
        axes.errorbar(values, at, xerr=reach, fmt="none", **style)
    else:
        axes.errorbar(at, values, yerr=reach, fmt="none", **style)


def _label_ends(axes: Axes, chart: BarChart, places: np.ndarray, thick: float, wide: float) -> None:
    """A text at the end of each bar, beyond the intervals, and the axis made longer for it.

    Standing bars have theirs turned, or none, where they do not fit beside one another.
    """
    texts = [[t or "" for t in bars.labels] if bars.labels is not None else [""] * len(places) for bars in chart.bars]
    longest = max((len(t) for row in texts for t in row), default=0)
    if not longest:
        return
    room, many = thick * (wide - 0.9) / len(places), sum(bool(t) for row in texts for t in row) > 3
    turned = not chart.lying and many and longest * LETTER * SMALL_TYPE / TYPE_SIZE > room
    if turned and room < 1.2 * SMALL_TYPE / 72:
        return
    furthest = _furthest(chart)
    backs = False
    for i, (bars, row) in enumerate(zip(chart.bars, texts, strict=True)):
        at = places + (0.0 if chart.overlaid else thick * (i - (len(chart.bars) - 1) / 2))
        for place, value, end, text in zip(at, np.asarray(bars.values, dtype=float), furthest[i], row, strict=True):
            if not text or not np.isfinite(value):
                continue
            back = _backward(chart, bars, value)
            backs |= bool(back)
            away = -4 if back else 4
            where, offset = ((end, place), (away, 0)) if chart.lying else ((place, end), (0, away))
            beyond = ("right" if back else "left", "center") if chart.lying else ("center", "top" if back else "bottom")
            axes.annotate(text, where, offset, textcoords="offset points", ha=beyond[0], va=beyond[1],
                          fontsize=SMALL_TYPE, rotation=90 if turned else 0, annotation_clip=False, bbox=CLEAR)
    if not chart.lying and not turned:
        beside = max(0.6, longest * LETTER * len(places) / (2 * (wide - 0.9)) + 0.1)
        axes.set_xlim(-beside, len(places) - 1 + beside)
    side = "x" if chart.lying else "y"
    low, high = getattr(axes, f"get_{side}lim")()
    needs = longest * LETTER + 0.1 if chart.lying or turned else 0.2
    more = needs / (wide - 2.4 if chart.lying else 2.2)
    if chart.value.scale == LOG_AXIS:
        getattr(axes, f"set_{side}lim")(low, high * (high / low) ** more)
    else:
        getattr(axes, f"set_{side}lim")(low - more * (high - low) * backs, high + more * (high - low))


def _backward(chart: BarChart, bars: Bars, values: np.ndarray) -> np.ndarray:
    """Which bars run from their base to smaller values; beside a line labels stay on one side, out of its way."""
    return (values < bars.base) & (not bars.dots and chart.line is None)


def _furthest(chart: BarChart) -> list[np.ndarray]:
    """Where the label of each bar begins: its end or that of its interval, of all where dots lie on one another."""
    ends = []
    for bars in chart.bars:
        values = np.asarray(bars.values, dtype=float)
        low, high = (np.asarray(v, dtype=float) if v is not None else values for v in (bars.low, bars.high))
        back = _backward(chart, bars, values)
        above = values if chart.line is None else np.fmax(values, bars.base)
        ends.append(np.where(back, np.fmin(low, values), np.fmax(np.where(np.isfinite(high), high, above), above)))
    if chart.overlaid and all(b.dots for b in chart.bars):
        return [np.fmax.reduce(ends)] * len(ends)
    return ends


def draw_series(axes: Axes, series: Sequence[Series]) -> None:
    """Points with their intervals, lines, areas and words."""
    for one in series:
        if isinstance(one, Line):
            _line(axes, one)
            continue
        if isinstance(one, Rectangles):
            _areas(axes, one)
            continue
        if isinstance(one, Words):
            _words(axes, one)
            continue
        colour, crowded = fill(one.fill)[0], len(one.x) > 100
        if one.low is not None and one.high is not None:
            thin = {"elinewidth": 0.5, "capsize": 0, "alpha": 0.4, "zorder": 1.5} if crowded else {}
            _interval(axes, np.asarray(one.x, dtype=float), np.asarray(one.y, dtype=float), one.low, one.high, False,
                      ecolor=colour, **thin)
        size = 6.5 if one.large else 2.8 if crowded else 5.5
        axes.plot(one.x, one.y, linestyle="none", marker=MARKERS[one.fill % len(MARKERS)], markersize=size,
                  color=colour, markeredgecolor=INK if one.large else colour, markeredgewidth=0.7 if one.large else 0,
                  alpha=0.75 if crowded else None, label=name(one.name, LONGEST_IN_KEY), zorder=3 if one.large else 2.2)


def _line(axes: Axes, line: Line) -> None:
    axes.plot(line.x, line.y, color=INK if line.fill is None else fill(line.fill)[0], linewidth=1.5,
              linestyle=DASHES[line.dash], marker="o" if line.marked else "", markersize=3.2, zorder=2.6,
              label=name(line.name, LONGEST_IN_KEY))


def _areas(axes: Axes, areas: Rectangles) -> None:
    colour, pattern = (GRID, "") if areas.fill is None else fill(areas.fill)
    corners = zip(areas.left, areas.right, areas.bottom, areas.top, strict=True)
    for k, (left, right, bottom, top) in enumerate(corners):
        axes.fill([left, right, right, left], [bottom, bottom, top, top], color=colour, hatch=HATCHES[pattern],
                  hatchcolor=PAPER, linewidth=0, zorder=0.6 if areas.fill is None else 1.6,
                  label="" if k else name(areas.name, LONGEST_IN_KEY))


def _words(axes: Axes, words: Words) -> None:
    for x, y, text in zip(words.x, words.y, words.texts, strict=True):
        axes.text(x, y, name(text), fontsize=SMALL_TYPE, va="center", ha="left")


def label_points(drawn: Figure, axes: Axes, series: Sequence[Series]) -> None:
    """Names beside points, each at the first place where it touches no other name and no point, if may be no line.

    Where there is none the name is left out: a table holds them all.
    """
    named = [p for p in series if isinstance(p, Points) and p.labels is not None]
    if not named:
        return
    OnePicture().execute(drawn)                     # settles where the axes lie
    drawn.set_layout_engine("none")

    def in_points(x: Any, y: Any) -> np.ndarray:
        """Points of type (n, 2) from the lower left corner of the figure; what lies nowhere is left out."""
        found = np.asarray(axes.transData.transform(np.column_stack([x, y]))) * (72 / drawn.dpi)
        return found[np.isfinite(found).all(axis=1)]

    frame = axes.get_window_extent().transformed(drawn.dpi_scale_trans.inverted())
    left, right, low, high = (72 * side for side in (frame.x0, frame.x1, frame.y0, frame.y1))
    taken = [_around(x, y) for p in series if isinstance(p, Points) for x, y in in_points(p.x, p.y).tolist()]
    lines = [_around(x, y, 1.0) for one in series if isinstance(one, Line)
             for x, y in _along(in_points(one.x, one.y)).tolist()]
    for points in named:
        for at, label in zip(np.column_stack([points.x, points.y]).tolist(), points.labels or (), strict=True):
            text, where = name(label, LONGEST_IN_KEY) if label else "", in_points(at[:1], at[1:]).tolist()
            if not text or not where:
                continue
            boxes = [(by, _box(where[0][0] + by[0], where[0][1] + by[1], by[0], text)) for by in LABEL_PLACES]
            inside = [(by, box) for by, box in boxes
                      if left <= box[0] and box[1] <= right and low <= box[2] and box[3] <= high
                      and not any(_touch(box, other) for other in taken)]
            if inside:
                (dx, dy), box = min(inside, key=lambda one: (
                    one[0] in FAR_PLACES, any(_touch(one[1], line) for line in lines)))
                taken.append(box)
                ha = "left" if dx > 0 else "right" if dx < 0 else "center"
                axes.annotate(text, at, (dx, dy), textcoords="offset points", ha=ha, va="center", fontsize=SMALL_TYPE)


def _around(x: float, y: float, room: float = 4.0) -> tuple[float, float, float, float]:
    return x - room, x + room, y - room, y + room


def _along(corners: np.ndarray) -> np.ndarray:
    """Places (n, 2) a letter's height apart along a line of corners (k, 2)."""
    if len(corners) < 2:
        return corners
    reached = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    at = np.arange(0.0, reached[-1], SMALL_TYPE)
    return np.column_stack([np.interp(at, reached, corners[:, k]) for k in (0, 1)])


def _box(x: float, y: float, side: float, text: str) -> tuple[float, float, float, float]:
    """Left, right, bottom and top of a text beside a point, in points of type."""
    wide = 0.62 * SMALL_TYPE * len(text)
    left = x if side > 0 else x - wide if side < 0 else x - wide / 2
    return left, left + wide, y - 0.55 * SMALL_TYPE, y + 0.55 * SMALL_TYPE


def _touch(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[1] and b[0] < a[1] and a[2] < b[3] and b[2] < a[3]
