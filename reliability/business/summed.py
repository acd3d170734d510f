"""Sums of an outcome table, made in parts of whole trees, so that what they take on the way does not grow with it.

Faults of one tree and those of another share no unit, so that the parts only stand beside each other; where units are
larger, such as the whole network, their sums add.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy import sparse

from reliability.business.cells import Measured, SumTargets, Timed, cells_of, places_of
from reliability.business.costs import INTERRUPTION, customers_by_class, momentary_worth
from reliability.business.factors import Factors, factor_entries, united
from reliability.business.features import joined, matrix_of
from reliability.business.own_hours import OwnHours, own_hours_of
from reliability.faults.alike import changed_rows
from reliability.faults.outcomes import OutcomeParts, OutcomeTable
from reliability.indices.measures import amounts_of
from reliability.network.packed import distinct
from reliability.network.tree import Network
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.values import Assumptions
from reliability.study.cost_table import CostTable
from reliability.tasks import HERE, Workers

MOST_CHANGED = 0.5      # of the rows: both scenarios over so many take as long as one over all; our choice
TIMED_OF = {"customer_hours": "customers",
            "load_kwh": "load"}  # quantities whose hours count, and what they are made of
_Sums = tuple[sparse.csr_array, np.ndarray]     # sums by unit, and what waits for own hours, see `cells_of`


@dataclass(frozen=True)
class Summed:
    """Sums of a table over units: scenarios S; of the others see `closed_form.ClosedForm`."""

    scenarios: int
    factors: Factors
    matrix: sparse.csr_array
    factor: np.ndarray
    price: np.ndarray
    own: OwnHours
    timed: tuple[Timed, ...]


@dataclass(frozen=True)
class _Part:
    """Sums of a part: its factors, the matrix of each scenario by those units that it has, and own hours."""

    factors: Factors
    units: np.ndarray
    matrices: list[sparse.csr_array]
    own: OwnHours


def summed(parts: OutcomeParts, values: Assumptions, names: Sequence[str], costs: CostTable,
           unit: np.ndarray | None, as_built: bool, workers: Workers = HERE) -> Summed:
    """Sums of the parts of a table by unit; see `closed_form`. unit: (n,) of each section, −1 to leave it out."""
    measured = measured_of(parts.network, names, costs)
    of_section = np.zeros(len(parts.network), dtype=np.int64) if unit is None else unit
    who = workers if len(parts.make) > 1 else HERE
    measured.find_sums()
    found = list(who.in_order([partial(_made, make, values, of_section, measured, as_built) for make in parts.make],
                              alike=True))
    whole, index = united([part.factors for part in found])
    own = [replace(part.own, factor=at[part.own.factor]) for part, at in zip(found, index, strict=True)]
    matrix, factor, price = joined([part.matrices for part in found], [part.units for part in found],
                                   int(of_section.max(initial=0)) + 1, index, len(whole.kinds), len(measured.timed))
    return Summed(len(found[0].matrices), whole, matrix, factor, price, _one_behind_the_other(own), measured.timed)


def _made(make: Callable[[], OutcomeTable], values: Assumptions, unit: np.ndarray, measured: Measured,
          as_built: bool) -> _Part:
    return _sums(make(), values, unit, measured, as_built)


def _sums(table: OutcomeTable, values: Assumptions, unit: np.ndarray, measured: Measured, as_built: bool) -> _Part:
    factors, entries = factor_entries(table, values)
    everywhere, units = places_of(table, factors, entries, unit, measured), int(unit.max(initial=0)) + 1
    some, row = distinct(everywhere.unit)

    def sums(rows: OutcomeTable, places: SumTargets, scenario: int) -> _Sums:
        cells, waits = cells_of(rows, scenario, values, replace(places, unit=row), measured)
        return matrix_of(cells, len(some), len(factors.kinds), len(measured.timed)), waits

    matrices, waits = zip(*_less_than_first(table, everywhere, sums, as_built), strict=True)
    return _Part(factors, some, list(matrices), own_hours_of(waits, everywhere, units))


def _less_than_first(table: OutcomeTable, places: SumTargets, sums: Callable[[OutcomeTable, SumTargets, int], _Sums],
                     as_built: bool) -> Iterator[_Sums]:
    """Sums of the first scenario, nil where they are not wanted, and of each other how much less they are.

    Where few rows change, both are of those alone.
    """
    first = sums(table, places, 0)
    yield first if as_built else (sparse.csr_array(first[0].shape), np.zeros_like(first[1]))
    for scenario in range(1, len(table.scenarios)):
        changed = changed_rows(table, scenario)
        before, rows, there = first, table, places
        if changed.sum() < MOST_CHANGED * len(changed):
            rows, there = table.take(np.flatnonzero(changed)), _of_rows(places, changed)
            before = sums(rows, there, 0)
        after = sums(rows, there, scenario)
        yield before[0] - after[0], before[1] - after[1]


def _of_rows(places: SumTargets, rows: np.ndarray) -> SumTargets:
    """Those of the entries of some rows, (r,) bool, which are numbered among these."""
    at, number = np.flatnonzero(rows[places.row]), np.cumsum(rows) - 1
    return replace(places, row=number[places.row[at]], weight=places.weight[at], place=places.place[at],
                   own=places.own[at])


def measured_of(network: Network, names: Sequence[str], costs: CostTable) -> Measured:
    """What is summed for amounts by name."""
    amounts, hours = amounts_of(network), network.column["repair_hours"]
    stated = np.unique(hours[~np.isnan(hours)])
    own_hours = np.searchsorted(stated, hours)
    timed = [Timed(name, amounts[what]) for name, what in TIMED_OF.items() if name in names]
    if INTERRUPTION not in names:
        return Measured(amounts["customers"], None, tuple(timed), stated, own_hours)
    by_class = customers_by_class(network)
    timed += [Timed(INTERRUPTION, by_class, c) for c in range(len(CUSTOMER_CLASSES))]
    return Measured(amounts["customers"], momentary_worth(network, costs), tuple(timed), stated, own_hours)


def _one_behind_the_other(parts: list[OwnHours]) -> OwnHours:
    if len(parts) == 1:
        return parts[0]
    unit, factor, walked, hours, amount = (np.concatenate([getattr(part, name) for part in parts])
                                           for name in ("unit", "factor", "walked", "hours", "amount"))
    return OwnHours(unit, factor, walked, hours, amount, parts[0].stated)
