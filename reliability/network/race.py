"""One operation, one fuse: whether the reclosing device opens, the fuse melts, or both, by fault current (model §3).

Answers change with the current at a few places only. They are found once for every pair of a link and a device's
settings, and looked up for any number of faults.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.network.crossings import RaceComparison, changes
from reliability.network.curves import last_at_or_below
from reliability.network.device_settings import FAST_OPERATION, FAULT_PARTS, OPERATION_KINDS, DeviceSettings
from reliability.network.link_curves import LinkCurves
from reliability.network.packed import of_each

DEVICE_ALONE, BOTH, FUSE_ALONE = 0, 1, 2
NONE = -1
_Columns = tuple[np.ndarray, np.ndarray, np.ndarray]   # group, start, outcome of intervals

_SLOTS = 4
_ALL = (1 << _SLOTS) - 1
# Bits of a pair's state at a current, over the slots of the device: element clears before the link melts, link clears
# before the element times out, element has a finite time; then: link can melt, link can clear.
_SAVES, _CLEARS, _FINITE = 0, _SLOTS, 2 * _SLOTS
_MELTS_BIT, _CLEARS_BIT = 1 << 3 * _SLOTS, 1 << 3 * _SLOTS + 1


@dataclass(frozen=True)
class Race:
    """Outcomes of n pairs of a fuse and a reclosing device over the fault current.

    Group g = (pair · OPERATION_KINDS + kind) · FAULT_PARTS + part has the intervals first[g] … first[g + 1] − 1:
    `outcome` from `start_a` (A, included) on, up to the next. The first of each group begins at 0.
    """

    first: np.ndarray
    start_a: np.ndarray
    outcome: np.ndarray

    def __len__(self) -> int:
        return (len(self.first) - 1) // (OPERATION_KINDS * FAULT_PARTS)

    def outcome_at(self, pair: np.ndarray, kind: np.ndarray, part: np.ndarray, current_a: np.ndarray) -> np.ndarray:
        """DEVICE_ALONE, BOTH or FUSE_ALONE of pairs at currents (A); arrays broadcast.

        kind: FAST_OPERATION, DELAYED_OPERATION. part: PHASE_ELEMENTS, ALL_ELEMENTS. Where the current is unknown (NaN)
        every fuse is saved on a fast operation and melts alone on a delayed one (model §2, §3).
        """
        pair, kind, part, current_a = np.broadcast_arrays(pair, kind, part, current_a)
        group = (pair * OPERATION_KINDS + kind) * FAULT_PARTS + part
        place = last_at_or_below(self.start_a, self.first[group], self.first[group + 1], current_a)
        unknown = np.where(kind == FAST_OPERATION, DEVICE_ALONE, FUSE_ALONE)
        return np.where(np.isnan(current_a), unknown, self.outcome[np.maximum(place, 0)]).astype(np.int8)

    def intervals(self, pair: int, kind: int, part: int) -> tuple[np.ndarray, np.ndarray]:
        """(start_a, outcome), (k,) each, of one pair's intervals of current; each ends where the next starts."""
        group = (pair * OPERATION_KINDS + kind) * FAULT_PARTS + part
        at = slice(self.first[group], self.first[group + 1])
        return self.start_a[at], self.outcome[at]

    def breakpoints(self) -> tuple[np.ndarray, np.ndarray]:
        """Currents (A) at which any outcome of a pair changes, over kinds and parts, ascending in each pair.

        Returns (first (n + 1,), current_a): those of pair i are current_a[first[i]:first[i + 1]].
        """
        pair = np.repeat(np.arange(len(self)), np.diff(self.first[:: OPERATION_KINDS * FAULT_PARTS]))
        inner = self.start_a > 0.0
        pair, current = pair[inner], self.start_a[inner]
        order = np.lexsort((current, pair))
        pair, current = pair[order], current[order]
        distinct = np.append(True, (np.diff(pair) != 0) | (np.diff(current) != 0))[: len(pair)]
        return np.searchsorted(pair[distinct], np.arange(len(self) + 1)), current[distinct]


def run_races(links: LinkCurves, settings: DeviceSettings, link: np.ndarray, device: np.ndarray,
              ceiling_a: np.ndarray, melting_factor: float, arcing_time_s: float) -> Race:
    """Outcomes of n distinct pairs.

    link: (n,) place in `links`, NONE for an unknown link. device: (n,) place in `settings`, NONE for a device without
    rows. Where either is NONE the simple rule holds: saved by fast operations below ceiling_a, (n,), A, and no link
    melts below its longest maximum melting current. Elsewhere the times decide and ceiling_a is not read.
    """
    link, device = np.asarray(link, dtype=np.int64), np.asarray(device, dtype=np.int64)
    timed = (link != NONE) & (device != NONE)
    parts = [_timed(links, settings, np.flatnonzero(timed), link, device, melting_factor, arcing_time_s),
             _simple(links, np.flatnonzero(~timed), link, np.asarray(ceiling_a, dtype=float))]
    group, start, outcome = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    order = np.argsort(group, kind="stable")
    first = np.searchsorted(group[order], np.arange(len(link) * OPERATION_KINDS * FAULT_PARTS + 1))
    return Race(first, start[order], outcome[order].astype(np.int8))


def _simple(links: LinkCurves, pair: np.ndarray, link: np.ndarray, ceiling_a: np.ndarray) -> _Columns:
    """(group, start, outcome) of pairs under the rule without settings."""
    holds = np.append(links.longest_melting_a, 0.0)[link[pair]]
    saved = np.maximum(ceiling_a[pair], holds)
    columns = []
    for kind in range(OPERATION_KINDS):
        fast = kind == FAST_OPERATION
        # below these currents the device is alone; nothing begins at ∞
        end = saved if fast else holds
        for part in range(FAULT_PARTS):
            group = (pair * OPERATION_KINDS + kind) * FAULT_PARTS + part
            some, alone = np.isfinite(end), end > 0.0
            columns.append((group[alone], np.zeros(alone.sum()), np.full(alone.sum(), DEVICE_ALONE)))
            columns.append((group[some], end[some], np.full(some.sum(), BOTH if fast else FUSE_ALONE)))
    return _joined(columns)


def _joined(pieces: list[_Columns]) -> _Columns:
    group, start, outcome = (np.concatenate(parts) for parts in zip(*pieces, strict=True))
    return group, start, outcome


def _timed(links: LinkCurves, settings: DeviceSettings, pair: np.ndarray, link: np.ndarray, device: np.ndarray,
           melting_factor: float, arcing_time_s: float) -> _Columns:
    """(group, start, outcome) of pairs with settings and a known link."""
    link, device = link[pair], device[pair]
    place, current, bit = _events(links, settings, link, device, melting_factor, arcing_time_s)
    order = np.argsort(current)
    order = order[np.argsort(place[order], kind="stable")]
    place, current, bit = place[order], current[order], bit[order]
    # every event flips one bit; the state of a pair begins at 0, with an event that flips none at 0 A
    states = np.bitwise_xor.accumulate(bit) if len(bit) else bit
    begin = np.searchsorted(place, np.arange(len(pair) + 1))
    before = np.where(begin[:-1] > 0, states[begin[:-1] - 1], 0) if len(pair) else states
    states = states ^ np.repeat(before, np.diff(begin))
    last = np.append((np.diff(place) != 0) | (np.diff(current) != 0), True)[: len(place)]
    place, current, states = place[last], current[last], states[last]

    columns = []
    for kind in range(OPERATION_KINDS):
        for part in range(FAULT_PARTS):
            outcome = _outcome(states, settings.sees[device, kind, part][place])
            new = np.append(True, (np.diff(place) != 0) | (np.diff(outcome) != 0))[: len(place)]
            columns.append(((pair[place[new]] * OPERATION_KINDS + kind) * FAULT_PARTS + part, current[new],
                            outcome[new]))
    return _joined(columns)


def _outcome(state: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """Model §3, one operation, from the bits of a state and those of the slots that see the fault."""
    saves, clears, finite = (state >> shift & _ALL & seen for shift in (_SAVES, _CLEARS, _FINITE))
    melts, link_clears = state & _MELTS_BIT != 0, state & _CLEARS_BIT != 0
    # t is the least of the elements' times and so is t_r: the device is in time where one element is, the fuse is
    # first where it is before every element
    alone = ~melts | (saves != 0) | (~link_clears & (finite == 0))
    fuse = link_clears & (clears == seen)
    return np.where(alone, DEVICE_ALONE, np.where(fuse, FUSE_ALONE, BOTH))


def _events(links: LinkCurves, settings: DeviceSettings, link: np.ndarray, device: np.ndarray, melting_factor: float,
            arcing_time_s: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(pair, current, bits flipped there) of all that happens to pairs (n,) as the current rises from 0."""
    everyone = np.arange(len(link))
    pair, slot = np.nonzero(settings.slot[device] >= 0)
    element = settings.slot[device[pair], slot]
    combination, where = np.unique(link[pair] * len(settings.elements) + element, return_inverse=True)
    finite = settings.elements.first_current_a
    events = [(everyone, np.zeros(len(link)), np.zeros(len(link), dtype=np.int64)),
              (everyone, links.melting.first_current_a[link], np.full(len(link), _MELTS_BIT)),
              (everyone, links.clearing.first_current_a[link], np.full(len(link), _CLEARS_BIT)),
              (pair, finite[element], 1 << _FINITE + slot)]
    first, saves, clears = _combined(links, settings, combination, melting_factor, arcing_time_s)
    for offsets, currents, shift in ((first[0], saves, _SAVES), (first[1], clears, _CLEARS)):
        row, step = of_each(np.diff(offsets)[where])
        events.append((pair[row], currents[offsets[where[row]] + step], 1 << shift + slot[row]))
    pairs, currents, bits = (np.concatenate(parts) for parts in zip(*events, strict=True))
    return pairs, currents, bits


def _combined(links: LinkCurves, settings: DeviceSettings, combination: np.ndarray, melting_factor: float,
              arcing_time_s: float) -> tuple[list[np.ndarray], np.ndarray, np.ndarray]:
    """Changes of both comparisons of each combination of a link and an element: offsets of each, and currents."""
    link, element = np.divmod(combination, max(len(settings.elements), 1))
    elements = settings.elements.take(element)
    offsets, currents = [], []
    for comparison in (RaceComparison(links.melting, melting_factor, np.zeros(len(links)), True, True),
                       RaceComparison(links.clearing, 1.0, links.arcing_s(arcing_time_s), False, False)):
        place, current = changes(elements, link, comparison)
        order = np.argsort(place, kind="stable")
        offsets.append(np.searchsorted(place[order], np.arange(len(combination) + 1)))
        currents.append(current[order])
    return offsets, currents[0], currents[1]
