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
        self.recorded = recorded
        self.known, self.of_units = recorded.known.tolist(), (sums.temporary.tolist(), sums.permanent.tolist())
        self.expected = np.concatenate([sums.pure.sum(axis=0) + sums.device_temporary.sum(axis=0),
                                        sums.device_permanent.sum(axis=0)])
        self._stack(sums, counted(pure))

    def _stack(self, sums: Sums, pure: Counted) -> None:
        """Sums of all that is counted at devices: a row each, temporary faults of each group, then permanent ones."""
        temporary, permanent, blank = self.recorded.at_device
        self.counts = np.concatenate([pure.counts, temporary.counts, permanent.counts, blank.counts])
        groups, ends = len(sums.temporary), np.cumsum([len(c.rows) for c in (pure, temporary, permanent)]).tolist()
        self.stated = np.zeros((len(self.counts), 2 * groups))
        self.stated[:ends[0], :groups] = sums.pure[pure.rows]
        self.stated[ends[0]:ends[1], :groups] = sums.device_temporary[temporary.rows]
        self.stated[ends[1]:ends[2], groups:] = sums.device_permanent[permanent.rows]
        self.blank_rows, self.blank = slice(ends[2], None), (-1.0, -1.0)     # of no blank shares yet
        self.of_blank = np.concatenate([sums.device_temporary[blank.rows], sums.device_permanent[blank.rows]], axis=1)

    def in_units(self, group: int, fraction: float, blank: np.ndarray, scale: float) -> float:
        """Of the records in the units of a group."""
        t, p, b, c = fraction * scale, (1.0 - fraction) * scale, float(blank[0]), float(blank[1])
        value = -self.of_units[0][group] * t - self.of_units[1][group] * p
        for kind, rate in ((0, (1.0 - b) * t), (1, (1.0 - c) * p)):
            if self.known[kind][group]:
                value += self.known[kind][group] * log(rate)
        return float(value) + self.recorded.blank[group].log_likelihood(b * t, c * p) + (
            self.recorded.stated[group].log_likelihood(t, p))

    def at_devices(self, fraction: np.ndarray, blank: np.ndarray, scale: np.ndarray) -> float:
        """Of what reclosing devices record; fraction, scale: (G,)."""
        b, c = float(blank[0]), float(blank[1])
        if (b, c) != self.blank and len(self.of_blank):
            self.blank = b, c
            self.stated[self.blank_rows] = self.of_blank * np.repeat([b, c], len(fraction))
        temporary = fraction * scale
        rates = np.concatenate([temporary, scale - temporary])
        value = self.counts @ np.log(self.stated @ rates + _TINY) - self.expected @ rates
        known_temporary, known_permanent, _ = self.recorded.totals
        return float(value) + known_temporary * log(1.0 - b) + known_permanent * log(1.0 - c)


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
