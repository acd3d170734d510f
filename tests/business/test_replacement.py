"""What is replaced within the horizon, and what is bought as spares."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy_financial as npf
import pytest

from reliability.business.cashflow import business_summary, flows, npv_by_trial, present_worth
from reliability.business.finance import replacement_prices
from reliability.business.laterals import laterals_frame
from reliability.indices.simulation import simulate
from reliability.pipeline import expect, simulation_input
from reliability.schema.assumption_types import Range
from reliability.schema.scenarios import Scenario
from tests.business.cases import case_of, feeders_of_laterals

EVERY_LATERAL = (Scenario("S", None, "sectionalizer", 2), Scenario("S, blocked", None, "sectionalizer", 1, 0))


def case(**more):
    return case_of(feeders_of_laterals(5, 2, EVERY_LATERAL, horizon_years=12, **more))


def test_nothing_is_replaced_unless_a_life_is_stated_nor_at_the_end_of_the_horizon():
    assert not replacement_prices(0.02, 12, None).any()
    assert not replacement_prices(0.02, 12, 12).any()
    assert np.flatnonzero(replacement_prices(0.02, 12, 4)).tolist() == [3, 7]
    assert replacement_prices(0.02, 12, 5)[[4, 9]].tolist() == pytest.approx([1.02 ** 5, 1.02 ** 10])
    assert replacement_prices(np.array([0.0, 0.1]), 3, 2).tolist() == [[0.0, 1.0, 0.0], [0.0, pytest.approx(1.21), 0.0]]


def test_capital_is_spent_again_when_its_life_ends():
    found = case(device_life_years=5, escalation_rate=0.03, discount_rate=0.08)
    once = case(escalation_rate=0.03, discount_rate=0.08)
    columns, before = flows(found.business, 1), flows(once.business, 1)
    capex = before["capex"][0]
    wanted = np.zeros(13)
    wanted[[0, 5, 10]] = capex, capex * 1.03 ** 5, capex * 1.03 ** 10
    assert columns["capex"].tolist() == pytest.approx(wanted.tolist())
    told, first = (business_summary(c.business)[1] for c in (found, once))
    assert told["npv"] == pytest.approx(first["npv"] - npf.npv(0.08, wanted) + capex)
    assert told["capex"] == first["capex"] == capex
    assert told["npv_without_savings"] == pytest.approx(-npf.npv(0.08, wanted + columns["inspection"]))
    assert told["annualised_capital"] == pytest.approx(first["annualised_capital"] * npf.npv(0.08, wanted) / capex)


def test_the_worth_of_parts_and_of_trials_counts_it_too():
    study = feeders_of_laterals(5, 2, EVERY_LATERAL, horizon_years=12, device_life_years=5, spare_units_share=0.1)
    results = expect(study)
    business, values = results.business, results.study.values
    capital = business.capital[1]
    saved = flows(business, 1)
    yearly = float(sum(saved[c][1] for c in ("callout_saving", "energy_saving", "incentive")))
    assert present_worth(values, yearly, capital.cost(values), capital.inspection(values)) == pytest.approx(
        saved["discounted"].sum())
    by_lateral = laterals_frame(business, results.break_even)
    of_first = by_lateral[by_lateral["scenario"] == "S"]
    assert of_first["capex"].sum() == pytest.approx(saved["capex"][0])
    nothing = replace(results.study, values={**values, "line_fault_rate_per_km": 0.0}, stated_ranges={
        "escalation_rate": Range(0.0, 0.02, 0.1), "discount_rate": Range(0.03, 0.06, 0.12)})
    nothing = expect(nothing.with_section_values({"equipment_fault_rate": np.zeros(len(nothing.network))}))
    simulated = simulate(simulation_input(nothing), seed=1, trials=6)
    for trial, npv in enumerate(npv_by_trial(nothing.business, simulated)[1]):
        g, r = (simulated.draws[k][trial] for k in ("escalation_rate", "discount_rate"))
        spent = [0.0] * 13
        spent[0], spent[5], spent[10] = (saved["capex"][0] * (1 + g) ** y for y in (0, 5, 10))
        assert npv == pytest.approx(-npf.npv(r, np.array(spent) + saved["inspection"]))


def test_spares_are_capital_at_the_price_of_a_unit():
    some, none = case(spare_units_share=0.25), case()
    told, before = (business_summary(c.business)[2] for c in (some, none))
    settings = none.business.capital[2].settings * none.study.values["backup_settings_cost"]
    assert settings > 0
    assert told["spare_units"] == 0.25 * told["units"]
    assert told["capex"] == pytest.approx(settings + 1.25 * (before["capex"] - settings))
    assert told["inspection_per_year"] == before["inspection_per_year"]
    assert before["spare_units"] == 0.0
