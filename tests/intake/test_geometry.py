"""Geometry: lines joined at their ends, taps that touch a line, lines that cross, points, coordinate systems,
formats."""

from __future__ import annotations

import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from reliability.intake import NO_RECIPE, Recipe, import_exports
from reliability.report.charts_import import import_map
from reliability.report.import_report import report_files
from reliability.schema.problems import StudyError
from reliability.study import open_study
from tests.adapter import core_results, differences
from tests.intake.exports import exported
from tests.intake.test_random_exports import back, drawn, system

PLANE = "EPSG:32615"        # metres, in the middle of its zone at x = 500 000
ORIGIN = np.array([500_000.0, 4_600_000.0])


def layer(rows: list[dict], crs: str | None = PLANE) -> gpd.GeoDataFrame:
    """Rows with a key `line` or `point`, metres from an origin, as a layer in a coordinate system."""
    shapes = [shapely.LineString(np.array(r["line"]) + ORIGIN) if "line" in r else shapely.Point(
        np.array(r["point"]) + ORIGIN) if "point" in r else None for r in rows]
    cells = [{k: v for k, v in r.items() if k not in ("line", "point")} for r in rows]
    return gpd.GeoDataFrame(cells, geometry=shapes, crs=PLANE).to_crs(crs) if crs else gpd.GeoDataFrame(
        cells, geometry=shapes)


def small(folder: Path, lines: list[dict], crs: str | None = PLANE, devices: list[dict] | None = None,
          customers: list[dict] | None = None, name: str = "segments.gpkg") -> Path:
    folder.mkdir(exist_ok=True)
    layer(lines, crs).to_file(folder / name)
    layer(devices or [{"device_id": "B", "device": "breaker", "segment_id": lines[0]["segment_id"], "point": (0, 0)}],
          crs).to_file(folder / "devices.gpkg")
    layer(customers or [{"transformer_id": "T", "customers": 3, "segment_id": lines[0]["segment_id"],
                         "point": (0, 0)}], crs).to_file(folder / "customers.gpkg")
    return folder


MAIN = {"segment_id": "M", "phases": "3", "line": [(0, 0), (1000, 0)]}


def test_a_tap_that_touches_mid_span_splits_the_span(tmp_path):
    tap = {"segment_id": "T", "phases": "1", "line": [(400, 0.2), (400, 300)]}
    imported = import_exports(small(tmp_path, [MAIN, tap]))
    sections = imported.tables["sections"].set_index("section_id")
    assert list(sections["length_km"].round(3)) == [0.4, 0.6, 0.3] or sorted(sections["length_km"].round(3)) == [
        0.3, 0.4, 0.6]
    assert sections.loc["T", "parent_id"] == "M"
    assert sections["parent_id"].value_counts()["M"] == 2
    assert imported.report.findings.ids("cut") == ("M",)


def test_a_segment_drawn_towards_the_source_has_its_device_and_name_on_the_piece_at_the_source(tmp_path):
    turned = MAIN | {"line": [(1000, 0), (0, 0)]}
    bus = {"segment_id": "S", "phases": "3", "line": [(-50, 0), (0, 0)]}
    tap = {"segment_id": "T", "phases": "1", "line": [(400, 0), (400, 300)]}
    devices = [{"device_id": "B", "device": "breaker", "segment_id": "S", "point": (0, 0)},
               {"device_id": "R", "device": "recloser", "segment_id": "M", "point": (0, 0)}]
    imported = import_exports(small(tmp_path, [turned, bus, tap], devices=devices))
    sections = imported.tables["sections"].set_index("section_id")
    assert sections.loc["M", "device"] == "recloser"
    assert sections.loc["M", "length_km"] == pytest.approx(0.4)
    assert sections.loc["M", "parent_id"] == "S"
    assert imported.segment_sections.set_index("segment_id").loc["M", "section_id"].tolist() == ["M", "M (2)"]


def test_lines_that_cross_do_not_join(tmp_path):
    crossing = {"segment_id": "X", "phases": "1", "line": [(500, -100), (500, 100)]}
    imported = import_exports(small(tmp_path, [MAIN, crossing]))
    assert imported.report.findings.ids("island") == ("X",)


def test_ends_within_the_tolerance_are_one_node(tmp_path):
    more = {"segment_id": "N", "phases": "3", "line": [(1000.3, 0.2), (1500, 0)]}
    exports = small(tmp_path, [MAIN, more])
    assert import_exports(exports).report.findings.ids("island") == ()
    assert import_exports(exports, Recipe(tolerance_m=0.1)).report.findings.ids("island") == ("N",)


def test_points_find_their_node_or_the_nearest_segment(tmp_path):
    tap = {"segment_id": "T", "phases": "1", "line": [(1000, 0), (1000, 300)]}
    devices = [{"device_id": "B", "device": "breaker", "point": (0, 0)},
               {"device_id": "F", "device": "fuse", "point": (1001, 4)}]
    customers = [{"transformer_id": "near", "customers": 4, "point": (1006, 200)},
                 {"transformer_id": "far", "customers": 5, "point": (1100, 200)}]
    imported = import_exports(small(tmp_path, [MAIN, tap], devices=devices, customers=customers))
    sections = imported.tables["sections"].set_index("section_id")
    assert sections.loc["T", ["device", "customers"]].tolist() == ["fuse", 4]
    assert imported.report.findings.ids("customers_not_placed") == ("far",)


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:2278", "EPSG:3857"])
def test_layers_in_other_coordinate_systems_join(tmp_path, crs):
    more = {"segment_id": "N", "phases": "3", "line": [(1000, 0), (1500, 0)]}
    small(tmp_path, [MAIN])
    layer([more], crs).to_file(tmp_path / "segments_2.gpkg")
    imported = import_exports(tmp_path)
    assert imported.report.findings.ids("island") == ()
    assert imported.tables["sections"]["length_km"].sum() == pytest.approx(1.5, rel=2e-3)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_an_unknown_coordinate_system_is_open_until_the_recipe_states_it(tmp_path):
    exports = small(tmp_path, [MAIN], crs=None)
    with pytest.raises(StudyError, match="coordinate system is open"):
        import_exports(exports)
    assert len(import_exports(exports, Recipe(coordinate_system=PLANE)).tables["sections"]) == 1


def test_degrees_that_are_none_are_said(tmp_path):
    exports = small(tmp_path, [MAIN])
    layer([MAIN]).set_crs("EPSG:4326", allow_override=True).to_file(tmp_path / "segments.gpkg")
    with pytest.raises(StudyError, match="no degrees"):
        import_exports(exports)


def test_a_stated_system_holds_where_geojson_has_no_degrees(tmp_path):
    exports = small(tmp_path, [MAIN])
    (tmp_path / "segments.gpkg").unlink()
    layer([MAIN]).set_crs("EPSG:4326", allow_override=True).to_file(tmp_path / "segments.geojson")
    found = import_exports(exports, Recipe(coordinate_system=PLANE)).tables["sections"]
    assert found["length_km"].tolist() == pytest.approx([1.0], rel=2e-3)


@pytest.mark.parametrize(("times", "words"), [
    (1.0 / 1.609344, "as if mi had been read as km"), (1.609344, "as if km had been read as mi"),
    (0.3048, "as if m had been read as ft"), (1000.0 / 304.8, "as if ft had been read as m"),
    (0.5, "not to scale"), (1.2, ""), (1.0, "")])
def test_lengths_of_a_file_that_are_all_off_alike_are_told_with_the_units_mistaken(tmp_path, times, words):
    spans = [{"segment_id": f"S{i}", "phases": "3", "line": [(500 * i, 0), (500 * i + 500, 0)],
              "length_km": 0.5 * times * (1.0 + 0.01 * i)} for i in range(4)]
    found = import_exports(small(tmp_path, spans)).report.findings
    titles = [noted.title for noted in found.noted if noted.key == "length_unit"]
    assert (len(titles) == 1 and words in titles[0]) if words else not titles


def test_parts_that_do_not_meet_are_listed(tmp_path):
    from shapely import MultiLineString
    exports = small(tmp_path, [MAIN])
    frame = layer([MAIN, {"segment_id": "G", "phases": "3", "line": [(1000, 0), (1300, 0)]}])
    frame.loc[1, frame.geometry.name] = MultiLineString([[(1000, 0), (1100, 0)], [(1200, 0), (1300, 0)]])
    frame.to_file(tmp_path / "segments.gpkg")
    assert import_exports(exports).report.findings.ids("parts_apart") == ("G",)


def test_broken_geometry_is_listed(tmp_path):
    imported = import_exports(small(tmp_path, [MAIN, {"segment_id": "E", "phases": "1"}]))
    assert imported.report.findings.ids("no_geometry") == ("E",)
    assert imported.report.findings.ids("island") == ("E",)


def test_a_route_runs_outwards_in_degrees(tmp_path):
    turned = {"segment_id": "N", "phases": "3", "line": [(1500, 0), (1000, 0)]}
    imported = import_exports(small(tmp_path, [MAIN, turned]))
    route = imported.routes["M"]
    assert (np.diff(route[:, 0]) >= 0).all()
    assert abs(route[0, 0] + 93.0) < 1e-6
    assert 41.0 < route[0, 1] < 42.0
    assert b'"LineString"' in imported.files["routes.geojson"]


@pytest.mark.parametrize("sign", ["=", "-", "+", "@"])
def test_a_segment_whose_name_looks_like_a_formula_is_drawn(tmp_path, sign):
    """Its table has an apostrophe before the name, and so has its route."""
    tap = {"segment_id": f"{sign}7", "phases": "1", "line": [(1000, 0), (1500, 0)], "device": "fuse"}
    imported = import_exports(small(tmp_path, [MAIN, tap]))
    imported.save(tmp_path / "study")
    study = open_study(tmp_path / "study")
    assert f"'{sign}7" in study.sections["section_id"].tolist()
    assert study.routes is not None
    assert set(study.routes.row.tolist()) == set(range(len(study.sections)))


def write_layer(frame: gpd.GeoDataFrame, folder: Path, form: str) -> None:
    if form == "gpkg":
        frame.to_file(folder / "segments.gpkg", layer="lines")
    elif form == "geojson":
        frame.to_crs("EPSG:4326").to_file(folder / "segments.geojson", driver="GeoJSON")
    else:
        (folder / "shape").mkdir()
        short = {c: f"c{k}" for k, c in enumerate(frame.columns) if c not in ("segment_id", "geometry", "area")}
        frame.rename(columns=short).to_file(folder / "shape" / "segments.shp")
        for part in (folder / "shape").iterdir():
            if form == "zip":
                with zipfile.ZipFile(folder / "segments.zip", "a") as archive:
                    archive.write(part, part.name)
            else:
                part.rename(folder / part.name)
        (folder / "shorts.txt.ignored").write_text("\n".join(f"{v}={k}" for k, v in short.items()), encoding="utf-8")


def in_plan(segments: pd.DataFrame, rng: np.random.Generator) -> tuple[dict, list[dict]]:
    """A place for every node, metres from an origin, and the segments as lines between them, without their nodes."""
    names = pd.unique(pd.concat([segments["from_node"], segments["to_node"]]))
    spot = dict(zip(names, rng.uniform(-80_000, 80_000, (len(names), 2)), strict=True))
    return spot, [{k: v for k, v in r.items() if k not in ("from_node", "to_node")} | {
        "line": [spot[r["from_node"]], spot[r["to_node"]]]} for r in segments.to_dict("records")]


@pytest.mark.parametrize("form", ["gpkg", "geojson"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_random_networks_without_node_ids_come_back(tmp_path, seed, form):
    rng = np.random.default_rng(seed)
    study = drawn(rng, 20, bool(seed % 2))
    exports = exported(study, rng, between=False)
    folder = exports.write(tmp_path / "exports")
    spot, rows = in_plan(exports.tables["segments"], rng)
    (folder / "segments.csv").unlink()
    write_layer(layer(rows), folder, form)
    for name in ("devices", "customers", "sources"):
        if name in exports.tables:
            _with_points(folder, exports.tables[name], name, spot)
    _, again = back(folder, study)
    assert differences(system(core_results(again)), system(core_results(study))) == []


def _with_points(folder: Path, table: pd.DataFrame, name: str, spot: dict) -> None:
    """A table with node names as a layer of points where those nodes are."""
    if "node_id" not in table:
        return
    rows = [{k: v for k, v in r.items() if k != "node_id"} | ({"point": spot[r["node_id"]]} if isinstance(
        r["node_id"], str) else {}) for r in table.to_dict("records")]
    (folder / f"{name}.csv").unlink()
    layer(rows).to_file(folder / f"{name}.gpkg")


@pytest.mark.parametrize("places", [["sub/"], ["a/", "b c/"], ["", "sub/deep/"]])
def test_an_archive_may_have_its_layers_in_folders(tmp_path, places):
    tap = {"segment_id": "T", "phases": "1", "line": [(1000, 0), (1000, 300)]}
    small(tmp_path, [MAIN])
    (tmp_path / "segments.gpkg").unlink()
    parts = [[MAIN, tap]] if len(places) == 1 else [[MAIN], [tap]]
    with zipfile.ZipFile(tmp_path / "segments.zip", "w") as archive:
        for k, (place, rows) in enumerate(zip(places, parts, strict=True)):
            (tmp_path / "parts").mkdir(exist_ok=True)
            name = f"lines{k}.{'gpkg' if 'deep' in place else 'shp'}"
            layer(rows).to_file(tmp_path / "parts" / name)
            for part in (tmp_path / "parts").glob(f"lines{k}.*"):
                archive.write(part, f"{place}{part.name}")
        archive.writestr("__MACOSX/._lines0.shp", b"x")
        archive.writestr("readme.txt", b"x")
    (tmp_path / "parts" / "x").mkdir()
    assert sorted(import_exports(tmp_path).tables["sections"]["section_id"]) == ["M", "T"]


def test_an_archive_that_is_none_is_told_by_its_name(tmp_path):
    small(tmp_path, [MAIN])
    (tmp_path / "more.zip").write_bytes(b"PK no archive")
    with pytest.raises(StudyError) as raised:
        import_exports(tmp_path)
    assert str(tmp_path) not in str(raised.value)
    assert "more.zip" in str(raised.value)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_coordinate_system_that_is_not_known_is_asked_for_once(tmp_path):
    with pytest.raises(StudyError) as raised:
        import_exports(small(tmp_path, [MAIN], None), Recipe(coordinate_system="EPSG:99999"))
    assert str(raised.value).count("this coordinate system is not known") == 1


@pytest.mark.parametrize("form", ["shp", "zip"])
def test_shapefiles_are_read_whole_or_zipped(tmp_path, form):
    small(tmp_path, [MAIN])
    (tmp_path / "segments.gpkg").unlink()
    write_layer(layer([MAIN])[["segment_id", "geometry"]], tmp_path, form)
    assert len(import_exports(tmp_path, NO_RECIPE).tables["sections"]) == 1


def test_the_map_shows_what_needs_a_look(tmp_path):
    island = {"segment_id": "I", "phases": "1", "line": [(0, 5000), (900, 5000)]}
    ring = [{"segment_id": f"R{k}", "phases": "3", "line": line} for k, line in enumerate((
        [(1000, 0), (1500, 0)], [(1500, 0), (1500, 900)], [(1500, 900), (1000, 0)]))]
    imported = import_exports(small(tmp_path, [MAIN, island, *ring]))
    chart = import_map(imported)
    assert {line.name for line in chart.lines} == {"in the study", "not energised", "to be resolved (red)"}
    red = next(line for line in chart.lines if "red" in line.name)
    assert np.isnan(red.x).sum() == len(imported.report.findings.ids("ring")) == 1
    west, east, south, north = chart.window
    assert east - west > 1500
    assert north - south > 5000
    page = report_files(imported)["import_report.html"].decode()
    assert "Segments in plan" in page
    assert "not energised: 1 segment" in page
