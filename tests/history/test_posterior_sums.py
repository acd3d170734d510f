"""Posterior sums of rates: against rates drawn from the prior and kept where they give the counts, and fleets."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.posterior_sums import log_odds_draws

NO_SPREAD = np.zeros(500)


def test_against_rates_that_are_drawn_and_weighted_by_the_counts():
    """An independent computation: hyperparameters and rates from their priors, weighted by Poisson probabilities."""
    counts = np.array([9, 4, 1, 2, 0, 3])
    converted = np.array([True, True, False, False, False, False])
    rng = np.random.default_rng(3)
    n = 2_000_000
    variance, mean = rng.uniform(0.0004, 6.25, n), np.exp(rng.uniform(-3, 5, n))
    log_weight, rates = np.zeros(n), []
    for count in counts:
        rate = mean * rng.gamma(1 / variance, variance)
        log_weight += count * np.log(np.maximum(rate, 1e-300)) - rate
        rates.append(rate)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    odds = np.log((rates[0] + rates[1]) / sum(rates[2:]))
    centre = (weight * odds).sum()
    deviation = np.sqrt((weight * (odds - centre) ** 2).sum())
    found = np.concatenate([log_odds_draws(counts, np.ones(6), converted, NO_SPREAD, (0.0, 0.0),
                                           np.random.default_rng(seed)) for seed in range(8)])
    assert found.mean() == pytest.approx(centre, abs=0.06)
    # the sums drift by the allowance as well
    assert found.std() == pytest.approx(np.hypot(deviation, 0.25 * (0.55 + 0.35) ** 0.5), rel=0.12)


def test_many_laterals_alike_have_the_pooled_rate():
    counts = np.random.default_rng(1).poisson(4.0, 400)
    converted = counts >= np.sort(counts)[-50]
    found = log_odds_draws(counts, np.ones(400), converted, NO_SPREAD, (0.3, 0.3), np.random.default_rng(2))
    assert found.mean() == pytest.approx(np.log(converted.sum() / (~converted).sum()), abs=0.1)


def test_counts_that_vary_by_the_year_alone_say_little_of_a_lateral():
    """Without spread of lateral-years the same counts are taken for differences between laterals."""
    rng = np.random.default_rng(1)
    counts = rng.poisson(3 * rng.gamma(2.0, 0.5, 300))
    converted = counts >= np.sort(counts)[-60]
    lasting, passing = (log_odds_draws(counts, np.ones(300), converted, np.full(500, spread), (0.4, 0.4),
                                       np.random.default_rng(2)).mean() for spread in (0.0, 1.0))
    assert lasting > passing + 0.2


def test_exposure_counts_where_it_tells_and_does_not_where_it_does_not():
    rng = np.random.default_rng(4)
    exposure = rng.lognormal(0.0, 1.0, 400)
    converted = exposure > np.quantile(exposure, 0.75)
    told, idle = rng.poisson(3 * exposure), rng.poisson(np.full(400, 5.0))
    by_length = np.log(exposure[converted].sum() / exposure[~converted].sum())
    for counts, expected in ((told, by_length), (idle, np.log(converted.sum() / (~converted).sum()))):
        found = log_odds_draws(counts, exposure, converted, NO_SPREAD, (0.3, 0.3), rng)
        assert found.mean() == pytest.approx(expected, abs=0.12)


def test_same_seed_same_digits_and_no_length_is_no_obstacle():
    counts, converted = np.array([3, 0, 1, 5]), np.array([True, False, True, False])
    found = [log_odds_draws(counts, np.array([0.0, 1.0, 2.0, 0.0]), converted, NO_SPREAD, (0.5, 0.5),
                            np.random.default_rng(9)) for _ in range(2)]
    np.testing.assert_array_equal(*found)
    assert np.isfinite(found[0]).all()
