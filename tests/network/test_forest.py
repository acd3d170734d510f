"""Orders and cycles of a forest of parents."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from reliability.network.forest import cycles, depth_first


@given(st.lists(st.integers(-1, 20), min_size=1, max_size=21))
def test_parents_come_first_and_only_what_no_source_reaches_is_left_out(parents):
    parent = np.array([p if p < len(parents) else -1 for p in parents])
    row, up, size = depth_first(parent)
    place = {int(i): k for k, i in enumerate(row)}
    assert all(parent[i] < 0 or place[int(parent[i])] < k for i, k in place.items())
    for i in range(len(parent)):
        at, steps = i, 0
        while at >= 0 and steps <= len(parent):
            at, steps = parent[at], steps + 1
        assert (at < 0) == (i in place)
    assert [int(row[p]) if p >= 0 else -1 for p in up] == parent[row].tolist()
    assert all(size[k] == sum(k in _upward(up, j) for j in range(len(row))) for k in range(len(row)))


@given(st.lists(st.integers(-1, 20), min_size=1, max_size=21))
def test_each_cycle_is_found_once(parents):
    parent = np.array([p if p < len(parents) else -1 for p in parents])
    found = cycles(parent)
    for cycle in found:
        assert [int(parent[i]) for i in cycle] == [*cycle[1:], cycle[0]]
    on_one = {i for cycle in found for i in cycle}
    assert len(on_one) == sum(map(len, found))
    parent[[cycle[0] for cycle in found]] = -1
    assert len(depth_first(parent)[0]) == len(parent)


def test_a_chain_and_a_ring_of_100_000_sections_without_recursion():
    assert depth_first(np.arange(100_000) - 1)[0].tolist() == list(range(100_000))
    (ring,) = cycles(np.roll(np.arange(100_000), 1))
    assert len(ring) == 100_000


def _upward(up, i):
    path = []
    while i >= 0:
        path.append(i)
        i = up[i]
    return path
