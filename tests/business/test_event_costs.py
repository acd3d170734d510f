"""Customers' cost of simulated events against a plain simulation, event by event."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.business.costs import INTERRUPTION, expected_interruption_cost
from reliability.business.event_costs import InterruptionCost
from reliability.faults.outcomes import build_outcomes
from reliability.indices.simulation import SimulationInput, simulate
from reliability.pipeline import expect, simulation_input
from reliability.schema.assumption_types import Range
from reliability.study.cost_table import default_cost_table
from tests.networks import study_of

COSTS = default_cost_table()
LARGE = 2          # place of large customers in the table
TEMPORARY, REPAIR, REFUSE = 0.3, 3.0, 1.5
FAULTS = 0.8       # a year on the lateral


def lateral_with_two_large_customers(cv: float, **more):
    """One lateral, a fuse that is never saved nor replaced by a switch; nothing faults but the lateral."""
    return study_of([
        {"section_id": "main", "device": "breaker", "customers": 0, "fast_operations": 0.0},
        {"section_id": "tap", "parent_id": "main", "device": "fuse", "customers": 2, "customers_residential": 0,
         "customers_small_ci": 0, "customers_large_ci": 2, "length_km": 1.0}],
        line_fault_rate_per_km=FAULTS, temporary_fraction=TEMPORARY, repair_hours=REPAIR, refuse_hours=REFUSE,
        phases_involved=(1.0, 0.0, 0.0), fuse_failure=0.0, cv=cv, yearly_cv=0.0, horizon_years=1, **more)


def cost_of(hours: float) -> float:
    """Of one large customer, read off the table; beyond its end by its last slope."""
    times, cost = COSTS.durations_hours.tolist(), COSTS.cost[LARGE].tolist()
    for (t0, c0), (t1, c1) in zip(zip(times, cost, strict=True), zip(times[1:], cost[1:], strict=True), strict=False):
        if hours <= t1 or t1 == times[-1]:
            return c0 + (hours - t0) * (c1 - c0) / (t1 - t0)
    raise AssertionError


def plain_years(cv: float, years: int, seed: int) -> np.ndarray:
    """Cost of each year, one event after the other."""
    rng, sigma = np.random.default_rng(seed), np.sqrt(np.log1p(cv * cv))
    found = []
    for _ in range(years):
        total = 0.0
        for _ in range(rng.poisson(FAULTS)):
            mean = REFUSE if rng.random() < TEMPORARY else REPAIR
            total += 2 * cost_of(mean * np.exp(sigma * rng.standard_normal() - sigma * sigma / 2.0))
        found.append(total)
    return np.array(found)


@pytest.mark.parametrize("cv", [0.8, 1.5, 2.0])
def test_years_of_two_large_customers_are_those_of_a_plain_simulation(cv):
    """Mean and percentiles; a straight line in the severity gives years of less than two momentary events' cost."""
    study = lateral_with_two_large_customers(cv)
    results = expect(study)
    simulated = simulate(simulation_input(results), seed=3, trials=60_000)
    found, plain = simulated.totals[INTERRUPTION][0].ravel(), plain_years(cv, 60_000, 5)
    table = build_outcomes(study.model, study.scenarios)
    expected = expected_interruption_cost(table, study.values, COSTS).by_section[0].sum()
    for years in (found, plain):
        assert years.mean() == pytest.approx(expected, abs=4.0 * years.std() / np.sqrt(len(years)))
    for percent in (60, 75, 90, 97):
        assert np.percentile(found, percent) == pytest.approx(np.percentile(plain, percent), rel=0.025), percent
    interrupted = found[found > 0]
    assert interrupted.min() >= 2 * COSTS.momentary[LARGE]      # no event costs less than one of no time
    for percent in (1, 10, 50):
        assert np.percentile(interrupted, percent) == pytest.approx(np.percentile(plain[plain > 0], percent), rel=0.02)


def test_horizons_of_two_large_customers_with_uncertain_times():
    """Each trial's own mean time and spread, drawn once and held."""
    uncertain = {"repair_hours": Range(1.0, 3.0, 9.0), "cv": Range(0.2, 1.0, 2.0)}
    study = lateral_with_two_large_customers(1.0)
    results = expect(study)
    question = SimulationInput(study.model, uncertain, study.scenarios,
                               {INTERRUPTION: InterruptionCost(results.network, COSTS)})
    simulated = simulate(question, seed=8, trials=40_000)
    rng = np.random.default_rng(9)
    plain = []
    for hours, cv in zip(simulated.draws["repair_hours"], simulated.draws["cv"], strict=True):
        sigma, total = np.sqrt(np.log1p(cv * cv)), 0.0
        for _ in range(rng.poisson(FAULTS)):
            mean = REFUSE if rng.random() < TEMPORARY else hours
            total += 2 * cost_of(mean * np.exp(sigma * rng.standard_normal() - sigma * sigma / 2.0))
        plain.append(total)
    found, other = simulated.totals[INTERRUPTION][0].ravel(), np.array(plain)
    error = np.sqrt((found.var() + other.var()) / len(found))
    assert found.mean() == pytest.approx(other.mean(), abs=4.0 * error)
    for percent in (60, 75, 90, 97):
        assert np.percentile(found, percent) == pytest.approx(np.percentile(other, percent), rel=0.03)


def test_times_of_nothing_cost_what_a_momentary_event_does():
    study = lateral_with_two_large_customers(0.8)
    study = study.with_assumptions(repair_hours=0.0, refuse_hours=0.0)
    simulated = simulate(simulation_input(expect(study)), seed=1, trials=500)
    events = simulated.totals["ci"][0] / 2.0
    assert simulated.totals[INTERRUPTION][0] == pytest.approx(events * 2 * COSTS.momentary[LARGE])
