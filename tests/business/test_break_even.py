"""Break-even values against brute force: the share or the factor is set, and everything computed again."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
import pytest

from reliability.business import break_even as module
from reliability.business.break_even import (
    BREAK_EVEN,
    break_even,
    break_even_share,
    customer_hours,
    customer_hours_by_state,
    has_both_states,
    npv_by_state,
    table_of_both_states,
)
from reliability.business.cashflow import business_summary
from reliability.business.laterals import laterals_frame
from reliability.business.options import build_options
from reliability.business.selection import choose
from reliability.faults import alike
from reliability.faults.outcomes import build_outcomes, row_rates
from reliability.indices.expected import expected_values
from reliability.pipeline import expect
from reliability.schema.scenarios import Scenario
from reliability.study.study import Study
from tests.business.cases import COSTS, carried_out, feeders_of_laterals, options_of
from tests.networks import random_study

SEEDS = range(12)
SCENARIOS = (Scenario("S", None, "sectionalizer", 2), Scenario("R", None, "lateral_recloser"),
             Scenario("some", ("t0", "t3"), "sectionalizer", 2), Scenario("blocked", (), None, None, 0))


def with_share(study: Study, share: float) -> Study:
    """The study with one share of faults while reclosing is off, for all devices."""
    blank = np.full(len(study.network), np.nan)
    return replace(study.with_section_values({"reclosing_off_share": blank}),
                   values={**study.values, "reclosing_off_share": share})


def hours_of(study: Study) -> np.ndarray:
    """Customer-hours a year of the faults on each section, (S, n)."""
    table = build_outcomes(study.model, study.scenarios)
    return np.array([e.fault_customer_hours for e in expected_values(table, study.values)])


def factors_of(study: Study) -> np.ndarray:
    """Value of a momentary event at which society's NPV of each scenario turns."""
    return expect(study).momentary_value.turn


def saved_by(selection: pd.DataFrame, study: Study, share: float) -> float:
    """Customer-hours a year that a selection saves at one share for all devices, computed on its own network."""
    before, after = (hours_of(with_share(s, share))[0].sum() for s in (study, carried_out(study, selection)))
    return before - after


def gain_of(study: Study) -> np.ndarray:
    """Customer-hours a year less than as built, by scenario."""
    hours = hours_of(study).sum(axis=1)
    return hours[0] - hours


def test_a_gain_turns_where_its_two_states_outweigh_each_other():
    on, off = np.array([3.0, -3.0, 1.0, -1.0, 0.0, 2.0, 0.0]), np.array([-1.0, 1.0, 2.0, -2.0, -5.0, 0.0, 0.0])
    np.testing.assert_array_equal(break_even_share(on, off), [0.75, 0.75, *[np.nan] * 5])
    assert float(break_even_share(1.0, -3.0)) == 0.25
    assert np.isnan(break_even_share(1.0, 3.0))


@pytest.mark.parametrize("seed", SEEDS)
def test_at_its_share_every_scenario_of_a_random_study_gains_nothing(seed):
    results = expect(random_study(np.random.default_rng(seed), 20, full=True))
    study, found = results.study, results.break_even
    scale = 1e-9 * hours_of(with_share(study, 0.5)).sum(axis=1).max(initial=0.0)
    on, off = (gain_of(with_share(study, share)) for share in (0.0, 1.0))
    for s, share in enumerate(found.reclosing_off_share):
        if np.isnan(share):
            assert min(on[s], off[s]) >= -scale or max(on[s], off[s]) <= scale
        else:
            assert abs(gain_of(with_share(study, share))[s]) <= scale
            assert on[s] * off[s] < 0
    served = study.network.customers.sum()
    np.testing.assert_allclose(found.saidi_minutes_avoided * served, 60.0 * np.array([on, off]), atol=60.0 * scale)


@pytest.mark.parametrize("seed", SEEDS[::4])
def test_the_npv_of_a_random_study_is_nil_where_it_turns(seed):
    study = expect(random_study(np.random.default_rng(seed), 20, full=True)).study
    on, off = npv_by_state(study.model, study.scenarios, study.cost_table)

    def npv_at(share: float) -> np.ndarray:
        return np.array([case["npv"] for case in business_summary(expect(with_share(study, share)).business)])

    scale = 1e-9 * np.abs([on, off]).max(initial=1.0)
    np.testing.assert_allclose([on, off], [npv_at(0.0), npv_at(1.0)], atol=scale)
    for s, share in enumerate(break_even_share(on, off)):
        assert np.isnan(share) or abs(npv_at(float(share))[s]) <= scale


def test_the_value_of_a_momentary_event_turns_only_where_the_npv_has_both_signs():
    turning = staying = 0
    for seed in SEEDS:
        found = expect(random_study(np.random.default_rng(seed), 20, full=True)).momentary_value
        for s, turn in enumerate(found.turn[1:], start=1):
            none, many = found.npv(s, 0.0), found.npv(s, 1e9)
            if np.isnan(turn):
                staying += 1
                assert none * many >= 0 or abs(many - none) <= 1e-3 * abs(none)
            else:
                turning += 1
                assert turn > 0
                assert found.npv(s, turn) == pytest.approx(0.0, abs=1e-9 * abs(none))
    assert turning
    assert staying


def test_random_studies_turn_both_ways_and_not_at_all():
    """The test above would hold where nothing ever turned."""
    signs = set()
    for seed in SEEDS:
        found = expect(random_study(np.random.default_rng(seed), 20, full=True)).break_even
        turns = ~np.isnan(found.reclosing_off_share)
        assert not turns[0]
        signs |= set(np.sign(found.saidi_minutes_avoided[0][turns]).tolist()) | set((~turns[1:] * 2).tolist())
    assert signs == {-1.0, 0, 1.0, 2}


def test_stated_shares_give_way_to_the_one_for_all_devices():
    study = feeders_of_laterals(8, 3, SCENARIOS)
    stated = study.with_section_values({"reclosing_off_share": np.where(study.network.parent < 0, 0.4, np.nan)})
    for other in (stated, with_share(study, 0.2), with_share(stated, 1.0)):
        np.testing.assert_array_equal(expect(other).break_even.by_lateral, expect(study).break_even.by_lateral)


@pytest.mark.parametrize("share", [0.0, 0.03, 1.0])
def test_each_lateral_turns_where_its_own_faults_gain_nothing(share):
    study = with_share(feeders_of_laterals(9, 6, SCENARIOS), share)
    results = expect(study)
    index, laterals = results.network.candidate_index, len(results.network.candidates)
    found = results.break_even.by_lateral

    def gain(b: float, s: int) -> np.ndarray:
        hours = hours_of(with_share(study, b))
        on = index >= 0
        return np.bincount(index[on], (hours[0] - hours[s])[on], laterals)

    for s in range(len(study.scenarios)):
        for k in np.flatnonzero(~np.isnan(found[s])):
            assert abs(gain(found[s, k], s)[k]) < 1e-9
            assert gain(0.5 * found[s, k], s)[k] * gain(0.5 + 0.5 * found[s, k], s)[k] < 0
        never = np.isnan(found[s])
        assert (gain(0.0, s)[never] * gain(1.0, s)[never] > -1e-12).all()
    assert (~np.isnan(found)).sum(axis=1).tolist()[::4] == [0, 0]       # as built, and where settings alone change
    assert 0 < (~np.isnan(found[3])).sum() <= 2
    assert (~np.isnan(found[1])).sum() > 3
    frame = laterals_frame(results.business, results.break_even)
    np.testing.assert_array_equal(frame[BREAK_EVEN], found.ravel())


def test_a_scenario_that_gives_up_sectionalizers_gains_only_above_its_share():
    study = feeders_of_laterals(8, 3)
    sections = study.sections.assign(device=study.sections["device"].replace("fuse", "sectionalizer"))
    sections["saving_ceiling_a"] = np.nan
    back = replace(study.with_sections(sections), scenarios=(*study.scenarios, Scenario("F", None, "fuse")),
                   values={**study.values, "fast_operations": 0})
    found = expect(back).break_even
    share = found.reclosing_off_share[1]
    assert found.saidi_minutes_avoided[0, 1] < 0 < found.saidi_minutes_avoided[1, 1]
    assert gain_of(with_share(back, 0.9 * share))[1] < 0 < gain_of(with_share(back, min(1.1 * share, 1.0)))[1]


@pytest.mark.parametrize("fast", [(), (0,)])
def test_at_its_share_a_selection_gains_nothing(fast):
    study, options = options_of(9, 4, fast, lateral_recloser_cost=1e6)
    choice = choose(options)
    share = choice.totals[BREAK_EVEN]
    assert 0.0 < share < 1.0
    on, at, off = (saved_by(choice.selection, study, b) for b in (0.0, share, 1.0))
    assert abs(at) < 1e-9 * on
    served = study.network.customers.sum()
    assert choice.totals["saidi_minutes_avoided_reclosing_on"] == pytest.approx(60.0 * on / served)
    assert choice.totals["saidi_minutes_avoided_reclosing_off"] == pytest.approx(60.0 * off / served)


def test_every_row_of_a_selection_turns_where_it_alone_gains_nothing():
    study, options = options_of(9, 4, lateral_recloser_cost=1e6)
    selection = choose(options).selection
    assert selection[BREAK_EVEN].notna().sum() > 3
    for _, row in selection.iterrows():
        alone = selection[selection["section_id"] == row["section_id"]]
        on, off = (saved_by(alone, study, b) for b in (0.0, 1.0))
        if np.isnan(row[BREAK_EVEN]):
            assert on * off >= -1e-12
        else:
            assert abs(saved_by(alone, study, row[BREAK_EVEN])) < 1e-9 * max(on, -off)


def test_effects_of_options_hang_on_no_share_but_their_states_do_not():
    """Options at a stated share, and at the study's, differ in what they bring, not in where they turn."""
    study = feeders_of_laterals(8, 3)
    stated = study.with_section_values({"reclosing_off_share": np.where(study.network.parent < 0, 0.4, np.nan)})
    usual, other = (build_options(s.model, COSTS, (0,)).rows for s in (study, stated))
    for name in ("customer_hours_avoided_on", "customer_hours_avoided_off"):
        np.testing.assert_allclose(usual[name], other[name], rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(usual["customer_hours_avoided"], usual["customer_hours_avoided_on"], atol=1e-9)
    assert (usual["customer_hours_avoided"] - other["customer_hours_avoided"]).abs().max() > 1.0


@pytest.mark.parametrize("sections", [None, 1])
def test_customer_hours_are_the_same_a_few_sections_at_a_time(monkeypatch, sections):
    study = random_study(np.random.default_rng(4), 40, full=True)
    whole = customer_hours_by_state(table_of_both_states(study.model, study.scenarios), study.values)
    monkeypatch.setattr(alike, "ALIKE_ROWS_AT_ONCE", 20)
    monkeypatch.setattr(module, "_parts_of_both_states", partial(module._parts_of_both_states, sections=sections))
    np.testing.assert_allclose(customer_hours(study.model, study.scenarios), whole, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("share", [0.0, 0.1, 1.0])
def test_the_rows_of_one_share_are_among_those_of_both_states(share):
    for seed in SEEDS:
        study = with_share(random_study(np.random.default_rng(seed), 20, full=True), share)
        both = table_of_both_states(study.model, study.scenarios)
        picked = both.take(np.flatnonzero(row_rates(both, study.values)))
        built = build_outcomes(study.model, study.scenarios)
        for name in ("section", "kinds", "width", "tally", "part", "off", "opened", "openings"):
            np.testing.assert_array_equal(getattr(picked, name), getattr(built, name), name)
        np.testing.assert_array_equal(row_rates(picked, study.values), row_rates(built, study.values))
        hours = customer_hours_by_state(both, study.values)
        for s, expected in enumerate(expected_values(built, study.values)):
            mixed = (1.0 - share) * hours[0, s] + share * hours[1, s]
            np.testing.assert_allclose(mixed, expected.fault_customer_hours, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_table_in_which_both_states_happen_is_that_of_both(seed):
    study = random_study(np.random.default_rng(seed), 30, full=True)
    for share in (1e-9, 0.3):
        moved = with_share(study, share)
        built, both = (make(moved.model, moved.scenarios) for make in (build_outcomes, table_of_both_states))
        assert has_both_states(built, moved.values)
        for name in ("section", "kinds", "width", "tally", "part", "off", "off_from", "off_to", "opened", "openings"):
            np.testing.assert_array_equal(getattr(built, name), getattr(both, name), name)
        ours, theirs = (break_even(moved.model, moved.scenarios, known=known) for known in (built, None))
        for name in ("reclosing_off_share", "by_lateral", "saidi_minutes_avoided"):
            np.testing.assert_array_equal(getattr(ours, name), getattr(theirs, name), name)
    stated = np.where(study.network.parent < 0, 0.4, np.nan)
    others = (with_share(study, 0.0), with_share(study, 1.0),
              with_share(study, 0.3).with_section_values({"reclosing_off_share": stated}))
    for moved in others:
        built = build_outcomes(moved.model, moved.scenarios)
        assert not has_both_states(built, moved.values)
        ours, theirs = (break_even(moved.model, moved.scenarios, known=known) for known in (built, None))
        np.testing.assert_array_equal(ours.saidi_minutes_avoided, theirs.saidi_minutes_avoided)


@pytest.mark.parametrize("perspective", ["utility", "society"])
@pytest.mark.parametrize("factor", [0.0, 1.0, 3.5])
def test_at_its_factor_the_societal_npv_is_nil(perspective, factor):
    study = feeders_of_laterals(8, 3, SCENARIOS, perspective=perspective, momentary_cost_factor=factor,
                                interruption_cost_factor=1.3, reclosing_off_share=0.01)

    def npv(at: float) -> list[float]:
        seen = replace(study, values={**study.values, "perspective": "society", "momentary_cost_factor": at})
        return [case["npv"] for case in business_summary(expect(seen).business)]

    found = factors_of(study)
    assert (~np.isnan(found)).any()
    for s, turn in enumerate(found):
        if np.isnan(turn):
            assert npv(0.0)[s] * npv(1e6)[s] >= 0
        else:
            assert npv(turn)[s] == pytest.approx(0.0, abs=1e-6)
            assert npv(0.5 * turn)[s] * npv(1.5 * turn)[s] < 0


def test_without_customers_or_scenarios_nothing_turns():
    study = feeders_of_laterals(4, 1, SCENARIOS)
    nobody = study.with_sections(study.sections.assign(
        customers=0.0, customers_residential=0.0, customers_small_ci=0.0, customers_large_ci=0.0))
    for other in (nobody, replace(study, scenarios=study.scenarios[:1])):
        found = expect(other).break_even
        assert np.isnan(found.reclosing_off_share).all()
        assert np.isnan(found.by_lateral).all()
        assert np.isnan(factors_of(other)).all()
