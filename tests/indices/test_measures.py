"""Coefficients and draws of the simulation: exact where they are sums, against their laws where they are random."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from reliability.faults.outcomes import row_rates
from reliability.faults.times import Term, hours_of
from reliability.indices.bends import Bend
from reliability.indices.draws import draw_uncertain, one_trial, pert, values_of_trials, yearly_multipliers
from reliability.indices.events import Block, TrialTimes, YearWeights, simulate_block, year_weights
from reliability.indices.expected import expected_values
from reliability.indices.measures import (
    COUNTED_MEASURES,
    TIMED,
    WALK_OR_OWN,
    Coefficients,
    ExtraParts,
    OwnRepair,
    amounts_of,
    coefficients,
)
from reliability.pipeline import expect
from reliability.schema.assumption_types import Range
from tests.networks import random_study

TIME_KEYS = ("refuse_hours", "reset_hours", "patrol_hours", "repair_hours", "switching_hours",
             "patrol_reclosing_off_hours")
FAULT_SUMS = {"ci": "fault_ci", "customer_hours": "fault_customer_hours", "load_kwh": "fault_load_kwh",
              "momentary_events": "fault_momentary_events", "momentary_interruptions": "fault_momentary_interruptions",
              "sectionalizer_operations": "fault_sectionalizer_operations", "actuators": "fault_actuators"}
SAME_SEVERITY = TrialTimes(np.zeros(1), {})


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("uncertain", [(), ("switching_hours",), ("repair_hours", "refuse_hours"),
                                       ("patrol_reclosing_off_hours",), TIME_KEYS])
def test_rates_times_coefficients_are_the_closed_form(seed, uncertain, full):
    """Whatever times are left out of the coefficients and multiplied in afterwards."""
    study = random_study(np.random.default_rng(seed), 20, full)
    results = expect(study)
    table = results.table
    of = coefficients(table, study.values, np.arange(len(table)), dict.fromkeys(uncertain), {},
                      amounts_of(table.network))
    rates, found = row_rates(table, study.values), {}
    for keys, columns, matrix in ((of.count_keys, of.count_column, of.count),
                                  (of.severity_keys, of.severity_column, of.severity)):
        for (name, scenario, term), column in zip(keys, columns, strict=True):
            scale = float(hours_of(term, study.values)) if term else 1.0
            found[name, scenario] = found.get((name, scenario), 0.0) + scale * float(rates @ matrix[:, column])
    if of.own is not None:
        hours = np.maximum(hours_of(WALK_OR_OWN, study.values), of.own.hours)
        for key, column in zip(of.own.keys, of.own.column, strict=True):
            found[key] = found.get(key, 0.0) + float(rates @ (hours * of.own.columns[:, column]))
    for s, expected in enumerate(expected_values(table, study.values)):
        for name, attribute in FAULT_SUMS.items():
            assert found.get((name, s), 0.0) == pytest.approx(getattr(expected, attribute).sum(), rel=1e-9), name
        for i, name in enumerate(("refuse", "reset", "patrol", "repair")):
            assert found.get((name, s), 0.0) == pytest.approx(expected.fault_callouts[:, i].sum(), rel=1e-9), name
    assert {name for name, _ in found} <= {*COUNTED_MEASURES, *TIMED}


def test_equal_columns_are_stored_once_and_zero_columns_not_at_all():
    study = random_study(np.random.default_rng(2), 20)
    table = expect(study).table
    of = coefficients(table, study.values, np.arange(len(table)), {}, {}, amounts_of(table.network))
    for matrix, columns in ((of.count, of.count_column), (of.severity, of.severity_column)):
        assert len(np.unique(matrix, axis=1).T) == matrix.shape[1]
        assert matrix.any(axis=0).all()
        assert set(columns) == set(range(matrix.shape[1]))


class _Extra:
    """Two terms, the second of the trial's own, and two bends."""

    def parts(self, effect, values, uncertain):
        rows = len(effect.opened)
        first = np.arange(rows) < 9
        return ExtraParts({None: (np.full(rows, 7.0), np.full(rows, 1.5)), "own": (np.full(rows, 3.0), np.zeros(rows))},
                          [Bend(Term("repair"), False, np.where(first, 3.0, 0.0), 1.0, False, first * 2.0),
                           Bend(Term("repair"), False, np.where(first, 3.0, 0.0), 4.0, True, first * 5.0)])


def test_an_extra_measure_gets_both_parts_of_every_term():
    study = random_study(np.random.default_rng(2), 20)
    table = expect(study).table
    rows = np.arange(len(table))
    of = coefficients(table, study.values, rows, {},
                      {"extra": _Extra()},
                      amounts_of(table.network))
    at = of.count_keys.index(("extra", 1, None))
    assert (of.count[:, of.count_column[at]] == 7.0).all()
    at = of.count_keys.index(("extra", 1, "own"))
    assert (of.count[:, of.count_column[at]] == 3.0).all()
    assert ("extra", 1, "own") not in of.severity_keys
    at = of.severity_keys.index(("extra", 1, None))
    assert (of.severity[:, of.severity_column[at]] == 1.5).all()
    assert of.bent.keys == tuple(("extra", s) for s in range(len(table.scenarios)))
    assert [(d.term, d.first, d.last, float(d.hours), d.below, d.above) for d in of.bent.durations] == [
        (None, 0, 9, 3.0, (1.0,), (4.0,))]
    assert of.bent.columns.tolist() == [[2.0]] * 9 + [[5.0]] * 9


def _block(rates, count, severity) -> Block:
    count, severity = np.atleast_2d(count).T, np.atleast_2d(severity).T
    keys = ("ci", 0, None), ("customer_hours", 0, None)
    return Block(np.array(rates), Coefficients(count, np.array([0]), keys[:1], severity, np.array([0]), keys[1:]), 0)


def test_a_block_without_spread_counts_its_events():
    """cv = 0: hours are the count times what an event adds, in every trial-year."""
    block = _block([3.0, 0.5], [2.0, 2.0], [8.0, 8.0])
    counted, timed, *_ = simulate_block(block, year_weights(np.ones(500)), SAME_SEVERITY, np.random.SeedSequence(1))
    assert counted.shape == timed.shape == (500, 1)
    assert timed == pytest.approx(4.0 * counted)
    assert counted.mean() == pytest.approx(7.0, abs=4 * 2 * np.sqrt(3.5 / 500))
    assert np.all(counted % 2 == 0)


@pytest.mark.parametrize("sigma", [np.array([0.9]), np.where(np.arange(20_000) % 2, 1.1, 0.2)])
def test_severities_have_mean_one_in_every_trial_year(sigma):
    block = _block([4.0], [1.0], [1.0])
    counted, timed, *_ = simulate_block(block, year_weights(np.ones(20_000)), TrialTimes(sigma, {}),
                                       np.random.SeedSequence(4))
    for part in (slice(0, None, 2), slice(1, None, 2)):
        spread = np.sqrt(np.expm1(sigma[0 if len(sigma) == 1 else part.start] ** 2))
        events = counted[part].sum()
        assert timed[part].sum() / events == pytest.approx(1.0, abs=4 * spread / np.sqrt(events))


def test_a_block_in_which_nothing_has_a_duration():
    block = _block([1.0], [1.0], [1.0])
    empty = Coefficients(block.coefficients.count, np.array([0]), block.coefficients.count_keys,
                         np.zeros((1, 0)), np.zeros(0, dtype=int), ())
    counted, timed, *_ = simulate_block(Block(block.rates, empty, 0), year_weights(np.ones(50)),
                                        TrialTimes(np.array([0.8]), {}), np.random.SeedSequence(1))
    assert counted.sum() > 0
    assert timed.shape == (50, 0)


def test_events_follow_the_weights_of_the_years():
    weights = np.array([0.0, 2.0, 1.0, 5.0])
    counted, *_ = simulate_block(_block([10_000.0], [1.0], [1.0]), year_weights(weights), SAME_SEVERITY,
                                np.random.SeedSequence(3))
    assert counted[0, 0] == 0
    assert stats.chisquare(counted[1:, 0], weights[1:] / 8.0 * counted.sum()).pvalue > 0.001
    assert counted.sum() == pytest.approx(80_000, abs=4 * np.sqrt(80_000))


@pytest.mark.parametrize("weights", [np.zeros(4), np.full(4, 0.3)])
def test_equal_weights_need_no_guide(weights):
    assert year_weights(weights) == YearWeights(float(weights.sum()), 4)


def test_the_guide_leads_every_draw_to_its_year():
    """Every slot's first year and its mark, against a search in the cumulative weights."""
    rng = np.random.default_rng(6)
    for size in (2, 3, 50, 1000):
        of = year_weights(rng.gamma(0.3, size=size))
        assert of.edges[-1] == 2 ** 32
        assert len(of.guide) >= 32 * size
        slot = 2 ** 32 // len(of.guide)
        start = np.arange(len(of.guide)) * slot
        first = np.searchsorted(of.edges, start, side="right")
        last = np.searchsorted(of.edges, start + slot, side="right")  # a year that ends with the slot is marked too
        assert np.array_equal(np.where(of.guide < 0, -1 - of.guide, of.guide), first)
        assert np.array_equal(of.guide < 0, first != last)


def test_repair_hours_of_each_sections_own_take_no_column_each():
    """Thousands of sections have hours of their own that no other has."""
    study = random_study(np.random.default_rng(2), 60, True)
    own = np.random.default_rng(1).uniform(0.5, 9.0, len(study.sections))
    study = study.with_section_values({"repair_hours": own})
    study = replace(study, values=study.values | {"reclosing_off_share": 0.2})
    table = expect(study).table
    of = coefficients(table, study.values, np.arange(len(table)), {"patrol_hours": None}, {}, amounts_of(table.network))
    scenarios = len(table.scenarios)
    assert of.severity.shape[1] + of.own.columns.shape[1] <= 8 * scenarios
    assert len(np.unique(of.own.hours)) > 50


def test_a_trial_waits_for_the_walk_or_the_rows_own_repair():
    """Without spread: each event the longer of the two, its year's walk or its row's hours."""
    walk = np.where(np.arange(400) % 2, 1.0, 5.0)
    own = OwnRepair(np.array([3.0, 8.0]), np.array([[2.0], [7.0]]), np.array([0]), (("customer_hours", 0),))
    block = _block([6.0, 0.0], [1.0, 1.0], [0.0, 0.0])
    for rates, waits, column in (([6.0, 0.0], np.maximum(walk, 3.0), 2.0), ([0.0, 0.1], np.maximum(walk, 8.0), 7.0)):
        one = Block(np.array(rates), replace(block.coefficients, own=own), 0)
        sums = simulate_block(one, year_weights(np.ones(400)), TrialTimes(np.zeros(1), {WALK_OR_OWN: walk}),
                              np.random.SeedSequence(4))
        years = slice(None) if sums.of_years is None else sums.of_years
        assert sums.counted.sum() > 20
        assert sums.own[:, 0] == pytest.approx(column * waits[years] * sums.counted[:, 0])


@pytest.mark.parametrize("times", [SAME_SEVERITY, TrialTimes(np.full(5_000, 0.6), {})])
def test_years_without_events_are_left_out_and_those_with_some_are_the_same(monkeypatch, times):
    weights = np.random.default_rng(2).gamma(2.0, size=5_000)
    block = _block([0.02, 0.05], [1.0, 2.0], [3.0, 4.0])
    some = simulate_block(block, year_weights(weights, 0.07), times, np.random.SeedSequence(5))
    assert year_weights(weights, 0.07).guide is None
    monkeypatch.setattr("reliability.indices.events.SPARSE_EVENTS", 0.0)
    every = simulate_block(block, year_weights(weights), times, np.random.SeedSequence(5))
    assert every.of_years is None
    assert 100 < len(some.of_years) < 1_000
    for one, all_years in zip(some[:2], every[:2], strict=True):
        assert np.array_equal(one, all_years[some.of_years])
        assert all_years.sum() == pytest.approx(one.sum())


def test_a_pert_law_is_a_scaled_beta_law():
    law = Range(2.0, 3.0, 7.0)
    drawn = pert(np.random.default_rng(0), law, 20_000)
    # a = 1 + 4 (3 − 2)/5, b = 1 + 4 (7 − 3)/5
    assert stats.kstest(drawn, stats.beta(1.8, 4.2, 2.0, 5.0).cdf).pvalue > 0.001
    assert pert(np.random.default_rng(0), Range(2.0, 2.0, 2.0), 3).tolist() == [2.0, 2.0, 2.0]


def test_unknowns_are_drawn_in_the_order_of_their_names():
    laws = {"b": Range(0.0, 1.0, 2.0), "a": Range(5.0, 6.0, 7.0)}
    drawn = draw_uncertain(np.random.default_rng(1), laws, 3)
    again = draw_uncertain(np.random.default_rng(1), dict(reversed(laws.items())), 3)
    assert list(drawn) == list(again) == ["a", "b"]
    assert np.array_equal(drawn["a"], again["a"])


def test_drawn_shares_are_scaled_to_one():
    values = {"clearing_shares": (0.6, 0.3, 0.1), "cv": 0.5, "perspective": "utility"}
    drawn = values_of_trials(values, {"clearing_shares.0": np.array([0.6, 1.6]), "cv": np.array([0.1, 0.2])})
    assert np.array(drawn["clearing_shares"]) == pytest.approx(np.array([[0.6, 0.8], [0.3, 0.15], [0.1, 0.05]]))
    second = one_trial(drawn, 1)
    assert second["clearing_shares"] == pytest.approx((0.8, 0.15, 0.05))
    assert second["cv"] == 0.2
    assert type(second["cv"]) is float
    assert second["perspective"] == "utility"
    assert values["cv"] == 0.5


def test_stormy_years_follow_the_gamma_law_and_calm_ones_are_one():
    assert (yearly_multipliers(np.random.default_rng(0), 0.0, 3, 4) == np.ones((3, 4))).all()
    drawn = yearly_multipliers(np.random.default_rng(0), np.array([0.0, 0.5]), 2, 20_000)
    assert (drawn[0] == 1.0).all()
    assert stats.kstest(drawn[1], stats.gamma(4.0, scale=0.25).cdf).pvalue > 0.001
