"""The package against the rules played out one by one, on random networks of every device."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from reliability.faults.outcomes import PERMANENT
from reliability.pipeline import expect
from reliability.study.study import Study
from tests.adapter import core_results, differences
from tests.enumeration import enumerate_study, momentary_customers_to_the_letter
from tests.networks import random_studies, random_study, study_of, with_stray_cells


@pytest.mark.parametrize("seed", range(60))
def test_agrees_on_random_networks(seed):
    study = random_study(np.random.default_rng(seed), sections=5 + seed % 30)
    assert differences(core_results(study), enumerate_study(study)) == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60, 80))
def test_agrees_where_rows_carry_settings_of_devices_they_need_not_have(seed):
    rng = np.random.default_rng(seed)
    study = with_stray_cells(random_study(rng, sections=20), rng)
    assert differences(core_results(study), enumerate_study(study)) == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(80, 90))
@pytest.mark.parametrize("certain", [{"fuse_failure": 1.0}, {"sectionalizer_failure": 1.0},
                                     {"fuse_failure": 0.0, "sectionalizer_failure": 0.0}], ids=str)
def test_agrees_where_devices_always_or_never_work(seed, certain):
    study = random_study(np.random.default_rng(seed), 15, **certain)
    assert differences(core_results(study), enumerate_study(study)) == []


@given(random_studies(most_sections=12))
def test_agrees_on_small_networks_that_shrink(study):
    assert differences(core_results(study), enumerate_study(study)) == []


def test_the_random_networks_reach_every_rule():
    """Otherwise an agreement would prove little."""
    studies = [random_study(np.random.default_rng(seed), sections=30) for seed in range(10)]
    found = [result for study in studies for result in enumerate_study(study).values()]
    for kind in ("refuse", "reset", "repair", "patrol"):
        assert sum(result["callouts"][kind] > 0 for result in found) > 10, kind
    assert sum(result["sectionalizer_operations"] > 0 for result in found) > 10
    assert any(result["maifi"] > 1.5 * result["maifi_e"] for result in found)
    assert any(len({round(result["saifi"], 9) for result in enumerate_study(study).values()}) > 4 for study in studies)


@pytest.mark.parametrize("amperes", [105.0, 210.0, 420.0, 886.159499208084])
@pytest.mark.parametrize("device", ["fuse", "sectionalizer"])
def test_a_level_current_at_the_threshold_is_not_below_it(engine, device, amperes):
    """Not even by the rounding of 1/(1/I): the fuse melts, the sectionalizer acts."""
    row = {"section_id": "tap", "parent_id": "main", "device": device, "length_km": 1.0, "customers": 1,
           "fault_current_source_a": amperes, "fault_current_end_a": amperes,
           "saving_ceiling_a" if device == "fuse" else "actuating_current_a": amperes}
    study = study_of([{"section_id": "main", "device": "breaker", "customers": 9}, row], line_fault_rate_per_km=1.0,
                     sectionalizer_counts=1, sectionalizer_failure=0.0, temporary_fraction=1.0,
                     phases_involved=(0.0, 0.0, 1.0))
    assert engine(study)["As built"]["saifi"] == pytest.approx(0.1)


def test_kinds_of_fault_that_end_alike_share_a_row():
    """Without fast tripping a fuse melts at once, in whichever dead time the fault would have cleared."""
    study = study_of([{"section_id": "main", "device": "breaker", "length_km": 1.0},
                      {"section_id": "tap", "parent_id": "main", "device": "fuse", "length_km": 1.0, "phases": 1.0}],
                     fast_operations=0, fuse_failure=0.0)
    table = expect(study).table
    assert sorted(table.kinds[table.section == 1].tolist()) == [0b111, PERMANENT]
    assert sorted(set(table.kinds[table.section == 0].tolist())) == [0b001, 0b010, 0b100, PERMANENT]


def test_a_device_interrupts_no_more_than_everybody_below_it(engine):
    """Two-phase faults below a device of one unit: a network drawn wrong, but a share stays at most 1."""
    study = study_of([
        {"section_id": "main", "device": "breaker", "customers": 9},
        {"section_id": "tap", "parent_id": "main", "device": "fuse", "phases": 1.0, "customers": 1},
        {"section_id": "end", "parent_id": "tap", "phases": 2.0, "length_km": 1.0}],
        line_fault_rate_per_km=1.0, temporary_fraction=0.0, phases_involved=(0.0, 1.0, 0.0))
    assert engine(study)["As built"]["saifi"] == pytest.approx(0.1)


def test_the_comparison_sees_a_difference_in_one_part_in_a_hundred_million():
    wanted = {"a": {"b": 1.0, "c": None}}
    assert differences({"a": {"b": 1.0 + 1e-8, "c": None}}, wanted)
    assert differences({"a": {"b": 1.0, "c": 0.0}}, wanted)
    assert differences({"a": {"b": 1.0}}, wanted)
    assert differences({"a": {"b": 1.0 + 1e-12, "c": None, "d": 1.0}}, wanted) == []


def per_phase_recloser_above_a_fuse(tap: int, spur: int) -> Study:
    """A three-phase lateral recloser, customers on it, and a single-phase fuse below with a fault current that
    no fast operation saves it from."""
    return study_of([
        {"section_id": "main", "device": "breaker"},
        {"section_id": "tap", "parent_id": "main", "device": "lateral_recloser", "phases": 3.0, "customers": tap,
         "fast_operations": 1.0},
        {"section_id": "spur", "parent_id": "tap", "device": "fuse", "phases": 1.0, "customers": spur,
         "length_km": 1.0, "fault_current_source_a": 900.0, "fault_current_end_a": 900.0, "saving_ceiling_a": 800.0}],
        line_fault_rate_per_km=1.0, fast_operations=1, fuse_failure=0.0)


def test_momentaries_are_never_negative_where_those_to_the_letter_would_be(engine):
    """A three-phase lateral recloser above a single-phase fuse: it interrupts a third of a zone
    whose customers below the fuse are interrupted whole."""
    study = per_phase_recloser_above_a_fuse(10, 90)
    letter = enumerate_study(study, momentary_customers_to_the_letter)["As built"]["laterals"]["tap"]
    assert letter["momentary_events"] == pytest.approx(100 / 3 - 90)
    found = engine(study)["As built"]["laterals"]["tap"]
    assert found["momentary_events"] == 0.0


@pytest.mark.parametrize(("tap", "spur"), [(50, 20), (1, 0.1)])
def test_nobody_sees_fewer_than_no_momentary_events_and_all_add_up(tap, spur):
    """Below a three-phase lateral recloser, a single-phase fuse: its customers are interrupted for long,
    the others share what the recloser's third of the zone leaves: of 50 and 20 customers 70/3 − 20."""
    study = per_phase_recloser_above_a_fuse(tap, spur)
    expected = expect(study).expected[0]
    assert expected.momentary_event_rate == pytest.approx([0.0, ((tap + spur) / 3 - spur) / tap, 0.0], abs=1e-12)
    assert expected.momentary_event_rate @ [0, tap, spur] == pytest.approx(expected.fault_momentary_events.sum())
