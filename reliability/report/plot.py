"""A described chart as a matplotlib figure, at the size at which it is printed.

Only the modules named `plot…` import matplotlib; `picture` imports them when a document is written. No state of
matplotlib is changed but for the time of a drawing, see `picture`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, MaxNLocator, NullFormatter, NullLocator

from reliability.formats import tick
from reliability.report.chart import (
    DATE,
    LOG_AXIS,
    Axis,
    BarChart,
    Bars,
    Chart,
    Line,
    MapChart,
    PlotChart,
    Points,
    Rectangles,
    Reference,
    Words,
)
from reliability.report.palette import GRID, INK, PAPER, SOFT
from reliability.report.plot_layout import OnePicture
from reliability.report.plot_map import KEY_ROW, WIDTH, map_figure
from reliability.report.plot_series import LETTER, LONGEST_IN_KEY, TYPE_SIZE, draw_bars, draw_series, label_points, name

EQUAL_WIDTH, CHART_HEIGHT = 4.6, 2.9      # inches
MOST_TICKS = 9
ROOM_FOR_NAMES = 0.12                           # of what is drawn, above points with names beside them
FEW_KEY_ROWS = 2                                    # of a key that the heights allow for
BAR, GROUP_GAP = 0.17, 0.11                           # inches of a lying bar, and between two groups
PLOT_STYLE = {
    "font.family": ["DejaVu Sans"], "font.size": TYPE_SIZE, "axes.labelsize": TYPE_SIZE, "xtick.labelsize": TYPE_SIZE,
    "ytick.labelsize": TYPE_SIZE, "legend.fontsize": TYPE_SIZE, "text.parse_math": False, "text.color": INK,
    "axes.labelcolor": INK, "xtick.color": SOFT, "ytick.color": SOFT, "xtick.labelcolor": INK,
    "ytick.labelcolor": INK, "axes.edgecolor": SOFT, "axes.linewidth": 0.7, "axes.spines.top": False,
    "axes.spines.right": False, "axes.axisbelow": True, "grid.color": GRID, "grid.linewidth": 0.6,
    "hatch.linewidth": 0.9, "legend.frameon": False, "svg.fonttype": "none", "svg.hashsalt": "reliability",
}


def figure(chart: Chart) -> Figure:
    """The chart drawn; PLOT_STYLE has been set."""
    if isinstance(chart, MapChart):
        return map_figure(chart)
    wide = EQUAL_WIDTH if isinstance(chart, PlotChart) and chart.equal else WIDTH
    drawn = Figure((wide, _height(chart)), layout=OnePicture(), facecolor=PAPER)
    axes = drawn.add_subplot()
    if isinstance(chart, BarChart):
        _bar_axes(axes, chart)
        draw_bars(axes, chart, wide)
    else:
        _measured(axes, "x", chart.x)
        _measured(axes, "y", chart.y)
        if any(isinstance(one, Points) and one.labels is not None for one in chart.series):
            axes.margins(y=ROOM_FOR_NAMES)
        draw_series(axes, chart.series)
        if chart.x.scale == DATE:
            _days(axes)
        if chart.equal:
            _equal(axes)
        else:
            _from_zero(axes, chart)
    for side in "xy":
        _decades(axes, side)
    if isinstance(chart, PlotChart):
        for one, axis in ((axes.xaxis, chart.x), (axes.yaxis, chart.y)):
            if axis.ticks is not None:
                one.set_major_locator(FixedLocator(axis.ticks))
                one.set_minor_locator(NullLocator())
    _key(drawn, axes, chart, wide)
    if isinstance(chart, PlotChart):
        label_points(drawn, axes, chart.series)
    return drawn


def _height(chart: BarChart | PlotChart) -> float:
    if not isinstance(chart, BarChart):
        return EQUAL_WIDTH if chart.equal or chart.tall else CHART_HEIGHT
    if not chart.lying:
        return CHART_HEIGHT
    beside = 1 if chart.overlaid else max(len(chart.bars), 1)
    return max(len(chart.categories), 1) * (BAR * beside + GROUP_GAP) + (0.85 if _named(chart) else 0.6)


def _named(chart: BarChart) -> bool:
    """Whether the chart needs a key."""
    return len(chart.bars) + len(chart.references) + (chart.line is not None) > 1


def _bar_axes(axes: Axes, chart: BarChart) -> None:
    places, names = np.arange(len(chart.categories)), [name(c) for c in chart.categories]
    if chart.lying:
        _measured(axes, "x", chart.value)
        axes.set_yticks(places, names)
        axes.set_ylim(len(names) - 0.4, -0.6)
        axes.tick_params("y", length=0)
        axes.set_ylabel(chart.category)
        return
    _measured(axes, "y", chart.value)
    longest = max(map(len, names), default=1)
    every = max(int(np.ceil(len(names) * LETTER * (longest + 1) / (WIDTH - 0.9))), 1)
    axes.set_xticks(places[::every], names[::every])
    axes.set_xlim(-0.6, len(names) - 0.4)
    axes.tick_params("x", length=0)
    axes.set_xlabel(chart.category)


def _measured(axes: Axes, side: Literal["x", "y"], axis: Axis) -> None:
    """Scale, ticks, grid and title of an axis that measures; no tick is written by matplotlib's own rules."""
    one = axes.xaxis if side == "x" else axes.yaxis
    if axis.limits is not None:
        axes.set(**{f"{side}lim": axis.limits})
    axes.set(**{f"{side}label": axis.title})
    axes.grid(True, axis=side)
    if axis.scale == DATE:
        return                                      # ticks when the days are known, see _days
    if axis.scale == LOG_AXIS:
        axes.set(**{f"{side}scale": "log"})
        one.set_minor_formatter(NullFormatter())
        one.set_major_formatter(FuncFormatter(lambda value, _: tick_text(value, np.array([value]))))
        return
    one.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    one.set_major_formatter(FuncFormatter(lambda value, _: tick_text(value, one.get_majorticklocs())))


def _decades(axes: Axes, side: str) -> None:
    """Ticks of a logarithmic axis: 1, 2, 5 across and 1, 3 upwards, or powers of ten alone where these are many."""
    if getattr(axes, f"get_{side}scale")() != "log":
        return
    low, high = getattr(axes, f"get_{side}lim")()
    few = np.log10(high / low) <= (3.2 if side == "x" else 6.0)
    between = ((2.0, 5.0) if side == "x" else (3.0,)) if few else ()
    getattr(axes, f"{side}axis").set_major_locator(LogLocator(subs=(1.0, *between), numticks=12))


def _days(axes: Axes) -> None:
    """Ticks at years, months or days, eight or so; matplotlib counts days from 1970."""
    low, high = (np.datetime64(int(v), "D") for v in axes.dataLim.intervalx) if np.isfinite(
        axes.dataLim.intervalx).all() else (np.datetime64("1970-01-01"), np.datetime64("1971-01-01"))
    unit = next(u for u, days in (("Y", 900), ("M", 60), ("D", 0)) if (high - low).astype(int) >= days)
    steps = np.arange(low.astype(f"datetime64[{unit}]"), high.astype(f"datetime64[{unit}]") + 2)
    steps = steps[::-(-len(steps) // MOST_TICKS)]
    axes.set_xticks(steps.astype("datetime64[D]").astype(float), [str(s) for s in steps])
    start, end = low.astype(float), high.astype(float)
    room = max(0.02 * (end - start), 1.0)
    axes.set_xlim(min(start, steps[0].astype("datetime64[D]").astype(float)) - room, end + room)


def tick_text(value: float, steps: np.ndarray) -> str:
    """A tick's number, short: all ticks of an axis in the same thousands."""
    largest = float(np.abs(steps).max(initial=0.0))
    return tick(value, largest)


def _from_zero(axes: Axes, chart: PlotChart) -> None:
    """Linear axes begin at 0 where nothing lies below it."""
    for side, axis in (("x", chart.x), ("y", chart.y)):
        high = getattr(axes, f"get_{side}lim")()[1]
        data = axes.dataLim.intervalx if side == "x" else axes.dataLim.intervaly
        if axis.scale not in (LOG_AXIS, DATE) and axis.limits is None and data[0] >= 0:
            getattr(axes, f"set_{side}lim")(-0.015 * high if data[0] == 0 else 0.0, high)


def _equal(axes: Axes) -> None:
    top = 1.05 * max(axes.dataLim.xmax, axes.dataLim.ymax)
    axes.set_aspect("equal", adjustable="box")
    axes.set(xlim=(0.0, top), ylim=(0.0, top))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))


def _key(drawn: Figure, axes: Axes, chart: BarChart | PlotChart, wide: float) -> None:
    """What the marks mean, above the picture, in as many rows as the names need."""
    found = dict(zip(*reversed(axes.get_legend_handles_labels()), strict=True))
    names = [n for n in _in_order(chart) if n in found]
    if len(names) < 2:
        return
    handles = [found[n] for n in names]
    needed = sum(LETTER * len(n) + 0.62 for n in names)
    columns = len(names) if needed <= wide else max(int(wide / (LETTER * max(map(len, names)) + 0.62)), 1)
    further = max(-(-len(names) // columns) - FEW_KEY_ROWS, 0)      # the picture would be too low for its titles
    drawn.set_figheight(drawn.get_figheight() + further * KEY_ROW)
    key = drawn.legend(handles, names, loc="upper left", ncols=columns, borderpad=0.1, handlelength=2.2,
                       columnspacing=1.6)
    for handle in key.legend_handles:
        if isinstance(handle, Line2D) and handle.get_marker() not in ("", "None", None):
            handle.set_markersize(max(handle.get_markersize(), 5.0))


def _in_order(chart: BarChart | PlotChart) -> list[str]:
    """Names of the key: what is measured first, then what it is measured against."""
    series: Sequence[Bars | Points | Line | Rectangles | Words | Reference] = (
        [*chart.bars, *([chart.line] if chart.line else []), *chart.references] if isinstance(chart, BarChart)
        else chart.series)
    return list(dict.fromkeys(name(s.name, LONGEST_IN_KEY) for s in series if not isinstance(s, Words)))
