"""Names of feeders: every breaker-headed tree from one node is a feeder of its own, the source's name before others."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
import pandas as pd

from reliability.intake.findings import AMBER, Findings
from reliability.intake.placing import Tree, root_of
from reliability.intake.sources import Sources
from reliability.intake.spans import Spans
from reliability.schema.devices import SOURCE_DEVICES


def feeder_names(tree: Tree, spans: Spans, sources: Sources, findings: Findings) -> dict[int, str]:
    """Name of the feeder of each section without a parent; trees without a breaker share one name where they share a
    source. "" where nothing names a feeder that begins with a device."""
    of_root: dict[int, list[str]] = {}
    for name, section in tree.device_at.items():
        of_root.setdefault(int(section), []).append(str(name))
    in_order: list[str] = []
    roots = np.flatnonzero(tree.parent < 0)
    stated = _most_stated(tree, spans)
    headed = np.isin(tree.kinds[roots].astype(str), SOURCE_DEVICES)
    given = dict(zip(sources.nodes.tolist(), sources.feeders, strict=True))
    names: dict[int, str] = {}
    for node, at in pd.Series(np.arange(len(roots))).groupby(tree.source[roots]).groups.items():
        here = roots[np.asarray(at)]
        names |= _at_source(str(spans.nodes[int(str(node))]), list(given.get(int(str(node)), ())),
                            {int(r): stated.get(int(r), "") for r in here},
                            [int(r) for r in here[headed[np.asarray(at)]]], of_root, in_order)
    findings.add("topology", "feeders_in_order", "Feeders of one source of which no name says which is which: named in "
                 "the order of the source's rows. Is it otherwise, name the feeders of their segments", AMBER, in_order,
                 "feeder")
    return names


def _at_source(node: str, given: list[str], stated: dict[int, str], headed: list[int],
               devices: Mapping[int, list[str]], in_order: list[str]) -> dict[int, str]:
    """Names of the trees of one source. given: the source's names; stated: root → what its segments say; devices: root
    → names of its device. in_order: gets those that were given in the order of the source's rows alone."""
    bare = [r for r in stated if r not in headed]
    if not given:
        of_headed = {r: stated[r] for r in headed}
        return of_headed | {r: stated[r] or node for r in bare}
    units: list[list[int]] = [[r] for r in headed]
    by_name: dict[str, list[int]] = {}
    for r in bare:
        by_name.setdefault(stated[r] if len(given) > 1 and stated[r] in given else "", []).append(r)
    units += list(by_name.values())
    names: dict[int, str] = {}
    left = list(given)
    for wanted in (given, None):
        for unit in units:
            name = stated[unit[0]]
            if unit[0] in names or not name or (wanted is not None and name not in left) or len(units) == 1:
                continue
            if wanted is None and (name in names.values() or len(left) >= sum(u[0] not in names for u in units)):
                continue
            names |= dict.fromkeys(unit, name)
            left = [g for g in left if g != name]
    for root, name in _by_words([u for u in units if u[0] not in names], left, stated, devices).items():
        names[root] = name
        left.remove(name)
    if len(left) > 1 and sum(unit[0] not in names for unit in units) > 1:
        in_order += left
    number = 1
    for unit in units:
        if unit[0] not in names:
            one = stated[unit[0]] if len(units) == 1 and stated[unit[0]] in left else left[0] if left else ""
            while not one:
                number += 1
                one = f"{given[0]} ({number})" if f"{given[0]} ({number})" not in names.values() else ""
            names |= dict.fromkeys(unit, one)
            left = [g for g in left if g != one]
    return names


def _by_words(units: list[list[int]], left: list[str], stated: Mapping[int, str], devices: Mapping[int, list[str]]
              ) -> dict[int, str]:
    """Root of a unit → the one name left that its device's name or its segments' feeder holds as a word of its own, or
    the other way round; each once."""
    found: dict[int, str] = {}
    for unit in units:
        own = [n for n in (stated[unit[0]], *devices.get(unit[0], ())) if n]
        held = [g for g in left if any(_holds(g, name) or _holds(name, g) for name in own)]
        if len(held) == 1 and len(unit) == 1:
            found[unit[0]] = held[0]
    taken = list(found.values())
    return {r: g for r, g in found.items() if taken.count(g) == 1}


def _holds(text: str, word: str) -> bool:
    """Whether a name holds another as a word of its own, F1 of CB-F1 and not of CB-F10."""
    return re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text, re.IGNORECASE) is not None


def _most_stated(tree: Tree, spans: Spans) -> dict[int, str]:
    """The feeder that most segments of each tree name, "" left out."""
    feeder = spans.frame["feeder_id"].to_numpy(object)
    line = np.flatnonzero(tree.span >= 0)
    named = line[feeder[tree.span[line]] != ""]
    counts = pd.DataFrame({"root": root_of(tree.parent)[named], "feeder": feeder[tree.span[named]]})
    sizes = counts.groupby(["root", "feeder"], sort=False).size().reset_index(name="n")
    most = sizes.sort_values("n", ascending=False, kind="stable").drop_duplicates("root")
    return dict(zip(most["root"].tolist(), most["feeder"].tolist(), strict=True))


def note_renamed(tree: Tree, spans: Spans, feeder: np.ndarray, findings: Findings) -> None:
    """List segments that name another feeder than the one that feeds them. feeder: (n,) of each section."""
    line = np.flatnonzero((tree.span >= 0) & (tree.why == 0))
    stated = spans.frame["feeder_id"].to_numpy(object)[tree.span[line]]
    other = (stated != "") & (stated != feeder[line]) & (feeder[line] != "")
    findings.add("topology", "feeder_renamed",
                 "Segments that name another feeder than the source does: the source's holds",
                 AMBER, spans.ids[tree.span[line[other]]])
