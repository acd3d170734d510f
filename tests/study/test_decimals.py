"""Decimal signs distinguished from thousands separators."""

from __future__ import annotations

import pytest

from reliability.study.decimals import doubtful_signs, in_doubt

HEADS = "section_id;parent_id;device;length_km;customers;load_kw;fault_current_source_a"


@pytest.mark.parametrize(("numbers", "whole", "comma", "doubtful"), [
    (["2,4", "3.900"], [], True, "."),
    (["2.4", "3,900"], [], True, ","),
    (["1,234", "3.900"], [], True, ",."),
    (["2.4", "2,4"], [], True, ",."),
    (["1.234,5", "3.900"], [], True, "."),
    (["0.900", "3,900"], [], True, ","),
    (["2,4", "3,900"], [], True, ""),
    (["2.4", "3.900"], [], True, ""),
    (["3.900", "1.035"], ["1.035"], False, "."),
    (["0.900", "2.125", "1.035"], ["1.035"], False, ""),
    (["2,4", "3.900", "1.035"], ["1.035"], True, "."),
    (["3.900", "1.000", "12.0"], ["1.000", "12.0"], False, ""),
    (["3,900", "1,035"], ["1,035"], True, ","),
    (["1.000", "2.000"], ["1.000", "2.000"], False, "."),
    (["0.5", "1.000", "2.000"], ["1.000", "2.000"], False, ""),
    (["2,4", "3.900"], [], False, ""),
    ([], [], True, ""),
])
def test_a_sign_is_in_doubt_where_it_may_part_thousands(numbers, whole, comma, doubtful):
    assert doubtful_signs([numbers], [whole], comma) == doubtful


@pytest.mark.parametrize(("text", "doubt"), [
    ("3.900", True), ("-12.345.678", True), ("0.900", False), ("3.90", False), ("1234.500", False), ("3,900", False)])
def test_only_groups_of_three_are_in_doubt(text, doubt):
    assert in_doubt(text, ".") == doubt


@pytest.mark.parametrize(("first", "second", "wrong"), [
    ("b;;breaker;2,4;10;1,5;3.900", "f;b;fuse;1;20;2;2.700", [(2, "3.900"), (3, "2.700")]),
    ("b;;breaker;2.4;10;1.5;3,900", "f;b;fuse;1;20;2;2,700", [(2, "3,900"), (3, "2,700")]),
    ("b;;breaker;2,4;1.035;1,5;3.900", "f;b;fuse;1;20;2;2700", [(2, "1.035"), (2, "3.900")]),
])
def test_currents_with_separated_thousands_are_refused_not_read_as_a_thousandth(problems, first, second, wrong):
    found = problems(sections__csv=f"{HEADS}\n{first}\n{second}\n")
    assert [(p.row, p.value) for p in found] == wrong
    assert all("may separate thousands" in p.rule for p in found)
    assert all("one decimal sign" in p.remedy for p in found)


def test_a_file_of_semicolons_without_a_comma_needs_no_note(study):
    assert not any("semicolons" in note for note in study(sections__csv=f"{HEADS}\nb;;breaker;1.5;10;2;900\n").notes)


def test_phases_cannot_hold_thousands(study):
    made = study(sections__csv="section_id,parent_id,device,length_km,customers,phases\nb,,breaker,2,10,3.000\n")
    assert made.sections["phases"].tolist() == [3.0]
