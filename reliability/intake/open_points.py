"""Normally open points: which spans are open, on which side their line hangs, and the ties they make."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.intake.device_rows import Devices, also_named, with_inserted
from reliability.intake.findings import DEVICE, RED, Findings
from reliability.intake.same_tie import one_of_each
from reliability.intake.spans import Spans
from reliability.intake.walk import Walk
from reliability.schema.devices import SWITCH


@dataclass(frozen=True)
class OpenPoint:
    """A place that is open. span: the open span; name: the device's or else the segment's; confirmed: normally open by
    the data or the recipe, not cut by the walk."""

    span: int
    name: str
    confirmed: bool


def open_spans(spans: Spans, devices: Devices, names: Collection[str], findings: Findings
               ) -> tuple[Spans, Devices, list[OpenPoint]]:
    """Spans with those opened that the data or the recipe take as open, and the open points.

    names: segments or devices that the recipe opens, all of them known. An open device at a node splits the node off
    towards one segment.
    """
    wanted = set(names)
    opened = spans.open | np.array([str(i) in wanted for i in spans.ids], bool)
    for name in wanted & set(spans.alias):
        one = spans.alias[name]
        opened |= (spans.whole == spans.whole[one]) if spans.piece[one] else np.arange(len(spans)) == one
    device_open = devices.open | np.array([str(i) in wanted for i in devices.ids], bool)
    device_open[[k for name, k in also_named(devices).items() if name in wanted]] = True
    devices = replace(devices, open=device_open, span=devices.span.copy(), node=devices.node.copy())
    spans = replace(spans, open=opened)
    spans = _split_at_nodes(spans, devices, findings)
    spans.open[devices.span[devices.open & (devices.span >= 0)]] = True
    spans, devices = one_of_each(spans, devices, findings)
    on = np.flatnonzero(devices.open & (devices.span >= 0))
    name_of = dict(zip(devices.span[on[::-1]].tolist(), devices.ids[on[::-1]].tolist(), strict=True))
    points = [OpenPoint(int(s), str(name_of.get(int(s)) or spans.ids[s]), True) for s in np.flatnonzero(spans.open)]
    return spans, devices, points


def open_switches(devices: Devices, cut: np.ndarray) -> Devices:
    """Devices with the switches open that stand on spans where the walk cut a ring: the network is that of a recipe
    which confirms them.

    cut: numbers of those spans.
    """
    return replace(devices, open=devices.open | ((devices.kinds == SWITCH) & np.isin(devices.span, cut)))


def _split_at_nodes(spans: Spans, devices: Devices, findings: Findings) -> Spans:
    """Open devices at nodes as open spans of no length between the node and the one segment beyond them."""
    at = np.flatnonzero(devices.open & (devices.node >= 0) & (devices.span < 0))
    lost = []
    for i in at:
        node = int(devices.node[i])
        beyond = np.flatnonzero((spans.ends == node).any(axis=1))
        if len(beyond) > 2:
            same = spans.phases[beyond] == devices.phases[i]
            if devices.letters[i]:
                same = spans.letters[beyond] == devices.letters[i]
            beyond = beyond[same] if same.sum() == 1 else beyond[:0]
        if not len(beyond):
            lost.append(devices.ids[i])
            continue
        other = int(beyond[-1])
        nodes = spans.nodes.append(pd.Index([f"{spans.nodes[node]} beyond {devices.ids[i]}"]))
        ends = spans.ends.copy()
        ends[other, np.flatnonzero(ends[other] == node)[0]] = len(nodes) - 1
        name = str(devices.ids[i]) or f"open at {spans.nodes[node]}"
        spans = with_inserted(replace(spans, ends=ends), [name], np.array([[node, len(nodes) - 1]]), nodes)
        devices.span[i], devices.node[i] = len(spans) - 1, -1
    findings.add("topology", "open_at_node", "Open devices at a node of several segments: which one they open is not "
                 "known, taken as closed", RED, lost, DEVICE)
    return spans


@dataclass(frozen=True)
class Hung:
    """Lines of open spans and the side they hang on. span: (m,) spans; node: (m,) the energised node they hang on."""

    span: np.ndarray
    node: np.ndarray


def hang(spans: Spans, walked: Walk, points: list[OpenPoint], feeder_at: np.ndarray) -> Hung:
    """The side of each open span that has line or load: that of its feeder's name, else of its from_node, else the one
    that is energised.

    feeder_at: (nodes,) name of the feeder that energises a node, as text.
    """
    carried = [c for c in ("customers", "load_kw", "connected_kva", "equipment_fault_rate") if c in spans.frame]
    load = np.nan_to_num(spans.frame[carried].to_numpy(float)).sum(axis=1)
    stated = spans.frame["feeder_id"].to_numpy(object)
    which, where = [], []
    for point in points:
        s = point.span
        a, b = map(int, spans.ends[s])
        if spans.inserted[s] or (spans.km[s] == 0 and load[s] == 0) or a == b:
            continue
        sides = [n for n in (a, b) if walked.source[n] >= 0]
        named = [n for n in sides if stated[s] and _named(spans, walked, n, str(stated[s]), feeder_at)]
        if sides:
            which.append(s)
            where.append((named if len(named) == 1 else sides)[0])
    return Hung(np.array(which, int), np.array(where, int))


def _named(spans: Spans, walked: Walk, node: int, feeder: str, feeder_at: np.ndarray) -> bool:
    """Whether a side goes by the name of a feeder, as the source or as its segments have it."""
    span = walked.into[node]
    return bool(feeder_at[node] == feeder or (span >= 0 and spans.frame["feeder_id"].to_numpy(object)[span] == feeder))
