"""Laterals of a scenario and fast operations in words, and back; what cannot be read back is left to TOML."""

from __future__ import annotations

import pytest

from reliability.study.conversion_words import from_words, in_words
from reliability.study.toml_edit import parse_settings, scenarios_frame, with_scenarios


@pytest.mark.parametrize(("entries", "said"), [
    ({"tap-1": {"device": "sectionalizer", "counts": 2}, "tap-2": {"device": "lateral_recloser"}},
     "tap-1: sectionalizer, 2 counts; tap-2: lateral recloser"),
    ({"tap-1": {"counts": 1}}, "tap-1: 1 count"), ({"F1:12": {"device": "fuse"}}, "F1:12: fuse"),
    ({"recloser-1": 0, "recloser-2": 1}, "recloser-1: 0; recloser-2: 1"),
    ({"a;b": {"device": "fuse"}}, None), ({"tap-1": {}}, None), ({"tap-1": {"device": "valve"}}, None),
    ({"tap-1": {"device": "fuse", "other": 1}}, None), ({"tap-1": 1.5}, None)])
def test_what_is_said_can_be_read_back(entries, said):
    assert in_words(entries) == said


def test_a_list_of_ids_is_no_table():
    assert from_words("tap-1; tap-2", numbers=False) is None
    assert from_words("F1:12; F1:13", numbers=False) is None


def test_scenarios_are_shown_in_words_and_saved_as_they_were():
    text = ('[[scenarios]]\nname = "A"\n\n[scenarios.laterals]\ntap-1 = { device = "sectionalizer", counts = 3 }\n'
            'tap-2 = { device = "lateral_recloser" }\n\n[scenarios.fast_operations]\nrecloser-1 = 0\n')
    frame = scenarios_frame(parse_settings(text.encode()))
    assert frame["laterals"].tolist() == ["tap-1: sectionalizer, 3 counts; tap-2: lateral recloser"]
    assert frame["fast_operations"].tolist() == ["recloser-1: 0"]
    after = parse_settings(with_scenarios(text, frame).encode())
    assert after.unwrap() == parse_settings(text.encode()).unwrap()
    by_hand = frame.assign(laterals='{ tap-1 = { device = "fuse" } }')
    assert parse_settings(with_scenarios(text, by_hand).encode())["scenarios"][0]["laterals"] == {
        "tap-1": {"device": "fuse"}}
