"""Rows of an outcome table that end alike under a scenario, so that their consequences are worked out once.

Many patterns of working devices, kinds of fault and places of a section come to the same.
"""

from __future__ import annotations

import numpy as np

from reliability.faults.outcomes import PERMANENT, OutcomeTable
from reliability.network.packed import distinct, packed


def alike_rows(table: OutcomeTable, scenario: int, rows: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(one row of each that differ in what `consequences` goes by, (d,), which of them each row is like, (r,)).

    rows: (r,) positions in the table, None for all; few of neighbouring sections are told apart without sorting.
    """
    at: slice | np.ndarray = slice(None) if rows is None else rows
    section, opened = table.section[at], table.opened[scenario, at]
    walked = table.off[scenario, at] & (opened == table.recloser[scenario][section])
    # what stays open is on the path to the source, where its number among the devices is its name
    key, like = distinct(packed([
        section - (section.min() if len(section) else 0), table.network.devices_above[opened],
        table.openings[scenario, at], walked, table.kinds[at] == PERMANENT, table.part[at]]))
    one = np.empty(len(key), dtype=np.int64)
    one[like] = np.arange(len(like)) if rows is None else rows
    return one, like
