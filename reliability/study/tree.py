"""The parents of line sections as a forest: an order with parents first, and the cycles that bar it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Tree:
    """parent: place of each section's parent, -1 at a source or where the parent is not known.

    order: places with parents before children; sections in or beyond a cycle are left out.
    cycles: each as places, from child to parent.
    """

    parent: np.ndarray
    order: np.ndarray
    cycles: tuple[tuple[int, ...], ...]


def plant(parent: np.ndarray) -> Tree:
    """Order sections from the sources outwards. Linear in their number, without recursion."""
    up = parent.tolist()
    state = [0] * len(up)  # 0 not seen, 1 on the present walk, 2 in order, 3 in or beyond a cycle
    order: list[int] = []
    cycles: list[tuple[int, ...]] = []
    for start in range(len(up)):
        walk = []
        i = start
        while i >= 0 and state[i] == 0:
            state[i] = 1
            walk.append(i)
            i = up[i]
        settled = 2
        if i >= 0 and state[i] == 1:
            cycles.append(tuple(walk[walk.index(i):]))
            settled = 3
        elif i >= 0:
            settled = state[i]
        for j in walk:
            state[j] = settled
        if settled == 2:
            order.extend(reversed(walk))
    return Tree(parent, np.array(order, int), tuple(cycles))
