"""What one event of a row adds to every measure of every scenario: a + b × its severity.

Counts of things (customers interrupted, momentary events, call-outs) have b = 0; times are
proportional to the event's severity multiplier and have a = 0; an extra measure may have both.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from reliability.faults.consequences import CALLOUTS, NO_CALLOUT, REPAIR, Consequences, consequences, waiting_below
from reliability.faults.outcomes import OutcomeTable

COUNTED = ("ci", "momentary_events", "momentary_interruptions", *CALLOUTS, "sectionalizer_operations")
TIMED = ("customer_hours", "load_kwh")
SWITCHING = "switching_hours"
TIME_KEYS = tuple(f"{c}_hours" for c in CALLOUTS) + (SWITCHING,)

# (consequences, table, scenario, rows) → (a, b) of the rows under the scenario
ExtraMeasure = Callable[[Consequences, OutcomeTable, int, np.ndarray], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class Coefficients:
    """Coefficients of m rows.

    keys: what each column adds to, (measure, scenario, time assumption that scales it or None).
    count, severity: column matrices (m, c), with `count_column`, `severity_column` giving for
    each entry of count_keys and severity_keys the column it reads. Equal columns are stored
    once, zero columns not at all, because the cost of an event is that of its columns.
    """

    count: np.ndarray
    count_column: np.ndarray
    count_keys: tuple[tuple[str, int, str | None], ...]
    severity: np.ndarray
    severity_column: np.ndarray
    severity_keys: tuple[tuple[str, int, str | None], ...]


def coefficients(table: OutcomeTable, values: Mapping[str, object], rows: np.ndarray, uncertain_times: frozenset[str],
                 extra: Mapping[str, ExtraMeasure], waiting: Mapping[str, np.ndarray]) -> Coefficients:
    """Coefficients of the given rows of a table, for all scenarios.

    uncertain_times: the keys of TIME_KEYS that differ between trials; their hours are left
    out of the coefficients (which then count customers) and multiplied in trial by trial.
    """
    counted: dict[tuple[str, int, str | None], np.ndarray] = {}
    timed: dict[tuple[str, int, str | None], np.ndarray] = {}
    for s in range(len(table.scenarios)):
        what = consequences(table, s, values, rows)
        for name, amount in _counted(table, what).items():
            counted[name, s, None] = amount
        for name, below, waiting_in in (("customer_hours", table.network.customers_below, waiting["customers"]),
                                        ("load_kwh", table.network.load_below, waiting["load"])):
            for key, amount in _timed(table, what, rows, below, waiting_in, values, uncertain_times).items():
                timed[name, s, key] = amount
        for name, measure in extra.items():
            counted[name, s, None], timed[name, s, None] = measure(what, table, s, rows)
    return Coefficients(*_distinct(counted, len(rows)), *_distinct(timed, len(rows)))


def waiting_tables(table: OutcomeTable) -> dict[str, np.ndarray]:
    """`waiting_below` of customers and load, for `coefficients`."""
    network = table.network
    return {"customers": waiting_below(network, network.customers), "load": waiting_below(network, network.load_kw)}


def _counted(table: OutcomeTable, what: Consequences) -> dict[str, np.ndarray]:
    events = what.momentary_events(table.network.customers_below)
    amounts = {"ci": what.sustained(table.network.customers_below), "momentary_events": events,
               "momentary_interruptions": events * what.openings}
    amounts |= {name: (what.callout == i).astype(float) for i, name in enumerate(CALLOUTS)}
    return amounts | {"sectionalizer_operations": what.sectionalizer_operates.astype(float)}


def _timed(table: OutcomeTable, what: Consequences, rows: np.ndarray, below: np.ndarray, waiting_in: np.ndarray,
           values: Mapping[str, object], uncertain: frozenset[str]) -> dict[str | None, np.ndarray]:
    """Customer (or load) hours by the uncertain time that scales them, None for the rest."""
    waits = what.waiting(below, waiting_in)
    switched = what.sustained(below) - waits
    by_key: dict[str | None, np.ndarray] = {None: np.zeros(len(waits))}
    if SWITCHING in uncertain:
        by_key[SWITCHING] = switched
    else:
        by_key[None] = by_key[None] + switched * values[SWITCHING]
    fixed = np.ones(len(waits), dtype=bool)
    own_repair = ~np.isnan(table.network.column["repair_hours"][table.section[rows]])
    for i, name in enumerate(CALLOUTS):
        if f"{name}_hours" in uncertain:
            scaled = (what.callout == i) & ~(own_repair & (i == REPAIR))
            by_key[f"{name}_hours"] = np.where(scaled, waits, 0.0)
            fixed &= ~scaled
    by_key[None] = by_key[None] + np.where(fixed & (what.callout != NO_CALLOUT), waits * what.waiting_hours, 0.0)
    return by_key


def _distinct(columns: dict[tuple[str, int, str | None], np.ndarray], rows: int):
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
