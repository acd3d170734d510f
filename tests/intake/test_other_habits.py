"""Exports of utilities that write things otherwise than the demo's: read alike, or asked about; never otherwise."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from reliability.intake import NO_RECIPE, Imported, Recipe, import_study, prepare, read_exports
from reliability.intake.contents import are_ids
from reliability.intake.deciding import field_named
from reliability.intake.notes import notes
from reliability.intake.units import unit_in_header
from reliability.intake.words import suggestion
from tests.intake.small import SEGMENTS, accepted, sections, take, write


def ids(imported: Imported, key: str) -> tuple[str, ...]:
    return imported.report.findings.ids(key)


def take_guessed(folder: Path, recipe: Recipe = NO_RECIPE, **texts: str | None) -> Imported:
    """The small exports, changed, imported with every suggestion taken."""
    exports = read_exports(write(folder, **texts))
    return import_study(prepare(exports, accepted(exports, recipe)))


@pytest.mark.parametrize("ends", [
    "From Pole,To Pole", "From Structure,To Structure", "Upstream Pole,Downstream Pole", "from_pole,to_pole",
    "From Node,To Node", "Start Pole,End Pole", "From Junction,To Junction"])
def test_poles_at_both_ends_of_spans_are_the_nodes_where_lines_join(tmp_path, ends):
    imported = take_guessed(tmp_path, segments=SEGMENTS.replace("from_node,to_node", ends))
    assert sections(imported)["parent_id"].to_dict() == {"M1": "", "M2": "M1", "T1": "M1"}
    assert bool(ids(imported, "poles_as_nodes")) == ("Node" not in ends and "Junction" not in ends)


def test_devices_and_outages_find_the_poles_where_spans_join(tmp_path):
    imported = take_guessed(tmp_path, segments=SEGMENTS.replace("from_node,to_node", "From Pole,To Pole"),
                            devices="device_id,pole_id,device,phases\nB1,BUS,breaker,\nFU1,N1,fuse,A\n",
                            outages="event_id,pole_id,started,restored,customers\n"
                                    "E1,N3,2024-05-01T10:00:00,2024-05-01T12:00:00,5\n")
    assert sections(imported)["device"].to_dict() == {"M1": "breaker", "M2": "", "T1": "fuse"}
    assert imported.tables["outages"]["section_id"].tolist() == ["T1"]


def test_devices_stand_between_two_poles(tmp_path):
    imported = take_guessed(tmp_path, segments=SEGMENTS.replace("from_node,to_node", "From Pole,To Pole"), outages=None,
                            devices="Device No,From Structure,To Structure,Type\nB1,BUS,N1,Breaker\nFU1,N1,N3,Fuse\n")
    assert sections(imported)["device"].to_dict() == {"M1": "breaker", "M2": "", "T1": "fuse"}


def test_poles_beside_nodes_stay_names_of_places(tmp_path):
    rows = "".join(f"{line},P{k},P{k}\n" for k, line in enumerate(SEGMENTS.splitlines()[1:]))
    imported = take(tmp_path, segments=SEGMENTS.splitlines()[0] + ",from_pole,to_pole\n" + rows)
    assert sections(imported)["parent_id"].to_dict() == {"M1": "", "M2": "M1", "T1": "M1"}
    assert ids(imported, "poles_as_nodes") == ()


SECOND = {"sources": "+BUS2,F2\n", "customers": "+X3,K1,,,7,10,20\n", "outages": None}
K1, B2 = "K1,BUS2,K2,1000,ABC,,F2\n", "+B2,K1,,breaker,,,\n"


@pytest.mark.parametrize(("rows", "devices"), [
    ("TA,N2,K2,100,ABC,open,F1\nTB,K2,N2,100,ABC,open,F2\n", ""),
    ("TA,N2,K2,100,ABC,open,F1\nTB,K2,N2,,ABC,,F2\n", ""),
    ("TB,K2,N2,100,ABC,,F2\nTA,N2,K2,100,ABC,,F1\n", "SW1,TA,,switch,,open,\n"),
    ("TA,N2,K2,100,ABC,,F1\nTB,K2,N2,100,ABC,,F2\n", "SW1,TA,,switch,,open,\nSW2,TB,,switch,,open,\n"),
])
def test_a_tie_that_stands_in_the_export_of_each_feeder_is_one(tmp_path, rows, devices):
    """Between the same two nodes under two ids: one tie under both names, its line counted once, no ring."""
    imported = take(tmp_path, Recipe(ties={"TB": 0.5}, stated=False), segments="+" + K1 + rows, devices=B2 + devices,
                    **SECOND)
    assert ids(imported, "open_twice") == ("TA and TB",)
    assert ids(imported, "ring") == ids(imported, "fed_twice") == ids(imported, "open_bridged") == ()
    assert imported.ties[["kind", "probability"]].to_numpy().tolist() == [["tie", 0.5]]
    assert sections(imported)["length_km"].sum() == pytest.approx(1 + 2 + 0.8 + 1 + 0.1)
    assert set(imported.segment_sections["segment_id"]) >= {"TA", "TB"}


def test_a_closed_segment_beside_an_open_point_is_listed_and_opened_by_name(tmp_path):
    rows = "+" + K1.replace("F2", "") + "TA,N2,K2,100,ABC,open,\nTB,K2,N2,100,ABC,,\n"
    imported = take(tmp_path / "asked", segments=rows, devices=B2, **SECOND)
    assert ids(imported, "open_bridged") == ("TA beside TB",)
    imported = take(tmp_path / "said", Recipe(open=("TB",), stated=False), segments=rows, devices=B2, **SECOND)
    assert ids(imported, "open_twice") == ("TA and TB",)
    assert imported.ties["kind"].tolist() == ["tie"]


LONE = "segment_id,from_node,to_node,length_m,phases,feeder_id,fault_current_from_a,fault_current_to_a\n"
OF_LONE = {"devices": "device_id,segment_id,node_id,device\nB1,S1,,breaker\n", "outages": None, "sources": None,
           "customers": "transformer_id,segment_id,customers\nX,S1,4\n"}


def test_a_feeder_of_one_span_begins_at_from_node_and_is_listed_unless_it_is_stated(tmp_path):
    row = "S1,A,B,500,ABC,F1,,\n"
    imported = take(tmp_path / "open", segments=LONE + row, **OF_LONE)
    assert imported.segment_sections["reversed"].tolist() == [False]
    assert ids(imported, "source_of_one_span") == ("S1",)
    for node, start in (("A", False), ("B", True)):
        imported = take(tmp_path / node, Recipe(sources={node: ("F1",)}, stated=False), segments=LONE + row, **OF_LONE)
        assert imported.segment_sections["reversed"].tolist() == [start]


@pytest.mark.parametrize(("row", "changed"), [
    ("S1,A,B,500,ABC,F1,900,4000\n", {}),
    ("S1,A,B,500,ABC,F1,,\n", {"sources": "node_id,feeder_id\nB,F1\n"}),
    ("S1,A,B,500,ABC,F1,,\n", {"devices": "device_id,segment_id,node_id,device\nB1,,B,breaker\n"}),
    ("S1,A,B,500,ABC,F1,,\n", {"devices": "device_id,from_node,to_node,device\nB1,B,BUS,breaker\n"}),
])
def test_a_feeder_of_one_span_begins_where_the_data_say(tmp_path, row, changed):
    """By the larger fault current, the table of sources, or the breaker at an end or before it."""
    imported = take(tmp_path, segments=LONE + row, **(OF_LONE | changed))
    assert ids(imported, "source_of_one_span") == ()
    assert imported.segment_sections["reversed"].tolist() == [True]


def test_a_source_that_the_recipe_states_leaves_the_others_to_their_breakers(tmp_path):
    imported = take(tmp_path, Recipe(sources={"C2": ("F2",)}, stated=False), sources=None, outages=None,
                    segments="+S1,C1,C2,500,ABC,,F2\n", devices="+B2,S1,,breaker,,,\n")
    assert ids(imported, "source_by_breaker") == ("BUS",)
    assert sections(imported)["feeder_id"].unique().tolist() == ["F1", "F2"]


@pytest.mark.parametrize("rows", [
    "DEVICE,SPAN,TYPE,LINK\nR-101,M1,Breaker,\nF-22,T1,Fuse,40K\n",
    "device,segment_id,device type,LINK\nFUSE-101,M1,Breaker,\nFUSE-22,T1,Fuse,40K\n",
    "Equipment,Span,Type,Link\n1101,M1,Breaker,\n2202,T1,Fuse,40K\n",
])
def test_a_header_for_kinds_over_names_of_devices_is_their_id(tmp_path, rows):
    imported = take_guessed(tmp_path, devices=rows, outages=None)
    assert sections(imported)["device"].to_dict() == {"M1": "breaker", "M2": "", "T1": "fuse"}
    assert sections(imported).loc["T1", ["device_id", "fuse_link"]].tolist() == [rows.splitlines()[2].split(",")[0],
                                                                                 "40K"]


@pytest.mark.parametrize("words", ["FUSE-40K,FUSE-65T,BREAKER", "1,2,3", "Fuse,Recloser,Breaker"])
def test_words_for_kinds_stay_words(words):
    assert not are_ids(field_named("devices", "device"), np.array(3 * words.split(","), object))


def test_a_device_stands_on_the_segment_that_names_it(tmp_path):
    header, *rows = SEGMENTS.splitlines()
    names = {"M1": "B-1", "T1": "F-22", "M2": "X-9"}
    segments = f"{header},DEVICE\n" + "".join(f"{row},{names.get(row.split(',')[0], '')}\n" for row in rows)
    imported = take_guessed(tmp_path, segments=segments, outages=None,
                            devices="DEVICE,TYPE,LINK\nB-1,Breaker,\nF-22,Fuse,40K\n")
    assert sections(imported)["device"].to_dict() == {"M1": "breaker", "M2": "", "T1": "fuse"}
    assert ids(imported, "device_of_segment_unknown") == ("X-9 (M2)",)


PHASES = field_named("segments", "phases")


@pytest.mark.parametrize(("word", "phases"), [
    ("RST", "ABC"), ("ST", "BC"), ("T", "C"), ("RY", "AB"), ("Y", "B"), ("UVW", "ABC"), ("L1-L3", "AC"), ("L2", "B"),
    ("13", "AC"), ("V", "2"), ("3PH", "3"), ("two phase", "2")])
def test_phases_by_other_letters_are_suggested(word, phases):
    found = suggestion(PHASES, word)
    assert found is not None
    assert found.values == {"phases": phases}


@pytest.mark.parametrize(("column", "asked"), [
    (("RYB", "R", "B"), {"B": "C"}), (("ABC", "A", "B"), {}), (("3", "A", "B"), {}), (("ABC", "1", "2", "3"), {}),
    (("RST", "S"), {})])
def test_phases_that_have_two_readings_beside_the_others_are_asked_for(tmp_path, column, asked):
    """The third called B would be the second; numbers are how many there are."""
    rows = "".join(f"K{k},N2,E{k},100,{word},,F1\n" for k, word in enumerate(column))
    blank = SEGMENTS.replace("ABC", "").replace(",A,", ",,")
    prepared = prepare(read_exports(write(tmp_path, segments=blank + rows)))
    words = {d.value: d for d in prepared.decisions if d.step == "word" and d.value in ("1", "2", "3", "A", "B")}
    assert {w: d.suggestion.strip('"') for w, d in words.items()} == asked


@pytest.mark.parametrize(("day", "clock"), [
    ("03-Apr-2024", "14:05"), ("Apr 13, 2024", "2:05 PM"), ("20240403", "1405"), ("04/13/2024", "205"),
    ("3 April 2024", "1405")])
def test_a_time_of_day_in_a_column_of_its_own_belongs_to_its_date_whatever_their_forms(tmp_path, day, clock):
    imported = take_guessed(tmp_path, outages="Outage No,Device,Date off,Time off,Date on,Time on,Customers out\n"
                            f'1,FU1,"{day}",{clock},"{day}",{clock.replace("05", "35")},5\n')
    start = f"2024-04-{'13' if '13' in day else '03'}T{'02' if clock == '205' else '14'}"
    assert imported.tables["outages"][["started", "restored"]].iloc[0].tolist() == [f"{start}:05:00", f"{start}:35:00"]


@pytest.mark.parametrize(("header", "unit"), [
    ("Length (m)", "m"), ("SHAPE_LEN_FT", "ft"), ("Line length [ft]", "ft"), ("Feet", "ft"), ("Metres", "m")])
def test_the_unit_that_a_header_ends_with_is_suggested_with_its_column(tmp_path, header, unit):
    prepared = prepare(read_exports(write(tmp_path, segments=SEGMENTS.replace("length_m", header))))
    found, = (d for d in prepared.decisions if d.column == header)
    assert found.suggestion == f"length in {unit}"
    assert f'columns = {{ length = "{header}" }} with units = {{ length = "{unit}" }}' in found.remedy


@pytest.mark.parametrize("header", ["Duration (h:mm)", "Outage duration hh:mm", "Duration hrs:min"])
def test_a_header_of_hours_and_minutes_is_in_hours(header):
    assert unit_in_header("time", header) == "h"


def test_meters_with_fractions_are_no_customers(tmp_path):
    prepared = prepare(read_exports(write(tmp_path, segments=SEGMENTS.replace("length_m", "Meters").replace(
        "00,A", "00.5,A"))))
    assert all(d.suggestion != "customers" for d in prepared.decisions)


def test_positions_of_switches_by_codes_are_asked_for_and_not_left_aside(tmp_path):
    prepared = prepare(read_exports(write(tmp_path, devices="device_id,segment_id,device,NORMALPOSITION\n"
                                          "B1,M1,breaker,1\nFU1,T1,fuse,1\nSW,T2,switch,0\n")))
    assert [(d.column, d.suggestion) for d in prepared.decisions] == [("NORMALPOSITION", "normal_state"), (
        "devices.normal_state", ""), ("devices.normal_state", "")]


def test_inactive_accounts_are_suggested_to_be_left_out(tmp_path):
    exports = read_exports(write(tmp_path, outages=None, customers="Premise,Segment,Account Status\n"
                                 "1,M2,Active\n2,M2,Active\n3,T2,Inactive\n4,T2,Active\n"))
    imported = import_study(prepare(exports, accepted(exports, NO_RECIPE)))
    assert sections(imported)["customers"].sum() == 3


def test_an_outage_export_a_row_a_call_is_of_outages(tmp_path):
    """Whatever customers' numbers it has beside: each outage counts once, and the repeated rows are listed."""
    rows = "".join(f"{k},O-1,70000{k},05/14/2024 3:0{k} PM,FU1,05/14/2024 3:02 PM,05/14/2024 4:40 PM,5,TREE\n"
                   for k in range(3))
    imported = take_guessed(tmp_path, outages=None, oms_calls__csv="CALL_ID,OUTAGE,PREMISE,CALL TIME,DEVICE,"
                            "OUTAGE START,OUTAGE END,CUST OUT,CAUSE\n" + rows)
    outages = imported.tables["outages"].drop_duplicates()
    assert outages[["section_id", "restored", "customers"]].to_numpy().tolist() == [["T1", "2024-05-14T16:40:00", 5]]
    assert ids(imported, "outage_repeated") == ("O-1", "O-1")


@pytest.mark.parametrize(("unit", "duration", "end"), [
    ("h", "1:35", "15:37:00"), ("min", "95:30", "15:37:30"), ("h", "0:00:45", "14:02:45"),
    ("min", "1:35:00", "15:37:00"), ("h", "\"0 days, 1:35:00\"", "15:37:00")])
def test_durations_with_a_colon_are_read_by_their_unit_and_asked_for_without(tmp_path, unit, duration, end):
    outages = f"Event No,Device,Started,Duration,Cust\nE1,FU1,2024-05-03 14:02,{duration},5\n"
    exports = read_exports(write(tmp_path, outages=outages))
    guessed = accepted(exports, NO_RECIPE)
    assert [d.step for d in prepare(exports, guessed).decisions] == ["unit"]
    assert not prepare(exports, guessed).problems
    rules = [replace(r, units={"duration": unit}) if r.kind == "outages" else r for r in guessed.files]
    prepared = prepare(exports, replace(guessed, files=tuple(rules)))
    assert import_study(prepared).tables["outages"]["restored"].tolist() == [f"2024-05-03T{end}"]
    assert any(f"duration {duration.strip(chr(34))} as" in note for note in notes(prepared))


def test_planned_work_among_other_types_of_outages_is_asked_about(tmp_path):
    rows = "".join(f"{k},FU1,2024-05-0{k + 1} 10:00,2024-05-0{k + 1} 11:00,5,{word}\n" for k, word in enumerate(
        ("Unplanned", "Momentary", "Planned", "Unplanned", "Storm")))
    prepared = prepare(read_exports(write(tmp_path, outages="Fault no,Device,Off,On,Cust,Type\n" + rows)))
    assert {d.value: d.suggestion for d in prepared.decisions if d.column == "outages.planned"} == {
        "Unplanned": "false", "Planned": "true", "Momentary": "", "Storm": ""}


SIZED = "device_id,segment_id,device,{}\nB1,M1,breaker,{}\nFU1,T1,fuse,{}\n{}"


@pytest.mark.parametrize("header", ["SIZE", "Rating", "FUSE_SIZE", "Element size", "Rated amps", "ATTR_7"])
@pytest.mark.parametrize(("breaker", "fuse", "more"), [
    ("", "65K", ""), ("1200", "40 T", ""), ("560A", "K65", "R1,M2,recloser,280 A\n")])
def test_fuse_links_are_found_by_their_cells_whatever_their_header(tmp_path, header, breaker, fuse, more):
    devices = SIZED.format(header, breaker, fuse, more)
    prepared = prepare(read_exports(write(tmp_path, devices=devices, outages=None)))
    assert [d.suggestion for d in prepared.decisions] == ["fuse_link"]
    imported = take_guessed(tmp_path, devices=devices, outages=None)
    assert sections(imported)["fuse_link"].to_dict() == {"M1": "", "M2": "", "T1": {"40 T": "40T"}.get(fuse, "65K")}
    assert ids(imported, "link_unknown") == ()
    assert len(ids(imported, "size_of_other")) == bool(breaker) + bool(more)


@pytest.mark.parametrize(("header", "cells"), [
    ("SIZE", ("1200", "100")), ("SIZE", ("1/0", "65K")), ("SIZE", ("4 ACSR", "2 CU")), ("Rating", ("560", "280"))])
def test_other_sizes_are_no_fuse_links(tmp_path, header, cells):
    devices = SIZED.format(header, *cells, "")
    prepared = prepare(read_exports(write(tmp_path, devices=devices, outages=None)))
    assert "fuse_link" not in [d.suggestion for d in prepared.decisions]
