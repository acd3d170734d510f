"""The frontier of money and SAIDI where nothing but money limits it: exact, without a search.

Under one setting of a zone, choices at different laterals neither help nor hinder one another: the best of them take
steps along the upper hull of each lateral's choices, those of all laterals sorted by what they gain for their money.
Of a zone that may have several settings the best choices lie on the upper hull of all that these reach, and zones
do not touch one another. So the best set at a budget takes the steps of all zones in that order, and every set on the
way is the best of all that cost no more (the linear relaxation of this knapsack, whole at its corners).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from reliability.business.limits import Limits, converts, highest, laterals_called
from reliability.business.options import AS_IT_IS, Options

GAIN_DECIMALS = 10       # of gains, the largest of a row being 1: what differs by less is alike


@dataclass(frozen=True)
class Paths:
    """What every zone may be under each of its settings, dearer and better from point to point.

    zone, cost, gain: (points,), the points of one zone and setting side by side. first, end: (rows,) a row of the
    options is chosen at the points of its zone from first to before end; −1 where it is at none.
    """

    zone: np.ndarray
    cost: np.ndarray
    gain: np.ndarray
    first: np.ndarray
    end: np.ndarray


def corner_sets(options: Options, gain: np.ndarray, points: int,
                limits: Limits) -> Iterator[tuple[np.ndarray, float]]:
    """Best sets of rows, (rows,) bool, at about `points` costs from nothing to everything that helps.

    Each with the gain for a unit of money at which it is the best whatever it costs, 0 for the last of all. They lie
    evenly along the curve of gain over cost, so that its steep beginning is not cut short. gain: (rows,) what is
    sought. limits: of which the budget and the laterals forced in and out are looked at; none where these cannot be
    met.
    """
    paths = zone_paths(options, options.rows["capex"].to_numpy(), gain, limits)
    zones = len(options.zones)
    if len(np.unique(paths.zone)) < zones:
        return
    point, zone, more, better = best_steps(paths)
    spent, gained = (np.cumsum(of)[zones - 1:] for of in (more, better))
    within = int(np.searchsorted(spent, np.inf if limits.budget is None else limits.budget, side="right"))
    if not within:
        return
    along = _share(spent[:within]) + _share(gained[:within])
    stops = np.unique(np.searchsorted(along, np.linspace(0.0, along[-1], points), side="right")) - 1
    price = np.append(better[zones:] / more[zones:], 0.0)
    for stop in stops:
        at = np.empty(zones, dtype=np.int64)
        at[zone[:zones + stop]] = point[:zones + stop]      # of several points of a zone the last one stays
        yield rows_at(options, paths, at), float(price[stop])


def rows_at(options: Options, paths: Paths, at: np.ndarray) -> np.ndarray:
    """Rows chosen, (rows,) bool, where each zone is at a point of its paths. at: (zones,)."""
    of_row = at[options.rows["zone"].to_numpy()]
    return (paths.first <= of_row) & (of_row < paths.end)


def best_steps(paths: Paths) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(point gone to, its zone, cost, gain): the cheapest of each zone, then steps, the best for its money first.

    cost, gain: of a step what it costs and gains more.
    """
    point = upper_hulls(paths.zone, paths.cost, paths.gain)
    zone, cost, gain = paths.zone[point], paths.cost[point], paths.gain[point]
    begins, more, better = _rises(zone, cost, gain)
    step = np.flatnonzero(~begins)
    order = np.append(np.flatnonzero(begins), step[np.argsort(-better[step] / more[step], kind="stable")])
    return point[order], zone[order], more[order], better[order]


def zone_paths(options: Options, cost: np.ndarray, gain: np.ndarray, limits: Limits) -> Paths:
    """Paths of all zones. cost, gain: (rows,); limits: of which the laterals forced in and out are looked at."""
    count = len(options.rows)
    cost, gain = np.append(cost, 0.0), np.append(np.round(gain, GAIN_DECIMALS), 0.0)     # of what has no row too
    row, pair, unmet = _choices(options, limits)
    corner = upper_hulls(pair, cost[row], gain[row])
    setting_row, path_of = _settings(options, unmet)
    path = path_of[pair[corner]]
    corner, path = corner[path >= 0], path[path >= 0]
    row, pair = row[corner], pair[corner]
    begins, more, better = _rises(pair, cost[row], gain[row])
    step, paths = np.flatnonzero(~begins), len(setting_row)
    # along a path its beginning, then the steps of its laterals
    along = np.append(np.arange(paths), path[step])
    order = np.lexsort((np.append(np.full(paths, -np.inf), -better[step] / more[step]), along))
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    start, end = place[:paths], np.append(place[1:paths], len(order))
    reached, left = start[path], end[path]
    reached[step] = left[step - 1] = place[paths:]
    first, last = np.full(count + 1, -1), np.full(count + 1, -1)
    first[setting_row], last[setting_row], first[row], last[row] = start, end, reached, left

    def summed(of: np.ndarray, rise: np.ndarray) -> np.ndarray:
        base = of[setting_row] + np.bincount(path[begins], of[row[begins]], paths)
        rises = np.append(base, rise[step])[order]
        total = np.cumsum(rises)
        return total - np.repeat(total[start] - rises[start], end - start)

    zone = options.rows["zone"].to_numpy()[setting_row[along[order]]]
    return Paths(zone, summed(cost, more), np.round(summed(gain, better), GAIN_DECIMALS), first[:count], last[:count])


def upper_hulls(group: np.ndarray, cost: np.ndarray, gain: np.ndarray) -> np.ndarray:
    """Indices of the corners of each group's upper hull, from its cheapest choice on as long as it rises.

    group, cost, gain: (choices,). Sorted by group, then cost; of choices alike the first.
    """
    order = np.lexsort((-gain, cost, group))
    costs, gains = cost[order].tolist(), gain[order].tolist()
    hull: list[int] = []
    slopes: list[float] = []        # that lead to each of them, not a number at the first of a group
    before = None
    for at, g in enumerate(group[order].tolist()):
        if g != before:
            slope, before = np.nan, g
        elif gains[at] <= gains[hull[-1]]:
            continue
        else:
            while (slope := (gains[at] - gains[hull[-1]]) / (costs[at] - costs[hull[-1]])) >= slopes[-1]:
                hull.pop()
                slopes.pop()
        hull.append(at)
        slopes.append(slope)
    return order[hull]


def _choices(options: Options, limits: Limits) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(row, lateral and setting) of every choice, and the laterals and settings that leave none.

    Row: one behind the last for a lateral left alone. Lateral and setting: one number, lateral × settings + setting.
    """
    rows, settings = options.rows, options.fast.shape[1]
    lateral = rows["lateral"].to_numpy()
    pair = lateral * settings + rows["setting"].to_numpy()
    forced = laterals_called(options, limits.forced_in)
    may = (lateral >= 0) & (highest(options, limits) > 0.0) & (converts(options) | ~np.isin(lateral, forced))
    at, asked = np.flatnonzero(may), np.unique(pair[lateral >= 0])
    # leaving a lateral has a row of its own under a changed setting, none under the one as built
    alone = asked[(asked % settings == AS_IT_IS) & ~np.isin(asked // settings, forced)]
    asked = np.append(asked, (forced[:, None] * settings + np.arange(settings)).ravel())
    return (np.append(np.full(len(alone), len(rows)), at), np.append(alone, pair[at]),
            np.setdiff1d(asked, np.append(alone, pair[at])))


def _settings(options: Options, unmet: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the settings that zones may have, by zone, and which of them each lateral is under at each setting.

    The latter by lateral × settings + setting, −1 where the zone may not have it. unmet: as from `_choices`.
    """
    rows, settings = options.rows, options.fast.shape[1]
    row = np.full((len(options.zones), settings), -1)
    at = np.flatnonzero(rows["lateral"].to_numpy() < 0)
    row[rows["zone"].to_numpy()[at], rows["setting"].to_numpy()[at]] = at
    row[options.zone[unmet // settings], unmet % settings] = -1
    path = np.where(row >= 0, np.cumsum(row >= 0).reshape(row.shape) - 1, -1)
    return row[row >= 0], path[options.zone].ravel()


def _rises(group: np.ndarray, cost: np.ndarray, gain: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Whether a group begins at each of the choices, and their cost and gain above the one before of the group."""
    begins = np.diff(group, prepend=-1) != 0
    return (begins, *(np.where(begins, of, np.diff(of, prepend=0.0)) for of in (cost, gain)))


def _share(sums: np.ndarray) -> np.ndarray:
    """How far along from the first to the last, 0 to 1."""
    return (sums - sums[0]) / ((sums[-1] - sums[0]) or 1.0)
