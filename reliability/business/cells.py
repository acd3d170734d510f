"""An outcome table summed up to what the assumptions multiply: by scenario, unit of the network, factor and time.

What is summed is linear in every rate, so that sections' own rates, fractions and hours are in the sums.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from reliability.business.factors import Entries, Factors
from reliability.business.own_hours import OwnHours
from reliability.faults.consequences import CALLOUT_AFTER, Consequences, consequences
from reliability.faults.outcomes import OutcomeTable
from reliability.faults.times import REPAIR, REPAIR_OFF, SWITCHING, SWITCHING_OFF, WAITING, Term
from reliability.indices.expected import ROWS_AT_ONCE
from reliability.network.quantities import Quantity
from reliability.schema.values import Assumptions

COUNTED = ("actuators", "ci", "momentary_events", "momentary_value")
# Times that something may wait, of the study; what waits a section's own hours is in `OwnHours`.
TERMS: tuple[Term, ...] = tuple((name, None) for name in (*WAITING, SWITCHING, SWITCHING_OFF))
AT_SWITCHING, AT_SWITCHING_OFF = len(WAITING), len(WAITING) + 1
_TIMES = len(WAITING) + 3           # places in WAITING from −1 on, and two for repairs of own hours
_OWN_REPAIR, _OWN_REPAIR_OFF = len(WAITING) + 1, len(WAITING) + 2


@dataclass(frozen=True)
class Timed:
    """A quantity that is interrupted for a time: its amounts are those of `name`, see `costs.AMOUNTS`.

    customer_class: where hours cost what they cost customers of a class, its column in `amount`; None: hours count.
    """

    name: str
    amount: Quantity
    customer_class: int | None = None


@dataclass(frozen=True)
class Measured:
    """What is summed: customers, what their momentary events are worth (None: not wanted), and what is timed."""

    customers: Quantity
    momentary_value: Quantity | None
    timed: tuple[Timed, ...]


@dataclass(frozen=True)
class Cells:
    """Sums of one scenario, arrays (m,).

    unit, factor: what they are of. callout: index into CALLOUTS or NO_CALLOUT. waits, switched: index into TERMS of
    those who wait, −1 where there are none or they wait their own hours, and of those who are switched.
    events: (m,). counted: (m, len(COUNTED)). waiting, back: (m, quantities) amounts that wait and that are switched.
    """

    unit: np.ndarray
    factor: np.ndarray
    callout: np.ndarray
    waits: np.ndarray
    switched: np.ndarray
    events: np.ndarray
    counted: np.ndarray
    waiting: np.ndarray
    back: np.ndarray


def cells_of(table: OutcomeTable, scenario: int, values: Assumptions, factors: Factors, entries: Entries,
             unit: np.ndarray, measured: Measured) -> tuple[Cells, OwnHours]:
    """Sums of one scenario. entries: by row. unit: (n,) of each section, −1 for what is left out."""
    keys, sums, own_keys, own_sums = [], [], [], []
    distinct, own_hours = _distinct_hours(table)
    size = len(factors.kinds)
    for part, at in _slices(table, entries):
        effect = consequences(table, scenario, values, part)
        columns, row = _columns(effect, measured), entries.row[at] - part.start
        place = unit[table.section[part]][row]
        inside = place >= 0
        row, weight = row[inside], entries.weight[at][inside]
        factor = place[inside] * size + entries.factor[at][inside]
        hours = own_hours[part][row]
        time = _times(effect)[row]
        key, total = _summed(factor * _TIMES + time, weight, columns, row)
        keys.append(key)
        sums.append(total)
        own = np.flatnonzero(time >= _OWN_REPAIR)
        waiting = columns[:, 1 + len(COUNTED):1 + len(COUNTED) + len(measured.timed)]
        key, total = _summed((factor[own] * 2 + (time[own] == _OWN_REPAIR_OFF)) * max(len(distinct), 1) + hours[own],
                             weight[own], waiting, row[own])
        own_keys.append(key)
        own_sums.append(total)
    return (_cells(*_joined(keys, sums), size, len(measured.timed)),
            _own(*_joined(own_keys, own_sums), size, distinct))


def _distinct_hours(table: OutcomeTable) -> tuple[np.ndarray, np.ndarray]:
    """(repair hours that sections state, ascending, index of each row's into them, (r,), beyond them for none)."""
    stated = table.network.column["repair_hours"]
    distinct = np.unique(stated[~np.isnan(stated)])
    return distinct, np.searchsorted(distinct, stated)[table.section]


def _slices(table: OutcomeTable, entries: Entries) -> Iterator[tuple[slice, slice]]:
    """Rows of a table that are worked through together, with their entries."""
    for start in range(0, max(len(table), 1), ROWS_AT_ONCE):
        stop = min(start + ROWS_AT_ONCE, len(table))
        low, high = np.searchsorted(entries.row, [start, stop])
        yield slice(start, stop), slice(int(low), int(high))


def _times(effect: Consequences) -> np.ndarray:
    """Place in WAITING from 1 on, 0 where nothing stays open, and beyond for repairs of own hours, (r,)."""
    own = ~np.isnan(effect.own_repair)
    time = np.where(own & (effect.time == REPAIR), _OWN_REPAIR - 1, effect.time)
    return np.where(own & (effect.time == REPAIR_OFF), _OWN_REPAIR_OFF - 1, time) + 1


def _columns(effect: Consequences, measured: Measured) -> np.ndarray:
    """Amounts per event of some rows, (r, 1 + len(COUNTED) + 2 quantities), times left out."""
    parts = {id(t.amount): effect.waiting_and_switched(t.amount) for t in measured.timed}
    waiting, back = ([parts[id(t.amount)][k] if t.customer_class is None else
                      parts[id(t.amount)][k][:, t.customer_class] for t in measured.timed] for k in (0, 1))
    worth = measured.momentary_value
    momentary = np.zeros(len(effect.opened)) if worth is None else effect.momentary_events(worth)
    return np.column_stack([np.ones(len(effect.opened)), effect.actuators, effect.sustained(measured.customers),
                            effect.momentary_events(measured.customers), momentary, *waiting, *back])


def _summed(key: np.ndarray, weight: np.ndarray, columns: np.ndarray,
            row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(distinct keys, (m,), sums of weight × columns of the entries of each, (m, q))."""
    distinct, at = _distinct(key)
    each = sparse.csr_array((weight, (at, row)), shape=(len(distinct), len(columns)))
    return distinct, np.asarray(each @ columns)


def _distinct(key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(distinct numbers, ascending, index of each into them), without sorting where they are few."""
    if len(key) <= (most := int(key.max(initial=0))):
        distinct, at = np.unique(key, return_inverse=True)
        return distinct, at.ravel()
    occurs = np.zeros(most + 1, dtype=bool)
    occurs[key] = True
    return np.flatnonzero(occurs), (np.cumsum(occurs) - 1)[key]


def _joined(keys: Sequence[np.ndarray], sums: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Keys and sums of all slices together."""
    if len(keys) == 1:
        return keys[0], sums[0]
    key, total = np.concatenate(keys), np.concatenate(sums)
    return _summed(key, np.ones(len(key)), total, np.arange(len(key)))


def _cells(key: np.ndarray, sums: np.ndarray, factors: int, quantities: int) -> Cells:
    place, time = np.divmod(key, _TIMES)
    own = time >= _OWN_REPAIR
    walked = (time == _OWN_REPAIR_OFF) | (time - 1 == REPAIR_OFF)
    usual = np.where(own, REPAIR, time - 1)
    counted, waiting, back = np.split(sums[:, 1:], [len(COUNTED), len(COUNTED) + quantities], axis=1)
    return Cells(place // factors, place % factors, CALLOUT_AFTER[usual], np.where(own, -1, time - 1),
                 np.where(walked, AT_SWITCHING_OFF, AT_SWITCHING), sums[:, 0], counted, waiting, back)


def _own(key: np.ndarray, sums: np.ndarray, factors: int, stated: np.ndarray) -> OwnHours:
    place, hours = np.divmod(key, max(len(stated), 1))
    place, walked = np.divmod(place, 2)
    return OwnHours(place // factors, place % factors, walked == 1, hours, sums, stated)
