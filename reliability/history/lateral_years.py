"""Events by lateral and year, and how much a lateral's years differ beyond chance.

Two events of one lateral fall into the same year more often than two events of different laterals where a lateral has
good and bad years of its own. Pairs of different laterals take out what is common to all, a stormy year for
instance; pairs of one lateral need no assumption on how rates differ between laterals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

DRIFT = 0.25 ** 2      # squared cv by which one lateral's rate drifts between before and after (trees, age), which
                       # years next to each other do not show and a wrong verdict would rest on. Ours
MOST_SPREAD = 5.0      # squared cv of a lateral's years; beyond it nothing more is learned. Ours


@dataclass(frozen=True)
class LateralYears:
    """Events of laterals by calendar year, apart before and after.

    counts: (laterals, cells) events; years: (cells,) length of each; after: (cells,) whether it lies after.
    A year that falls into both has a cell in each.
    """

    counts: np.ndarray
    years: np.ndarray
    after: np.ndarray

    def totals(self, after: bool) -> np.ndarray:
        """Events of each lateral before or after, (laterals,)."""
        return self.counts[:, self.after == after].sum(axis=1)

    def concentration(self, after: bool) -> float:
        """Chance that two events fall into the same of the years before (or after), from pairs of all laterals' events.

        It is what a spread of one lateral-year comes to in the sum over the years: 1/n for n equal years.
        """
        here = self.after == after
        return _same(self.counts[:, here].sum(axis=0), self.years[here])


def concentration(counts: np.ndarray) -> float:
    """Σ rate² / (Σ rate)² of laterals with `counts` (n,), without what chance adds: 1/n where all are alike."""
    return _same(counts, np.ones(len(counts)))


def _same(counts: np.ndarray, weight: np.ndarray) -> float:
    """Chance that two events share a cell, from pairs of events, at least that of `weight` (that alone for 1 event)."""
    total, share = float(counts.sum()), weight / weight.sum()
    least = float((share ** 2).sum())
    if total < 2:
        return least
    pairs = float((counts * (counts - 1.0)).sum()) / (total * (total - 1))
    return min(max(pairs, 1 / len(counts)), 1.0)


@dataclass(frozen=True)
class Spread:
    """Squared coefficient of variation of lateral-years beyond Poisson: estimate (below 0 by chance), standard error.

    NaN where no lateral has two events.
    """

    estimate: float
    error: float

    @property
    def cv(self) -> float:
        """Coefficient of variation, 0 where the estimate is below."""
        return float(np.sqrt(max(self.estimate, 0.0))) if np.isfinite(self.estimate) else np.nan

    def draws(self, uniform: np.ndarray) -> np.ndarray:
        """Its values at `uniform` (n,) between 0 and 1: normal about the estimate; below 0 is none at all."""
        if not np.isfinite(self.estimate):
            return np.zeros(len(uniform))
        return np.clip(self.estimate + self.error * special.ndtri(uniform), 0.0, MOST_SPREAD)


def spread_between_years(counts: np.ndarray) -> Spread:
    """Spread of lateral-years from `counts` (laterals, years), the laterals' own rates and the years' common ones
    whatever they are.

    With multipliers of mean 1 and variance φ on each lateral-year, f the share of pairs of a lateral's events in one
    year and Q that of pairs of different laterals: f = Q (1 + φ) / (1 + φ Q).
    """
    counts = np.asarray(counts, dtype=float)
    own = counts.sum(axis=1)
    return _spread((counts * (counts - 1)).sum(axis=1), own * (own - 1), counts)


def spread_between_feeder_years(counts: np.ndarray, feeder: np.ndarray) -> Spread:
    """Spread of what a year brings to all laterals of one feeder, as in `spread_between_years`: f is the share of pairs
    of events of two laterals of one feeder, Q that of two feeders. feeder: (laterals,) codes."""
    counts = np.asarray(counts, dtype=float)
    on = (np.unique(feeder)[:, None] == feeder).astype(float)
    of_feeder, own = on @ counts, counts.sum(axis=1)
    return _spread((of_feeder ** 2).sum(axis=1) - on @ (counts ** 2).sum(axis=1),
                   of_feeder.sum(axis=1) ** 2 - on @ own ** 2, of_feeder)


def feeders_apart(counts: np.ndarray, converted: np.ndarray, feeder: np.ndarray) -> float:
    """Σ (w_c − w_o)² over feeders, w the shares of them in the rates of the converted and of the others: 0 where both
    are spread alike, so that a feeder's year concerns both. counts, converted, feeder: (laterals,)."""
    codes = np.unique(feeder, return_inverse=True)[1]
    own, others = (np.bincount(codes[group], counts[group], codes.max() + 1) for group in (converted, ~converted))
    if not own.sum() or not others.sum():
        return 0.0
    common = float(own @ others / own.sum() / others.sum())
    return max(concentration(own) + concentration(others) - 2 * common, 0.0)


def _spread(same: np.ndarray, pairs: np.ndarray, counts: np.ndarray) -> Spread:
    """Spread from the pairs of events within each of some places, and those of them in one year, (places,) each;
    counts: (places, years), whose pairs of different places show what is common to all."""
    own, by_year = counts.sum(axis=1), counts.sum(axis=0)
    across = own.sum() ** 2 - (own ** 2).sum()
    if pairs.sum() <= 0 or across <= 0:
        return Spread(np.nan, np.nan)
    q = ((by_year ** 2).sum() - (counts ** 2).sum()) / across
    if not 0 < q < 1:
        return Spread(np.nan, np.nan)
    f = same.sum() / pairs.sum()
    highest = q * (1 + MOST_SPREAD) / (1 + MOST_SPREAD * q)
    used = min(f, highest)
    variance = ((same - f * pairs) ** 2).sum() / pairs.sum() ** 2
    variance = max(variance, 2 * max(f * (1 - f), q * (1 - q)) / pairs.sum())     # that of independent pairs
    slope = (1 / q - 1) / (1 - used) ** 2
    return Spread(float((used / q - 1) / (1 - used)), float(slope * np.sqrt(variance)))
