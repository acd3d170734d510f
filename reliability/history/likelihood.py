"""Likelihood of everything recorded, given the rates λ of the units, in the form in which the sampler asks for it."""

from __future__ import annotations

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
class Counted:
    """Counts (k,) above 0 of places, and their rows in the sums by place."""

    counts: np.ndarray
    rows: np.ndarray

    def log_likelihood(self, means: np.ndarray) -> float:
        """But for the expected numbers; means: (places,)."""
        return float(self.counts @ np.log(means[self.rows] + _TINY)) if self.rows.size else 0.0


@dataclass(frozen=True)
class Recorded:
    """What does not change: known (2, G) records of known kind in the units; blank, stated: those of none, by group;
    at_device: temporary, permanent, of no kind, and their totals."""

    known: np.ndarray
    blank: tuple[Mixed, ...]
    stated: tuple[Mixed, ...]
    at_device: tuple[Counted, Counted, Counted]
    totals: tuple[float, float, float]


@dataclass(frozen=True)
class Sums:
    """Sums of λ × amount: in units by group, temporary and permanent (G,); in pools by group: pure (2R, G),
    device_temporary, device_permanent (R, G)."""

    temporary: np.ndarray
    permanent: np.ndarray
    pure: np.ndarray
    device_temporary: np.ndarray
    device_permanent: np.ndarray


class Likelihood:
    """Of everything recorded given λ, times a factor by group; what is shared out is summed over.

    Its two parts: of the records in the units of a group, and of what reclosing devices record.
    """

    def __init__(self, recorded: Recorded, sums: Sums, pure: np.ndarray) -> None:
        self.recorded, self.sums, self.pure = recorded, sums, counted(pure)
        self.expected = (sums.pure.sum(axis=0) + sums.device_temporary.sum(axis=0), sums.device_permanent.sum(axis=0))

    def in_units(self, group: int, fraction: float, blank: np.ndarray, scale: float) -> float:
        """Of the records in the units of a group."""
        known, of = self.recorded.known, self.sums
        t, p, b, c = fraction * scale, (1.0 - fraction) * scale, float(blank[0]), float(blank[1])
        value = -float(of.temporary[group]) * t - float(of.permanent[group]) * p
        for kind, rate in ((0, (1.0 - b) * t), (1, (1.0 - c) * p)):
            if known[kind, group]:
                value += float(known[kind, group]) * log(rate)
        return value + self.recorded.blank[group].log_likelihood(b * t, c * p) + (
            self.recorded.stated[group].log_likelihood(t, p))

    def at_devices(self, fraction: np.ndarray, blank: np.ndarray, scale: np.ndarray) -> float:
        """Of what reclosing devices record; fraction, scale: (G,)."""
        t, p, b, c = fraction * scale, (1.0 - fraction) * scale, float(blank[0]), float(blank[1])
        value = self.pure.log_likelihood(self.sums.pure @ t) - float(self.expected[0] @ t + self.expected[1] @ p)
        totals = self.recorded.totals
        if not any(totals):
            return value
        temporary, permanent = self.sums.device_temporary @ t, self.sums.device_permanent @ p
        value += totals[0] * log(1.0 - b) + totals[1] * log(1.0 - c)
        for counts, means in zip(self.recorded.at_device, (temporary, permanent, b * temporary + c * permanent),
                                 strict=True):
            value += counts.log_likelihood(means)
        return value


def counted(counts: np.ndarray) -> Counted:
    """Of counts (k,) those above 0."""
    rows = np.flatnonzero(counts)
    return Counted(counts[rows].astype(float), rows)


def recorded_of(e: Evidence) -> Recorded:
    """What does not change of the evidence."""
    known = np.stack([np.bincount(e.group, e.at_unit[:, kind], e.groups) for kind in (0, 1)])

    def mixed(counts: np.ndarray, temporary: np.ndarray, permanent: np.ndarray) -> tuple[Mixed, ...]:
        by_group = [np.flatnonzero((e.group == g) & (counts > 0)) for g in range(e.groups)]
        return tuple(Mixed(counts[at].astype(float), temporary[at], permanent[at]) for at in by_group)

    at_device = e.at_device
    return Recorded(known, mixed(e.at_unit[:, 2], e.unit_temporary, e.unit_permanent),
                    mixed(e.stated, e.stated_temporary, e.stated_permanent),
                    (counted(at_device[:, 0]), counted(at_device[:, 1]), counted(at_device[:, 2])),
                    (float(at_device[:, 0].sum()), float(at_device[:, 1].sum()), float(at_device[:, 2].sum())))
