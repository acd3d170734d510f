"""The sketch of a lateral and its backup, where there is no map."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from reliability.report.work_pack import work_pack_html
from reliability.report.work_pack_sketch import lateral_sketch
from tests.network.laterals import checks_of
from tests.networks import study_of
from tests.report.work_packs import pack_of

ROWS = [{"section_id": "B", "device": "breaker", "length_km": 1.0},
        {"section_id": "m1", "parent_id": "B", "device": "switch", "length_km": 2.0},
        {"section_id": "m2", "parent_id": "m1", "length_km": 0.5},
        {"section_id": "side", "parent_id": "m1", "device": "fuse", "length_km": 9.0},
        {"section_id": "tap", "parent_id": "m2", "device": "fuse", "length_km": 1.0},
        {"section_id": "in", "parent_id": "tap", "device": "switch", "length_km": 1.5},
        {"section_id": "on", "parent_id": "m2", "length_km": 3.0}]


def sketch(head: str, backup: str, rows=ROWS, **more):
    ids = study_of(rows).network.ids.tolist()
    return lateral_sketch(study_of(rows).network, ids.index(head), ids.index(backup), "k", **more)


def test_the_words_say_what_is_between_and_beyond():
    _, words = sketch("tap", "B")
    assert words == ("One-line sketch, not to scale: lateral tap, 3.50 km of line behind its backup B, 1 switch "
                     "between. Beyond: 2 sections, 2.50 km of line, 1 switch.")
    assert "2.17 mi of line behind" in sketch("tap", "B", miles=True)[1]
    assert "switch between" not in sketch("tap", "B", [r | {"device": ""} if r["section_id"] == "m1" else r
                                                       for r in ROWS])[1]


@pytest.mark.parametrize(("rows", "end"), [(ROWS, 204.0), ([r for r in ROWS if r["section_id"] != "on"], 122.0)])
def test_lateral_backup_and_switches_are_drawn_and_the_line_goes_on_where_it_does(rows, end):
    picture = ElementTree.fromstring(sketch("tap", "B", rows)[0])
    texts = [e.text for e in picture.iter() if e.tag.endswith("}text")]
    assert texts == ["tap", "B"]
    lines = [e.attrib for e in picture.iter() if e.tag.endswith("}line")]
    assert float(lines[0]["x2"]) == end
    assert len(lines) == 3                              # line, lateral, switch
    assert len([e for e in picture.iter() if e.tag.endswith("}circle")]) == 1


def test_a_name_is_text_and_short():
    evil = '<script>"' + "W" * 100
    picture, _ = sketch(evil, "B", [r | {"section_id": evil} if r["section_id"] == "tap" else
                                    r | {"parent_id": evil} if r["section_id"] == "in" else r for r in ROWS])
    assert "<script" not in picture
    assert len(next(e.text for e in ElementTree.fromstring(picture).iter() if e.tag.endswith("}text"))) <= 16


def test_a_study_without_routes_has_a_sketch_on_each_sheet():
    page = work_pack_html(pack_of(checks_of()))
    assert page.count("<svg") == 1
    assert "One-line sketch, not to scale: lateral tap" in page
