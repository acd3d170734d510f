"""Coordinates in the columns of tables: texts of geometries, and pairs of numbers at one end or at both."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from reliability.intake import NO_RECIPE, Recipe, import_exports, prepare, read_exports
from reliability.schema.problems import StudyError
from tests.adapter import core_results, differences
from tests.intake.exports import exported
from tests.intake.small import CUSTOMERS, DEVICES, take
from tests.intake.test_geometry import PLANE, in_plan, layer
from tests.intake.test_random_exports import back, drawn, system

DEGREES = "EPSG:4326"
FORMS = ["wkt", "ewkt", "wkb", "degrees", "metric"]


def columns_of(frame: gpd.GeoDataFrame, form: str) -> pd.DataFrame:
    """A layer as a table that says where its rows are by columns."""
    if form in ("ewkt", "degrees"):
        frame = frame.to_crs(DEGREES)
    table, shapes = pd.DataFrame(frame.drop(columns="geometry")), frame.geometry
    if form == "wkt":
        return table.assign(SHAPE_TEXT=shapes.to_wkt())
    if form == "ewkt":
        return table.assign(the_geom=[f"SRID=4326;{g.wkt}" if g is not None else None for g in shapes])
    if form == "wkb":
        return table.assign(geom=shapes.to_wkb(hex=True))
    east, north = ("Longitude", "LAT") if form == "degrees" else ("X-Coord", "POINT_Y")
    ends = ("",) if "Point" in set(shapes.geom_type) else ("from_", "to_") if form == "degrees" else ("start ", "END_")
    for k, end in enumerate(ends):
        at = np.array([g.coords[-k] if g is not None else (np.nan, np.nan) for g in shapes])
        table[f"{end}{east}"], table[f"{end}{north}"] = at.T
    return table


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("seed", [1, 2])
def test_random_networks_come_back(tmp_path, seed, form):
    rng = np.random.default_rng(seed)
    study = drawn(rng, 20, bool(seed % 2))
    exports = exported(study, rng, between=False)
    folder = exports.write(tmp_path / "exports")
    spot, lines = in_plan(exports.tables["segments"], rng)
    tables = {"segments": lines}
    for name in ("devices", "customers", "sources"):
        if "node_id" in exports.tables.get(name, ()):
            tables[name] = [{k: v for k, v in r.items() if k != "node_id"} | (
                {"point": spot[r["node_id"]]} if isinstance(r["node_id"], str) else {})
                for r in exports.tables[name].to_dict("records")]
    for name, rows in tables.items():
        columns_of(layer(rows), form).to_csv(folder / f"{name}.csv", index=False)
    recipe = Recipe(coordinate_system=PLANE) if form in ("wkt", "wkb", "metric") else NO_RECIPE
    imported, again = back(folder, study, recipe)
    assert differences(system(core_results(again)), system(core_results(study))) == []
    assert len(imported.report.findings.ids("placed_by")) == len(tables)
    assert b'"LineString"' in imported.files["routes.geojson"]


def test_a_system_is_asked_for_where_nothing_else_says_the_place(tmp_path):
    nowhere = CUSTOMERS.replace("segment_id,node_id,pole_id", "x,y").replace("M2,,", "500000,4600000").replace(
        "N4,", "500001,4600001").replace("X2,,", "X2,")
    with pytest.raises(StudyError, match="coordinate_system"):
        take(tmp_path, segments="segment_id,geometry,length_m,feeder_id\nM1,\"LINESTRING (0 0, 1 1)\",1000,F1\n",
             customers=nowhere)


def test_nobody_is_asked_where_names_say_the_place(tmp_path):
    devices = DEVICES.replace("phases\n", "phases,x,y\n", 1).replace(",,\n", ",,,1.0,2.0\n").replace(
        ",A\n", ",A,1.0,2.0\n")
    with_columns = take(tmp_path / "a", devices=devices)
    without = take(tmp_path / "b")
    assert not with_columns.report.findings.ids("placed_by")
    for name, table in without.tables.items():
        pd.testing.assert_frame_equal(with_columns.tables[name], table)


def test_places_of_outages_make_no_customers_of_them(tmp_path):
    (tmp_path / "oms 2024.csv").write_text(
        "transformer_id,started,restored,customers,lat,lon\n"
        "X1,2024-05-01 10:00,2024-05-01 12:00,5,45.1234,-93.1234\n"
        "X2,2024-05-02 10:00,2024-05-02 12:00,5,45.1235,-93.1235\n", encoding="utf-8")
    one, = prepare(read_exports(tmp_path)).recognised
    assert one.kind == "outages"
    assert one.table.shapes is None


@pytest.mark.parametrize(("cells", "why"), [
    (("0", "0"), "0, 0 is no place"), (("", ""), "blank"), (("?", "45.1"), "no number")])
def test_a_row_without_a_place_has_none(tmp_path, cells, why):
    rows = "".join(f"D{k},fuse,{-93.1 - k / 1e4},{45.1 + k / 1e4}\n" for k in range(12))
    (tmp_path / "devices.csv").write_text(f"device_id,device,lon,lat\n{rows}X,fuse,{','.join(cells)}\n",
                                          encoding="utf-8")
    one, = prepare(read_exports(tmp_path)).recognised
    assert one.table.placed_by == ("lon", "lat")
    shapes = one.table.shapes
    assert shapes is not None
    assert shapes.crs == DEGREES
    assert [g is None for g in shapes.shapes] == [False] * 12 + [True], why


@pytest.mark.parametrize(("headers", "row"), [
    ("lon,lat", "500000.5,4600000.5"), ("x,lat", "-93.1,45.1"), ("lon,lat", "F1,F2"),
    ("latitude,remark", "45.1,-93.1")])
def test_what_is_no_pair_of_coordinates_is_left(tmp_path, headers, row):
    text = f"device_id,device,segment_id,{headers}\nD1,fuse,T1,{row}\n"
    (tmp_path / "devices.csv").write_text(text, encoding="utf-8")
    one, = prepare(read_exports(tmp_path)).recognised
    assert one.table.shapes is None


def test_a_recipe_that_uses_or_ignores_them_is_followed(tmp_path):
    devices = DEVICES.replace("phases\n", "phases,lon,lat\n", 1).replace(",,\n", ",,,-93.1,45.1\n").replace(
        ",A\n", ",A,-93.1,45.1\n")
    (tmp_path / "devices.csv").write_text(devices, encoding="utf-8")
    seen = prepare(read_exports(tmp_path))
    assert seen.recognised[0].table.placed_by == ("lon", "lat")
    rule = seen.complete_recipe.files[0]
    assert not {"lon", "lat"} & set(rule.ignore or ())
    again = prepare(read_exports(tmp_path), seen.complete_recipe)
    assert not again.decisions
    assert again.recognised[0].table.placed_by == ("lon", "lat")
    ignoring = Recipe(files=(type(rule)(rule.file, rule.kind, rule.table, rule.columns, ignore=("lon", "lat")),))
    assert prepare(read_exports(tmp_path), ignoring).recognised[0].table.shapes is None


def test_an_export_of_a_database_is_imported_from_files_alone(tmp_path: Path):
    """Spans as text with their system, a tap in mid-span; devices by degrees; no name says a place."""
    (tmp_path / "segments.csv").write_text(
        "segment_id,phases,feeder_id,wkt\n"
        'M,3,F1,"SRID=32615;LINESTRING (500000 4600000, 501000 4600000)"\n'
        'T,1,F1,"SRID=32615;LINESTRING (500400 4600000, 500400 4600300)"\n', encoding="utf-8")
    points = layer([{"point": (0, 0)}, {"point": (400, 0)}]).to_crs(DEGREES).geometry
    (tmp_path / "devices.csv").write_text(
        "device_id,device,phases,gps_lon,gps_lat\n"
        f"B,breaker,3,{points[0].x:.9f},{points[0].y:.9f}\n"
        f"FU,fuse,1,{points[1].x:.9f},{points[1].y:.9f}\n", encoding="utf-8")
    (tmp_path / "customers.csv").write_text("transformer_id,segment_id,customers\nX,T,7\n", encoding="utf-8")
    imported = import_exports(tmp_path)
    found = imported.tables["sections"].set_index("section_id")
    assert found.loc["T", "device"] == "fuse"
    assert found.loc["M", "device"] == "breaker"
    assert sorted(found["length_km"].round(3)) == [0.3, 0.4, 0.6]
