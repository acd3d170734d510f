"""Choices under caps on momentary events at a price of money, and what no choice can exceed.

Where money has a price instead of a limit, a feeder's choices go by the events that they add: along the hulls of its
zones (`greedy_frontier.zone_paths`, events in the place of money) as far as its cap and that of the system allow. A
step that no longer fits leaves what is found short of the best; with its part that fits it is what none exceeds.
"""

from __future__ import annotations

import numpy as np

from reliability.business.greedy_frontier import Paths, best_steps, rows_at, zone_paths
from reliability.business.limits import Limits, feeder_customers
from reliability.business.options import Options


def best_at_price(options: Options, gain: np.ndarray, price: float,
                  limits: Limits) -> tuple[np.ndarray | None, float]:
    """Rows chosen, (rows,) bool, and the most that any choice gains less its money times the price.

    gain: (rows,) what is sought; price: of a unit of money, in gain. limits: of which the caps on momentary events and
    the laterals forced in and out are looked at. None and infinity where the caps leave no choice.
    """
    events = options.rows["momentary_events_added"].to_numpy()
    paths = zone_paths(options, events, gain - price * options.rows["capex"].to_numpy(), limits)
    point, zone, more, better = best_steps(paths)
    zones = len(options.zones)
    at = np.empty(zones, dtype=np.int64)
    at[zone[:zones]] = point[:zones]
    feeder, room, in_all = _room(options, limits, paths.cost[at])
    if min(in_all, *room) < 0.0:
        return None, np.inf
    whole, most, stopped = _as_far_as_fits(zone[zones:].tolist(), more[zones:].tolist(), better[zones:].tolist(),
                                           feeder.tolist(), room.copy(), in_all)
    at[zone[zones:][whole]] = point[zones:][whole]      # of several points of a zone the last one stays
    _fill(paths, at, stopped, feeder, *_room(options, limits, paths.cost[at])[1:])
    return rows_at(options, paths, at), float(better[:zones].sum()) + most


def _room(options: Options, limits: Limits, events: np.ndarray) -> tuple[np.ndarray, list[float], float]:
    """Feeder of each zone, and the events that may be added on each feeder and in all. events: (zones,) added already.

    Without end where there is no cap, and on feeders where a zone reaches from one into another.
    """
    feeder, served = options.network.feeder[options.zones], feeder_customers(options)
    room, in_all = np.full(len(served), np.inf), np.inf
    whole = np.array_equal(options.rows["feeder"].to_numpy(), feeder[options.rows["zone"].to_numpy()])
    if limits.added_maifi_e_feeder is not None and whole:
        room = limits.added_maifi_e_feeder * served - np.bincount(feeder, events, len(served))
    if limits.added_maifi_e is not None:
        in_all = limits.added_maifi_e * options.customers_served - float(events.sum())
    return feeder, room.tolist(), in_all


def _as_far_as_fits(zone: list[int], added: list[float], gained: list[float], feeder: list[int], room: list[float],
                    in_all: float) -> tuple[np.ndarray, float, list[int]]:
    """Which steps fit whole, what they would gain with the fitting part of the others, and the zones that stop early.

    zone, added, gained: of the steps, the best first. A zone stops at the first of its steps that does not fit.
    """
    taken, stopped = np.zeros(len(zone), dtype=bool), dict[int, None]()
    most, room_in_parts, in_all_in_parts = 0.0, room.copy(), in_all
    for step, (z, more, better) in enumerate(zip(zone, added, gained, strict=True)):
        f = feeder[z]
        part = min(more, room_in_parts[f], in_all_in_parts)
        most += better * part / more
        room_in_parts[f] -= part
        in_all_in_parts -= part
        if z in stopped or more > room[f] or more > in_all:
            stopped[z] = None
            continue
        taken[step] = True
        room[f] -= more
        in_all -= more
    return taken, most, list(stopped)


def _fill(paths: Paths, at: np.ndarray, zones: list[int], feeder: np.ndarray, room: list[float],
          in_all: float) -> None:
    """Move zones, one after another, to the best of all their points that fits. at: (zones,), changed in place."""
    for z in zones:
        begin, end = np.searchsorted(paths.zone, [z, z + 1])
        fits = paths.cost[begin:end] - paths.cost[at[z]] <= min(room[feeder[z]], in_all)
        best = begin + int(np.argmax(np.where(fits, paths.gain[begin:end], -np.inf)))
        more = float(paths.cost[best] - paths.cost[at[z]])
        if paths.gain[best] > paths.gain[at[z]]:
            room[feeder[z]] -= more
            in_all -= more
            at[z] = best
