"""What a year brings to one feeder, in the comparison of converted with other laterals."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.comparisons import compare
from reliability.history.lateral_years import LateralYears


@pytest.mark.parametrize(("converted", "alike"), [
    (np.arange(8) % 4 < 2, True), (np.isin(np.arange(8), [0, 1, 4]), False)])
def test_it_widens_only_as_far_as_the_groups_are_on_different_feeders(converted, alike):
    """Two feeders of four laterals each, which take turns by year; without feeders nothing is common to one."""
    feeder = np.arange(8) // 4
    years = np.array([[4, 1, 4, 1], [1, 4, 1, 4]])
    table = LateralYears(years[feeder], np.ones(4), np.array([False, False, True, True]))
    by_feeder, none = (compare(table, converted, code, np.ones(8), np.random.default_rng(1)).raw.spread
                       for code in (feeder, np.zeros(8, dtype=int)))
    assert by_feeder == pytest.approx(none) if alike else by_feeder > 1.01 * none
