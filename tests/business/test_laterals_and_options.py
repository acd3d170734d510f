"""Effects lateral by lateral: each conversion changes only its own faults, so effects add, and prices with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given

from reliability.business.cashflow import business_summary
from reliability.business.cost_table import read_cost_table
from reliability.business.laterals import lateral_index, laterals_frame
from reliability.business.options import EFFECTS, build_options
from reliability.business.rivals import ALLOWED, BLOCKED, rival_scenarios
from reliability.faults.outcomes import build_outcomes
from reliability.indices.expected import expected_values
from reliability.network.tree import build_network
from reliability.study.study import AS_BUILT, Scenario
from tests.business.cases import case_of, feeders_of_laterals, random_case
from tests.networks import random_studies

COSTS = read_cost_table()
FAULT_ARRAYS = ("fault_ci", "fault_customer_hours", "fault_load_kwh", "fault_momentary_events",
                "fault_momentary_interruptions", "fault_callouts", "fault_sectionalizer_operations")


@given(random_studies(most_sections=20))
def test_converting_a_lateral_changes_only_its_own_faults(study):
    """Whatever the network: faults elsewhere do what they did, so single conversions add up to all of them."""
    network = build_network(study.sections)
    heads, lateral = lateral_index(network)
    counts = 1
    for device in ("sectionalizer", "lateral_recloser", "fuse"):
        singles = [Scenario(f"only {h}", (str(network.ids[h]),), device, counts) for h in heads]
        scenarios = (Scenario(AS_BUILT), Scenario("all", None, device, counts), *singles)
        base, everything, *alone = expected_values(build_outcomes(network, study.values, scenarios), study.values)
        for name in FAULT_ARRAYS:
            scale = 1e-9 * (1.0 + np.abs(getattr(base, name)).max(initial=0.0))
            changes = [getattr(e, name) - getattr(base, name) for e in alone]
            for i, change in enumerate(changes):
                assert np.abs(change[lateral != i]).max(initial=0.0) <= scale, name
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
    frame, figures = laterals_frame(case.business), business_summary(case.business)
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
    frame = laterals_frame(case.business)
    heads = case.network.lateral_heads
    assert len(frame) == len(heads) * len(case.study.scenarios)
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
    options = build_options(case.network, case.study.values, COSTS, (0,))
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
    options = build_options(network, study.values, COSTS, (0, 3))
    lockout = np.where(np.char.endswith(network.ids[options.zones].astype(str), "2"), 3, 4)
    offered = options.rows[options.rows["device"] == "sectionalizer"]
    assert set(offered["counts"]) == {1.0, 2.0, 3.0}
    assert np.all(offered["counts"] < lockout[offered["zone"]])
    # three fast operations need four to lockout
    assert np.isnan(options.fast[:, 2]).tolist() == (lockout == 3).tolist()
    assert not ((options.rows["setting"] == 2) & (lockout[options.rows["zone"]] == 3)).any()


def test_counts_of_a_sectionalizer_inside_stay_below_the_operations_of_a_lateral_recloser():
    study = feeders_of_laterals(4, 1, operations_to_lockout=2, fast_operations=1, sectionalizer_counts=1)
    sections = study.sections.copy()
    inside = ["device", "counts", "saving_ceiling_a"]
    sections.loc[sections["section_id"] == "t0x", inside] = ["sectionalizer", 2.0, np.nan]
    network = build_network(replace(study, sections=sections).sections)
    rows = build_options(network, study.values, COSTS).rows
    with_recloser = set(rows.loc[rows["device"] == "lateral_recloser", "lateral"])
    names = network.ids[network.lateral_heads].tolist()
    assert with_recloser == {names.index(n) for n in ("t1", "t2", "t3")}


def test_laterals_that_fail_the_application_checks_are_not_offered():
    study = feeders_of_laterals(5, 1)
    network = build_network(study.sections)
    applicable = network.ids != "t3"
    rows = build_options(network, study.values, COSTS, (), applicable).rows
    offered = set(network.ids[network.lateral_heads][rows.loc[rows["device"] != "", "lateral"]])
    assert offered == {"t0", "t1", "t2", "t4"}


def test_a_network_without_laterals_has_no_options():
    study = feeders_of_laterals(0)
    options = build_options(build_network(study.sections), study.values, COSTS, (0,))
    assert (options.rows["lateral"] == -1).all()


def test_rivals_stand_beside_every_plan():
    study = feeders_of_laterals(3)
    allowed, blocked = rival_scenarios(study)
    assert (allowed.name, allowed.fast_operations) == (ALLOWED, 2)
    assert (blocked.name, blocked.fast_operations) == (BLOCKED, 0)
    assert allowed.device is blocked.device is None
    assert [s.fast_operations for s in rival_scenarios(feeders_of_laterals(3, fast_operations=0))] == [2, 0]
    there = feeders_of_laterals(3, 0, (Scenario("No fast trips", (), None, None, 0),))
    assert [s.name for s in rival_scenarios(there)] == [ALLOWED]


def test_a_rival_is_within_the_operations_of_every_device():
    study = feeders_of_laterals(3)
    sections = study.sections.copy()
    sections.loc[sections["section_id"] == "a2", "operations_to_lockout"] = 2.0
    assert rival_scenarios(replace(study, sections=sections))[0].fast_operations == 1
    sections.loc[sections["section_id"] == "a2", "operations_to_lockout"] = 1.0
    assert [s.name for s in rival_scenarios(replace(study, sections=sections))] == [BLOCKED]
