"""Devices of an export, from rows of their own and from the segments' rows, each with the place that it states."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.intake.findings import AMBER, DEVICE, GREEN, RED, Findings
from reliability.intake.kinds import DEVICE_COLUMNS, OPEN
from reliability.intake.spans import Spans, first_by_suffix, phase_columns, rank_by_name, without_suffix
from reliability.schema.devices import BY_NAME, SWITCH
from reliability.schema.problems import Problem, Problems

EXTRA = ("location", "area", "peak_load_a")
ALSO = "also"       # names of rows that became part of a device


@dataclass
class Devices:
    """Devices, (n,) each.

    frame: DEVICE_COLUMNS, EXTRA and ALSO. span: position of the span it stands on, −1 for none; node: code of the
    node where it stands, −1 for none. phases: number, NaN unknown; letters: bits. open: normally open. exact: its
    place is known
    within a segment that was cut.
    """

    frame: pd.DataFrame
    span: np.ndarray
    node: np.ndarray
    phases: np.ndarray
    letters: np.ndarray
    open: np.ndarray
    exact: np.ndarray

    def __len__(self) -> int:
        return len(self.frame)

    @property
    def ids(self) -> np.ndarray:
        """Name of each device, (n,) of text."""
        return self.frame["device_id"].to_numpy(dtype=object)

    @property
    def kinds(self) -> np.ndarray:
        """Kind of each device, (n,) of text; "" for one that is no device of the study."""
        return self.frame["device"].to_numpy(dtype=object)


def also_named(devices: Devices) -> dict[str, int]:
    """Names of rows that became part of a device → its position."""
    return {name: k for k, names in enumerate(devices.frame[ALSO].tolist()) for name in names}


def build_devices(rows: pd.DataFrame, spans: Spans, place: Mapping[str, str], findings: Findings,
                  problems: Problems) -> tuple[Devices, Spans]:
    """Devices with their places, and the spans with one of no length more for each pair of nodes with a device.

    rows: typed devices. place: device → segment, by the recipe, before what the rows state. Refused: one id with
    different contents.
    """
    own = _in_segments(spans)
    rows = _without_copies(rows.reset_index(drop=True), findings, problems)
    placed = np.array([place.get(d, "") for d in rows["device_id"]], dtype=object)
    spans, edge = _between_nodes(rows, placed, spans)
    lookup = _lookup(spans)
    stated = np.where(placed != "", placed, rows["segment_id"].to_numpy(object))
    span = np.where(edge >= 0, edge, _found(stated, lookup))
    node = np.where(span >= 0, -1, _codes(rows["node_id"].to_numpy(object), spans.nodes))
    span, node = _at_poles(rows, spans, span, node)
    span = _named_by_segments(rows, spans, span, node, findings)
    phases, letters = phase_columns(rows["phases"])
    frame = rows[[*DEVICE_COLUMNS, *EXTRA]].assign(**{ALSO: pd.Series([()] * len(rows), dtype=object)})
    exact = rows["exact"].to_numpy(bool) if "exact" in rows else np.zeros(len(rows), bool)
    of_rows = Devices(frame, span, node, phases, letters, (rows["normal_state"] == OPEN).to_numpy(bool), exact)
    devices = _joined(own, _one_a_phase(of_rows, findings))
    nameless = rows["device_id"] == ""
    findings.add("devices", "device_without_id", "Devices without an id: no outage, setting or counter can name them",
                 AMBER, [f"{f}, row {r}" for f, r in zip(rows["file"][nameless], rows["row"][nameless], strict=True)],
                 DEVICE)
    bare = (devices.kinds == "") & ~devices.open
    findings.add("devices", "device_without_kind", "Devices without a kind: no devices of the study", AMBER,
                 devices.ids[bare], DEVICE)
    lost = (devices.span < 0) & (devices.node < 0)
    findings.add("devices", "device_on_nothing", "Devices whose place is not in the network: left out", RED,
                 devices.ids[lost], DEVICE)
    return devices, spans


def take(devices: Devices, at: np.ndarray) -> Devices:
    """Some of the devices."""
    return Devices(devices.frame.iloc[at].reset_index(drop=True), devices.span[at], devices.node[at],
                   devices.phases[at], devices.letters[at], devices.open[at], devices.exact[at])


def _joined(a: Devices, b: Devices) -> Devices:
    def both(name: str) -> np.ndarray:
        return np.concatenate([getattr(a, name), getattr(b, name)])
    return Devices(pd.concat([a.frame, b.frame], ignore_index=True), both("span"), both("node"), both("phases"),
                   both("letters"), both("open"), both("exact"))


def _in_segments(spans: Spans) -> Devices:
    """Devices that stand in the segments' own rows, on the first piece of a segment that was cut."""
    at = np.flatnonzero(((spans.frame["device"] != "") & (spans.piece <= 1)).to_numpy(bool))
    frame = spans.frame.iloc[at][[*DEVICE_COLUMNS]].reset_index(drop=True)
    for name in EXTRA:      # what the segment's row says there is the line's
        frame[name] = np.nan if name == "peak_load_a" else ""
    n = len(at)
    frame[ALSO] = pd.Series([()] * n, dtype=object)
    return Devices(frame, at, np.full(n, -1), spans.phases[at], spans.letters[at], np.zeros(n, bool), np.zeros(n, bool))


def _without_copies(rows: pd.DataFrame, findings: Findings, problems: Problems) -> pd.DataFrame:
    """Rows without those that repeat another; one id with other contents is refused, one a phase excepted."""
    key = [c for c in rows.columns if c not in ("file", "row", "exact")]
    ids = rows["device_id"]
    twice = ids.duplicated(keep=False).to_numpy() & (ids != "").to_numpy(bool)
    if not twice.any():
        return rows
    part = rows[twice]
    again = part[key].astype(str).duplicated(keep="first").to_numpy()
    findings.add("devices", "device_duplicate", "Device rows that repeat another row: counted once", AMBER,
                 part["device_id"][again], DEVICE)
    left = part[~again]
    same_but_phase = left.assign(phases="")[key].astype(str)
    contents = same_but_phase.groupby(list(same_but_phase.columns), sort=False, dropna=False).ngroup()
    other = contents.groupby(left["device_id"]).transform("nunique").to_numpy() > 1
    problems.each(np.flatnonzero(other), lambda k: Problem(
        left["file"].iloc[k], "one id with different contents", "give each device its own id", int(left["row"].iloc[k]),
        "device_id", left["device_id"].iloc[k]))
    return rows.drop(index=part.index[again]).reset_index(drop=True)


def _between_nodes(rows: pd.DataFrame, placed: np.ndarray, spans: Spans) -> tuple[Spans, np.ndarray]:
    """The span on which a device that names two nodes stands, (rows,), −1 for others; new ones of no length.

    Where the two nodes are the ends of a segment already the device stands on it.
    """
    start, end = (rows[c].to_numpy(object) for c in ("from_node", "to_node"))
    edge = np.full(len(rows), -1)
    two = np.flatnonzero((start != "") & (end != "") & (placed == "") & (rows["segment_id"] == "").to_numpy(bool))
    if not two.size:
        return spans, edge
    more = pd.Index(pd.unique(np.concatenate([start[two], end[two]])))
    nodes = spans.nodes.append(more[~more.isin(spans.nodes)])
    a, b = _codes(start[two], nodes), _codes(end[two], nodes)
    scale = len(nodes) + 1
    key = np.minimum(a, b).astype(np.int64) * scale + np.maximum(a, b)
    have = spans.ends.min(axis=1).astype(np.int64) * scale + spans.ends.max(axis=1)
    known = pd.Series(np.arange(len(spans)), index=have)
    known = known[~known.index.duplicated()]
    found = known.reindex(key).fillna(-1).to_numpy(int)
    new, first = np.unique(key[found < 0], return_index=True)
    rows_new = two[np.flatnonzero(found < 0)[first]]
    position = pd.Series(len(spans) + np.arange(len(new)), index=new)
    edge[two] = np.where(found >= 0, found, position.reindex(key).fillna(-1).to_numpy(int))
    taken = set(spans.ids.tolist())
    names = [_free(str(n) or "device", taken) for n in rows["device_id"].to_numpy(object)[rows_new]]
    return with_inserted(spans, names, np.column_stack([new // scale, new % scale]), nodes,
                         start=_codes(start[rows_new], nodes)), edge


def with_inserted(spans: Spans, names: list[str], ends: np.ndarray, nodes: pd.Index,
                  start: np.ndarray | None = None) -> Spans:
    """Spans with more of no length, that hold a device and no line. ends: (n, 2) nodes; start: which of them is
    from."""
    n = len(names)
    if start is not None and n:
        ends = np.where((ends[:, 0] == start)[:, None], ends, ends[:, ::-1])
    added = pd.DataFrame({c: (np.full(n, np.nan) if spans.frame[c].dtype.kind == "f" else np.full(n, "", object))
                          for c in spans.frame.columns if c not in ("row", "piece")})
    added["segment_id"], added["row"], added["length"] = pd.Series(names, dtype=object), 0, 0.0
    added["whole"], added["own"], added["piece"] = added["segment_id"], added["segment_id"], 0
    frame = pd.concat([spans.frame, added], ignore_index=True)
    return Spans(frame, np.concatenate([spans.ends, ends.reshape(-1, 2)]), nodes,
                 np.concatenate([spans.phases, np.full(n, np.nan)]), np.concatenate([spans.letters, np.zeros(n, int)]),
                 np.concatenate([spans.open, np.zeros(n, bool)]), np.concatenate([spans.inserted, np.ones(n, bool)]),
                 np.concatenate([spans.piece, np.zeros(n, int)]), spans.alias,
                 None if spans.routes is None else [*spans.routes, *[None] * n])


def _free(name: str, taken: set[str]) -> str:
    """A name that no other section has: the name itself, else with a number."""
    result, number = name, 1
    while result in taken:
        number += 1
        result = f"{name} ({number})"
    taken.add(result)
    return result


def _lookup(spans: Spans) -> dict[str, int]:
    """Segment's name → position of its span, the first piece where it was cut; names of merged rows too."""
    line = np.flatnonzero(~spans.inserted)
    return spans.alias | dict(zip(spans.ids[line].tolist(), line.tolist(), strict=True))


def _found(names: np.ndarray, lookup: Mapping[str, int]) -> np.ndarray:
    return np.array([lookup.get(n, -1) if n else -1 for n in names.tolist()], int).reshape(len(names))


def _codes(names: np.ndarray, nodes: pd.Index) -> np.ndarray:
    found = nodes.get_indexer(pd.Index(names, dtype=object)) if len(names) else np.zeros(0, int)
    return np.where(names == "", -1, found)


def pole_places(spans: Spans) -> tuple[dict[str, int], dict[str, int]]:
    """Pole → span that names it, and pole → node where it stands."""
    at_node: dict[str, int] = {}
    for column, end in (("from_pole", 0), ("to_pole", 1)):
        names = spans.frame[column].to_numpy(object)
        some = np.flatnonzero(names != "")
        at_node |= dict(zip(names[some].tolist(), spans.ends[some, end].tolist(), strict=True))
    on_span: dict[str, int] = {}
    for column in ("location", "pole_id"):
        names = spans.frame[column].to_numpy(object)
        some = np.flatnonzero(names != "")[::-1]
        on_span |= dict(zip(names[some].tolist(), some.tolist(), strict=True))
    return on_span, at_node


def _at_poles(rows: pd.DataFrame, spans: Spans, span: np.ndarray, node: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places of the devices that name a pole alone."""
    poles = rows["pole_id"].to_numpy(object)
    open_ = (span < 0) & (node < 0) & (poles != "")
    if open_.any():
        on_span, at_node = pole_places(spans)
        node = np.where(open_, _found(poles, at_node), node)
        span = np.where(open_ & (node < 0), _found(poles, on_span), span)
    return span, node


def _named_by_segments(rows: pd.DataFrame, spans: Spans, span: np.ndarray, node: np.ndarray, findings: Findings
                       ) -> np.ndarray:
    """Spans of the devices, those that state no place on the one segment that names them; listed are segments that
    name a device of which no row says what it is."""
    names = spans.frame["device_id"].to_numpy(object)
    at = np.flatnonzero((names != "") & (spans.frame["device"] == "").to_numpy(bool) & (spans.piece <= 1))
    known = set(rows["device_id"].tolist())
    findings.add("devices", "device_of_segment_unknown", "Segments that name a device of which no table says what it "
                 "is: no devices of the study", AMBER,
                 [f"{names[k]} ({spans.ids[k]})" for k in at if names[k] not in known], DEVICE)
    once = pd.Series(at, index=names[at])
    once = once[~once.index.duplicated(keep=False)]
    bare = (rows[["segment_id", "node_id", "pole_id", "from_node", "to_node"]] == "").all(axis=1).to_numpy(bool)
    open_ = bare & (span < 0) & (node < 0)
    return np.where(open_, once.reindex(rows["device_id"]).fillna(-1).to_numpy(int), span)


def _one_a_phase(devices: Devices, findings: Findings) -> Devices:
    """One device of the rows that are its phases: ids that differ by a phase suffix, or one id, at one node."""
    first, suffixed = first_by_suffix(devices.ids, _by_letter(devices))
    named = pd.Series(np.where(suffixed, first, devices.ids))
    key = pd.DataFrame({"id": named, "span": devices.span, "node": devices.node, "kind": devices.kinds})
    group = key.groupby(["id", "span", "node", "kind"], sort=False).ngroup().to_numpy()
    lone = (devices.ids == "") | (key.groupby(group)["id"].transform("size").to_numpy() == 1)
    if lone.all():
        return devices
    rank = rank_by_name(devices.ids)
    lowest = pd.Series(rank).groupby(group).transform("min").to_numpy(int)
    leader = np.where(lone, np.arange(len(devices)), np.argsort(rank)[lowest])
    letters, opened = devices.letters.copy(), devices.open.copy()
    np.bitwise_or.at(letters, leader, devices.letters)
    np.logical_or.at(opened, leader, devices.open)
    size = np.bincount(leader, minlength=len(devices))
    bits = np.array([bin(b).count("1") for b in range(8)])
    phases = np.where(letters > 0, bits[letters], np.where(size > 1, np.minimum(size, 3), devices.phases))
    keep = np.flatnonzero(leader == np.arange(len(devices)))
    also = devices.frame[ALSO].to_numpy(object).copy()
    own, base = set(devices.ids.tolist()), _without_phases(devices)
    for i in np.flatnonzero(leader != np.arange(len(devices))):
        common = (base[i],) if base[i] not in own and base[i] not in also[leader[i]] else ()
        also[leader[i]] = (*also[leader[i]], str(devices.ids[i]), *common)
    devices = replace(devices, frame=devices.frame.assign(**{ALSO: pd.Series(also, dtype=object)}))
    findings.add("devices", "device_phases", "Rows of one device for each phase: one device", GREEN,
                 devices.ids[leader != np.arange(len(devices))], DEVICE)
    return take(replace(devices, phases=phases, letters=letters, open=opened), keep)


def _by_letter(devices: Devices) -> np.ndarray:
    return np.array(["" if not b else _letters(b) for b in devices.letters], object)


def _without_phases(devices: Devices) -> list[str]:
    """What each device is called where its rows are one: its id without the suffix that names its phase."""
    return [str(name) for name in without_suffix(devices.ids, _by_letter(devices))]


def _letters(bits: int) -> str:
    return "".join(letter for letter, bit in zip("ABC", (1, 2, 4), strict=True) if bits & bit)


def with_switch(spans: Spans, devices: Devices) -> np.ndarray:
    """(spans,) whether a switch stands on a span, or at a node between it and one other."""
    switches = devices.kinds == SWITCH
    found = np.zeros(len(spans), bool)
    found[devices.span[switches & (devices.span >= 0)]] = True
    for node in devices.node[switches & (devices.span < 0) & (devices.node >= 0)].tolist():
        beside = np.flatnonzero((spans.ends == node).any(axis=1))
        if len(beside) == 2:
            found[beside[1]] = True
    return found


def on_entry(devices: Devices, spans: Spans, order: np.ndarray) -> Devices:
    """Devices of a segment that was cut on the piece nearest the source. order: fed spans, outwards from the
    sources."""
    if not spans.piece.any():
        return devices
    place = np.full(len(spans), len(order))
    place[order] = np.arange(len(order))
    cut = np.flatnonzero(spans.piece > 0)
    first = pd.DataFrame({"whole": spans.whole[cut], "span": cut, "place": place[cut]}).sort_values("place")
    entry = first.drop_duplicates("whole").set_index("whole")["span"]
    at = np.flatnonzero((devices.span >= 0) & ~devices.exact)
    at = at[spans.piece[devices.span[at]] > 0]
    span = devices.span.copy()
    span[at] = entry.reindex(spans.whole[devices.span[at]]).to_numpy(int)
    return replace(devices, span=span)


def is_device(kinds: np.ndarray) -> np.ndarray:
    """Whether names are devices of the study, (n,) bool."""
    return np.isin(kinds.astype(str), list(BY_NAME))
