"""Sums of an outcome table as a matrix of outputs by features: a feature is a product of factors and a price."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy import sparse

from reliability.business.cells import COUNTED, TERMS, Cells
from reliability.faults.consequences import CALLOUTS, NO_CALLOUT

PLAIN = (*CALLOUTS, *COUNTED)  # prices of what is counted; one for each time of each quantity follows


def matrix_of(sums: Sequence[Cells], units: int, factors: int, quantities: int,
              as_built: bool) -> tuple[sparse.csr_array, np.ndarray, np.ndarray]:
    """(sums of each scenario less those of the first's, (o, f), factor, price) of the features that matter, (f,) each.

    as_built: whether the sums of the first scenario are wanted too, else they are left out.
    """
    prices = len(PLAIN) + quantities * len(TERMS)
    each = [_matrix(cells, units, factors, prices) for cells in sums]
    first = each[0] if as_built else sparse.csr_array(each[0].shape)
    matrix = sparse.csr_array(sparse.vstack([first, *(each[0] - other for other in each[1:])], format="csr"))
    used = np.flatnonzero(np.bincount(matrix.indices, minlength=factors * prices))
    place = np.zeros(factors * prices, dtype=matrix.indices.dtype)
    place[used] = np.arange(len(used))
    small = sparse.csr_array((matrix.data, place[matrix.indices], matrix.indptr), shape=(matrix.shape[0], len(used)))
    return small, used // prices, used % prices


def _matrix(cells: Cells, units: int, factors: int, prices: int) -> sparse.csr_array:
    """Sums of one scenario, (units, factors × prices)."""
    row, column, value = (np.concatenate(parts) for parts in zip(*_entries(cells, prices), strict=True))
    some = np.flatnonzero(value)
    return sparse.csr_array((value[some], (row[some], column[some])), shape=(units, factors * prices))


def _entries(cells: Cells, prices: int) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """(unit, feature, sum) of everything that a scenario has."""
    place = cells.factor * prices
    called = np.flatnonzero(cells.callout != NO_CALLOUT)
    yield cells.unit[called], place[called] + cells.callout[called], cells.events[called]
    for j, counted in enumerate(cells.counted.T):
        yield cells.unit, place + len(CALLOUTS) + j, counted
    waits = np.flatnonzero(cells.waits >= 0)
    for q, (waiting, back) in enumerate(zip(cells.waiting.T, cells.back.T, strict=True)):
        start = len(PLAIN) + q * len(TERMS)
        yield cells.unit[waits], place[waits] + start + cells.waits[waits], waiting[waits]
        yield cells.unit, place + start + cells.switched, back
