"""Ties between feeders at normally open points, put on the sections that end there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.intake.findings import AMBER, GREEN, Findings
from reliability.intake.open_points import Hung, OpenPoint
from reliability.intake.placing import Tree
from reliability.intake.spans import Spans
from reliability.intake.walk import Walk


@dataclass(frozen=True)
class Ties:
    """What every open point is, (points,) rows of `frame`: name, segment, kind ("tie", "within", "dead"), feeder_a,
    feeder_b, probability. section, other: (ties, ) sections of the tree that end there and those on the other side.
    line: (ties,) the section is the open segment's own line."""

    frame: pd.DataFrame
    section: np.ndarray
    other: np.ndarray
    probability: np.ndarray
    line: np.ndarray


def find_ties(spans: Spans, walked: Walk, points: list[OpenPoint], hung: Hung, tree: Tree, feeder: np.ndarray,
              stated: Mapping[str, float], findings: Findings) -> Ties:
    """Ties of the open points that the data or the recipe confirm. feeder: (sections,) names. stated: open point →
    chance
    that it can carry the transfer."""
    hangs = dict(zip(hung.span.tolist(), hung.node.tolist(), strict=True))
    root = {int(n): str(feeder[r]) for r in np.flatnonzero(tree.parent < 0)[::-1] for n in (tree.source[r],)}
    own = np.nan_to_num(spans.frame["tie_probability"].to_numpy(float))     # what the open segment itself states
    stated = {str(spans.ids[spans.alias[name]]): p for name, p in stated.items() if name in spans.alias} | dict(stated)
    rows, section, other, chance = [], [], [], []
    line = []
    for point in points:
        if not point.confirmed:
            continue
        ends = [int(n) for n in spans.ends[point.span]]
        sections = [int(tree.of_span[point.span]) if hangs.get(point.span) == n else int(tree.node[n]) for n in ends]
        names = [str(feeder[s]) if s >= 0 else root.get(n, "") if walked.source[n] >= 0 else None
                 for s, n in zip(sections, ends, strict=True)]
        probability = stated.get(point.name, stated.get(str(spans.ids[point.span]), float(own[point.span])))
        kind = "dead" if None in names else "within" if names[0] == names[1] else "tie"
        rows.append((point.name, str(spans.ids[point.span]), kind, names[0] or "", names[1] or "", probability))
        if kind == "tie":
            for a, b in (sections, sections[::-1]):
                if a >= 0:
                    section.append(a)
                    other.append(b)
                    chance.append(probability)
                    line.append(a == tree.of_span[point.span])
    frame = pd.DataFrame(rows, columns=["name", "segment_id", "kind", "feeder_a", "feeder_b", "probability"])
    for key, title, state, kind in (
            ("tie", "Open points between two feeders: ties, with the chance that is stated, else 0", GREEN, "tie"),
            ("tie_within", "Open points within one feeder: no tie", AMBER, "within"),
            ("open_dead", "Open points with a side that is not energised", AMBER, "dead")):
        findings.add("topology", key, title, state, frame["name"][frame["kind"] == kind])
    return Ties(frame, np.array(section, int), np.array(other, int), np.array(chance, float), np.array(line, bool))


def put_ties(frame: pd.DataFrame, ties: Ties) -> np.ndarray:
    """Chances of ties into the sections' frame, the larger where one is stated; (n,) the section on the other side, −1
    for none."""
    stated = frame["tie_probability"].to_numpy(float).copy()
    stated[ties.section[ties.line]] = np.nan    # counted in the tie's chance, which the recipe may have changed
    other = np.full(len(frame), -1)
    for s, o, p in zip(ties.section, ties.other, ties.probability, strict=True):
        stated[s] = max(0.0 if np.isnan(stated[s]) else stated[s], p)
        other[s] = o if other[s] < 0 else other[s]
    frame["tie_probability"] = stated
    return other
