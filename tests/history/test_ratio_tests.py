"""The two tests of a ratio: against other programs' distributions, and their intervals against their own tails."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reliability.history.ratio_tests import (
    FEWER,
    MORE,
    NO_DIFFERENCE,
    PredictiveRatio,
    conditional_ratio,
    p_value,
    ratio_interval,
    verdict,
)


class TestConditionalRatio:
    def test_tails_are_those_of_the_hypergeometric_distribution(self):
        """Against scipy.stats: half of what was observed belongs to each tail."""
        test = conditional_ratio(20, 7, (50, 60))
        central, other = stats.hypergeom(137, 27, 67), stats.nchypergeom_fisher(137, 27, 67, 0.4)
        assert test.tails(0.0)[0] == pytest.approx(central.cdf(6) + central.pmf(7) / 2)
        assert test.tails(np.log(0.4))[1] == pytest.approx(other.sf(7) + other.pmf(7) / 2)

    def test_interval_lies_within_that_of_fishers_exact_test_and_its_ends_are_at_five_percent(self):
        """Against scipy.stats.contingency.odds_ratio: mid-p is the narrower of the two."""
        test = conditional_ratio(20, 7, (50, 60))
        low, high = ratio_interval(test)
        exact = stats.contingency.odds_ratio([[7, 20], [60, 50]], kind="conditional").confidence_interval(0.90)
        assert exact.low < low < 7 * 50 / (20 * 60) < high < exact.high
        assert test.tails(np.log(low))[1] == pytest.approx(0.05, abs=1e-6)
        assert test.tails(np.log(high))[0] == pytest.approx(0.05, abs=1e-6)

    def test_spread_widens_like_variances_that_add(self):
        """Theory: of many events the logarithm of the ratio is normal with variance Σ 1/n + spread²."""
        plain, wide = (conditional_ratio(4000, 4000, (9000, 9000), spread) for spread in (0.0, 0.1))
        for test, variance in ((plain, 2 / 4000 + 2 / 9000), (wide, 2 / 4000 + 2 / 9000 + 0.01)):
            low, high = np.log(ratio_interval(test))
            assert (high - low) / 2 == pytest.approx(1.6449 * variance ** 0.5, rel=0.02)

    def test_ends_of_the_range(self):
        assert ratio_interval(conditional_ratio(5, 0, (10, 10)))[0] == 0
        assert np.isinf(ratio_interval(conditional_ratio(0, 5, (10, 10)))[1])
        assert ratio_interval(conditional_ratio(0, 0, (10, 10))) == (0, np.inf)
        assert p_value(conditional_ratio(0, 0, (10, 10))) == 1


class TestPredictiveRatio:
    def test_known_rates_give_the_binomial_test(self):
        test = PredictiveRatio(7, 67, np.full(3, np.log(0.25)))
        law = stats.binom(67, 0.2)
        assert test.tails(0.0) == pytest.approx((law.cdf(6) + law.pmf(7) / 2, law.sf(7) + law.pmf(7) / 2))

    def test_unknown_rates_widen(self):
        known = PredictiveRatio(30, 100, np.zeros(2))
        unknown = PredictiveRatio(30, 100, np.array([-0.6, 0.6]))
        assert ratio_interval(unknown)[0] < ratio_interval(known)[0]
        assert ratio_interval(unknown)[1] > ratio_interval(known)[1]

    def test_none_after_has_no_lower_end(self):
        assert ratio_interval(PredictiveRatio(0, 40, np.zeros(2)))[0] == 0
        assert np.isinf(ratio_interval(PredictiveRatio(40, 40, np.zeros(2)))[1])


@pytest.mark.parametrize(("after", "expected"), [(5, FEWER), (20, NO_DIFFERENCE), (50, MORE)])
def test_verdicts(after, expected):
    assert verdict(conditional_ratio(20, after, (200, 200))) == expected
    assert verdict(PredictiveRatio(after, 200 + after, np.full(2, np.log(0.1)))) == expected


def test_hundred_thousand_events_are_no_more_than_a_normal_distribution():
    """Theory: variances of four large counts add in the logarithm of the ratio."""
    test = conditional_ratio(100_000, 100_500, (200_000, 200_000))
    z = np.log(1.005) / (2 / 100_000 + 2 / 200_000) ** 0.5
    assert test.tails(0.0)[1] == pytest.approx(stats.norm.sf(z), rel=0.02)
