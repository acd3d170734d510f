"""Charts: round ticks, bars in proportion, marks inside the picture, hatching inside its bar."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from reliability.report.drawing import Box, Dot, Label, Line, Series, bars, columns, curve, tick_text, ticks
from reliability.report.svg import svg

from reliability.report import drawing

EMPTY = float("nan")
CHARTS = {
    "bars": bars("k", "t", "d", ["one", "two"], [Series("s", [1.0, -3.0], [0.5, -4.0], [2.0, -1.0])], "x"),
    "grouped": bars("k", "t", "d", ["one", "two"], [Series("a", [1.0, EMPTY]), Series("b", [2.0, 3.0])], "x"),
    "columns": columns("k", "t", "d", [str(y) for y in range(30)], [Series("a", np.arange(30.0) - 9)], "x", "y",
                       Series("line", np.linspace(-1e6, 1e6, 30))),
    "curve": curve("k", "t", "d", [0.0, 1e5, 2e6], [0.0, 3.0, 4.0], "x", "y", (1e5, 3.0, "here")),
    "nothing": bars("k", "t", "d", [], [Series("s", [])], "x"),
    "zeros": columns("k", "t", "d", ["a"], [Series("s", [0.0])], "x", "y"),
}


@pytest.mark.parametrize(("low", "high"), [(0, 1), (0, 0.00037), (-5, 17), (0, 123456789), (3, 3), (0, 0),
                                           (-2e6, -1.2e6)])
def test_ticks_are_round_and_span_the_values(low, high):
    found = ticks(low, high)
    assert found[0] <= low <= high <= found[-1]
    assert 2 <= len(found) <= 8
    steps = np.diff(found)
    assert np.allclose(steps, steps[0])
    assert np.isclose(steps[0] / 10.0 ** np.floor(np.log10(steps[0])), [1, 2, 2.5, 5, 10]).any()


def test_ticks_of_one_axis_share_their_thousands():
    steps = np.array([-2e6, -5e5, 0.0])
    assert [tick_text(s, steps) for s in steps] == ["−2 M", "−0.5 M", "0"]
    assert tick_text(1500.0, np.array([0, 1500.0])) == "1,500"


@pytest.mark.parametrize("name", CHARTS)
def test_every_mark_lies_inside_the_picture(name):
    chart = CHARTS[name]
    for mark in chart.marks:
        points = mark.points if isinstance(mark, Line) else [(mark.x, mark.y)]
        if isinstance(mark, Box):
            points = [*points, (mark.x + mark.width, mark.y + mark.height)]
        for x, y in points:
            assert -1e-9 <= x <= chart.width + 1e-9
            assert -1e-9 <= y <= chart.height + 1e-9


@pytest.mark.parametrize("name", CHARTS)
def test_svg_is_well_formed_and_names_itself(name):
    root = ElementTree.fromstring(svg(CHARTS[name]))
    assert root.get("role") == "img"
    assert [child.text for child in root[:2]] == ["t", "d"]


def test_bars_are_in_proportion():
    boxes = [m for m in bars("k", "", "", ["a", "b"], [Series("s", [1.0, 2.5])], "x").marks if isinstance(m, Box)]
    assert boxes[1].width / boxes[0].width == pytest.approx(2.5)


def test_hatching_stays_in_its_bar():
    box, *lines = drawing.filled(10.0, 20.0, 33.0, 12.0, 1)
    assert isinstance(box, Box)
    assert lines
    for line in lines:
        assert all(10 <= x <= 43 + 1e-9 and 20 <= y <= 32 + 1e-9 for x, y in line.points)


def test_text_in_a_chart_is_escaped_and_short():
    chart = bars("k", "<t>", "a & b", ["<script>" + "x" * 500], [Series("s", [1.0])], "<x>")
    assert "<script" not in svg(chart)
    assert all(len(m.text) <= 40 for m in chart.marks if isinstance(m, Label))
    assert not [m for m in chart.marks if isinstance(m, Dot)]
