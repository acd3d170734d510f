"""What a chart shows, apart from who draws it: the documents draw it as pictures, the app on the screen.

A description holds series, labels and axes; names from the user's files stand in it as they are, and each drawer
shortens and escapes them. Not-a-number is a gap.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

Numbers = Sequence[float] | np.ndarray
Places = Numbers | Sequence[str]          # of an axis: numbers, or numpy days, or what names a category
LINEAR, LOG_AXIS, DATE = "linear", "log", "date"
SOLID, DASHED, DOTTED = "solid", "dashed", "dotted"
SQUARE, DIAMOND, TRIANGLE, CIRCLE, CROSS = "square", "diamond", "triangle", "circle", "cross"   # marks on a map
METRES_PER_KM, METRES_PER_MILE = 1000.0, 1609.344
DECADES_FOR_LOG = 2.0       # an axis is logarithmic where its values span so many; our choice


@dataclass(frozen=True)
class Axis:
    """Title with its unit, and scale: LINEAR, LOG_AXIS or DATE (values are then numpy days).

    limits: where a measured axis of a PlotChart begins and ends, and ticks: its only ticks; None where the values say
    it.
    """

    title: str
    scale: str = LINEAR
    limits: tuple[float, float] | None = None
    ticks: tuple[float, ...] | None = None


@dataclass(frozen=True)
class Bars:
    """A bar a category, (n,) values; low and high are the ends of an interval over each.

    base: where the bars begin. labels: a text at the end of each, "" for none. dots: a dot in place of each bar,
    where a bar from zero would say nothing (ratios, differences). faint: the interval alone, behind another series.
    fill: number of colour, pattern and marker.
    """

    name: str
    values: Numbers
    low: Numbers | None = None
    high: Numbers | None = None
    labels: Sequence[str] | None = None
    base: float = 0.0
    dots: bool = False
    faint: bool = False
    fill: int = 0


@dataclass(frozen=True)
class Points:
    """Marks at (n,) places; low and high are the ends of an interval of y; labels: a name beside each.

    hover: a name of each that only a screen shows. fill: number of colour and marker.
    """

    name: str
    x: Places
    y: Numbers
    low: Numbers | None = None
    high: Numbers | None = None
    labels: Sequence[str] | None = None
    hover: Sequence[str] | None = None
    fill: int = 0
    large: bool = False


@dataclass(frozen=True)
class Line:
    """A line through (n,) places, broken where y is not a number; fill None is drawn in ink."""

    name: str
    x: Places
    y: Numbers
    dash: str = SOLID
    fill: int | None = None
    marked: bool = False


@dataclass(frozen=True)
class Rectangles:
    """Upright rectangles, (n,) each of left, right, bottom and top; fill None is a wash behind everything."""

    name: str
    left: Sequence[float]
    right: Sequence[float]
    bottom: Sequence[float]
    top: Sequence[float]
    fill: int | None = None


@dataclass(frozen=True)
class Words:
    """Words in the picture, each beginning at its place, (n,)."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    texts: Sequence[str]


@dataclass(frozen=True)
class Reference:
    """A line across the picture at one value of the measured axis, named in the key."""

    name: str
    at: float
    dash: str = DASHED


@dataclass(frozen=True)
class BarChart:
    """Bars by category, standing or lying; `overlaid` draws the series at one place, else side by side.

    category: title of the categories, "" where their names say it. line: (n,) values over the categories.
    """

    key: str
    title: str
    description: str
    categories: Sequence[str]
    bars: tuple[Bars, ...]
    value: Axis
    category: str = ""
    lying: bool = False
    overlaid: bool = False
    line: Line | None = None
    references: tuple[Reference, ...] = ()


Series = Points | Line | Rectangles | Words


@dataclass(frozen=True)
class PlotChart:
    """Points, lines, areas and words on two measured axes; `equal` gives both one scale, so that 1 : 1 lies at 45°.

    tall: half as high again, for curves over many decades.
    """

    key: str
    title: str
    description: str
    x: Axis
    y: Axis
    series: tuple[Series, ...]
    equal: bool = False
    tall: bool = False


@dataclass(frozen=True)
class MapLines:
    """Lines of one class: x and y (p,) in metres, a place that is not a number between lines.

    colour: of the palette. width: in points. dash: SOLID, DASHED or DOTTED. name: "" is not in the key.
    """

    name: str
    x: np.ndarray
    y: np.ndarray
    colour: str
    width: float
    dash: str = SOLID


@dataclass(frozen=True)
class MapMarks:
    """Marks at (m,) places in metres: SQUARE, DIAMOND, TRIANGLE, CIRCLE or CROSS, filled or open.

    colour: of the palette. size: in points. labels: a name beside each, None for none.
    """

    name: str
    x: np.ndarray
    y: np.ndarray
    shape: str
    colour: str
    filled: bool = False
    size: float = 7.0
    labels: Sequence[str] | None = None


@dataclass(frozen=True)
class MapPlaces:
    """What a pointer finds on a screen, (k,) places in metres: `picks` says which of (h,) each belongs to.

    ids: (h,) what a click gives. texts: (h,) lines of text that are shown, several for one.
    """

    x: np.ndarray
    y: np.ndarray
    picks: np.ndarray
    ids: Sequence[str]
    texts: Sequence[Sequence[str]]


@dataclass(frozen=True)
class MapChart:
    """A network in plan, east to the right and north up, one scale in both directions, with a bar of a round length.

    window: west, east, south and north ends of what is shown, metres. legend: what the classes of the lines measure,
    with its unit. miles: the scale is in miles, else in kilometres. small: fits beside a table; it has no key, and its
    letters are those of a sheet.
    note: what is not on it.
    """

    key: str
    title: str
    description: str
    lines: tuple[MapLines, ...]
    marks: tuple[MapMarks, ...]
    window: tuple[float, float, float, float]
    legend: str = ""
    miles: bool = False
    small: bool = False
    places: MapPlaces | None = None
    note: str = ""


Chart = BarChart | PlotChart | MapChart


def scale_bar(window: tuple[float, float, float, float], miles: bool) -> tuple[float, str]:
    """Length in metres of the bar of a map, and its words: the largest of 1, 2 or 5 that takes a quarter of its width.

    Below a kilometre it is in metres; in miles there are tenths and hundredths.
    """
    unit = METRES_PER_MILE if miles else METRES_PER_KM
    most = (window[1] - window[0]) / (4.0 * unit)
    power = math.floor(math.log10(most))
    length = next(step for step in (5.0, 2.0, 1.0) if step * 10.0 ** power <= most * (1 + 1e-9)) * 10.0 ** power
    if miles or length >= 1.0:
        return length * unit, f"{length:.10g} {'mi' if miles else 'km'}"
    return length * unit, f"{length * unit:.10g} m"


def scale_for(values: Numbers) -> str:
    """LOG_AXIS where the values above zero span decades and none lies below it, else LINEAR."""
    finite = np.asarray(values, dtype=float)
    finite = finite[np.isfinite(finite)]
    above = finite[finite > 0]
    spans = len(above) > 1 and math.log10(above.max() / above.min()) >= DECADES_FOR_LOG
    return LOG_AXIS if spans and (finite >= 0).all() else LINEAR
