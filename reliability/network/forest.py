"""A forest of line sections as arrays: its order, its cycles, and sums, maxima and nearest marks over it.

Positions are in depth-first order once `depth_first` has given it: a parent comes before its children, and
section i with all below it is the slice i … i + size[i] − 1.
"""

from __future__ import annotations

import numpy as np


def depth_first(parent_row: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows in depth-first order, each one's parent as a position in it, and subtree sizes.

    parent_row: (n,) row of each row's parent, −1 at a source. The three are (n,), or shorter where rows in or
    beyond a cycle cannot be reached from a source.
    """
    n = len(parent_row)
    by_parent = np.argsort(parent_row, kind="stable")
    first = np.searchsorted(parent_row[by_parent], np.arange(-1, n)).tolist() + [n]
    children, order = by_parent.tolist(), []
    stack = children[first[0]:first[1]][::-1]
    while stack:
        i = stack.pop()
        order.append(i)
        stack.extend(children[first[i + 1]:first[i + 2]][::-1])
    row = np.array(order, dtype=np.int64)
    position = np.empty(n, dtype=np.int64)
    position[row] = np.arange(len(row))
    parent = np.where(parent_row[row] >= 0, position[parent_row[row]], -1)
    size = [1] * len(row)
    for i, p in zip(range(len(row) - 1, -1, -1), parent[::-1].tolist(), strict=True):
        if p >= 0:
            size[p] += size[i]
    return row, parent, np.array(size, dtype=np.int64)


def cycles(parent_row: np.ndarray) -> list[tuple[int, ...]]:
    """Every cycle of parents, each as rows from child to parent, by its first row."""
    up, walk_of, found = parent_row.tolist(), [0] * len(parent_row), []
    for start in range(len(up)):
        walk, i = [], start
        while i >= 0 and not walk_of[i]:
            walk_of[i] = start + 1
            walk.append(i)
            i = up[i]
        if i >= 0 and walk_of[i] == start + 1:
            found.append(tuple(walk[walk.index(i):]))
    return found


def nearest(parent: np.ndarray, marked: np.ndarray) -> np.ndarray:
    """Nearest marked section at or above each section, −1 where there is none."""
    none = len(parent)
    jump = np.append(np.where(marked, np.arange(none), np.where(parent >= 0, parent, none)), none)
    while True:
        further = jump[jump]  # path doubling ends after log2(depth) rounds
        if np.array_equal(further, jump):
            return np.where(jump[:-1] == none, -1, jump[:-1])
        jump = further


def topmost(parent: np.ndarray, marked: np.ndarray) -> np.ndarray:
    """Highest marked section at or above each section, −1 where there is none."""
    lowest = nearest(parent, marked)
    above = np.where(parent >= 0, lowest[parent], -1)
    return np.where(lowest >= 0, nearest(parent, marked & (above < 0)), -1)


def sums_below(values: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Sum of `values` (n,) or (n, m) over sub(i), for every i."""
    # extended precision: a small subtree is the difference of two large running sums
    running = np.cumsum(values, axis=0, dtype=np.longdouble)
    running = np.concatenate([np.zeros_like(running[:1]), running])
    start = np.arange(len(size))
    return np.asarray(running[start + size] - running[start], dtype=float)


def largest_below(values: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Largest of `values` over sub(i), for every i: two overlapping power-of-two windows."""
    result, window, width = np.empty_like(values), values.copy(), 1
    start, power = np.arange(len(values)), np.floor(np.log2(size)).astype(int)
    for p in range(power.max(initial=0) + 1):
        at = np.flatnonzero(power == p)
        result[at] = np.maximum(window[at], window[start[at] + size[at] - width])
        window = np.maximum(window, np.append(window[width:], np.zeros(min(width, len(window)))))
        width *= 2
    return result
