"""An open point that exports have twice, as those by feeder do: one of the segments between the same two nodes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from reliability.intake.device_rows import Devices
from reliability.intake.findings import AMBER, Findings
from reliability.intake.kinds import SUMMED_COLUMNS
from reliability.intake.spans import Spans

_SAME_LENGTH = 0.01     # two lengths that differ by no more are one line's (our choice)


def one_of_each(spans: Spans, devices: Devices, findings: Findings) -> tuple[Spans, Devices]:
    """Spans without those that repeat an open one under another name, and the devices on what remains.

    Repeats: between the same two nodes, of one length, without customers or load of its own, and open as well, or
    closed and named for another feeder. Another closed one is listed: it closes the line that the open point opens.
    """
    low, high = spans.ends.min(axis=1), spans.ends.max(axis=1)
    group = pd.factorize(low.astype(np.int64) * (len(spans.nodes) + 1) + high)[0]
    beside = (np.bincount(group)[group] > 1) & (np.bincount(group, spans.open)[group] > 0) & (low != high)
    if not beside.any():
        return spans, devices
    own = np.nan_to_num(spans.frame[[c for c in SUMMED_COLUMNS if c in spans.frame]].to_numpy(float)).any(axis=1)
    lead = np.arange(len(spans))
    bridged = []
    for rows in pd.Series(np.flatnonzero(beside)).groupby(group[beside]):
        at = rows[1].to_numpy(int)
        first = int(at[spans.open[at]][0])
        for k in at[at != first].tolist():
            if _repeats(spans, first, k) and not own[k]:
                lead[k] = first
            elif not spans.open[k]:
                bridged.append(f"{spans.ids[first]} beside {spans.ids[k]}")
    gone = np.flatnonzero(lead != np.arange(len(spans)))
    findings.add("topology", "open_bridged", "Open points beside a closed segment between the same two nodes, which "
                 "closes the line there; if both are one tie, name the closed one under [network] open", AMBER, bridged)
    findings.add("topology", "open_twice", "Open points that stand twice, between the same two nodes: one tie, under "
                 "both names", AMBER, [f"{spans.ids[lead[k]]} and {spans.ids[k]}" for k in gone])
    return _without(spans, devices, lead) if len(gone) else (spans, devices)


def _repeats(spans: Spans, first: int, other: int) -> bool:
    """Whether a span is the open one `first` under another name."""
    feeder = spans.frame["feeder_id"].to_numpy(object)
    named = {str(feeder[first]), str(feeder[other])}
    a, b = spans.km[[first, other]]
    return (bool(spans.open[other]) or (len(named) == 2 and "" not in named)) and (
        not a or not b or abs(a - b) <= _SAME_LENGTH * max(a, b))


def _without(spans: Spans, devices: Devices, lead: np.ndarray) -> tuple[Spans, Devices]:
    """Spans that lead, under the names of the others as well. lead: (spans,) the span that each becomes."""
    stays = lead == np.arange(len(spans))
    place = (np.cumsum(stays) - 1)[lead]
    keep = np.flatnonzero(stays)
    frame = spans.frame.copy()
    length = frame["length"].to_numpy(float).copy()
    for k in np.flatnonzero(~stays):        # of a line that one export has without its length
        length[lead[k]] = np.nanmax([spans.km[lead[k]], spans.km[k]])
    frame["length"] = length
    alias = {name: int(place[s]) for name, s in spans.alias.items()} | {
        str(spans.ids[k]): int(place[k]) for k in np.flatnonzero(~stays)}
    spans = Spans(frame.iloc[keep].reset_index(drop=True), spans.ends[keep], spans.nodes, spans.phases[keep],
                  spans.letters[keep], spans.open[keep], spans.inserted[keep], spans.piece[keep], alias,
                  None if spans.routes is None else [spans.routes[k] for k in keep])
    return spans, replace(devices, span=np.where(devices.span >= 0, place[devices.span], -1))
