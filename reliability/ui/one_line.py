"""The one-line diagram of a feeder, laid out from its tree: places first, then the picture.

The path with most sections behind it runs straight on; what branches off is stacked above or
below it, the far end first, so that no connection crosses a line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.network.tree import Network

SHORTEST_DRAWN = 0.035                   # of the feeder's extent: a section is drawn at least so long
BRANCH_GAP = 0.012                        # between two branches on one row, of the extent


@dataclass(frozen=True)
class Layout:
    """Where the m sections of a feeder are drawn.

    sections: (m,) positions in the network. x0, x1, row: (m,) start, end (km, short ones drawn
    longer) and row of each. from_row: (m,) row of the parent, where the connection starts.
    """

    sections: np.ndarray
    x0: np.ndarray
    x1: np.ndarray
    row: np.ndarray
    from_row: np.ndarray

    @property
    def rows(self) -> int:
        """Rows between the lowest and the highest, both counted."""
        return int(self.row.max() - self.row.min()) + 1 if len(self.row) else 0


@dataclass
class _Box:
    """A branch laid out by itself: rows above and below its own, its right end, and its sections' places."""

    up: int
    down: int
    right: float
    places: list[tuple[int, int]]      # (section, row relative to the branch's own)


class _Skyline:
    """Highest row taken on one side of a path, over stretches of x."""

    def __init__(self) -> None:
        self.taken: list[tuple[float, float, int]] = []

    def height(self, start: float, end: float) -> int:
        """Highest row taken between start and end."""
        return max((h for a, b, h in self.taken if a < end and b > start), default=0)

    def add(self, start: float, end: float, height: int) -> None:
        """Take a stretch up to a row."""
        self.taken.append((start, end, height))


def lay_out(network: Network, feeder: int) -> Layout:
    """Places of the sections of one feeder; trees without connection to each other are stacked."""
    sections = np.flatnonzero(network.feeder == feeder)
    inside = np.zeros(len(network), dtype=bool)
    inside[sections] = True
    x0, x1 = _extents(network, sections, inside)
    children: dict[int, list[int]] = {int(i): [] for i in sections}
    roots = []
    for i in sections.tolist():
        parent = int(network.parent[i])
        if parent >= 0 and inside[parent]:
            children[parent].append(i)
        else:
            roots.append(i)
    extent = float(max((x1[i] for i in sections), default=1.0)) or 1.0
    row = np.zeros(len(network), dtype=int)
    base = 0
    for root in roots:
        box = _branch(root, children, network.size, x0, x1, extent)
        for section, relative in box.places:
            row[section] = base + box.down + relative
        base += box.up + box.down + 2
    parents = network.parent[sections]
    connected = (parents >= 0) & inside[parents]
    return Layout(sections, x0[sections], x1[sections], row[sections],
                  np.where(connected, row[parents], row[sections]))


def _extents(network: Network, sections: np.ndarray, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Start and end of each section along its path from the source, (n,) each."""
    length = np.nan_to_num(network.column["length_km"])
    own = np.where(inside, length, 0.0)
    reach = float(network.along_path(own)[sections].max(initial=0.0)) or 1.0
    drawn = np.where(inside, np.maximum(own, SHORTEST_DRAWN * reach), 0.0)
    end = network.along_path(drawn)
    return end - drawn, end


def _branch(head: int, children: dict[int, list[int]], size: np.ndarray, x0: np.ndarray, x1: np.ndarray,
            extent: float) -> _Box:
    """A branch with everything below it; recursion is as deep as the tree is bushy, not as it is long."""
    path, at = [head], head
    while children[at]:
        at = max(children[at], key=lambda c: size[c])
        path.append(at)
    above, below = _Skyline(), _Skyline()
    places = [(i, 0) for i in path]
    up = down = 0
    right = x1[path[-1]]
    for i, straight in zip(path[::-1], [None, *path[:0:-1]], strict=True):
        for child in children[i]:
            if child == straight:
                continue
            box = _branch(child, children, size, x0, x1, extent)
            start, end = x0[child] - BRANCH_GAP * extent, box.right + BRANCH_GAP * extent
            high, low = above.height(start, end) + 1 + box.down, below.height(start, end) + 1 + box.up
            if high + box.up <= low + box.down:
                above.add(start, end, high + box.up)
                shift, up = high, max(up, high + box.up)
            else:
                below.add(start, end, low + box.down)
                shift, down = -low, max(down, low + box.down)
            places += [(section, row + shift) for section, row in box.places]
            right = max(right, box.right)
    return _Box(up, down, right, places)


Line = tuple[list[float | None], list[float | None]]


def runs(layout: Layout, which: np.ndarray) -> Line:
    """The sections of a mask (m,) as horizontal lines."""
    x: list[float | None] = []
    y: list[float | None] = []
    for k in np.flatnonzero(which).tolist():
        x += [float(layout.x0[k]), float(layout.x1[k]), None]
        y += [int(layout.row[k]), int(layout.row[k]), None]
    return x, y


def connections(layout: Layout, which: np.ndarray) -> Line:
    """From the row of the parent to that of each section of a mask (m,), where the two differ."""
    x: list[float | None] = []
    y: list[float | None] = []
    for k in np.flatnonzero(which & (layout.row != layout.from_row)).tolist():
        x += [float(layout.x0[k]), float(layout.x0[k]), None]
        y += [int(layout.from_row[k]), int(layout.row[k]), None]
    return x, y
