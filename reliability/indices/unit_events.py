"""Draw events whose rates differ from trial to trial unit by unit, as those learned from records do.

For every row the number of events over all trials is drawn, then for each event a trial in proportion to the trial's
rate in the row's unit, then a year of it. Where a further uncertain assumption scales the rates of the rows' class,
either a table of their own has it, or, for few events, whether an event falls in its trial is decided once more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from reliability.indices.events import DRAW_BITS, TrialSums, TrialTimes, sums_by_year
from reliability.indices.measures import Coefficients

# Fixed sizes: with the seed they settle every digit, so changing one changes results.
EVENTS_A_YEAR = 400.0   # expected of the rows of one block
FEWEST_OF_A_PART = 2.0  # expected a year in a block, below which classes share a part
ROWS_PER_BLOCK = 100_000
# Slots of the guide tables for each thing to choose from; more make the search rarer, the tables larger.
SLOTS_OF_TRIALS = 2
SLOTS_OF_YEARS = 16
EVENTS_OF_OWN_TABLE = 3.0   # expected for each entry of a table that a part gets of its own
AT_ONCE = 2 ** 17       # choices made together; what they need stays in the processor's cache


@dataclass(frozen=True)
class Part:
    """Rows of a block that are summed together: rates (m,) a year, group (m,) of each row in the block, coefficients of
    the rows; classes: of their multipliers, and which of them each row has, (m,)."""

    rates: np.ndarray
    group: np.ndarray
    coefficients: Coefficients
    classes: tuple[int, ...]
    of_class: np.ndarray

    @cached_property
    def groups(self) -> np.ndarray:
        """Those of the block that any row is of."""
        return np.unique(self.group)


@dataclass(frozen=True)
class UnitBlock:
    """Rows of some units: unit and permanent (g,), bool, of each group of rows, and the parts that they make."""

    unit: np.ndarray
    permanent: np.ndarray
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class UnitRows:
    """Rows to be cut into blocks, (m,) each: row of the table, rate, class of its multiplier, make (only rows of one
    are summed together), unit and whether its faults are permanent."""

    row: np.ndarray
    rate: np.ndarray
    multiplier_class: np.ndarray
    make: np.ndarray
    unit: np.ndarray
    permanent: np.ndarray


def unit_blocks(rows: UnitRows, coefficients: Callable[[np.ndarray], Coefficients]) -> Iterator[UnitBlock]:
    """Blocks of whole units, each of about so many expected events and rows; coefficients: of rows of the table.

    Classes of few events share a part, as every part costs something.
    """
    by_unit = np.argsort(rows.unit, kind="stable")
    events = np.cumsum(rows.rate[by_unit]) / EVENTS_A_YEAR
    size = np.floor(np.maximum(events, np.arange(len(by_unit)) / ROWS_PER_BLOCK))
    first = np.append(True, np.diff(rows.unit[by_unit]) > 0)[:len(by_unit)]
    # a unit goes whole into the block in which it begins
    block = np.empty(len(by_unit), dtype=np.int64)
    block[by_unit] = np.unique(size[first][np.cumsum(first) - 1], return_inverse=True)[1]
    makes, classes = int(rows.make.max(initial=0)) + 1, int(rows.multiplier_class.max(initial=0)) + 1
    of_make = block * makes + rows.make
    part = of_make * (classes + 1) + rows.multiplier_class
    part = np.where(np.bincount(part, rows.rate)[part] < FEWEST_OF_A_PART, of_make * (classes + 1) + classes, part)
    group = rows.unit * 2 + rows.permanent
    order = np.lexsort((group, part, block))
    for at in np.split(order, np.flatnonzero(np.diff(block[order])) + 1) if len(order) else ():
        found, index = np.unique(group[at], return_inverse=True)
        edges = np.append(np.flatnonzero(np.append(True, np.diff(part[at]) != 0)), len(at))
        parts = []
        for a, b in pairwise(edges.tolist()):
            of, of_class = np.unique(rows.multiplier_class[at[a:b]], return_inverse=True)
            parts.append(Part(rows.rate[at[a:b]], index[a:b].astype(np.int32), coefficients(rows.row[at[a:b]]),
                              tuple(of.tolist()), of_class.astype(np.int32)))
        yield UnitBlock(found // 2, found % 2 == 1, tuple(parts))


@dataclass(frozen=True)
class Chooser:
    """Draws one of k things in proportion to weights, for each of g groups.

    edges: (g × k) last number of 32 bits that falls to each thing. guide: (g × slots) first thing that reaches into
    each of a power of two of equal slots of the numbers, as −1 − it where more than one other follows in the slot.
    """

    edges: np.ndarray
    guide: np.ndarray
    things: int
    slots: int

    def choose(self, rng: np.random.Generator, group: np.ndarray, repeats: np.ndarray | None = None) -> np.ndarray:
        """A thing for each group (e,), as often as `repeats` (e,) says."""
        group = group.astype(np.int32 if self.guide.size < 2 ** 31 else np.int64, copy=False)
        if repeats is not None:
            group = np.repeat(group, repeats)
        chosen = np.zeros(len(group), dtype=np.int32)
        if self.things > 1:
            for first in range(0, len(group), AT_ONCE):
                at = slice(first, first + AT_ONCE)
                chosen[at] = self._chosen(rng, group[at])
        return chosen

    def _chosen(self, rng: np.random.Generator, group: np.ndarray) -> np.ndarray:
        base, edge = group * self.slots, group * self.things
        # two numbers of 32 bits out of each of 64
        drawn = rng.bit_generator.random_raw(-(-len(group) // 2)).view(np.uint32)[:len(group)]
        base += (drawn >> np.uint32(DRAW_BITS - self.slots.bit_length() + 1)).view(np.int32)
        chosen: np.ndarray = self.guide.take(base)
        behind = np.flatnonzero(chosen < 0)
        chosen[behind] = -1 - chosen[behind]
        edge += chosen
        chosen += drawn > self.edges.take(edge)
        while behind.size:
            edge[behind] += 1
            behind = behind[drawn[behind] > self.edges.take(edge[behind])]
            chosen[behind] += 1
        return chosen


def chooser(weights: np.ndarray, slots_each: int) -> Chooser:
    """A chooser of weights (g, k) with at least so many slots for each of the k; a row without weights is not asked."""
    groups, things = weights.shape
    edges = np.cumsum(weights, axis=1, dtype=float)
    edges *= 2.0 ** DRAW_BITS / np.maximum(edges[:, -1:], 1e-250)
    np.rint(edges, out=edges)
    slots = 2 ** int(np.ceil(np.log2(slots_each * things))) if things > 1 else 1
    # how many slots start before each thing's end
    ends = np.ceil(edges * (slots / 2.0 ** DRAW_BITS)).astype(np.int32)
    ends[:, -1] = slots
    ends[:, 1:] -= ends[:, :-1].copy()
    small: type[np.int16 | np.int32] = np.int16 if things < 2 ** 15 else np.int32
    guide: np.ndarray = np.repeat(np.tile(np.arange(things, dtype=small), groups), ends.ravel())
    last = np.full((groups, 1), things - 1, dtype=small)
    several = np.diff(guide.reshape(groups, slots), axis=1, append=last).ravel() > 1
    np.invert(guide, out=guide, where=several)      # −1 − it
    edges = np.maximum(edges - 1, 0)                # a thing without numbers is never looked up
    return Chooser(edges.astype(np.uint32).ravel(), guide, things, slots)


def simulate_unit_block(block: UnitBlock, rates: np.ndarray, yearly: np.ndarray, multipliers: Sequence[np.ndarray],
                        times: TrialTimes, seed: np.random.SeedSequence) -> list[TrialSums]:
    """Sums of the columns by trial-year, of each part.

    rates: (g, trials) of each group relative to those of its rows. yearly: (trials, years) multipliers of a year.
    multipliers: of each part's classes, (classes, trials), or (classes, 1) where all trials have the same.
    """
    rng = np.random.Generator(np.random.SFC64(seed))
    weights = rates * yearly.sum(axis=1)
    total, of_trial = weights.sum(axis=1), chooser(weights, SLOTS_OF_TRIALS)
    of_year = None if np.all(yearly == yearly[:, :1]) else chooser(yearly, SLOTS_OF_YEARS)
    sums = []
    for part, of_classes in zip(block.parts, multipliers, strict=True):
        most, differs = of_classes.max(axis=1), of_classes.shape[1] > 1
        few = part.rates.sum() * yearly.size < EVENTS_OF_OWN_TABLE * len(part.groups) * len(yearly)
        if not differs or few or len(part.classes) > 1:
            counts, trial = _events(rng, part.rates * most[part.of_class], part.group, total, of_trial)
            if differs:
                counts, trial = _thinned(rng, of_classes, part.of_class, counts, trial)
        else:
            own, own_group = weights[part.groups] * of_classes, np.searchsorted(part.groups, part.group)
            counts, trial = _events(rng, part.rates, own_group, own.sum(axis=1), chooser(own, SLOTS_OF_TRIALS))
        sums.append(_sums(rng, part.coefficients, counts, trial, of_year, yearly.shape, times))
    return sums


def _events(rng: np.random.Generator, rates: np.ndarray, group: np.ndarray, total: np.ndarray,
            of_trial: Chooser) -> tuple[np.ndarray, np.ndarray]:
    """Number of events of each row (m,), and the trial of each event (e,), rows in their order."""
    counts = rng.poisson(rates * total[group])
    return counts, of_trial.choose(rng, group, counts)


def _thinned(rng: np.random.Generator, of_classes: np.ndarray, of_class: np.ndarray, counts: np.ndarray,
             trial: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """As many of the events of each trial as the multiplier there of their row's class is of its largest."""
    largest, at = of_classes.max(axis=1), trial
    if len(largest) > 1:
        row_class = np.repeat(of_class, counts)
        largest, at = largest[row_class], row_class * of_classes.shape[1] + trial
    kept = rng.random(len(trial), dtype=np.float32) * largest < of_classes.ravel().take(at)
    return np.diff(np.append(0, np.cumsum(kept))[np.append(0, np.cumsum(counts))]), trial[kept]


def _sums(rng: np.random.Generator, coefficients: Coefficients, counts: np.ndarray, trial: np.ndarray,
          of_year: Chooser | None, shape: tuple[int, ...], times: TrialTimes) -> TrialSums:
    trials, years = shape
    year = rng.integers(years, size=len(trial), dtype=np.int32) if of_year is None else of_year.choose(rng, trial)
    year += trial * np.int32(years)
    return sums_by_year(rng, coefficients, year, np.append(0, np.cumsum(counts)), trials * years, times)
