"""Where feeders begin: from a table, the recipe, rows without a parent, or the free ends of segments with a breaker."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from reliability.intake.decisions import NETWORK, Decision
from reliability.intake.device_rows import Devices
from reliability.intake.findings import AMBER, NODE, RED, Findings
from reliability.intake.spans import FROM_A, TO_A, Spans
from reliability.schema.devices import BREAKER

_UNNAMED = "…"
_NAME = f'"{_UNNAMED}"'       # where a feeder's name is to be written
_NAMED = 3                    # nodes in a message
CIRCUIT = ("fault_current_a", "fault_current_three_phase_a", "x_over_r", "system_kv")


@dataclass(frozen=True)
class Sources:
    """Nodes where feeders begin, (m,), each once, and the feeders' names that are stated for each.

    circuit: columns CIRCUIT of each, NaN where nothing is stated.
    """

    nodes: np.ndarray
    feeders: tuple[tuple[str, ...], ...]
    circuit: pd.DataFrame


def find_sources(rows: pd.DataFrame, stated: Mapping[str, tuple[str, ...]], spans: Spans, devices: Devices,
                 findings: Findings) -> tuple[Sources, list[Decision]]:
    """Sources of a network, and what is open about them.

    rows: typed sources. stated: node → feeders of the recipe, nodes of segments all.
    """
    names: dict[int, list[str]] = {}
    nothing = np.full(len(CIRCUIT), np.nan)
    circuit: dict[int, np.ndarray] = {}
    lost: list[str] = []
    numbers_of = rows[list(CIRCUIT)].to_numpy(float)
    pairs = [*zip(rows["node_id"].tolist(), rows["feeder_id"].tolist(), numbers_of, strict=True),
             *((node, feeder, nothing) for node, feeders in stated.items() for feeder in feeders or ("",))]
    roots = source_ends(spans)
    for node, feeder, numbers in pairs:
        at = _node(node, spans, roots)
        if at < 0:
            lost.append(node)
            continue
        names.setdefault(at, [])
        before = circuit.get(at, nothing)
        circuit[at] = np.where(np.isnan(before), numbers, before)
        if feeder and feeder not in names[at]:
            names[at].append(feeder)
    findings.add("topology", "source_nowhere", "Sources whose node no segment has", RED, lost, NODE)
    for code in roots.values():
        names.setdefault(code, [])
    decisions: list[Decision] = []
    if not len(rows) and not roots:
        found, lone, decisions = _by_breakers(spans, devices, np.array(list(names), int))
        names |= {node: [] for node in found}
        findings.add("topology", "source_of_one_span", "Feeders of one span of which nothing says at which end they "
                     "begin: they begin at from_node, or where the line begins. Is it the other one, state it in "
                     "[network] sources", AMBER, [spans.ids[s] for s in lone])
        findings.add("topology", "source_by_breaker", "Sources found as the free end of a segment with a breaker",
                     AMBER, [spans.nodes[n] for n in found], NODE)
    if not names and not decisions:
        nowhere = (f"no source: no segment has a node called {', '.join(lost[:_NAMED])}{' …' * (len(lost) > _NAMED)}, "
                   "where feeders are stated to begin" if lost else
                   "no source: no table of sources, no segment without a parent and no breaker at a free end")
        decisions = _at_shared_nodes(spans, devices) or [
            Decision(NETWORK, "sources", "", "", nowhere,
                     "[network] sources = { NODE = \"FEEDER\" }, or bring a table of node_id and feeder_id")]
    nodes = np.array(list(names), int)
    return Sources(nodes, tuple(tuple(f) for f in names.values()), pd.DataFrame(
        [circuit.get(n, nothing) for n in names], columns=list(CIRCUIT), dtype=float)), decisions


def source_ends(spans: Spans) -> dict[str, int]:
    """Segments that state no parent and no nodes: name → the node at their source end."""
    start = pd.Series(spans.nodes[spans.ends[:, 0]]) if len(spans) else pd.Series([], dtype=object)
    own = (start.astype(str) == "source of " + pd.Series(spans.ids).astype(str)).to_numpy(bool)
    return {str(spans.ids[i]): int(spans.ends[i, 0]) for i in np.flatnonzero(own)}


def _node(name: str, spans: Spans, roots: Mapping[str, int]) -> int:
    """Code of a source's node; of a segment without a parent its source end."""
    return roots[name] if name in roots else spans.node(name)


def _by_breakers(spans: Spans, devices: Devices, stated: np.ndarray) -> tuple[list[int], list[int], list[Decision]]:
    """Free ends of segments with a breaker that has no breaker above, and spans that are a network by themselves of
    which nothing says at which end it begins; where several free ends of one network have a breaker it is open.

    Spans are opened already: what is open ends a network, and a free end is one that no other closed span has. stated:
    nodes that are sources already; nothing is looked for in their networks.
    """
    degree = np.bincount(spans.ends[~spans.open].ravel(), minlength=len(spans.nodes))
    part = _parts(spans)
    unfed = ~np.isin(part, part[stated])
    closed = ~devices.open & (devices.kinds == BREAKER)
    on_span = np.unique(devices.span[closed & (devices.span >= 0)])
    on_span = on_span[unfed[spans.ends[on_span, 0]]]
    at_node = np.unique(devices.node[closed & (devices.node >= 0)])
    at_node = at_node[(degree[at_node] == 1) & unfed[at_node]]
    ends, current = _whole_ends(spans, on_span)
    free = degree[ends] == 1
    at_to = free.all(axis=1) & (current[:, 1] > current[:, 0])      # the larger is nearer the source
    end = np.where(~free[:, 0] | at_to, ends[:, 1], ends[:, 0])
    # the far end of a feeder of one span is free as well; where breakers stand side by side feeders may begin
    beside = free.any(axis=1) & np.isin(ends.sum(axis=1) - end, _shared_nodes(spans, devices)[0])
    found = np.unique(np.concatenate([end[free.any(axis=1) & ~beside], at_node]))
    asked = _at_shared_nodes(spans, devices) if beside.any() else []
    if not found.size:
        return [], [], asked
    lone = on_span[free.all(axis=1) & ~at_to & ~(current[:, 0] > current[:, 1])]
    lone = lone[~np.isin(_whole_ends(spans, lone)[0], at_node).any(axis=1)]
    return [int(n) for n in found], [int(s) for s in lone], [*_several_ends(spans, found, part), *asked]


def _whole_ends(spans: Spans, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(k, 2) nodes at the ends of spans, and the fault currents there; of one that was cut those of the whole."""
    first, last = at.copy(), at.copy()
    cut = np.flatnonzero(spans.piece > 0)
    of_whole = pd.Series(cut, index=spans.whole[cut])
    number = pd.Series(spans.piece[cut], index=spans.whole[cut])
    for k in np.flatnonzero(spans.piece[at] > 0).tolist():
        name = spans.whole[at[k]]
        pieces, order = of_whole.loc[[name]].to_numpy(), number.loc[[name]].to_numpy()
        first[k], last[k] = pieces[np.argmin(order)], pieces[np.argmax(order)]
    current = spans.frame[[FROM_A, TO_A]].to_numpy(float)
    return (np.column_stack([spans.ends[first, 0], spans.ends[last, 1]]),
            np.column_stack([current[first, 0], current[last, 1]]))


def _several_ends(spans: Spans, found: np.ndarray, part: np.ndarray) -> list[Decision]:
    """What to ask where breakers stand at several free ends of one network and no names of feeders tell them apart."""
    feeder = _feeder_at(spans, found)
    decisions = []
    for group in pd.Series(found).groupby(part[found]).groups.values():
        of = found[np.asarray(group)]
        named = {feeder[int(n)] for n in of}
        if len(of) > 1 and len(named - {""}) < len(of):
            decisions += [Decision(NETWORK, "sources", "node", str(spans.nodes[n]),
                                   "a breaker stands at several free ends "
                                   "of one network; which of them is the source is open",
                                   f'[network] sources = {{ "{spans.nodes[n]}" = "{feeder[int(n)] or _UNNAMED}" }}')
                          for n in of]
    return decisions


def _shared_nodes(spans: Spans, devices: Devices) -> tuple[np.ndarray, np.ndarray]:
    """Nodes where breakers stand side by side, all of whose closed spans have one, and how many these are."""
    on_span = np.unique(devices.span[~devices.open & (devices.kinds == BREAKER) & (devices.span >= 0)])
    on_span = on_span[~spans.open[on_span]]
    degree = np.bincount(spans.ends[~spans.open].ravel(), minlength=len(spans.nodes))
    breakers = np.bincount(spans.ends[on_span].ravel(), minlength=len(spans.nodes))
    nodes = np.flatnonzero((breakers == degree) & (breakers > 1))
    return nodes, breakers[nodes]


def _at_shared_nodes(spans: Spans, devices: Devices) -> list[Decision]:
    """What to ask where breakers stand side by side, a question a breaker."""
    counts = {str(spans.nodes[int(n)]): int(many) for n, many in zip(*_shared_nodes(spans, devices), strict=True)}
    text = ", ".join(f'"{node}" = [{", ".join([_NAME] * n)}]' for node, n in counts.items())
    return [Decision(NETWORK, "sources", "node", node, "no source is stated, and several breakers stand at one node: "
                     "whether feeders begin there, and their names, is open", f"[network] sources = {{ {text} }}")
            for node, n in counts.items() for _ in range(n)]


def _parts(spans: Spans) -> np.ndarray:
    """Which connected part each node is in, open spans left out."""
    n, on = len(spans.nodes), ~spans.open
    graph = coo_array((np.ones(on.sum()), (spans.ends[on, 0], spans.ends[on, 1])), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1])


def _feeder_at(spans: Spans, nodes: np.ndarray) -> dict[int, str]:
    """Feeder that the segments name at each of some nodes."""
    feeder = spans.frame["feeder_id"].to_numpy(object)
    names: dict[int, str] = dict.fromkeys(map(int, nodes), "")
    wanted = np.isin(spans.ends, nodes)
    for i, end in zip(*np.nonzero(wanted), strict=True):
        names[int(spans.ends[i, end])] = str(feeder[i])
    return names
