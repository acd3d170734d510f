"""Melting and clearing of fuse links over current: those of the reference table, and a study's own curves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from reliability.network.curves import CurvePoints, PointCurves, point_curves
from reliability.network.fuse_links import link_table
from reliability.schema.curves import CLEARING, MELTING

CONSTANT_I2T = -2.0  # slope of log time over log current below the table's last time


@dataclass(frozen=True)
class LinkCurves:
    """l fuse links.

    melting: minimum melting time. clearing: maximum melting time of a link of the reference table, total clearing
    time where `own`, (l,), says that both curves are the study's.
    """

    names: tuple[str, ...]
    melting: PointCurves
    clearing: PointCurves
    own: np.ndarray

    def __len__(self) -> int:
        return len(self.names)

    def arcing_s(self, arcing_time_s: float) -> np.ndarray:
        """Time (s) that comes on top of `clearing`, (l,); a total clearing curve holds it already."""
        return np.where(self.own, 0.0, arcing_time_s)

    @property
    def longest_melting_a(self) -> np.ndarray:
        """Longest maximum melting current (A), below which a link is taken not to melt, (l,), model §3."""
        return self.clearing.first_current_a


Own = Mapping[str, tuple[CurvePoints, CurvePoints]]   # (melting, clearing) of links by name


def own_curves(curves: Mapping[str, CurvePoints]) -> dict[str, tuple[CurvePoints, CurvePoints]]:
    """Links whose melting and clearing curves are both among `curves` (`<link> melting`, `<link> clearing`)."""
    links = [name.removesuffix(f" {MELTING}") for name in curves if name.endswith(f" {MELTING}")]
    return {link: (curves[f"{link} {MELTING}"], curves[f"{link} {CLEARING}"]) for link in links
            if f"{link} {CLEARING}" in curves}


def link_curves(names: Iterable[str], own: Own | None = None) -> LinkCurves:
    """Curves of links by name; a link's own, (melting, clearing), go before the reference table's.

    Raises KeyError for a link that is in neither.
    """
    own = own or {}
    names = tuple(names)
    both = [own[name] if name in own else _from_table(name) for name in names]
    return LinkCurves(names, point_curves(m for m, _ in both), point_curves(c for _, c in both),
                      np.array([name in own for name in names], dtype=bool))


@cache
def _from_table(name: str) -> tuple[CurvePoints, CurvePoints]:
    """Minimum and maximum melting (IEEE C37.42, see schema/reference/README.md)."""
    points = link_table().loc[name]
    times = np.array([points["long_time_s"], 10.0, 0.1], dtype=float)
    least, most = (CurvePoints(points[[f"long_{end}_a", f"ten_s_{end}_a", f"tenth_s_{end}_a"]].to_numpy(float), times,
                               CONSTANT_I2T) for end in ("min", "max"))
    return least, most


def minimum_melting_s(links: LinkCurves, link: np.ndarray, current_a: np.ndarray) -> np.ndarray:
    """Minimum melting time (s) at currents (A); arrays broadcast."""
    return links.melting.times(link, current_a)


def total_clearing_s(links: LinkCurves, link: np.ndarray, current_a: np.ndarray, arcing_time_s: float) -> np.ndarray:
    """Total clearing time (s) at currents (A); arrays broadcast."""
    return links.clearing.times(link, current_a) + links.arcing_s(arcing_time_s)[link]


def saving_ceilings_a(links: LinkCurves, clearing_time_s: float, melting_factor: float) -> np.ndarray:
    """Saving ceiling (A) of each link, (l,): where melting time × factor falls to the fast clearing time (model §8).

    The least current at which melting time × `melting_factor` is not above `clearing_time_s`; ∞ where there is none.
    """
    curves, least = links.melting, clearing_time_s / melting_factor
    ceilings = np.full(len(links), np.inf)
    for link, (start, stop) in enumerate(zip(curves.first[:-1], curves.first[1:], strict=True)):
        time, current, slope = (values[start:stop] for values in (curves.time_s, curves.current_a, curves.slope))
        if (time <= least).any():
            k = int(np.argmax(time <= least))
            # reached at the first point, or on the way from the point before
            ceilings[link] = current[0] if k == 0 else current[k - 1] * (least / time[k - 1]) ** (1.0 / slope[k - 1])
        elif slope[-1] < 0.0:
            ceilings[link] = current[-1] * (least / time[-1]) ** (1.0 / slope[-1])
    return ceilings
