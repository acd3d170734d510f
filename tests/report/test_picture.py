"""Charts as pictures: the same bytes each time, text as text, names as they are, nothing cut, nothing that runs."""

from __future__ import annotations

import io
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib import style

from reliability.formats import compact
from reliability.report.chart import (
    DATE,
    LINEAR,
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
    scale_for,
)
from reliability.report.picture import png, svg
from reliability.report.plot import PLOT_STYLE, figure, tick_text

EMPTY = float("nan")
ODD = "<script>$a_1^2$ & $"


def bars(*series: Bars, names=("one", "two"), **more) -> BarChart:
    return BarChart("k", "t", "d", names, series, Axis("x"), **more)


CHARTS = {
    "lying": bars(Bars("s", [1.0, -3.0], [0.5, -4.0], [2.0, -1.0], ["1", "−3"]), lying=True),
    "grouped": bars(Bars("a", [1.0, EMPTY], labels=["1", ""]), Bars("b", [2.0, 3.0], labels=["2", "3"], fill=1)),
    "tornado": bars(Bars("low", [1.0, 4.0], base=3.0, labels=["1", "4"]), Bars("high", [5.0, 2.0], base=3.0, fill=1,
                    labels=["5", "2"]), lying=True, overlaid=True, references=(Reference("now", 3.0),)),
    "dots": BarChart("k", "t", "d", ["one"], (Bars("r", [0.5], [0.1], [2.0], ["0.5"], dots=True),),
                     Axis("ratio", LOG_AXIS), lying=True, references=(Reference("none", 1.0),)),
    "many": BarChart("k", "t", "d", [str(y) for y in range(60)], (Bars("a", np.arange(60.0) - 9),), Axis("y"), "x",
                     line=Line("l", (), np.linspace(-1e6, 1e6, 60), marked=True)),
    "curve": PlotChart("k", "t", "d", Axis("x", LOG_AXIS), Axis("y"), (
        Line("l", [10.0, 1e5, 2e6], [0.0, 3.0, 4.0], fill=0), Points("p", [1e5], [3.0], fill=1, large=True))),
    "long key": PlotChart("k", "t", "d", Axis("x"), Axis("Power: probability to show it"), tuple(
        Line(f"{k} laterals, in three yearly steps", [0.0, 1.0], [0.0, 1.0 - k / 99], fill=k % 3) for k in range(12))),
    "days": PlotChart("k", "t", "d", Axis("day", DATE), Axis("y", LOG_AXIS), (
        Points("p", np.arange("2020-01-01", "2024-01-01", dtype="datetime64[D]"), np.linspace(0.01, 9, 1461)),)),
    "equal": PlotChart("k", "t", "d", Axis("x"), Axis("y"), (
        Points("p", [1.0, 1.01, 5.0], [2.0, 2.01, 9.0], labels=["first", "second", ODD]),
        Line("1 : 1 line", [0.0, 9.0], [0.0, 9.0])), equal=True),
    "curves": PlotChart("k", "t", "d", Axis("Current, A", LOG_AXIS, (10.0, 1e4), (10.0, 100.0, 1e3, 1e4)),
                        Axis("Time, s", LOG_AXIS, (0.001, 100.0), (0.01, 1.0, 100.0)), (
        Rectangles("along", [200.0], [900.0], [0.001], [100.0]),
        Rectangles("saved", [200.0], [500.0], [0.005], [0.008], 2),
        Rectangles("both", [500.0, 300.0], [900.0, 900.0], [0.005, 0.002], [0.008, 0.004], 4),
        Line("link", [50.0, 100.0, 900.0], [EMPTY, 90.0, 0.05]),
        Words("operations", [11.0, 11.0], [0.0063, 0.0028], ["Fast", ODD])), tall=True),
    "nothing": bars(Bars("s", []), names=(), lying=True),
    "zeros": bars(Bars("s", [0.0], labels=["0"]), names=("a",)),
    "odd names": bars(Bars(ODD, [1.0], labels=[ODD]), Bars("$x$", [2.0]), names=(ODD + "💥" + "x" * 500,), lying=True),
}


def texts(chart) -> list[str]:
    return [e.text for e in ElementTree.fromstring(svg(chart)).iter() if e.tag.endswith("}text")]


@pytest.mark.parametrize("name", CHARTS)
def test_the_same_bytes_each_time(name):
    assert svg(CHARTS[name]) == svg(CHARTS[name])
    assert png(CHARTS[name]) == png(CHARTS[name])


def test_the_same_bytes_in_another_process():
    """Whatever the order of hashes, and whatever was drawn before."""
    code = ("from tests.report.test_picture import CHARTS, svg, png; import hashlib; "
            "print(hashlib.sha256(svg(CHARTS['grouped']).encode() + png(CHARTS['equal'])).hexdigest())")
    found = {subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[2], capture_output=True, text=True,
                            check=True, env={"PYTHONHASHSEED": seed, "HOME": str(Path.home()), "TZ": zone}).stdout
             for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))}
    assert len(found) == 1


@pytest.mark.parametrize("name", CHARTS)
def test_the_svg_is_well_formed_names_itself_and_brings_nothing_along(name):
    text = svg(CHARTS[name])
    root = ElementTree.fromstring(text)
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "k-t k-d"
    assert [(c.tag.rpartition("}")[2], c.get("id"), c.text) for c in root[:2]] == [("title", "k-t", "t"),
                                                                                 ("desc", "k-d", "d")]
    tags = {e.tag.rpartition("}")[2] for e in root.iter()}
    assert {"style", "script", "metadata", "image"}.isdisjoint(tags)
    assert text.count("http") == 1                     # the namespace
    assert all(e.get("id", "k-").startswith("k-") for e in root.iter())
    assert "20" + "26-" not in text


def test_text_stays_text_and_names_stay_as_they_are():
    found = texts(CHARTS["odd names"])
    assert ODD in found
    assert any(t.startswith(ODD + "💥") and len(t) <= 40 for t in found)
    assert ODD in texts(CHARTS["equal"])
    assert "<script" not in svg(CHARTS["odd names"])


def test_value_labels_references_and_series_are_named():
    assert {"1", "5", "2", "4", "low", "high", "now", "one", "two"} <= set(texts(CHARTS["tornado"]))


@pytest.mark.parametrize("name", CHARTS)
def test_no_word_is_cut_and_none_lies_on_another(name):
    """Boxes of all words, as drawn: inside the picture, apart from one another."""
    if name == "odd names":
        return                                         # a name of 34 letters thrice is wider than any room
    with style.context(["default", PLOT_STYLE]):
        drawn = figure(CHARTS[name])
        drawn.draw_without_rendering()
        axes, = drawn.axes
        words = [*axes.texts, axes.xaxis.label, axes.yaxis.label, *(t for key in drawn.legends for t in key.texts)]
        for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            words += [label for at, label in zip(axis.get_majorticklocs(), axis.get_majorticklabels(), strict=True)
                      if min(low, high) <= at <= max(low, high)]
        boxes = [(t.get_text(), t.get_window_extent()) for t in words if t.get_text().strip()]
        edge = drawn.bbox
    assert boxes
    seen = []
    for text, box in boxes:
        assert box.x0 >= edge.x0 - 1, text
        assert box.x1 <= edge.x1 + 1, text
        assert box.y0 >= edge.y0 - 1, text
        assert box.y1 <= edge.y1 + 1, text
        for other, taken in seen:
            width = min(box.x1, taken.x1) - max(box.x0, taken.x0)
            height = min(box.y1, taken.y1) - max(box.y0, taken.y0)
            assert width < 1 or height < 2, f"{text} lies on {other}"
        seen.append((text, box))


def test_a_long_key_leaves_the_picture_its_height():
    with style.context(["default", PLOT_STYLE]):
        drawn = figure(CHARTS["long key"])
        drawn.draw_without_rendering()
        axes, = drawn.axes
        assert axes.yaxis.label.get_window_extent().height < axes.get_window_extent().height


def test_names_of_points_keep_off_the_lines():
    x = np.linspace(0.0, 10.0, 41)
    rising = Points("from here on", x[[20, 40]], x[[20, 40]] ** 0.5, labels=["four sectionalizers"] * 2)
    with style.context(["default", PLOT_STYLE]):
        drawn = figure(PlotChart("k", "t", "d", Axis("x"), Axis("y"), (Line("l", x, x ** 0.5, marked=True), rising)))
        drawn.draw_without_rendering()
        axes = drawn.axes[0]
        boxes = [text.get_window_extent() for text in axes.texts]
        on_line = axes.transData.transform(np.column_stack([np.linspace(0, 10, 999), np.linspace(0, 10, 999) ** 0.5]))
    assert len(boxes) == 2
    assert not any(box.contains(*at) for box in boxes for at in on_line)


def test_bars_begin_at_zero_and_are_in_proportion():
    with style.context(["default", PLOT_STYLE]):
        axes = figure(bars(Bars("s", [100.0, 101.0]))).axes[0]
    assert axes.get_ylim()[0] == 0.0
    heights = [p.get_height() for p in axes.patches]
    assert heights == [100.0, 101.0]


def test_curves_keep_to_their_axes_and_areas_differ_without_colour():
    with style.context(["default", PLOT_STYLE]):
        drawn = figure(CHARTS["curves"])
        drawn.draw_without_rendering()
        axes = drawn.axes[0]
    assert (axes.get_xlim(), axes.get_ylim()) == ((10.0, 1e4), (0.001, 100.0))
    assert axes.get_yticks().tolist() == [0.01, 1.0, 100.0]
    assert len({p.get_hatch() for p in axes.patches}) == 3
    corners = [p.get_xy()[:4] for p in axes.patches]
    assert corners[-1][[0, 2]].tolist() == [[300.0, 0.002], [900.0, 0.004]]
    assert texts(CHARTS["curves"]).count("both") == 1


def test_equal_axes_have_one_scale():
    with style.context(["default", PLOT_STYLE]):
        drawn = figure(CHARTS["equal"])
        drawn.draw_without_rendering()
        axes = drawn.axes[0]
    assert axes.get_xlim() == axes.get_ylim()
    box = axes.get_window_extent()
    assert box.width == pytest.approx(box.height)


def test_series_differ_without_colour():
    """A pattern for bars, a marker for points."""
    with style.context(["default", PLOT_STYLE]):
        grouped = figure(CHARTS["grouped"]).axes[0]
        curve = figure(PlotChart("k", "t", "d", Axis("x"), Axis("y"), tuple(
            Points(str(i), [1.0], [1.0], fill=i) for i in range(4)))).axes[0]
    assert len({p.get_hatch() for p in grouped.patches}) == 2
    assert len({line.get_marker() for line in curve.lines}) == 4


def test_drawing_leaves_matplotlibs_settings_alone():
    before = dict(matplotlib.rcParams)
    svg(CHARTS["lying"])
    png(CHARTS["lying"])
    assert dict(matplotlib.rcParams) == before


def test_a_users_own_settings_of_matplotlib_change_nothing(monkeypatch):
    expected = svg(CHARTS["lying"])
    monkeypatch.setitem(matplotlib.rcParams, "font.size", 30.0)
    assert svg(CHARTS["lying"]) == expected


def test_a_picture_is_a_png_without_a_date():
    from PIL import Image
    picture = Image.open(io.BytesIO(png(CHARTS["grouped"])))
    assert picture.size == (1400, 580)
    assert set(picture.info) <= {"dpi"}


def test_ticks_of_one_axis_share_their_thousands():
    steps = np.array([-2e6, -5e5, 0.0])
    assert [tick_text(s, steps) for s in steps] == ["−2 M", "−0.5 M", "0"]
    assert tick_text(1500.0, np.array([0, 1500.0])) == "1\u202f500"


@pytest.mark.parametrize(("values", "scale"), [
    ([1.0, 99.0], LINEAR), ([1.0, 100.0], LOG_AXIS), ([0.0, 1.0, 100.0], LOG_AXIS), ([-1.0, 1.0, 100.0], LINEAR),
    ([0.0, 0.0], LINEAR), ([], LINEAR), ([EMPTY, 5.0], LINEAR)])
def test_an_axis_is_logarithmic_where_values_span_decades(values, scale):
    assert scale_for(values) == scale


@pytest.mark.parametrize(("value", "text"), [
    (0.0, "0"), (31922.4, "31.9 k"), (-1803400.0, "−1.80 M"), (152.93, "153"), (0.0216, "0.0216"), (2e9, "2.00 bn"),
    (EMPTY, "")])
def test_a_label_is_three_digits(value, text):
    assert compact(value) == text
