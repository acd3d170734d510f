"""Ties between feeders at normally open points, put on the sections that end there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.intake.device_rows import Devices, also_named
from reliability.intake.findings import AMBER, GREEN, Findings
from reliability.intake.open_points import Hung, OpenPoint
from reliability.intake.placing import Tree
from reliability.intake.recipe_names import idle_ties
from reliability.intake.spans import Spans
from reliability.intake.walk import Walk
from reliability.schema.problems import Problems


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
              stated: Mapping[str, float], devices: Devices, findings: Findings) -> Ties:
    """Ties of the open points that the data or the recipe confirm. feeder: (sections,) names. stated: open point →
    chance that it can carry the transfer; StudyError where it is none."""
    hangs = dict(zip(hung.span.tolist(), hung.node.tolist(), strict=True))
    root = {int(n): str(feeder[r]) for r in np.flatnonzero(tree.parent < 0)[::-1] for n in (tree.source[r],)}
    own = np.nan_to_num(spans.frame["tie_probability"].to_numpy(float))     # what the open segment itself states
    chances = _of_points(stated, points, spans, devices)
    rows, section, other, chance = [], [], [], []
    line = []
    for point in points:
        if not point.confirmed:
            continue
        ends = [int(n) for n in spans.ends[point.span]]
        sections = [int(tree.of_span[point.span]) if hangs.get(point.span) == n else int(tree.node[n]) for n in ends]
        names = [str(feeder[s]) if s >= 0 else root.get(n, "") if walked.source[n] >= 0 else None
                 for s, n in zip(sections, ends, strict=True)]
        probability = chances.get(point.span, float(own[point.span]))
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


def _of_points(stated: Mapping[str, float], points: list[OpenPoint], spans: Spans, devices: Devices
               ) -> dict[int, float]:
    """Span of an open point → its chance, that under its own name before those under names of its segment and of other
    devices on it."""
    on_span = {name: int(devices.span[k]) for name, k in
               {**also_named(devices), **{str(d): k for k, d in enumerate(devices.ids)}}.items()}
    on_span |= spans.alias | {str(name): k for k, name in enumerate(spans.ids)}
    confirmed = [p for p in points if p.confirmed]
    own, spans_open = {p.name: p.span for p in confirmed}, {p.span for p in confirmed}
    of = {name: own.get(name, on_span.get(name, -1)) for name in stated}
    problems = Problems()
    cut = {p.span for p in points} - spans_open
    idle_ties([name for name in stated if of[name] not in spans_open], own,
              [name for name in stated if of[name] in cut], problems)
    problems.raise_if_any()
    ordered = sorted(stated, key=lambda name: name in own)
    return {of[name]: stated[name] for name in ordered}


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
