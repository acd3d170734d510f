"""Spans in series with nothing between them made one section, where the answer stays the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.intake.kinds import OWN_VALUES, SUMMED_COLUMNS
from reliability.intake.placing import ON_LINE, Tree
from reliability.schema.columns import OVERHEAD

WITHIN = 0.02       # 1/current at a joint may lie so far from the straight line of the merged run, relative to it
_EXACT = 1e-9       # pieces of one straight line, up to rounding in the exports
SHARED = ("construction", "area", *OWN_VALUES)
_ADDED = (*SUMMED_COLUMNS, "equipment_fault_rate", "faults_observed", "length_km")
_LARGEST = ("tie_probability",)


@dataclass(frozen=True)
class Runs:
    """Sections after merging. run: (n,) number of the run of each section, runs numbered by their heads' order; order:
    (n,) place in its run, from 0 at the source; head: (runs,) first section of each."""

    run: np.ndarray
    order: np.ndarray
    head: np.ndarray


def find_runs(tree: Tree, frame: pd.DataFrame) -> Runs:
    """Which sections become one.

    frame: columns of the sections (sections.csv's, `length_km`, `phases` resolved).
    """
    n = len(tree)
    parent = tree.parent
    children = np.bincount(parent[parent >= 0], minlength=n)
    joint = (parent >= 0) & (tree.why == ON_LINE) & (tree.kinds == "")
    up = np.where(joint, parent, 0)
    joint &= (children[up] == 1) & (tree.why[up] == ON_LINE)
    for name in ("phases", *SHARED):
        column = frame[name].to_numpy()
        if column.dtype == object:
            column = pd.factorize(np.where(column == "", OVERHEAD, column) if name == "construction" else column)[0]
        column = np.asarray(column, float)
        joint &= (column == column[up]) | (np.isnan(column) & np.isnan(column[up]))
    source, end = (frame[c].to_numpy(float) for c in ("fault_current_source_a", "fault_current_end_a"))
    stated = ~np.isnan(source) & ~np.isnan(end)
    joint &= stated == stated[up]
    run, order, head = _chains(joint, parent)
    if stated[joint].any():
        length = frame["length_km"].to_numpy(float)
        joint = _straight(run, order, joint, length, source, end, stated)
        run, order, head = _chains(joint, parent)
    return Runs(run, order, head)


def _chains(joint: np.ndarray, parent: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Run and place in it of each section, and the runs' heads, for sections that continue their parent."""
    n = len(joint)
    jump = np.where(joint, parent, np.arange(n))
    order = joint.astype(int)
    while True:
        further = jump[jump]
        if np.array_equal(further, jump):
            break
        order = order + order[jump]
        jump = further
    head = np.flatnonzero(~joint)
    number = np.empty(n, int)
    number[head] = np.arange(len(head))
    return number[jump], order, head


def _straight(run: np.ndarray, order: np.ndarray, joint: np.ndarray, length: np.ndarray, source: np.ndarray,
              end: np.ndarray, stated: np.ndarray) -> np.ndarray:
    """The joints at which 1/current is straight enough, (n,) bool.

    First pieces of one line, up to rounding, then runs of such pieces: so it does not matter into how many spans a line
    was cut. Sections of no length carry the line on.
    """
    at = np.lexsort((order, run))
    at = at[stated[at]]
    y0, y1 = 1.0 / source[at], 1.0 / end[at]
    goes_on = joint[at]
    pieces = _extend(goes_on, length[at], y0, y1, _EXACT)
    first = np.flatnonzero(~pieces)
    last = np.r_[first[1:] - 1, len(at) - 1]
    km = np.add.reduceat(length[at], first) if len(first) else length[:0]
    whole = _extend(goes_on[first], km, y0[first], y1[last], WITHIN)
    result = joint.copy()
    kept = pieces.copy()
    kept[first] = whole
    result[at] = kept
    return result


def _extend(goes_on: np.ndarray, km: np.ndarray, y0: np.ndarray, y1: np.ndarray, within: float) -> np.ndarray:
    """Where a run is extended by the next piece, (m,) bool, the pieces standing in order of their chains.

    goes_on: the piece may continue the one before it. km: lengths; y0, y1: 1/current at their ends. A run of pieces
    holds while every joint lies within the share `within` of the straight line between the run's two ends; slopes that
    do so for the joints so far are kept as an interval. All chains are walked at once.
    """
    m = len(km)
    taken = np.zeros(m, bool)
    at = np.flatnonzero(~goes_on)
    start, length = y0[at].copy(), km[at].copy()
    low, high, flat = np.full(len(at), -np.inf), np.full(len(at), np.inf), np.ones(len(at), bool)
    while True:
        more = (at + 1 < m) & goes_on[np.minimum(at + 1, m - 1)]
        if not more.any():
            return taken
        at, start, length, low, high, flat = (x[more] for x in (at, start, length, low, high, flat))
        following = at + 1
        for joint in (y1[at], y0[following]):
            with np.errstate(divide="ignore", invalid="ignore"):
                low = np.where(length > 0, np.maximum(low, (joint * (1 - within) - start) / length), low)
                high = np.where(length > 0, np.minimum(high, (joint * (1 + within) - start) / length), high)
            flat = flat & ((length > 0) | (np.abs(joint - start) <= within * joint))
        total = length + km[following]
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (y1[following] - start) / total
        good = flat & np.where(total > 0, (slope >= low) & (slope <= high), True)
        taken[following] = good
        start = np.where(good, start, y0[following])
        length = np.where(good, total, km[following])
        low, high = np.where(good, low, -np.inf), np.where(good, high, np.inf)
        flat = flat | ~good
        at = following


def merged(frame: pd.DataFrame, runs: Runs) -> pd.DataFrame:
    """One row a run: what adds up added, the largest chance of a tie, the end's current, else what the head states."""
    count = len(runs.head)
    result = frame.iloc[runs.head].reset_index(drop=True)
    last = np.empty(count, int)
    at = np.argsort(runs.order, kind="stable")
    last[runs.run[at]] = at
    result["fault_current_end_a"] = frame["fault_current_end_a"].to_numpy()[last]
    several = len(frame) > count
    if not several:
        return result
    for name in _ADDED:
        result[name] = _by_run(frame[name].to_numpy(float), runs.run, count, np.add, 0.0)
    for name in _LARGEST:
        result[name] = _by_run(frame[name].to_numpy(float), runs.run, count, np.maximum, -np.inf)
    for name in ("location", "tie_section_id"):
        column = frame[name].to_numpy(object)
        some = np.flatnonzero(column != "")
        some = some[np.argsort(-runs.order[some], kind="stable")]
        text = result[name].to_numpy(object, copy=True)
        text[runs.run[some]] = column[some]
        result[name] = pd.Series(text, dtype=object)
    return result


def _by_run(values: np.ndarray, run: np.ndarray, count: int, how: np.ufunc, start: float) -> np.ndarray:
    given = ~np.isnan(values)
    total, any_ = np.full(count, start), np.zeros(count, bool)
    how.at(total, run[given], values[given])
    any_[run[given]] = True
    return np.where(any_, total, np.nan)
