"""The map: classes, marks, scale and window as described; drawn on paper; and results.geojson."""

from __future__ import annotations

import itertools
import json
import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib import style
from matplotlib.backends.backend_agg import FigureCanvasAgg

from reliability.business.break_even import BREAK_EVEN
from reliability.network.application import check_laterals
from reliability.network.devices import CODE
from reliability.pipeline import analyse
from reliability.report.chart import DOTTED, SQUARE, MapChart, MapLines, MapMarks, scale_bar
from reliability.report.charts_map import lateral_map, network_map
from reliability.report.content import content_of
from reliability.report.map_classes import NO_LATERAL, Benefit, by_benefit, by_verdict
from reliability.report.map_thinning import thinned
from reliability.report.output import RUN_FILES, write_results
from reliability.report.palette import FAINT, GREY, INK, LOSS, SEQUENTIAL
from reliability.report.picture import svg
from reliability.report.plot import PLOT_STYLE, figure
from reliability.report.plot_map import map_figure
from reliability.report.results_geojson import results_geojson
from reliability.report.sections_laterals import application, selection
from reliability.report.sections_map import converted
from reliability.report.work_pack import work_pack_html
from reliability.study import open_study, write_template
from reliability.study.plan_view import plan_view
from tests.report.parsed import Page
from tests.report.work_packs import pack_of
from tests.routed import geojson_of, with_routes

NUMBER = re.compile(r'"(NaN|Infinity|-Infinity)"|NaN|Infinity')


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Results of the template with routes and a few names of the field; every conversion that avoids minutes chosen."""
    folder = tmp_path_factory.mktemp("map") / "study"
    write_template(folder)
    study = open_study(folder).with_assumptions(objective="saidi")
    sections = study.sections.assign(device_id=[f"D-{k}" if k % 2 else "" for k in range(len(study.sections))],
                                     location=[f"Pole {k}, Mill Road" for k in range(len(study.sections))])
    return analyse(with_routes(study.with_sections(sections)), trials=5)


def benefit_of(network, values) -> Benefit:
    at = np.full(len(network), np.nan)
    at[network.candidates] = values
    return Benefit("Minutes", "a year", at)


def chart_of(results, **more) -> MapChart:
    network = results.network
    values = np.linspace(-1.0, 3.0, len(network.candidates))
    return network_map(network, results.plan_view, by_benefit(network, benefit_of(network, values)), network.device,
                       key="k", title="t", **more)


def test_every_section_is_drawn_once_in_the_class_of_its_lateral(results):
    network, chart = results.network, chart_of(results)
    assert sum(int(np.isnan(line.x).sum()) for line in chart.lines) == len(network)
    classed = by_benefit(network, benefit_of(network, np.linspace(-1.0, 3.0, len(network.candidates))))
    for line in chart.lines:
        names = [c.name for c in classed.classes]
        of_class = (network.unit < 0) if line.name == "main" else np.where(
            network.unit >= 0, classed.of_head[network.unit], NO_LATERAL) == names.index(line.name)
        np.testing.assert_array_equal(line.x, results.plan_view.lines(of_class)[0])


def test_no_two_classes_differ_by_colour_alone(results):
    network = results.network
    checks = check_laterals(results.study.model, results.study.scenarios[1])
    for classed in (by_benefit(network, benefit_of(network, np.arange(len(network.candidates)) - 2.0)),
                    by_verdict(network, checks.proposal.head, checks.verdict)):
        marks = [(c.width, c.dash) for c in classed.classes]
        assert len(set(marks)) == len(marks)


def test_a_loss_nothing_and_what_does_not_exist_are_classes_of_their_own(results):
    network = results.network
    values = np.linspace(1.0, 2.0, len(network.candidates))
    values[:3] = -5.0, 0.0, np.nan
    classed = by_benefit(network, benefit_of(network, values))
    loss, nothing, missing = (classed.classes[k] for k in classed.of_head[network.candidates[:3]])
    assert (loss.colour, loss.dash, nothing.colour, missing) == (LOSS, DOTTED, FAINT, nothing)
    assert {c.colour for c in classed.classes} - {LOSS, FAINT} <= set(SEQUENTIAL)
    assert classed.text[2] == "Minutes: – a year"


@pytest.mark.parametrize("low_matters", [False, True])
def test_what_matters_more_is_darker_and_thicker_and_nothing_is_the_lightest(results, low_matters):
    heads = len(results.network.candidates)
    benefit = replace(benefit_of(results.network, np.linspace(1.0, 2.0, heads)), low_matters=low_matters)
    classes = by_benefit(results.network, benefit).classes
    graded = [c for c in classes if c.colour in SEQUENTIAL][::-1 if low_matters else 1]

    def darkness(colour: str) -> float:
        return -sum(w * int(colour[i:i + 2], 16) for w, i in ((0.299, 1), (0.587, 3), (0.114, 5)))

    assert len(graded) == len(SEQUENTIAL)
    for less, more in itertools.pairwise(graded):
        assert darkness(more.colour) > darkness(less.colour) + 20
        assert more.width > less.width
    nothing = next(c for c in classes if c.name == benefit.nothing)
    assert darkness(nothing.colour) < darkness(graded[0].colour)
    assert nothing.width < graded[0].width


def test_devices_stand_where_their_sections_begin_and_the_chosen_are_marked(results):
    network, head = results.network, int(results.network.candidates[0])
    chart = chart_of(results, chosen=[head])
    fuses = next(m for m in chart.marks if m.name == "Fuse")
    at = np.setdiff1d(np.flatnonzero(network.device == CODE["fuse"]), head)       # one mark a lateral
    np.testing.assert_array_equal(np.column_stack([fuses.x, fuses.y]), results.plan_view.source_end[at])
    assert [m.name for m in chart.marks if m.name.endswith("chosen")] == ["Fuse, chosen"]
    chosen = next(m for m in chart.marks if m.name == "Fuse, chosen")
    assert [chosen.x[0], chosen.y[0]] == results.plan_view.source_end[head].tolist()
    assert (chosen.filled, fuses.filled) == (True, False)
    assert "Looked at" in [m.name for m in chart_of(results, looked_at=head).marks]


def test_devices_of_laterals_that_are_too_many_are_left_out_and_named(results, monkeypatch):
    monkeypatch.setattr("reliability.report.charts_map.MOST_MAP_MARKS", 1)
    chart = chart_of(results)
    assert "Fuse" not in {m.name for m in chart.marks}
    assert "Breaker" in {m.name for m in chart.marks}
    assert chart.note == "Too many to be drawn here: Fuse."
    assert chart.note in chart.description


def test_what_a_pointer_finds_is_the_lateral_of_every_section(results):
    network, places = results.network, chart_of(results).places
    on_laterals = np.flatnonzero(network.unit >= 0)
    assert [places.ids[k] for k in places.picks] == network.ids[network.unit[on_laterals]].tolist()
    head = int(network.unit[on_laterals[0]])
    text = places.texts[places.picks[0]]
    assert text[0] == network.names[head]
    assert any(line.startswith("Minutes: ") for line in text)


def test_a_part_of_the_network_fills_the_window(results):
    network, view = results.network, results.plan_view
    one = np.arange(len(network)) == network.candidates[-1]
    chart = chart_of(results, shown=one)
    west, east, south, north = view.extent(one)
    assert chart.window[0] < west < east < chart.window[1]
    assert chart.window[2] < south < north < chart.window[3]
    whole = chart_of(results).window
    assert chart.window[1] - chart.window[0] < whole[1] - whole[0]


@pytest.mark.parametrize(("wide", "miles", "length", "words"), [
    (50_000.0, False, 10_000.0, "10 km"), (4_000.0, False, 1000.0, "1 km"), (3_900.0, False, 500.0, "500 m"),
    (50_000.0, True, 5 * 1609.344, "5 mi"), (2_000.0, True, 0.2 * 1609.344, "0.2 mi"), (81.0, False, 20.0, "20 m")])
def test_the_bar_is_a_round_length_of_a_quarter_of_the_map_at_most(wide, miles, length, words):
    found, said = scale_bar((0.0, wide, 0.0, 1.0), miles)
    assert (found, said) == (pytest.approx(length), words)


def test_thinning_keeps_the_ends_and_the_shape():
    rng = np.random.default_rng(0)
    x, y = np.arange(101.0), np.where(np.arange(101) < 50, 0.0, np.arange(101) - 50.0) + rng.uniform(-0.01, 0.01, 101)
    x, y = np.append(x, [np.nan, 7.0, 7.0, np.nan]), np.append(y, [np.nan, 7.0, 7.1, np.nan])
    a, b = thinned(x, y, 0.05)
    assert len(a) < 20
    assert (a[0], a[-3:-1].tolist(), b[-2]) == (0.0, [7.0, 7.0], 7.1)
    assert np.isnan(a).sum() == 2
    first = a[:np.flatnonzero(np.isnan(a))[0]]
    assert first[-1] == 100.0
    assert np.abs(np.interp(x[:101], first, b[:len(first)]) - y[:101]).max() < 0.15


def test_the_map_on_paper_has_one_scale_and_the_same_bytes_each_time(results):
    chart = chart_of(results)
    assert svg(chart) == svg(chart)
    with style.context(["default", PLOT_STYLE]):
        drawn = figure(chart)
        axes = drawn.axes[0]
        drawn.canvas.draw()
        across, up = np.diff(axes.transData.transform([(0.0, 0.0), (1000.0, 1000.0)]), axis=0)[0]
        assert across == pytest.approx(up)
        keys = [t.get_text() for t in drawn.legends[0].get_texts()]
    assert keys == [line.name for line in chart.lines] + [m.name for m in chart.marks]


def test_names_of_a_file_are_only_text_on_the_map():
    odd = "<script>$a$ & "
    chart = MapChart("k", odd, odd, (MapLines(odd, np.array([0.0, 1.0]), np.array([0.0, 1.0]), GREY, 1.0),), (),
                     (0.0, 1.0, 0.0, 1.0), odd)
    assert "<script" not in svg(chart)


def test_the_report_shows_selection_and_verdicts_in_plan_where_there_are_routes(results):
    content = content_of(results)
    made = [b for section in (selection, application) for b in section(content).blocks if isinstance(b, MapChart)]
    assert [m.key for m in made] == ["map-selection", "map-verdicts"]
    rows = results.plan.choice.selection
    chosen = [m for m in made[0].marks if m.name.endswith(", chosen")]
    assert sum(len(m.x) for m in chosen) == (rows["what"] == "lateral").sum() > 0
    without = replace(content, view=None)
    assert not [b for s in (selection, application) for b in s(without).blocks if isinstance(b, MapChart)]


def test_converted_devices_stand_in_place_of_the_old_ones(results):
    network, rows = results.network, results.plan.choice.selection
    rows = rows[rows["what"] == "lateral"]
    device, at = converted(network, network.device, rows)
    assert sorted(network.ids[at]) == sorted(rows["section_id"])
    of = dict(zip(rows["section_id"], rows["device"], strict=True))
    assert device[at].tolist() == [CODE[of[i]] for i in network.ids[at]]
    others = np.setdiff1d(np.arange(len(network)), at)
    np.testing.assert_array_equal(device[others], network.device[others])


def test_tables_of_the_report_show_names_and_the_workbook_keeps_the_ids(results):
    table = next(b for b in selection(content_of(results)).blocks if getattr(b, "key", "") == "selection")
    assert table.on_page[0].label == "Lateral or backup"
    names = table.frame[table.on_page[0].key].tolist()
    assert names == [results.network.name_by_id[i] for i in results.plan.choice.selection["section_id"]]
    assert "section_id" in [c.key for c in table.on_sheet]
    assert "section_id" not in [c.key for c in table.on_page]


def test_a_sheet_has_the_lateral_its_backup_and_the_zone_in_grey(results):
    network, view, checks = results.network, results.plan_view, results.checks
    head, backup = int(checks.proposal.head[0]), int(checks.proposal.backup[0])
    chart = lateral_map(network, view, head, backup, key="k")
    assert {line.name: line.colour for line in chart.lines[:2]} == {"other laterals of the zone": GREY, "main": GREY}
    np.testing.assert_array_equal(chart.lines[2].x, view.lines(network.unit == head)[0])
    assert chart.marks[0].labels == [network.names[head]]
    assert f"its backup {network.names[backup]} stands" in chart.description
    page = Page(work_pack_html(pack_of(checks, [str(network.ids[head])], view=view)))
    assert [tag for tag, _ in page.tags].count("svg") == 1
    assert f"Sectionalizer on lateral {network.names[head]}" in page.text
    assert "in plan" in page.text
    assert "in plan" not in Page(work_pack_html(pack_of(checks))).text


def test_a_backup_that_is_far_away_is_told_in_words(results):
    network, view = results.network, results.plan_view
    head = int(results.checks.proposal.head[0])
    far = view.source_end.copy()
    backup = int(results.checks.proposal.backup[0])
    far[backup] = view.source_end[head] + [0.0, 90_000.0]
    chart = lateral_map(network, replace(view, source_end=far), head, backup, key="k")
    assert [m.labels for m in chart.marks] == [[network.names[head]]]
    assert "stands 90.0 km to the north of it" in chart.description
    in_miles = lateral_map(network, replace(view, source_end=far), head, backup, key="k", miles=True)
    assert "55.9 mi" in in_miles.description
    assert chart.window[3] - chart.window[2] < 45_000.0


@pytest.mark.parametrize("where", [(30.0, 30.0), (170.0, 30.0), (30.0, 95.0)])
def test_names_of_marks_that_stand_together_do_not_cover_each_other(where):
    x, y = where
    marks = tuple(MapMarks("", np.array([x + dx]), np.array([y]), SQUARE, INK, labels=[text])
                  for dx, text in ((0.0, "FC-093"), (4.0, "RC-003")))
    with style.context(PLOT_STYLE):
        drawn = map_figure(MapChart("m", "", "", (), marks, (0.0, 200.0, 0.0, 130.0), small=True))
        drawer = FigureCanvasAgg(drawn).get_renderer()
        boxes = [t.get_window_extent(drawer) for t in drawn.axes[0].texts if t.get_text() in ("FC-093", "RC-003")]
    assert len(boxes) == 2
    assert not boxes[0].overlaps(boxes[1])


def test_a_lateral_without_a_route_has_no_map(results):
    network, view = results.network, results.plan_view
    head = int(results.checks.proposal.head[0])
    assert lateral_map(network, replace(view, routed=network.unit != head), head, -1, key="k") is None


def test_results_geojson_has_a_feature_a_section_as_the_tables_say(results):
    document = json.loads(results_geojson(results))
    made, network = document["features"], results.network
    ids = results.study.sections["section_id"].tolist()
    assert [f["properties"]["section_id"] for f in made] == ids
    routes = {f["properties"]["section_id"]: f["geometry"] for f in geojson_of(network)["features"]}
    assert all(f["geometry"] == routes[f["properties"]["section_id"]] for f in made)
    at = {str(i): k for k, i in enumerate(network.ids)}
    rows = results.plan.choice.selection
    rows = rows[rows["what"] == "lateral"].set_index("section_id")
    for one in (f["properties"] for f in made):
        k = at[one["section_id"]]
        assert one["failure_rate"] == results.expected[0].failure_rate[k]
        assert one["outage_hours"] == results.expected[0].outage_hours[k]
        head = int(network.unit[k])
        assert one["lateral_id"] == (str(network.ids[head]) if head >= 0 else None)
        assert one["chosen"] is (one["lateral_id"] in rows.index if head >= 0 else None)
        if one["chosen"]:
            row = rows.loc[one["lateral_id"]]
            assert (one["npv"], one["device_chosen"]) == (row["npv"], row["device"])
            assert one[BREAK_EVEN] == (row[BREAK_EVEN] if np.isfinite(row[BREAK_EVEN]) else None)
        else:
            assert one["npv"] is one[BREAK_EVEN] is one["device_chosen"] is None


def test_results_geojson_has_null_where_nothing_exists(results):
    """A section without a route, and results without a plan; never a number that is none."""
    routes = results.study.routes
    part = replace(routes, row=routes.row[1:], start=routes.start[1:])
    text = results_geojson(replace(results, study=replace(results.study, routes=part), plan=None))
    first = json.loads(text)["features"][0]
    assert first["geometry"] is None
    assert first["properties"]["chosen"] is None
    assert not NUMBER.search(text)


def test_results_geojson_is_written_where_there_are_routes_and_else_removed(results, tmp_path):
    write_results(results, tmp_path / "out")
    assert {f.name for f in (tmp_path / "out").iterdir()} == set(RUN_FILES) - {"report.docx"}
    write_results(replace(results, study=replace(results.study, routes=None)), tmp_path / "out")
    assert not (tmp_path / "out" / "results.geojson").exists()


def test_files_have_the_names_of_the_field_beside_the_ids(results):
    assert results.laterals["lateral_id"].isin(results.network.ids).all()
    for frame, key in ((results.laterals, "lateral_id"), (results.application, "lateral_id"),
                       (results.selection, "section_id")):
        network = results.network
        at = {str(i): k for k, i in enumerate(network.ids)}
        assert frame["location"].tolist() == [network.text["location"][at[i]] for i in frame[key]]
        assert frame["device_id"].tolist() == [network.text["device_id"][at[i]] for i in frame[key]]


def test_the_view_is_made_once(results):
    assert results.plan_view is results.plan_view
    assert replace(results, study=replace(results.study, routes=None)).plan_view is None
    assert plan_view(results.network, results.study.routes).x.shape == results.plan_view.x.shape
