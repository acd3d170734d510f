"""What one event of a row adds to every measure of every scenario: a + b × its severity.

Counts of things (customers interrupted, momentary events, call-outs) have b = 0; times are
proportional to the event's severity multiplier and have a = 0; an extra measure may have both, and bends.
Where a trial's own draw of an assumption multiplies a part of a measure, that part is a column
of its own, and is multiplied after the events have been added up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np

from reliability.faults.consequences import CALLOUTS, Consequences, consequences
from reliability.faults.outcomes import OutcomeTable
from reliability.faults.times import (
    REPAIR_OFF,
    SWITCHING,
    SWITCHING_OFF,
    WALK_OR_OWN_REPAIR,
    Term,
    depends_on,
    terms_of_rows,
)
from reliability.indices.bends import Bend, BentColumns, bent_columns, distinct_columns
from reliability.network.quantities import Quantity, customers_of, quantity
from reliability.network.tree import Network
from reliability.schema.assumption_types import Range
from reliability.schema.values import Assumptions

COUNTED_MEASURES = ("ci", "momentary_events", "momentary_interruptions", *CALLOUTS, "sectionalizer_operations",
                    "actuators")
TIMED = ("customer_hours", "load_kwh")


Factor: TypeAlias = Term | str                          # a time, or the key of an assumption
WALK_OR_OWN = Term(WALK_OR_OWN_REPAIR)
ColumnKey: TypeAlias = tuple[str, int, Factor | None]   # measure, scenario, what a trial multiplies it by


@dataclass(frozen=True)
class ExtraParts:
    """What an event of each of r rows adds to an extra measure.

    lines: (a, b), (r,) each, by what a trial multiplies both by: hours, the value of an assumption, None for nothing.
    """

    lines: Mapping[Factor | None, tuple[np.ndarray, np.ndarray]]
    bends: Sequence[Bend] = ()


class ExtraMeasure(Protocol):
    """A further measure of the simulation, cut into parts that a trial's assumptions multiply."""

    def parts(self, effect: Consequences, values: Assumptions, uncertain: Mapping[str, Range]) -> ExtraParts:
        """Parts of the rows of `effect`. What is not uncertain is as in `values`."""


@dataclass(frozen=True)
class Coefficients:
    """Coefficients of m rows.

    keys: what each column adds to, (measure, scenario, factor): the factor says what a trial multiplies
    it by, None nothing, a term of `faults.times` those hours, a key the value of that assumption.
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
    bent: BentColumns | None = None
    own: OwnRepair | None = None


@dataclass(frozen=True)
class OwnRepair:
    """What waits, (m, c), for the walk of a trial or the row's own repair `hours` (m,), whichever takes longer.

    column: which one each of `keys`, (measure, scenario), reads.
    """

    hours: np.ndarray
    columns: np.ndarray
    column: np.ndarray
    keys: tuple[tuple[str, int], ...]


def coefficients(table: OutcomeTable, values: Assumptions, rows: np.ndarray, uncertain: Mapping[str, Range],
                 extra: Mapping[str, ExtraMeasure], amounts: Mapping[str, Quantity]) -> Coefficients:
    """Coefficients of the given rows of a table, for all scenarios.

    uncertain: the assumptions that differ between trials. Where a time depends on one, its hours are left
    out of the coefficients (which then count customers) and multiplied in trial by trial.
    amounts: customers and load, from `amounts_of`.
    """
    counted: dict[ColumnKey, np.ndarray] = {}
    timed: dict[ColumnKey, np.ndarray] = {}
    bends: dict[tuple[str, int], Sequence[Bend]] = {}
    for s in range(len(table.scenarios)):
        effect = consequences(table, s, values, rows)
        for name, amount in counts(effect, amounts["customers"]).items():
            counted[name, s, None] = amount
        for name, quantity_of in (("customer_hours", amounts["customers"]), ("load_kwh", amounts["load"])):
            for term, amount in _timed(effect, quantity_of, uncertain).items():
                timed[name, s, term] = amount
        for name, measure in extra.items():
            parts = measure.parts(effect, values, uncertain)
            for factor, both in parts.lines.items():
                counted[name, s, factor], timed[name, s, factor] = both
            bends[name, s] = parts.bends
    own = {key[:2]: timed.pop(key) for key in list(timed) if key[2] == WALK_OR_OWN}
    return Coefficients(*distinct_columns(counted, len(rows)), *distinct_columns(timed, len(rows)),
                        bent_columns(bends), _own_repair(own, effect.own_repair))


def _own_repair(amounts: Mapping[tuple[str, int], np.ndarray], hours: np.ndarray) -> OwnRepair | None:
    columns, column, keys = distinct_columns(amounts, len(hours))
    return OwnRepair(np.nan_to_num(hours), columns, column, keys) if keys else None


def amounts_of(network: Network) -> dict[str, Quantity]:
    """Customers and load of a network, for `coefficients`."""
    return {"customers": customers_of(network), "load": quantity(network, network.load_kw)}


def counts(effect: Consequences, customers: Quantity) -> dict[str, np.ndarray]:
    """What an event of each row adds to the measures COUNTED_MEASURES, (r,) by name."""
    events = effect.momentary_events(customers)
    amounts = {"ci": effect.sustained(customers), "momentary_events": events,
               "momentary_interruptions": events * effect.openings}
    amounts |= {name: (effect.callout == i).astype(float) for i, name in enumerate(CALLOUTS)}
    return amounts | {"sectionalizer_operations": effect.sectionalizer_operates.astype(float),
                      "actuators": effect.actuators}


def switching_terms(effect: Consequences) -> list[tuple[Term, np.ndarray]]:
    """The terms after which those are back who need not wait, with the rows, (r,) bool."""
    walked = effect.time == REPAIR_OFF
    return [(Term(SWITCHING), ~walked), (Term(SWITCHING_OFF), walked)]


def _timed(effect: Consequences, amount: Quantity,
           uncertain: Mapping[str, Range]) -> dict[Term | None, np.ndarray]:
    """Customer (or load) hours by the uncertain term that scales them, None for the rest."""
    waiting, switched = effect.waiting_and_switched(amount)
    fixed = np.zeros(len(waiting))
    by_term: dict[Term | None, np.ndarray] = {}
    for part, hours, terms in ((waiting, effect.waiting_hours, terms_of_rows(effect.time, effect.own_repair)),
                               (switched, effect.switching_hours, switching_terms(effect))):
        for term, those in terms:
            if depends_on(term, uncertain):
                by_term[term] = np.where(those, part, 0.0)
            else:
                fixed += np.where(those, part * hours, 0.0)
    return by_term | {None: fixed}
