"""Reclosing on or off: the share of each section's faults in either state, the same faults in all scenarios.

A fault comes with a number drawn evenly from 0 to 1, and finds reclosing off where that is below the share of its
reclosing device. Scenarios that give a fault different reclosing devices then differ in the state where they must,
and in nothing else. So 0 to 1 is cut at the shares, and each stretch between two cuts is a state of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reliability.network.protection import Protection
from reliability.schema.values import Assumptions, TrialValues, drawn

STUDY_SHARE = -1.0  # in place of a share: the study's, which may be uncertain


@dataclass(frozen=True)
class States:
    """Cuts of r rows: edge (r, k + 1) ascending from 0 to 1, each a share, STUDY_SHARE for the study's; share (r, k +
    1) the same as numbers; own (S, r) the share of each scenario as a number."""

    edge: np.ndarray
    share: np.ndarray
    own: np.ndarray

    def levels(self) -> range:
        """Places of the stretches between two cuts."""
        return range(self.edge.shape[1] - 1)

    def rows_of(self, level: int) -> tuple[np.ndarray, np.ndarray]:
        """(rows in which the stretch is not empty, (S, rows) whether reclosing is off in it)."""
        rows = np.flatnonzero(self.share[:, level + 1] > self.share[:, level])
        return rows, self.own[:, rows] >= self.share[rows, level + 1]

    def take(self, rows: np.ndarray) -> States:
        """The given rows."""
        return States(self.edge[rows], self.share[rows], self.own[:, rows])

    def bounds(self, level: int) -> tuple[np.ndarray, np.ndarray]:
        """(from, to) of a stretch, (r,) each, STUDY_SHARE for the study's share."""
        return self.edge[:, level], self.edge[:, level + 1]


def states_of_rows(protections: Sequence[Protection], recloser: np.ndarray, values: Assumptions,
                   section: np.ndarray) -> States:
    """States of the faults of sections (r,); recloser: (S, n) reclosing device of each section."""
    stated = np.stack([p.off_share[r[section]] for p, r in zip(protections, recloser, strict=True)])
    by_study = np.isnan(stated)
    own = np.where(by_study, float(values["reclosing_off_share"]), stated)
    ends = np.zeros((len(section), 1)), np.ones((len(section), 1))
    share = np.concatenate([ends[0], own.T, ends[1]], axis=1)
    edge = np.concatenate([ends[0], np.where(by_study, STUDY_SHARE, own).T, ends[1]], axis=1)
    order = np.argsort(share, axis=1, kind="stable")
    share, edge = np.take_along_axis(share, order, axis=1), np.take_along_axis(edge, order, axis=1)
    # a cut that no row has is no cut
    wide = np.flatnonzero((np.diff(share, axis=1) > 0.0).any(axis=0)) + 1
    keep = np.concatenate([[0], wide]) if len(section) else np.array([0, share.shape[1] - 1])
    return States(edge[:, keep], share[:, keep], own)


def state_probability(off_from: float | np.ndarray, off_to: float | np.ndarray, values: TrialValues) -> np.ndarray:
    """Share of a section's faults between two cuts, each a share or STUDY_SHARE."""
    study = drawn(values, "reclosing_off_share")
    return np.where(off_to == STUDY_SHARE, study, off_to) - np.where(off_from == STUDY_SHARE, study, off_from)


def orders_of_shares(protections: Sequence[Protection]) -> bool:
    """Whether some reclosing device states a share, so that the study's may come before or after it."""
    return any(bool(np.isfinite(p.off_share).any()) for p in protections)
