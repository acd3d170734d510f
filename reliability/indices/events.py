"""Draw the events of a block of rows over all trial-years and add up what they do.

For every row only the number of events over all trial-years is drawn, then for each event a
trial-year and a severity. Trial-years × rows is a sparse matrix of events; times the dense
coefficients it gives every measure of every scenario at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import sparse

from reliability.faults.times import Term
from reliability.indices.bends import sums_beyond
from reliability.indices.measures import WALK_OR_OWN, Coefficients

DRAW_BITS = 32
# Slots of the guide table per trial-year; more make the search rarer, the table larger.
GUIDE_SLOTS = 32
# Events per trial-year below which looking each up in the edges takes less time than making a guide.
FEW_EVENTS = 2.0
# Events per trial-year below which only the trial-years that have any are summed.
SPARSE_EVENTS = 0.25


@dataclass(frozen=True)
class Block:
    """Rows that share one multiplier of their rates.

    rates: (m,) events a year at the mean assumptions. coefficients: of the same rows.
    multiplier_class: which of the chunk's weights applies.
    """

    rates: np.ndarray
    coefficients: Coefficients
    multiplier_class: int


class TrialSums(NamedTuple):
    """Sums by trial-year of the count, the severity and the bent columns: (T, c), (T, d) and (T, e).

    of_years: (T,) the trial-years that they are of, where all others have no event; None where they are of all. own: of
    `Coefficients.own`, (T, f). of: what the columns are, where a block did not have them before.
    """

    counted: np.ndarray
    timed: np.ndarray
    beyond: np.ndarray
    of_years: np.ndarray | None = None
    own: np.ndarray | None = None
    of: Coefficients | None = None


@dataclass(frozen=True)
class YearWeights:
    """How likely an event falls in each of T trial-years, ready to be drawn from.

    total: sum of the rate multipliers over the trial-years. edges: (T,) cumulative weights in
    units of 2⁻³², None where weights are equal. guide: first trial-year y that reaches into each of a power of two of
    equal slots, as −1 − y where another one follows in the slot; None where few events are to be drawn, for which the
    edges are searched: the same trial-years.
    """

    total: float
    years: int
    edges: np.ndarray | None = None
    guide: np.ndarray | None = None


def year_weights(weights: np.ndarray, events_a_year: float = np.inf) -> YearWeights:
    """Prepare multipliers (T,) for drawing. A weight is rounded to 2⁻³² of the sum of all.

    events_a_year: expected where the multiplier is 1; what is prepared goes by their number, what is drawn does not.
    """
    total, years = float(weights.sum()), len(weights)
    if np.all(weights == weights[0]):
        return YearWeights(total, years)
    edges = np.round(np.cumsum(weights) * (2.0 ** DRAW_BITS / total)).astype(np.int64)
    edges[np.flatnonzero(weights)[-1]:] = 2 ** DRAW_BITS  # rounding leaves no draw beyond the last year
    if events_a_year * total < FEW_EVENTS * years:
        return YearWeights(total, years, edges)
    bits = int(np.ceil(np.log2(GUIDE_SLOTS * years)))
    # trial-years that end at or before the start of each slot
    first = np.cumsum(np.bincount(-(-edges >> (DRAW_BITS - bits)), minlength=2 ** bits + 1)).astype(np.int32)
    return YearWeights(total, years, edges, np.where(first[:-1] == first[1:], first[:-1], -1 - first[:-1]))


@dataclass(frozen=True)
class TrialTimes:
    """What trials draw of the times of events.

    sigma: (T,) or (1,) standard deviation of the logarithm of the severity. hours: (T,) by term of the bent columns.
    """

    sigma: np.ndarray
    hours: Mapping[Term, np.ndarray]

    def of_years(self, years: np.ndarray) -> TrialTimes:
        """Those of some trial-years."""
        return TrialTimes(self.sigma if len(self.sigma) == 1 else self.sigma[years],
                          {term: hours[years] for term, hours in self.hours.items()})


def simulate_block(block: Block, weights: YearWeights, times: TrialTimes, seed: np.random.SeedSequence) -> TrialSums:
    """Sums of a block's columns by trial-year; weights: multipliers of the block's rates over the trial-years."""
    rng, counts = event_counts(block.rates, weights, seed)
    return sums_of_events(rng, block.coefficients, counts, weights, times)


def event_counts(rates: np.ndarray, weights: YearWeights, seed: np.random.SeedSequence,
                 ) -> tuple[np.random.Generator, np.ndarray]:
    """Generator of a block, and events of each row (m,) over all trial-years."""
    rng = np.random.Generator(np.random.SFC64(seed))  # a fifth faster than the default in normal draws
    return rng, rng.poisson(rates * weights.total)


def sums_of_events(rng: np.random.Generator, coefficients: Coefficients, counts: np.ndarray, weights: YearWeights,
                   times: TrialTimes) -> TrialSums:
    """Sums by trial-year of so many events (m,) of each row; rows without any may be left out."""
    starts = np.append(0, np.cumsum(counts))
    year = trial_years(rng, weights, int(starts[-1]))
    return sums_by_year(rng, coefficients, year, starts, weights.years, times)


def sums_by_year(rng: np.random.Generator, coefficients: Coefficients, year: np.ndarray, starts: np.ndarray,
                 years: int, times: TrialTimes) -> TrialSums:
    """Sums of the columns by trial-year of events in order of their rows.

    year: (e,) trial-year of each event. starts: (m + 1,) where the events of each of m rows start, and their number.
    """
    of_years = None
    if len(year) < SPARSE_EVENTS * years:
        of_years, year = np.unique(year, return_inverse=True)
        years, year, times = len(of_years), year.astype(np.int32), times.of_years(of_years)
    # one index type for both arrays saves the matrix a conversion
    starts = starts.astype(np.int32) if len(year) < 2 ** 31 else starts
    shape = (years, len(starts) - 1)
    counted = sparse.csc_array((np.ones(len(year)), year, starts), shape=shape) @ coefficients.count
    nothing = np.zeros((years, 0))
    if not coefficients.severity.shape[1] and coefficients.own is None:
        return TrialSums(counted, nothing, nothing, of_years)
    severity = severities(rng, times.sigma, year)
    # a lognormal of mean 1 has this median; the draws have median 1
    median = np.exp(-np.square(times.sigma) / 2.0)
    timed = sparse.csc_array((severity, year, starts), shape=shape) @ coefficients.severity * median[:, None]
    own = None
    if coefficients.own is not None:
        hours = np.maximum(times.hours[WALK_OR_OWN][year], np.repeat(coefficients.own.hours, np.diff(starts)))
        own = sparse.csc_array((severity * hours, year, starts), shape=shape) @ coefficients.own.columns
        own *= median[:, None]
    if coefficients.bent is None:
        return TrialSums(counted, timed, nothing, of_years, own)
    beyond = sums_beyond(coefficients.bent, severity, median, year, starts, years, times.hours)
    return TrialSums(counted, timed, beyond, of_years, own)


def trial_years(rng: np.random.Generator, weights: YearWeights, size: int) -> np.ndarray:
    """Trial-years (size,) drawn in proportion to the weights."""
    if weights.edges is None:
        return rng.integers(weights.years, size=size, dtype=np.int32)
    drawn = rng.integers(2 ** DRAW_BITS, size=size, dtype=np.uint32)
    if weights.guide is None:
        return np.searchsorted(weights.edges, drawn.astype(np.int64), side="right").astype(np.int32)
    year = weights.guide[(drawn >> (DRAW_BITS - int(np.log2(len(weights.guide))))).astype(np.intp)]
    behind = np.flatnonzero(year < 0)
    year[behind] = -1 - year[behind]
    while behind.size:
        behind = behind[drawn[behind] >= weights.edges[year[behind]]]
        year[behind] += 1
    return year


def severities(rng: np.random.Generator, sigma: np.ndarray, year: np.ndarray) -> np.ndarray:
    """Lognormal multipliers of median 1, one an event."""
    if len(sigma) == 1 and sigma[0] == 0.0:
        return np.ones(len(year))
    severity = rng.standard_normal(len(year))
    severity *= sigma[0] if len(sigma) == 1 else sigma[year]
    return np.exp(severity, out=severity)
