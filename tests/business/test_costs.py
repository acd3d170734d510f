"""Prices: call-outs by hand, customers' costs against integration and simulation, perspectives apart."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reliability.business.costs import (
    AMOUNTS,
    BENEFIT_PARTS,
    INTERRUPTION,
    callout_unit_costs,
    customers_by_class,
    expected_interruption_cost,
    totals,
    unit_prices,
    yearly_money,
)
from reliability.business.event_costs import InterruptionCost
from reliability.faults.consequences import consequences
from reliability.faults.outcomes import row_rates
from reliability.faults.times import hours_of
from reliability.indices.draws import one_trial, values_of_trials
from reliability.indices.measures import WALK_OR_OWN
from reliability.indices.simulation import SimulationInput, simulate
from reliability.network.model import Model
from reliability.schema.assumption_types import Range
from reliability.schema.assumptions import defaults
from reliability.schema.devices import DEVICES
from reliability.schema.scenarios import Scenario
from tests.business.cases import case_of, feeders_of_laterals, random_case
from tests.networks import study_of

ROW_OF_ONE = dict.fromkeys(AMOUNTS, 0.0)


def test_callout_costs_by_hand():
    values = defaults() | {
        "crew_rate_per_hour": 100.0, "overtime_share": 0.5, "overtime_multiplier": 2.0, "vehicle_per_callout": 30.0,
        "refuse_crew_hours": 2.0, "reset_crew_hours": 1.0, "patrol_crew_hours": 3.0, "repair_crew_hours": 4.0,
        "fuse_link_cost": 7.0, "repair_material_cost": 250.0, "actuator_cost": 60.0}
    # 100 × (1 + 0.5 × (2 − 1)) = 150 an hour
    assert callout_unit_costs(values) == {"refuse": 337.0, "reset": 180.0, "patrol": 480.0, "repair": 880.0}


def test_an_actuator_is_paid_by_pole_that_opens_not_by_callout_nor_operation():
    values = defaults()
    reset = yearly_money(ROW_OF_ONE | {"reset": 1.0, "sectionalizer_operations": 1.0}, values, 10.0)["callout"]
    opened = yearly_money(ROW_OF_ONE | {"reset": 1.0, "sectionalizer_operations": 1.0, "actuators": 2.5}, values,
                          10.0)["callout"]
    assert opened - reset == pytest.approx(2.5 * values["actuator_cost"])


@pytest.mark.parametrize(("tripping", "poles"), [("single_phase", 0.6 + 2 * 0.3 + 3 * 0.1), ("three_phase", 3.0)])
def test_actuators_are_the_phases_involved_or_all_poles(tripping, poles):
    """One permanent fault a year on a three-phase section that a sectionalizer opens (model §7)."""
    case = case_of(study_of([
        {"section_id": "main", "device": "breaker", "customers": 9},
        {"section_id": "tap", "parent_id": "main", "device": "sectionalizer", "length_km": 1.0, "phases": 3.0,
         "customers": 1, "tripping": tripping}], line_fault_rate_per_km=1.0, temporary_fraction=0.0,
        sectionalizer_failure=0.0, phases_involved=(0.6, 0.3, 0.1)))
    amounts = totals(case.business.by_section[0])
    assert (amounts["sectionalizer_operations"], amounts["actuators"]) == pytest.approx((1.0, poles))


def test_momentary_events_are_valued_by_their_own_factor():
    """And what lasts is not; the factor is 1 where none is stated."""
    case = random_case(5, 14, temporary_fraction=0.6)
    cost = {factor: expected_interruption_cost(case.table, case.study.values | {"momentary_cost_factor": factor},
                                               case.costs).by_section.sum() for factor in (0.0, 1.0, 3.0)}
    assert defaults()["momentary_cost_factor"] == 1.0
    assert 0.0 < cost[0.0] < cost[1.0]
    assert cost[3.0] - cost[0.0] == pytest.approx(3.0 * (cost[1.0] - cost[0.0]))


@pytest.mark.parametrize(("perspective", "counted"), [("utility", {"callout", "energy", "incentive"}),
                                                      ("society", {"callout", INTERRUPTION})])
def test_perspectives_never_mix(perspective, counted):
    values = defaults() | {"perspective": perspective, "incentive_per_saidi_minute": 5.0, "incentive_per_saifi": 9.0}
    money = yearly_money(dict.fromkeys(AMOUNTS, 3.0), values, 10.0)
    assert {part for part in BENEFIT_PARTS if money[part] != 0.0} == counted


def test_only_what_a_lateral_is_converted_to_has_a_price():
    prices = unit_prices(defaults() | {"fuse_cost": 1.0, "sectionalizer_cost": 2.0, "lateral_recloser_cost": 3.0})
    assert dict(zip((*DEVICES, "none"), prices.tolist(), strict=True)) == dict.fromkeys((*DEVICES, "none"), 0.0) | {
        "fuse": 1.0, "sectionalizer": 2.0, "lateral_recloser": 3.0}


def test_incentive_by_hand():
    """3 customer-hours of 10 customers are 18 minutes of SAIDI, 3 interruptions 0.3 of SAIFI."""
    values = defaults() | {"incentive_per_saidi_minute": 5.0, "incentive_per_saifi": 100.0}
    money = yearly_money(ROW_OF_ONE | {"customer_hours": 3.0, "ci": 3.0}, values, 10.0)
    assert money["incentive"] == pytest.approx(18.0 * 5.0 + 0.3 * 100.0)
    assert yearly_money(ROW_OF_ONE | {"customer_hours": 3.0, "ci": 3.0}, values, 0.0)["incentive"] == 0.0
    alone = yearly_money(ROW_OF_ONE | {"customer_hours": 3.0, "ci": 3.0}, values, 1.0)
    assert alone["incentive"] == pytest.approx(180.0 * 5.0 + 3.0 * 100.0)


def test_interruption_costs_are_escalated_by_the_stated_factor():
    values = defaults() | {"perspective": "society", "interruption_cost_factor": 1.4}
    assert yearly_money(ROW_OF_ONE | {INTERRUPTION: 50.0}, values, 1.0)[INTERRUPTION] == pytest.approx(70.0)


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("seed", [2, 5, 11])
def test_expected_interruption_cost_equals_integration_event_by_event(seed, full):
    """Each row, customer class and group (waiting, switched, momentary) priced on its own over 4000 severities."""
    case = random_case(seed, 14, full, cv=0.7, momentary_cost_factor=1.7)
    table, network, values, costs = case.table, case.network, case.study.values, case.costs
    # midpoints of equal probability; the tail beyond them weighs little at this spread
    sigma = np.sqrt(np.log1p(0.7 ** 2))
    severity = np.exp(sigma * stats.norm.ppf((np.arange(4000) + 0.5) / 4000) - sigma ** 2 / 2.0)

    def priced(hours: float, customer_class: int) -> float:
        t, c = costs.durations_hours, costs.cost[customer_class]
        beyond = np.maximum(hours * severity - 16.0, 0.0) * (c[-1] - c[-2]) / 8.0
        return float((np.interp(hours * severity, t, c) + beyond).mean())

    by_class = customers_by_class(network)
    rates = row_rates(table, values)
    for s in range(len(table.scenarios)):
        what = consequences(table, s, values)
        sustained, waits = what.sustained(by_class), what.waiting(by_class)
        momentary = what.momentary_events(by_class)
        memory: dict[tuple[float, int], float] = {}
        total = 0.0
        for r in range(len(table)):
            for c in range(3):
                for hours, customers in ((what.waiting_hours[r], waits[r, c]),
                                         (what.switching_hours[r], sustained[r, c] - waits[r, c])):
                    if customers:
                        memory.setdefault((hours, c), priced(hours, c))
                        total += rates[r] * customers * memory[hours, c]
                total += rates[r] * momentary[r, c] * costs.cost[c, 0] * 1.7
        found = expected_interruption_cost(table, values, costs).by_section[s].sum()
        assert found == pytest.approx(total, rel=1e-3)


def test_simulated_interruption_cost_has_the_expected_mean():
    case = random_case(7, 12, cv=1.0, horizon_years=10, yearly_cv=0.0)
    study = case.study
    measure = InterruptionCost(case.network, case.costs)
    simulated = simulate(SimulationInput(study.model, {}, study.scenarios, {INTERRUPTION: measure}),
                         seed=4, trials=3000)
    expected = expected_interruption_cost(case.table, study.values, case.costs).by_section.sum(axis=1)
    by_trial = simulated.totals[INTERRUPTION].mean(axis=2)
    error = by_trial.std(axis=1, ddof=1) / np.sqrt(by_trial.shape[1])
    assert np.all(expected > 0)
    assert np.all(np.abs(by_trial.mean(axis=1) - expected) < 4.0 * error)
    assert np.all(error < 0.05 * expected)


TIMES = {"repair_hours": Range(0.5, 2.0, 12.0), "switching_hours": Range(0.0, 1.0, 4.0),
         "refuse_hours": Range(0.2, 1.0, 9.0), "reset_hours": Range(0.1, 1.5, 6.0),
         "patrol_hours": Range(0.5, 1.0, 8.0)}
SPREAD = {"cv": Range(0.2, 0.6, 2.2)}
OTHERS = {"momentary_cost_factor": Range(0.2, 1.0, 3.0), "patrol_reclosing_off_hours": Range(0.5, 2.0, 9.0)}


@pytest.mark.parametrize("seed", [3, 7])
@pytest.mark.parametrize("uncertain", [{}, TIMES, OTHERS, OTHERS | TIMES | SPREAD, SPREAD,
                                       {k: TIMES[k] for k in ("repair_hours", "refuse_hours")}])
def test_parts_of_an_event_are_its_cost_by_its_own_duration(seed, uncertain):
    """Every row at severities from 0 up, at trials' own values; sections' own repair times included."""
    case = random_case(seed, 20, temporary_fraction=0.5, reclosing_off_share=0.1, cv=0.8)
    rng = np.random.default_rng(seed)
    network, costs, measure = case.network, case.costs, InterruptionCost(case.network, case.costs)
    assert np.isfinite(network.column["repair_hours"]).any()
    trials = case.study.values | {k: rng.uniform(r.low, r.high, 4) for k, r in uncertain.items()}
    by_class = customers_by_class(network)
    for s in range(len(case.table.scenarios)):
        parts = measure.parts(consequences(case.table, s, case.study.values), case.study.values, uncertain)
        for trial in range(4):
            values = one_trial(trials, trial)
            what = consequences(case.table, s, values)
            waiting, switched = what.waiting_and_switched(by_class)
            for severity in (0.0, 0.1, 0.4, 1.0, 3.0, 30.0):
                wanted = what.momentary_events(by_class) @ costs.momentary * values["momentary_cost_factor"]
                for customers, hours in ((waiting, what.waiting_hours), (switched, what.switching_hours)):
                    wanted += (customers * np.array([_of_durations(costs, c, hours * severity) for c in range(3)]).T
                               ).sum(axis=1)
                found = _from_parts(parts, severity, values, what.own_repair)
                assert found == pytest.approx(wanted, rel=1e-9, abs=1e-9)


def _of_durations(costs, customer_class, hours):
    t, c = costs.durations_hours, costs.cost[customer_class]
    return np.interp(hours, t, c) + np.maximum(hours - t[-1], 0.0) * (c[-1] - c[-2]) / (t[-1] - t[-2])


def _hours(term, values, own_repair):
    hours = hours_of(term, values)
    return np.maximum(hours, np.nan_to_num(own_repair)) if term == WALK_OR_OWN else hours


def _from_parts(parts, severity, values, own_repair):
    total = 0.0
    for factor, (count, slope) in parts.lines.items():
        if factor is not None and not isinstance(factor, str):
            scale = _hours(factor, values, own_repair)
        else:
            scale = 1.0 if factor is None else values[factor]
        total = total + scale * (count + slope * severity)
    for bend in parts.bends:
        hours = bend.hours
        if bend.uncertain:
            hours = hours_of(bend.term, values) if bend.least is None else np.maximum(
                hours_of(bend.term, values), bend.least)
        past = (severity * hours - bend.at) * (1.0 if bend.above else -1.0)
        total = total + np.maximum(past, 0.0) * bend.weight
    return total


@pytest.mark.slow
@pytest.mark.parametrize("uncertain", [
    TIMES | SPREAD, TIMES | {"line_fault_rate_per_km": Range(0.05, 0.2, 0.6)},
    OTHERS | {"reclosing_off_share": Range(0.0, 0.1, 0.4)},
    TIMES | SPREAD | {"phases_involved.0": Range(0.3, 0.75, 0.9)}])
def test_simulated_interruption_cost_follows_each_trials_own_values(uncertain):
    """Against the closed form at the very values drawn, also where each trial has a table of its own."""
    study = feeders_of_laterals(6, 3, (Scenario("S", None, "sectionalizer", 2),), temporary_fraction=0.4,
                                yearly_cv=0.0, horizon_years=20)
    sections = study.sections.copy()
    sections.loc[::3, "repair_hours"] = 5.0
    sections["customers_residential"], sections["customers_small_ci"] = sections["customers"], 0.0
    case = case_of(study.with_sections(sections))
    values = case.study.values | {k: r.mean for k, r in uncertain.items() if "." not in k}
    question = SimulationInput(Model(case.network, values), uncertain, case.study.scenarios,
                        {INTERRUPTION: InterruptionCost(case.network, case.costs)})
    simulated = simulate(question, seed=4, trials=300)
    drawn = values_of_trials(values, simulated.draws)
    wanted = np.array([expected_interruption_cost(question.table(v), v, case.costs).by_section.sum(axis=1)
                       for v in (one_trial(drawn, t) for t in range(300))]).T
    found = simulated.totals[INTERRUPTION].mean(axis=2)
    apart = found - wanted
    assert np.all(np.abs(apart.mean(axis=1)) <= 4.0 * apart.std(axis=1, ddof=1) / np.sqrt(300))
    for s in range(len(found)):
        line = stats.linregress(wanted[s], found[s])
        assert abs(line.slope - 1.0) <= 4.0 * line.stderr
        assert line.slope >= 4.0 * line.stderr  # a cost that did not follow the draws would have a slope of 0


def test_totals_are_those_of_the_expected_values():
    case = random_case(3)
    for expected, amounts in zip(case.expected, case.business.by_section, strict=True):
        sums = totals(amounts)
        assert sums["ci"] == pytest.approx(expected.fault_ci.sum())
        assert sums["repair"] == pytest.approx(expected.fault_callouts[:, 3].sum())
