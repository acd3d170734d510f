"""A described chart on the screen: the figures of the description, names without markup."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.report.chart import (
    DATE,
    LOG_AXIS,
    Axis,
    BarChart,
    Bars,
    Line,
    PlotChart,
    Points,
    Rectangles,
    Reference,
    Words,
)
from reliability.ui.described import figure
from reliability.ui.plotting import log_axis

NASTY = "<b>tree</b>"


def test_bars_keep_their_values_intervals_and_labels_of_axes():
    chart = BarChart("k", "t", "d", ["a", NASTY], (
        Bars("low", [1.0, 4.0], base=3.0), Bars(NASTY, [5.0, 2.0], [4.0, 1.0], [6.0, 3.0], base=3.0, fill=1)),
        Axis("NPV, USD"), lying=True, overlaid=True, references=(Reference("now", 3.0),))
    drawn = figure(chart)
    low, high, now = drawn.data
    assert now.name == "now"          # the line across has its name in the key
    np.testing.assert_array_equal(np.asarray(low.x) + low.base, [1.0, 4.0])
    np.testing.assert_array_equal(high.error_x.array, [1.0, 1.0])
    assert high.marker.pattern.shape == "/"
    assert drawn.layout.xaxis.title.text == "NPV, USD"
    assert drawn.layout.shapes[0].x0 == 3.0
    assert not any("<" in str(name) for name in (*low.y, high.name))


def test_points_lines_and_scales():
    days = np.array(["2023-02-11", "2024-01-01"], dtype="datetime64[D]")
    chart = PlotChart("k", "t", "d", Axis("Day", DATE), Axis("Minutes", LOG_AXIS), (
        Points("p", days, [1.0, 20.0], hover=[NASTY, "b"], fill=1, large=True),
        Line("limit", days, [5.0, np.nan])))
    points, line = figure(chart).data
    assert list(points.x) == ["2023-02-11", "2024-01-01"]
    assert points.text[0] == "&lt;b&gt;tree&lt;/b&gt;"
    assert points.marker.symbol == "diamond"
    assert np.isnan(line.y[1])
    layout = figure(chart).layout
    assert (layout.xaxis.type, layout.yaxis.type) == ("date", "log")
    assert figure(PlotChart("k", "t", "d", Axis("x"), Axis("y"), (), equal=True)).layout.yaxis.scaleanchor == "x"


def test_areas_words_and_limits():
    chart = PlotChart("k", "t", "d", Axis("A", LOG_AXIS, (10.0, 1e4)),
                      Axis("s", LOG_AXIS, (0.001, 100.0), (0.01, 1.0)), (
        Rectangles("both", [200.0, 300.0], [500.0, 900.0], [0.005, 0.002], [0.008, 0.004], 4),
        Words("w", [11.0], [0.006], [NASTY])))
    drawn = figure(chart)
    areas, words = drawn.data
    assert list(areas.x) == [200.0, 500.0, 500.0, 200.0, 200.0, None, 300.0, 900.0, 900.0, 300.0, 300.0, None]
    assert (areas.fill, areas.fillpattern.shape) == ("toself", "\\")
    assert (words.text[0], words.showlegend) == ("&lt;b&gt;tree&lt;/b&gt;", False)
    assert drawn.layout.xaxis.range == (1.0, 4.0)
    assert drawn.layout.yaxis.tickvals == (0.01, 1.0)


def test_labels_of_bars_stand_on_a_ground_where_a_line_may_cross_them():
    bars = (Bars("all", [98.3, 45.8], labels=["98.3", "45.8"]),
            Bars("some", [98.3, np.nan], labels=["98.3", ""], fill=1))
    chart = BarChart("k", "t", "d", ["2020", "2021"], bars, Axis("SAIDI"), references=(Reference("mean", 50.0),))
    drawn = figure(chart)
    labels = drawn.layout.annotations
    assert [(round(one.x, 4), one.y, one.text) for one in labels] == [
        (-0.1625, 98.3, "98.3"), (0.8375, 45.8, "45.8"), (0.1625, 98.3, "98.3")]
    assert all(one.bgcolor for one in labels)
    assert all(bar.text is None for bar in drawn.data[:2])
    assert list(figure(replace(chart, references=())).data[0].text) == ["98.3", "45.8"]


def test_ticks_are_written_as_numbers_are_everywhere():
    chart = PlotChart("k", "t", "d", Axis("A", LOG_AXIS, (1.0, 1e4), (0.5, 50.0, 1000.0, 20000.0)), Axis("s"), ())
    assert list(figure(chart).layout.xaxis.ticktext) == ["0.5", "50", "1\u202f000", "20\u202f000"]


@pytest.mark.parametrize(("values", "wanted"), [
    ([30.0, 400.0], ["20", "50", "100", "200", "500"]), ([0.003, 120.0], ["0.01", "0.1", "1", "10", "100"])])
def test_ticks_of_a_logarithmic_axis_are_written_in_full(values, wanted):
    """Never a bare 2 or 5 between the powers of ten."""
    ticks = log_axis("", [*values, 0.0, np.nan])
    low, high = 0.6 * values[0], 2 * values[1]
    inside = [t for t, v in zip(ticks["ticktext"], ticks["tickvals"], strict=True) if low < v < high]
    assert inside == wanted
