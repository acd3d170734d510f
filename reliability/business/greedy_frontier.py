"""The frontier of money and SAIDI where nothing but money limits it: exact, without a search.

Conversions of different laterals then neither help nor hinder one another, so the best set at
a budget takes steps from one device of a lateral to a dearer and better one in the order of
what a step gains for its money. Every set on the way is the best of all that cost no more
(the linear relaxation of this knapsack, whole at its corners).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from reliability.business.limits import Limits, converts
from reliability.business.options import Options


def only_money_limits(options: Options, limits: Limits) -> bool:
    """Whether laterals can be chosen apart: no other limit, and no setting that they share."""
    others = (limits.units, limits.added_maifi_e, limits.added_maifi_e_feeder, limits.saidi_reduction_minutes)
    return options.fast.shape[1] == 1 and all(o is None for o in others) and not (limits.forced_in or limits.forced_out)


def corner_sets(options: Options, points: int, budget: float | None) -> Iterator[np.ndarray]:
    """Best sets of rows, (rows of Options,) bool, at about `points` costs from nothing to everything that helps.

    They lie evenly along the curve of gain over cost, so that its steep beginning is not cut short.
    """
    row, before, gain, cost = best_steps(options)
    spent, gained = np.cumsum(cost), np.cumsum(gain)
    if budget is not None:
        within = int(np.searchsorted(spent, budget, side="right"))
        row, before, spent, gained = (a[:within] for a in (row, before, spent, gained))
    free = int(np.searchsorted(spent, 0.0, side="right"))
    along = spent / spent[-1] + gained / gained[-1] if free < len(row) else np.zeros(len(row))
    stops = np.searchsorted(along, np.linspace(0.0, along.max(initial=0.0), points), side="right")
    stops = np.unique(np.maximum(stops, free))
    chosen = options.rows["lateral"].to_numpy() < 0  # the settings of the zones, as built
    done = 0
    for stop in stops:
        for step in range(done, int(stop)):
            if before[step] >= 0:
                chosen[before[step]] = False
            chosen[row[step]] = True
        done = int(stop)
        yield chosen.copy()


def best_steps(options: Options) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(row gone to, row left or −1, gain, cost) of every step worth taking, the best for its money first."""
    rows = options.rows
    gain, cost = rows["customer_hours_avoided"].to_numpy(), rows["capex"].to_numpy()
    at = np.flatnonzero(converts(options) & (gain > 0))
    lateral = rows["lateral"].to_numpy()
    order = at[np.lexsort((-gain[at], cost[at], lateral[at]))]
    steps: list[tuple[float, int, int]] = []
    for group in np.split(order, np.flatnonzero(np.diff(lateral[order])) + 1) if len(order) else ():
        steps += hull_steps(group.tolist(), gain, cost)
    worth = np.array([-s[0] for s in steps])
    best = np.argsort(worth, kind="stable")
    row = np.array([s[1] for s in steps], dtype=np.int64)[best]
    before = np.array([s[2] for s in steps], dtype=np.int64)[best]

    def step(of: np.ndarray) -> np.ndarray:
        return of[row] - np.where(before >= 0, of[before], 0.0)

    return row, before, step(gain), step(cost)


def hull_steps(group: list[int], gain: np.ndarray, cost: np.ndarray) -> list[tuple[float, int, int]]:
    """(gain per money, row, row before) along the upper hull of one lateral's options from (0, 0)."""
    hull = [-1]

    def slope(a: int, b: int) -> float:
        rise, run = gain[b] - (gain[a] if a >= 0 else 0.0), cost[b] - (cost[a] if a >= 0 else 0.0)
        return rise / run if run > 0 else np.inf

    for option in group:
        if hull[-1] >= 0 and gain[option] <= gain[hull[-1]]:
            continue
        while len(hull) > 1 and slope(hull[-2], hull[-1]) <= slope(hull[-1], option):
            hull.pop()
        hull.append(option)
    return [(slope(a, b), b, a) for a, b in pairwise(hull)]
