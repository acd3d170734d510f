"""Charts as lists of boxes, lines and words, drawn the same on a page and as a picture.

Meaning is carried by hatching, position and words as well as by colour, so that a chart
survives colour blindness and a grey printer. Names from the user's files are shortened.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.schema.problems import shorten

INK, GRID, SOFT = "#17212b", "#d9dee4", "#5b6670"
# (fill, hatched): blue, light orange, mid grey …; lightness differs as well as hue
FILLS = (("#5b8fc9", False), ("#e8a33d", True), ("#7d8792", False), ("#1f8a7d", True), ("#7a2f5d", False))
WIDTH = 700.0
SIZE = 12.0
LETTER = 0.56 * SIZE          # mean width of a letter, to make room for labels
LONGEST = 30


@dataclass(frozen=True)
class Box:
    """A rectangle."""

    x: float
    y: float
    width: float
    height: float
    fill: str


@dataclass(frozen=True)
class Line:
    """A line through points; dashed where asked."""

    points: tuple[tuple[float, float], ...]
    colour: str = INK
    width: float = 1.0
    dashed: bool = False


@dataclass(frozen=True)
class Dot:
    """A filled circle."""

    x: float
    y: float
    radius: float
    fill: str


@dataclass(frozen=True)
class Label:
    """Words at a baseline; anchor start, middle or end; `upright` turned to read upwards."""

    x: float
    y: float
    text: str
    anchor: str = "start"
    colour: str = INK
    bold: bool = False
    upright: bool = False


Mark = Box | Line | Dot | Label


@dataclass(frozen=True)
class Chart:
    """A drawing with its title and, for those who do not see it, what it shows."""

    key: str
    title: str
    description: str
    width: float
    height: float
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class Series:
    """Values by category; low and high the ends of an interval drawn over each bar; NaN is left out."""

    name: str
    values: Sequence[float]
    low: Sequence[float] | None = None
    high: Sequence[float] | None = None


def ticks(low: float, high: float, about: int = 5) -> np.ndarray:
    """Round numbers that span from low to high, both included."""
    if not high > low:
        high = low + (abs(low) or 1.0)
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = power * next(m for m in (1, 2, 2.5, 5, 10) if m * power >= raw * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return step * np.arange(first, last + 1)


def tick_text(value: float, steps: np.ndarray) -> str:
    """A tick's number, short: all ticks of an axis in the same thousands."""
    largest = float(np.abs(steps).max())
    size, letters = next(((s, t) for s, t in ((1e9, " bn"), (1e6, " M"), (1e5, " k")) if largest >= s), (1.0, ""))
    size = 1e3 if letters == " k" else size
    return (f"{value / size:,.6g}{letters}" if value else "0").replace("-", "−")


def room(labels: Sequence[str], most: float = 230.0) -> float:
    """Width that labels need, in pixels."""
    return min(most, 12.0 + LETTER * max((len(label) for label in labels), default=0))


def name(text: object) -> str:
    """A name from the user's files, short enough for a chart."""
    return shorten(str(text), LONGEST) or "(blank)"


def bars(key: str, title: str, description: str, categories: Sequence[str], series: Sequence[Series],
         axis: str, bar: float = 15.0) -> Chart:
    """Lying bars, a group a category, for names of any length."""
    labels = [name(c) for c in categories]
    left, top = room(labels), 26.0 if len(series) > 1 else 8.0
    group = bar * len(series) + 10.0
    bottom = top + group * len(labels)
    scale, steps = _scale([v for s in series for v in _all(s)], left, WIDTH - 24.0)
    marks: list[Mark] = _legend(series, left) if len(series) > 1 else []
    for step in steps:
        marks += [Line(((scale(step), top), (scale(step), bottom)), GRID),
                  Label(scale(step), bottom + 16.0, tick_text(step, steps), "middle", SOFT)]
    for c, label in enumerate(labels):
        y = top + group * c + 5.0
        marks.append(Label(left - 8.0, y + (group - 10.0) / 2 + 4.0, label, "end"))
        for s, one in enumerate(series):
            marks += _lying(one, c, scale, y + bar * s, bar, s)
    marks += [Line(((scale(0.0), top), (scale(0.0), bottom)), INK),
              Label((left + WIDTH - 24.0) / 2, bottom + 34.0, axis, "middle")]
    return Chart(key, title, description, WIDTH, bottom + 42.0, tuple(marks))


def _lying(one: Series, at: int, scale: Callable, y: float, bar: float, s: int) -> list[Mark]:
    value = one.values[at]
    if not np.isfinite(value):
        return []
    ends = sorted((scale(0.0), scale(value)))
    marks = filled(ends[0], y + 1.5, ends[1] - ends[0], bar - 3.0, s)
    if one.low is not None and one.high is not None and np.isfinite(one.low[at]) and np.isfinite(one.high[at]):
        low, high, middle = scale(one.low[at]), scale(one.high[at]), y + bar / 2
        marks += [Line(((low, middle), (high, middle)), INK, 1.6),
                  *(Line(((x, middle - 4), (x, middle + 4)), INK, 1.6) for x in (low, high))]
    return marks


def columns(key: str, title: str, description: str, categories: Sequence[str], series: Sequence[Series],
            x_axis: str, y_axis: str, line: Series | None = None, height: float = 240.0) -> Chart:
    """Standing bars over years, and a line over them where given."""
    labels = [name(c) for c in categories]
    left, right, top = 78.0, WIDTH - 12.0, 30.0
    bottom = top + height - 80.0
    every = [v for s in [*series, *([line] if line else [])] for v in _all(s)]
    scale, steps = _scale(every, bottom, top)
    marks: list[Mark] = _legend([*series, *([line] if line else [])], left, line is not None)
    for step in steps:
        marks += [Line(((left, scale(step)), (right, scale(step))), GRID),
                  Label(left - 6.0, scale(step) + 4.0, tick_text(step, steps), "end", SOFT)]
    group = (right - left) / max(len(labels), 1)
    wide = min(34.0, 0.8 * group / max(len(series), 1))
    skip = math.ceil(len(labels) * (14.0 + LETTER * max(map(len, labels), default=0)) / (right - left)) or 1
    for c, label in enumerate(labels):
        middle = left + group * (c + 0.5)
        if c % skip == 0:
            marks.append(Label(middle, bottom + 16.0, label, "middle", SOFT))
        for s, one in enumerate(series):
            if np.isfinite(one.values[c]):
                y = sorted((scale(0.0), scale(one.values[c])))
                marks += filled(middle + wide * (s - len(series) / 2) + 0.5, y[0], wide - 1.0, y[1] - y[0], s)
    if line is not None:
        marks += trace([(left + group * (c + 0.5), scale(v)) for c, v in enumerate(line.values) if np.isfinite(v)], INK)
    marks += [Line(((left, scale(0.0)), (right, scale(0.0))), INK),
              *axis_titles(left, right, top, bottom, x_axis, y_axis)]
    return Chart(key, title, description, WIDTH, bottom + 42.0, tuple(marks))


def curve(key: str, title: str, description: str, x: Sequence[float], y: Sequence[float], x_axis: str, y_axis: str,
          mark: tuple[float, float, str] | None = None, height: float = 260.0) -> Chart:
    """A line through points, and one point marked with words where given."""
    left, right, top = 78.0, WIDTH - 24.0, 14.0
    bottom = top + height - 60.0
    across, x_steps = _scale([*x, *([mark[0]] if mark else [])], left, right)
    up, y_steps = _scale([*y, *([mark[1]] if mark else [])], bottom, top)
    marks: list[Mark] = []
    for step in x_steps:
        marks += [Line(((across(step), top), (across(step), bottom)), GRID),
                  Label(across(step), bottom + 16.0, tick_text(step, x_steps), "middle", SOFT)]
    for step in y_steps:
        marks += [Line(((left, up(step)), (right, up(step))), GRID),
                  Label(left - 6.0, up(step) + 4.0, tick_text(step, y_steps), "end", SOFT)]
    marks += trace([(across(a), up(b)) for a, b in zip(x, y, strict=True)], FILLS[0][0])
    if mark is not None:
        at = (across(mark[0]), up(mark[1]))
        ends = at[0] > (left + right) / 2
        marks += [Dot(*at, 6.0, INK), Dot(*at, 3.5, FILLS[1][0]),
                  Label(at[0] + (-10.0 if ends else 10.0), at[1] + 18.0, mark[2], "end" if ends else "start",
                        bold=True)]
    marks += axis_titles(left, right, top, bottom, x_axis, y_axis)
    return Chart(key, title, description, WIDTH, bottom + 42.0, tuple(marks))


def axis_titles(left: float, right: float, top: float, bottom: float, x_axis: str, y_axis: str) -> list[Mark]:
    """Titles of both axes."""
    return [Label((left + right) / 2, bottom + 34.0, x_axis, "middle"),
            Label(14.0, (top + bottom) / 2, y_axis, "middle", upright=True)]


def trace(points: list[tuple[float, float]], colour: str) -> list[Mark]:
    """A line with a dot at each point."""
    line: list[Mark] = [Line(tuple(points), colour, 2.0)] if len(points) > 1 else []
    return line + [Dot(x, y, 2.6, colour) for x, y in points]


def filled(x: float, y: float, width: float, height: float, series: int) -> list[Mark]:
    """A bar in the fill of series number `series`, hatched where that is."""
    fill, hatched = FILLS[series % len(FILLS)]
    marks: list[Mark] = [Box(x, y, max(width, 0.0), max(height, 0.0), fill)]
    if hatched:
        marks += _hatching(x, y, max(width, 0.0), max(height, 0.0))
    return marks


def _hatching(x: float, y: float, width: float, height: float, gap: float = 7.0) -> list[Mark]:
    """Slanting lines inside a box: where u + v = k for a box of u up to width and v up to height."""
    lines: list[Mark] = []
    for k in np.arange(gap, width + height, gap):
        begin, end = max(0.0, k - height), min(width, k)
        lines.append(Line(((x + begin, y + k - begin), (x + end, y + k - end)), INK, 0.8))
    return lines


def _all(series: Series) -> list[float]:
    return [v for part in (series.values, series.low, series.high) if part is not None for v in part if np.isfinite(v)]


def _scale(values: Sequence[float], start: float, end: float) -> tuple[Callable[[float], float], np.ndarray]:
    """From a value to its place between two pixels, 0 always inside; and the ticks."""
    steps = ticks(min([0.0, *values]), max([0.0, *values]))
    low, high = float(steps[0]), float(steps[-1])
    return (lambda v: start + (float(v) - low) / (high - low) * (end - start)), steps


def _legend(series: Sequence[Series], left: float, last_is_line: bool = False) -> list[Mark]:
    marks: list[Mark] = []
    x = left
    for s, one in enumerate(series):
        if last_is_line and s == len(series) - 1:
            marks += [Line(((x, 11.0), (x + 14.0, 11.0)), INK, 2.0), Dot(x + 7.0, 11.0, 2.6, INK)]
        else:
            marks += filled(x, 5.0, 14.0, 12.0, s)
        marks.append(Label(x + 20.0, 15.0, name(one.name)))
        x += 36.0 + LETTER * len(name(one.name))
    return marks
