"""Sums of an outcome table as a matrix of outputs by features: a feature is a product of factors and a price."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy import sparse

from reliability.business.cells import COUNTED_CELLS, STUDY_TERMS, Cells
from reliability.faults.consequences import CALLOUTS, NO_CALLOUT

PLAIN_FEATURES = (*CALLOUTS, *COUNTED_CELLS)  # prices of what is counted; one for each time of each quantity follows


def prices_of(quantities: int) -> int:
    """How many prices there are where so many quantities are timed."""
    return len(PLAIN_FEATURES) + quantities * len(STUDY_TERMS)


def joined(parts: Sequence[list[sparse.csr_array]], unit: Sequence[np.ndarray], units: int,
           factor: Sequence[np.ndarray], factors: int,
           quantities: int) -> tuple[sparse.csr_array, np.ndarray, np.ndarray]:
    """(sums, (o, f), factor, price) of the features that matter, (f,) each, from the matrices of parts of a table.

    parts: those of each scenario, one below the other in what is found; used up. unit, factor: of each part, which of
    all units and factors its own are.
    """
    prices, scenarios = prices_of(quantities), len(parts[0])
    counts = np.zeros(scenarios * units, dtype=np.int64)
    for part, rows in zip(parts, unit, strict=True):
        for s in range(scenarios):
            counts[s * units + rows] += np.diff(part[s].indptr)
    ends = np.cumsum(np.append(0, counts))
    column, data = np.empty(ends[-1], dtype=np.int32), np.empty(ends[-1])
    filled = ends[:-1].copy()
    for part, rows, index in zip(parts, unit, factor, strict=True):
        renamed = (index[:, None] * prices + np.arange(prices)).ravel()
        for s in range(scenarios):
            one, at = part[s], s * units + rows
            part[s] = sparse.csr_array((0, 0))      # so that no two copies of all stand beside each other
            number, begin = np.diff(one.indptr), filled[at]
            follow = np.array_equal(begin - begin[:1], one.indptr[:-1])     # as where units are not cut by parts
            place = (slice(int(begin[0]), int(begin[0]) + one.nnz) if follow and len(begin) else
                     np.repeat(begin - one.indptr[:-1], number) + np.arange(one.nnz))
            column[place], data[place] = renamed[one.indices], one.data
            filled[at] += number
    used = np.flatnonzero(np.bincount(column, minlength=factors * prices))
    place_of = np.zeros(factors * prices, dtype=np.int32)
    place_of[used] = np.arange(len(used))
    ends = ends.astype(np.int32) if len(data) < 2 ** 31 else ends
    matrix = sparse.csr_array((data, place_of[column], ends), shape=(len(counts), len(used)))
    if len(parts) > 1:
        matrix.sum_duplicates()
    return matrix, used // prices, used % prices


def matrix_of(cells: Cells, units: int, factors: int, quantities: int) -> sparse.csr_array:
    """Sums of one scenario, (units, factors × prices)."""
    prices = prices_of(quantities)
    row, column, value = (np.concatenate(parts) for parts in zip(*_entries(cells, prices), strict=True))
    return sparse.csr_array((value, (row, column)), shape=(units, factors * prices))


def _entries(cells: Cells, prices: int) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """(unit, feature, sum) of everything that a scenario has and that is not nil."""
    unit, place = cells.unit.astype(np.int32), (cells.factor * prices).astype(np.int32)
    for rows, price, value in _priced(cells):
        some = np.flatnonzero(value)
        at = some if rows is None else rows[some]
        price_of = price if isinstance(price, int) else price[some]
        yield unit[at], (place[at] + price_of).astype(np.int32), value[some]


def _priced(cells: Cells) -> Iterator[tuple[np.ndarray | None, np.ndarray | int, np.ndarray]]:
    """(cells or None for all, price, sum)."""
    called = np.flatnonzero(cells.callout != NO_CALLOUT)
    yield called, cells.callout[called], cells.events[called]
    for j, counted in enumerate(cells.counted.T):
        yield None, len(CALLOUTS) + j, counted
    waits = np.flatnonzero(cells.waits >= 0)
    for q, (waiting, back) in enumerate(zip(cells.waiting.T, cells.back.T, strict=True)):
        start = len(PLAIN_FEATURES) + q * len(STUDY_TERMS)
        yield waits, start + cells.waits[waits], waiting[waits]
        yield None, start + cells.switched, back
