"""Sums of an outcome table, made in parts of whole trees, so that what they take on the way does not grow with it.

Faults of one tree and those of another share no unit, so that the parts only stand beside each other; where units are
larger, such as the whole network, their sums add.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from reliability.business.cells import Cells, Measured, Places, cells_of, places_of
from reliability.business.factors import Factors, factor_entries, united
from reliability.business.features import joined, matrices_of
from reliability.business.own_hours import OwnHours, own_hours_of
from reliability.faults.outcomes import OutcomeTable
from reliability.schema.values import Assumptions

ROWS_AT_ONCE = 500_000      # as many rows at least make a part; of one part the sums are those of the whole


@dataclass(frozen=True)
class Summed:
    """Sums of a table over units. factors, matrix, factor, price, own: see `closed_form.ClosedForm`."""

    factors: Factors
    matrix: sparse.csr_array
    factor: np.ndarray
    price: np.ndarray
    own: OwnHours


def summed(table: OutcomeTable, values: Assumptions, unit: np.ndarray, measured: Measured, as_built: bool) -> Summed:
    """Sums of a table by unit. values, as_built: see `closed_form`. unit: (n,) of each section, −1 to leave it out."""
    units, quantities = int(unit.max(initial=0)) + 1, len(measured.timed)
    factors, matrices, own = [], [], []
    for part in in_parts(table):
        found, entries = factor_entries(part, values)
        places = places_of(part, found, entries, unit)
        waits: list[np.ndarray] = []
        cells = _cells(part, values, places, measured, waits)
        matrices.append(matrices_of(cells, units, len(found.kinds), quantities, as_built))
        own.append(own_hours_of(waits, places, units, as_built))
        factors.append(found)
    whole, index = united(factors)
    of_own = [replace(one, factor=at[one.factor]) for one, at in zip(own, index, strict=True)]
    return Summed(whole, *joined(matrices, index, len(whole.kinds), quantities), _one_behind_the_other(of_own))


def _cells(table: OutcomeTable, values: Assumptions, places: Places, measured: Measured,
           waits: list[np.ndarray]) -> Iterator[Cells]:
    """Cells of one scenario after another, so that only one's are held; what waits for own hours goes to `waits`."""
    for scenario in range(len(table.scenarios)):
        cells, waiting = cells_of(table, scenario, values, places, measured)
        waits.append(waiting)
        yield cells


def in_parts(table: OutcomeTable) -> Iterator[OutcomeTable]:
    """The table by groups of neighbouring trees; the whole where it has few rows."""
    if len(table) <= ROWS_AT_ONCE:
        yield table
        return
    root = table.network.parent < 0
    before = np.cumsum(np.append(0, np.bincount(table.section, minlength=len(root))))[:-1]
    # sections stand tree by tree; a tree goes whole into the part in which it begins
    part_of_tree = before[root] // ROWS_AT_ONCE
    part = part_of_tree[np.cumsum(root) - 1].astype(np.int32)[table.section]
    for number in np.unique(part_of_tree).tolist():
        yield table.take(np.flatnonzero(part == number))


def _one_behind_the_other(parts: list[OwnHours]) -> OwnHours:
    if len(parts) == 1:
        return parts[0]
    columns = (np.concatenate([getattr(part, name) for part in parts])
               for name in ("unit", "factor", "walked", "hours", "amount"))
    return OwnHours(*columns, parts[0].stated)
