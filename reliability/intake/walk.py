"""The walk from the sources: which spans are energised, from which end, and where rings are opened."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, dijkstra

from reliability.intake.findings import RED, Findings
from reliability.intake.spans import Spans

_STEP_KM = 1e-9     # a span of no length still is a step of the walk


@dataclass(frozen=True)
class Walk:
    """Spans as they are fed.

    up, down: (spans,) node at the source's side and at the far side, −1 where the span is not fed along itself.
    into: (nodes,) span that arrives at the node, −1 at a source or where nothing arrives. depth_order: fed spans, each
    after the one that feeds it. source: (nodes,) the source that energises the node, −1 for none. cut: spans that
    were opened to break a ring, beside those that are normally open.
    """

    up: np.ndarray
    down: np.ndarray
    into: np.ndarray
    depth_order: np.ndarray
    source: np.ndarray
    cut: np.ndarray

    @property
    def parent(self) -> np.ndarray:
        """Span that feeds each span, −1 at a source and where it is not fed."""
        return np.where(self.up >= 0, self.into[self.up], -1)


def walk(spans: Spans, sources: np.ndarray, closed: np.ndarray, has_switch: np.ndarray, findings: Findings) -> Walk:
    """Walk from the sources along closed spans; rings and spans fed twice are opened.

    closed: (spans,) spans that can be walked. has_switch: (spans,) that carry a switch. Where a ring has one switch it
    is opened there, else where the shortest lengths from the sources meet.
    """
    usable = closed.copy()
    opened: list[int] = []
    while True:
        tree = _tree(spans, sources, usable)
        into, extra = tree.into, tree.extra
        if not extra.size:
            break
        by_switch = {e: cycle for e in extra if (cycle := _only_switch(spans, tree, int(e), has_switch)) >= 0}
        new = sorted(set(by_switch.values()) - set(opened))
        if not new or all(s == e for e, s in by_switch.items()):
            break
        usable[new] = False
        opened += new
    usable[extra] = False
    cut = np.array(sorted({*opened, *extra.tolist()}), int)
    rings = np.array([tree.source[spans.ends[e, 0]] == tree.source[spans.ends[e, 1]] for e in cut], bool)
    findings.add("topology", "ring", "Rings: opened here, to be confirmed", RED,
                 spans.ids[cut[rings]] if cut.size else ())
    findings.add("topology", "fed_twice", "Segments fed from two sources: opened here, to be confirmed", RED,
                 spans.ids[cut[~rings]] if cut.size else ())
    up, down = np.full(len(spans), -1), np.full(len(spans), -1)
    fed = into[into >= 0]
    nodes = np.flatnonzero(into >= 0)
    down[fed] = nodes
    up[fed] = spans.ends[fed].sum(axis=1) - nodes
    order = into[tree.order]
    return Walk(up, down, into, order[order >= 0], tree.source, cut)


@dataclass(frozen=True)
class _Tree:
    """Span into each node, order of the nodes, spans that close a ring, the source of each node."""

    into: np.ndarray
    order: np.ndarray
    extra: np.ndarray
    source: np.ndarray
    above: np.ndarray


def _tree(spans: Spans, sources: np.ndarray, usable: np.ndarray) -> _Tree:
    """A forest of shortest lengths from the sources."""
    n, top = len(spans.nodes), len(spans.nodes)
    on = np.flatnonzero(usable & (spans.ends[:, 0] != spans.ends[:, 1]))
    length = spans.km[on] + _STEP_KM
    low, high = spans.ends[on].min(axis=1), spans.ends[on].max(axis=1)
    first = np.lexsort((on, length, high, low))
    same = np.zeros(len(first), bool)
    same[1:] = (np.diff(low[first]) == 0) & (np.diff(high[first]) == 0)
    pick = first[~same]
    a, b = low[pick], high[pick]
    roots = np.unique(sources)
    rows, columns = np.r_[a, np.full(len(roots), top)], np.r_[b, roots]
    weights = np.r_[length[pick], np.full(len(roots), _STEP_KM)]
    graph = csr_array(coo_array((weights, (rows, columns)), shape=(n + 1, n + 1)))
    order: np.ndarray
    above: np.ndarray
    order, above = breadth_first_order(graph, top, directed=False)
    reached = np.zeros(n + 1, bool)
    reached[order] = True
    inside = reached[spans.ends[on, 0]]
    if int(inside.sum()) > int(reached[:n].sum()) - len(roots):
        distances, ways = map(np.asarray, dijkstra(graph, directed=False, indices=[top], return_predecessors=True))
        distance, above = distances[0], np.asarray(ways[0])
        order = np.flatnonzero(reached)[np.argsort(distance[reached], kind="stable")]
    above = np.where(above < 0, -1, above)
    into = _spans_into(a, b, on[pick], above, n)
    used = np.zeros(len(spans), bool)
    used[into[into >= 0]] = True
    order = order[order != top]
    return _Tree(into, order, on[inside & ~used[on]], _source_of(above, order, roots, n), above)


def _spans_into(a: np.ndarray, b: np.ndarray, span: np.ndarray, above: np.ndarray, n: int) -> np.ndarray:
    """Span between each node and the node above it, −1 at a source."""
    into = np.full(n, -1)
    forward, backward = above[b] == a, above[a] == b
    into[b[forward]] = span[forward]
    into[a[backward]] = span[backward]
    return into


def _source_of(above: np.ndarray, order: np.ndarray, roots: np.ndarray, n: int) -> np.ndarray:
    """The source that energises each node, by doubling the steps upwards."""
    jump = np.arange(n + 1)
    jump[order] = np.where(np.isin(order, roots) & (above[order] == n), order, above[order])
    while True:
        further = jump[jump]
        if np.array_equal(further, jump):
            break
        jump = further
    source = np.full(n, -1)
    source[order] = jump[order]
    return source


def _only_switch(spans: Spans, tree: _Tree, extra: int, has_switch: np.ndarray) -> int:
    """The only span with a switch on the ring that a span closes, −1 where there is none or several."""
    ring = [extra]
    a, b = map(int, spans.ends[extra])
    above_a, above_b = _way_up(tree, a), _way_up(tree, b)
    common = set(above_a) & set(above_b)
    for way in (above_a, above_b):
        for node in way:
            if node in common:
                break
            if tree.into[node] >= 0:
                ring.append(int(tree.into[node]))
    switches = [s for s in ring if has_switch[s]]
    return switches[0] if len(switches) == 1 else -1


def _way_up(tree: _Tree, node: int) -> list[int]:
    way = [node]
    while tree.into[way[-1]] >= 0:
        way.append(int(tree.above[way[-1]]))
    return way
