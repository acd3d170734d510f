"""Times of fuse links and overcurrent elements, and the currents at which one overtakes another (model.md §3, §8).

Written from the text alone, for tests/enumeration.py; nothing of the package is imported.

A link is a dict of `name`, `melting` and `clearing` (a `Curve` each) and `arcing` (s, added to the clearing curve).
An element is a dict of `ground` and `fast` (flags), `pickup` (A), `curve` (name), `dial`, `added` (s) and `points`
(a `Curve`, or None where `curve` is a formula).
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

DATA = Path(__file__).parents[1] / "reliability" / "schema" / "reference"
R_ALONE, BOTH, FUSE_ALONE = "R alone", "both", "fuse alone"
# t = dial × (A/(u^p − 1) + B) as (A, B, p): IEEE C37.112 and IEC 60255-151 (model.md §8)
FORMULAS = {
    "ieee_moderately_inverse": (0.0515, 0.1140, 0.02),
    "ieee_very_inverse": (19.61, 0.491, 2.0),
    "ieee_extremely_inverse": (28.2, 0.1217, 2.0),
    "iec_standard_inverse": (0.14, 0.0, 0.02),
    "iec_very_inverse": (13.5, 0.0, 1.0),
    "iec_extremely_inverse": (80.0, 0.0, 2.0),
}
SAME_TIME = 1e-12  # of two equal curves, one must not come first by rounding


@dataclass(frozen=True)
class Curve:
    """Points of current and time, log-log between them, never below the first current.

    Above the last point constant I²t (`i2t`, the links of the table), else the last time.
    """

    points: tuple[tuple[float, float], ...]
    i2t: bool = False

    def piece(self, current: float) -> tuple[float, float] | None:
        """Time at `current` and the slope d ln t / d ln I just above it; None where the time is ∞."""
        if current < self.points[0][0]:
            return None
        for (i1, t1), (i2, t2) in pairwise(self.points):
            if i1 <= current < i2:
                slope = math.log(t2 / t1) / math.log(i2 / i1)
                return t1 * (current / i1) ** slope, slope
        last, time = self.points[-1]
        slope = -2.0 if self.i2t else 0.0
        return time * (current / last) ** slope, slope

    def time(self, current: float) -> float:
        """Time at `current`, s."""
        piece = self.piece(current)
        return math.inf if piece is None else piece[0]

    def least_current(self, time: float) -> float:
        """The least current at which the curve takes no longer than `time`; ∞ where it always does."""
        first, longest = self.points[0]
        if longest <= time:
            return first
        for (i1, t1), (i2, t2) in pairwise(self.points):
            if t2 <= time:
                return i1 * (i2 / i1) ** (math.log(time / t1) / math.log(t2 / t1))
        last, shortest = self.points[-1]
        return last * math.sqrt(shortest / time) if self.i2t else math.inf


# --- links -------------------------------------------------------------------------------


@cache
def read_links() -> dict[str, dict[str, float]]:
    """Rows of the table of links by name, like 65K."""
    with (DATA / "fuse_links.csv").open(newline="") as file:
        return {row["rating_a"] + row["speed"]: {k: float(v) for k, v in row.items() if k != "speed"}
                for row in csv.DictReader(file)}


def read_curves(curves) -> dict[str, Curve]:
    """Curves of curves.csv by name, their points in the order of rising currents."""
    points: dict[str, list] = {}
    for row in ([] if curves is None else curves.to_dict("records")):
        points.setdefault(str(row["curve"]), []).append((float(row["current_a"]), float(row["time_s"])))
    return {name: Curve(tuple(sorted(found))) for name, found in points.items()}


def link_of(name: str, own: dict[str, Curve], arcing: float) -> dict:
    """A link by its own two curves if it has them, else by the table."""
    name = name.strip().upper()
    curves = {curve.upper(): points for curve, points in own.items()}
    if f"{name} MELTING" in curves and f"{name} CLEARING" in curves:
        return {"name": name, "melting": curves[f"{name} MELTING"], "clearing": curves[f"{name} CLEARING"],
                "arcing": 0.0}
    row = read_links()[name]
    times = (("long", row["long_time_s"]), ("ten_s", 10.0), ("tenth_s", 0.1))
    least, most = (Curve(tuple((row[f"{at}_{which}_a"], time) for at, time in times), i2t=True)
                   for which in ("min", "max"))
    return {"name": name, "melting": least, "clearing": most, "arcing": arcing}


def next_larger(name: str) -> str | None:
    """The next larger rating of a link's type in the table; None above the largest."""
    name = name.strip().upper()
    try:
        rating = float(name[:-1])
    except ValueError:  # a link of its own curves need not be called by its rating
        return None
    larger = [(row["rating_a"], other) for other, row in read_links().items()
              if other[-1] == name[-1] and row["rating_a"] > rating]
    return min(larger)[1] if larger else None


# --- elements ----------------------------------------------------------------------------


def elements_that_act(elements: Iterable[dict], fast: bool, sees_ground: bool) -> list[dict]:
    """Those that see the fault and act on an operation of this kind."""
    kind = [e for e in elements if fast or not e["fast"]]
    if not kind:  # no delayed row: the fast ones stand in. (No fast row: the delayed ones are in it already.)
        kind = list(elements)
    return [e for e in kind if sees_ground or not e["ground"]]


def element_time(element: dict, current: float, added: bool = True) -> float:
    """Clearing time of an element, with `added_time_s` or without."""
    extra = element["added"] if added else 0.0
    u = current / element["pickup"]
    if u <= 1:
        return math.inf
    if element["curve"] == "definite":
        return element["dial"] + extra
    if element["points"] is not None:
        return element["dial"] * element["points"].time(current) + extra
    a, b, p = FORMULAS[element["curve"]]
    over = u**p - 1
    return element["dial"] * (a / over + b) + extra if over > 0 else math.inf


# --- one operation, one fuse ---------------------------------------------------------------


def by_simple_rule(link: dict | None, ceiling: float, current: float | None, fast: bool) -> str:
    """Which of the three happens, without settings."""
    if current is None:  # every fuse is saved
        return R_ALONE if fast else FUSE_ALONE
    if link is not None and current < link["clearing"].points[0][0]:
        return R_ALONE
    if fast:
        return R_ALONE if current < ceiling else BOTH
    return FUSE_ALONE


def by_times(link: dict, factor: float, acting: list[dict], current: float) -> str:
    """Which of the three happens, by the times of the elements that act and of the link."""
    clears = min((element_time(e, current) for e in acting), default=math.inf)
    recalled = min((element_time(e, current, added=False) for e in acting), default=math.inf)
    melts = factor * link["melting"].time(current)
    gone = link["clearing"].time(current) + link["arcing"]
    if not_later(clears, melts) or (gone == math.inf and recalled == math.inf):
        return R_ALONE
    return FUSE_ALONE if not_later(gone, recalled) else BOTH


def not_later(time: float, other: float) -> bool:
    """Whether `time` ≤ `other`, equal times told as equal whatever their last digit."""
    return time <= other or math.isclose(time, other, rel_tol=SAME_TIME, abs_tol=0.0)


# --- where one time crosses another ----------------------------------------------------------


def cuts_by_times(link: dict, factor: float, elements: Iterable[dict], low: float, high: float) -> list[float]:
    """Every current between low and high at which `by_times` may change its answer.

    They are the currents from which the link melts and clears, whether or not any element sees the fault; the pickups,
    the points of curves, and where an element's time meets the melting time or its time without the added one meets
    the clearing time: of each element by itself, since the least of several is not later than a time where any of
    them is.
    """
    begins = (link["melting"].points[0][0], link["clearing"].points[0][0])
    found = [current for current in begins if low < current < high]
    for element in elements:
        curves = [link["melting"], link["clearing"]] + ([element["points"]] if element["points"] else [])
        breaks = [element["pickup"]] + [current for curve in curves for current, _ in curve.points]
        breaks = sorted({low, high} | {b for b in breaks if low < b < high})
        found += breaks[1:-1]
        for start, end in pairwise(breaks):
            for curve, times, more, added in ((link["melting"], factor, 0.0, True),
                                              (link["clearing"], 1.0, link["arcing"], False)):
                piece = curve.piece(start)
                if piece is not None:
                    fuse = [(times * piece[0], piece[1]), (more, 0.0)]
                    terms = terms_of_difference(element, fuse, start, added)
                    found += [start * math.exp(s) for s in sign_changes(terms, math.log(end / start))]
    return found


def terms_of_difference(element: dict, fuse: list[tuple[float, float]], start: float, added: bool
                        ) -> list[tuple[float, float]]:
    """Element's time less the fuse's, times a factor above 0, as Σ c·exp(e·s) of (c, e) at I = start·exp(s).

    Good from `start` to the next break; empty where the element's time is ∞.
    """
    extra = element["added"] if added else 0.0
    if start < element["pickup"]:
        return []
    if element["curve"] == "definite":
        return [(element["dial"] + extra, 0.0)] + [(-c, e) for c, e in fuse]
    if element["points"] is not None:
        piece = element["points"].piece(start)
        if piece is None:
            return []
        return [(element["dial"] * piece[0], piece[1]), (extra, 0.0)] + [(-c, e) for c, e in fuse]
    a, b, p = FORMULAS[element["curve"]]
    constant, q = element["dial"] * b + extra, (start / element["pickup"]) ** p
    terms = [(element["dial"] * a - constant, 0.0), (constant * q, p)]  # all times u^p − 1 = q·exp(p·s) − 1
    for c, e in fuse:
        terms += [(c, e), (-c * q, e + p)]
    return terms


def sign_changes(terms: list[tuple[float, float]], end: float) -> list[float]:
    """Every s in (0, end) at which Σ c·exp(e·s) changes its sign or touches 0 exactly.

    By Rolle: divided by its term of the least exponent the sum has a derivative of one term fewer, and between
    two sign changes of that it is monotone, so that it has one zero at the most.
    """
    sums: dict[float, float] = {}
    for c, e in terms:
        sums[e] = sums.get(e, 0.0) + c
    sums = {e: c for e, c in sums.items() if c != 0}
    if len(sums) < 2:
        return []
    least = min(sums)
    shifted = [(c, e - least) for e, c in sorted(sums.items())]

    def value(s: float) -> float:
        return math.fsum(c * math.exp(e * s) for c, e in shifted)

    marks = [0.0, *sign_changes([(c * e, e) for c, e in shifted if e != 0], end), end]
    found = [s for s in marks[1:-1] if value(s) == 0]
    for left, right in pairwise(marks):
        if value(left) * value(right) < 0:
            found.append(bisect(value, left, right))
    return sorted(found)


def bisect(value, left: float, right: float) -> float:
    """The zero between two places of opposite sign, to the last digit."""
    below = value(left) < 0
    while True:
        middle = (left + right) / 2
        if not left < middle < right:
            return middle
        if (value(middle) < 0) == below:
            left = middle
        else:
            right = middle
