"""What waits for the repair hours that sections state: sums over many sections, each with a time of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy import sparse

from reliability.business.cells import SumTargets
from reliability.network.packed import distinct, of_each

MOST_KEPT = 4           # walks and prices whose sums are kept: each takes the memory of all entries
Values = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class OwnHours:
    """Amounts that wait for sections' own hours, m sums.

    unit, factor: (m,) what they are of. walked: (m,) whether they wait at the least until the line has been walked.
    hours: (m,) index into `stated`, the distinct hours, ascending. amount: (m, quantities).
    kept: see `_fixed`.
    """

    unit: np.ndarray
    factor: np.ndarray
    walked: np.ndarray
    hours: np.ndarray
    amount: np.ndarray
    stated: np.ndarray

    kept: dict[tuple[object, ...], list[sparse.csr_array]] = field(default_factory=dict, repr=False, compare=False)

    def __len__(self) -> int:
        return len(self.unit)

    def of_units(self, units: np.ndarray) -> OwnHours:
        """Those of some units (u,), which are 0 … u − 1 then."""
        order, begin, end = self._by_unit
        known = np.minimum(units, len(begin) - 1)
        unit, number = of_each(np.where(units < len(begin), end[known] - begin[known], 0))
        at = order[begin[known[unit]] + number]
        return OwnHours(unit.astype(np.int32), self.factor[at], self.walked[at], self.hours[at], self.amount[at],
                        self.stated)

    @cached_property
    def _by_unit(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(entries in the order of their units, (m,); where those of each unit begin there, and end)."""
        order, counts = np.argsort(self.unit, kind="stable"), np.bincount(self.unit, minlength=1)
        end = np.cumsum(counts)
        return order, end - counts, end

    @cached_property
    def _pairs(self) -> _Grouped:
        """The walked by unit and factor."""
        return self._grouped(self.factor)

    @cached_property
    def _places(self) -> _Grouped:
        """The walked by unit and hours."""
        return self._grouped(self.hours)

    def _grouped(self, by: np.ndarray) -> _Grouped:
        size, at = int(by.max(initial=0)) + 1, np.flatnonzero(self.walked)
        pairs, pair = distinct(self.unit[at].astype(np.int64) * size + by[at])
        return _Grouped(pairs // size, pairs % size, pair)

    @property
    def width(self) -> int:
        """Numbers that a draw of the walk takes."""
        return min(len(self._pairs.unit), len(self._places.unit))

    def waited(self, units: int, factors: np.ndarray, worth: np.ndarray, walk: np.ndarray, value_of: Values,
               prices: tuple[object, ...]) -> np.ndarray:
        """Sums of amounts × factors × worth × value of the hours waited, by unit, (K, units).

        factors: (K, factors). worth: (K, quantities). walk: (K,) hours until the line has been walked. Any K may be 1.
        value_of: gives the value of hours (m,), (m, quantities). prices: whatever tells this from other such functions.
        """
        total, each_draw = np.zeros((1, units)), len(walk) > 1
        fixed = self._fixed((units, factors.shape[1]), None if each_draw else walk, value_of, prices)
        some = np.flatnonzero(worth.any(axis=0))
        values = (value_of(self.stated), value_of(walk)) if each_draw and some.size else None
        for q in some.tolist():
            found = np.asarray((fixed[q] @ factors.T).T)
            if values is not None:
                found = found + self._longer(q, values[0][:, q], walk, values[1][:, q], units, factors)
            total = total + worth[:, q, None] * found
        return total

    def _fixed(self, shape: tuple[int, int], walk: np.ndarray | None, value_of: Values,
               prices: tuple[object, ...]) -> list[sparse.csr_array]:
        """What one of each factor comes to, (units, factors) by quantity; of the walked only where the walk is (1,).

        Kept, as it is often the same.
        """
        key = (*shape, None if walk is None else float(walk[0]), *prices)
        found = self.kept.get(key)                  # others may add to it or clear it meanwhile
        if found is None:
            if len(self.kept) >= MOST_KEPT:
                self.kept.clear()
            value = value_of(self.stated)
            at = np.flatnonzero(~self.walked) if walk is None else np.arange(len(self))
            each = value[self.hours[at]]
            if walk is not None:
                short = np.flatnonzero(self.walked & (self.stated[self.hours] <= walk))
                each[short] = value_of(walk)
            found = [sparse.csr_array((amount, (self.unit[at], self.factor[at])), shape=shape)
                     for amount in (self.amount[at] * each).T]
            self.kept[key] = found
        return found

    def _longer(self, q: int, value: np.ndarray, walk: np.ndarray, value_of_walk: np.ndarray, units: int,
                factors: np.ndarray) -> np.ndarray:
        """What waits for the longer of its own hours and the walk of each draw, (K, units), of one quantity.

        value: of the stated hours. By whichever are fewer, the places or the pairs of units and factors.
        """
        amount = self.amount[self.walked, q]
        if len(self._places.unit) < len(self._pairs.unit):
            (unit, hours, place), factor = self._places, self.factor[self.walked]
            by_place = sparse.csr_array((amount, (place, factor)), shape=(len(unit), factors.shape[1]))
            longer = np.where(self.stated[hours, None] > walk, value[hours, None], value_of_walk)
            found = (by_place @ factors.T) * longer
            return np.asarray((_to_unit(unit, units) @ found).T)
        (unit, factor, pair), draws = self._pairs, len(walk)
        # in the order of the walks, every own time is passed once
        order, own = np.argsort(walk, kind="stable"), self.hours[self.walked]
        passed = np.searchsorted(walk[order], self.stated)[own] * len(unit) + pair

        def running(each: np.ndarray) -> np.ndarray:
            counted = np.bincount(passed, each, (draws + 1) * len(unit))
            return counted.reshape(draws + 1, len(unit)).cumsum(axis=0)

        shorter, reached = running(amount), running(amount * value[own])
        found = np.empty((draws, len(unit)))
        found[order] = shorter[:-1] * value_of_walk[order, None] + (reached[-1] - reached[:-1])
        return np.asarray((_to_unit(unit, units) @ (found * factors[:, factor]).T).T)


class _Grouped(NamedTuple):
    """Entries by unit and something else: (g,) of each group, and which group each entry is of."""

    unit: np.ndarray
    other: np.ndarray
    group: np.ndarray


def _to_unit(unit: np.ndarray, units: int) -> sparse.csr_array:
    """Sums of groups by unit, (units, groups)."""
    return sparse.csr_array((np.ones(len(unit)), (unit, np.arange(len(unit)))), shape=(units, len(unit)))


def own_hours_of(amounts: Sequence[np.ndarray], places: SumTargets, units: int) -> OwnHours:
    """Own hours of all scenarios, by output scenario × units + unit; amounts: of each, see `cells_of`."""
    parts = []
    for scenario, amount in enumerate(amounts):
        time, walked = np.nonzero(amount.any(axis=2))
        place = places.own_place[time]
        parts.append(((scenario * units + places.unit[place]).astype(np.int32), places.factor[place].astype(np.int32),
                      walked == 1, places.own_hours[time].astype(np.int32), amount[time, walked]))
    unit, factor, walked, hours, amount = (np.concatenate(column) for column in zip(*parts, strict=True))
    return OwnHours(unit, factor, walked, hours, amount, places.stated)
