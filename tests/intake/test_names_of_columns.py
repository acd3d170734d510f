"""Columns known by what stands in them or by a header that was cut; names spelt otherwise or without a word before."""

from __future__ import annotations

import pandas as pd
import pytest

from reliability.intake import NO_RECIPE, import_study, prepare, read_exports, read_recipe
from reliability.intake.contents import id_found
from reliability.intake.deciding import accepted_as_shown, with_kind
from reliability.intake.decisions import KIND
from reliability.intake.offered import offered_recipe
from reliability.intake.recognise import columns_of
from reliability.intake.words import number_key
from reliability.study.header_names import match_names
from tests.intake.small import CUSTOMERS, DEVICES, OUTAGES, SEGMENTS, accepted, sections, take, write


def guessed(folder, **texts):
    exports = read_exports(write(folder, **texts))
    return import_study(prepare(exports, accepted(exports, NO_RECIPE)))


@pytest.mark.parametrize("names", [("OH1010-A", "OH1020-A", "OH1030-A", "OH1040-A"), ("1", "2", "3", "4"),
                                   ("UG/7", "OH/8", "UG/9", "OH/10")])
def test_names_that_differ_are_the_id_and_no_words_of_construction(tmp_path, names):
    rows = SEGMENTS.splitlines()
    text = "\n".join([rows[0].replace("segment_id", "ASSET NUMMER"),
                      *(f"{name},{row.partition(',')[2]}" for name, row in zip(names, rows[1:], strict=True))]) + "\n"
    imported = guessed(tmp_path, segments=text, outages=None, devices="device_id,node_id,device\nB1,BUS,breaker\n",
                       customers="transformer_id,node_id,customers\nX,N2,3\n")
    assert {*imported.segment_sections["segment_id"]} == {*names}
    assert "construction" not in imported.tables["sections"]


@pytest.mark.parametrize("cells", [("65K", "40K"), ("2024-04-03", "2024-04-04"), ("1.5", "2.5"), ("10:05", "11:05"),
                                   ("A1", "A1"), ("A1", ""), ("north", "south")])
def test_what_is_no_name_or_not_alone_is_no_id(cells):
    import numpy as np
    columns = {"X": np.array(cells, object), "Y": np.array(["F-1", "F-2"], object), "Z": np.array(["3", "4"], object)}
    assert id_found(["X"], columns) == ""
    assert id_found(["X", "Y"], columns) == "Y"
    assert id_found(["Y", "Z"], columns) == ""


@pytest.mark.parametrize(("kind", "header", "name"), [
    ("segments", "UPSTREAM_N", "from_node"), ("segments", "DOWNSTREAM", "to_node"),
    ("outages", "DURATION_M", "duration_min"), ("outages", "INTERRUPTI", "device_id"),
    ("customers", "CUSTOMER_C", "customers"), ("outages", "OFF_DTTM", "started"), ("outages", "ON_DTTM", "restored"),
    ("outages", "Out", "started"), ("outages", "In", "restored")])
def test_headers_cut_at_ten_letters_or_of_one_word_are_suggested(kind, header, name):
    from dataclasses import replace

    from reliability.intake.kinds import FIELDS
    columns = [*columns_of(kind), *(replace(f.column, name=a) for f in FIELDS[kind] for a, _ in f.alias)]
    assert match_names([header], columns) == {header: name}


def test_names_that_tables_spell_otherwise_are_those_of_the_network(tmp_path):
    imported = take(tmp_path, customers=CUSTOMERS.replace(",M2,", ",m-2,").replace(",N4,", ",n 4,"),
                    devices=DEVICES.replace(",T1,", ",t 1,"))
    assert sections(imported)["customers"].to_dict() == {"M1": 0, "M2": 10, "T1": 5}
    assert sections(imported).loc["T1", "device"] == "fuse"
    assert imported.report.findings.ids("spelling_customers") == ("m-2 for M2", "n 4 for N4")
    assert imported.report.findings.ids("spelling_devices") == ("t 1 for T1",)


def test_zeros_of_a_number_that_a_spreadsheet_dropped_or_added_make_no_other_name(tmp_path):
    imported = take(
        tmp_path, segments=SEGMENTS.replace("M1,", "0001,").replace("M2,", "0002,"), sources="+",
        devices=DEVICES.replace("B1,M1,", "0101,1,").replace("FU1", "0201"),
        customers=CUSTOMERS.replace("X1,M2,", "0009,2,") + "9,,,,3,,\n7,,,,4,,\n",
        outages=OUTAGES.replace("FU1", "201").replace("M2", "2").replace("X2", "9.0"),
        settings__csv="device_id,element,operation,pickup_a,curve,time_dial\n101,phase,delayed,400,definite,0.5\n",
        operations__csv="device_id,from,to,operations\n101.0,2023-01-01,2024-01-01,14\n")
    assert sections(imported)["customers"].to_dict() == {"0001": 0, "0002": 13, "T1": 5}
    assert sections(imported)["device"].to_dict() == {"0001": "breaker", "0002": "", "T1": "fuse"}
    assert imported.tables["outages"]["section_id"].tolist() == ["T1", "0002", "0002"]
    assert imported.tables["settings"]["section_id"].tolist() == ["0001"]
    assert imported.tables["operations"]["section_id"].tolist() == ["0001"]
    found = imported.report.findings
    assert found.ids("spelling_devices") == ("1 for 0001",)
    assert found.ids("spelling_customers") == ("2 for 0002",)
    assert found.ids("spelling_transformers") == ("9",)
    assert found.ids("number_zeros") == ("201", "2", "9.0")
    assert (found.ids("settings_spelling"), found.ids("operations_spelling")) == (("101",), ("101.0",))
    assert found.ids("customers_not_placed") == ("7",)


@pytest.mark.parametrize(("name", "key"), [
    ("0012", "12"), ("12", "12"), ("12.0", "12"), ("12.00", "12"), (" 012 ", "12"), ("000", "0"), ("12.5", ""),
    ("A012", ""), ("", ""), ("1e3", ""), ("-12", ""), ("120", "120")])
def test_the_number_that_a_name_is(name, key):
    assert number_key(name) == key


def test_a_number_of_two_places_but_for_zeros_is_neither(tmp_path):
    imported = take(tmp_path, devices=DEVICES.replace("FU1", "0007").replace("B1", "007"),
                    outages=OUTAGES.replace("FU1", "7"))
    assert imported.report.findings.ids("outages_not_placed") == ("E1 (7)",)


def test_a_spelling_that_may_mean_two_places_is_none(tmp_path):
    imported = take(tmp_path, segments="+M-2,N4,N5,100,A,,F1\n", customers=CUSTOMERS.replace(",M2,", ",m 2,"))
    assert imported.report.findings.ids("customers_not_placed") == ("X1",)


@pytest.mark.parametrize(("device", "named", "placed"), [
    ("FUSE 1022", "1022", True), ("1022", "FUSE 1022", True), ("Cutout-1022", "1022", True),
    ("1022", "fuse#1022", True), ("F-1022", "T-1022", False), ("FUSE 1022", "XFMR 1022", False),
    ("1022", "Pole 1022", False)])
def test_a_word_before_a_number_makes_no_other_name(tmp_path, device, named, placed):
    imported = take(tmp_path, devices=DEVICES.replace("FU1", device), outages=OUTAGES.replace("FU1", named))
    assert (imported.tables["outages"]["section_id"][0] == "T1") == placed
    listed = {*imported.report.findings.ids("number_alone"), *imported.report.findings.ids("number_worded")}
    assert listed == ({named} if placed else set())


def test_a_number_of_two_devices_is_neither(tmp_path):
    imported = take(tmp_path, devices=DEVICES.replace("FU1", "FUSE 7").replace("B1", "CB 7"),
                    outages=OUTAGES.replace("FU1", "7"))
    assert imported.report.findings.ids("outages_not_placed") == ("E1 (7)",)


STRANGE = {"devices": "Designation,Beside,Kind\nCB 1,M 1,Breaker\nFS 2,T 1,Fuse\n", "outages": None,
           "faults__csv": "Begin,End,Unit hit,Interrupted customers,Feeder\n"
                          "2024-05-01 10:00,2024-05-01 12:00,FS-2,5,F1\n2024-05-02 10:00,2024-05-02 12:00,CB-1,10,F1\n"}


def test_columns_that_hold_names_of_another_table_say_where_rows_stand(tmp_path):
    imported = guessed(tmp_path, **STRANGE)
    assert sections(imported)["device"].to_dict() == {"M1": "breaker", "M2": "", "T1": "fuse"}
    assert imported.tables["outages"]["section_id"].tolist() == ["T1", "M1"]


def test_no_column_is_put_down_as_ignored_while_a_table_has_no_kind(tmp_path):
    texts = STRANGE | {"devices": None, "gear__csv": STRANGE["devices"].replace("Kind", "What it is now")}
    exports = read_exports(write(tmp_path, **texts))
    offered = offered_recipe(prepare(exports))
    assert "ignore =" not in offered.text
    recipe = accepted_as_shown(prepare(exports))
    gear = next(one for one in prepare(exports, recipe).recognised if one.table.file == "gear.csv")
    again = prepare(exports, accepted(exports, with_kind(recipe, gear, "devices")))
    assert [d for d in again.decisions if d.step == KIND] == []
    assert import_study(again).tables["outages"]["section_id"].tolist() == ["T1", "M1"]


def test_a_table_of_stations_is_not_of_devices_because_it_has_names(tmp_path):
    prepared = prepare(read_exports(write(tmp_path, stations__csv="Station,Node,Mood\nST1,N1,7\nST2,N2,7\n")))
    assert [one.kind for one in prepared.recognised if one.table.file == "stations.csv"] == [""]
    assert isinstance(prepared.typed.frames["segments"], pd.DataFrame)


def test_a_column_that_a_guess_fills_is_not_called_missing_as_well(tmp_path):
    texts = STRANGE | {"devices": None, "gear__csv": STRANGE["devices"]}
    recipe = read_recipe(b"[[files]]\nfile = 'gear.csv'\nkind = 'devices'\n")
    one = next(o for o in prepare(read_exports(write(tmp_path, **texts)), recipe).recognised
               if o.table.file == "gear.csv")
    assert {d.suggestion for d in one.decisions} == {"device", "segment_id", "device_id"}
    assert not any(d.missing for d in one.decisions)
