"""An outcome table summed up to what the assumptions multiply: by scenario, unit of the network, factor and time.

What is summed is linear in every rate, so that sections' own rates, fractions and hours are in the sums.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from reliability.business.factors import Factors, TableRows
from reliability.faults.alike import alike_rows
from reliability.faults.consequences import CALLOUT_AFTER, Consequences, consequences
from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable
from reliability.faults.times import REPAIR, REPAIR_OFF, SWITCHING, SWITCHING_OFF, WAITING, Term
from reliability.network.packed import distinct
from reliability.network.quantities import Quantity
from reliability.schema.values import Assumptions

COUNTED_CELLS = ("actuators", "ci", "momentary_events", "momentary_value")
# Times that something may wait, of the study; what waits a section's own hours is in `OwnHours`.
STUDY_TERMS: tuple[Term, ...] = tuple(Term(name) for name in (*WAITING, SWITCHING, SWITCHING_OFF))
AT_SWITCHING, AT_SWITCHING_OFF = len(WAITING), len(WAITING) + 1
ENTRIES_AT_ONCE = 2_000_000         # so that memory stays bounded
FEW_ROWS = 20_000                   # whose columns stay in the processor's cache; our choice
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
    """What is summed: customers, what their momentary events are worth (None: not wanted), and what is timed.

    stated: (h,) the distinct repair hours that sections state, ascending. own_hours: (n,) which of them each section's
    are, of one that states none whatever.
    """

    customers: Quantity
    momentary_value: Quantity | None
    timed: tuple[Timed, ...]
    stated: np.ndarray
    own_hours: np.ndarray

    def find_sums(self) -> None:
        """Work out the sums of its quantities now, for copies of this process to have."""
        for one in (self.customers, self.momentary_value, *(t.amount for t in self.timed)):
            if one is not None:
                one.find_sums()


@dataclass(frozen=True)
class Cells:
    """Sums of one scenario, arrays (m,).

    unit, factor: what they are of. callout: index into CALLOUTS or NO_CALLOUT. waits, switched: index into STUDY_TERMS
    of those who wait, −1 where there are none or they wait their own hours, and of those who are switched. events:
    (m,). counted: (m, len(COUNTED_CELLS)). waiting, back: (m, quantities) amounts that wait and that are switched.
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


@dataclass(frozen=True)
class SumTargets:
    """Where the e entries of a table are summed up, the same for all its scenarios.

    row, weight: (e,) see `TableRows`; those of sections that are left out are not among them. place: (e,) index into p
    places, of unit and factor (p,) each. own: (e,) index into t times of own hours, −1 for none; own_place, own_hours:
    (t,) the place and the index into `stated`, the distinct repair hours that sections state.
    """

    row: np.ndarray
    weight: np.ndarray
    place: np.ndarray
    unit: np.ndarray
    factor: np.ndarray
    own: np.ndarray
    own_place: np.ndarray
    own_hours: np.ndarray
    stated: np.ndarray


def places_of(table: OutcomeTable, factors: Factors, entries: TableRows, unit: np.ndarray,
              measured: Measured) -> SumTargets:
    """Places of the entries of a table, entries being by row. unit: (n,) of each section, −1 for what is left out."""
    inside = unit[table.section[entries.row]] >= 0
    row, weight, factor = (column if inside.all() else column[inside]
                           for column in (entries.row, entries.weight, entries.factor))
    size, section = max(len(factors.kinds), 1), table.section[row]
    pairs, place = distinct(unit[section] * size + factor)
    hours = table.network.column["repair_hours"]
    waits = np.flatnonzero(~np.isnan(hours[section]) & (table.kinds[row] == PERMANENT_BIT))
    each = max(len(measured.stated), 1)
    times, own_time = distinct(place[waits].astype(np.int64) * each + measured.own_hours[section[waits]])
    own = np.full(len(row), -1, dtype=np.int32)
    own[waits] = own_time
    return SumTargets(row, weight, place, pairs // size, pairs % size, own, times // each, times % each,
                      measured.stated)


def cells_of(table: OutcomeTable, scenario: int, values: Assumptions, places: SumTargets,
             measured: Measured) -> tuple[Cells, np.ndarray]:
    """Sums of one scenario, and amounts that wait for own hours, (t, 2, quantities), the latter of the two until the
    line has been walked at the least."""
    one, like = alike_rows(table, scenario)
    columns, times = _columns_and_times(table, scenario, values, one, measured)
    first, quantities = 1 + len(COUNTED_CELLS), len(measured.timed)
    waiting = np.ascontiguousarray(columns[:, first:first + quantities])
    keys, sums, waits_own = [], [], np.zeros((2 * len(places.own_place), quantities))
    for start in range(0, max(len(places.row), 1), ENTRIES_AT_ONCE):
        at = slice(start, start + ENTRIES_AT_ONCE)
        which, weight = like[places.row[at]], places.weight[at]
        time = times[which]
        key, found = distinct(places.place[at].astype(np.int64) * _TIMES + time)
        keys.append(key)
        sums.append(_summed(found, len(key), weight, columns, which))
        own = np.flatnonzero(time >= _OWN_REPAIR)
        wait = places.own[at][own] * 2 + (time[own] == _OWN_REPAIR_OFF)
        waits_own += _summed(wait, len(waits_own), weight[own], waiting, which[own])
    key, total = keys[0], sums[0]
    if len(keys) > 1:
        key, at_key = distinct(np.concatenate(keys))
        total = _summed(at_key, len(key), np.ones(len(at_key)), np.concatenate(sums), np.arange(len(at_key)))
    return _cells(key, total, places, quantities), waits_own.reshape(-1, 2, quantities)


def _columns_and_times(table: OutcomeTable, scenario: int, values: Assumptions, rows: np.ndarray,
                       measured: Measured) -> tuple[np.ndarray, np.ndarray]:
    """Amounts and place of the time of some rows, few at a time, so that what is found on the way stays at hand."""
    columns = np.empty((len(rows), 1 + len(COUNTED_CELLS) + 2 * len(measured.timed)))
    times = np.empty(len(columns), dtype=np.int8)
    for start in range(0, len(rows), FEW_ROWS):
        at = slice(start, start + FEW_ROWS)
        effect = consequences(table, scenario, values, rows[at])
        times[at] = _times(effect)
        for place, column in enumerate(_columns(effect, measured)):
            columns[at, place] = column
    return columns, times


def _times(effect: Consequences) -> np.ndarray:
    """Place in WAITING from 1 on, 0 where nothing stays open, and beyond for repairs of own hours, (r,)."""
    own = ~np.isnan(effect.own_repair)
    time = np.where(own & (effect.time == REPAIR), _OWN_REPAIR - 1, effect.time)
    return np.where(own & (effect.time == REPAIR_OFF), _OWN_REPAIR_OFF - 1, time) + 1


def _columns(effect: Consequences, measured: Measured) -> list[np.ndarray | float]:
    """Amounts per event of some rows, 1 + len(COUNTED_CELLS) + 2 quantities of (r,), times left out."""
    parts = {id(t.amount): effect.waiting_and_switched(t.amount) for t in measured.timed}
    waiting, back = ([parts[id(t.amount)][k] if t.customer_class is None else
                      parts[id(t.amount)][k][:, t.customer_class] for t in measured.timed] for k in (0, 1))
    worth = measured.momentary_value
    momentary = 0.0 if worth is None else effect.momentary_events(worth)
    return [1.0, effect.actuators, effect.sustained(measured.customers), effect.momentary_events(measured.customers),
            momentary, *waiting, *back]


def _summed(at: np.ndarray, size: int, weight: np.ndarray, columns: np.ndarray, row: np.ndarray) -> np.ndarray:
    """Sums of weight × columns[row] by `at`, (size, q)."""
    return np.asarray(sparse.coo_array((weight, (at, row)), shape=(size, len(columns))) @ columns)


def _cells(key: np.ndarray, sums: np.ndarray, places: SumTargets, quantities: int) -> Cells:
    place, time = np.divmod(key, _TIMES)
    own = time >= _OWN_REPAIR
    walked = (time == _OWN_REPAIR_OFF) | (time - 1 == REPAIR_OFF)
    usual = np.where(own, REPAIR, time - 1)
    counted, waiting, back = np.split(sums[:, 1:], [len(COUNTED_CELLS), len(COUNTED_CELLS) + quantities], axis=1)
    return Cells(places.unit[place], places.factor[place], CALLOUT_AFTER[usual], np.where(own, -1, time - 1),
                 np.where(walked, AT_SWITCHING_OFF, AT_SWITCHING), sums[:, 0], counted, waiting, back)
