"""Likelihood of everything recorded, given the rates λ of the units, in the form in which the sampler asks for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import numpy as np

from reliability.history.posterior import Evidence

_TINY = 1e-300


@dataclass(frozen=True)
class Mixed:
    """Records of units of one group that may be of either kind: counts (k,), and what would be recorded of each unit
    were all its faults temporary, or permanent, (k,) each."""

    counts: np.ndarray
    temporary: np.ndarray
    permanent: np.ndarray

    def log_likelihood(self, temporary: float, permanent: float) -> float:
        """But for the expected numbers, where these are `temporary` and `permanent` times the whole."""
        if not self.counts.size:
            return 0.0
        return float(self.counts @ np.log(temporary * self.temporary + permanent * self.permanent + _TINY))


@dataclass(frozen=True)
class FixedCounts:
    """What does not change: known (2, G) records of known kind in the units; blank, stated: those of none, by group.

    pure: places (k,) of 2R where faults with nothing left open may be counted. counts: of what reclosing devices record
    otherwise, temporary, permanent and of no kind; known_there: of the first two. of_temporary, of_permanent, of_blank:
    the pools of these in the same order, the pure ones among temporary faults first; of_blank: (2, k) of either kind.
    """

    known: np.ndarray
    blank: tuple[Mixed, ...]
    stated: tuple[Mixed, ...]
    pure: np.ndarray
    counts: np.ndarray
    known_there: tuple[float, float]
    of_temporary: np.ndarray
    of_permanent: np.ndarray
    of_blank: np.ndarray


@dataclass(frozen=True)
class RateSums:
    """Sums of λ × amount: in units by group, temporary and permanent (G,); in pools by group, (4R, G)."""

    temporary: np.ndarray
    permanent: np.ndarray
    by_pool: np.ndarray


class Likelihood:
    """Of everything recorded given λ, times a factor by group; what is shared out is summed over.

    Its two parts: of the records in the units of a group, and of what reclosing devices record.
    """

    def __init__(self, recorded: FixedCounts, sums: RateSums, pure: np.ndarray) -> None:
        self.recorded = recorded
        self.known, self.of_units = recorded.known.tolist(), (sums.temporary.tolist(), sums.permanent.tolist())
        permanent = len(sums.by_pool) // 4 * 3          # from here on the pools are of permanent faults
        self.expected = np.concatenate([sums.by_pool[:permanent].sum(axis=0), sums.by_pool[permanent:].sum(axis=0)])
        self._stack(sums.by_pool, pure)

    def _stack(self, by_pool: np.ndarray, pure: np.ndarray) -> None:
        """Sums of all that is counted at devices: a row each, temporary faults of each group, then permanent ones."""
        r, groups = self.recorded, by_pool.shape[1]
        self.counts = np.concatenate([pure[r.pure], r.counts])
        ends = len(r.of_temporary), len(r.of_temporary) + len(r.of_permanent)
        self.stated = np.zeros((len(self.counts), 2 * groups))
        self.stated[:ends[0], :groups] = by_pool[r.of_temporary]
        self.stated[ends[0]:ends[1], groups:] = by_pool[r.of_permanent]
        self.blank_rows, self.blank = slice(ends[1], None), (-1.0, -1.0)     # of no blank shares yet
        self.of_blank = np.concatenate(list(by_pool[r.of_blank]), axis=1)

    def in_units(self, group: int, fraction: float, blank: Sequence[float], scale: float) -> float:
        """Of the records in the units of a group."""
        t, p = fraction * scale, (1.0 - fraction) * scale
        b, c = blank
        value: float = -self.of_units[0][group] * t - self.of_units[1][group] * p
        for kind, rate in ((0, (1.0 - b) * t), (1, (1.0 - c) * p)):
            if known := self.known[kind][group]:
                value += known * log(rate)
        return value + self.recorded.blank[group].log_likelihood(b * t, c * p) + (
            self.recorded.stated[group].log_likelihood(t, p))

    def at_devices(self, fraction: Sequence[float], blank: Sequence[float], scale: Sequence[float]) -> float:
        """Of what reclosing devices record; fraction, scale: of each group."""
        b, c = blank
        if (b, c) != self.blank and len(self.of_blank):
            self.blank = b, c
            self.stated[self.blank_rows] = self.of_blank * np.repeat([b, c], len(fraction))
        temporary = [p * k for p, k in zip(fraction, scale, strict=True)]
        rates = np.array(temporary + [k - t for t, k in zip(temporary, scale, strict=True)])
        logs = self.stated @ rates
        logs += _TINY
        np.log(logs, out=logs)
        temporary_there, permanent_there = self.recorded.known_there
        return float(self.counts @ logs - self.expected @ rates) + (
            temporary_there * log(1.0 - b) + permanent_there * log(1.0 - c))


def recorded_of(e: Evidence) -> FixedCounts:
    """What does not change of the evidence."""
    known = np.stack([np.bincount(e.group, e.at_unit[:, kind], e.groups) for kind in (0, 1)])

    def mixed(counts: np.ndarray, temporary: np.ndarray, permanent: np.ndarray) -> tuple[Mixed, ...]:
        by_group = [np.flatnonzero((e.group == g) & (counts > 0)) for g in range(e.groups)]
        return tuple(Mixed(counts[at].astype(float), temporary[at], permanent[at]) for at in by_group)

    rows = [np.flatnonzero(of_kind) for of_kind in e.at_device.T]
    counts = [of_kind[at].astype(float) for of_kind, at in zip(e.at_device.T, rows, strict=True)]
    pure = np.flatnonzero(np.concatenate([e.events, e.steps]))
    temporary, permanent = 2 * e.devices, 3 * e.devices             # where their pools begin
    return FixedCounts(known, mixed(e.at_unit[:, 2], e.unit_temporary, e.unit_permanent),
                       mixed(e.stated, e.stated_temporary, e.stated_permanent), pure, np.concatenate(counts),
                       (float(counts[0].sum()), float(counts[1].sum())), np.concatenate([pure, temporary + rows[0]]),
                       permanent + rows[1], np.stack([temporary + rows[2], permanent + rows[2]]))
