"""Discounting: against numpy-financial, and against limiting cases worked by hand."""

from __future__ import annotations

import math

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.business.finance import capital_recovery_factor, discount_factors, irr, payback_years


def _projects(count: int):
    rng = np.random.default_rng(20)
    for _ in range(count):
        years = int(rng.integers(1, 41))
        yield np.append(-rng.uniform(1e2, 1e7), rng.uniform(-0.02, 0.5) * rng.uniform(1e2, 1e6, years))


def test_discount_factors_give_the_npv_of_numpy_financial():
    rng = np.random.default_rng(1)
    for flows in _projects(200):
        rate = float(rng.uniform(-0.3, 0.9))
        found = flows[0] + discount_factors(rate, len(flows) - 1) @ flows[1:]
        assert found == pytest.approx(npf.npv(rate, flows), rel=1e-10, abs=1e-9 * np.abs(flows).max())


def test_irr_equals_numpy_financial_on_projects():
    compared = 0
    for flows in _projects(300):
        theirs = npf.irr(flows)
        ours = irr(flows)
        assert (ours is None) == math.isnan(theirs)
        if ours is not None:
            compared += 1
            assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-9)
    assert compared > 100


@pytest.mark.slow
def test_irr_equals_numpy_financial_on_flows_of_any_sign():
    rng = np.random.default_rng(3)
    several, compared = 0, 0
    for _ in range(300):
        flows = rng.normal(size=int(rng.integers(2, 12))) * 1000.0
        theirs, ours = npf.irr(flows), irr(flows)
        if ours is None:
            assert math.isnan(theirs)
            continue
        compared += 1
        several += np.count_nonzero(np.diff(np.sign(flows))) > 1
        assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-8)
    assert compared > 150
    assert several > 80


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=30))
def test_irr_makes_npv_zero_or_there_is_none(flows):
    rate = irr(np.array(flows))
    if rate is None or not -0.9 < rate < 10.0:
        return
    terms = np.array(flows) * (1.0 + rate) ** -np.arange(len(flows))
    assert abs(terms.sum()) <= 1e-6 * np.abs(terms).sum()


@pytest.mark.parametrize("flows", [[0.0, 0.0, 0.0], [0.0, 5.0, 5.0], [-100.0, 0.0, 0.0], [-100.0, -1.0, -2.0],
                                   [3.0, 2.0]])
def test_irr_does_not_exist_without_a_sign_change(flows):
    assert irr(np.array(flows)) is None


def test_extreme_rates_do_not_overflow():
    assert irr(np.append(-1e-3, np.full(100, 1e9))) == pytest.approx(1e12, rel=1e-3)
    assert -1.0 < irr(np.append(-1e9, np.full(100, 1e-3))) < -0.2


def test_payback_by_hand():
    flows = np.array([-1000.0, 400.0, 400.0, 400.0])
    assert payback_years(flows) == pytest.approx(2.5)
    # at 10 %: 363.64 + 330.58 + 300.53 = 994.74 < 1000
    assert payback_years(flows, 0.10) is None
    # at 5 %: 380.952 + 362.812 = 743.764, and 256.236 of the 345.535 of year 3
    assert payback_years(flows, 0.05) == pytest.approx(2.0 + 256.23582 / 345.53504, rel=1e-6)
    assert payback_years(np.array([-800.0, 400.0, 400.0])) == pytest.approx(2.0)


@pytest.mark.parametrize("flows", [[0.0, 5.0, 5.0], [0.0, -5.0, 9.0], [0.0, 0.0, 0.0], [-10.0, 1.0, 1.0]])
def test_payback_does_not_exist(flows):
    assert payback_years(np.array(flows)) is None


def test_capital_recovery_factor():
    assert capital_recovery_factor(0.0, 25) == pytest.approx(1.0 / 25.0)
    r, years = 0.07, 20
    assert capital_recovery_factor(r, years) == pytest.approx(r * (1 + r) ** years / ((1 + r) ** years - 1))
    assert capital_recovery_factor(r, years) == pytest.approx(-npf.pmt(r, years, 1.0))


def test_a_root_at_a_point_of_the_grid_is_found():
    """At the rate 0, crossed or only touched."""
    assert irr(np.array([-1.0, 1.0])) == pytest.approx(0.0, abs=1e-9)
    assert irr(np.array([-1.0, 2.0, -1.0])) == pytest.approx(0.0, abs=1e-9)
