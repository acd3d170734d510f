"""The map on the screen: what its description says, and the pages that show it."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from reliability.pipeline import expect
from reliability.report.chart import METRES_PER_KM, METRES_PER_MILE
from reliability.report.charts_map import network_map
from reliability.report.map_classes import Benefit, by_benefit
from reliability.report.palette import SEQUENTIAL
from reliability.study import open_study, workspace
from reliability.study.plan_view import plan_view
from reliability.ui.described import figure
from reliability.ui.feeder_chart import feeder_chart
from reliability.ui.map_panel import MAP_MEASURES, OUTAGES_MEASURE, turns
from tests.routed import write_routes
from tests.ui.conftest import app, figures, said, sound


@pytest.fixture
def routed(small) -> str:
    """The small study with routes and numbers of its devices."""
    folder = workspace.root() / small
    lines = (folder / "sections.csv").read_text(encoding="utf-8").splitlines()
    lines = [f"{lines[0]},device_id,location", *(f"{line},D-{k},Mill Road {k}" for k, line in enumerate(lines[1:]))]
    (folder / "sections.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    write_routes(folder, open_study(folder))
    return small


def chart_of(study, **more):
    network = study.network
    values = np.full(len(network), np.nan)
    values[network.candidates] = np.linspace(-1.0, 3.0, len(network.candidates))
    return network_map(network, plan_view(network, study.routes), by_benefit(network, Benefit("Minutes", "a year",
                       values)), network.device, key="k", title="t", **more)


@pytest.mark.parametrize(("miles", "unit", "word"), [(False, METRES_PER_KM, "km"), (True, METRES_PER_MILE, "mi")])
def test_the_map_has_one_scale_and_one_path_a_class(routed, miles, unit, word):
    study = open_study(workspace.root() / routed)
    chart = chart_of(study, miles=miles)
    drawn = figure(chart, height=560).to_dict()
    layout = drawn["layout"]
    assert (layout["yaxis"]["scaleanchor"], layout["yaxis"]["scaleratio"]) == ("x", 1)
    assert layout["yaxis"]["range"][1] == pytest.approx((chart.window[3] - chart.window[2]) / unit)
    assert layout["xaxis"]["range"] == pytest.approx([0.0, (chart.window[1] - chart.window[0]) / unit])
    assert layout["xaxis"]["constrain"] == layout["yaxis"]["constrain"] == "range"       # the frame is filled
    paths = [s for s in layout["shapes"] if s.get("layer") == "below"]
    assert len(paths) == len(chart.lines)
    assert [p["path"].count("M") for p in paths] == [int(np.isnan(line.x).sum()) for line in chart.lines]
    key = [t["name"] for t in drawn["data"] if t["mode"] == "lines"]
    assert key == [line.name for line in chart.lines]
    assert layout["annotations"][0]["text"].endswith((f" {word}", " m"))


@pytest.mark.parametrize(("tall", "height"), [(0.02, 380), (0.2, 174 + 0.2 * 2.2 * 560), (0.5, 560), (3.0, 560)])
def test_the_frame_of_a_wide_network_is_lower(routed, tall, height):
    chart = chart_of(open_study(workspace.root() / routed))
    drawn = figure(replace(chart, window=(0.0, 1000.0, 0.0, 1000.0 * tall)), height=560)
    assert drawn.layout.height == round(height)


def test_a_click_gives_the_lateral(routed):
    study = open_study(workspace.root() / routed)
    places = figure(chart_of(study), height=560).to_dict()["data"][-1]
    assert places["marker"]["opacity"] == 0
    assert set(places["customdata"]) == set(study.network.ids[study.network.candidates])
    assert "Mill Road" in places["hovertext"][0]


def test_names_of_a_file_are_no_markup_in_the_map(routed):
    folder = workspace.root() / routed
    text = (folder / "sections.csv").read_text(encoding="utf-8").replace("D-", "<b>D-")
    (folder / "sections.csv").write_text(text, encoding="utf-8")
    places = figure(chart_of(open_study(folder)), height=560).to_dict()["data"][-1]
    assert "&lt;b&gt;D-" in places["hovertext"][0]


def test_the_page_of_laterals_shows_the_map_and_the_one_line_drawing(routed):
    test = app("laterals", routed)
    drawn = figures(test)[0]["layout"]
    assert drawn["yaxis"]["scaleanchor"] == "x"
    for measure in [m for m in MAP_MEASURES if m != OUTAGES_MEASURE]:
        test.selectbox("map_measure").set_value(measure).run()
        assert figures(sound(test))[0]["layout"]["yaxis"]["scaleanchor"] == "x"
    assert len(test.selectbox("map_measure").options) == len(MAP_MEASURES) - 1      # no records, no outages to show
    test.selectbox("map_feeder").set_value("All feeders").run()
    assert figures(sound(test))[0]["layout"]["yaxis"]["scaleanchor"] == "x"
    test.button_group("map_drawing").set_value("One-line").run()
    assert "scaleanchor" not in figures(sound(test))[0]["layout"]["yaxis"]


def test_the_wheel_over_the_map_scrolls_the_page(routed):
    drawn = app("laterals", routed).get("plotly_chart")[0].proto
    config = json.loads(drawn.config)
    assert config["scrollZoom"] is False
    assert config["modeBarButtons"] == [["zoomIn2d", "zoomOut2d", "resetScale2d"]]


def test_where_a_gain_turns_sooner_is_darker_on_the_map(routed):
    network = open_study(workspace.root() / routed).network
    values = np.full(len(network), np.nan)
    values[network.candidates] = np.linspace(0.01, 0.5, len(network.candidates))
    classed = by_benefit(network, turns(values, "gain keeps its sign"))
    first, last = (classed.classes[k] for k in classed.of_head[network.candidates[[0, -1]]])
    assert (first.colour, last.colour) == (SEQUENTIAL[-1], SEQUENTIAL[0])
    assert "darker: sooner" in classed.legend
    assert len(classed.legend) <= 80 - len("<b></b>")


def test_outages_recorded_colour_the_laterals_where_there_are_records(routed):
    folder = workspace.root() / routed
    network = open_study(folder).network
    lateral = network.ids[network.candidates[0]]
    (folder / "outages.csv").write_text(
        "event_id,section_id,started,restored,customers\n"
        f"1,{lateral},2024-03-14 10:00,2024-03-14 12:00,10\n2,,2024-12-30 10:00,2024-12-30 12:00,10\n",
        encoding="utf-8")
    test = app("laterals", routed)
    test.selectbox("map_measure").set_value(OUTAGES_MEASURE).run()
    title = figures(sound(test))[0]["layout"]["legend"]["title"]["text"]
    assert "Outages recorded, a year" in title
    (folder / "outages.csv").write_text("event_id,section_id,started,restored,customers\n"
                                        "1,,03/04/2024 10:00,03/04/2024 12:00,10\n", encoding="utf-8")
    test = app("laterals", routed)
    test.selectbox("map_measure").set_value(OUTAGES_MEASURE).run()
    assert "cannot be read" in said(sound(test))


def test_without_routes_the_one_line_drawing_stands_and_nothing_is_asked(small):
    test = app("laterals", small)
    assert "scaleanchor" not in figures(test)[0]["layout"]["yaxis"]
    assert "map_drawing" not in [w.key for w in test.button_group]


def test_the_page_of_the_selection_shows_the_chosen_on_the_map(routed):
    test = app("choice", routed)
    test.radio(next(w.key for w in test.radio if str(w.key).startswith("objective"))).set_value("saidi").run()
    maps = [f for f in figures(sound(test)) if f["layout"]["yaxis"].get("scaleanchor") == "x"]
    assert any(t["name"].endswith(", chosen") for t in maps[0]["data"])


def test_a_lateral_is_found_by_device_location_and_section(routed):
    test = app("laterals", routed)
    network = open_study(workspace.root() / routed).network
    options = test.selectbox("lateral_pick").options
    assert sorted(options) == sorted(network.described[network.candidates])
    head = int(network.candidates[0])
    assert f"{network.text['device_id'][head]} · {network.text['location'][head]} · {network.ids[head]}" in options
    table = next(d.value for d in test.dataframe if "customer_minutes_avoided" in d.value)
    assert list(table.columns[:2]) == ["lateral", "location"]
    assert table["lateral"].tolist() == [network.name_by_id[i] for i in table["lateral_id"]]


def test_the_one_line_drawing_shows_names_and_every_class(routed):
    study = open_study(workspace.root() / routed)
    network = expect(study).network
    values = np.full(len(network), np.nan)
    values[network.candidates] = np.arange(len(network.candidates)) - 1.0
    classed = by_benefit(network, Benefit("Minutes", "a year", values))
    drawn = feeder_chart(network, 0, network.device, classed).to_dict()["data"]
    used = {classed.classes[k].name for k in classed.of_head[network.candidates]}
    assert {t["name"] for t in drawn if t["mode"] == "lines" and t["name"]} == used | {"main"}
    assert set(drawn[-1]["text"]) == set(network.names[network.candidates])
