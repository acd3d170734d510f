"""Spread of lateral-years beyond Poisson: by hand, and drawn fleets whose spread is known."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.lateral_years import LateralYears, Spread, concentration, spread_between_years


def drawn(spread: float, yearly_cv: float, rng: np.random.Generator) -> np.ndarray:
    rate = rng.gamma(2.0, 0.5, 400)[:, None] * np.ones(6)
    common = rng.gamma(yearly_cv ** -2, yearly_cv ** 2, 6) if yearly_cv else 1.0
    own = rng.gamma(1 / spread, spread, rate.shape) if spread else 1.0
    return rng.poisson(rate * common * own)


@pytest.mark.parametrize("yearly_cv", [0.0, 0.6])
@pytest.mark.parametrize("spread", [0.0, 0.5, 1.0])
def test_the_spread_is_found_whatever_is_common_to_all(spread, yearly_cv):
    """Theory: without bias, and off by as much as its standard error says."""
    rng = np.random.default_rng(7)
    found = [spread_between_years(drawn(spread, yearly_cv, rng)) for _ in range(40)]
    estimates = np.array([f.estimate for f in found])
    assert estimates.mean() == pytest.approx(spread, abs=0.02 + 0.06 * spread)
    assert np.std(estimates) == pytest.approx(np.mean([f.error for f in found]), rel=0.4)


def test_by_hand():
    """Four pairs of one lateral, two of them in one year; all six pairs across in different years but two."""
    found = spread_between_years(np.array([[2, 0], [1, 1]]))
    f, q = 2 / 4, (9 + 1 - 6) / (16 - 8)
    assert found.estimate == pytest.approx((f / q - 1) / (1 - f))


def test_nothing_to_learn_from():
    found = spread_between_years(np.array([[1, 0], [0, 1]]))
    assert np.isnan(found.estimate)
    assert found.draws(np.array([0.1, 0.9])).tolist() == [0.0, 0.0]


def test_draws_are_never_below_none():
    found = Spread(0.1, 0.2).draws((np.arange(1000) + 0.5) / 1000)
    assert found.min() == 0
    assert np.median(found) == pytest.approx(0.1, abs=0.01)


def test_concentration():
    assert concentration(np.full(50, 400)) == pytest.approx(1 / 50, rel=0.01)
    assert concentration(np.array([1, 0, 0])) == pytest.approx(1 / 3)
    rng = np.random.default_rng(1)
    rate = rng.gamma(2.0, 0.5, 5000)
    assert concentration(rng.poisson(rate)) == pytest.approx((rate ** 2).sum() / rate.sum() ** 2, rel=0.1)


def test_before_and_after_are_kept_apart():
    table = LateralYears(np.array([[3, 1, 5], [0, 1, 0]]), np.array([1.0, 1.0, 0.5]), np.array([False, False, True]))
    assert table.totals(False).tolist() == [4, 1]
    assert table.totals(True).tolist() == [5, 0]
    assert table.concentration(True) == 1.0
