"""What the records of a study show of its units, beside what they could show: the input of the estimate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.history.operations import Operations
from reliability.history.outages import Records
from reliability.history.posterior import DEFAULT_FRACTION, Evidence, Prior
from reliability.history.protection_then import Spell, spells
from reliability.history.recorded_faults import FaultCounts, fault_counts
from reliability.history.recording import SECONDS_PER_YEAR, Entries, Recording, TimeSpans, recording
from reliability.history.units import Units
from reliability.indices.draws import pert_shapes
from reliability.network.devices import RECLOSES
from reliability.network.rates import fault_rates
from reliability.network.tree import Network
from reliability.schema.problems import Problems
from reliability.study.record_settings import RecordSettings
from reliability.study.study import Study

FLOOR = 0.01       # of a unit's faults, where the table holds a kind of record that is there to be impossible (§10)
EDGE = 1e-6        # fractions nearer to 0 or 1 are taken at this distance, as their logit has no end


@dataclass(frozen=True)
class Observed:
    """What is recorded, whatever protection is taken to do: the units, counts, and the time they are from.

    covered: (n,) sections whose faults the sections state. stated: (U,) these faults, in stated_years (U,) of all of a
    unit; record_years: (U,) for which the rest of it is in the records. section_years: (n,).
    """

    units: Units
    settings: RecordSettings
    records: Records | None
    operations: Operations | None
    first: np.datetime64
    last: np.datetime64
    covered: np.ndarray
    stated: np.ndarray
    stated_years: np.ndarray
    record_years: np.ndarray
    section_years: np.ndarray


@dataclass(frozen=True)
class Found:
    """Evidence, and what had to be done to it.

    at_unit: (U, 3) sustained records of each unit by kind, those of units without exposure too, of which the evidence
    has none.
    years, km_years: (U,) that each unit is observed. impossible: units with a kind of record that the protection of
    the time does not allow. devices: (R,) positions of the reclosing devices. without_place: faults recorded without a
    section, whose share the recorded ones are taken to lack everywhere.
    """

    evidence: Evidence
    at_unit: np.ndarray
    years: np.ndarray
    km_years: np.ndarray
    impossible: np.ndarray
    devices: np.ndarray
    without_place: int


def observed(study: Study, settings: RecordSettings, units: Units, records: Records | None,
             operations: Operations | None) -> Observed:
    """What is recorded of a study. Raises StudyError for faults observed in no time."""
    first = last = np.datetime64("2000-01-01", "s")
    if records is not None:
        first, last = records.first_day.astype("datetime64[s]"), (records.last_day + 1).astype("datetime64[s]")
    return Observed(units, settings, records, operations, first, last, *_stated(study, units, records, first, last))


def find_evidence(study: Study, seen: Observed) -> Found:
    """What is recorded of each unit beside what could be, under the protection that `study` models."""
    units, operations = seen.units, seen.operations
    monitored, read = _spans(operations)
    # counters may be read over more time than the outage records cover
    times = list(spells(study, seen.settings, min([seen.first, *read.start]), max([seen.last, *read.end])))
    shows = recording(units, times, monitored, read, (seen.first, seen.last))
    devices = shows.devices
    none = FaultCounts(np.zeros((len(units), 3)), np.zeros((len(devices), 3)), 0)
    counts = fault_counts(seen.records, times, units, devices, seen.covered) if seen.records else none
    period = (seen.last - seen.first).astype(float) / SECONDS_PER_YEAR
    part = np.divide(seen.record_years, period, out=np.zeros(len(units)), where=period > 0)
    placed = counts.at_unit.sum() + counts.at_device.sum()
    with_place = placed / (placed + counts.without_place) if placed else 1.0
    share = [_of_units(shows.at_unit, units, name) * part * with_place for name in ("temporary", "permanent")]
    stated_share = [np.zeros(len(units)), np.zeros(len(units))]
    if seen.covered.any():
        stated_share = [each * seen.stated_years for each in _per_year(study, units, times[0])]
    exposure = units.rate * (seen.record_years + seen.stated_years)
    at_unit, stated = counts.at_unit * (exposure > 0.0)[:, None], seen.stated * (exposure > 0.0)
    impossible, share = _with_floor(at_unit, share, exposure)
    device_impossible, entries = _device_floor(counts.at_device, shows, exposure)
    entries = _thinned(entries, np.full(len(devices), with_place))
    events_with_place = np.ones(len(devices)) if operations is None else np.where(
        np.isin(devices, operations.logged), 1.0, operations.with_place)
    alone, beside = (_thinned(each, events_with_place) for each in (shows.alone, shows.beside))
    evidence = Evidence(
        units.group, len(units.group_names), exposure, at_unit, share[0], share[1], stated, stated_share[0],
        stated_share[1], counts.at_device, entries, _events(operations, devices), alone, beside,
        _steps(operations, devices), shows.steps, shows.squares, shows.steps_at_unit, shows.steps_at_device)
    km_years = units.sum(np.nan_to_num(study.network.column["length_km"]) * seen.section_years)
    return Found(evidence, counts.at_unit, seen.record_years + seen.stated_years, km_years,
                 np.flatnonzero(impossible | device_impossible), devices, counts.without_place)


def _spans(operations: Operations | None) -> tuple[TimeSpans, TimeSpans]:
    """When events are recorded, and the counter readings that are used, by device."""
    if operations is None:
        none = np.array([], dtype="datetime64[s]")
        return TimeSpans(np.array([], dtype=int), none, none), TimeSpans(np.array([], dtype=int), none, none)
    return _of_frame(operations.monitored), _of_frame(_used_readings(operations))


def _used_readings(operations: Operations) -> pd.DataFrame:
    """Counter readings of times in which the events of their device are not recorded, which would count them twice."""
    spans = operations.spans
    monitored = _of_frame(operations.monitored)
    read = _of_frame(spans)
    twice = monitored.years_within(read.device, read.start, read.end) > 0.0
    return spans[~np.isin(spans["reading"].to_numpy(), spans["reading"].to_numpy()[twice])]


def _of_frame(frame: pd.DataFrame) -> TimeSpans:
    return TimeSpans(frame["device"].to_numpy(dtype=int), *(
        frame[name].to_numpy().astype("datetime64[s]") for name in ("start", "end")))


def _events(operations: Operations | None, devices: np.ndarray) -> np.ndarray:
    return _by_device(operations.events["device"], None, devices) if operations else np.zeros(len(devices))


def _steps(operations: Operations | None, devices: np.ndarray) -> np.ndarray:
    if operations is None:
        return np.zeros(len(devices))
    used = _used_readings(operations)
    return _by_device(used["device"], used["steps"].fillna(0.0), devices)


def _by_device(device: pd.Series, amount: pd.Series | None, devices: np.ndarray) -> np.ndarray:
    """Sums (R,) over rows of a device; one that protects nothing is left out."""
    position = device.to_numpy(dtype=int)
    known = np.isin(position, devices)
    weights = None if amount is None else amount.to_numpy(dtype=float)[known]
    return np.bincount(np.searchsorted(devices, position[known]), weights, len(devices)).astype(float)


def _thinned(entries: Entries, share: np.ndarray) -> Entries:
    """Entries with the shares (places,) of what is recorded that name a place."""
    return replace(entries, temporary=entries.temporary * share[entries.place],
                   permanent=entries.permanent * share[entries.place])


def _of_units(entries: Entries, units: Units, kind: str) -> np.ndarray:
    """Sums (U,) of one kind of entries with units as their places."""
    values: np.ndarray = getattr(entries, kind)
    return entries.by_unit(values, len(units))


def _with_floor(counts: np.ndarray, share: list[np.ndarray],
                exposure: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
    """Units (U,) bool with a record that nothing in the table explains, and the shares with the floor there."""
    least = FLOOR * exposure
    low = [counts[:, kind] > 0 for kind in (0, 1)]
    neither = (counts[:, 2] > 0) & (share[0] < least) & (share[1] < least)
    floored = [np.where((low[kind] | neither) & (share[kind] < least), least, share[kind]) for kind in (0, 1)]
    impossible = (low[0] & (share[0] == 0.0)) | (low[1] & (share[1] == 0.0)) | (
        neither & (share[0] == 0.0) & (share[1] == 0.0))
    return impossible & (exposure > 0), floored


def _device_floor(counts: np.ndarray, shows: Recording, exposure: np.ndarray) -> tuple[np.ndarray, Entries]:
    """The same for records at reclosing devices: units (U,) bool behind one, and the entries with the floor."""
    entries, devices = shows.at_device, len(shows.devices)
    floored = []
    impossible = np.zeros(len(exposure), bool)
    behind = _units_behind(shows, devices)
    unit = np.concatenate([entries.unit, behind.unit])
    place = np.concatenate([entries.place, behind.place])
    for kind, name in ((0, "temporary"), (1, "permanent")):
        values: np.ndarray = getattr(entries, name)
        lacking = (counts[:, kind] > 0) & (entries.by_place(values, devices) == 0.0)
        extra = np.where(lacking[behind.place], FLOOR * exposure[behind.unit], 0.0)
        impossible[behind.unit[extra > 0.0]] = True
        floored.append(np.concatenate([values, extra]))
    used = (floored[0] > 0) | (floored[1] > 0)
    key, index = np.unique(unit[used] * devices + place[used], return_inverse=True)
    return impossible, Entries(key // max(devices, 1), key % max(devices, 1),
                               *(np.bincount(index, values[used], len(key)) for values in floored))


def _units_behind(shows: Recording, devices: int) -> Entries:
    """Pairs of a unit and a reclosing device that some fault of it concerns."""
    pairs = [shows.at_device, shows.alone, shows.beside, shows.steps]
    key = np.unique(np.concatenate([e.unit * max(devices, 1) + e.place for e in pairs]))
    nothing = np.zeros(len(key))
    return Entries(key // max(devices, 1), key % max(devices, 1), nothing, nothing)


def _stated(study: Study, units: Units, records: Records | None, first: np.datetime64, last: np.datetime64,
            ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The last five fields of `Observed`. A count at a head alone is that of the whole unit; one of faults that the
    records show at a reclosing device is left to the records, where there are any.

    Raises StudyError for a count without years.
    """
    network, rates = study.network, fault_rates(study.model)
    faults, years = network.column["faults_observed"], network.column["years_observed"].copy()
    has = np.isfinite(faults)
    if records:
        has &= ~recorded_at_devices(units, network)[units.of_section]
        years = np.where(has & ~np.isfinite(years), records.period_years, years)
    _check_years(study, network, has, years)
    heads = np.flatnonzero(has & (network.unit == np.arange(len(network))))
    alone = units.sum(has.astype(float))[units.of_section[heads]] == 1
    whole = np.full(len(units), np.nan)
    whole[units.of_section[heads[alone]]] = years[heads[alone]]
    years = np.where(has, years, whole[units.of_section])
    covered, period = np.isfinite(years), (last - first).astype(float) / SECONDS_PER_YEAR
    years = np.where(covered, years, period)

    def of_all(values: np.ndarray) -> np.ndarray:
        return np.divide(units.sum(rates * values), units.rate, out=np.zeros(len(units)), where=units.rate > 0)

    return (covered, units.sum(np.where(has, faults, 0.0)), of_all(np.where(covered, years, 0.0)),
            of_all(np.where(covered, 0.0, years)), years)


def recorded_at_devices(units: Units, network: Network) -> np.ndarray:
    """Units (U,) bool all of whose faults open a reclosing device: mains, and what stands behind a lateral recloser."""
    at_devices, heads = units.main.copy(), network.candidates
    at_devices[:len(heads)] = RECLOSES[network.device[heads]]
    return at_devices


def _check_years(study: Study, network: Network, has: np.ndarray, years: np.ndarray) -> None:
    bad = np.flatnonzero(has & ~(years > 0))
    problems = Problems()
    problems.each(bad[np.argsort(network.row[bad])], lambda i: study.section_problem(
        int(network.row[i]), "years_observed", "" if np.isnan(network.column["years_observed"][i])
        else f"{network.column['years_observed'][i]:g}",
        "faults_observed without the years they were counted in", "give years_observed, above 0"))
    problems.raise_if_any()


def _per_year(study: Study, units: Units, today: Spell) -> list[np.ndarray]:
    """Sustained records of each unit in a year under today's protection, were its faults temporary, or permanent, (U,)
    each: in the unit; of one whose faults all open a reclosing device, at that."""
    start = np.full(len(study.network), np.datetime64("2000-01-01", "s"))
    year = replace(today, start=start, end=start + np.timedelta64(int(SECONDS_PER_YEAR), "s"))
    none = TimeSpans(np.array([], dtype=int), start[:0], start[:0])
    shows = recording(units, [year], none, none, (start[0], year.end[0]))
    in_unit, at_device = ([_of_units(entries, units, kind) for kind in ("temporary", "permanent")]
                          for entries in (shows.at_unit, shows.at_device))
    nothing = in_unit[0] + in_unit[1] == 0.0
    return [np.where(nothing, elsewhere, own) for own, elsewhere in zip(in_unit, at_device, strict=True)]


def prior_of(study: Study, units: Units) -> Prior:
    """Prior of the temporary fractions: the study's range, else a beta one; groups keep the distance that own values of
    their sections state."""
    values, stated = study.values, study.stated_ranges.get("temporary_fraction")
    assumed = float(np.clip(values["temporary_fraction"], EDGE, 1.0 - EDGE))
    own = study.network.column["temporary_fraction"]
    rates = fault_rates(study.model)
    group = units.group[units.of_section]
    total = np.bincount(group, rates, len(units.group_names))
    mean = np.bincount(group, rates * np.where(np.isnan(own), assumed, own), len(units.group_names))
    mean = np.clip(np.divide(mean, total, out=np.full(len(total), assumed), where=total > 0), EDGE, 1.0 - EDGE)
    logit = np.log(mean / (1.0 - mean)) - np.log(assumed / (1.0 - assumed))
    shift = np.where(np.abs(logit) < 1e-9, 0.0, logit)
    if stated is None or stated.high <= stated.low:
        return Prior(_beta(*DEFAULT_FRACTION, 0.0, 1.0), shift, DEFAULT_FRACTION[0] / sum(DEFAULT_FRACTION))
    return Prior(_beta(*pert_shapes(stated), stated.low, stated.high - stated.low), shift, assumed)


def _beta(a: float, b: float, low: float, width: float) -> Callable[[float], float]:
    """Logarithm of the density of a beta distribution from low to low + width, without its constant."""
    def log_density(x: float) -> float:
        u = (x - low) / width
        return (a - 1.0) * float(np.log(u)) + (b - 1.0) * float(np.log1p(-u)) if 0.0 < u < 1.0 else -np.inf

    return log_density
