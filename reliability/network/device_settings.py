"""Overcurrent settings of reclosing devices: which elements see a fault on an operation, and their clearing time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.network.curves import CurvePoints, Elements, element_times, make_elements
from reliability.schema.columns import DELAYED, FAST, GROUND, PHASE

# Kinds of operation and parts of the faults, as places in arrays.
FAST_OPERATION, DELAYED_OPERATION = 0, 1
PHASE_ELEMENTS, ALL_ELEMENTS = 0, 1   # three-phase faults, all others
OPERATION_KINDS, FAULT_PARTS = 2, 2

_SLOTS = tuple((operation, element) for operation in (FAST, DELAYED) for element in (PHASE, GROUND))
_LOOKED_AT = 60   # currents at which fast and delayed rows are compared; a note needs no more
_ELEMENTS = ["pickup_a", "curve", "time_dial", "added_time_s"]


@dataclass(frozen=True)
class DeviceSettings:
    """d distinct settings of devices.

    of_section: section_id of a reclosing device → its place here. slot: (d, 4) element of each of fast phase, fast
    ground, delayed phase and delayed ground, −1 for none. elements: e distinct ones.
    sees: (d, kinds, parts) bits of the slots whose least time is the device's clearing time (model §8).
    """

    of_section: Mapping[str, int]
    slot: np.ndarray
    elements: Elements
    sees: np.ndarray

    def __len__(self) -> int:
        return len(self.slot)

    @property
    def has_ground(self) -> np.ndarray:
        """Whether a device has ground elements, (d,)."""
        ground = [k for k, (_, element) in enumerate(_SLOTS) if element == GROUND]
        return np.any(self.slot[:, ground] >= 0, axis=1)


def device_settings(settings: pd.DataFrame, curves: Mapping[str, CurvePoints]) -> DeviceSettings:
    """Settings of devices from a checked frame of `columns.SETTINGS`, alike ones once.

    curves: by name, for the curves of the frame that are not built in; KeyError where one is missing.
    """
    element = settings.groupby(_ELEMENTS, sort=False).ngroup().to_numpy()
    elements = make_elements(settings.drop_duplicates(_ELEMENTS), curves)
    section, ids = pd.factorize(settings["section_id"])
    of_slot = {pair: k for k, pair in enumerate(_SLOTS)}
    slot = np.full((len(ids), len(_SLOTS)), -1)
    columns = np.array([of_slot[pair] for pair in zip(settings["operation"], settings["element"], strict=True)], int)
    slot[section, columns] = element
    slot, place = np.unique(slot, axis=0, return_inverse=True)
    return DeviceSettings(dict(zip(map(str, ids), place.ravel().tolist(), strict=True)), slot, elements, _seen(slot))


def _seen(slot: np.ndarray) -> np.ndarray:
    """Bits of the slots that each kind of operation and part of the faults hears, (d, kinds, parts)."""
    present = ((slot >= 0) << np.arange(len(_SLOTS))).astype(np.int64)
    fast, delayed = present[:, :2].sum(axis=1), present[:, 2:].sum(axis=1)
    # a fast operation hears both kinds; a device without a row for one kind takes the other's
    by_kind = np.stack([fast | delayed, np.where(delayed > 0, delayed, fast)], axis=1)
    phase = sum(1 << k for k, (_, element) in enumerate(_SLOTS) if element == PHASE)
    return np.stack([by_kind & phase, by_kind], axis=2)


def clearing_times_s(settings: DeviceSettings, device: np.ndarray, kind: np.ndarray, part: np.ndarray,
                     current_a: np.ndarray, added: bool = True) -> np.ndarray:
    """Clearing time (s) of devices at currents (A), ∞ where none of their elements picks up; arrays broadcast.

    kind: FAST_OPERATION or DELAYED_OPERATION. part: PHASE_ELEMENTS or ALL_ELEMENTS. added: with `added_time_s`.
    """
    device, kind, part, current_a = np.broadcast_arrays(device, kind, part, current_a)
    seen = settings.sees[device, kind, part]
    least = np.full(device.shape, np.inf)
    for k in range(len(_SLOTS)):
        at = np.nonzero(seen >> k & 1)
        least[at] = np.minimum(least[at], element_times(settings.elements.take(settings.slot[device[at], k]),
                                                        current_a[at], added))
    return least


def least_pickup_a(settings: DeviceSettings) -> np.ndarray:
    """Least pickup (A) of each device, which counts as its minimum trip, (d,)."""
    pickup = np.append(settings.elements.pickup_a, np.inf)
    return pickup[settings.slot].min(axis=1)


def pickups_a(settings: DeviceSettings) -> np.ndarray:
    """Current (A) above which each device trips on a kind of operation, of a fault that all elements see, (d, kinds).
    """
    pickup = np.append(settings.elements.pickup_a, np.inf)[settings.slot]
    heard = settings.sees[:, :, ALL_ELEMENTS, None] >> np.arange(len(_SLOTS)) & 1
    return np.where(heard == 1, pickup[:, None, :], np.inf).min(axis=2)


def fast_slower_at_a(settings: DeviceSettings, device: np.ndarray, low_a: np.ndarray, high_a: np.ndarray) -> np.ndarray:
    """Highest current (A) found in low_a … high_a at which fast rows are slower than delayed ones, (m,), NaN for none.

    device, low_a, high_a: (m,) devices and the fault currents of their zones; NaN where none is known. Looked for at
    `_LOOKED_AT` currents, for each part of the faults; a device without rows of both kinds is never slower. A fast row
    that does not pick up where a delayed one does is slower too.
    """
    current = np.exp(np.linspace(np.log(low_a), np.log(high_a), _LOOKED_AT, axis=-1))
    slower = np.zeros(current.shape, dtype=bool)
    for seen in (0b0101, 0b1111):   # slots of phase elements, of all
        fast, delayed = (_least(settings, settings.slot[device], slots & seen, current) for slots in (0b0011, 0b1100))
        slower |= fast > delayed
    both = [(settings.slot[device][:, k:k + 2] >= 0).any(axis=1) for k in (0, 2)]
    slower &= (both[0] & both[1])[:, None]
    return np.where(slower.any(axis=1), np.where(slower, current, -np.inf).max(axis=1, initial=-np.inf), np.nan)


def later_than_above_a(settings: DeviceSettings, device: np.ndarray, kind: np.ndarray, above: np.ndarray,
                       low_a: np.ndarray, high_a: np.ndarray) -> np.ndarray:
    """Highest current (A) found in low_a … high_a at which a device clears no sooner than a fast operation of the one
    above it, (m,), NaN for none.

    device, above: (m,) devices; kind: of the first operation of `device`. Currents: as of `fast_slower_at_a`, for
    faults that all elements see.
    """
    current = np.exp(np.linspace(np.log(low_a), np.log(high_a), _LOOKED_AT, axis=-1))
    own, other = (clearing_times_s(settings, d[:, None], np.asarray(k)[..., None], np.array(ALL_ELEMENTS), current)
                  for d, k in ((device, kind), (above, np.array(FAST_OPERATION))))
    late = np.isfinite(other) & (own >= other)
    return np.where(late.any(axis=1), np.where(late, current, -np.inf).max(axis=1, initial=-np.inf), np.nan)


def _least(settings: DeviceSettings, slot: np.ndarray, slots: int, current_a: np.ndarray) -> np.ndarray:
    """Least time (s) of some slots, (m, c)."""
    least = np.full(current_a.shape, np.inf)
    for k in (k for k in range(len(_SLOTS)) if slots >> k & 1):
        at = np.flatnonzero(slot[:, k] >= 0)
        times = element_times(settings.elements.take(slot[at, k][:, None]), current_a[at])
        least[at] = np.minimum(least[at], times)
    return least
