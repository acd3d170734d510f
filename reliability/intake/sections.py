"""Columns of the sections before they are merged: turned away from the source, phases bounded, devices and customers
in their place."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.intake.customers import SectionLoads
from reliability.intake.device_rows import EXTRA
from reliability.intake.findings import AMBER, DEVICE, GREEN, Findings
from reliability.intake.kinds import DEVICE_COLUMNS, LINE_COLUMNS, SUMMED_COLUMNS
from reliability.intake.placing import ON_LINE, ON_SPAN, Tree
from reliability.intake.spans import FROM_A, TO_A, Spans
from reliability.network.forest import depth_first, sums_below, topmost
from reliability.network.fuse_links import link_table, written_link
from reliability.schema.devices import BY_NAME, FUSE, LATERAL_DEVICES, SWITCH

PLACED = ["construction", "area"]     # what also a section of no length has of its own
SOURCE_A, END_A = "fault_current_source_a", "fault_current_end_a"


def base_frame(tree: Tree, spans: Spans, up: np.ndarray, served: SectionLoads, feeder: np.ndarray, findings: Findings
               ) -> pd.DataFrame:
    """One row a section of `tree`: columns of sections.csv but for its ids.

    up: (spans,) node at the source's side. feeder: (n,) name of each section's feeder.
    """
    line = tree.why == ON_LINE
    at = np.where(line, tree.span, 0)
    frame = spans.frame[[c for c in LINE_COLUMNS if c != "tie_section_id"]].iloc[at].reset_index(drop=True)
    frame[PLACED] = spans.frame[PLACED].iloc[_beside(tree, spans)].to_numpy()
    frame["tie_section_id"] = pd.Series(np.full(len(tree), "", object), dtype=object)
    for name in frame.columns:
        if frame[name].dtype.kind == "f":
            frame[name] = np.where(line, frame[name].to_numpy(float), np.nan)
        elif name not in PLACED:
            frame[name] = pd.Series(np.where(line, frame[name].to_numpy(object), ""), dtype=object)
    frame["length_km"] = np.where(line, spans.km[at], 0.0)
    _note_lengths(spans, findings)
    _currents(frame, tree, spans, up, at, line, findings)
    for name in DEVICE_COLUMNS:
        frame[name] = tree.device[name].to_numpy()
    for name in EXTRA:
        own = tree.device[name].to_numpy()
        blank = np.isnan(frame[name].to_numpy(float)) if name == "peak_load_a" else (frame[name] == "").to_numpy(bool)
        frame[name] = pd.Series(np.where(blank, own, frame[name].to_numpy()), dtype=frame[name].dtype)
    for name in SUMMED_COLUMNS:
        frame[name] = served.sums[name].to_numpy(float)
    frame["feeder_id"] = pd.Series(feeder, dtype=object)
    frame["phases"] = _phases(tree, spans, at, line, findings)
    _links(frame, findings)
    _trippings(frame, findings)
    return frame


def _beside(tree: Tree, spans: Spans) -> np.ndarray:
    """(n,) span that a section is, or whose place one of no length has: the span it stands on, else the longest that
    begins at its end, else that before it."""
    like = np.where(np.isin(tree.why, (ON_LINE, ON_SPAN)), tree.span, -1)
    km = np.where(tree.why == ON_LINE, spans.km[np.maximum(tree.span, 0)], 0.0)
    longest = np.lexsort((np.arange(len(tree)), -km))
    fed = longest[tree.parent[longest] >= 0]
    _, first = np.unique(tree.parent[fed], return_index=True)
    child = np.full(len(tree), -1)
    child[tree.parent[fed[first]]] = fed[first]
    for towards in (child, tree.parent):
        while (open_ := np.flatnonzero((like < 0) & (towards >= 0) & (like[towards] >= 0))).size:
            like[open_] = like[towards[open_]]
    return np.maximum(like, 0)


def _note_lengths(spans: Spans, findings: Findings) -> None:
    length = spans.frame["length"].to_numpy(float)
    missing, zero = np.isnan(length) & ~spans.inserted, (length == 0) & ~spans.inserted
    findings.add("topology", "no_length", "Segments without a length: taken as 0", AMBER, spans.ids[missing])
    findings.add("topology", "zero_length", "Segments of no length", AMBER, spans.ids[zero])


def _currents(frame: pd.DataFrame, tree: Tree, spans: Spans, up: np.ndarray, at: np.ndarray, line: np.ndarray,
              findings: Findings) -> None:
    """Fault currents at the two ends of each section; of one of no length that of the joint."""
    start, end = (spans.frame[c].to_numpy(float)[at] for c in (FROM_A, TO_A))
    half = line & (np.isnan(start) != np.isnan(end))
    findings.add("topology", "half_current", "Segments with a fault current at one end only: both unknown", AMBER,
                 spans.ids[at[half]])
    turned = line & (up[at] != spans.ends[at, 0])
    findings.add("topology", "reversed", "Segments turned away from the source", GREEN, spans.ids[at[turned]])
    unknown = half | ~line
    source = np.where(unknown, np.nan, np.where(turned, end, start))
    far = np.where(unknown, np.nan, np.where(turned, start, end))
    none = np.flatnonzero(~line)
    for _ in range(4 if none.size else 0):      # a section of no length has the current of what begins at its end
        below = pd.Series(source).groupby(np.where(tree.parent >= 0, tree.parent, -1)).max()
        found = below.reindex(none).to_numpy(float)
        above = np.where(tree.parent[none] >= 0, far[np.maximum(tree.parent[none], 0)], np.nan)
        value = np.where(np.isnan(found), above, found)
        source[none], far[none] = value, value
    inserted = spans.inserted[at] & line
    if inserted.any():
        fill = np.flatnonzero(inserted & np.isnan(source))
        below = pd.Series(source).groupby(np.where(tree.parent >= 0, tree.parent, -1)).max()
        source[fill] = below.reindex(fill).to_numpy(float)
        far[fill] = source[fill]
    frame[SOURCE_A], frame[END_A] = source, far


def _phases(tree: Tree, spans: Spans, at: np.ndarray, line: np.ndarray, findings: Findings) -> np.ndarray:
    """Phases of each section, the feeding ones bounding the fed ones; blank ones as in a study's sections.csv."""
    n = len(tree)
    stated = np.where(line, spans.phases[at], np.nan)
    none = ~line | (spans.inserted[at] & np.isnan(stated))
    order = np.flatnonzero(none)[::-1]
    for _ in range(6 if order.size else 0):     # a section of no length has the most phases of what it heads
        most = pd.Series(stated).groupby(np.where(tree.parent >= 0, tree.parent, -1)).max()
        stated[order] = most.reindex(order).to_numpy(float)
    heads = topmost(tree.parent, np.isin(tree.kinds.astype(str), LATERAL_DEVICES)) == np.arange(n)
    blank = np.isnan(stated)
    value = np.where(blank, np.where(heads, 1.0, np.where(tree.parent < 0, 3.0, np.inf)), stated)
    jump = np.where(tree.parent >= 0, tree.parent, np.arange(n))
    while True:
        value = np.minimum(value, value[jump])
        further = jump[jump]
        if np.array_equal(further, jump):
            break
        jump = further
    more = line & ~blank & (stated > value)
    fed_by = np.where(tree.parent >= 0, tree.parent, 0)
    named = [f"{spans.ids[at[i]]} ({stated[i]:g}) fed by {spans.ids[at[fed_by[i]]]} ({value[i]:g})"
             for i in np.flatnonzero(more & line[fed_by])]
    findings.add("topology", "phases_grow", "Segments with more phases than what feeds them: the smaller number taken",
                 AMBER, named)
    return value


def _links(frame: pd.DataFrame, findings: Findings) -> None:
    """Links in one way of writing; those that no table knows are blank, and links of other devices than fuses go."""
    codes, words = pd.factorize(frame["fuse_link"])
    known = {w: written_link(w) if w else "" for w in words}
    table = set(link_table().index)
    written = np.array([known[w] or "" for w in words] or [""], object)[codes]
    unknown = np.array([bool(w) and known[w] not in table for w in words] or [False], bool)[codes]
    holds = np.isin(frame["device"].to_numpy(object).astype(str), [name for name, of in BY_NAME.items() if of.melts])
    given = frame["fuse_link"].to_numpy(object)
    findings.add("devices", "link_unknown", "Fuse links that are not in the table of types K and T: kept as they are "
                 "where the export brings their curves, else unknown", AMBER,
                 sorted(set(given[unknown & holds].tolist())), DEVICE)
    findings.add("devices", "size_of_other", "Sizes among the fuse links, of devices that hold none: not used", GREEN,
                 [f"{name} ({size})" for name, size in zip(frame["device_id"][unknown & ~holds],
                                                           given[unknown & ~holds], strict=True)], DEVICE)
    frame["fuse_link"] = pd.Series(np.where(unknown & (written == ""), "", written), dtype=object)


def _trippings(frame: pd.DataFrame, findings: Findings) -> None:
    """Trippings that the device cannot have are blank."""
    pairs = pd.factorize(frame["device"] + "\0" + frame["tripping"])
    bad = np.array([bool(t) and (d not in BY_NAME or t not in BY_NAME[d].trippings)
                    for d, t in (p.split("\0") for p in pairs[1])] or [False], bool)[pairs[0]]
    findings.add("devices", "tripping", "Trippings that the device cannot have: blank", AMBER,
                 frame["device_id"].to_numpy(object)[bad], DEVICE)
    frame.loc[bad, "tripping"] = ""


def blank_unknown_links(frame: pd.DataFrame, curves: pd.DataFrame) -> None:
    """Blank links that neither the table nor curves of the export know."""
    own = {str(name).rpartition(" ")[0] for name in curves["curve"]} if len(curves) else set()
    known = {*link_table().index, *own, ""}
    frame.loc[~frame["fuse_link"].isin(known), "fuse_link"] = ""


def note_mains(frame: pd.DataFrame, parent: np.ndarray, findings: Findings) -> None:
    """List fuses that land on a main: with further protective devices beyond them and more than half of the feeder's
    customers (our measure).

    frame: merged sections, (n,) rows. parent: (n,) row of each section's parent, −1 at a source.
    """
    order, _, size = depth_first(parent)
    customers = frame["customers"].fillna(0.0).to_numpy(float)
    device = frame["device"].to_numpy(object)
    protective = (device != "") & (device != SWITCH)
    beyond, behind = np.zeros(len(frame)), np.zeros(len(frame))
    beyond[order] = sums_below(customers[order], size)
    behind[order] = sums_below(protective[order].astype(float), size)
    of_feeder = frame["customers"].fillna(0.0).groupby(frame["feeder_id"]).transform("sum").to_numpy(float)
    main = (device == FUSE) & (behind > 1.5) & (beyond > 0.5 * of_feeder)
    findings.add("devices", "fuse_on_main", "Fuses on a main: other protective devices and more than half of the "
                 "feeder's customers are beyond them", AMBER, frame["device_id"].to_numpy(object)[main], DEVICE)
