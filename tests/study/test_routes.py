"""routes.geojson and what else lies beside a study's tables: read, checked, and never lost."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.schema.problems import Problems
from reliability.study import Study, StudyError, open_study, workspace, write_template
from reliability.study.changes import apply_change
from reliability.study.plan_view import EARTH_RADIUS_M, on_a_plane, plan_view
from reliability.study.routes import read_routes
from reliability.study.save import fingerprint, input_files, try_change
from tests.routed import MIDDLE, geojson_of, plan_of, write_routes

LINE = [[-100.5, 45.2], [-100.4, 45.3]]


@pytest.fixture
def folder(tmp_path) -> Path:
    """A study with routes, segments and a recipe beside its tables."""
    folder = tmp_path / "study"
    write_template(folder)
    write_routes(folder, open_study(folder))
    first = open_study(folder).sections["section_id"].iloc[0]
    (folder / "segment_sections.csv").write_text(
        f"segment_id,section_id,order,reversed\nSPAN-1,{first},1,false\nSPAN-2,{first},2,true\n", encoding="utf-8")
    (folder / "import.toml").write_text("version = 1\n", encoding="utf-8")
    return folder


def feature(name: object = "a", kind: str = "LineString", coordinates: object = LINE, **more: object) -> dict:
    return {"type": "Feature", "properties": {"section_id": name},
            "geometry": {"type": kind, "coordinates": coordinates}} | more


def read(*features: object, ids=("a", "b"), **more: object):
    """Routes, notes and the lines of the problems of some features."""
    problems = Problems()
    content = json.dumps({"type": "FeatureCollection", "features": list(features)} | more).encode()
    routes, notes = read_routes("routes.geojson", content, ids, problems)
    return routes, notes, [str(p) for p in problems.listed]


def test_lines_are_read_by_section_in_the_order_of_the_study():
    routes, notes, problems = read(feature("b", "MultiLineString", [LINE, [[1, 2, 300], [3, 4, 300], [5, 6, 300]]]),
                                   feature("a"), feature("a", coordinates=[[7, 8], [9, 10]]))
    assert (notes, problems) == ((), [])
    assert routes.row.tolist() == [0, 0, 1, 1]
    assert routes.lines_of(0) == [LINE, [[7, 8], [9, 10]]]
    assert routes.lines_of(1) == [LINE, [[1, 2], [3, 4], [5, 6]]]


def test_an_id_may_be_a_number():
    assert read(feature(7), feature(8.0), ids=("8", "7"))[0].row.tolist() == [0, 1]


def test_unknown_sections_and_sections_without_a_route_are_counted():
    routes, notes, problems = read(feature("a"), *(feature(f"x{k}") for k in range(7)), ids=("a", "b", "c"))
    assert (routes.row.tolist(), problems) == ([0], [])
    assert notes[0].startswith("routes.geojson: 7 features of sections that the study does not have (x0, x1, x2, x3, "
                               "x4 …)")
    assert notes[1] == "routes.geojson: 2 of 3 sections without a route: not on the map."
    assert read(feature("a") | {"geometry": None}, ids=("a",))[:2] == (
        None, ("routes.geojson: 1 of 1 section without a route: not on the map.",))


@pytest.mark.parametrize(("made", "said"), [
    (feature(None), "feature 2, column section_id: '': the feature does not say which section it is"),
    (feature(kind="Point"), "feature 2, column geometry: 'Point': neither a LineString nor a MultiLineString"),
    (feature(coordinates=[[1, 2]]), "feature 2, column coordinates: '[[1, 2]]': no line of two or more positions"),
    (feature(coordinates=[[1, 2], ["3", 4]]), "column coordinates"),
    (feature(coordinates=[[1, 2], [3]]), "column coordinates"),
    (feature(coordinates=7), "column coordinates: '7'"),
    (feature(kind="MultiLineString", coordinates=LINE[:1]), "column coordinates: '[-100.5, 45.2]'"),
    (feature(coordinates=[[482310.5, 5006000.0], [482400, 5006100]]),
     "'[482310.5, 5006000.0]': neither longitude nor latitude in degrees; reproject it"),
    ({"type": "Point"}, "feature 2, column type: 'Point': no Feature"),
    (5, "feature 2, column type: '5': no Feature"),
])
def test_a_feature_that_is_none_is_a_problem_with_its_place_and_value(made, said):
    _, _, problems = read(feature("a"), made)
    assert len(problems) == 1
    assert problems[0].startswith("routes.geojson: ")
    assert said in problems[0]


def test_one_mistake_in_many_features_is_counted():
    problems = Problems()
    content = json.dumps({"type": "FeatureCollection", "features": [feature(kind="Point")] * 150}).encode()
    read_routes("routes.geojson", content, ["a"], problems)
    assert (len(problems.listed), len(problems)) == (100, 150)


@pytest.mark.parametrize(("content", "said"), [
    (b"{", "no valid JSON"), (b"[" * 100_000, "no valid JSON"), (b'{"type": NaN}', "no valid JSON (NaN is no number)"),
    (b"\xff\xfe\xfd", "the text is not UTF-8"), (b"[]", "no FeatureCollection"),
    (b'{"type": "FeatureCollection"}', "no FeatureCollection"),
    (b'{"type": "FeatureCollection", "features": [], "crs": {"properties": {"name": "EPSG:26915"}}}',
     "coordinates of another system than WGS 84"),
])
def test_a_file_that_is_none_is_one_problem(content, said):
    problems = Problems()
    assert read_routes("routes.geojson", content, ["a"], problems) == (None, ())
    assert len(problems) == 1
    assert said in str(problems.listed[0])


def test_a_study_with_broken_routes_is_refused_with_every_problem(folder):
    document = json.loads((folder / "routes.geojson").read_text(encoding="utf-8"))
    document["features"][0]["geometry"]["coordinates"] = [[900, 2], [3, 4]]
    document["features"][2]["geometry"]["type"] = "Polygon"
    (folder / "routes.geojson").write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        open_study(folder)
    assert [(p.file, p.row) for p in caught.value.problems] == [("routes.geojson", 1), ("routes.geojson", 3)]


def test_an_edit_keeps_routes_segments_and_recipe(folder):
    """A change of the tables is checked with them and leaves them as they are."""
    beside = {name: (folder / name).read_bytes() for name in ("routes.geojson", "segment_sections.csv", "import.toml")}
    assert set(beside) <= {f.name for f in input_files(folder)}
    text = (folder / "study.toml").read_text(encoding="utf-8").replace("# trials = …", "trials = 30").encode()
    assert try_change(folder, {"study.toml": text}).routes is not None
    assert apply_change(folder, {"study.toml": text}, [], fingerprint(folder), True).fingerprint == fingerprint(folder)
    assert {name: (folder / name).read_bytes() for name in beside} == beside
    study = open_study(folder)
    assert len(study.routes.row) == len(study.sections)
    assert study.segments["segment_id"].tolist() == ["SPAN-1", "SPAN-2"]


def test_the_fingerprint_tells_other_routes(folder):
    before, digest = fingerprint(folder), open_study(folder).inputs_sha256
    write_routes(folder, open_study(folder), seed=1)
    assert fingerprint(folder) != before
    assert open_study(folder).inputs_sha256 != digest


def test_the_demo_takes_along_what_lies_beside_its_tables(folder):
    assert {"routes.geojson", "segment_sections.csv", "import.toml", "study.toml"} <= set(workspace.demo_files(folder))


def test_changed_assumptions_and_scenarios_keep_the_routes(folder):
    study = open_study(folder)
    changed = study.with_assumptions(repair_hours=3.0).with_scenario("More", device="sectionalizer")
    assert changed.routes is study.routes
    assert changed.segments is study.segments


def test_segments_of_no_section_are_counted_and_a_missing_column_is_a_problem(folder):
    (folder / "segment_sections.csv").write_text("segment_id,section_id\nSPAN-1,nowhere\n,main-1\n", encoding="utf-8")
    study = open_study(folder)
    assert len(study.segments) == 0
    assert any(n.startswith("segment_sections.csv: 2 rows of sections that") for n in study.notes)
    (folder / "segment_sections.csv").write_text("segment,section_id\nSPAN-1,nowhere\n", encoding="utf-8")
    with pytest.raises(StudyError, match="segment_id: the column is missing"):
        open_study(folder)


def test_frames_bring_routes_and_segments():
    sections = pd.DataFrame({"section_id": ["main", "tap"], "parent_id": [None, "main"], "device": ["breaker", "fuse"],
                             "length_km": [1.0, 2.0], "customers": [3, 4]})
    routes = {"type": "FeatureCollection", "features": [feature("tap")]}
    segments = pd.DataFrame({"segment_id": ["S1"], "section_id": ["tap"]})
    study = Study.from_frames(sections, routes=routes, segment_sections=segments)
    assert study.routes.lines_of(1) == [LINE]
    assert study.segments["segment_id"].tolist() == ["S1"]
    assert study.inputs_sha256 != Study.from_frames(sections).inputs_sha256
    with pytest.raises(StudyError, match="routes: 'set': no GeoJSON"):
        Study.from_frames(sections, routes={1})
    with pytest.raises(StudyError, match="feature 1"):
        Study.from_frames(sections, routes={"type": "FeatureCollection", "features": [feature(kind="Point")]})


def test_lengths_in_miles_are_known(folder):
    assert not open_study(folder).in_miles
    text = (folder / "sections.csv").read_text(encoding="utf-8").replace("length_km", "length_mi", 1)
    (folder / "sections.csv").write_text(text, encoding="utf-8")
    assert open_study(folder).in_miles


def test_one_scale_in_both_directions():
    """A degree of latitude is R · π/180, one of longitude cos φ times that, about the middle."""
    x, y = on_a_plane(np.array([10.0, 12.0]), np.array([59.0, 61.0]))
    degree = EARTH_RADIUS_M * np.pi / 180.0
    assert y.tolist() == pytest.approx([-degree, degree])
    assert x.tolist() == pytest.approx([-0.5 * degree, 0.5 * degree])


def test_a_network_across_the_180th_meridian_is_put_together():
    x, _ = on_a_plane(np.array([179.9, -179.9]), np.array([0.0, 0.0]))
    assert np.ptp(x) == pytest.approx(0.2 * EARTH_RADIUS_M * np.pi / 180.0)


def test_sections_begin_where_their_parent_ends_whichever_way_a_line_was_drawn(folder):
    network = open_study(folder).network
    document = geojson_of(network)
    rng = np.random.default_rng(0)
    for one in document["features"]:
        if rng.random() < 0.5:
            one["geometry"]["coordinates"].reverse()
    rng.shuffle(document["features"])
    (folder / "routes.geojson").write_text(json.dumps(document), encoding="utf-8")
    study = open_study(folder)
    view = plan_view(study.network, study.routes)
    lines = plan_of(study.network)
    origin = lines[0][0] - view.source_end[0]
    np.testing.assert_allclose(view.source_end + origin, [line[0] for line in lines], rtol=2e-3, atol=1.0)
    np.testing.assert_allclose(view.middle + origin, [0.5 * (line[1] + line[2]) for line in lines], rtol=2e-3, atol=1.0)
    x, _ = view.lines(np.arange(len(study.network)) < 2)
    assert np.isnan(x).sum() == 2
    assert MIDDLE[1] == 45.2


def test_a_section_without_a_route_stands_where_the_one_above_it_ends(folder):
    network = open_study(folder).network
    document = geojson_of(network)
    leaf = int(np.flatnonzero((network.size == 1) & (network.parent > 0))[0])
    document["features"] = [f for f in document["features"] if f["properties"]["section_id"] != str(network.ids[leaf])]
    (folder / "routes.geojson").write_text(json.dumps(document), encoding="utf-8")
    study = open_study(folder)
    view, lines = plan_view(study.network, study.routes), plan_of(network)
    assert not view.routed[leaf]
    origin = lines[0][0] - view.source_end[0]
    end = lines[int(network.parent[leaf])][-1]
    np.testing.assert_allclose(view.source_end[leaf] + origin, end, rtol=2e-3, atol=1.0)
