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

from reliability.business.cells import Cells, Measured, Places, Timed, cells_of, places_of
from reliability.business.costs import INTERRUPTION, customers_by_class, momentary_worth
from reliability.business.factors import Factors, factor_entries, united
from reliability.business.features import joined, matrices_of
from reliability.business.own_hours import OwnHours, own_hours_of
from reliability.faults.outcomes import OutcomeParts, OutcomeTable
from reliability.indices.measures import amounts_of
from reliability.network.packed import distinct
from reliability.network.tree import Network
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.values import Assumptions
from reliability.study.cost_table import CostTable
from reliability.tasks import HERE, Workers

TIMED = {"customer_hours": "customers", "load_kwh": "load"}  # quantities whose hours count, and what they are made of


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
    places, units = places_of(table, factors, entries, unit, measured), int(unit.max(initial=0)) + 1
    some, row = distinct(places.unit)
    waits: list[np.ndarray] = []
    matrices = matrices_of(_cells(table, values, replace(places, unit=row), measured, waits), len(some),
                           len(factors.kinds), len(measured.timed), as_built)
    return _Part(factors, some, matrices, own_hours_of(waits, places, units, as_built))


def _cells(table: OutcomeTable, values: Assumptions, places: Places, measured: Measured,
           waits: list[np.ndarray]) -> Iterator[Cells]:
    """Cells of one scenario after another, so that only one's are held; what waits for own hours goes to `waits`."""
    for scenario in range(len(table.scenarios)):
        cells, waiting = cells_of(table, scenario, values, places, measured)
        waits.append(waiting)
        yield cells


def measured_of(network: Network, names: Sequence[str], costs: CostTable) -> Measured:
    """What is summed for amounts by name."""
    amounts, hours = amounts_of(network), network.column["repair_hours"]
    stated = np.unique(hours[~np.isnan(hours)])
    own_hours = np.searchsorted(stated, hours)
    timed = [Timed(name, amounts[what]) for name, what in TIMED.items() if name in names]
    if INTERRUPTION not in names:
        return Measured(amounts["customers"], None, tuple(timed), stated, own_hours)
    by_class = customers_by_class(network)
    timed += [Timed(INTERRUPTION, by_class, c) for c in range(len(CUSTOMER_CLASSES))]
    return Measured(amounts["customers"], momentary_worth(network, costs), tuple(timed), stated,
                    own_hours)


def _one_behind_the_other(parts: list[OwnHours]) -> OwnHours:
    if len(parts) == 1:
        return parts[0]
    unit, factor, walked, hours, amount = (np.concatenate([getattr(part, name) for part in parts])
                                           for name in ("unit", "factor", "walked", "hours", "amount"))
    return OwnHours(unit, factor, walked, hours, amount, parts[0].stated)
