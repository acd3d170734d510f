"""The package against the rules played out one by one, on random networks of every device."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import given

from reliability.faults.chains import WRONG_LINK
from reliability.faults.consequences import consequences
from reliability.faults.outcomes import PERMANENT_BIT
from reliability.faults.parts import THREE_PHASE_FAULTS, TO_GROUND
from reliability.faults.times import PATROL_OFF, REPAIR_OFF
from reliability.network.conversions import conversions
from reliability.pipeline import expect
from reliability.schema.devices import SECTIONALIZER
from reliability.study.study import Study
from tests import enumeration
from tests.adapter import core_results, differences
from tests.enumeration import enumerate_study, momentary_customers_to_the_letter
from tests.enumeration_curves import BOTH
from tests.enumeration_faults import play, which
from tests.networks import random_studies, random_study, study_of, with_stray_cells


def seeds(quick: int, all_of_them: int) -> list:
    """Seeds from 0, those from `quick` on marked slow."""
    return [*range(quick), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(quick, all_of_them))]


def agrees(study: Study) -> None:
    assert differences(core_results(study), enumerate_study(study)) == []


@pytest.mark.parametrize("seed", seeds(20, 60))
def test_agrees_on_networks_without_settings(seed):
    agrees(random_study(np.random.default_rng(seed), sections=5 + seed % 30))


@pytest.mark.parametrize("seed", seeds(15, 75))
def test_agrees_on_full_networks(seed):
    agrees(random_study(np.random.default_rng(1000 + seed), 5 + seed % (12 if seed < 15 else 30), full=True))


@pytest.mark.slow
@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("seed", range(60, 80))
def test_agrees_where_rows_carry_settings_of_devices_they_need_not_have(seed, full):
    rng = np.random.default_rng(seed)
    agrees(with_stray_cells(random_study(rng, 20, full), rng))


CERTAINTIES: tuple[dict[str, object], ...] = (
    {"fuse_failure": 1.0}, {"sectionalizer_failure": 1.0}, {"fuse_failure": 0.0, "sectionalizer_failure": 0.0},
    {"fuse_failure": 1.0, "sectionalizer_failure": 1.0}, {"wrong_link_share": 1.0, "fuse_failure": 0.0},
    {"wrong_link_share": 1.0, "fuse_failure": 1.0}, {"reclosing_off_share": 1.0}, {"reclosing_off_share": 0.0})


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(80, 90))
@pytest.mark.parametrize("certain", CERTAINTIES, ids=str)
def test_agrees_where_things_always_or_never_happen(seed, certain):
    agrees(random_study(np.random.default_rng(seed), 15, full=True, **certain))


@given(random_studies(most_sections=12))
def test_agrees_on_small_networks_that_shrink(study):
    agrees(study)


@given(random_studies(most_sections=10, full=True))
def test_agrees_on_small_full_networks_that_shrink(study):
    agrees(study)


def test_the_random_networks_reach_every_rule():
    """Otherwise an agreement would prove little."""
    studies = [random_study(np.random.default_rng(seed), sections=30) for seed in range(10)]
    found = [result for study in studies for result in enumerate_study(study).values()]
    for kind in ("refuse", "reset", "repair", "patrol"):
        assert sum(result["callouts"][kind] > 0 for result in found) > 10, kind
    assert sum(result["sectionalizer_operations"] > 0 for result in found) > 10
    assert any(result["maifi"] > 1.5 * result["maifi_e"] for result in found)
    assert any(len({round(result["saifi"], 9) for result in enumerate_study(study).values()}) > 4 for study in studies)


def played(study: Study, monkeypatch) -> Counter:
    """How often the fuse and R both clear in the sequences of a study, and what opens where one is ready to count."""
    found: Counter = Counter()

    def recorded(working, fuse, backup, current, ground, clears_in):
        opened, openings = play(working, fuse, backup, current, ground, clears_in)
        if fuse and openings and which(fuse, backup, current, openings <= backup["fast"], ground) == BOTH:
            ready = any(d["device"] == SECTIONALIZER and not (current is not None and current < d["actuating"])
                        and d["counts"] <= openings for d in working)
            found["both, at lockout" if openings == backup["operations"] else "both, a sectionalizer ready" if ready
                  else "both"] += 1
            if ready:
                found[f"both, {opened['device']} opens"] += 1
        if backup["operations"] == 1:
            found["one operation"] += 1
        return opened, openings

    with monkeypatch.context() as patched:
        patched.setattr(enumeration, "play", recorded)
        enumerate_study(study)
    return found


def reached(study: Study) -> Counter:
    """How many rows, summed over scenarios, reach each rule of reclosing off, parts, links and shares; and devices."""
    table, network = expect(study).table, study.network
    found: Counter = Counter()
    found["ground part"] = int((table.part == TO_GROUND).sum())
    found["three-phase part"] = int((table.part == THREE_PHASE_FAULTS).sum())
    found["wrong link"] = int((table.tally[:, WRONG_LINK] > 0).sum())
    found["scenarios differ in the state of reclosing"] = int((table.off != table.off[:1]).any(axis=0).sum())
    found["three-phase customers"] = int((np.nan_to_num(network.three_phase_share) > 0).sum())
    for s, scenario in enumerate(study.scenarios):
        what, plan = consequences(table, s, study.values), table.protections[s]
        shares = what.sustained_shares
        found["reclosing off"] += int(table.off[s].sum())
        found["walked, temporary"] += int((what.time == PATROL_OFF).sum())
        found["walked, permanent"] += int((what.time == REPAIR_OFF).sum())
        uneven = (what.opened >= 0) & (shares.inside != shares.outside)
        found["shares differ in the stretch"] += int(uneven.sum())
        found["the maximum bites"] += int((uneven & (shares.outside == 0.0) & (shares.inside > 0.0)).sum())
        found["more poles than phases involved"] += int((what.actuators > 2.9).sum())
        asked = conversions(network, scenario)
        stays = plan.device[asked.head] != asked.device
        found["a device stays"] += int(stays.sum())
        found["counts are lowered"] += int((~stays & (plan.counts[asked.head] < asked.counts)).sum())
    return found


@pytest.mark.slow
def test_the_full_random_networks_reach_every_rule(monkeypatch):
    """Otherwise an agreement would prove little; every count here is one of rules that only full studies have."""
    studies = [random_study(np.random.default_rng(1000 + seed), 12, full=True) for seed in range(60)]
    found: Counter = sum((reached(study) + played(study, monkeypatch) for study in studies), Counter())
    rules = ("ground part", "three-phase part", "wrong link", "scenarios differ in the state of reclosing",
             "three-phase customers", "reclosing off", "walked, temporary", "walked, permanent",
             "shares differ in the stretch", "the maximum bites", "more poles than phases involved", "a device stays",
             "counts are lowered", "both", "both, at lockout", "both, a sectionalizer ready", "both, fuse opens",
             "both, sectionalizer opens", "one operation")
    assert {rule: found[rule] for rule in rules if found[rule] < 5} == {}


@pytest.mark.parametrize("elsewhere", [0, 12])
@pytest.mark.parametrize("spur_phases", [1.0, 2.0])
def test_who_is_interrupted_where_all_customers_hang_on_the_phases_of_the_fault(engine, elsewhere, spur_phases):
    """A three-phase tap whose 30 customers are all (N = n), or mostly, on a spur of fewer phases (model §4).

    Permanent faults on the spur: E involved 1 on one phase, 1.4 on two; σ = E/3 of the tap, σ₁ = E/phases of the spur.
    """
    study = study_of([
        {"section_id": "main", "device": "breaker", "customers": 58 - elsewhere},
        {"section_id": "tap", "parent_id": "main", "device": "fuse", "phases": 3.0, "customers": elsewhere},
        {"section_id": "spur", "parent_id": "tap", "phases": spur_phases, "length_km": 1.0, "customers": 30}],
        line_fault_rate_per_km=1.0, temporary_fraction=0.0, fuse_failure=0.0, phases_involved=(0.6, 0.3, 0.1))
    involved = {1.0: 1.0, 2.0: 1.4}[spur_phases]
    near = involved / spur_phases
    away = max(0.0, (involved / 3.0 * (elsewhere + 30) - near * 30) / elsewhere) if elsewhere else 0.0
    found = engine(study)["As built"]
    assert found["saifi"] == pytest.approx((near * 30 + away * elsewhere) / 88)
    assert found["sections"]["spur"]["failure_rate"] == pytest.approx(near)


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
    assert sorted(table.kinds[table.section == 1].tolist()) == [0b111, PERMANENT_BIT]
    assert sorted(set(table.kinds[table.section == 0].tolist())) == [0b001, 0b010, 0b100, PERMANENT_BIT]


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
