"""Which default ranges hold in a study."""

from __future__ import annotations

import pytest

from reliability.schema.assumption_types import Range
from reliability.schema.default_ranges import DEFAULT_RANGES
from tests.networks import study_of

MAIN = {"section_id": "main", "device": "breaker", "length_km": 1.0, "customers": 10.0}
TAP = {"section_id": "tap", "parent_id": "main", "device": "fuse", "length_km": 1.0, "customers": 5.0}


def _study(*rows, **values):
    return study_of(rows or (MAIN, TAP), (), **{"default_ranges": True, **values})


def test_everything_that_has_no_range_of_its_own_has_the_default_one():
    study = _study(reclosing_off_share=0.01, fuse_failure=0.02, wrong_link_share=0.1, patrol_reclosing_off_hours=2.0)
    assert set(study.default_ranges) == set(DEFAULT_RANGES) == set(study.uncertain)
    assert study.uncertain["repair_hours"] == Range(pytest.approx(2.1), 3.0, pytest.approx(3.9))


def test_the_switch_takes_all_of_them_away():
    assert _study(default_ranges=False).uncertain == {}


def test_a_stated_range_takes_the_place_of_the_default_one_and_one_without_width_makes_certain():
    study = _study().with_assumptions(repair_hours=(2.0, 3.0, 6.0), switching_hours=(1.0, 1.0, 1.0))
    assert study.uncertain["repair_hours"] == Range(2.0, 3.0, 6.0)
    assert not {"repair_hours", "switching_hours"} & set(study.default_ranges)
    assert "switching_hours" not in study.uncertain
    assert study.values["switching_hours"] == 1.0


def test_a_number_that_takes_the_place_of_a_range_has_the_default_one_again():
    study = _study().with_assumptions(repair_hours=(2.0, 3.0, 6.0)).with_assumptions(repair_hours=4.0)
    assert study.stated_ranges == {}
    assert study.uncertain["repair_hours"].likely == 4.0


def test_what_every_section_states_for_itself_has_none():
    own = {"line_fault_rate_per_km": 0.3, "temporary_fraction": 0.8, "repair_hours": 2.0}
    assert not set(own) & set(_study(MAIN | own, TAP | own).default_ranges)
    assert set(own) < set(_study(MAIN | own, TAP).default_ranges)


def test_where_a_device_states_its_share_the_study_s_has_none():
    assert "reclosing_off_share" in _study(reclosing_off_share=0.01).default_ranges
    stated = _study(MAIN | {"reclosing_off_share": 0.02}, TAP, reclosing_off_share=0.01)
    assert "reclosing_off_share" not in stated.default_ranges


def test_what_is_learned_from_records_has_none():
    learned = _study(rates="learned").default_ranges
    assert not {"line_fault_rate_per_km", "temporary_fraction"} & set(learned)
    assert "repair_hours" in learned


def test_the_fingerprint_depends_on_the_switch(demo):
    changed = demo.with_assumptions(default_ranges=False)
    assert changed.inputs_sha256 != demo.inputs_sha256
    assert changed.uncertain == demo.stated_ranges
    assert len(demo.uncertain) > len(demo.stated_ranges)
