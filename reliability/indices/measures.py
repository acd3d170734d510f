"""What one event of a row adds to every measure of every scenario: a + b × its severity.

Counts of things (customers interrupted, momentary events, call-outs) have b = 0; times are
proportional to the event's severity multiplier and have a = 0; an extra measure may have both.
Where a trial's own draw of an assumption multiplies a part of a measure, that part is a column
of its own, and is multiplied after the events have been added up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple, Protocol, TypeAlias

import numpy as np

from reliability.faults.consequences import CALLOUTS, Consequences, consequences
from reliability.faults.outcomes import OutcomeTable
from reliability.faults.times import REPAIR_OFF, SWITCHING, SWITCHING_OFF, Term, depends_on, hours_of, terms_of_rows
from reliability.network.quantities import Quantity, quantity
from reliability.network.tree import Network
from reliability.schema.assumptions import Range
from reliability.schema.values import Assumptions, Drawn, TrialValues

COUNTED = ("ci", "momentary_events", "momentary_interruptions", *CALLOUTS, "sectionalizer_operations", "actuators")
TIMED = ("customer_hours", "load_kwh")


class ExtraTerm(NamedTuple):
    """A term of an extra measure: a time or the key of an assumption, and which of the columns that it multiplies."""

    factor: Term | str
    column: int


ColumnKey: TypeAlias = tuple[str, int, Term | ExtraTerm | None]   # measure, scenario, term


class ExtraMeasure(Protocol):
    """A further measure of the simulation, cut into terms that a trial's assumptions multiply."""

    def parts(self, effect: Consequences, table: OutcomeTable, scenario: int, rows: np.ndarray,
              values: Assumptions, uncertain: Mapping[str, Range],
              ) -> Mapping[ExtraTerm | None, tuple[np.ndarray, np.ndarray]]:
        """(a, b) of the rows by term; the term None is not multiplied. What is not uncertain is as in `values`."""

    def weights(self, term: ExtraTerm, values: TrialValues, uncertain: Mapping[str, Range]) -> tuple[Drawn, Drawn]:
        """What a and what b of a term are multiplied by, numbers or (trials,), at the values of the trials."""


@dataclass(frozen=True)
class Coefficients:
    """Coefficients of m rows.

    keys: what each column adds to, (measure, scenario, term): the term says what a trial multiplies
    it by, None nothing, a term of `faults.times` those hours, any other is the extra measure's own.
    count, severity: column matrices (m, c), with `count_column`, `severity_column` giving for
    each entry of count_keys and severity_keys the column it reads. Equal columns are stored
    once, zero columns not at all, because the cost of an event is that of its columns.
    """

    count: np.ndarray
    count_column: np.ndarray
    count_keys: tuple[ColumnKey, ...]
    severity: np.ndarray
    severity_column: np.ndarray
    severity_keys: tuple[ColumnKey, ...]


def coefficients(table: OutcomeTable, values: Assumptions, rows: np.ndarray, uncertain: Mapping[str, Range],
                 extra: Mapping[str, ExtraMeasure], amounts: Mapping[str, Quantity]) -> Coefficients:
    """Coefficients of the given rows of a table, for all scenarios.

    uncertain: the assumptions that differ between trials. Where a time depends on one, its hours are left
    out of the coefficients (which then count customers) and multiplied in trial by trial.
    amounts: customers and load, from `amounts_of`.
    """
    counted: dict[ColumnKey, np.ndarray] = {}
    timed: dict[ColumnKey, np.ndarray] = {}
    for s in range(len(table.scenarios)):
        effect = consequences(table, s, values, rows)
        for name, amount in counts(effect, amounts["customers"]).items():
            counted[name, s, None] = amount
        for name, quantity_of in (("customer_hours", amounts["customers"]), ("load_kwh", amounts["load"])):
            for term, amount in _timed(effect, quantity_of, values, uncertain).items():
                timed[name, s, term] = amount
        for name, measure in extra.items():
            for own_term, both in measure.parts(effect, table, s, rows, values, uncertain).items():
                counted[name, s, own_term], timed[name, s, own_term] = both
    return Coefficients(*_distinct(counted, len(rows)), *_distinct(timed, len(rows)))


def amounts_of(network: Network) -> dict[str, Quantity]:
    """Customers and load of a network, for `coefficients`."""
    return {"customers": quantity(network, network.customers), "load": quantity(network, network.load_kw)}


def counts(effect: Consequences, customers: Quantity) -> dict[str, np.ndarray]:
    """What an event of each row adds to the measures COUNTED, (r,) by name."""
    events = effect.momentary_events(customers)
    amounts = {"ci": effect.sustained(customers), "momentary_events": events,
               "momentary_interruptions": events * effect.openings}
    amounts |= {name: (effect.callout == i).astype(float) for i, name in enumerate(CALLOUTS)}
    return amounts | {"sectionalizer_operations": effect.sectionalizer_operates.astype(float),
                      "actuators": effect.actuators}


def switching_terms(effect: Consequences) -> list[tuple[Term, np.ndarray]]:
    """The terms after which those are back who need not wait, with the rows, (r,) bool."""
    walked = effect.time == REPAIR_OFF
    return [((SWITCHING, None), ~walked), ((SWITCHING_OFF, None), walked)]


def _timed(effect: Consequences, amount: Quantity, values: Assumptions,
           uncertain: Mapping[str, Range]) -> dict[Term | None, np.ndarray]:
    """Customer (or load) hours by the uncertain term that scales them, None for the rest."""
    waiting, switched = effect.waiting_and_switched(amount)
    fixed = np.zeros(len(waiting))
    by_term: dict[Term | None, np.ndarray] = {}
    for part, terms in ((waiting, terms_of_rows(effect.time, effect.own_repair)), (switched, switching_terms(effect))):
        for term, those in terms:
            if depends_on(term, uncertain):
                by_term[term] = np.where(those, part, 0.0)
            else:
                fixed += np.where(those, part * float(hours_of(term, values)), 0.0)
    return by_term | {None: fixed}


def _distinct(columns: dict[ColumnKey, np.ndarray], rows: int) -> tuple[np.ndarray, np.ndarray, tuple[ColumnKey, ...]]:
    """Matrix of the distinct non-zero columns, which of them each key reads, and the keys."""
    at: dict[bytes, int] = {}
    distinct: list[np.ndarray] = []
    column, keys = [], []
    for key, values in columns.items():
        if not values.any():
            continue
        mark = values.tobytes()
        if mark not in at:
            at[mark] = len(distinct)
            distinct.append(values)
        column.append(at[mark])
        keys.append(key)
    matrix = np.column_stack(distinct) if distinct else np.zeros((rows, 0))
    return np.ascontiguousarray(matrix), np.array(column, dtype=np.int64), tuple(keys)
