"""Revenue requirement against a ledger kept asset by asset, and what it is worth at the cost of capital."""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
import pytest

from reliability.business.cashflow import flows
from reliability.business.revenue_requirement import of_spending, revenue_requirement, revenue_summary
from reliability.schema.assumptions import defaults
from tests.business.cases import random_case


def values_of(**more):
    return defaults() | {"equity_share": 0.4, "equity_rate": 0.11, "debt_rate": 0.045, "tax_rate": 0.3,
                         "book_life_years": 8, "horizon_years": 12} | more


def ledger(spent, life, inspection, saved, values):
    """Requirement of each year, every purchase on a card of its own."""
    years = max(len(inspection), max((y + life for y, s in enumerate(spent) if s), default=0))
    total = []
    for year in range(1, years + 1):
        due = 0.0
        for bought, price in enumerate(spent):
            age = year - bought
            if price and 1 <= age <= life:
                left = price - (age - 1) * price / life
                equity = left * values["equity_share"] * values["equity_rate"]
                before_tax = equity / (1.0 - values["tax_rate"])
                due += price / life + left * (1.0 - values["equity_share"]) * values["debt_rate"] + before_tax
        if year <= len(inspection):
            due += inspection[year - 1] - saved[year - 1]
        total.append(due)
    return total


@pytest.mark.parametrize("again", [None, 3, 6])
@pytest.mark.parametrize("life", [1, 8, 20])
def test_the_requirement_is_that_of_a_ledger(life, again):
    values = values_of(book_life_years=life)
    spent = np.zeros(13)
    spent[0] = 1000.0
    if again:
        spent[again::again] = 700.0
    inspection, saved = np.full(12, 30.0), 50.0 * 1.02 ** np.arange(12)
    found = of_spending(spent, inspection, saved, values)
    assert found.total.tolist() == pytest.approx(ledger(spent.tolist(), life, inspection, saved, values))
    assert found.cost_of_capital == pytest.approx(0.6 * 0.045 + 0.4 * 0.11)


def test_the_first_years_by_hand():
    """1000 over 8 years: 125 a year; interest 1000 × 0.6 × 0.045 = 27; equity 1000 × 0.4 × 0.11 = 44, tax 44 × 3/7."""
    found = of_spending(np.append(1000.0, np.zeros(12)), np.zeros(12), np.zeros(12), values_of())
    assert (found.depreciation[0], found.interest[0], found.equity_return[0]) == pytest.approx((125.0, 27.0, 44.0))
    assert found.tax[0] == pytest.approx(44.0 * 3.0 / 7.0)
    assert found.rate_base[:9].tolist() == pytest.approx([1000.0 - 125.0 * y for y in range(9)])
    assert np.all(found.total[8:] == pytest.approx(0.0))


@pytest.mark.parametrize("tax", [0.0, 0.3])
def test_at_the_cost_of_capital_it_is_worth_what_was_spent_and_the_taxes(tax):
    spent = np.zeros(13)
    spent[[0, 5]] = 1000.0, 400.0
    found = of_spending(spent, np.zeros(12), np.zeros(12), values_of(tax_rate=tax))
    rate = found.cost_of_capital
    worth = npf.npv(rate, np.append(0.0, found.total))
    assert worth == pytest.approx(npf.npv(rate, spent) + npf.npv(rate, np.append(0.0, found.tax)))
    assert (tax == 0.0) == (worth == pytest.approx(npf.npv(rate, spent)))
    even = found.levelised(found.total)
    assert -npf.pv(rate, len(found.total), even) == pytest.approx(worth)


def test_of_a_scenario_capital_inspection_and_crew_work_count_and_nothing_else():
    case = random_case(4, 14, incentive_per_saifi=9000.0, horizon_years=10, average_bill_per_month=80.0)
    found, columns = revenue_requirement(case.business, 1), flows(case.business, 1)
    assert columns["capex"][0] > 0
    assert columns["incentive"].any()
    assert found.saved.tolist() == columns["callout_saving"][1:].tolist()
    assert found.inspection.tolist() == columns["inspection"][1:].tolist()
    assert found.rate_base[0] == columns["capex"][0]
    assert found.depreciation.sum() == pytest.approx(columns["capex"].sum())
    told = revenue_summary(case.business, 1)
    served = case.business.customers_served
    assert told["bill_effect_per_customer_month"] == pytest.approx(told["levelised"] / served / 12.0)
    assert told["bill_effect_share"] == pytest.approx(told["bill_effect_per_customer_month"] / 80.0)
    assert told["levelised"] == pytest.approx(
        told["levelised_capital"] + told["levelised_inspection"] - told["levelised_saved"])
    assert told["by_year"]["total"][0] == told["first_year"]
    assert revenue_summary(random_case(4, 14).business, 1)["bill_effect_share"] is None
