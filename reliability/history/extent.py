"""Where the customers of a record are: the part of the network that it reached."""

from __future__ import annotations

import numpy as np

from reliability.network.packed import of_each
from reliability.network.tree import Network


def reached(network: Network, section: np.ndarray, customers: np.ndarray, growth: np.ndarray | float) -> np.ndarray:
    """Section whose subtree holds the customers of each record, (m,): the first at or above the one named with so many.

    section: (m,) positions, all known. customers: (m,) of the record. growth: customers served in its year over those
    of the sections, (m,) or one for all; where it is less than 1 a single part may have had all that it has today. A
    source is as far as it goes.
    """
    at, today = section.copy(), customers / np.maximum(growth, 1.0)
    while True:
        climbs = np.flatnonzero((network.customers_below[at] < today * (1 - 1e-12)) & (network.parent[at] >= 0))
        if not climbs.size:
            return at
        at[climbs] = network.parent[at[climbs]]


def roots(network: Network, section: np.ndarray) -> np.ndarray:
    """Source of each section (m,), −1 where the section is not known."""
    sources = np.flatnonzero(network.parent < 0)
    return np.where(section >= 0, sources[np.searchsorted(sources, section, side="right") - 1], -1)


def below(network: Network, section: np.ndarray, top: np.ndarray) -> np.ndarray:
    """Whether each section lies in the subtree of `top`, itself included."""
    return (section >= top) & (section < top + network.size[top])


def pairs_in_time(group: np.ndarray, begin: np.ndarray, end: np.ndarray, other_group: np.ndarray,
                  time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (span, point) of one group in which the time of the point lies in the span, its ends included.

    group, begin, end: (m,) of the spans, begin ≤ end. other_group, time: (k,) of the points. All whole numbers.
    """
    if not len(group) or not len(time):
        none = np.zeros(0, dtype=np.int64)
        return none, none
    low = min(int(begin.min()), int(time.min()))
    stride = max(int(end.max()), int(time.max())) - low + 1
    of = group.astype(np.int64) * stride - low
    order = np.argsort(other_group.astype(np.int64) * stride + time, kind="stable")
    key = (other_group.astype(np.int64) * stride + time - low)[order]
    first = np.searchsorted(key, of + begin, side="left")
    count = np.searchsorted(key, of + end, side="right") - first
    span, within = of_each(count)
    return span, order[first[span] + within]
