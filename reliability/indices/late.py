"""Blocks of a large table whose coefficients are made when their events are drawn, and are not kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from reliability.faults.times import SWITCHING, SWITCHING_OFF, WAITING, Term
from reliability.indices.events import Block, TrialSums, TrialTimes, YearWeights, event_counts, sums_of_events
from reliability.indices.measures import WALK_OR_OWN, Coefficients

# Of a larger table the coefficients would take more memory than it takes time to make them again.
MAX_ROWS_CACHED = 500_000
DRAWN_TERMS = {WALK_OR_OWN, *map(Term, (*WAITING, SWITCHING, SWITCHING_OFF))}    # all times that a trial may draw


@dataclass(frozen=True)
class LateBlock:
    """As `events.Block`, of the given rows (m,) of a table; make: gives the coefficients of rows."""

    rates: np.ndarray
    rows: np.ndarray
    multiplier_class: int
    make: Callable[[np.ndarray], Coefficients]

    def made(self) -> Block:
        """The block with its coefficients."""
        return Block(self.rates, self.make(self.rows), self.multiplier_class)


def simulate_late(block: LateBlock, weights: YearWeights, times: TrialTimes, seed: np.random.SeedSequence) -> TrialSums:
    """As `simulate_block`, with what the columns are; coefficients are made of the rows that have an event."""
    rng, counts = event_counts(block.rates, weights, seed)
    hit = np.flatnonzero(counts)
    made = block.make(block.rows[hit])
    return sums_of_events(rng, made, counts[hit], weights, times)._replace(of=_heading(made))


def _heading(of: Coefficients) -> Coefficients:
    """What the columns are, without their numbers."""
    bent, own = of.bent, of.own
    return replace(of, count=of.count[:0], severity=of.severity[:0],
                   bent=None if bent is None else replace(bent, durations=(), columns=bent.columns[:0].copy()),
                   own=None if own is None else replace(own, hours=own.hours[:0], columns=own.columns[:0]))
