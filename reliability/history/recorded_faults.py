"""Faults that the outage records show, and where each of them lies.

An unplanned event is one fault, and so are events of one lateral, or of one main section, that start within five
minutes of the first of them. A momentary event of a reclosing device says nothing of where in its zone the fault was:
it is no fault of a place here, but one of the device's own events (`operations`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.history.momentary import window_starts
from reliability.history.outages import Records, mapped_kinds
from reliability.history.protection_then import Spell
from reliability.history.units import Units
from reliability.network.devices import RECLOSES
from reliability.network.tree import Network

RECORDED_KINDS = 3      # temporary, permanent, not stated
_BLANK = 2


@dataclass(frozen=True)
class FaultCounts:
    """Recorded faults: at_unit (U, RECORDED_KINDS) in a unit, at_device (R, RECORDED_KINDS) at a reclosing device;
    without_place: events with no section."""

    at_unit: np.ndarray
    at_device: np.ndarray
    without_place: int


def recorded_faults(records: Records, times: Sequence[Spell] = ()) -> pd.DataFrame:
    """Faults that left a sustained record, a row each: section, at, kind (−1, 0, 1), device (position of the reclosing
    device that opened, −1 where another device did).

    The section is the furthest from the source that the fault's events name. What opened is the nearest protective
    device at or above it at the time. A fault has the kind that its steps state, permanent where they differ. Whoever
    was interrupted at a fuse or sectionalizer was so for a device that stayed open, however short.
    times: protection of the time, today's all along where none is given.
    """
    network = records.network
    steps = records.steps[["event", "section", "event_started", "planned", "sustained"]]
    steps = steps.assign(kind=mapped_kinds(records))
    steps = steps[~steps["planned"].to_numpy() & (steps["section"].to_numpy() >= 0)]
    steps = steps.assign(depth=network.along_path(np.ones(len(network)))[steps["section"].to_numpy()])
    steps = _merged(steps, steps["event"].to_numpy())
    section = steps["section"].to_numpy()
    place = np.where(network.lateral[section] >= 0, network.lateral[section], section)
    order = np.lexsort((steps["event_started"].to_numpy(), place))
    opens = window_starts(place[order], steps["event_started"].to_numpy()[order].astype(np.int64))
    faults = _merged(steps.iloc[order], np.cumsum(opens))
    section, at = faults["section"].to_numpy(), faults["event_started"].to_numpy().astype("datetime64[s]")
    device = _reclosing_device(network, section, at, times)
    known = (device < 0) | faults["sustained"].to_numpy(dtype=bool)
    return pd.DataFrame({"section": section, "at": at, "kind": faults["kind"].to_numpy(),
                         "device": device})[known].reset_index(drop=True)


def _reclosing_device(today: Network, section: np.ndarray, at: np.ndarray, times: Sequence[Spell]) -> np.ndarray:
    """The reclosing device that protected each section at a time, −1 where another device did, (f,)."""
    result = _protecting(today, section)
    for spell in times:
        then = (at >= spell.start[section]) & (at < spell.end[section])
        result[then] = _protecting(spell.model.network, section[then])
    return result


def _protecting(network: Network, section: np.ndarray) -> np.ndarray:
    device = network.protective[section]
    return np.where(RECLOSES[network.device[device]], device, -1)


def fault_counts(records: Records, times: Sequence[Spell], units: Units, devices: np.ndarray,
                 covered: np.ndarray) -> FaultCounts:
    """Recorded faults by place and kind; devices: (R,) positions of the reclosing devices. covered: (n,) sections whose
    faults at a place of their own are known otherwise."""
    faults = recorded_faults(records, times)
    faults = faults[(faults["device"].to_numpy() >= 0) | ~covered[faults["section"].to_numpy()]]
    kind = np.where(faults["kind"].to_numpy() < 0, _BLANK, faults["kind"].to_numpy())
    device, section = faults["device"].to_numpy(), faults["section"].to_numpy()
    own = device < 0
    at_unit = np.bincount(units.of_section[section[own]] * RECORDED_KINDS + kind[own],
                          minlength=len(units) * RECORDED_KINDS)
    place = np.searchsorted(devices, device[~own])
    known = np.isin(device[~own], devices)
    at_device = np.bincount(place[known] * RECORDED_KINDS + kind[~own][known], minlength=len(devices) * RECORDED_KINDS)
    steps = records.steps
    unplaced = steps["sustained"] & (steps["section"] < 0) & ~steps["planned"]
    without = steps["event"][unplaced].nunique()
    return FaultCounts(at_unit.reshape(-1, RECORDED_KINDS), at_device.reshape(-1, RECORDED_KINDS), without)


def _merged(steps: pd.DataFrame, code: np.ndarray) -> pd.DataFrame:
    """The furthest row of each code, ordered by code, with the largest kind and whether any row was sustained."""
    order = np.lexsort((-steps["depth"].to_numpy(), code))
    steps, code = steps.iloc[order], code[order]
    first = np.append(True, code[1:] != code[:-1])[:len(code)]
    grouped = steps[["kind", "sustained"]].groupby(code, sort=True).max()
    return steps[first].assign(kind=grouped["kind"].to_numpy(), sustained=grouped["sustained"].to_numpy())
