"""Time-current curves as functions on arrays: inverse curves of the standards, definite time, and curves by points.

Times are s, currents A. A curve that gives no time at a current gives ∞.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.schema.curves import DEFINITE, INVERSE


@dataclass(frozen=True)
class CurvePoints:
    """One curve by points, log-log between them, ∞ below the first current.

    current_a, time_s: (k,), currents rising. tail: slope of log time over log current beyond the last point,
    0 for the last time, −2 for a constant I²t.
    """

    current_a: np.ndarray
    time_s: np.ndarray
    tail: float = 0.0


@dataclass(frozen=True)
class PointCurves:
    """c curves by points, one after the other.

    first: (c + 1,) where each one's points begin. current_a, time_s: (k,). slope: (k,) of log time over
    log current from each point to the next.
    """

    first: np.ndarray
    current_a: np.ndarray
    time_s: np.ndarray
    slope: np.ndarray

    def __len__(self) -> int:
        return len(self.first) - 1

    @property
    def first_current_a(self) -> np.ndarray:
        """Current of each curve's first point, (c,)."""
        return self.current_a[self.first[:-1]]

    def segment(self, curve: np.ndarray, current_a: np.ndarray) -> np.ndarray:
        """Place of the last point at or below a current, −1 where there is none; arrays broadcast."""
        curve, current_a = np.broadcast_arrays(curve, current_a)
        start = self.first[curve]
        found = last_at_or_below(self.current_a, start, self.first[curve + 1], current_a)
        return np.where(found < start, -1, found)

    def time_on(self, segment: np.ndarray, current_a: np.ndarray) -> np.ndarray:
        """Time of a given segment (not −1), extended beyond its ends."""
        with np.errstate(over="ignore"):   # far outside of a steep segment
            return self.time_s[segment] * np.exp(self.slope[segment] * np.log(current_a / self.current_a[segment]))

    def times(self, curve: np.ndarray, current_a: np.ndarray) -> np.ndarray:
        """Time of each curve at each current, exact at the points; arrays broadcast."""
        segment = self.segment(curve, current_a)
        return np.where(segment < 0, np.inf, self.time_on(np.maximum(segment, 0), current_a))


def point_curves(curves: Iterable[CurvePoints]) -> PointCurves:
    """Several curves by points as one."""
    curves = list(curves)
    nothing = np.zeros(0)
    slopes = [np.append(np.diff(np.log(c.time_s)) / np.diff(np.log(c.current_a)), c.tail) for c in curves]
    return PointCurves(first=np.cumsum([0, *(len(c.current_a) for c in curves)]),
                       current_a=np.concatenate([nothing, *(c.current_a for c in curves)]),
                       time_s=np.concatenate([nothing, *(c.time_s for c in curves)]),
                       slope=np.concatenate([nothing, *slopes]))


def points_by_name(curves: pd.DataFrame) -> dict[str, CurvePoints]:
    """Curves of a checked frame of `columns.CURVES`, by name, in the order of the frame."""
    return {str(name): CurvePoints(rows["current_a"].to_numpy(float), rows["time_s"].to_numpy(float))
            for name, rows in curves.groupby("curve", sort=False)}


def last_at_or_below(values: np.ndarray, start: np.ndarray, stop: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Place of the last of values[start:stop], ascending, that is ≤ wanted; start − 1 where there is none.

    `np.searchsorted(…, side="right") − 1` in a slice of its own for each element; the arrays have one shape.
    """
    low, high = start - 1, np.array(stop)
    most = int((high - start).max(initial=0))
    for _ in range(most.bit_length()):
        middle = (low + high) >> 1
        # a slice that is searched to the end has middle = low, which is ≤ wanted or before the slice
        below = (values[np.maximum(middle, 0)] <= wanted) | (middle < start)
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return low


@dataclass(frozen=True)
class Elements:
    """Overcurrent elements of reclosing devices, arrays of one shape, (e,) where nothing else is stated.

    pickup_a, time_dial, added_time_s: see `columns.SETTINGS`. a, b, p: constants of an inverse curve.
    points: place of the element's curve in `curves`, −1 for an inverse one.
    """

    pickup_a: np.ndarray
    time_dial: np.ndarray
    added_time_s: np.ndarray
    a: np.ndarray
    b: np.ndarray
    p: np.ndarray
    points: np.ndarray
    curves: PointCurves

    def __len__(self) -> int:
        return len(self.pickup_a)

    def take(self, row: np.ndarray) -> Elements:
        """The elements at `row`, in its shape."""
        return Elements(self.pickup_a[row], self.time_dial[row], self.added_time_s[row], self.a[row], self.b[row],
                        self.p[row], self.points[row], self.curves)

    @property
    def first_current_a(self) -> np.ndarray:
        """Least current, to the last digit, at which an element has a finite time."""
        current = np.nextafter(self.pickup_a, np.inf)
        # the next number over the pickup may still round to a quotient of 1
        current = np.where(current / self.pickup_a > 1.0, current, np.nextafter(current, np.inf))
        by_points = self.points >= 0
        current[by_points] = np.maximum(current[by_points], self.curves.first_current_a[self.points[by_points]])
        return current


def make_elements(settings: pd.DataFrame, curves: Mapping[str, CurvePoints]) -> Elements:
    """Elements of the rows of a checked frame of `columns.SETTINGS`; KeyError for a curve that is not there."""
    named, code = np.unique(settings["curve"].to_numpy(dtype=str), return_inverse=True)
    by_points = [name for name in named if name not in INVERSE]
    constants = np.array([INVERSE.get(name, INVERSE[DEFINITE]) for name in named]).reshape(-1, 3)[code]
    place = np.array([by_points.index(name) if name in by_points else -1 for name in named], dtype=np.int64)[code]
    pickup, dial, added = (settings[name].to_numpy(float) for name in ("pickup_a", "time_dial", "added_time_s"))
    return Elements(pickup, dial, added, constants[:, 0], constants[:, 1], constants[:, 2], place,
                    point_curves(curves[name] for name in by_points))


def element_times(elements: Elements, current_a: np.ndarray, added: bool = True) -> np.ndarray:
    """Clearing time (s) of elements at currents (A), model §8; the elements' arrays and the currents broadcast.

    ∞ where current over pickup is not above 1, as a quotient of double precision. added: with `added_time_s`,
    else the time until the element has timed out.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        multiple = current_a / elements.pickup_a
        excess = np.expm1(elements.p * np.log(multiple))
        time = elements.time_dial * (elements.a / excess + elements.b)
    by_points, current_a, dial = np.broadcast_arrays(elements.points, current_a, elements.time_dial)
    if (by_points >= 0).any():
        at = np.nonzero(by_points >= 0)
        time[at] = dial[at] * elements.curves.times(by_points[at], current_a[at])
    time = np.where(multiple > 1.0, time, np.inf)
    return time + elements.added_time_s if added else time
