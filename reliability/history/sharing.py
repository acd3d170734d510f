"""Sharing out what is counted at one place over the units that it may come from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Pools:
    """Entries (e,) that belong to pools, ordered by pool: a pool's count is shared out over its entries.

    pool: (e,) ascending. blocks: pools of about one size together: (pools (b,), entries (b, w) with −1 where a pool
    has fewer), so that one call draws for all.
    """

    pool: np.ndarray
    count: int
    blocks: tuple[tuple[np.ndarray, np.ndarray], ...]

    def share(self, rng: np.random.Generator, counts: np.ndarray, weights: np.ndarray) -> np.ndarray:
        """Counts (pools,) shared over the entries in proportion to weights (e,), (e,) whole numbers.

        A pool whose weights are all 0 shares nothing out.
        """
        result = np.zeros(len(self.pool) + 1, dtype=np.int64)
        padded = np.append(weights, 0.0)
        for pools, entries in self.blocks:
            of_pools = counts[pools]
            busy = of_pools.nonzero()[0]
            if not busy.size:
                continue
            at = entries[busy]
            weight = padded[at]
            total = weight.sum(axis=1, keepdims=True)
            if not total.all():
                some = total[:, 0] > 0.0
                busy, at, weight, total = busy[some], at[some], weight[some], total[some]
            # where a pool has fewer entries nothing is drawn, for the place behind the last
            result[at] = rng.multinomial(of_pools[busy], weight / total)
        return result[:-1]


def pools_of(pool: np.ndarray, count: int) -> Pools:
    """Pools of entries in order of their pool (e,)."""
    sizes = np.bincount(pool, minlength=count)
    starts = np.append(0, np.cumsum(sizes))[:-1]
    blocks = []
    width = np.where(sizes > 0, 2 ** np.ceil(np.log2(np.maximum(sizes, 1))).astype(int), 0)
    for w in np.unique(width[width > 0]):
        pools = np.flatnonzero(width == w)
        # what is missing stands first, since the last one takes what rounding of the weights leaves over
        column = np.arange(w) - (w - sizes[pools])[:, None]
        entries = np.where(column >= 0, starts[pools][:, None] + column, -1)
        blocks.append((pools, entries))
    return Pools(pool, count, tuple(blocks))
