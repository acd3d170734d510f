"""Scrambled Sobol' sequences against scipy's, which are much slower to load."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from reliability.business.sequences import SobolSequence
from reliability.schema.assumptions import BY_KEY


@pytest.mark.parametrize("dimensions", [1, 2, 7, 56, 399])
def test_the_points_are_those_of_scipy_to_the_last_bit(dimensions):
    ours, theirs = SobolSequence(dimensions, np.random.default_rng(3)), qmc.Sobol(dimensions,
                                                                                  rng=np.random.default_rng(3))
    for count in (64, 64, 128, 256):
        assert np.array_equal(ours.points(count), theirs.random(count))


def test_any_study_has_dimensions_enough():
    SobolSequence(2 * (len(BY_KEY) + 1), np.random.default_rng(0))


def test_more_dimensions_than_the_table_has_are_refused():
    with pytest.raises(ValueError, match="1000 dimensions, of which 400"):
        SobolSequence(1000, np.random.default_rng(0))
