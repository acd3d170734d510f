"""What one event of a row adds to every measure of every scenario: a + b × its severity.

Counts of things (customers interrupted, momentary events, call-outs) have b = 0; times are
proportional to the event's severity multiplier and have a = 0; an extra measure may have both.
Where a trial's own draw of an assumption multiplies a part of a measure, that part is a column
of its own, and is multiplied after the events have been added up.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from reliability.faults.consequences import CALLOUTS, REPAIR, Consequences, consequences, waiting_below
from reliability.faults.outcomes import OutcomeTable
from reliability.network.tree import Network
from reliability.schema.assumptions import Range

COUNTED = ("ci", "momentary_events", "momentary_interruptions", *CALLOUTS, "sectionalizer_operations")
TIMED = ("customer_hours", "load_kwh")
SWITCHING = "switching_hours"


class ExtraMeasure(Protocol):
    """A further measure of the simulation, cut into terms that a trial's assumptions multiply."""

    def parts(self, what: Consequences, table: OutcomeTable, scenario: int, rows: np.ndarray,
              values: Mapping[str, object], uncertain: Mapping[str, Range],
              ) -> Mapping[Hashable, tuple[np.ndarray, np.ndarray]]:
        """(a, b) of the rows by term; the term None is not multiplied. What is not uncertain is as in `values`."""

    def weights(self, term: Hashable, values: Mapping[str, object], uncertain: Mapping[str, Range]):
        """What a and what b of a term are multiplied by, numbers or (trials,), at the values of the trials."""


@dataclass(frozen=True)
class Coefficients:
    """Coefficients of m rows.

    keys: what each column adds to, (measure, scenario, term): the term says what a trial multiplies
    it by, None nothing, the key of a time those hours, any other is the extra measure's own.
    count, severity: column matrices (m, c), with `count_column`, `severity_column` giving for
    each entry of count_keys and severity_keys the column it reads. Equal columns are stored
    once, zero columns not at all, because the cost of an event is that of its columns.
    """

    count: np.ndarray
    count_column: np.ndarray
    count_keys: tuple[tuple[str, int, Hashable], ...]
    severity: np.ndarray
    severity_column: np.ndarray
    severity_keys: tuple[tuple[str, int, Hashable], ...]


def coefficients(table: OutcomeTable, values: Mapping[str, object], rows: np.ndarray, uncertain: Mapping[str, Range],
                 extra: Mapping[str, ExtraMeasure], waiting: Mapping[str, np.ndarray]) -> Coefficients:
    """Coefficients of the given rows of a table, for all scenarios.

    uncertain: the assumptions that differ between trials. Where one is a time, its hours are left
    out of the coefficients (which then count customers) and multiplied in trial by trial.
    """
    counted: dict[tuple[str, int, Hashable], np.ndarray] = {}
    timed: dict[tuple[str, int, Hashable], np.ndarray] = {}
    for s in range(len(table.scenarios)):
        what = consequences(table, s, values, rows)
        for name, amount in counts(table.network, what).items():
            counted[name, s, None] = amount
        for name, below, waiting_in in (("customer_hours", table.network.customers_below, waiting["customers"]),
                                        ("load_kwh", table.network.load_below, waiting["load"])):
            for key, amount in _timed(table, what, rows, below, waiting_in, values, uncertain).items():
                timed[name, s, key] = amount
        for name, measure in extra.items():
            for term, both in measure.parts(what, table, s, rows, values, uncertain).items():
                counted[name, s, term], timed[name, s, term] = both
    return Coefficients(*_distinct(counted, len(rows)), *_distinct(timed, len(rows)))


def waiting_tables(table: OutcomeTable) -> dict[str, np.ndarray]:
    """`waiting_below` of customers and load, for `coefficients`."""
    network = table.network
    return {"customers": waiting_below(network, network.customers), "load": waiting_below(network, network.load_kw)}


def counts(network: Network, what: Consequences) -> dict[str, np.ndarray]:
    """What an event of each row adds to the measures COUNTED, (r,) by name."""
    events = what.momentary_events(network.customers_below)
    amounts = {"ci": what.sustained(network.customers_below), "momentary_events": events,
               "momentary_interruptions": events * what.openings}
    amounts |= {name: (what.callout == i).astype(float) for i, name in enumerate(CALLOUTS)}
    return amounts | {"sectionalizer_operations": what.sectionalizer_operates.astype(float)}


def waits_by_time(table: OutcomeTable, what: Consequences, rows: np.ndarray) -> dict[str, np.ndarray]:
    """Which rows wait for as long as each time assumption of a call-out says, (r,) bool by its key.

    None of them do where a section states its own time to repair.
    """
    own_repair = ~np.isnan(table.network.column["repair_hours"][table.section[rows]])
    return {f"{name}_hours": (what.callout == i) & ~(own_repair & (i == REPAIR)) for i, name in enumerate(CALLOUTS)}


def _timed(table: OutcomeTable, what: Consequences, rows: np.ndarray, below: np.ndarray, waiting_in: np.ndarray,
           values: Mapping[str, object], uncertain: Mapping[str, Range]) -> dict[str | None, np.ndarray]:
    """Customer (or load) hours by the uncertain time that scales them, None for the rest."""
    waits = what.waiting(below, waiting_in)
    switched = what.sustained(below) - waits
    fixed = waits * what.waiting_hours
    by_key: dict[str | None, np.ndarray] = {}
    for key, those in waits_by_time(table, what, rows).items():
        if key in uncertain:
            by_key[key] = np.where(those, waits, 0.0)
            fixed = np.where(those, 0.0, fixed)
    if SWITCHING in uncertain:
        return by_key | {SWITCHING: switched, None: fixed}
    return by_key | {None: fixed + switched * values[SWITCHING]}


def _distinct(columns: dict[tuple[str, int, Hashable], np.ndarray], rows: int):
    """Matrix of the distinct non-zero columns, which of them each key reads, and the keys."""
    at: dict[bytes, int] = {}
    kept, column, keys = [], [], []
    for key, values in columns.items():
        if not values.any():
            continue
        mark = values.tobytes()
        if mark not in at:
            at[mark] = len(kept)
            kept.append(values)
        column.append(at[mark])
        keys.append(key)
    matrix = np.column_stack(kept) if kept else np.zeros((rows, 0))
    return np.ascontiguousarray(matrix), np.array(column, dtype=np.int64), tuple(keys)
