"""Draws one by one: their laws, their bounds, and weights of nothing."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reliability.indices.draws import pert
from reliability.indices.events import severities, trial_years, year_weights
from reliability.schema.assumption_types import Range


def test_a_spread_of_any_size_is_drawn():
    year = np.zeros(4000, dtype=np.int32)
    for sigma in (0.5, 1.0, 2.0):
        drawn = np.log(severities(np.random.default_rng(0), np.array([sigma]), year))
        assert drawn.std() == pytest.approx(sigma, rel=0.06)
    assert np.all(severities(np.random.default_rng(0), np.zeros(1), year) == 1.0)
    drawn = severities(np.random.default_rng(0), np.array([0.0, 0.5]), np.arange(4000) % 2)
    assert np.all(drawn[::2] == 1.0)
    assert np.log(drawn[1::2]).std() == pytest.approx(0.5, rel=0.06)


def test_pert_draws_have_the_mean_and_bounds_of_the_law():
    law = Range(1.0, 2.5, 6.0)
    drawn = pert(np.random.default_rng(0), law, 100_000)
    assert drawn.mean() == pytest.approx(law.mean, abs=0.01)
    assert 1.0 <= drawn.min() < drawn.max() <= 6.0
    assert np.array_equal(pert(np.random.default_rng(0), Range(3.0, 3.0, 3.0), 2), [3.0, 3.0])


def test_events_of_a_year_are_drawn_in_proportion_to_its_weight():
    """Guide table and search give the multinomial law, zero weights and tiny ones included."""
    weights = np.array([0.0, 1.0, 1e-4, 3.0, 0.5, 0.0, 2.0, 0.0])
    years = trial_years(np.random.default_rng(0), year_weights(weights), 400_000)
    observed = np.bincount(years, minlength=8)
    assert np.all(observed[weights == 0] == 0)
    some = weights > 0
    assert stats.chisquare(observed[some], weights[some] / weights.sum() * 400_000).pvalue > 0.001


def test_a_single_year_needs_no_guide():
    weights = year_weights(np.array([2.0]))
    assert (weights.total, weights.guide) == (2.0, None)
    assert np.all(trial_years(np.random.default_rng(0), weights, 9) == 0)
