"""Devices on the spans that they head, and the sections of no length that further devices need."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from reliability.intake.device_rows import ALSO, EXTRA, Devices, is_device
from reliability.intake.findings import AMBER, DEVICE, RED, Findings
from reliability.intake.kinds import DEVICE_COLUMNS
from reliability.intake.spans import Spans
from reliability.schema.devices import BREAKER, DEVICE_TABLE, FUSE, SOURCE_DEVICES

# Source first, of several on one segment: what recloses, what counts it, what melts, and last what does neither.
DEVICE_ORDER = tuple(d.name for d in sorted(DEVICE_TABLE, key=lambda d: (not d.recloses, not d.counts, not d.melts)))
ON_LINE, ON_SPAN, ON_NODE, AT_SOURCE = 0, 1, 2, 3


@dataclass
class Tree:
    """Sections before any are merged, (n,) each: the fed spans, then sections of no length.

    span: the span a section is, or stands on or before (−1 at a source). parent: section that feeds it, −1 at a source.
    why: ON_LINE, or what a section of no length is for. names: those of sections of no length. device: DEVICE_COLUMNS
    and EXTRA of the device that heads each section. node: (nodes,) section whose end a node is. source: source node of
    each section that has no parent, −1 else. device_at: device's name → section. kinds: (n,) device of each section.
    """

    span: np.ndarray
    parent: np.ndarray
    why: np.ndarray
    names: dict[int, str]
    device: pd.DataFrame
    node: np.ndarray
    source: np.ndarray
    of_span: np.ndarray
    device_at: dict[str, int] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.span)

    @property
    def kinds(self) -> np.ndarray:
        """Device at the head of each section, (n,) of text."""
        return self.device["device"].to_numpy(dtype=object)


def place_devices(spans: Spans, up: np.ndarray, into: np.ndarray, fed: np.ndarray, devices: Devices,
                  findings: Findings) -> Tree:
    """Sections with their devices.

    up: (spans,) node at the source's side of each fed span. into: (nodes,) span that arrives at each node. fed:
    positions of the fed spans, each after the one that feeds it, lines that hang on an open point included.
    """
    n = len(fed)
    of_span = np.full(len(spans), -1)
    of_span[fed] = np.arange(n)
    arriving = into[up[fed]]
    parent = np.where(arriving >= 0, of_span[arriving], -1)
    used, span_of, node_of = _where(spans, devices, up, fed, findings)
    table = pd.DataFrame({"device": used, "section": np.where(span_of >= 0, of_span[span_of], -1), "node": node_of,
                          "rank": _rank(devices.kinds[used])})
    on_span = _one_a_kind(table[table["section"] >= 0], "section", devices, findings)
    at_node = _one_a_kind(table[table["section"] < 0], "node", devices, findings)
    return _with_chains(spans, up, into, fed, of_span, parent, devices, on_span, at_node, findings)


def _rank(kinds: np.ndarray) -> np.ndarray:
    return np.array([DEVICE_ORDER.index(k) for k in kinds.tolist()], int).reshape(len(kinds))


def _where(spans: Spans, devices: Devices, up: np.ndarray, fed: np.ndarray, findings: Findings
           ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Devices that are placed, the span that each heads (−1: it heads all beyond its node), and that node."""
    live = np.zeros(len(spans) + 1, bool)
    live[fed] = True
    closed = ~devices.open & is_device(devices.kinds)
    on = closed & (devices.span >= 0)
    dead = on & ~live[devices.span]
    span = np.where(on & live[devices.span], devices.span, -1)
    node = np.full(len(devices), -1)
    by_node = fed[np.argsort(up[fed], kind="stable")]
    starts = up[by_node]
    lost = np.flatnonzero(dead).tolist()
    for i in np.flatnonzero(closed & (devices.span < 0) & (devices.node >= 0)):
        beyond = by_node[np.searchsorted(starts, devices.node[i]):np.searchsorted(starts, devices.node[i], "right")]
        if not len(beyond):
            lost.append(int(i))
            continue
        one = matching(spans, devices, int(i), beyond)
        span[i], node[i] = one, -1 if one >= 0 else devices.node[i]
    findings.add("devices", "device_not_fed", "Devices on nothing that is energised: left out", RED,
                 devices.ids[np.array(lost, int)], DEVICE)
    placed = np.flatnonzero((span >= 0) | (node >= 0))
    findings.add("devices", "device_heads_all", "Devices at a node of several segments: on a section of no length that "
                 "heads them all", AMBER, devices.ids[placed[span[placed] < 0]], DEVICE)
    return placed, span[placed], node[placed]


def matching(spans: Spans, devices: Devices, i: int, beyond: np.ndarray) -> int:
    """The one span beyond a device's node whose phases match, −1 where there is none or several."""
    if len(beyond) == 1:
        return int(beyond[0])
    if np.isnan(devices.phases[i]):
        return -1
    same = spans.phases[beyond] == devices.phases[i]
    if devices.letters[i] and spans.letters[beyond].all():
        same = spans.letters[beyond] == devices.letters[i]
    return int(beyond[same][0]) if same.sum() == 1 else -1


def _one_a_kind(table: pd.DataFrame, place: str, devices: Devices, findings: Findings) -> pd.DataFrame:
    """One row a place and kind, in the order of DEVICE_ORDER: several of a kind there are one, the others aliases."""
    table = table.sort_values([place, "rank", "device"], kind="stable")
    first = ~table.duplicated([place, "rank"]).to_numpy()
    lead = table["device"].to_numpy()[first]
    group = np.cumsum(first) - 1
    others = table["device"].to_numpy()[~first]
    findings.add("devices", "alias", "Devices of one kind at one place: one device, these names stand for it too",
                 AMBER,
                 devices.ids[others], DEVICE)
    result = table[first].copy()
    members = pd.Series(table["device"].to_numpy()).groupby(group).agg(list)
    result["members"] = [members[k] for k in range(len(lead))]
    return result


def _with_chains(spans: Spans, up: np.ndarray, into: np.ndarray, fed: np.ndarray, of_span: np.ndarray,
                 parent: np.ndarray, devices: Devices, on_span: pd.DataFrame, at_node: pd.DataFrame,
                 findings: Findings) -> Tree:
    """The sections with their devices: the last kind on a segment heads it, each one before it a section of no
    length."""
    n = len(fed)
    last = ~on_span.duplicated("section", keep="last").to_numpy()
    further, nodes = on_span[~last], at_node
    count = n + len(further) + len(nodes)
    head = np.full(count, -1)                           # device of each section
    head[on_span["section"].to_numpy()[last]] = on_span["device"].to_numpy()[last]
    span = np.concatenate([fed, fed[further["section"].to_numpy(int)], np.full(len(nodes), -1)])
    why = np.concatenate([np.full(n, ON_LINE), np.full(len(further), ON_SPAN), np.full(len(nodes), ON_NODE)])
    head[n:n + len(further)] = further["device"].to_numpy(int)
    head[n + len(further):] = nodes["device"].to_numpy(int)
    above = np.concatenate([parent, np.full(count - n, -1)])
    _chain_nodes(nodes, n + len(further), above, up, into, fed, of_span)
    _chain_spans(further, n, above)
    names = {n + k: str(devices.ids[d]) for k, d in enumerate(head[n:].tolist())}
    device = _device_frame(devices, head, on_span, at_node)
    source = np.where(above < 0, np.concatenate([up[fed], up[fed[further["section"].to_numpy(int)]],
                                                 nodes["node"].to_numpy(int)]), -1)
    node = np.where(into >= 0, of_span[into], -1)
    tree = Tree(span, above, why, names, device, node, source, of_span)
    place = dict(zip(head[head >= 0].tolist(), np.flatnonzero(head >= 0).tolist(), strict=True))
    also = devices.frame[ALSO].to_numpy(dtype=object)
    for row in pd.concat([on_span["members"], at_node["members"]]).tolist():
        for d in row:
            for name in (str(devices.ids[d]), *also[d]):
                tree.device_at[name] = place[row[0]]
    beside = on_span["section"].to_numpy()[on_span.duplicated("section", keep=False).to_numpy()
                                           & (on_span["rank"] == DEVICE_ORDER.index(FUSE)).to_numpy()]
    findings.add("devices", "fuse_beside", "Fuses beside another device on one segment", AMBER,
                 spans.ids[fed[np.unique(beside)]])
    return tree


def _chain_spans(further: pd.DataFrame, start: int, above: np.ndarray) -> None:
    """Put the sections of no length of each segment between it and what feeds it."""
    section = further["section"].to_numpy(int)
    k = np.arange(len(section))
    first = np.r_[True, section[1:] != section[:-1]] if len(section) else np.zeros(0, bool)
    feeding = above[section]
    above[start + k] = np.where(first, feeding, start + k - 1)
    end = np.r_[section[1:] != section[:-1], True] if len(section) else np.zeros(0, bool)
    above[section[end]] = (start + k)[end]


def _chain_nodes(nodes: pd.DataFrame, start: int, above: np.ndarray, up: np.ndarray, into: np.ndarray, fed: np.ndarray,
                 of_span: np.ndarray) -> None:
    """Put the sections of no length at nodes between what arrives there and all that begins there."""
    node = nodes["node"].to_numpy(int)
    if not len(node):
        return
    k = np.arange(len(node))
    first = np.r_[True, node[1:] != node[:-1]]
    end = np.r_[node[1:] != node[:-1], True]
    arriving = np.where(into[node] >= 0, of_span[into[node]], -1)
    above[start + k] = np.where(first, arriving, start + k - 1)
    lowest = np.full(len(into), -1)
    lowest[node[end]] = (start + k)[end]
    headed = lowest[up[fed]] >= 0
    above[:len(fed)][headed] = lowest[up[fed]][headed]


def _device_frame(devices: Devices, head: np.ndarray, *placed: pd.DataFrame) -> pd.DataFrame:
    """Columns of the device that heads each section; of devices that are one the first cell that is not blank."""
    source = devices.frame.copy()
    source = source.drop(columns=ALSO)
    several = [m for table in placed for m in table["members"].tolist() if len(m) > 1]
    for name in (*DEVICE_COLUMNS, *EXTRA) if several else ():
        column = source[name].to_numpy(copy=True)
        for row in several:
            column[row[0]] = next((c for c in column[row] if c == c and c != ""), column[row[0]])
        source[name] = pd.Series(column, dtype=source[name].dtype)
    blank = {c: (np.nan if source[c].dtype.kind == "f" else "") for c in source.columns}
    source = pd.concat([source, pd.DataFrame([blank], columns=source.columns)], ignore_index=True)
    return source.iloc[np.where(head >= 0, head, len(source) - 1)].reset_index(drop=True)


def head_sources(tree: Tree, names: dict[int, str], findings: Findings) -> tuple[Tree, np.ndarray]:
    """A breaker of no length for every group of trees without a breaker or recloser; the root of each section.

    names: root section without a parent → the group (a feeder's name) it belongs to.
    """
    roots = np.flatnonzero(tree.parent < 0)
    bare = roots[~np.isin(tree.kinds[roots].astype(str), SOURCE_DEVICES)]
    groups = pd.DataFrame({"source": tree.source[bare], "name": [names[int(r)] for r in bare], "root": bare})
    made = groups.drop_duplicates(["source", "name"]).reset_index(drop=True)
    new = len(tree) + np.arange(len(made))
    key = dict(zip(zip(made["source"], made["name"], strict=True), new.tolist(), strict=True))
    parent = np.concatenate([tree.parent, np.full(len(made), -1)])
    for source, name, root in groups.itertuples(index=False):
        parent[root] = key[(source, name)]
    blank = tree.device.iloc[:1].copy()
    for c in blank.columns:
        blank[c] = np.nan if blank[c].dtype.kind == "f" else ""
    more = pd.concat([blank] * len(made), ignore_index=True) if len(made) else blank.iloc[:0]
    more["device"] = BREAKER if len(made) else more["device"]
    source = np.where(parent < 0, np.concatenate([tree.source, made["source"].to_numpy(int)]), -1)
    findings.add("topology", "no_breaker", "Sources without a breaker or recloser: a breaker of no length added", AMBER,
                 made["name"])
    result = Tree(np.concatenate([tree.span, np.full(len(made), -1)]), parent,
                  np.concatenate([tree.why, np.full(len(made), AT_SOURCE)]),
                  tree.names | dict(zip(new.tolist(), made["name"], strict=True)),
                  pd.concat([tree.device, more], ignore_index=True), tree.node, source, tree.of_span, tree.device_at)
    return result, root_of(parent)


def root_of(parent: np.ndarray) -> np.ndarray:
    """Root of each section, by doubling the steps upwards."""
    jump = np.where(parent >= 0, parent, np.arange(len(parent)))
    while True:
        further = jump[jump]
        if np.array_equal(further, jump):
            return jump
        jump = further
