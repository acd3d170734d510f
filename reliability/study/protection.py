"""Which device stands behind which, and the rules that their settings keep, with defaults applied."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.schema.devices import BREAKER, LATERAL_DEVICES, LATERAL_RECLOSER, RECLOSER, SECTIONALIZER
from reliability.study.tree import Tree


@dataclass(frozen=True)
class Protection:
    """Arrays over sections; settings carry the defaults, NaN where the device has no such setting.

    device: text. above: nearest reclosing device strictly above (-1 none). backup: the one whose openings a
    device here would count (-1 none), the same as `above`. head: the section at the head of the
    lateral that the section lies in (-1 outside laterals).
    """

    device: np.ndarray
    backup: np.ndarray
    head: np.ndarray
    lockout: np.ndarray
    fast: np.ndarray
    counts: np.ndarray
    default_lockout: int
    default_counts: int

    @property
    def three_phase(self) -> np.ndarray:
        """Where a breaker or recloser stands."""
        return (self.device == BREAKER) | (self.device == RECLOSER)

    def heads(self) -> np.ndarray:
        """Sections at the head of a lateral."""
        return np.flatnonzero(self.head == np.arange(len(self.head)))


def protection(sections: pd.DataFrame, tree: Tree, values: Mapping[str, object]) -> Protection:
    """Protection as built, from typed sections."""
    device = sections["device"].to_numpy(object)
    reclosing = np.isin(device, (BREAKER, RECLOSER, LATERAL_RECLOSER))
    backup, head = _walk(tree, reclosing.tolist(), np.isin(device, LATERAL_DEVICES).tolist())
    default_fast = default_fast_operations(device == LATERAL_RECLOSER, values)
    lockout = _or_default(sections["operations_to_lockout"], float(values["operations_to_lockout"]), reclosing)
    fast = _or_default(sections["fast_operations"], default_fast, reclosing)
    counts = _or_default(sections["counts"], float(values["sectionalizer_counts"]), device == SECTIONALIZER)
    return Protection(device, backup, head, lockout, fast, counts,
                      int(values["operations_to_lockout"]), int(values["sectionalizer_counts"]))


def default_fast_operations(lateral_recloser: np.ndarray, values: Mapping[str, object]) -> np.ndarray:
    """Fast operations of a reclosing device that states none: 0 in a lateral (contract.md, sections.csv)."""
    return np.where(lateral_recloser, 0.0, float(values["fast_operations"]))


def _or_default(column: pd.Series, default: float | np.ndarray, where: np.ndarray) -> np.ndarray:
    given = column.to_numpy(float)
    return np.where(where, np.where(np.isnan(given), default, given), np.nan)


def _walk(tree: Tree, reclosing: list[bool], lateral: list[bool]) -> tuple[np.ndarray, np.ndarray]:
    """Backup and lateral head of each section, one pass from the sources outwards."""
    n = len(tree.parent)
    backup, head = [-1] * n, [-1] * n
    parents = tree.parent.tolist()
    for i in tree.order.tolist():
        p = parents[i]
        if p >= 0:
            backup[i] = p if reclosing[p] else backup[p]
            head[i] = head[p]
        if head[i] < 0 and lateral[i]:
            head[i] = i
    return np.array(backup, int), np.array(head, int)


def fast_not_below(plan: Protection) -> np.ndarray:
    """Reclosing devices whose fast operations are not below their operations to lockout."""
    return np.flatnonzero(plan.fast >= plan.lockout)


def counts_too_many(plan: Protection) -> np.ndarray:
    """Sectionalizers whose counts are above the operations to lockout of the device behind them, less one."""
    places = np.flatnonzero((plan.device == SECTIONALIZER) & (plan.backup >= 0))
    return places[plan.counts[places] > plan.lockout[plan.backup[places]] - 1.0]


def converted(plan: Protection, heads: np.ndarray, device: str, counts: int | None) -> Protection:
    """Protection once the device at each of `heads` has become `device`.

    A head that already has the device keeps its own settings, its counts too unless `counts` are given.
    """
    changed = np.zeros(len(plan.device), bool)
    changed[heads] = True
    new = changed & (plan.device != device)
    kinds = plan.device.copy()
    kinds[changed] = device
    lockout = np.where(new, plan.default_lockout if device == LATERAL_RECLOSER else np.nan, plan.lockout)
    set_counts = np.where(new, plan.default_counts if device == SECTIONALIZER else np.nan, plan.counts)
    if device == SECTIONALIZER and counts is not None:
        set_counts = np.where(changed, counts, set_counts)
    head = plan.head
    inside = (head >= 0) & (head != np.arange(len(head))) & new[head]
    beyond = np.where(head >= 0, plan.backup[head], -1)
    if device == LATERAL_RECLOSER:
        backup = np.where(inside & (plan.backup == beyond), head, plan.backup)
    else:
        backup = np.where(inside & (plan.backup == head), beyond, plan.backup)
    return replace(plan, device=kinds, backup=backup, lockout=lockout, counts=set_counts)
