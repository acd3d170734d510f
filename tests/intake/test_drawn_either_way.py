"""Answers that may not hang on how a line is drawn, in which system, or which conductor is named."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.intake import import_exports, read_recipe
from reliability.intake.decisions import Undecided
from reliability.schema.problems import StudyError
from tests.intake.small import take
from tests.intake.test_geometry import layer, small

LINE = [(0, 0), (2000, 0)]
TAP = {"segment_id": "T", "phases": "1", "line": [(1000, 0), (1000, 500)]}
POINTS = [{"transformer_id": name, "customers": n, "point": at} for name, n, at in (
    ("near", 10, (500, 3)), ("far", 1000, (1500, 3)), ("end", 3, (2000, 0)), ("tap", 5, (1000, 250)))]


def points_import(folder, line, crs):
    """A main with a recloser at half its length, customers as points."""
    folder.mkdir()
    layer([{"segment_id": "M", "phases": "3", "line": line}, TAP], crs).to_file(folder / "segments.gpkg")
    layer([{"device_id": "B", "device": "breaker", "point": (0, 0)},
           {"device_id": "R", "device": "recloser", "point": (1000, 0)}], crs).to_file(
        folder / "devices.gpkg")
    layer(POINTS, crs).to_file(folder / "customers.gpkg")
    layer([{"feeder_id": "F", "point": (0, 0)}], crs).to_file(folder / "sources.gpkg")
    return import_exports(folder)


def test_customers_stand_on_the_piece_where_their_point_lies(tmp_path):
    """Of a line that a tap cuts, whichever way it is drawn."""
    for name, line in (("outwards", LINE), ("towards", LINE[::-1])):
        sections = points_import(tmp_path / name, line, "EPSG:4326").tables["sections"]
        recloser = sections.loc[sections["device"] == "recloser", "section_id"].item()
        beyond = sections[sections["parent_id"] == recloser]
        assert sorted(beyond["customers"].tolist()) == [5, 1003], name
        assert sections["customers"].sum() == 1018


@pytest.mark.parametrize("crs", ["EPSG:32615", "EPSG:3857", "EPSG:4326"])
def test_lengths_are_those_on_the_ground(tmp_path, crs):
    """A projection of web maps has metres at the equator alone: at 41.5° N a third too many."""
    imported = import_exports(small(tmp_path / "a", [{"segment_id": "M", "phases": "3", "line": LINE}], crs))
    assert imported.tables["sections"]["length_km"].sum() == pytest.approx(2.0, rel=2e-3)


@pytest.mark.parametrize("named", ["L-A", "L-B", "L"])
def test_any_conductor_stands_for_a_line_that_a_tap_cuts(tmp_path, named):
    line = [(1000, 0), (1000, 1000)]
    rows = [{"segment_id": "MAIN", "phases": "ABC", "line": [(0, 0), (1000, 0)]},
            {"segment_id": "L-A", "phases": "A", "line": line},
            {"segment_id": "L-B", "phases": "B", "line": line[::-1]},
            {"segment_id": "T", "phases": "A", "line": [(1000, 500), (1500, 500)]}]
    devices = [{"device_id": "B", "device": "breaker", "segment_id": "MAIN", "point": None},
               {"device_id": "F", "device": "fuse", "segment_id": named, "point": None}]
    for row in devices:
        del row["point"]
    customers = [{"transformer_id": "X", "segment_id": "T", "customers": 5},
                 {"transformer_id": "Y", "segment_id": named, "customers": 7}]
    imported = import_exports(small(tmp_path, rows, devices=devices, customers=customers))
    sections = imported.tables["sections"].set_index("section_id")
    fused = sections[sections["device"] == "fuse"]
    assert fused["length_km"].round(3).tolist() == [0.5]
    assert fused["customers"].tolist() == [7]
    assert sections.loc["T", "parent_id"] == fused.index[0]
    of_segment = imported.segment_sections.groupby("segment_id").size()
    assert of_segment.to_dict() == {"MAIN": 1, "L-A": 2, "L-B": 2, "L": 2, "T": 1}


def test_ids_of_geojson_that_look_like_times_are_ids(tmp_path):
    folder = small(tmp_path, [{"segment_id": "M", "phases": "3", "line": LINE}])
    (folder / "customers.gpkg").unlink()
    layer([{"transformer_id": "T0017", "customers": 3, "segment_id": "M", "point": (0, 0)},
           {"transformer_id": "T0018", "customers": 4, "segment_id": "M", "point": (0, 0)}], "EPSG:4326").to_file(
        folder / "customers.geojson", driver="GeoJSON")
    imported = import_exports(folder)
    assert imported.places.query("kind == 'transformer'")["name"].tolist() == ["T0018", "T0017"]


def test_a_blank_among_cumulative_steps_leaves_the_others_what_they_are(tmp_path):
    head = "event_id,device_id,started,restored,customers\n"
    steps = "".join(f"E1,FU1,2024-05-01T10:00,2024-05-01T1{1 + k}:00,{n}\n" for k, n in enumerate(("", 2, "", 5)))
    imported = take(tmp_path, read_recipe(b"version = 1\n[outages]\ncumulative_steps = true\n"), outages=head + steps)
    found = imported.tables["outages"]["customers"].astype(float).tolist()
    assert found == pytest.approx([np.nan, 2.0, np.nan, 3.0], nan_ok=True)


BUS = "segment_id,from_node,to_node,length_m,phases,feeder_id\nM1,BUS,N1,1000,ABC,{}\nM2,BUS,N2,500,ABC,{}\n"


@pytest.mark.parametrize(("segments", "devices", "wanted"), [
    (("", ""), ("CB-F2", "CB-F1"), ["F2", "F1"]), (("2", "1"), ("X", "Y"), ["F-2", "F-1"]),
    (("", ""), ("X", "Y"), ["F1", "F2"])])
def test_feeders_of_a_bus_go_by_the_names_that_say_which(tmp_path, segments, devices, wanted):
    imported = take(tmp_path, segments=BUS.format(*segments), outages=None,
                    devices=f"device_id,segment_id,device\n{devices[0]},M1,breaker\n{devices[1]},M2,breaker\n",
                    sources="node_id,feeder_id\n" + "".join(f"BUS,{name}\n" for name in sorted(wanted)),
                    customers="transformer_id,segment_id,customers\na,M1,5\nb,M2,7\n")
    sections = imported.tables["sections"].set_index("section_id")
    assert sections.loc[["M1", "M2"], "feeder_id"].tolist() == wanted
    assert imported.report.findings.ids("feeders_in_order") == (("F1", "F2") if devices[0] == "X" and not segments[0]
                                                               else ())


def test_a_feeder_of_one_span_beside_others_is_asked_about(tmp_path):
    """Its far end is free and has a breaker next to it, as a source has: the bus of all of them may be the source."""
    with pytest.raises(Undecided) as found:
        take(tmp_path, sources=None, outages=None,
             segments=BUS.format("F1", "F2") + "M3,BUS,N3,300,ABC,F3\nM1b,N1,N4,10,ABC,F1\nM2b,N2,N5,10,ABC,F2\n",
             devices="device_id,segment_id,device\nB1,M1,breaker\nB2,M2,breaker\nB3,M3,breaker\n",
             customers="transformer_id,segment_id,customers\na,M1,5\nb,M2,7\n")
    assert {p.value for p in found.value.problems} == {"BUS"}


def test_a_new_word_that_sounds_like_those_left_out_is_a_problem(tmp_path):
    head = "event_id,device_id,started,restored,customers,STATUS\n"
    recipe = ('version = 1\n[[files]]\nfile = "outages.csv"\nkind = "outages"\nignore = []\n'
              'leave_out = {{ STATUS = [{}] }}\n')
    rows = "".join(f"{k},FU1,2024-0{k}-01T10:00,2024-0{k}-01T11:00,5,{word}\n" for k, word in enumerate(
        ("CLOSED", "cancelled", "VOID", "VOID"), 1))
    with pytest.raises(StudyError) as found:
        take(tmp_path / "a", read_recipe(recipe.format('"CANCELLED"').encode()), outages=head + rows)
    problem, = found.value.problems
    assert (problem.file, problem.row, problem.column, problem.value) == ("outages.csv", 4, "STATUS", "VOID")
    assert "leave_out" in problem.remedy
    taken = take(tmp_path / "b", read_recipe(recipe.format('"CANCELLED", "VOID"').encode()), outages=head + rows)
    assert len(taken.tables["outages"]) == 1


