"""To which year's prices interruption costs are brought."""

from __future__ import annotations

import pytest

from reliability.business.costs import AMOUNTS, INTERRUPTION, yearly_money
from reliability.schema.assumptions import defaults
from reliability.study.price_level import consumer_prices, price_level


def level(**stated):
    return price_level(defaults() | stated)


def test_the_index_is_the_consumer_prices_of_the_united_states():
    """Annual averages of the CPI-U, 1982–84 = 100, Bureau of Labor Statistics; from memory."""
    prices = consumer_prices()
    assert (prices[2013], prices[2020], prices[2024]) == (232.957, 258.811, 313.689)
    assert list(prices) == list(range(2000, 2025))


@pytest.mark.parametrize(("stated", "to", "index"), [
    ({"price_year": 2024}, 2024, 313.689 / 232.957),
    ({"price_year": 2031}, 2024, 313.689 / 232.957),          # the index ends before
    ({"price_year": 2013}, 2013, 1.0),
    ({"price_year": 2020, "interruption_cost_year": 2016}, 2020, 258.811 / 240.007),
    ({"price_year": 2008}, 2008, 215.303 / 232.957),
    ({"price_year": 2024, "interruption_costs": "own.csv", "interruption_cost_year": 2020}, 2024, 313.689 / 258.811)])
def test_costs_are_escalated_between_the_years(stated, to, index):
    found = level(**stated)
    assert (found.escalated_to, found.index) == (to, pytest.approx(index))


@pytest.mark.parametrize("stated", [{}, {"interruption_cost_year": 2016},
                                    {"price_year": 2024, "interruption_costs": "own.csv"}])
def test_without_both_years_nothing_is_escalated(stated):
    found = level(**stated)
    assert (found.escalated_to, found.index) == (None, 1.0)


def test_money_follows_and_the_stated_factor_multiplies():
    amounts = dict.fromkeys(AMOUNTS, 0.0) | {INTERRUPTION: 100.0}
    values = defaults() | {"perspective": "society", "price_year": 2024, "interruption_cost_factor": 0.5}
    assert yearly_money(amounts, values, 1.0)[INTERRUPTION] == pytest.approx(50.0 * 313.689 / 232.957)
    assert yearly_money(amounts, defaults() | {"perspective": "society"}, 1.0)[INTERRUPTION] == 100.0
