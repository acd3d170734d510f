"""Effects lateral by lateral: each conversion changes only its own faults, so effects add, and prices with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given

from reliability.business.cashflow import business_summary
from reliability.business.constraints import fast_settings
from reliability.business.laterals import laterals_frame
from reliability.business.options import EFFECTS, build_options
from reliability.business.zero_capital import ALLOWED, BLOCKED, zero_capital_scenarios
from reliability.faults.outcomes import build_outcomes
from reliability.indices.expected import expected_values
from reliability.network.devices import BACKS_UP, RECLOSES
from reliability.network.model import Model
from reliability.network.protection import protection
from reliability.network.tree import build_network
from reliability.pipeline import options_of
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study.cost_table import default_cost_table
from tests.business.cases import case_of, feeders_of_laterals, random_case
from tests.network.laterals import BACKUP, LATERAL, VALUES
from tests.networks import random_studies, study_of

COSTS = default_cost_table()
FAULT_ARRAYS = ("fault_ci", "fault_customer_hours", "fault_load_kwh", "fault_momentary_events",
                "fault_momentary_interruptions", "fault_callouts", "fault_sectionalizer_operations", "fault_actuators")


def backing_none(network) -> np.ndarray:
    """Candidates that are no reclosing device with other candidates behind it, positions."""
    inner = {int(network.unit[network.parent[h]]) for h in network.candidates if network.parent[h] >= 0}
    inner = {h for h in inner if RECLOSES[network.device[h]]}
    return np.array([h for h in network.candidates if h not in inner], dtype=int)


@given(random_studies(most_sections=20) | random_studies(most_sections=20, full=True))
def test_converting_a_candidate_changes_only_its_own_faults(study):
    """Whatever the network: faults elsewhere do what they did, so single conversions add up to all of them.

    But for a candidate that stands behind others: what those see changes with it, so a choice leaves it alone.
    """
    network = study.network
    heads = backing_none(network)
    counts = 1
    for device in ("sectionalizer", "lateral_recloser", "fuse"):
        singles = [Scenario(f"only {h}", (str(network.ids[h]),), device, counts) for h in heads]
        every = Scenario("all", tuple(str(network.ids[h]) for h in heads), device, counts)
        scenarios = (Scenario(AS_BUILT), every, *singles)
        base, everything, *alone = expected_values(build_outcomes(study.model, scenarios), study.values)
        for name in FAULT_ARRAYS:
            scale = 1e-9 * (1.0 + np.abs(getattr(base, name)).max(initial=0.0))
            changes = [getattr(e, name) - getattr(base, name) for e in alone]
            for head, change in zip(heads, changes, strict=True):
                assert np.abs(change[network.unit != head]).max(initial=0.0) <= scale, name
            total = sum(changes) if changes else 0.0
            assert np.abs(total - (getattr(everything, name) - getattr(base, name))).max(initial=0.0) <= scale, name


def test_conversions_do_change_something():
    """The property above would hold for conversions that do nothing."""
    case = case_of(feeders_of_laterals(6, 1, (Scenario("S", None, "sectionalizer", 2),)))
    assert case.expected[1].fault_ci.sum() < 0.95 * case.expected[0].fault_ci.sum()


@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_lateral_npvs_and_shared_settings_add_up_to_the_scenario(perspective):
    scenarios = (Scenario("S", None, "sectionalizer", 2), Scenario("some", ("t0", "t3", "t5"), "lateral_recloser"))
    case = case_of(feeders_of_laterals(8, 2, scenarios, perspective=perspective, incentive_per_saidi_minute=500.0))
    frame, figures = laterals_frame(case.business, case.break_even), business_summary(case.business)
    for s, scenario in enumerate(case.study.scenarios):
        rows = frame[frame["scenario"] == scenario.name]
        assert len(rows) == 8
        assert rows["npv"].sum() == pytest.approx(figures[s]["npv"], rel=1e-9, abs=1e-6)
        ranked = rows.dropna(subset=["npv"]).sort_values("rank")
        assert ranked["rank"].tolist() == list(range(1, len(ranked) + 1))
        assert np.all(np.diff(ranked["npv"]) <= 0)
    assert frame.loc[frame["scenario"] == "some", "npv"].notna().sum() == 3
    assert frame.loc[frame["scenario"] == AS_BUILT, ["npv", "rank", "capex"]].isna().all(axis=None)


def test_lateral_amounts_are_those_of_its_sections():
    case = random_case(6, 30)
    frame = laterals_frame(case.business, case.break_even)
    heads = case.network.candidates
    assert frame.index.tolist() == list(range(len(heads) * len(case.study.scenarios)))
    for s, scenario in enumerate(case.study.scenarios):
        for row, head in zip(frame[frame["scenario"] == scenario.name].itertuples(), heads, strict=True):
            inside = slice(head, head + case.network.size[head])
            expected = case.expected[s]
            assert row.lateral_id == case.network.ids[head]
            assert row.customer_interruptions == pytest.approx(expected.fault_ci[inside].sum())
            assert row.customer_minutes == pytest.approx(60.0 * expected.fault_customer_hours[inside].sum())
            assert row.callouts == pytest.approx(expected.fault_callouts[inside].sum())


def _picked(options, device: str, counts: float | None = None, setting: int = 0):
    rows = options.rows
    chosen = (rows["device"] == device) & (rows["setting"] == setting)
    return rows[chosen & (rows["counts"] == counts if counts is not None else rows["counts"].isna())]


@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_options_add_up_to_scenarios(perspective):
    scenarios = (Scenario("S2", None, "sectionalizer", 2), Scenario("R", None, "lateral_recloser"),
                 Scenario("blocked", (), None, None, 0), Scenario("S2 blocked", None, "sectionalizer", 2, 0))
    case = case_of(feeders_of_laterals(9, 4, scenarios, perspective=perspective, incentive_per_saifi=900.0))
    options = build_options(case.study.model, COSTS, (0,))
    figures = business_summary(case.business)
    settings = options.rows[(options.rows["lateral"] < 0) & (options.rows["setting"] == 1)]
    left = options.rows[(options.rows["lateral"] >= 0) & (options.rows["device"] == "")]
    assert len(settings) == 4
    assert len(left) == 9
    for s, parts in ((1, [_picked(options, "sectionalizer", 2.0)]), (2, [_picked(options, "lateral_recloser")]),
                     (3, [settings, left]), (4, [settings, _picked(options, "sectionalizer", 2.0, 1)])):
        sums = {name: sum(float(p[name].sum()) for p in parts) for name in EFFECTS}
        before, after = case.expected[0], case.expected[s]
        assert sums["npv"] == pytest.approx(figures[s]["npv"], rel=1e-9, abs=1e-6)
        assert sums["capex"] == pytest.approx(figures[s]["capex"])
        assert sums["ci_avoided"] == pytest.approx((before.fault_ci - after.fault_ci).sum())
        assert sums["momentary_events_added"] == pytest.approx(
            (after.fault_momentary_events - before.fault_momentary_events).sum())
        assert sums["callouts_avoided"] == pytest.approx((before.fault_callouts - after.fault_callouts).sum())


def test_only_possible_settings_are_offered():
    study = feeders_of_laterals(8, 4)
    network = build_network(study.sections)
    options = build_options(Model(network, study.values), COSTS, (0, 3))
    lockout = np.where(np.char.endswith(network.ids[options.zones].astype(str), "2"), 3, 4)
    offered = options.rows[options.rows["device"] == "sectionalizer"]
    assert set(offered["counts"]) == {1.0, 2.0, 3.0}
    assert np.all(offered["counts"] < lockout[offered["zone"]])
    # three fast operations need four to lockout
    assert np.isnan(options.fast[:, 2]).tolist() == (lockout == 3).tolist()
    assert not ((options.rows["setting"] == 2) & (lockout[options.rows["zone"]] == 3)).any()


def test_what_a_lateral_has_already_is_not_offered():
    sections = feeders_of_laterals(4, 1).sections.copy()
    at = sections["section_id"].isin(["t0", "t1"])
    sections.loc[at, "device"] = ["lateral_recloser", "sectionalizer"]
    sections.loc[at, ["saving_ceiling_a", "counts"]] = [[np.nan, np.nan], [np.nan, 2.0]]
    study = feeders_of_laterals(4, 1)
    options = build_options(Model(build_network(sections), study.values), COSTS)
    ids = options.network.ids[options.heads].astype(str)
    offered = {name: set(zip(own["device"], own["counts"].fillna(0.0), strict=True))
               for name, own in options.rows[options.rows["lateral"] >= 0].groupby(
                   ids[options.rows.loc[options.rows["lateral"] >= 0, "lateral"]])}
    # neither does a lateral recloser that backs up another candidate, here the fuse "t0x", give way
    assert "t0" not in offered
    assert ("lateral_recloser", 0.0) in offered["t0x"]
    assert ("sectionalizer", 2.0) not in offered["t1"]
    assert ("sectionalizer", 1.0) in offered["t1"]
    again = options.rows[(options.rows["device"] == "sectionalizer") & (ids[options.rows["lateral"]] == "t1")]
    assert np.all(again["capex"] == 0.0)
    assert options.rows.index.tolist() == list(range(len(options.rows)))


def test_a_fuse_above_a_reclosing_device_that_backs_up_others_is_offered():
    """The fuse F3 stands behind the recloser R2, whatever heads the lateral: both are candidates, and effects add."""
    study = study_of(({"section_id": "main", "parent_id": "", "device": "breaker", "customers": 500, "length_km": 2.0},
                      {"section_id": "F1", "parent_id": "main", "device": "fuse", "customers": 100, "length_km": 15.0},
                      {"section_id": "R2", "parent_id": "F1", "device": "lateral_recloser", "customers": 30,
                       "length_km": 3.0},
                      {"section_id": "F3", "parent_id": "R2", "device": "fuse", "customers": 5, "length_km": 0.5}))
    options = options_of(study)
    ids = options.network.ids[options.heads].astype(str)
    rows = options.rows[options.rows["lateral"] >= 0]
    assert set(ids[rows["lateral"]]) == {"F1", "F3"}


def test_no_more_counts_are_offered_than_a_sectionalizer_has_and_one_behind_two_operations():
    for lockout, counts in ((8, {1.0, 2.0, 3.0}), (2, {1.0})):
        sections = feeders_of_laterals(4, 1).sections.copy()
        sections.loc[sections["device"].isin(["breaker", "recloser"]), "operations_to_lockout"] = float(lockout)
        study = feeders_of_laterals(4, 1, fast_operations=1)
        rows = build_options(Model(build_network(sections), study.values), COSTS).rows
        assert set(rows.loc[rows["device"] == "sectionalizer", "counts"]) == counts


def test_counts_of_a_sectionalizer_inside_stay_below_the_operations_of_a_lateral_recloser():
    study = feeders_of_laterals(4, 1, operations_to_lockout=2, fast_operations=1, sectionalizer_counts=1)
    sections = study.sections.copy()
    inside = ["device", "counts", "saving_ceiling_a"]
    sections.loc[sections["section_id"] == "t0x", inside] = ["sectionalizer", 2.0, np.nan]
    network = build_network(study.with_sections(sections).sections)
    rows = build_options(Model(network, study.values), COSTS).rows
    with_recloser = set(rows.loc[rows["device"] == "lateral_recloser", "lateral"])
    names = network.ids[network.candidates].tolist()
    assert with_recloser == {names.index(n) for n in ("t1", "t2", "t3")}


def _offered(study, fast=()) -> dict[tuple[str, float, float], set[str]]:
    """Laterals to which each device with its counts and the backup's fast operations is open."""
    network = build_network(study.sections)
    options = build_options(Model(network, study.values), COSTS, fast, applicable_only=True)
    rows = options.rows[options.rows["device"] != ""]
    name = network.ids[options.heads][rows["lateral"]]
    setting = options.fast[rows["zone"], rows["setting"]]
    found: dict[tuple[str, float, float], set[str]] = {}
    for *key, lateral in zip(rows["device"], np.nan_to_num(rows["counts"]), setting, name, strict=True):
        found.setdefault(tuple(key), set()).add(lateral)
    return found


def test_a_sectionalizer_that_fails_is_not_offered_and_a_lateral_recloser_is():
    """The backup of "bad" trips from 90 A; 80 A of actuating current are more than 0.8 times that."""
    study = study_of([BACKUP, BACKUP | {"section_id": "low", "minimum_trip_a": 90.0},
                      LATERAL, LATERAL | {"section_id": "bad", "parent_id": "low"}], **VALUES)
    found = _offered(study)
    assert {key[:2]: names for key, names in found.items()} == {
        ("sectionalizer", 1.0): {"tap"}, ("sectionalizer", 2.0): {"tap"}, ("sectionalizer", 3.0): {"tap"},
        ("lateral_recloser", 0.0): {"tap", "bad"}}


@pytest.mark.parametrize("first", [1, 3])
def test_each_option_is_judged_at_its_own_counts_whatever_the_first_scenario_has(first):
    """Three operations admit one or two counts."""
    rows = [BACKUP | {"operations_to_lockout": 3.0, "fast_operations": 1.0}, LATERAL]
    study = study_of(rows, (Scenario("S", None, "sectionalizer", first),), **VALUES)
    options = options_of(study)
    counts = options.rows.loc[options.rows["device"] == "sectionalizer", "counts"]
    assert sorted(counts) == [1.0, 2.0]


def test_each_option_is_judged_under_its_own_setting_of_the_backup():
    """The third opening comes after 0.5 + 5 s and two clearings: with two fast operations 0.075 + 15 s, 20.6 s; with
    none 2·15 s, 35.5 s; the memory is 25 s. The second comes after 15.5 s at the most."""
    study = study_of([BACKUP, LATERAL], **VALUES | {"delayed_clearing_time_s": 15.0})
    assert set(_offered(study, (0,))) == {("sectionalizer", 1.0, 2.0), ("sectionalizer", 2.0, 2.0),
                                          ("sectionalizer", 3.0, 2.0), ("lateral_recloser", 0.0, 2.0),
                                          ("sectionalizer", 1.0, 0.0), ("sectionalizer", 2.0, 0.0),
                                          ("lateral_recloser", 0.0, 0.0)}


def test_a_run_s_choice_changes_fast_tripping_only_where_the_study_says_so():
    study = feeders_of_laterals(5, 1)
    settings = {word: options_of(replace(study, values={**study.values, "backup_settings": word})).fast
                for word in ("as_built", "may_change")}
    assert settings["as_built"].shape[1] == 1
    assert np.nanmax(settings["may_change"][:, 1]) == 0.0
    assert options_of(study).fast.shape[1] == 1
    assert fast_settings({"backup_settings": "may_change", "fast_operations": 0}) == (0, 2)
    assert fast_settings({"backup_settings": "may_change", "fast_operations": 3}) == (0, 3)
    assert fast_settings({"backup_settings": "as_built", "fast_operations": 3}, may_change=True) == (0, 3)
    assert fast_settings({"backup_settings": "may_change", "fast_operations": 3}, may_change=False) == ()


def test_a_network_without_laterals_has_no_options():
    study = feeders_of_laterals(0)
    options = build_options(study.model, COSTS, (0,))
    assert (options.rows["lateral"] == -1).all()


def test_alternatives_stand_beside_every_plan():
    study = feeders_of_laterals(3)
    allowed, blocked = zero_capital_scenarios(study)
    assert (allowed.name, allowed.fast_operations) == (ALLOWED, 2)
    assert (blocked.name, blocked.fast_operations) == (BLOCKED, 0)
    assert allowed.device is blocked.device is None
    assert [s.fast_operations for s in zero_capital_scenarios(feeders_of_laterals(3, fast_operations=0))] == [2, 0]
    there = feeders_of_laterals(3, 0, (Scenario("No fast trips", (), None, None, 0),))
    assert [s.name for s in zero_capital_scenarios(there)] == [ALLOWED]
    taken = feeders_of_laterals(3, 0, (Scenario(ALLOWED, None, "sectionalizer", 2),))
    assert [s.name for s in zero_capital_scenarios(taken)] == [f"{ALLOWED} (alternative)", BLOCKED]
    one = replace(there, scenarios=(Scenario(AS_BUILT), Scenario("One device", fast_operations={"s0": 0})))
    assert [s.name for s in zero_capital_scenarios(one)] == [ALLOWED, BLOCKED]


def _fast_under(study, scenario: Scenario) -> dict[str, int]:
    """Fast operations of every breaker and recloser under a scenario."""
    network = build_network(study.sections)
    fast = protection(Model(network, study.values), scenario).fast
    return {str(network.ids[i]): int(fast[i]) for i in np.flatnonzero(BACKS_UP[network.device])}


def test_every_device_trips_fast_as_often_as_it_can_under_the_alternative():
    """One breaker of two operations and a recloser of one do not keep the others from their two fast ones."""
    study = feeders_of_laterals(3, operations_to_lockout=4, fast_operations=0)
    sections = study.sections.copy()
    sections.loc[sections["section_id"].isin(("a0", "a2")), "operations_to_lockout"] = (2.0, 1.0)
    study = study.with_sections(sections)
    allowed, blocked = zero_capital_scenarios(study)
    assert (allowed.name, allowed.fast_operations) == (ALLOWED, 2)
    assert _fast_under(study, allowed) == {"a0": 1, "a2": 0, "b0": 2, "b2": 2}
    assert set(_fast_under(study, blocked).values()) == {0}
    # settings are paid for where they change
    case = case_of(replace(study, scenarios=(*study.scenarios, allowed)))
    assert case.business.capital[1].settings == 3


def test_a_rival_that_no_device_can_do_is_left_out():
    study = feeders_of_laterals(3, operations_to_lockout=4)
    sections = study.sections.copy()
    devices = sections["device"].isin(("breaker", "recloser"))
    sections.loc[devices, "operations_to_lockout"] = 2.0
    assert zero_capital_scenarios(study.with_sections(sections))[0].fast_operations == 1
    sections.loc[devices, "operations_to_lockout"] = 1.0
    assert [s.name for s in zero_capital_scenarios(study.with_sections(sections))] == [BLOCKED]
