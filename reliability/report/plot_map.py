"""A described map as a matplotlib figure: no axes, a bar for the scale, one scale in both directions."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from reliability.report.chart import CIRCLE, CROSS, DIAMOND, SQUARE, TRIANGLE, MapChart, MapMarks, scale_bar
from reliability.report.map_thinning import thinned
from reliability.report.palette import INK, PAPER, RULE
from reliability.report.plot_series import CLEAR, DASHES, LETTER, LONGEST_IN_KEY, SMALL_TYPE, name

WIDTH, TALLEST_MAP, LOWEST = 7.0, 6.4, 2.2          # inches; WIDTH fits between the margins of A4 and of Letter
SMALL_WIDTH, SMALL_HEIGHT = 3.0, 2.0            # of a map beside a table
ON_SHEET = 10.2                                 # points, of letters on such a map: read outdoors
LETTERS_WIDE = 0.62                             # width of a letter over its size, rather more than on the average
KEY_ROW = 0.19
MARKER_OF_SHAPE = {SQUARE: "s", DIAMOND: "D", TRIANGLE: "^", CIRCLE: "o", CROSS: "x"}
THINNER = 0.6                                   # lines of a map on paper beside those on a screen
FINEST_INCH = 1 / 300                                # inches: a bend that is smaller is left out
BAR_AT = (0.02, 0.03)                           # of the window, from its lower left corner


def map_figure(chart: MapChart) -> Figure:
    """The map drawn, with its key above it; a small one has none."""
    west, east, south, north = chart.window
    handles = [] if chart.small else _handles(chart)
    columns, rows = _key_layout(handles, chart.legend)
    if chart.small:
        wide, tall = SMALL_WIDTH, SMALL_HEIGHT
    else:
        wide, tall = WIDTH, float(np.clip(WIDTH * (north - south) / (east - west), LOWEST, TALLEST_MAP))
    drawn = Figure((wide, tall + rows * KEY_ROW), facecolor=PAPER)
    axes = drawn.add_axes((0.0, 0.0, 1.0, tall / (tall + rows * KEY_ROW)))
    axes.set_axis_off()
    window = _filled(chart.window, wide / tall)
    axes.set(xlim=window[:2], ylim=window[2:])
    letters = ON_SHEET if chart.small else SMALL_TYPE
    finest = FINEST_INCH * (window[1] - window[0]) / wide
    for line in chart.lines:
        axes.plot(*thinned(line.x, line.y, finest), color=line.colour, linewidth=THINNER * line.width,
                  linestyle=DASHES[line.dash], solid_capstyle="round")
    for marks in chart.marks:
        axes.plot(marks.x, marks.y, **_look(marks), zorder=3)
    _names(axes, chart, window, letters, (wide, tall))
    _scale(axes, chart, window, letters)
    if chart.small:
        axes.plot([0, 1, 1, 0, 0], [0, 0, 1, 1, 0], color=RULE, linewidth=1.2, transform=axes.transAxes)
    elif handles:
        key = drawn.legend(handles=handles, loc="upper left", ncols=columns, borderpad=0.1, handlelength=2.2,
                           columnspacing=1.6, borderaxespad=0.1, title=name(chart.legend, LONGEST_IN_KEY) or None,
                           alignment="left", labelspacing=0.35)
        key.get_title().set_fontweight("bold")
    return drawn


def _filled(window: tuple[float, float, float, float], shape: float) -> tuple[float, float, float, float]:
    """The window made larger in one direction, so that it has the shape, width over height, of the picture."""
    west, east, south, north = window
    wide, tall = max(east - west, shape * (north - south)), max(north - south, (east - west) / shape)
    x, y = 0.5 * (west + east), 0.5 * (south + north)
    return x - wide / 2, x + wide / 2, y - tall / 2, y + tall / 2


def _names(axes: Axes, chart: MapChart, window: tuple[float, float, float, float], letters: float,
           inches: tuple[float, float]) -> None:
    """The names of marks that have one: beside the mark, towards the middle of the picture; on the other side, up or
    down, where a name stands already.
    """
    across, up = (window[1] - window[0]) / (72 * inches[0]), (window[3] - window[2]) / (72 * inches[1])    # of a point
    taken: list[tuple[float, float, float, float]] = []
    for marks in chart.marks:
        if marks.labels is None:
            continue
        for x, y, text in zip(marks.x.tolist(), marks.y.tolist(), marks.labels, strict=True):
            said = name(text, 22)
            left, low = 2 * x < window[0] + window[1], 2 * y < window[2] + window[3]
            width, height = (LETTERS_WIDE * letters * len(said) + 6) * across, 1.3 * letters * up
            box = _box(x, y, left, low, width, height, 5 * up)
            if any(_overlap(box, other) for other in taken):
                low = not low
                box = _box(x, y, left, low, width, height, 5 * up)
            taken.append(box)
            axes.annotate(said, (x, y), (6 if left else -6, 5 if low else -5), textcoords="offset points",
                          ha="left" if left else "right", va="bottom" if low else "top", fontsize=letters, zorder=4,
                          bbox=CLEAR)


def _box(x: float, y: float, left: bool, low: bool, width: float, height: float,
         gap: float) -> tuple[float, float, float, float]:
    """West, east, south and north of a name beside a mark."""
    south = y + gap if low else y - gap - height
    return (x, x + width, south, south + height) if left else (x - width, x, south, south + height)


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    return one[0] < other[1] and other[0] < one[1] and one[2] < other[3] and other[2] < one[3]


def _look(marks: MapMarks) -> dict[str, Any]:
    return {"linestyle": "none", "marker": MARKER_OF_SHAPE[marks.shape], "markersize": 0.75 * marks.size,
            "color": marks.colour, "markerfacecolor": marks.colour if marks.filled else PAPER,
            "markeredgecolor": marks.colour, "markeredgewidth": 0.9}


def _handles(chart: MapChart) -> list[Line2D]:
    lines = [Line2D([], [], color=one.colour, linewidth=THINNER * one.width + 0.4, linestyle=DASHES[one.dash],
                    label=name(one.name, LONGEST_IN_KEY)) for one in chart.lines if one.name]
    return lines + [Line2D([], [], **_look(one), label=name(one.name, LONGEST_IN_KEY)) for one in chart.marks
                    if one.name]


def _key_layout(handles: list[Line2D], title: str) -> tuple[int, int]:
    """Columns of the key, and rows with its title."""
    if not handles:
        return 1, 0
    longest = max(len(str(h.get_label())) for h in handles)
    columns = max(int(WIDTH / (LETTER * longest + 0.62)), 1)
    return columns, -(-len(handles) // columns) + bool(title)


def _scale(axes: Axes, chart: MapChart, window: tuple[float, float, float, float], letters: float) -> None:
    length, words = scale_bar(window, chart.miles)
    wide, tall = window[1] - window[0], window[3] - window[2]
    x, y, tick = window[0] + BAR_AT[0] * wide, window[2] + BAR_AT[1] * tall, 0.012 * wide
    axes.plot([x, x, x, x + length, x + length, x + length], [y + tick, y - tick / 2, y, y, y + tick, y - tick / 2],
              color=INK, linewidth=1.2, zorder=5)
    axes.annotate(words, (x + length / 2, y), (0, 2.5), textcoords="offset points", ha="center", va="bottom",
                  fontsize=letters, zorder=5, bbox=CLEAR)
