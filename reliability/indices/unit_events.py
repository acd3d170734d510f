"""Draw events whose rates differ from trial to trial unit by unit, as those learned from records do.

For every row the number of events over all trials is drawn, then for each event a trial in proportion to the trial's
rate in the row's unit, then a year of it. Whether an event falls in its trial is decided once more where a further
uncertain assumption scales the rates of the row's class.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from reliability.indices.events import DRAW_BITS, Sums, Times, sums_by_year
from reliability.indices.measures import Coefficients

# Fixed sizes: with the seed they settle every digit, so changing one changes results.
EVENTS_A_YEAR = 400.0   # expected of the rows of one block
ROWS_PER_BLOCK = 100_000
# Slots of the guide tables for each thing to choose from; more make the search rarer, the tables larger.
SLOTS_OF_TRIALS = 2
SLOTS_OF_YEARS = 16


@dataclass(frozen=True)
class Part:
    """Rows of a block with one class of multiplier: rates (m,) a year, group (m,) of each row in the block,
    coefficients of the rows, and the class."""

    rates: np.ndarray
    group: np.ndarray
    coefficients: Coefficients
    multiplier_class: int


@dataclass(frozen=True)
class UnitBlock:
    """Rows of some units: unit and permanent (g,), bool, of each group of rows, and the parts that they make."""

    unit: np.ndarray
    permanent: np.ndarray
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class UnitRows:
    """Rows to be cut into blocks, (m,) each: row of the table, rate, class of its multiplier, part (code of what may
    stand in one part), unit and whether its faults are permanent."""

    row: np.ndarray
    rate: np.ndarray
    multiplier_class: np.ndarray
    part: np.ndarray
    unit: np.ndarray
    permanent: np.ndarray


def unit_blocks(rows: UnitRows, coefficients: Callable[[np.ndarray], Coefficients]) -> Iterator[UnitBlock]:
    """Blocks of whole units, each of about so many expected events and rows; coefficients: of rows of the table."""
    by_unit = np.argsort(rows.unit, kind="stable")
    events = np.cumsum(rows.rate[by_unit]) / EVENTS_A_YEAR
    size = np.floor(np.maximum(events, np.arange(len(by_unit)) / ROWS_PER_BLOCK))
    first = np.append(True, np.diff(rows.unit[by_unit]) > 0)
    # a unit goes whole into the block in which it begins
    block = np.empty(len(by_unit))
    block[by_unit] = size[first][np.cumsum(first) - 1]
    group = rows.unit * 2 + rows.permanent
    order = np.lexsort((group, rows.part, block))
    starts = np.append(True, (np.diff(block[order]) > 0))
    for at in np.split(order, np.flatnonzero(starts)[1:]):
        found, index = np.unique(group[at], return_inverse=True)
        edges = np.append(np.flatnonzero(np.append(True, np.diff(rows.part[at]) != 0)), len(at))
        parts = tuple(Part(rows.rate[at[a:b]], index[a:b].astype(np.int32), coefficients(rows.row[at[a:b]]),
                           int(rows.multiplier_class[at[a]])) for a, b in pairwise(edges.tolist()))
        yield UnitBlock(found // 2, found % 2 == 1, parts)


@dataclass(frozen=True)
class Chooser:
    """Draws one of k things in proportion to weights, for each of g groups.

    edges: (g × k) cumulative weights in units of 2⁻³². guide: (g × slots) first thing that reaches into each of a power
    of two of equal slots, as −1 − it where more than one other follows in the slot.
    """

    edges: np.ndarray
    guide: np.ndarray
    things: int
    slots: int

    def choose(self, rng: np.random.Generator, group: np.ndarray, repeats: np.ndarray | None = None) -> np.ndarray:
        """A thing for each group (e,), as often as `repeats` (e,) says."""
        group = group.astype(np.int32 if self.guide.size < 2 ** 31 else np.int64)
        base, edge = group * self.slots, group * self.things
        if repeats is not None:
            base, edge = np.repeat(base, repeats), np.repeat(edge, repeats)
        if self.things == 1:
            return np.zeros(len(base), dtype=np.int16)
        drawn = rng.integers(2 ** DRAW_BITS, size=len(base), dtype=np.uint32)
        base += (drawn >> np.uint32(DRAW_BITS - self.slots.bit_length() + 1)).view(np.int32)
        chosen = self.guide.take(base)
        behind = np.flatnonzero(chosen < 0)
        chosen[behind] = -1 - chosen[behind]
        edge += chosen
        chosen += drawn >= self.edges.take(edge)
        for _ in range(self.things):        # the largest number drawn lies at every later edge
            if not behind.size:
                break
            edge[behind] += 1
            behind = behind[drawn[behind] >= self.edges.take(edge[behind], mode="clip")]
            chosen[behind] += 1
        return np.minimum(chosen, self.things - 1, out=chosen)


def chooser(weights: np.ndarray, slots_each: int) -> Chooser:
    """A chooser of weights (g, k) with at least so many slots for each of the k; a row without weights is not asked."""
    groups, things = weights.shape
    running = np.cumsum(weights, axis=1, dtype=float)
    running *= 2.0 ** DRAW_BITS / np.maximum(running[:, -1:], 1e-250)
    edges = np.rint(running, out=running).astype(np.int64)
    slots = 2 ** int(np.ceil(np.log2(slots_each * things))) if things > 1 else 1
    shift = DRAW_BITS - slots.bit_length() + 1
    # things that end at or before the start of each slot
    ends = -(-edges >> shift) + np.arange(groups)[:, None] * (slots + 1)
    counts = np.bincount(ends.ravel(), minlength=groups * (slots + 1)).reshape(groups, slots + 1)
    small: type[np.int16 | np.int32] = np.int16 if things < 2 ** 15 else np.int32
    first: np.ndarray = np.cumsum(counts, axis=1).astype(small)
    np.minimum(first, things - 1, out=first)
    guide = np.where(first[:, 1:] - first[:, :-1] <= 1, first[:, :-1], -1 - first[:, :-1])
    return Chooser(np.minimum(edges, 2 ** DRAW_BITS - 1).astype(np.uint32).ravel(), guide.ravel(), things, slots)


def simulate_unit_block(block: UnitBlock, rates: np.ndarray, yearly: np.ndarray, classes: Sequence[np.ndarray],
                        times: Times, seed: np.random.SeedSequence) -> list[Sums]:
    """Sums of the columns by trial-year, of each part.

    rates: (g, trials) of each group relative to those of its rows. yearly: (trials, years) multipliers of a year.
    classes: multiplier of each part's class, () or (trials,).
    """
    rng = np.random.Generator(np.random.SFC64(seed))
    trials, years = yearly.shape
    weights = rates * yearly.sum(axis=1)
    total, of_trial = weights.sum(axis=1), chooser(weights, SLOTS_OF_TRIALS)
    of_year = None if np.all(yearly == yearly[:, :1]) else chooser(yearly, SLOTS_OF_YEARS)
    return [_part(part, classes[i], of_trial, of_year, total, years, trials, times, rng)
            for i, part in enumerate(block.parts)]


def _part(part: Part, multiplier: np.ndarray, of_trial: Chooser, of_year: Chooser | None, total: np.ndarray, years: int,
          trials: int, times: Times, rng: np.random.Generator) -> Sums:
    most = float(np.max(multiplier))
    counts = rng.poisson(part.rates * total[part.group] * most)
    trial = of_trial.choose(rng, part.group, counts)
    if np.ndim(multiplier) and most > 0.0:
        kept = rng.random(len(trial), dtype=np.float32) * most < multiplier[trial]
        counts = np.diff(np.append(0, np.cumsum(kept))[np.append(0, np.cumsum(counts))])
        trial = trial[kept]
    year = rng.integers(years, size=len(trial), dtype=np.int32) if of_year is None else of_year.choose(rng, trial)
    year = trial.astype(np.int32) * np.int32(years) + year
    return sums_by_year(rng, part.coefficients, year, np.append(0, np.cumsum(counts)), trials * years, times)
