"""Rows of an outcome table that end alike under a scenario, so that their consequences are worked out once.

Many patterns of working devices, kinds of fault and places of a section come to the same.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable
from reliability.faults.parts import THREE_PHASE_FAULTS
from reliability.network.packed import distinct, packed

ALIKE_ROWS_AT_ONCE = 100_000              # what is found on the way then stays near the processor; our choice


def rows_by_sections(table: OutcomeTable) -> Iterator[tuple[np.ndarray, slice]]:
    """(positions of all rows of some sections, in their order; the sections) of a table, about ALIKE_ROWS_AT_ONCE at a
    time.
    """
    if len(table) <= ALIKE_ROWS_AT_ONCE:
        yield np.arange(len(table)), slice(0, len(table.network))
        return
    order = np.argsort(table.section, kind="stable")
    section, start, first = table.section[order], 0, 0
    while start < len(order):
        at = section[min(start + ALIKE_ROWS_AT_ONCE, len(order)) - 1]
        # of the same type, or all of the array would be converted
        stop, last = int(np.searchsorted(section, at, side="right")), int(at)
        yield order[start:stop], slice(first, last + 1)
        start, first = stop, last + 1


def alike_rows(table: OutcomeTable, scenario: int, rows: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(one row of each that differ in what `consequences` goes by, (d,), which of them each row is like, (r,)).

    rows: (r,) positions in the table, None for all; few of neighbouring sections are told apart without sorting.
    """
    at: slice | np.ndarray = slice(None) if rows is None else rows
    section, opened = table.section[at], table.opened[scenario, at]
    walked = table.off[scenario, at] & (opened == table.recloser[scenario][section])
    # what stays open is on the path to the source, where its number among the devices is its name
    _, ends = distinct(packed([section - (section.min() if len(section) else 0), table.network.devices_above[opened]]))
    key, like = distinct(packed([ends, table.openings[scenario, at], walked, table.kinds[at] == PERMANENT_BIT,
                                 table.part[at] == THREE_PHASE_FAULTS]))
    one = np.empty(len(key), dtype=np.int64)
    one[like] = np.arange(len(like)) if rows is None else rows
    return one, like


def changed_rows(table: OutcomeTable, scenario: int) -> np.ndarray:
    """Rows in which what `consequences` goes by is not as under the first scenario, (r,) bool."""
    first, other = table.protections[0], table.protections[scenario]
    recloser = table.recloser[[0, scenario]]
    of_zone = ((recloser[0] != recloser[1]) | (table.hears_ground[0] != table.hears_ground[scenario])
               | (first.opens_all[recloser[0]] != other.opens_all[recloser[1]]))
    of_device = ((first.device != other.device) | (first.opens_all != other.opens_all)
                 | (first.locks_out_all != other.locks_out_all))
    opened = table.opened[scenario]
    return np.asarray((table.opened[0] != opened) | (table.openings[0] != table.openings[scenario])
                      | (table.off[0] != table.off[scenario]) | of_zone[table.section]
                      | (of_device[opened] & (opened >= 0)))


def counted_alike(table: OutcomeTable, scenario: int, rows: np.ndarray,
                  *rates: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
    """(rows to look at, events a year of each at each of the rates): in a large table one row stands for all alike.

    rates: (r,) of every row of the table each. Rows of a small table stand for themselves: it takes no time.
    """
    if len(table) <= ALIKE_ROWS_AT_ONCE:
        return rows, [rate[rows] for rate in rates]
    one, like = alike_rows(table, scenario, rows)
    return one, [np.bincount(like, rate[rows], len(one)) for rate in rates]
