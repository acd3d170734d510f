"""The order in which a crew meets the sections of a network on one trip from the source."""

from __future__ import annotations

import numpy as np

from reliability.network.forest import depth_first, largest_below
from reliability.network.tree import Network


def travel_order(network: Network) -> np.ndarray:
    """Place of each section on the trip, (n,): depth-first, of two branches the one that reaches less far first.

    So every section is driven out and back at most once, what branches off is done on the way out, and the longest
    branch, mostly the main, comes last. Of branches of one reach the one that stands first in the study comes first.
    """
    length = np.nan_to_num(network.column["length_km"])
    end = network.along_path(length)
    reach = largest_below(end, network.size) - (end - length)
    by_reach = np.lexsort((np.arange(len(network)), reach))
    rank = np.empty(len(network), dtype=np.int64)
    rank[by_reach] = np.arange(len(network))
    above = network.parent[by_reach]
    visited, _, _ = depth_first(np.where(above >= 0, rank[above], -1))
    place = np.empty(len(network), dtype=np.int64)
    place[by_reach[visited]] = np.arange(len(network))
    return place
