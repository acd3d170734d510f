"""The radial network as arrays, parents before children, so that a subtree is one slice.

Section i and all below it are the positions i … i + size[i] − 1; everything that sums over
a subtree or along the path to the source is an array operation on that order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.schema.columns import CUSTOMER_CLASSES, SECTIONS
from reliability.schema.devices import BREAKER, DEVICES, FUSE, LATERAL_RECLOSER, RECLOSER, SECTIONALIZER, SWITCH

NO_DEVICE = -1
CODE = {name: i for i, name in enumerate(DEVICES)}
GANG = (CODE[BREAKER], CODE[RECLOSER])                      # three-phase operation
RECLOSING = (*GANG, CODE[LATERAL_RECLOSER])
PER_PHASE = (CODE[FUSE], CODE[SECTIONALIZER], CODE[LATERAL_RECLOSER])
PROTECTIVE = tuple(c for name, c in CODE.items() if name != SWITCH)


@dataclass(frozen=True)
class Network:
    """A forest of n line sections in an order where parents come first (depth-first).

    Arrays have shape (n,) unless said otherwise; a float array holds NaN where the study
    leaves the value to an assumption or does not know it.

    ids: section ids. row: position in the study's sections frame.
    parent: position of the parent, −1 at a source. size: sections in sub(i), i included.
    device: code into `devices.DEVICES`, −1 for a solid connection.
    protective: nearest section at or above that carries a protective device (not a switch).
    protective_above: for a section, the next protective section above `protective` of
        itself, −1 at a source.
    block: section that heads the block (nearest device of any kind at or above).
    lateral: section that heads the lateral, −1 on the main.
    feeder: index into `feeder_ids`.
    customers_below, load_below (kW): sums over sub(i); customers_by_class: (n, 3) per section,
        customers_by_class_below: the sums.
    tie_below: largest tie probability in sub(i).
    column: the remaining numeric columns of `columns.SECTIONS`, by name, each (n,).
    fuse_link: (n,) text, "" where unknown.
    """

    ids: np.ndarray
    row: np.ndarray
    parent: np.ndarray
    size: np.ndarray
    device: np.ndarray
    protective: np.ndarray
    protective_above: np.ndarray
    block: np.ndarray
    lateral: np.ndarray
    feeder: np.ndarray
    feeder_ids: np.ndarray
    customers: np.ndarray
    customers_by_class: np.ndarray
    load_kw: np.ndarray
    phases: np.ndarray
    customers_below: np.ndarray
    customers_by_class_below: np.ndarray
    load_below: np.ndarray
    tie_below: np.ndarray
    column: dict[str, np.ndarray]
    fuse_link: np.ndarray

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def lateral_heads(self) -> np.ndarray:
        """Positions of the sections that head a lateral, ascending."""
        return np.flatnonzero(self.lateral == np.arange(len(self)))

    @property
    def lateral_index(self) -> np.ndarray:
        """Place of each section's lateral among `lateral_heads`, −1 on the main, (n,)."""
        heads = self.lateral_heads
        # one place more than sections: the −1 of the main reads the last
        place = np.full(len(self) + 1, -1)
        place[heads] = np.arange(len(heads))
        return place[self.lateral]

    def below(self, values: np.ndarray) -> np.ndarray:
        """Sum of `values` (n,) or (n, m) over sub(i), for every i."""
        return _sums_below(values, self.size)

    def along_path(self, values: np.ndarray) -> np.ndarray:
        """Sum of `values` (n,) over section i and all above it, for every i."""
        total, jump = np.array(values, dtype=float), self.parent.copy()
        while True:
            moving = np.flatnonzero(jump >= 0)
            if not moving.size:
                return total
            # path doubling: after k rounds `total` covers 2**k sections towards the source
            total[moving] += total[jump[moving]]
            jump[moving] = jump[jump[moving]]


def build_network(sections: pd.DataFrame) -> Network:
    """Arrays of a checked sections frame (see `Study.sections`), in depth-first order."""
    ids = sections["section_id"].to_numpy(dtype=object)
    parent_ids = sections["parent_id"].to_numpy(dtype=object)
    parent_row = _positions(ids, parent_ids)
    row, parent, size = _depth_first(parent_row)
    n = len(row)

    def numbers(name: str) -> np.ndarray:
        if name not in sections:
            return np.full(n, np.nan)
        return sections[name].to_numpy(dtype=float, na_value=np.nan)[row]

    device = np.array([CODE.get(d, NO_DEVICE) for d in sections["device"]], dtype=np.int8)[row]
    has = device != NO_DEVICE
    protective = _nearest(parent, np.isin(device, PROTECTIVE))
    above = np.where(parent[protective] >= 0, protective[parent[protective]], -1)
    feeder_ids, feeder = np.unique(sections["feeder_id"].to_numpy(dtype=str)[row], return_inverse=True)
    customers = numbers("customers")
    by_class = np.column_stack([np.nan_to_num(numbers(f"customers_{c}")) for c in CUSTOMER_CLASSES])
    load = np.nan_to_num(numbers("load_kw"))
    tie = np.nan_to_num(numbers("tie_probability"))
    links = sections["fuse_link"].fillna("").to_numpy(dtype=object)[row] if "fuse_link" in sections else np.full(n, "")

    return Network(
        ids=ids[row], row=row, parent=parent, size=size, device=device,
        protective=protective, protective_above=above, block=_nearest(parent, has),
        lateral=_topmost(parent, np.isin(device, PER_PHASE)),
        feeder=feeder, feeder_ids=feeder_ids, customers=customers, customers_by_class=by_class,
        load_kw=load, phases=numbers("phases"),
        customers_below=_sums_below(customers, size), customers_by_class_below=_sums_below(by_class, size),
        load_below=_sums_below(load, size), tie_below=_largest_below(tie, size),
        column={c.name: numbers(c.name) for c in SECTIONS if c.kind != "text"}, fuse_link=links,
    )


def _positions(ids: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Position in `ids` of each wanted id, −1 where blank."""
    at = {name: i for i, name in enumerate(ids)}
    return np.array([at.get(w, -1) for w in wanted], dtype=np.int64)


def _depth_first(parent_row: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows in depth-first order, each one's parent as a position in it, and subtree sizes."""
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
    position[row] = np.arange(n)
    parent = np.where(parent_row[row] >= 0, position[parent_row[row]], -1)
    size = [1] * n
    for i, p in zip(range(n - 1, -1, -1), parent[::-1].tolist(), strict=True):
        if p >= 0:
            size[p] += size[i]
    return row, parent, np.array(size, dtype=np.int64)


def _nearest(parent: np.ndarray, marked: np.ndarray) -> np.ndarray:
    """Nearest marked section at or above each section, −1 where there is none."""
    none = len(parent)
    jump = np.append(np.where(marked, np.arange(none), np.where(parent >= 0, parent, none)), none)
    while True:
        further = jump[jump]  # path doubling ends after log2(depth) rounds
        if np.array_equal(further, jump):
            return np.where(jump[:-1] == none, -1, jump[:-1])
        jump = further


def _topmost(parent: np.ndarray, marked: np.ndarray) -> np.ndarray:
    """Highest marked section at or above each section, −1 where there is none."""
    nearest = _nearest(parent, marked)
    above = np.where(parent >= 0, nearest[parent], -1)
    return np.where(nearest >= 0, _nearest(parent, marked & (above < 0)), -1)


def _sums_below(values: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Sum of `values` (n,) or (n, m) over sub(i), for every i."""
    # extended precision: a small subtree is the difference of two large running sums
    running = np.cumsum(values, axis=0, dtype=np.longdouble)
    running = np.concatenate([np.zeros_like(running[:1]), running])
    start = np.arange(len(size))
    return np.asarray(running[start + size] - running[start], dtype=float)


def _largest_below(values: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Largest of `values` over sub(i), for every i: two overlapping power-of-two windows."""
    result, window, width = np.empty_like(values), values.copy(), 1
    start, power = np.arange(len(values)), np.floor(np.log2(size)).astype(int)
    for p in range(power.max(initial=0) + 1):
        at = np.flatnonzero(power == p)
        result[at] = np.maximum(window[at], window[start[at] + size[at] - width])
        window = np.maximum(window, np.append(window[width:], np.zeros(min(width, len(window)))))
        width *= 2
    return result
