"""The business case: from summary.json to the cent, what does not exist, and the distribution of the NPV."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import numpy_financial as npf
import pytest

from reliability.business.cashflow import (
    CASHFLOW_COLUMNS,
    business_summary,
    capital_of,
    cashflow_frame,
    flows,
    npv_by_trial,
)
from reliability.business.costs import INTERRUPTION
from reliability.business.event_costs import InterruptionCost
from reliability.indices.expected import system_indices
from reliability.indices.simulation import Simulated, SimulationInput, simulate
from reliability.pipeline import expect, simulation_input
from reliability.schema.assumption_types import Range
from reliability.schema.scenarios import Scenario
from tests.business.cases import case_of, feeders_of_laterals, random_case

SAVINGS = ["callout_saving", "energy_saving", "incentive", "interruption_cost_saving"]
EVERY_LATERAL = (Scenario("S", None, "sectionalizer", 2), Scenario("R", None, "lateral_recloser"),
                 Scenario("Blocked", (), None, None, 0), Scenario("S, blocked", None, "sectionalizer", 1, 0))


@pytest.mark.parametrize("seed", [1, 4, 9])
def test_savings_follow_from_the_summary_alone(seed):
    """Call-outs × cost, energy and incentive recomputed from the JSON of the expected values, to the cent."""
    case = random_case(seed, incentive_per_saidi_minute=120.0, incentive_per_saifi=4000.0, escalation_rate=0.03)
    v = case.study.values
    summary = json.loads(json.dumps([system_indices(e, v["yearly_cv"]) for e in case.expected]))
    frame = cashflow_frame(case.business)
    hour = v["crew_rate_per_hour"] * (1 + v["overtime_share"] * (v["overtime_multiplier"] - 1))
    material = {"refuse": v["fuse_link_cost"], "reset": 0.0, "patrol": 0.0, "repair": v["repair_material_cost"]}
    for scenario, after in zip(case.study.scenarios, summary, strict=True):
        before = summary[0]
        saved = {k: before["callouts"][k] - after["callouts"][k] for k in material}
        callout = sum(n * (v[f"{k}_crew_hours"] * hour + v["vehicle_per_callout"] + material[k])
                      for k, n in saved.items())
        callout -= v["actuator_cost"] * (after["actuators"] - before["actuators"])
        energy = 1000.0 * (before["ens_mwh"] - after["ens_mwh"]) * v["energy_margin_per_kwh"]
        incentive = (120.0 * (before["saidi_min"] - after["saidi_min"]) + 4000.0 * (before["saifi"] - after["saifi"])
                     if before["customers_served"] else 0.0)
        rows = frame[frame["scenario"] == scenario.name].set_index("year")
        for year in (1, 2, 20):
            grown = 1.03 ** (year - 1)
            found = rows.loc[year, SAVINGS].to_numpy(dtype=float)
            assert found == pytest.approx([callout * grown, energy * grown, incentive * grown, 0.0], abs=0.005)


@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_cashflow_adds_up(perspective):
    case = case_of(feeders_of_laterals(9, 3, EVERY_LATERAL, perspective=perspective, incentive_per_saifi=10.0))
    frame = cashflow_frame(case.business)
    assert list(frame.columns) == list(CASHFLOW_COLUMNS)
    assert len(frame) == 5 * 21
    zero = frame[frame["year"] == 0]
    assert np.all(zero[[*SAVINGS, "inspection"]] == 0.0)
    assert np.all(frame.loc[frame["year"] > 0, "capex"] == 0.0)
    left_out = ["interruption_cost_saving"] if perspective == "utility" else ["energy_saving", "incentive"]
    assert np.all(frame[left_out] == 0.0)
    numbers = frame.select_dtypes(float).to_numpy()
    assert not np.signbit(numbers[numbers == 0.0]).any()        # no −0
    assert frame["net"].to_numpy() == pytest.approx(
        (frame[SAVINGS].sum(axis=1) - frame["capex"] - frame["inspection"]).to_numpy())
    for name, rows in frame.groupby("scenario"):
        figures = business_summary(case.business)[case.business.scenarios.index(name)]
        net = rows["net"].to_numpy()
        assert figures["npv"] == pytest.approx(npf.npv(0.07, net), abs=1e-6)
        assert figures["npv"] == pytest.approx(rows["discounted"].sum(), abs=1e-6)
        cost = npf.npv(0.07, (rows["capex"] + rows["inspection"]).to_numpy())
        if cost:
            assert figures["bcr"] == pytest.approx((figures["npv"] + cost) / cost)
        irr = npf.irr(net)
        assert (figures["irr"] is None) == bool(np.isnan(irr))
        if figures["irr"] is not None:
            assert figures["irr"] == pytest.approx(irr, rel=1e-6)


def test_capital_counts_phases_of_converted_laterals_and_changed_backups():
    study = feeders_of_laterals(6, 1, EVERY_LATERAL)
    case = case_of(study)
    tops = study.sections[study.sections["section_id"].str.fullmatch(r"t\d+")]
    phases = float(tops["phases"].sum())
    plans = case.table.protections
    as_built, sectionalizers, reclosers, blocked, both = (capital_of(case.network, p, plans[0]) for p in plans)
    assert (as_built.total_units, as_built.settings) == (0.0, 0)
    assert sectionalizers.units == {"fuse": 0.0, "sectionalizer": phases, "lateral_recloser": 0.0}
    assert reclosers.units["lateral_recloser"] == phases
    assert (blocked.total_units, blocked.settings) == (0.0, 4)
    assert both.cost(study.values) == pytest.approx(phases * 2200.0 + 4 * 1500.0)
    assert both.inspection(study.values) == pytest.approx(phases * 15.0)


def test_a_lateral_that_has_the_device_costs_nothing():
    study = feeders_of_laterals(4, 2, (Scenario("S", None, "sectionalizer", 3),))
    sections = study.sections.copy()
    sections.loc[sections["section_id"] == "t0", ["device", "counts"]] = ["sectionalizer", 2.0]
    case = case_of(study.with_sections(sections))
    others = sections.loc[sections["section_id"].str.fullmatch(r"t[1-9]"), "phases"].sum()
    assert case.business.capital[1].total_units == others


def test_as_built_has_no_figures_but_zero_money():
    figures = business_summary(random_case(2).business)[0]
    assert figures["capex"] == figures["npv"] == 0.0
    for key in ("irr", "bcr", "payback_years", "discounted_payback_years", "cost_per_ci_avoided",
                "cost_per_cmi_avoided", "cost_per_callout_avoided", "npv_p10", "npv_p50", "npv_p90",
                "probability_npv_positive"):
        assert figures[key] is None, key


def test_no_figure_is_infinite_or_not_a_number():
    for seed in range(12):
        case = random_case(seed, 12, discount_rate=0.0 if seed % 2 else 0.1)
        json.dumps(business_summary(case.business), allow_nan=False)


def test_a_network_without_customers_has_figures_too():
    study = feeders_of_laterals(4, 0, EVERY_LATERAL, incentive_per_saidi_minute=50.0)
    sections = study.sections.copy()
    sections[[c for c in sections.columns if c.startswith("customers")]] = 0.0
    case = case_of(study.with_sections(sections))
    json.dumps(business_summary(case.business), allow_nan=False)
    flows = cashflow_frame(case.business)
    assert np.all(flows["incentive"] == 0.0)
    assert flows.index.tolist() == list(range(len(flows)))


def test_annualised_capital_by_hand():
    case = case_of(feeders_of_laterals(8, 5, EVERY_LATERAL, discount_rate=0.0, horizon_years=10))
    figures, before, after = business_summary(case.business)[1], *case.expected[:2]
    avoided = before.fault_ci.sum() - after.fault_ci.sum()
    assert avoided > 0
    assert figures["cost_per_ci_avoided"] == pytest.approx(figures["capex"] / 10.0 / avoided)
    fewer = before.fault_callouts.sum() - after.fault_callouts.sum()
    assert figures["cost_per_callout_avoided"] == pytest.approx(figures["capex"] / 10.0 / fewer)
    minutes = 60.0 * (before.fault_customer_hours.sum() - after.fault_customer_hours.sum())
    assert figures["cost_per_cmi_avoided"] == pytest.approx(figures["capex"] / 10.0 / minutes)


def test_a_conversion_that_does_not_pay_is_told_as_plainly_as_one_that_does():
    # dear devices, and nothing to gain: dead loss; cheap ones and a high incentive: clear gain
    loses = business_summary(case_of(feeders_of_laterals(6, 1, EVERY_LATERAL, sectionalizer_cost=1e5)).business)[1]
    pays = business_summary(case_of(feeders_of_laterals(6, 1, EVERY_LATERAL, sectionalizer_cost=10.0,
                                                        incentive_per_saidi_minute=1e4)).business)[1]
    assert loses["npv"] < 0 < pays["npv"]
    assert "S does not pay: " in loses["verdict"]
    assert "S pays: " in pays["verdict"]
    assert loses["bcr"] < 1.0 < pays["bcr"]
    assert loses["discounted_payback_years"] is None
    assert 0.0 < pays["discounted_payback_years"] < 20.0


def test_cheap_devices_have_a_benefit_to_cost_ratio_too():
    figures = business_summary(case_of(feeders_of_laterals(6, 1, EVERY_LATERAL, sectionalizer_cost=1e-3,
                                                           inspection_cost_per_year=0.0)).business)[1]
    assert 0.0 < figures["capex"] < 1.0
    assert figures["bcr"] == pytest.approx((figures["npv"] + figures["capex"]) / figures["capex"])


def test_a_conversion_that_changes_nothing_saves_nothing():
    figures = business_summary(case_of(feeders_of_laterals(6, 1, EVERY_LATERAL, line_fault_rate_per_km=0.0)).business)
    assert "it saves nothing and loses" in figures[1]["verdict"]
    assert figures[1]["bcr"] == 0.0
    assert figures[1]["cost_per_ci_avoided"] is None


def test_mean_npv_of_the_simulation_is_the_expected_npv():
    for perspective in ("utility", "society"):
        case = case_of(feeders_of_laterals(6, 4, EVERY_LATERAL, perspective=perspective, horizon_years=8,
                                           incentive_per_saifi=5000.0))
        study = case.study
        extra = {INTERRUPTION: InterruptionCost(case.network, case.costs)}
        simulated = simulate(SimulationInput(study.model, {}, study.scenarios, extra), seed=11, trials=2000)
        trials = npv_by_trial(case.business, simulated)
        expected = np.array([flows(case.business, s)["discounted"].sum() for s in range(len(trials))])
        error = trials.std(axis=1, ddof=1) / np.sqrt(simulated.trials)
        assert np.all(np.abs(trials.mean(axis=1) - expected)[1:] <= 4.0 * error[1:] + 1e-6)
        assert np.all(trials[0] == 0.0)
        figures = business_summary(case.business, simulated)[1]
        assert [figures[p] for p in ("npv_p10", "npv_p50", "npv_p90")] == pytest.approx(
            np.percentile(trials[1], [10, 50, 90]).tolist())
        assert figures["probability_npv_positive"] == pytest.approx(np.mean(trials[1] > 0))


def test_uncertain_times_widen_the_npv_seen_by_society():
    """The same events; only restoration times and their spread are drawn, and customers' costs feel it."""
    study = feeders_of_laterals(6, 4, EVERY_LATERAL, perspective="society", horizon_years=20, yearly_cv=0.0,
                                sectionalizer_cost=500.0, line_fault_rate_per_km=1.0)
    ranges = {"refuse_hours": Range(0.5, 1.0, 12.0), "repair_hours": Range(0.5, 3.0, 16.0), "cv": Range(0.3, 0.8, 2.0)}
    study = replace(study, values=study.values | {k: r.mean for k, r in ranges.items()})
    spreads, means = [], []
    for uncertain in ({}, ranges):
        results = expect(replace(study, stated_ranges=uncertain))
        figures = business_summary(results.business, simulate(simulation_input(results), seed=2, trials=400))[1]
        spreads.append(figures["npv_p90"] - figures["npv_p10"])
        means.append(figures["npv"])
    assert means[0] == means[1]
    assert spreads[1] > 1.3 * spreads[0]


def test_default_ranges_widen_the_npv_beyond_the_luck_of_the_years():
    """Nothing is stated as a range: without the default ones the spread is that of luck alone."""
    study = feeders_of_laterals(6, 4, EVERY_LATERAL, horizon_years=20, sectionalizer_cost=500.0,
                                line_fault_rate_per_km=2.0)
    spreads, means = [], []
    for switch in (False, True):
        results = expect(replace(study, values={**study.values, "default_ranges": switch}))
        simulated = simulate(simulation_input(results), seed=2, trials=200)
        figures = business_summary(results.business, simulated)[1]
        spreads.append(figures["npv_p90"] - figures["npv_p10"])
        means.append(figures["npv"])
    assert set(simulated.draws) == set(results.study.default_ranges)
    for key, drawn in simulated.draws.items():
        assert abs(drawn.mean() - results.study.values[key]) < 4.0 * drawn.std() / np.sqrt(len(drawn)), key
    assert means[0] == means[1]
    assert spreads[1] > 1.5 * spreads[0]


def test_each_trial_is_valued_with_its_own_draws():
    """Two trials of the same events: their NPVs are those of two studies with the drawn prices."""
    case = case_of(feeders_of_laterals(5, 6, EVERY_LATERAL, horizon_years=3))
    names, rng = tuple(s.name for s in case.study.scenarios), np.random.default_rng(0)
    events = {name: np.repeat(rng.uniform(0.0, 9.0, (len(names), 1, 3)), 2, axis=1) for name in
              ("ci", "customer_hours", "load_kwh", "momentary_events", "refuse", "reset", "patrol", "repair",
               "sectionalizer_operations")}
    draws = {"crew_rate_per_hour": np.array([90.0, 240.0]), "sectionalizer_cost": np.array([1000.0, 4000.0]),
             "discount_rate": np.array([0.0, 0.12]), "escalation_rate": np.array([0.05, -0.02]),
             "backup_settings_cost": np.array([0.0, 700.0])}
    both = npv_by_trial(case.business, Simulated(names, 2, 3, 0, events, draws))
    for t in range(2):
        drawn = {k: float(d[t]) for k, d in draws.items()}
        alone = replace(case.business, values={**case.business.values, **drawn})
        one = npv_by_trial(alone, Simulated(names, 1, 3, 0, {k: e[:, t:t + 1] for k, e in events.items()}, {}))
        assert both[:, t] == pytest.approx(one[:, 0])
    assert not np.allclose(both[1:, 0], both[1:, 1])


def test_a_scenario_that_was_not_simulated_has_no_spread():
    case = case_of(feeders_of_laterals(3, 1, EVERY_LATERAL, horizon_years=2))
    question = SimulationInput(case.study.model, {}, case.study.scenarios[:2])
    figures = business_summary(case.business, simulate(question, seed=1, trials=50))
    assert figures[1]["npv_p50"] is not None
    assert figures[2]["npv_p50"] is None
    alone = business_summary(case.business, simulate(question, seed=1, trials=1))[1]
    assert alone["npv_p10"] == alone["npv_p90"]


@pytest.mark.parametrize(("npv", "said"), [(1.0, "S pays: "), (0.4, "S neither pays nor costs"),
                                           (-0.4, "S neither pays nor costs"), (-1.0, "S does not pay: ")])
def test_less_than_half_a_unit_of_money_is_told_as_nothing(npv, said):
    """The price of a unit is set so that the conversion is worth exactly that."""
    def figures(price: float) -> dict:
        return business_summary(case_of(feeders_of_laterals(6, 1, EVERY_LATERAL, sectionalizer_cost=price,
                                                            incentive_per_saidi_minute=1e4)).business)[1]

    cheap = figures(10.0)
    just = figures(10.0 + (cheap["npv"] - npv) / (cheap["capex"] / 10.0))
    assert just["npv"] == pytest.approx(npv, abs=1e-6)
    assert said in just["verdict"]
