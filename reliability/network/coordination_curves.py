"""The time-current curves that meet at a lateral: its link, the reclosing device behind it, and its fault currents."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from reliability.network.coordination import Coordination, known_link
from reliability.network.device_settings import (
    ALL_ELEMENTS,
    DELAYED_OPERATION,
    FAST_OPERATION,
    PHASE_ELEMENTS,
    clearing_times_s,
)
from reliability.network.devices import COUNTS, MELTS, RECLOSES
from reliability.network.forest import nearest
from reliability.network.link_curves import Own, link_curves, minimum_melting_s, own_curves, total_clearing_s
from reliability.network.model import Model
from reliability.network.protection import Protection
from reliability.network.race import NONE
from reliability.network.rates import fault_currents_a
from reliability.network.tree import Network
from reliability.schema.devices import DEVICES

POINTS_OF_A_CURVE = 240                       # of each curve
LEAST_A, MOST_A = 1.0, 1e5         # currents that a picture may reach; our choice
MARGIN_BELOW, ABOVE = 2.5, 1.6            # room beside what is shown, as factors


@dataclass(frozen=True)
class Interval:
    """An interval of the fault currents along a lateral in which an operation has one outcome.

    kind: FAST_OPERATION, DELAYED_OPERATION. part: ALL_ELEMENTS, or PHASE_ELEMENTS for three-phase faults.
    outcome: DEVICE_ALONE, BOTH, FUSE_ALONE.
    """

    kind: int
    part: int
    low_a: float
    high_a: float
    outcome: int


@dataclass(frozen=True)
class LateralCurves:
    """What meets at the head of a lateral; times s over current_a (A), (c,), ∞ where there is none.

    device: at the head. recloser_id: R of its faults. link: of its fuse, "" where unknown or no fuse.
    fast_operations: of R. melting_s: minimum melting × `melting_factor`; clearing_s: total clearing; None without
    a known link. device_s: R's clearing time by (kind, part), empty without settings. fast_s: the assumed fast
    clearing time where R has none. ceiling_a: largest current for fuse saving by the rule without settings, NaN
    where curves decide or no fast operation is set. actuating_a: of a sectionalizer there, NaN where there is none.
    low_a, high_a: fault currents for which the head's own device is the nearest, NaN where unknown. intervals: of
    these, where a fuse stands at the head. lateral, recloser: what people call the two.
    """

    lateral_id: str
    lateral: str
    device: str
    recloser: str
    link: str
    fast_operations: int
    melting_factor: float
    current_a: np.ndarray
    melting_s: np.ndarray | None
    clearing_s: np.ndarray | None
    device_s: dict[tuple[int, int], np.ndarray]
    fast_s: float
    ceiling_a: float
    actuating_a: float
    low_a: float
    high_a: float
    intervals: tuple[Interval, ...]


def lateral_curves(model: Model, found: Protection, races: Coordination, head: int,
                   actuating_a: float = np.nan) -> LateralCurves:
    """The curves at a candidate's head under one protection.

    races: `coordination(network, values, (found,))`. actuating_a: of a sectionalizer proposed for it; one that stands
    there has its own.
    """
    network, values = model.network, model.values
    recloser = int(found.reclosing_device[head])
    place = int(found.settings_of[recloser])
    fused = bool(MELTS[found.device[head]])
    own = own_curves(network.curves)
    link = known_link(str(found.link[head]), own) if fused else ""
    if COUNTS[found.device[head]]:
        actuating_a = float(found.actuating_a[head])
    low, high = _range(model, found, head)
    simple = fused and found.fast[recloser] > 0 and (place == NONE or not link)
    ceiling = float(races.ceiling_a[0, head]) if simple else np.nan
    current = _currents(network, place, link, own, [low, high, actuating_a, ceiling])
    links = link_curves([link] if link else [], own)
    here = np.full(len(current), 0)
    melting = values["fuse_melting_factor"] * minimum_melting_s(links, here, current) if link else None
    clearing = total_clearing_s(links, here, current, values["fuse_arcing_time_s"]) if link else None
    parts = (ALL_ELEMENTS, PHASE_ELEMENTS) if place != NONE and network.settings.has_ground[place] else (ALL_ELEMENTS,)
    kinds = (FAST_OPERATION, DELAYED_OPERATION) if found.fast[recloser] else (DELAYED_OPERATION,)
    times = {(kind, part): clearing_times_s(network.settings, np.array(place), np.array(kind), np.array(part), current)
             for kind in kinds for part in parts} if place != NONE else {}
    seen = parts if network.phases[head] == 3 else (ALL_ELEMENTS,)
    intervals = tuple(i for part in seen for kind in kinds
                      for i in _intervals(races, int(races.right[0, head]), kind, part, low, high)) if fused else ()
    return LateralCurves(
        str(network.ids[head]), str(network.names[head]), DEVICES[found.device[head]], str(network.names[recloser]),
        link, int(found.fast[recloser]), float(values["fuse_melting_factor"]), current, melting, clearing, times,
        float(values["fast_clearing_time_s"]) if place == NONE and found.fast[recloser] else np.nan,
        ceiling if np.isfinite(ceiling) else np.nan, actuating_a if actuating_a > 0 else np.nan, low, high, intervals)


def _range(model: Model, found: Protection, head: int) -> tuple[float, float]:
    """Least and largest fault current along a lateral; where a fuse heads it, of the sections that it is nearest to."""
    network = model.network
    below = np.arange(head, head + int(network.size[head]))
    of_head = network.unit[below] == head
    if MELTS[found.device[head]]:
        of_head &= nearest(network.parent, MELTS[found.device] | RECLOSES[found.device])[below] == head
    source, end = (a[below[of_head]] for a in fault_currents_a(model))
    both = ~np.isnan(source + end)
    known = np.concatenate([source[both], end[both]])
    return (float(known.min()), float(known.max())) if len(known) else (np.nan, np.nan)


def _currents(network: Network, place: int, link: str, own: Own, shown: list[float]) -> np.ndarray:
    """Currents at which curves are drawn, ascending, those where a curve begins or bends among them."""
    marks = [np.array([a for a in shown if np.isfinite(a) and a > 0.0])]
    if place != NONE:
        slot = network.settings.slot[place]
        marks.append(network.settings.elements.take(slot[slot >= 0]).first_current_a)
    if link:
        links = link_curves([link], own)
        marks += [links.melting.current_a, links.clearing.current_a]
    marked = np.concatenate(marks)
    marked = marked[(marked >= LEAST_A) & (marked <= MOST_A)]
    low, high = (marked.min() / MARGIN_BELOW, marked.max() * ABOVE) if len(marked) else (10.0, 1e4)
    grid = np.exp(np.linspace(np.log(low), np.log(high), POINTS_OF_A_CURVE))
    return np.unique(np.concatenate([grid, marked]))


def _intervals(races: Coordination, pair: int, kind: int, part: int, low_a: float,
               high_a: float) -> Iterator[Interval]:
    if np.isnan(low_a):
        return
    start, outcome = races.race.intervals(pair, kind, part)
    for begin, end, result in zip(start, [*start[1:], np.inf], outcome, strict=True):
        low, high = max(begin, low_a), min(end, high_a)
        # a lateral of one current lies in the interval that holds it
        if low < high or (low_a == high_a and begin <= low_a < end):
            yield Interval(kind, part, float(low), float(high), int(result))
