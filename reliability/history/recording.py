"""Which faults leave a record, and where (model §10): the outcome table seen from the records.

A fault that opens a fuse or sectionalizer leaves a sustained record in its own unit, one that locks a reclosing device
out leaves it at that device. A temporary one that the reclosing device rides through leaves a momentary event there, if
its events are recorded, and steps of its counter, and nothing at the unit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable, build_outcomes, row_rates
from reliability.history.protection_then import Spell
from reliability.history.units import Units
from reliability.network.devices import RECLOSES
from reliability.network.model import Model
from reliability.schema.scenarios import UNCHANGED

SECONDS_PER_YEAR = 365.25 * 86_400.0


@dataclass(frozen=True)
class Entries:
    """Expected numbers at the assumed rates from each unit at each place, e entries, a pair of unit and place once.

    unit, place: (e,). temporary, permanent: (e,) were all faults temporary, or permanent.
    """

    unit: np.ndarray
    place: np.ndarray
    temporary: np.ndarray
    permanent: np.ndarray

    def __len__(self) -> int:
        return len(self.unit)

    def by_place(self, values: np.ndarray, places: int) -> np.ndarray:
        """Sums (places,) of values (e,)."""
        return np.bincount(self.place, weights=values, minlength=places)

    def by_unit(self, values: np.ndarray, units: int) -> np.ndarray:
        """Sums (units,) of values (e,)."""
        return np.bincount(self.unit, weights=values, minlength=units)


@dataclass(frozen=True)
class Recording:
    """What the records can show of U units and R reclosing devices (devices: (R,) positions in the network).

    at_unit, at_device: sustained records in the unit itself (place: the unit) and at a reclosing device.
    alone: momentary events with nothing left open, in the time when the device's events are recorded.
    beside: momentary events that come before a sustained record in the unit, in the same time.
    steps, squares: openings of the device by faults with nothing left open in the time of counter readings, and sums
        of the squares of the openings of each.
    steps_at_unit, steps_at_device: openings, in that time, of faults with a sustained record there.
    """

    devices: np.ndarray
    at_unit: Entries
    at_device: Entries
    alone: Entries
    beside: Entries
    steps: Entries
    squares: Entries
    steps_at_unit: Entries
    steps_at_device: Entries


@dataclass(frozen=True)
class TimeSpans:
    """Spans of time of reclosing devices: device (positions), start, end (datetime64[s]), (k,) each."""

    device: np.ndarray
    start: np.ndarray
    end: np.ndarray

    def years_within(self, device: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Years of a device's spans between `start` and `end`, (n,) for each of n."""
        asked = pd.DataFrame({"device": device, "start": start.astype("datetime64[s]").astype(np.int64),
                              "end": end.astype("datetime64[s]").astype(np.int64)})
        distinct = asked.drop_duplicates().reset_index(drop=True)
        distinct["which"] = np.arange(len(distinct))
        spans = pd.DataFrame({"device": self.device, "from": self.start.astype("datetime64[s]").astype(np.int64),
                              "to": self.end.astype("datetime64[s]").astype(np.int64)})
        both = distinct.merge(spans, on="device")
        begin, end, span_begin, span_end = (both[c].to_numpy(dtype=float) for c in ("start", "end", "from", "to"))
        seconds = np.minimum(end, span_end) - np.maximum(begin, span_begin)
        total = np.bincount(both["which"].to_numpy(dtype=int), np.maximum(seconds, 0.0), len(distinct))
        which = asked.merge(distinct, on=["device", "start", "end"], how="left")["which"].to_numpy(dtype=int)
        return total[which] / SECONDS_PER_YEAR


def recording(units: Units, times: Iterable[Spell], monitored: TimeSpans, read: TimeSpans,
              covered: tuple[np.datetime64, np.datetime64]) -> Recording:
    """What the records can show, under the protection of each time.

    monitored: when the momentary events of a device are recorded. read: spans of its counter readings. covered: from
    when until when there are outage records; times may begin before and end after, where counters are read.
    """
    rows = pd.concat([_of_spell(spell, units, monitored, read, covered) for spell in times], ignore_index=True)
    devices, device = np.unique(rows["device"].to_numpy(), return_inverse=True)
    unit, permanent, k, is_open, own, records, watched, read_time = (rows[name].to_numpy() for name in (
        "unit", "permanent", "openings", "open", "at_unit", "records", "watched", "read"))

    def entries(chosen: np.ndarray, place: np.ndarray, amount: np.ndarray, places: int) -> Entries:
        at = np.flatnonzero(chosen & (amount > 0.0))
        key, index = np.unique(unit[at] * places + place[at], return_inverse=True)
        by_kind = [np.bincount(index, np.where(permanent[at] == kind, amount[at], 0.0), len(key))
                   for kind in (False, True)]
        return Entries(key // places, key % places, *by_kind)

    count, alone, at_device = len(devices), ~is_open, is_open & ~own
    return Recording(
        devices, at_unit=entries(own, unit, records, len(units)), at_device=entries(at_device, device, records, count),
        alone=entries(alone, device, watched, count), beside=entries(own & (k >= 1), device, watched, count),
        steps=entries(alone, device, read_time * k, count), squares=entries(alone, device, read_time * k * k, count),
        steps_at_unit=entries(own, device, read_time * k, count),
        steps_at_device=entries(at_device, device, read_time * k, count))


def _of_spell(spell: Spell, units: Units, monitored: TimeSpans, read: TimeSpans,
              covered: tuple[np.datetime64, np.datetime64]) -> pd.DataFrame:
    """The rows of the outcome table of one time, with the faults expected of each while it lasted.

    Columns: unit; device (position of the reclosing device); permanent, open (something stays open), at_unit (other
    than a reclosing device); openings; records, watched, read: faults at the assumed rates, were all temporary or all
    permanent, in all of the time that is covered, while events are recorded, and within counter readings.
    """
    table = build_outcomes(_of_both_kinds(spell.model), (UNCHANGED,))
    table = table.take(np.flatnonzero((spell.end > spell.start)[table.section]))
    recorded = np.minimum(spell.end, covered[1]) - np.maximum(spell.start, covered[0])
    years = recorded.astype("timedelta64[s]").astype(float) / SECONDS_PER_YEAR
    opened, permanent = table.opened[0], table.kinds == PERMANENT_BIT
    rate, section = _rates_of_certain_kind(table, spell.model), table.section
    device_of = table.recloser[0]
    watched, read_years = (spans.years_within(device_of, spell.start, spell.end) for spans in (monitored, read))
    return pd.DataFrame({
        "unit": units.of_section[section], "device": device_of[section], "permanent": permanent, "open": opened >= 0,
        "at_unit": (opened >= 0) & ~RECLOSES[table.protections[0].device[opened]],
        "openings": table.openings[0].astype(float), "records": rate * np.maximum(years, 0.0)[section],
        "watched": rate * watched[section], "read": rate * read_years[section]})


def _of_both_kinds(model: Model) -> Model:
    """The model with some faults of either kind everywhere, so that its table has all rows."""
    half = np.full(len(model.network), 0.5)
    return replace(model, network=model.network.with_columns({"temporary_fraction": half}))


def _rates_of_certain_kind(table: OutcomeTable, model: Model) -> np.ndarray:
    """Faults a year of each row at the assumed rates, were all faults of its kind."""
    return 2.0 * row_rates(table, model.values)
