"""Spans of line between nodes: rows of segments joined by their ids, phase conductors of one span made one."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from reliability.intake.findings import AMBER, GREEN, Findings
from reliability.intake.kinds import OPEN, SUMMED_COLUMNS
from reliability.intake.words import phases_of
from reliability.schema.problems import Problem, Problems

_SUFFIX = re.compile(r"^(.*?)[\s_\-./:]*([ABCabc]{1,3})$")
FROM_A, TO_A = "fault_current_from_a", "fault_current_to_a"
UNLIKE = 0.01           # of the longer: beyond it conductors of one span differ in length. Our choice


@dataclass
class Spans:
    """Spans with their nodes, (n,) each.

    frame: columns of the segments, of the first row of each span. ends: (n, 2) nodes at from and to. nodes: names.
    phases: number, NaN unknown; letters: bits A 1, B 2, C 4, 0 unknown. open: normally open. inserted: a device between
    two nodes, no line. piece: place among the pieces of a segment that was cut where a tap touches it, else 0.
    alias: names of rows that became part of a span → its position, of a piece where it was cut. routes: (points, 2) in
    degrees, None without.
    """

    frame: pd.DataFrame
    ends: np.ndarray
    nodes: pd.Index
    phases: np.ndarray
    letters: np.ndarray
    open: np.ndarray
    inserted: np.ndarray
    piece: np.ndarray
    alias: dict[str, int] = field(default_factory=dict)
    routes: list[np.ndarray | None] | None = None

    def __len__(self) -> int:
        return len(self.frame)

    @property
    def ids(self) -> np.ndarray:
        """Name of each span, (n,) of text."""
        return self.frame["segment_id"].to_numpy(dtype=object)

    @property
    def whole(self) -> np.ndarray:
        """Name of each span's segment, (n,) of text: another than its own where the segment was cut."""
        return self.frame["whole"].to_numpy(dtype=object)

    @property
    def km(self) -> np.ndarray:
        """Length of each span, a missing one being 0."""
        return np.nan_to_num(self.frame["length"].to_numpy(float))

    def node(self, name: str) -> int:
        """Code of a node, −1 where there is none of that name."""
        found = self.nodes.get_indexer(pd.Index([name]))
        return int(found[0])


def phase_columns(words: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Number of phases (NaN unknown) and their letters as bits, from words that have a meaning."""
    codes, distinct = pd.factorize(words)
    read = [phases_of(w) or (np.nan, 0) for w in distinct] or [(np.nan, 0)]
    return np.array([p for p, _ in read], float)[codes], np.array([b for _, b in read], np.int64)[codes]


def build_spans(frame: pd.DataFrame, routes: list[np.ndarray | None] | None, by_parent: Collection[str],
                findings: Findings, problems: Problems) -> Spans:
    """Spans of segments whose ends are named; see `Spans`.

    frame: typed segments, with `from_node` and `to_node` filled where geometry has given them, else with `parent_id`;
    `piece` and `whole` where a segment was cut. by_parent: names of the tables whose rows name their parent.
    Refused: one id with different ends or contents.
    """
    frame = frame.reset_index(drop=True).assign(own=frame["segment_id"].to_numpy(object))
    blank = np.flatnonzero((frame["segment_id"] == "").to_numpy(bool))
    problems.each(blank, lambda i: Problem(frame["file"][i], "a segment needs an id", "fill it in",
                                           int(frame["row"][i]),
                                           "segment_id", ""))
    frame = _with_ends(frame, by_parent, findings)
    piece = frame["piece"].to_numpy(int)
    codes, names = pd.factorize(np.concatenate([frame["from_node"].to_numpy(object),
                                                frame["to_node"].to_numpy(object)]))
    ends = codes.reshape(2, -1).T.copy()
    phases, letters = phase_columns(frame["phases"])
    opened = (frame["normal_state"] == OPEN).to_numpy(bool)
    spans = Spans(frame, ends, pd.Index(names), phases, letters, opened, np.zeros(len(frame), bool), piece, {}, routes)
    loops = ends[:, 0] == ends[:, 1]
    findings.add("topology", "loop", "Segments that begin and end at one node: dropped", AMBER, spans.ids[loops],
                 km=float(spans.km[loops].sum()))
    return _conductors(spans, findings, problems)


def _with_ends(frame: pd.DataFrame, parent_tables: Collection[str], findings: Findings) -> pd.DataFrame:
    """Every row with two node names: parents make nodes of the segments' names, poles stand for nodes where neither is
    named, a missing end is one of its own."""
    start, end = (frame[c].to_numpy(object) for c in ("from_node", "to_node"))
    ids = frame["segment_id"].to_numpy(object)
    by_parent = (start == "") & (end == "") & frame["file"].isin(list(parent_tables)).to_numpy(bool)
    parents = frame["parent_id"].to_numpy(object)
    if by_parent.any():
        parents = _same_base_parents(frame, by_parent)
        ids = frame["segment_id"].to_numpy(object)
        start = np.where(by_parent, np.where(parents == "", "source of " + ids, parents), start)
        end = np.where(by_parent, ids, end)
    poles = (start == "") & (end == "")
    start = np.where(poles, frame["from_pole"].to_numpy(object), start)
    end = np.where(poles, frame["to_pole"].to_numpy(object), end)
    findings.add("topology", "poles_as_nodes", "Segments whose ends are poles: taken for the nodes where lines join",
                 GREEN, ids[poles & (start != "") & (end != "")])
    lost = (start == "") | (end == "")
    findings.add("topology", "no_end", "Segments with an end that is not named: taken as a free end", AMBER, ids[lost])
    start = np.where(start == "", "free end of " + ids, start)
    end = np.where(end == "", "free far end of " + ids, end)
    return frame.assign(from_node=pd.Series(start, dtype=object), to_node=pd.Series(end, dtype=object))


def _same_base_parents(frame: pd.DataFrame, at: np.ndarray) -> np.ndarray:
    """Parents by name, where rows of one span have names that differ by a phase suffix only: that of the first row."""
    ids, parents, phases = (frame[c].to_numpy(object) for c in ("segment_id", "parent_id", "phases"))
    first, suffixed = first_by_suffix(ids, phases, without_suffix(parents, phases))
    if not suffixed.any():
        return parents
    name = dict(zip(ids[suffixed].tolist(), first[suffixed].tolist(), strict=True))
    parents = np.array([name.get(p, p) for p in parents.tolist()], dtype=object)
    frame.loc[suffixed & at, "segment_id"] = first[suffixed & at]
    return parents


def first_by_suffix(ids: np.ndarray, phases: np.ndarray, beside: np.ndarray | None = None
                    ) -> tuple[np.ndarray, np.ndarray]:
    """For rows whose ids differ by a phase suffix only the id of the first of them, and which rows those are.

    A suffix counts where it names the phases of its row, or the row states none. beside: (rows,) what such rows must
    have in common besides.
    """
    base = without_suffix(ids, phases)
    cut = base != ids
    if not cut.any():
        return ids, cut
    key = pd.Series(base) if beside is None else pd.Series(base) + "\0" + pd.Series(beside).astype(str)
    group = pd.factorize(key)[0]
    suffixed = (np.bincount(group)[group] > 1) & (np.bincount(group, cut)[group] > 0)
    first = np.array(ids, dtype=object)
    at = np.flatnonzero(suffixed)
    at = at[np.argsort(rank_by_name(ids[at]))]
    first[at] = pd.Series(ids[at]).groupby(group[at]).transform("first").to_numpy(object)
    return first, suffixed


def without_suffix(ids: np.ndarray, phases: np.ndarray) -> np.ndarray:
    """Ids without a suffix that names the phases of their row."""
    base = np.array(ids, dtype=object)
    for i, (name, phase) in enumerate(zip(ids.tolist(), phases.tolist(), strict=True)):
        if name and name[-1] in "ABCabc":
            match = _SUFFIX.match(name)
            named = phases_of(match[2]) if match else None
            stated = phases_of(phase) if phase else None
            if match and match[1] and named and (stated is None or stated in (named, (named[0], 0))):
                base[i] = match[1]
    return base


def rank_by_name(names: np.ndarray) -> np.ndarray:
    """(n,) place of each name, short ones first and then by letters: whatever the order of the rows, the same leads."""
    order = sorted(range(len(names)), key=lambda i: (len(str(names[i])), str(names[i]), i))
    rank = np.empty(len(names), int)
    rank[order] = np.arange(len(names))
    return rank


def _conductors(spans: Spans, findings: Findings, problems: Problems) -> Spans:
    """One span of the rows that are phase conductors of it, or copies of one row; one id otherwise is refused."""
    n = len(spans)
    low, high = spans.ends.min(axis=1), spans.ends.max(axis=1)
    pair = low.astype(np.int64) * (len(spans.nodes) + 1) + high
    group = pd.factorize(pair)[0]
    size = np.bincount(group)[group]
    several = np.flatnonzero((size > 1) & (low != high))
    leader = np.arange(n)
    if several.size:
        leader[several] = _leaders(spans, several, group[several], findings)
    _refuse_ids(spans, leader, problems)
    return _grouped(spans, leader, findings)


def _leaders(spans: Spans, rows: np.ndarray, group: np.ndarray, findings: Findings) -> np.ndarray:
    """The row that each of the rows between the same two nodes becomes one with: itself where it is a line of its
    own."""
    order = np.argsort(group, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(group[order]) != 0])
    back = np.empty(len(rows), int)
    back[order] = np.repeat(np.arange(len(starts)), np.diff(np.r_[starts, len(rows)]))

    def over(values: np.ndarray, how: np.ufunc) -> np.ndarray:
        return np.asarray(how.reduceat(values[order], starts))[back]

    bits = spans.letters[rows]
    disjoint = (over(bits, np.minimum) > 0) & (over(bits, np.add) == over(bits, np.bitwise_or))
    _, suffixed = first_by_suffix(spans.ids[rows], spans.frame["phases"].to_numpy(object)[rows])
    single = np.nan_to_num(spans.phases[rows], nan=1.0) == 1.0
    one = disjoint | (over(suffixed & single, np.logical_and) & (over(bits, np.maximum) == 0))
    by_name = rank_by_name(spans.whole[rows])           # not of its pieces: all that was cut from a line leads or none
    leader = np.where(one, rows[np.argsort(by_name)][over(by_name, np.minimum)], rows)
    # rows of one id and one content are copies
    key = [c for c in spans.frame.columns if c not in ("file", "row", "piece", "whole", "own")]
    copies = spans.frame.iloc[rows][key].astype(str)
    same = copies.groupby(list(copies.columns), sort=False, dropna=False).ngroup().to_numpy()
    first = pd.Series(rows).groupby(same).transform("min").to_numpy()
    findings.add("topology", "duplicate", "Rows that repeat another row: counted once", AMBER,
                 spans.ids[rows[(first != rows) & ~one]])
    return np.where(one, leader, first)


def _refuse_ids(spans: Spans, leader: np.ndarray, problems: Problems) -> None:
    """Refuse an id that stands for two spans."""
    lead = leader == np.arange(len(spans))
    frame = spans.frame
    named = pd.Series(frame["segment_id"].to_numpy(object)[lead])
    again = named.duplicated(keep="first").to_numpy() & (frame["segment_id"].to_numpy(object)[lead] != "")
    rows = np.flatnonzero(lead)
    first = pd.Series(rows).groupby(named.to_numpy()).transform("first").to_numpy()
    problems.each(np.flatnonzero(again), lambda k: Problem(
        frame["file"][rows[k]], "one id with different ends or contents: it stands also in row "
        f"{frame['row'][first[k]]} of {frame['file'][first[k]]}", "give each segment its own id",
        int(frame["row"][rows[k]]),
        "segment_id", str(frame["segment_id"][rows[k]])))


def _grouped(spans: Spans, leader: np.ndarray, findings: Findings) -> Spans:
    """Spans of the leaders, with what the other rows bring."""
    n = len(spans)
    lead = leader == np.arange(n)
    others = np.flatnonzero(~lead)
    position = np.cumsum(lead) - 1
    ids = spans.ids
    if not others.size:
        return spans
    copied = set(findings.ids("duplicate"))
    joined = others[np.array([i not in copied for i in ids[others]], bool)]
    frame = spans.frame.copy()
    _add_to_leaders(spans, frame, joined, leader)
    letters, phases = spans.letters.copy(), spans.phases.copy()
    np.bitwise_or.at(letters, leader[joined], spans.letters[joined])
    bits = np.array([bin(b).count("1") for b in range(8)])
    touched = np.unique(leader[joined])
    counts = np.bincount(leader[joined], minlength=n)[touched] + 1
    phases[touched] = np.where(letters[touched] > 0, bits[letters[touched]], np.minimum(counts, 3))
    opened = spans.open.copy()
    np.logical_and.at(opened, leader[joined], spans.open[joined])
    findings.add("topology", "conductors", "Rows of one span for each phase conductor: one span", "green", ids[joined])
    _note_unlike(spans, joined, leader[joined], findings)
    keep = np.flatnonzero(lead)
    own = spans.frame["own"].to_numpy(object)
    names = np.where(spans.piece > 0, spans.whole, ids)        # all pieces of a row have its name
    base, taken = without_suffix(names, spans.frame["phases"].to_numpy(object)), set(names.tolist())
    # what they have in common is a name too, where no row bears it
    alias = {str(base[i]): int(position[leader[i]]) for i in joined if base[i] not in taken}
    own = np.where(spans.piece > 0, names, own)
    alias |= {str(name): int(position[leader[i]]) for i in others for name in (names[i], own[i])}
    return Spans(frame.iloc[keep].reset_index(drop=True), spans.ends[keep], spans.nodes, phases[keep], letters[keep],
                 opened[keep], spans.inserted[keep], spans.piece[keep], alias,
                 None if spans.routes is None else [spans.routes[i] for i in keep])


def _note_unlike(spans: Spans, rows: np.ndarray, leader: np.ndarray, findings: Findings) -> None:
    """List conductors of one span that are no conductors of one line by their lengths or construction."""
    km, built = spans.km, spans.frame["construction"].to_numpy(object)
    apart = np.abs(km[rows] - km[leader]) > UNLIKE * np.maximum(km[rows], km[leader])
    apart |= (built[rows] != "") & (built[leader] != "") & (built[rows] != built[leader])
    findings.add("topology", "conductors_unlike", "Rows between the same two nodes, of other phases each, that differ "
                 "in length or construction: one span, as the first row has it", AMBER, spans.ids[rows[apart]],
                 km=float(spans.km[rows[apart]].sum()))


def _add_to_leaders(spans: Spans, frame: pd.DataFrame, rows: np.ndarray, leader: np.ndarray) -> None:
    """Into the frame of the leaders: sums of customers and load, and what the first row leaves blank."""
    if not rows.size:
        return
    turned = spans.ends[rows, 0] != spans.ends[leader[rows], 0]
    part = frame.iloc[rows].copy()
    swap = part[[TO_A, FROM_A]].to_numpy(float)
    part.loc[turned, [FROM_A, TO_A]] = swap[turned]
    for name in frame.columns:
        if name in ("file", "row", "segment_id", "from_node", "to_node", "phases", "piece", "whole", "own"):
            continue
        column = part[name].to_numpy()
        lead = leader[rows]
        if name in SUMMED_COLUMNS:
            given = ~np.isnan(column)
            total = frame[name].to_numpy(float).copy()
            total[lead[given]] = np.nan_to_num(total[lead[given]])
            np.add.at(total, lead[given], column[given])
            frame[name] = total
        else:
            blank = (frame[name].isna() if column.dtype.kind == "f" else frame[name] == "").to_numpy(bool)
            use = blank[lead] & ((column != "") if column.dtype == object else ~np.isnan(column))
            if use.any():
                values = frame[name].to_numpy(copy=True)
                values[lead[use][::-1]] = column[use][::-1]
                frame[name] = pd.Series(values, dtype=object if column.dtype == object else None)
