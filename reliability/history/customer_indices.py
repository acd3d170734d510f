"""Indices of single customers: CEMI-n and CELID (IEEE Std 1366-2012, clause 3; from memory).

Records say how many customers an event interrupted, not which. The event is placed at the
first section at or above the one named that has so many customers at and below it; of these
each is interrupted with the same probability, independently from event to event (our
assumption). Where whole subtrees are interrupted that is exact.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.history.extent import reached
from reliability.history.outages import Records
from reliability.indices.definitions import CEMI_UP_TO
from reliability.network.tree import Network

LONG_HOURS = (4.0, 8.0, 12.0, 24.0)   # our choice; the standard leaves the length open


def customer_indices(records: Records, keep: np.ndarray) -> pd.DataFrame:
    """Shares of customers, a row a year and feeder_id, "" being the system.

    keep: (n,) steps that count. Columns cemi_1 … cemi_6: share with n or more sustained
    interruptions in the year; celid_4 …: share with one interruption of that many hours or
    more. Customers are those of the sections today, as many times more or fewer as were served in the year.
    """
    network, steps = records.network, records.steps
    used = keep & steps["sustained"].to_numpy() & steps["counted"].to_numpy() & (steps["section"].to_numpy() >= 0)
    steps = steps[used]
    rows = {}
    for year, growth in zip(records.years, records.served.growth, strict=True):
        part = steps[steps["year"].to_numpy() == year]
        shares = np.column_stack([
            _cemi(network, *_placed(network, part, growth)),
            *(_at_least_one(network, *_placed(network, part[part["seconds"].to_numpy() >= 3600.0 * h], growth))
              for h in LONG_HOURS)])
        rows[int(year), ""] = _weighted(shares, network.customers, np.zeros(len(network), int), 1)[0]
        by_feeder = _weighted(shares, network.customers, network.feeder, len(network.feeder_ids))
        rows |= {(int(year), f): by_feeder[i] for i, f in enumerate(network.feeder_ids)}
    names = [f"cemi_{n}" for n in range(1, CEMI_UP_TO + 1)] + [f"celid_{h:g}" for h in LONG_HOURS]
    index = pd.MultiIndex.from_tuples(rows, names=["year", "feeder_id"])
    return pd.DataFrame(np.array(list(rows.values())), index=index, columns=names)


def _placed(network: Network, steps: pd.DataFrame, growth: float) -> tuple[np.ndarray, np.ndarray]:
    """Section and share of its customers of each event and section named, (m,) each; growth: customers served then
    over those of the sections."""
    if not len(steps):
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    key = steps["event"].to_numpy().astype(np.int64) * len(network) + steps["section"].to_numpy()
    key, code = np.unique(key, return_inverse=True)
    customers = np.bincount(code, weights=steps["customers"] - steps["already_off"])
    at = reached(network, key % len(network), customers, growth)
    below = network.customers_below[at] * growth
    share = np.divide(customers, below, out=np.zeros(len(at)), where=below > 0)
    return at, np.minimum(share, 1.0)


def _at_least_one(network: Network, at: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Chance (n,) that a customer of each section is interrupted by one or more of the events."""
    certain = np.bincount(at, weights=share >= 1.0, minlength=len(network))
    none = np.bincount(at, weights=np.log1p(-np.where(share < 1.0, share, 0.0)), minlength=len(network))
    return np.where(network.along_path(certain) > 0, 1.0, -np.expm1(network.along_path(none)))


def _cemi(network: Network, at: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Chance (n, 6) that a customer of each section has 1 … 6 or more interruptions.

    The count is a sum of independent chances: its distribution is built event by event,
    then section by section away from the source; the last column means six or more.
    """
    own = np.zeros((len(network), CEMI_UP_TO + 1))
    own[:, 0] = 1.0
    order = np.argsort(at, kind="stable")
    at, share = at[order], share[order]
    number = np.arange(len(at)) - np.searchsorted(at, at)        # 0, 1, … of the events of each section
    by_number = np.argsort(number, kind="stable")
    bounds = np.searchsorted(number[by_number], np.arange(number.max(initial=-1) + 2))
    for k in range(len(bounds) - 1):
        rows = by_number[bounds[k]:bounds[k + 1]]
        own[at[rows]] = _one_more(own[at[rows]], share[rows, None])
    depth = network.along_path(np.ones(len(network))).astype(int)
    total = own
    outwards = np.argsort(depth, kind="stable")
    bounds = np.searchsorted(depth[outwards], np.arange(2, depth.max(initial=1) + 2))
    for k in range(len(bounds) - 1):
        rows = outwards[bounds[k]:bounds[k + 1]]
        total[rows] = _convolved(total[network.parent[rows]], own[rows])
    return np.cumsum(total[:, :0:-1], axis=1)[:, ::-1]


def _one_more(distribution: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Distributions (m, 7) of a count after one more event with the chances `share` (m, 1)."""
    moved = distribution * share
    result = distribution - moved
    result[:, 1:] += moved[:, :-1]
    result[:, -1] += moved[:, -1]
    return result


def _convolved(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Distributions (m, 7) of the sums of two independent counts."""
    result = np.zeros_like(a)
    for i in range(a.shape[1]):
        stays = a.shape[1] - 1 - i
        result[:, i:-1] += a[:, i:i + 1] * b[:, :stays]
        result[:, -1] += a[:, i] * b[:, stays:].sum(axis=1)
    return result


def _weighted(values: np.ndarray, weights: np.ndarray, group: np.ndarray, groups: int) -> np.ndarray:
    """Means (groups, m) of `values` (n, m), NaN where the weights sum to 0."""
    total = np.bincount(group, weights=weights, minlength=groups)
    sums = np.column_stack([np.bincount(group, weights=weights * v, minlength=groups) for v in values.T])
    return np.divide(sums, total[:, None], out=np.full(sums.shape, np.nan), where=total[:, None] > 0)
