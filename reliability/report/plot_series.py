"""Bars, points, lines and the words beside them, put onto matplotlib's axes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from reliability.report.chart import DASHED, DOTTED, LOG, SOLID, BarChart, Bars, Line, Points
from reliability.report.palette import INK, PAPER, SOFT, fill
from reliability.schema.problems import shorten

SIZE, SMALL = 8.5, 7.5             # points of type
LETTER = 0.6 * SIZE / 72           # width of a letter in inches: for what has to fit before it is laid out
LONGEST = 34                       # letters of a name
HATCHES = {"": "", "/": "////", "x": "xxxx", ".": "....", "\\": "\\\\\\\\"}
DASHES = {SOLID: "-", DASHED: (0, (5, 2.5)), DOTTED: (0, (1.2, 1.8))}
MARKERS = ("o", "D", "s", "^", "v")
FILLED = 0.78                      # of the room of a category that its bars take
# where a label may stand beside its point, in points of type: right, left, above, below, and the corners
PLACES = ((6, 0), (-6, 0), (0, 8), (0, -8), (6, 7), (-6, 7), (6, -7), (-6, -7), (14, 12), (-14, 12), (14, -12))


def name(text: object) -> str:
    """A name from the user's files, short enough for a chart."""
    return shorten(str(text), LONGEST) or "(blank)"


def draw_bars(axes: Axes, chart: BarChart, wide: float) -> None:
    """All bars of a chart with their intervals and labels, its line, and lines across at its references."""
    places = np.arange(len(chart.categories), dtype=float)
    beside = 1 if chart.overlaid else max(len(chart.bars), 1)
    thick = FILLED / beside
    for reference in chart.references:
        across = axes.axvline if chart.lying else axes.axhline
        across(reference.at, color=INK, linewidth=1.2, linestyle=DASHES[reference.dash], label=name(reference.name))
    for i, bars in enumerate(chart.bars):
        at = places + (0.0 if chart.overlaid else thick * (i - (beside - 1) / 2))
        values = np.asarray(bars.values, dtype=float)
        if not bars.faint:
            (_dots if bars.dots else _boxes)(axes, chart, bars, at, thick)
        if bars.low is not None and bars.high is not None:
            look = {"elinewidth": 0.8, "ecolor": SOFT, "label": name(bars.name), "zorder": 2} if bars.faint else {
                "elinewidth": 2.0, "ecolor": fill(bars.fill)[0]} if bars.dots else {}
            _interval(axes, at, values, bars.low, bars.high, chart.lying, **look)
        if bars.labels is not None:
            _end_labels(axes, chart, bars, at, thick * (wide - 0.9) / max(len(places), 1))
    if chart.line is not None:
        _line(axes, Line(chart.line.name, places, chart.line.y, chart.line.dash, chart.line.fill, chart.line.marked))
    if not any(b.dots for b in chart.bars) and chart.value.scale != LOG:
        (axes.axvline if chart.lying else axes.axhline)(0.0, color=SOFT, linewidth=0.8)


def _boxes(axes: Axes, chart: BarChart, bars: Bars, at: np.ndarray, thick: float) -> None:
    colour, pattern = fill(bars.fill)
    length = np.nan_to_num(np.asarray(bars.values, dtype=float) - bars.base)
    look = {"color": colour, "hatch": HATCHES[pattern], "hatchcolor": PAPER, "label": name(bars.name),
            "linewidth": 0}
    if chart.lying:
        axes.barh(at, length, thick * 0.96, left=bars.base, **look)
    else:
        axes.bar(at, length, thick * 0.96, bottom=bars.base, **look)


def _dots(axes: Axes, chart: BarChart, bars: Bars, at: np.ndarray, _: float) -> None:
    values = np.asarray(bars.values, dtype=float)
    x, y = (values, at) if chart.lying else (at, values)
    axes.plot(x, y, linestyle="none", marker=MARKERS[bars.fill % len(MARKERS)], markersize=6, color=fill(bars.fill)[0],
              markeredgecolor=INK, markeredgewidth=0.7, label=name(bars.name), zorder=3)


def _interval(axes: Axes, at: np.ndarray, values: np.ndarray, low: Sequence[float], high: Sequence[float],
              lying: bool, **look: object) -> None:
    reach = np.clip([values - np.asarray(low, dtype=float), np.asarray(high, dtype=float) - values], 0.0, None)
    look = {"fmt": "none", "ecolor": INK, "elinewidth": 1.2, "capsize": 3, "zorder": 2.5} | look
    if lying:
        axes.errorbar(values, at, xerr=reach, **look)
    else:
        axes.errorbar(at, values, yerr=reach, **look)


def _end_labels(axes: Axes, chart: BarChart, bars: Bars, at: np.ndarray, room: float) -> None:
    """A text at the end of each bar, beyond its interval; standing ones are turned or left out where they do not fit.

    room: inches that a standing bar has across.
    """
    values = np.asarray(bars.values, dtype=float)
    longest = max(map(len, bars.labels), default=0)
    turned = not chart.lying and longest * LETTER * SMALL / SIZE > room
    if turned and room < 1.2 * SMALL / 72 and sum(map(bool, bars.labels)) > 3:
        return
    for place, value, low, high, text in zip(
            at, values, bars.low if bars.low is not None else values, bars.high if bars.high is not None else values,
            bars.labels, strict=True):
        if not text or not np.isfinite(value):
            continue
        back = value < bars.base and not bars.dots
        end = np.nanmin([value, low]) if back else np.nanmax([value, high if np.isfinite(high) else value])
        away = -4 if back else 4
        where, offset = ((end, place), (away, 0)) if chart.lying else ((place, end), (0, away))
        beyond = (("right" if back else "left"), "center") if chart.lying else ("center", "top" if back else "bottom")
        axes.annotate(text, where, offset, textcoords="offset points", ha=beyond[0], va=beyond[1], fontsize=SMALL,
                      rotation=90 if turned else 0, annotation_clip=False)


def draw_series(axes: Axes, series: Sequence[Points | Line]) -> None:
    """Points with their intervals, and lines."""
    for one in series:
        if isinstance(one, Line):
            _line(axes, one)
            continue
        colour, crowded = fill(one.fill)[0], len(one.x) > 100
        if one.low is not None and one.high is not None:
            thin = {"elinewidth": 0.5, "capsize": 0, "alpha": 0.4, "zorder": 1.5} if crowded else {}
            _interval(axes, np.asarray(one.x, dtype=float), np.asarray(one.y, dtype=float), one.low, one.high, False,
                      ecolor=colour, **thin)
        size = 6.5 if one.large else 2.8 if crowded else 5.5
        axes.plot(one.x, one.y, linestyle="none", marker=MARKERS[one.fill % len(MARKERS)], markersize=size,
                  color=colour, markeredgecolor=INK if one.large else colour, markeredgewidth=0.7 if one.large else 0,
                  alpha=0.75 if crowded else None, label=name(one.name), zorder=3 if one.large else 2.2)


def _line(axes: Axes, line: Line) -> None:
    axes.plot(line.x, line.y, color=INK if line.fill is None else fill(line.fill)[0], linewidth=1.5,
              linestyle=DASHES[line.dash], marker="o" if line.marked else "", markersize=3.2, label=name(line.name),
              zorder=2.6)


def label_points(drawn: Figure, axes: Axes, series: Sequence[Points | Line]) -> None:
    """Names beside points, each at the first place where it touches no other name and no point.

    Where there is none the name is left out: a table holds them all.
    """
    named = [p for p in series if isinstance(p, Points) and p.labels is not None]
    if not named:
        return
    drawn.draw_without_rendering()                  # settles where the axes lie
    drawn.set_layout_engine("none")
    to_points = axes.transData.transform
    scale = 72 / drawn.dpi
    marks = np.concatenate([to_points(np.column_stack([p.x, p.y])) * scale for p in series
                            if isinstance(p, Points)])
    frame = axes.get_window_extent().transformed(drawn.transFigure.inverted())
    left, right, low, high = (v * s * 72 for v, s in zip(
        (frame.x0, frame.x1, frame.y0, frame.y1), (*[drawn.get_figwidth()] * 2, *[drawn.get_figheight()] * 2),
        strict=True))
    taken = [(x - 4, x + 4, y - 4, y + 4) for x, y in marks]
    for points in named:
        for (x, y), text in zip(to_points(np.column_stack([points.x, points.y])) * scale, points.labels, strict=True):
            text = name(text) if text else ""
            if not text or not np.isfinite([x, y]).all():
                continue
            for dx, dy in PLACES:
                box = _box(x + dx, y + dy, dx, text)
                inside = left <= box[0] and box[1] <= right and low <= box[2] and box[3] <= high
                if inside and not any(_touch(box, other) for other in taken):
                    taken.append(box)
                    ha = "left" if dx > 0 else "right" if dx < 0 else "center"
                    axes.annotate(text, (x / 72 * drawn.dpi, y / 72 * drawn.dpi), (dx, dy), xycoords="figure pixels",
                                  textcoords="offset points", ha=ha, va="center", fontsize=SMALL)
                    break


def _box(x: float, y: float, side: float, text: str) -> tuple[float, float, float, float]:
    """Left, right, bottom and top of a text beside a point, in points of type."""
    wide = 0.62 * SMALL * len(text)
    left = x if side > 0 else x - wide if side < 0 else x - wide / 2
    return left, left + wide, y - 0.55 * SMALL, y + 0.55 * SMALL


def _touch(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[1] and b[0] < a[1] and a[2] < b[3] and b[2] < a[3]
