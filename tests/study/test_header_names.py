"""Which column a header stands for: the same answer for `check` and for the app."""

from __future__ import annotations

import pytest

from reliability.schema.columns import COLUMN_TABLES
from reliability.study.header_names import column_map, guess_table, in_both_units, match_names

SECTIONS, OUTAGES = COLUMN_TABLES["sections"], COLUMN_TABLES["outages"]


@pytest.mark.parametrize("table", list(COLUMN_TABLES))
def test_our_own_headers_are_themselves(table):
    names = [c.name for c in COLUMN_TABLES[table]]
    assert match_names(names, COLUMN_TABLES[table]) == {n: n for n in names}
    assert column_map(match_names(names, COLUMN_TABLES[table])) == ({}, [])


@pytest.mark.parametrize(("header", "name"), [
    ("Tap No", "section_id"), ("FACILITYID", "section_id"), ("Facility Id", "section_id"), ("Cust Served", "customers"),
    ("CUSTSERVED", "customers"), ("No. of Custs", "customers"), ("UplineElement", "parent_id"),
    ("UPLINEELEMENT", "parent_id"), ("Line Miles", "length_mi"), ("LEN_KM", "length_km"), ("Ckt", "feeder_id"),
    ("Phasing", "phases"), ("Peak Amps", "peak_load_a"), ("Max Fault Amps", "fault_current_source_a"),
    ("custmers", "customers"), ("lenght_km", "length_km"), ("Prot Dev Type", "device")])
def test_words_of_the_trade_abbreviations_and_slips_are_known(header, name):
    assert match_names([header], SECTIONS) == {header: name}


@pytest.mark.parametrize("header", ["Colour", "Remarks", "OBJECTID", "Pole", "Installed", "x", "", "§", "a" * 10_000])
@pytest.mark.parametrize("columns", [SECTIONS, OUTAGES], ids=["sections", "outages"])
def test_what_is_like_no_column_stands_for_none(header, columns):
    assert match_names([header], columns) == {}


def test_no_column_is_found_twice_and_the_exact_name_comes_first():
    found = match_names(["Tap", "Tap No", "Colour", "Cust", "Customers", "UplineElement"], SECTIONS)
    assert len(set(found.values())) == len(found)
    assert found["Customers"] == "customers"
    assert found["UplineElement"] == "parent_id"
    assert "Colour" not in found


def test_a_length_is_found_in_one_unit():
    assert match_names(["Line Miles", "Length"], SECTIONS) in ({"Line Miles": "length_mi"}, {"Length": "length_km"})
    assert match_names(["length_km", "Line Miles"], SECTIONS) == {"length_km": "length_km"}
    assert [in_both_units(name) for name in ("length_km", "main_length_mi", "customers")] == [
        ("length_km", "length_mi"), ("main_length_mi", "main_length_km"), ("customers",)]


def test_a_table_is_recognized_by_the_headers_that_are_ours():
    """A number of columns that may be others of ours weighs less than one that is one of ours by name."""
    headers = ["event_id", "section_id", "cause", "fault_kind", "planned", "Off", "On", "Cust"]
    assert guess_table("export.csv", headers) == "outages"
    assert guess_table("export.csv", ["section_id", "parent_id", "Miles", "Cust"]) == "sections"
    assert guess_table("Outages 2024.csv", ["a", "b"]) == "outages"


def test_check_names_the_column_that_a_word_of_the_trade_stands_for(problems):
    found = problems(sections__csv="Tap No,Upline Element,Line Miles,Cust Served,Remarks\n1,,2,3,x\n")
    remedies = {p.column: p.remedy for p in found}
    assert remedies["Tap No"].startswith("did you mean 'section_id'? Rename it, or map it")
    assert remedies["Cust Served"].startswith("did you mean 'customers'?")
    assert remedies["Remarks"].startswith("rename it to the column it stands for")
    assert remedies["section_id"].startswith("did you mean 'Tap No'? Rename that header to section_id")
    assert remedies["length_km"].startswith("did you mean 'Line Miles'? Rename that header to length_mi")


def test_check_does_not_offer_a_column_that_is_there_in_the_other_unit(problems):
    found = problems(sections__csv="section_id,parent_id,device,length_km,customers,Line Miles\n1,,breaker,2,3,1\n")
    assert [p.remedy for p in found] == [
        "rename it to the column it stands for, or map it or list it in ignore under [columns.sections] in study.toml"]
