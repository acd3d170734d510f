"""What people of the trade know about fuse saving, sectionalizers and reclosers.

Common practice, no source, unless a docstring names one. The feeder: a main with 100
customers and a lateral of 40, one fault a year, on the lateral alone.
"""

from __future__ import annotations

import pytest

from reliability.schema.scenarios import AS_BUILT, Scenario
from tests.networks import study_of

CERTAIN = {"fuse_failure": 0.0, "sectionalizer_failure": 0.0, "line_fault_rate_per_km": 1.0,
           "phases_involved": (1.0, 0.0, 0.0), "clearing_shares": (0.8, 0.15, 0.05),
           "operations_to_lockout": 4, "fast_operations": 2, "sectionalizer_counts": 2}
MAIN, TAP = 100, 40
FIRST, SECOND, THIRD = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def feeder(tap: dict, below: dict | None = None, scenarios: tuple[Scenario, ...] = (), **values: object):
    """The feeder with the tap's cells as given; with `below` the faults are on a section below the tap."""
    rows = [{"section_id": "main", "device": "breaker", "customers": MAIN, "phases": 1.0},
            {"section_id": "tap", "parent_id": "main", "customers": TAP, "length_km": 0.0 if below else 1.0,
             "phases": 1.0} | tap]
    if below:
        rows.append({"section_id": "below", "parent_id": "tap", "length_km": 1.0, "phases": 1.0} | below)
    return study_of(rows, scenarios, **(CERTAIN | values))


def currents(amperes: float) -> dict[str, float]:
    return {"fault_current_source_a": amperes, "fault_current_end_a": amperes}


def interruptions(found: dict) -> tuple[float, float, float]:
    """Customers interrupted, momentary events and momentary interruptions a year."""
    return tuple(found[key] * found["customers_served"] for key in ("saifi", "maifi_e", "maifi"))


def test_fuse_saving_raises_momentary_and_lowers_sustained_interruptions(engine):
    """Read, qualitative; blowing fuses does the reverse."""
    blowing = Scenario("Fuse blowing", fast_operations=0)
    found = engine(feeder({"device": "fuse"}, scenarios=(blowing,), temporary_fraction=0.75))
    saved, blown = interruptions(found[AS_BUILT]), interruptions(found["Fuse blowing"])
    assert saved[0] < blown[0]
    assert saved[1] > blown[1]
    assert saved[2] > blown[2]
    assert blown == pytest.approx((TAP, 0.0, 0.0))


def test_at_high_current_fuse_and_recloser_both_operate(engine):
    """Read, qualitative. A temporary fault blows the fuse and the main still sees the backup open."""
    study = {amperes: feeder({"device": "fuse", "saving_ceiling_a": 2000.0} | currents(amperes), temporary_fraction=1.0,
                             clearing_shares=FIRST) for amperes in (1999.0, 2000.0)}
    assert interruptions(engine(study[1999.0])[AS_BUILT]) == pytest.approx((0.0, MAIN + TAP, MAIN + TAP))
    assert interruptions(engine(study[2000.0])[AS_BUILT]) == pytest.approx((TAP, MAIN, MAIN))


def test_a_coordination_is_lost_when_fault_current_grows_or_a_smaller_link_is_put_in(engine):
    sustained = [interruptions(engine(feeder({"device": "fuse", "fuse_link": link} | currents(amperes)))[AS_BUILT])[0]
                 for link, amperes in (("65K", 500.0), ("65K", 5000.0), ("6K", 500.0))]
    assert sustained[0] < sustained[1]
    assert sustained[0] < sustained[2]


def test_a_long_lateral_is_saved_at_its_far_end_alone(engine):
    """Impedance grows evenly: from 4000 A to 1000 A the current is below 2000 A on two thirds of the way."""
    tap = {"device": "fuse", "saving_ceiling_a": 2000.0, "fault_current_source_a": 4000.0,
           "fault_current_end_a": 1000.0}
    found = engine(feeder(tap, temporary_fraction=1.0, clearing_shares=FIRST))[AS_BUILT]
    assert found["callouts"]["refuse"] == pytest.approx(1 / 3, rel=1e-12)


@pytest.mark.parametrize(("fast", "events"), [(0, (0.0, 0.0)), (1, (MAIN, MAIN)), (2, (MAIN, 2 * MAIN))])
def test_a_permanent_fault_blows_the_fuse_on_the_first_slow_operation(engine, fast, events):
    found = engine(feeder({"device": "fuse"}, temporary_fraction=0.0, fast_operations=fast))[AS_BUILT]
    assert interruptions(found) == pytest.approx((TAP, *events))


def test_one_count_never_rides_through_a_temporary_fault(engine):
    found = {counts: engine(feeder({"device": "sectionalizer", "counts": counts}, temporary_fraction=1.0,
                                   clearing_shares=FIRST))[AS_BUILT] for counts in (1, 2)}
    assert interruptions(found[1]) == pytest.approx((TAP, MAIN, MAIN))
    assert found[1]["callouts"]["reset"] == pytest.approx(1.0)
    assert interruptions(found[2]) == pytest.approx((0.0, MAIN + TAP, MAIN + TAP))


@pytest.mark.parametrize(("counts", "opens"), [(1, True), (2, True), (3, False)])
def test_a_sectionalizer_opens_in_the_dead_time_of_its_last_count_even_as_the_fault_clears(engine, counts, opens):
    found = engine(feeder({"device": "sectionalizer", "counts": counts}, temporary_fraction=1.0,
                          clearing_shares=SECOND))[AS_BUILT]
    assert interruptions(found)[0] == pytest.approx(TAP if opens else 0.0)


def test_a_sectionalizer_never_interrupts_the_main_for_long(engine):
    found = engine(feeder({"device": "sectionalizer", "counts": 3}, temporary_fraction=0.0))[AS_BUILT]
    assert interruptions(found) == pytest.approx((TAP, MAIN, 3 * MAIN))
    assert found["callouts"] == pytest.approx({"refuse": 0.0, "reset": 0.0, "repair": 1.0, "patrol": 0.0})


def test_a_backup_with_no_more_operations_than_counts_locks_out_first(engine):
    found = engine(feeder({"device": "sectionalizer", "counts": 3}, temporary_fraction=0.0, operations_to_lockout=3,
                          ))[AS_BUILT]
    assert interruptions(found) == pytest.approx((MAIN + TAP, 0.0, 0.0))


def test_below_its_actuating_current_a_sectionalizer_leaves_the_fault_to_the_backup(engine):
    tap = {"device": "sectionalizer", "rated_current_a": 100.0}  # acts from 160 % of the rating
    found = {amperes: interruptions(engine(feeder(tap | currents(amperes), temporary_fraction=0.0))[AS_BUILT])
             for amperes in (159.9, 160.0)}
    assert found[159.9] == pytest.approx((MAIN + TAP, 0.0, 0.0))
    assert found[160.0] == pytest.approx((TAP, MAIN, 2 * MAIN))


@pytest.mark.parametrize(("counts", "fast", "opened"), [(2, 2, "tap"), (2, 1, "below"), (1, 1, "tap"), (3, 2, "below")])
def test_a_fuse_below_a_sectionalizer_of_at_most_the_fast_operations_loses_the_race(engine, counts, fast, opened):
    study = feeder({"device": "sectionalizer", "counts": counts}, {"device": "fuse", "customers": 7},
                   temporary_fraction=0.0, fast_operations=fast)
    assert interruptions(engine(study)[AS_BUILT])[0] == pytest.approx(TAP + 7 if opened == "tap" else 7)


def test_of_two_fuses_the_one_nearest_the_fault_blows_and_if_it_fails_the_next(engine):
    study = feeder({"device": "fuse"}, {"device": "fuse", "customers": 7}, temporary_fraction=0.0, fuse_failure=0.1)
    sustained = 0.9 * 7 + 0.1 * 0.9 * (TAP + 7) + 0.01 * (MAIN + TAP + 7)
    assert interruptions(engine(study)[AS_BUILT])[0] == pytest.approx(sustained, rel=1e-12)


def test_of_two_sectionalizers_of_equal_counts_the_one_nearest_the_source_opens(engine):
    both = feeder({"device": "sectionalizer", "counts": 2}, {"device": "sectionalizer", "counts": 2, "customers": 7},
                  temporary_fraction=0.0)
    graded = feeder({"device": "sectionalizer", "counts": 3}, {"device": "sectionalizer", "counts": 2, "customers": 7},
                    temporary_fraction=0.0)
    assert interruptions(engine(both)[AS_BUILT])[0] == pytest.approx(TAP + 7)
    assert interruptions(engine(graded)[AS_BUILT])[0] == pytest.approx(7)


def test_a_lateral_recloser_keeps_its_faults_from_the_main(engine):
    found = engine(feeder({"device": "lateral_recloser", "operations_to_lockout": 3}, temporary_fraction=0.5,
                          clearing_shares=SECOND))[AS_BUILT]
    assert interruptions(found) == pytest.approx((0.5 * TAP, 0.5 * TAP, 2 * 0.5 * TAP))


def test_sectionalizers_with_fast_tripping_blocked_ride_through_where_fuses_would_blow(engine):
    scenarios = (Scenario("Fuses", fast_operations=0),
                 Scenario("Sectionalizers", None, "sectionalizer", 3, fast_operations=0))
    found = engine(feeder({"device": "fuse"} | currents(8000.0), scenarios=scenarios, temporary_fraction=0.75))
    fuses, sectionalizers = interruptions(found["Fuses"]), interruptions(found["Sectionalizers"])
    assert fuses == pytest.approx((TAP, 0.0, 0.0))
    # clearing in dead time 1 or 2 is ridden through, in 3 it is not: the third count opens
    assert sectionalizers[0] == pytest.approx(TAP * (0.25 + 0.75 * 0.05), rel=1e-12)
    assert sectionalizers[1] > fuses[1]


def test_only_the_phases_involved_are_interrupted_by_a_device_of_one_unit_a_phase(engine):
    """A single-phase fault leaves two of the lateral's three phases, and their customers, in service."""
    for device, share in (("fuse", 1 / 3), ("sectionalizer", 1 / 3), ("switch", None)):
        found = engine(feeder({"device": device, "phases": 3.0}, temporary_fraction=0.0))[AS_BUILT]
        sustained = TAP * share if share else MAIN + TAP
        assert interruptions(found)[0] == pytest.approx(sustained, rel=1e-12)


def test_a_switch_never_interrupts_but_lets_the_others_be_restored(engine):
    hours = {"repair_hours": 5.0, "switching_hours": 1.0}
    solid = engine(feeder({"device": ""}, temporary_fraction=0.0, **hours))[AS_BUILT]
    switched = engine(feeder({"device": "switch"}, temporary_fraction=0.0, **hours))[AS_BUILT]
    assert interruptions(solid) == interruptions(switched)
    assert solid["caidi_min"] == pytest.approx(300.0)
    assert switched["caidi_min"] == pytest.approx(60.0 * (MAIN * 1.0 + TAP * 5.0) / (MAIN + TAP), rel=1e-12)


def test_alternative_supply_helps_beyond_the_fault_by_its_probability(engine):
    hours = {"repair_hours": 5.0, "switching_hours": 1.0}
    study = study_of([
        {"section_id": "main", "device": "breaker", "customers": 10},
        {"section_id": "middle", "parent_id": "main", "device": "switch", "customers": 10, "length_km": 1.0},
        {"section_id": "end", "parent_id": "middle", "device": "switch", "customers": 10},
        {"section_id": "tie", "parent_id": "end", "tie_probability": 0.6, "customers": 10},
        {"section_id": "spur", "parent_id": "middle", "device": "switch", "customers": 10}],
        **(CERTAIN | hours), temporary_fraction=0.0)
    seen = engine(study)[AS_BUILT]["sections"]
    assert {name: row["outage_hours"] for name, row in seen.items()} == pytest.approx(
        {"main": 1.0, "middle": 5.0, "end": 2.6, "tie": 2.6, "spur": 5.0}, rel=1e-12)


def test_who_is_called_out_after_a_temporary_fault(engine):
    """Refuse for a fuse, reset for a sectionalizer or lateral recloser, patrol for a lockout of the main."""
    slow = {"temporary_fraction": 1.0, "clearing_shares": THIRD, "operations_to_lockout": 2, "fast_operations": 0,
            "sectionalizer_counts": 1}
    for device, kind in (("fuse", "refuse"), ("sectionalizer", "reset"), ("lateral_recloser", "reset"),
                         ("", "patrol")):
        callouts = engine(feeder({"device": device}, **slow))[AS_BUILT]["callouts"]
        assert callouts == pytest.approx(dict.fromkeys(callouts, 0.0) | {kind: 1.0}), device
