"""What waits for the repair hours that sections state: sums over many sections, each with a time of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from reliability.business.cells import Places
from reliability.network.packed import distinct


@dataclass(frozen=True)
class OwnHours:
    """Amounts that wait for sections' own hours, m sums.

    unit, factor: (m,) what they are of. walked: (m,) whether they wait at the least until the line has been walked.
    hours: (m,) index into `stated`, the distinct hours, ascending. amount: (m, quantities).
    """

    unit: np.ndarray
    factor: np.ndarray
    walked: np.ndarray
    hours: np.ndarray
    amount: np.ndarray
    stated: np.ndarray

    def __len__(self) -> int:
        return len(self.unit)

    @cached_property
    def _pairs(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(unit, factor) of the distinct pairs among the walked, and which pair each of these is of."""
        size = int(self.factor.max(initial=0)) + 1
        at = np.flatnonzero(self.walked)
        pairs, pair = distinct(self.unit[at].astype(np.int64) * size + self.factor[at])
        return pairs // size, pairs % size, pair

    @property
    def width(self) -> int:
        """Numbers that a draw of the walk takes."""
        return len(self._pairs[0])

    def waited(self, units: int, factors: np.ndarray, worth: np.ndarray, value: np.ndarray,
               walk: np.ndarray, value_of_walk: np.ndarray) -> np.ndarray:
        """Sums of amounts × factors × worth × value of the hours waited, by unit, (K, units).

        factors: (K, factors). worth: (K, quantities). value: (distinct hours, quantities). walk: (K,) hours until the
        line has been walked; value_of_walk: (K, quantities). Any K may be 1.
        """
        total = np.zeros((1, units))
        for q, amount in enumerate(self.amount.T):
            if not worth[:, q].any():
                continue
            if len(walk) == 1:
                longer = np.where(self.stated > walk, value[:, q], value_of_walk[:, q])
                found = self._fixed(amount * np.stack([value[:, q], longer])[self.walked.astype(int), self.hours],
                                    units, factors)
            else:
                found = self._fixed(np.where(self.walked, 0.0, amount * value[self.hours, q]), units, factors)
                found = found + self._longer(amount[self.walked], value[:, q], walk, value_of_walk[:, q], units,
                                             factors)
            total = total + worth[:, q, None] * found
        return total

    def _fixed(self, amount: np.ndarray, units: int, factors: np.ndarray) -> np.ndarray:
        weights = sparse.csr_array((amount, (self.unit, self.factor)), shape=(units, factors.shape[1]))
        return np.asarray((weights @ factors.T).T)

    def _longer(self, amount: np.ndarray, value: np.ndarray, walk: np.ndarray, value_of_walk: np.ndarray, units: int,
                factors: np.ndarray) -> np.ndarray:
        """What waits for the longer of its own hours and the walk of each draw, (K, units).

        In the order of the walks, every own time is passed once.
        """
        (unit, factor, pair), draws = self._pairs, len(walk)
        order, own = np.argsort(walk, kind="stable"), self.hours[self.walked]
        passed = np.searchsorted(walk[order], self.stated)[own] * len(unit) + pair

        def running(each: np.ndarray) -> np.ndarray:
            counted = np.bincount(passed, each, (draws + 1) * len(unit))
            return counted.reshape(draws + 1, len(unit)).cumsum(axis=0)

        shorter, reached = running(amount), running(amount * value[own])
        found = np.empty((draws, len(unit)))
        found[order] = shorter[:-1] * value_of_walk[order, None] + (reached[-1] - reached[:-1])
        to_unit = sparse.csr_array((np.ones(len(unit)), (unit, np.arange(len(unit)))), shape=(units, len(unit)))
        return np.asarray((to_unit @ (found * factors[:, factor]).T).T)


def own_hours_of(sums: Sequence[np.ndarray], places: Places, units: int, as_built: bool) -> OwnHours:
    """Own hours of all scenarios, as how much less they are than the first's, by output scenario × units + unit.

    sums: of each scenario, see `cells_of`. as_built: whether those of the first are wanted too, else they are left out.
    """
    parts = []
    for scenario, own in enumerate(sums):
        amount = sums[0] - own if scenario else own * as_built
        time, walked = np.nonzero(amount.any(axis=2))
        place = places.own_place[time]
        parts.append(((scenario * units + places.unit[place]).astype(np.int32), places.factor[place].astype(np.int32),
                      walked == 1, places.own_hours[time].astype(np.int32), amount[time, walked]))
    unit, factor, walked, hours, amount = (np.concatenate(column) for column in zip(*parts, strict=True))
    return OwnHours(unit, factor, walked, hours, amount, places.stated)
