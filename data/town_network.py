"""The lines of the invented wooded town: mains out of three substations, branches into the woods, laterals.

A main runs through built-up streets, where laterals are short and carry many customers. Four branches leave it, each
behind single-phase reclosers, and feed laterals of one or two miles under trees. Sources are strong and distances
short, so that few links could be saved by a fast operation: that is why fast tripping is blocked here. Everything is
made up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from demo_routes import BEND, PIECES, TURNS, Plane
from demo_segments import part_of

MAIN, BRANCH, STREET, WOODS, SIDE = "main", "branch", "street lateral", "lateral in the woods", "side line"
STATIONS = {"North Woods": ("N", 3), "Lakeside": ("L", 3), "South Woods": ("S", 2)}     # letter and feeders
PLACES = {"North Woods": (470_000.0, 52_000.0), "Lakeside": (486_000.0, 46_000.0),
          "South Woods": (473_000.0, 36_000.0)}      # metres east and north, at sea as those of the first demo
FIRST_HEADING = {"North Woods": 75.0, "Lakeside": 20.0, "South Woods": 200.0}           # degrees from east
BRANCHES, STREETS, WOODS_A_BRANCH = 4, 10, (4, 7)    # a main, a main, a branch (from, to less one)
SWITCHES = (0.3, 0.62)            # places of the switches along a main, shares of its length
APART = 0.008                     # between two places on one line
CONDUCTORS = {MAIN: "477 ACSR", BRANCH: "3/0 ACSR", STREET: "1/0 ACSR", WOODS: "#2 ACSR", SIDE: "#4 ACSR"}
CABLE, CABLE_SHARE = "1/0 AL XLPE", 0.12             # of laterals in the streets
THREE_PHASE = {STREET: 0.3, WOODS: 0.05}             # shares; the rest has one phase


@dataclass(frozen=True)
class Line:
    """A run of line with one device at its head.

    parent, at: position of the line that it leaves, -1 at a station, and the share of that one's length. trees: class
    of a tree survey. homes, shops, plants: customers by class. route: (p, 2) metres.
    """

    kind: str
    feeder: str
    area: str
    parent: int
    at: float
    km: float
    phases: str
    conductor: str
    trees: str
    homes: int
    shops: int
    plants: int
    route: np.ndarray

    @property
    def customers(self) -> int:
        return self.homes + self.shops + self.plants


class Drawing:
    """Lines as they are drawn, one after the other; later ones keep clear of those that stand."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng, self.plane = rng, Plane()
        self.lines: list[Line] = []
        self.heading: list[float] = []

    def add(self, kind: str, feeder: str, area: str, km: float, parent: int = -1, at: float = 0.0, *, turns: np.ndarray,
            start: np.ndarray | None = None, ahead: float = 0.0, **cells) -> int:
        """Draw one line; returns its position."""
        if parent >= 0:
            start, ahead = part_of(self.lines[parent].route, at, 1.0)[0], self.heading[parent]
        bends = np.cumsum(self.rng.normal(0.0, BEND, PIECES))
        route, heading = self.plane.draw(start, ahead + turns[:, None] + bends - bends[0], km)
        self.heading.append(heading)
        self.lines.append(Line(kind, feeder, area, parent, at, km, route=route, **cells))
        return len(self.lines) - 1


def town_lines(rng: np.random.Generator) -> list[Line]:
    """All lines, parents first."""
    drawing = Drawing(rng)
    feeders = {f"{letter}{k + 1}": (area, FIRST_HEADING[area] + 360.0 * k / count)
               for area, (letter, count) in STATIONS.items() for k in range(count)}
    mains = [_main(drawing, name, *of) for name, of in feeders.items()]
    branches = [branch for main in mains for branch in _branches(drawing, main)]
    for main in mains:
        _streets(drawing, main)
    woods = [lateral for branch in branches for lateral in _woods(drawing, branch)]
    for lateral in woods:
        if rng.random() < 0.14:
            _side(drawing, lateral)
    return drawing.lines


def _main(drawing: Drawing, feeder: str, area: str, heading: float) -> int:
    rng = drawing.rng
    return drawing.add(MAIN, feeder, area, _km(rng.uniform(4.6, 6.4)), start=np.array(PLACES[area]), ahead=heading,
                       turns=np.zeros(1), phases="ABC", conductor=CONDUCTORS[MAIN], trees="FEW",
                       homes=int(rng.integers(40, 80)), shops=int(rng.integers(8, 20)), plants=int(rng.integers(0, 3)))


def _branches(drawing: Drawing, main: int) -> list[int]:
    """Three-phase branches behind single-phase reclosers, into the woods; hardly a shop there."""
    rng, of = drawing.rng, drawing.lines[main]
    return [drawing.add(BRANCH, of.feeder, of.area, _km(rng.uniform(1.3, 2.4)), main, at, turns=TURNS["lateral"],
                        phases="ABC", conductor=CONDUCTORS[BRANCH], trees="SOME", homes=int(rng.integers(8, 24)),
                        shops=int(rng.integers(0, 2)), plants=0)
            for at in _shares(rng, BRANCHES, 0.35, SWITCHES)]


def _streets(drawing: Drawing, main: int) -> None:
    """Short laterals of many customers, some of them cable; shops, and a plant here and there."""
    rng, of = drawing.rng, drawing.lines[main]
    taken = [*SWITCHES, *(line.at for line in drawing.lines if line.parent == main)]
    for at in _shares(rng, STREETS, 0.04, taken):
        three = rng.random() < THREE_PHASE[STREET]
        cable = not three and rng.random() < CABLE_SHARE
        drawing.add(STREET, of.feeder, of.area, _km(rng.uniform(0.15, 0.75)), main, at, turns=TURNS["lateral"],
                    phases="ABC" if three else str(rng.choice(list("ABC"))),
                    conductor=CABLE if cable else CONDUCTORS[STREET], trees="FEW", homes=int(rng.integers(22, 58)),
                    shops=int(rng.binomial(12, 0.55 if three else 0.2)), plants=int(three and rng.random() < 0.2))


def _woods(drawing: Drawing, branch: int) -> list[int]:
    rng, of = drawing.rng, drawing.lines[branch]
    found = []
    for at in _shares(rng, int(rng.integers(*WOODS_A_BRANCH)), 0.15):
        three = rng.random() < THREE_PHASE[WOODS]
        found.append(drawing.add(
            WOODS, of.feeder, of.area, _km(0.9 + rng.gamma(2.4, 0.65)), branch, at, turns=TURNS["lateral"],
            phases="ABC" if three else str(rng.choice(list("ABC"))), conductor=CONDUCTORS[WOODS],
            trees=str(rng.choice(["HEAVY", "SOME"], p=[0.6, 0.4])), homes=int(8 + rng.gamma(3.0, 7.0)),
            shops=int(rng.binomial(4, 0.12)), plants=0))
    return found


def _side(drawing: Drawing, lateral: int) -> None:
    """A fused side line of a lateral."""
    rng, of = drawing.rng, drawing.lines[lateral]
    drawing.add(SIDE, of.feeder, of.area, _km(rng.uniform(0.25, 0.8)), lateral, round(rng.uniform(0.55, 0.95), 3),
                turns=TURNS["branch"], phases=str(rng.choice(list(of.phases))), conductor=CONDUCTORS[SIDE],
                trees=of.trees, homes=int(rng.integers(3, 11)), shops=0, plants=0)


def _shares(rng: np.random.Generator, count: int, first: float, taken: Sequence[float] = ()) -> list[float]:
    """Places along a line from a share of it on, apart from those that are taken."""
    found = []
    for k in range(count):
        at = first + (1.0 - first) * (k + rng.uniform(0.15, 0.85)) / count
        while any(abs(at - other) < APART for other in taken):
            at += APART
        found.append(round(at, 4))
    return found


def _km(km: float) -> float:
    return round(km, 3)
