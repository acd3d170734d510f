"""Spread of lateral-years beyond Poisson: by hand, and drawn fleets whose spread is known."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.lateral_years import (
    LateralYears,
    Spread,
    concentration,
    feeders_apart,
    spread_between_feeder_years,
    spread_between_years,
)


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


@pytest.mark.parametrize("feeders", [8, 40])
@pytest.mark.parametrize(("spread", "own"), [(0.0, 0.0), (0.25, 0.0), (0.25, 0.5)])
def test_the_spread_of_feeder_years_is_found_beside_that_of_lateral_years(spread, own, feeders):
    """Theory: without much bias (it is a ratio), and off by as much as its standard error says; less where there is
    none, as chance in a feeder's years is in the pairs across too."""
    rng = np.random.default_rng(8)
    feeder = np.arange(400) % feeders

    def fleet() -> Spread:
        counts = rng.gamma(2.0, 0.5, 400)[:, None] * rng.gamma(6.0, 1 / 6, 6) * np.ones((400, 1))
        if spread:
            counts = counts * rng.gamma(1 / spread, spread, (feeders, 6))[feeder]
        if own:
            counts = counts * rng.gamma(1 / own, own, counts.shape)
        return spread_between_feeder_years(rng.poisson(counts), feeder)

    found = [fleet() for _ in range(60)]
    estimates = np.array([f.estimate for f in found])
    assert estimates.mean() == pytest.approx(spread, abs=0.01 + 0.15 * spread)
    error = np.mean([f.error for f in found])
    assert np.std(estimates) == pytest.approx(error, rel=0.5) if spread else np.std(estimates) < error < 0.02


def test_feeder_years_by_hand():
    """Two feeders of two laterals: pairs of two laterals of one feeder against those of different feeders."""
    counts, feeder = np.array([[2, 0], [1, 1], [1, 1], [0, 2]]), np.array([7, 7, 3, 3])
    f, q = (2 * 1 + 2 * 1) / (2 * 2 + 2 * 2), (3 * 1 + 1 * 3) * 2 / (4 * 4 * 2)
    assert spread_between_feeder_years(counts, feeder).estimate == pytest.approx((f / q - 1) / (1 - f))
    assert np.isnan(spread_between_feeder_years(counts, np.zeros(4)).estimate)


def test_feeders_apart():
    counts = np.full(40, 500)
    converted, alternate = np.arange(40) < 20, np.arange(40) % 2 == 0
    halves = np.arange(40) >= 20
    assert feeders_apart(counts, converted, halves) == pytest.approx(2.0)
    assert feeders_apart(counts, alternate, halves) == pytest.approx(0.0, abs=1e-3)
    assert feeders_apart(counts, converted, np.arange(40) // 10) == pytest.approx(1.0, abs=1e-3)
    assert feeders_apart(np.where(converted, 0, 5), converted, halves) == 0.0


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


def test_no_pair_in_one_year_is_no_less_than_years_alike():
    assert concentration(np.ones(4)) == 0.25
    assert LateralYears(np.array([[1, 1, 1, 0]]), np.ones(4), np.zeros(4, bool)).concentration(False) == 0.25


def test_the_error_is_at_least_that_of_independent_pairs():
    """f = 0 of four pairs, q = 1/2: 2 q (1 − q) over the pairs, and a slope of 1."""
    found = spread_between_years(np.array([[1, 1], [1, 1]]))
    assert (found.estimate, found.error) == (-1.0, pytest.approx(np.sqrt(2 * 0.25 / 4)))


def test_laterals_whose_events_all_share_a_year_have_the_most_spread_and_a_finite_error():
    found = spread_between_years(np.array([[3, 0], [3, 0], [0, 2]]))
    assert found.estimate == pytest.approx(5.0)
    assert np.isfinite(found.error)


def test_feeders_that_are_alike_by_chance_are_not_less_than_alike():
    counts, converted = np.array([3, 1, 3, 1]), np.array([True, True, False, False])
    assert feeders_apart(counts, converted, np.array([0, 1, 0, 1])) == 0.0
