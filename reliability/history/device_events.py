"""Momentary events of reclosing devices, out of their own logs and of the outage records.

An event is a sequence of one fault: what starts at one device within five minutes of the first opening is one event
(IEEE Std 1366-2012, from memory), whether it stands in operations.csv, in the outage records, or in both. A sequence
that ends in lockout is no momentary event.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.history.findings import listed_rows
from reliability.history.momentary import window_starts
from reliability.history.outages import Records
from reliability.network.devices import RECLOSES
from reliability.study.event_ids import MOMENTARY_SECONDS
from reliability.study.study import Study

SAME_SECONDS = 60       # one event in two places, whose clocks may differ so much (our choice)
EVENT_LOG, OUTAGE_RECORDS, BOTH_SOURCES = "operations", "outages", "both"     # sources of an event


@dataclass(frozen=True)
class OperationFinding:
    """What was left out or merged.

    kind: a short code. rows: spreadsheet rows of operations.csv, or of the outage records where `in_outages`.
    sentence: what was found and what was done.
    """

    kind: str
    rows: np.ndarray
    sentence: str
    in_outages: bool = False


def finding_lines(findings: Iterable[OperationFinding], study: Study) -> list[str]:
    """One line a finding: file, rows and sentence."""
    return [f"{study.outages_file if f.in_outages else study.operations_file}: {listed_rows(f.rows)}: {f.sentence}"
            for f in findings]


def recorded_momentaries(records: Records, found: list[OperationFinding]) -> pd.DataFrame:
    """Unplanned momentary outage records placed at reclosing devices: device, time, over (s), row, by device and time.

    A record at a section without a device of its own is the nearest protective device's above, since a momentary
    interruption is that device's work.
    """
    network, steps = records.network, records.steps
    section, seconds = steps["section"].to_numpy(), steps["seconds"].to_numpy()
    momentary = ~np.isnan(seconds) & ~steps["sustained"].to_numpy() & ~steps["planned"].to_numpy() & (section >= 0)
    device = np.where(section >= 0, network.protective[section], -1)
    recloses = RECLOSES[network.device[device]]
    other = momentary & ~recloses
    if other.any():
        found.append(OperationFinding("not_at_a_reclosing_device", steps["row"].to_numpy()[other], "A momentary "
                                      "interruption at a device that does not reclose: an event of no device.", True))
    part = momentary & recloses
    start = steps["started"].to_numpy().astype("datetime64[s]")
    frame = pd.DataFrame({"device": device[part], "time": start[part],
                          "over": start[part].astype(np.int64) + seconds[part].astype(np.int64),
                          "row": steps["row"].to_numpy()[part]})
    return frame.sort_values(["device", "time"], kind="stable").reset_index(drop=True)


def momentary_without_place(records: Records) -> tuple[int, int]:
    """Unplanned momentary events of the outage records that name no known section, and all of them."""
    steps = records.steps
    brief = ~(steps["sustained"] | steps["planned"] | steps["seconds"].isna()).to_numpy(bool)
    brief &= ~steps["event"].isin(steps["event"][steps["sustained"]]).to_numpy()
    without = brief & (steps["section"].to_numpy() < 0)
    return steps["event"][without].nunique(), steps["event"][brief].nunique()


def device_events(logged: pd.DataFrame, recorded: pd.DataFrame, records: Records,
            found: list[OperationFinding]) -> pd.DataFrame:
    """Events of both files, each once and without lockouts: device, time, openings, source, row."""
    one = _sequences(pd.DataFrame({
        "device": logged["device"], "time": logged["from"], "openings": logged["operations"], "row": logged["row"],
        "over": logged["from"].to_numpy().astype("datetime64[s]").astype(np.int64)}), found)
    other = _sequences(recorded.assign(openings=1.0), None)
    merged = _merged(one.assign(source=EVENT_LOG), other.assign(source=OUTAGE_RECORDS), found)
    lockout = _lockouts(merged, records)
    own = merged["source"].to_numpy() != OUTAGE_RECORDS
    if (lockout & own).any():
        found.append(OperationFinding("lockout", merged["row"].to_numpy()[lockout & own], "An event within five "
                                      "minutes before a sustained outage record of the same device: part of that "
                                      "outage, and no momentary event."))
    return merged[~lockout]


def _sequences(openings: pd.DataFrame, found: list[OperationFinding] | None) -> pd.DataFrame:
    """Events of openings in order of device and time: those of one device within five minutes are one event."""
    # equal times are one opening, or one of which several rows tell (steps of a restoration)
    at = openings.groupby(["device", "time"], sort=True, as_index=False).agg(
        openings=("openings", "max"), over=("over", "max"), row=("row", "first"))
    if not len(at):
        return at
    opens = window_starts(at["device"].to_numpy(), at["time"].to_numpy().astype("datetime64[s]").astype(np.int64))
    if found is not None and not opens.all():
        found.append(OperationFinding("one_sequence", np.sort(at["row"].to_numpy()[~opens]), "An event within five "
                                      "minutes of an earlier one of the same device: the same event, its openings "
                                      "added."))
    return at.groupby(np.cumsum(opens), as_index=False).agg(
        device=("device", "first"), time=("time", "first"), openings=("openings", "sum"), over=("over", "max"),
        row=("row", "first"))


def _merged(logged: pd.DataFrame, recorded: pd.DataFrame, found: list[OperationFinding]) -> pd.DataFrame:
    """Events of both files; one that stands in both, at times up to SAME_SECONDS apart, is one event."""
    both = pd.concat([frame for frame in (logged, recorded) if len(frame)] or [logged], ignore_index=True)
    both = both.sort_values(["device", "time"], kind="stable").reset_index(drop=True)
    device, source = both["device"].to_numpy(), both["source"].to_numpy()
    time = both["time"].to_numpy().astype("datetime64[s]").astype(np.int64)
    close = np.append(False, (device[1:] == device[:-1]) & (np.diff(time) <= SAME_SECONDS)
                      & (source[1:] != source[:-1])) if len(both) else np.zeros(0, bool)
    close[1:] &= ~close[:-1]        # an event has at most one partner
    first = np.flatnonzero(close) - 1
    if not len(first):
        return both
    from_log = np.where(source[first] == EVENT_LOG, first, first + 1)
    found.append(OperationFinding("in_both", np.sort(both["row"].to_numpy()[from_log]), "An event that the outage "
                                  f"records hold too, within {SAME_SECONDS} s: counted once, with the openings stated "
                                  "here."))
    over = both["over"].to_numpy()
    both.loc[first, ["openings", "row"]] = both.loc[from_log, ["openings", "row"]].to_numpy()
    both.loc[first, "over"] = np.maximum(over[first], over[first + 1])
    both.loc[first, "source"] = BOTH_SOURCES
    return both[~close].reset_index(drop=True)


def _lockouts(events: pd.DataFrame, records: Records) -> np.ndarray:
    """Events that a sustained unplanned record of the same device follows within five minutes, (events,)."""
    network, steps = records.network, records.steps
    section = steps["section"].to_numpy()
    held = steps["sustained"].to_numpy() & ~steps["planned"].to_numpy() & (section >= 0)
    device = network.protective[section[held]]
    begun = steps["event_started"].to_numpy()[held].astype("datetime64[s]").astype(np.int64)
    time = events["time"].to_numpy().astype("datetime64[s]").astype(np.int64)
    if not len(begun) or not len(time):
        return np.zeros(len(events), bool)
    low, high = min(time.min(), begun.min()), max(events["over"].max(), begun.max())
    stride = int(high - low) + 4 * MOMENTARY_SECONDS

    def key(of: np.ndarray, at: np.ndarray) -> np.ndarray:
        return of.astype(np.int64) * stride + (at - low) + SAME_SECONDS

    known = np.sort(key(device, begun))
    of, over = events["device"].to_numpy(), events["over"].to_numpy()
    since = np.searchsorted(known, key(of, time - SAME_SECONDS), side="left")
    return np.searchsorted(known, key(of, over + MOMENTARY_SECONDS), side="right") > since
