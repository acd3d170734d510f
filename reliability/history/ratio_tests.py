"""Two tests of a change on the converted laterals against the others: raw and predictive.

Both ask how the events after the conversions divide between the two groups, given their total, so that
whatever multiplies the rates of both, a stormy year for instance, cancels out. Tails are mid-p: half the probability
of what was observed (Lancaster, Significance tests in discrete distributions, Journal of the American Statistical
Association 56, 1961; from memory), as an exact test of few events would hardly ever reject.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy
from scipy import special

from reliability.history.level import LEVEL

FEWER, MORE, NO_DIFFERENCE = "fewer", "more", "no difference shown"
_LOG_ODDS = (-40.0, 40.0)     # range of the search for ln(ratio)
_NODES = np.linspace(-4.0, 4.0, 61)      # of a standard normal; close, as many events make a tail a step between them
_WEIGHTS = np.exp(-_NODES ** 2 / 2) / np.exp(-_NODES ** 2 / 2).sum()


class RatioTest(Protocol):
    """A test of the ratio by which conversion changed the rate."""

    @property
    def ends(self) -> tuple[bool, bool]:
        """Whether the count after is the least, or the most, that it can be."""

    def tails(self, log_ratio: float) -> tuple[float, float]:
        """Probabilities of as few events after as observed and of as many, were exp(log_ratio) the ratio; mid-p."""


@dataclass(frozen=True)
class ConditionalRatio:
    """Raw: the converted laterals' later count, given both groups' totals and the total after.

    observed: that count. values, log_weight: what it could have been, and the logarithms of the
    weights at ratio 1. spread: standard deviation of ln(ratio) by which lateral-years vary beyond Poisson.
    """

    observed: int
    values: np.ndarray
    log_weight: np.ndarray
    spread: float = 0.0

    @property
    def ends(self) -> tuple[bool, bool]:
        """See `RatioTest`."""
        return self.observed == self.values[0], self.observed == self.values[-1]

    def tails(self, log_ratio: float) -> tuple[float, float]:
        """See `RatioTest`."""
        shifts = log_ratio + self.spread * (_NODES if self.spread else np.zeros(1))
        place, inside = self._about_modes(shifts)
        values = self.values[place]
        log = np.where(inside, self.log_weight[place] + values * shifts[:, None], -np.inf)
        p = np.exp(log - log.max(axis=1, keepdims=True))
        p *= ((_WEIGHTS if self.spread else np.ones(1)) / p.sum(axis=1))[:, None]
        here = p[values == self.observed].sum() / 2
        return float(p[values < self.observed].sum() + here), float(p[values > self.observed].sum() + here)

    def _about_modes(self, shifts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Places in `values` that matter at each of `shifts`, and whether they exist, (shifts, places) each.

        The distribution is that of a sum of independent trials, as many as there are steps from the least value to
        the most, so its standard deviation is at most half their root: twelve of these on either side of the peak.
        """
        mode = np.searchsorted(-np.diff(self.log_weight), shifts)
        reach = int(6 * np.sqrt(len(self.values))) + 10
        place = mode[:, None] + np.arange(-reach, reach + 1)
        last = len(self.values) - 1
        return np.clip(place, 0, last), (place >= 0) & (place <= last)


def conditional_ratio(before: int, after: int, others: tuple[int, int], spread: float = 0.0) -> ConditionalRatio:
    """Distribution of `after`, events of the converted laterals; the others had `others` before and after.

    A noncentral hypergeometric distribution whose odds are the ratio (Fisher's exact test of the 2 × 2 table).
    """
    converted, unconverted, later = before + after, sum(others), after + others[1]
    values = np.arange(max(0, later - unconverted), min(converted, later) + 1)
    weight = _log_choose(converted, values) + _log_choose(unconverted, later - values)
    return ConditionalRatio(after, values, weight, spread)


def _log_choose(n: int, k: np.ndarray) -> np.ndarray:
    return special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)


@dataclass(frozen=True)
class PredictiveRatio:
    """Predictive: the converted laterals' later count, given the total after, is binomial.

    observed, total: that count and the total. log_odds: (draws,) ln(Λ_c / Λ_o), sums of rates of the converted and of
    the others, from their posterior given the counts before.
    """

    observed: int
    total: int
    log_odds: np.ndarray

    @property
    def ends(self) -> tuple[bool, bool]:
        """See `RatioTest`."""
        return self.observed == 0, self.observed == self.total

    def tails(self, log_ratio: float) -> tuple[float, float]:
        """See `RatioTest`."""
        share = special.expit(self.log_odds + log_ratio)
        x, n = self.observed, self.total
        fewer = special.bdtr(x - 1, n, share).mean() if x > 0 else 0.0
        as_few = special.bdtr(x, n, share).mean()
        lower = float(fewer + as_few) / 2
        return lower, 1.0 - lower


def ratio_interval(test: RatioTest) -> tuple[float, float]:
    """Ratios at which either tail is (1 − LEVEL) / 2; 0 or infinite at an end of the range."""
    least, most = test.ends
    return (0.0 if least else _at_tail(test, 1)), (np.inf if most else _at_tail(test, 0))


def _at_tail(test: RatioTest, side: int) -> float:
    tail = (1 - LEVEL) / 2
    return float(np.exp(scipy.optimize.brentq(lambda x: test.tails(x)[side] - tail, *_LOG_ODDS, xtol=1e-6)))


def p_value(test: RatioTest) -> float:
    """Of no change: twice the smaller tail, at most 1."""
    return min(1.0, 2 * min(test.tails(0.0)))


def verdict(test: RatioTest) -> str:
    """FEWER, MORE or NO_DIFFERENCE at LEVEL, half of the rest at each side."""
    lower, upper = test.tails(0.0)
    tail = (1 - LEVEL) / 2
    return FEWER if lower < tail else MORE if upper < tail else NO_DIFFERENCE
