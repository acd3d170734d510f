"""What the counters and logs of reclosing devices say, ready for an estimate of fault rates.

A counter reading is one number for a span. Spans that the user ignores are cut out of it where the steps in them are
known; a reading of which that is not so is left out and listed. What an event is: see `device_events`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.formats import count
from reliability.history.device_events import (
    OperationFinding,
    device_events,
    momentary_without_place,
    recorded_momentaries,
)
from reliability.history.outages import Records
from reliability.history.spans import cut_readings, inside, overlapping_readings, without
from reliability.network.devices import BACKS_UP
from reliability.network.tree import Network
from reliability.schema.columns import COUNTER, EVENT, IGNORE
from reliability.study.study import Study

ALL_RECORDED, SOME, NONE_RECORDED = "all", "some", "none"      # values of [records] momentary
_SPAN_COLUMNS = ("reading", "device", "start", "end", "steps", "row")
_EVENT_COLUMNS = ("device", "time", "openings", "source")


@dataclass(frozen=True)
class Operations:
    """Counter readings and events of reclosing devices. Devices are positions in the network; times datetime64[s].

    spans: a row a piece of a counter reading, by device and time: reading (code; pieces of one reading share it),
        device, start, end, steps, row (in operations.csv). A reading has one piece unless spans were cut out of it;
        its steps, one count over all its pieces, stand in its first piece, NaN in the others.
    events: momentary events, by device and time: device, time (of the first opening), openings (≥ 1), source
        ("operations", "outages" or "both"). Lockouts are none of them; those that accompany a sustained record of
        another device are.
    monitored: a row a span in which the events of a device are recorded: device, start, end. Devices that are not
        in it are not monitored: that they have no event says nothing.
    logged: devices with events in operations.csv, where each names its device. with_place: share of the momentary
        events of the outage records that name a section; the others may be of any device.
    """

    spans: pd.DataFrame
    events: pd.DataFrame
    monitored: pd.DataFrame
    findings: tuple[OperationFinding, ...]
    logged: np.ndarray
    with_place: float


def read_operations(study: Study, records: Records) -> Operations:
    """What the operations table and the momentary outage records of `study` say of its reclosing devices.

    Monitored are devices with an event in operations.csv and, by [records] momentary, every breaker and recloser
    ("all"), devices with a momentary outage record ("some"), or no other ("none"), from the first to the last day of
    the records, less ignored spans.
    """
    rows = _placed_rows(study)
    found: list[OperationFinding] = []
    ignored = rows[rows["kind"].to_numpy() == IGNORE].drop_duplicates(["device", "from", "to"])
    spans = _spans(rows[rows["kind"].to_numpy() == COUNTER], ignored, found)
    logged = rows[rows["kind"].to_numpy() == EVENT]
    recorded = recorded_momentaries(records, found)
    choice = study.values["momentary"]
    devices = _monitored_devices(choice, records.network, logged["device"].to_numpy(), recorded["device"].to_numpy())
    if choice == NONE_RECORDED and len(recorded):
        found.append(OperationFinding(
            "not_relied_on", recorded["row"].to_numpy(), "A momentary interruption at a reclosing device: an event of "
            f'no device, as [records] momentary is "{NONE_RECORDED}".', True))
        recorded = recorded.iloc[:0]
    start, end = (day.astype("datetime64[s]") for day in (records.first_day, records.last_day + 1))
    monitored = without(devices, start, end, ignored)
    events = device_events(logged, recorded, records, found)
    kept = inside(events["device"].to_numpy(), events["time"].to_numpy(), monitored)
    _note_dropped(events[~kept], start, end, found)
    lost, all_of_them = momentary_without_place(records)
    return Operations(spans, events[kept][list(_EVENT_COLUMNS)].reset_index(drop=True), monitored, tuple(found),
                      logged["device"].unique(), 1.0 - lost / max(all_of_them, 1))


def _placed_rows(study: Study) -> pd.DataFrame:
    """Rows of operations.csv with their device, by device and time."""
    frame = study.operations
    if frame is None:
        none = np.array([], dtype=np.int64)
        never = none.astype("datetime64[s]")
        return pd.DataFrame({"device": none, "from": never, "to": never, "operations": none.astype(float),
                             "kind": none.astype(object), "row": none})
    at = {str(name): i for i, name in enumerate(study.network.ids)}
    device = np.array([at[str(section)] for section in frame["section_id"]], dtype=np.int64)
    return frame.assign(device=device).sort_values(["device", "from", "row"], kind="stable").reset_index(drop=True)


def _spans(readings: pd.DataFrame, ignored: pd.DataFrame, found: list[OperationFinding]) -> pd.DataFrame:
    """Pieces of the readings that can be used, see `Operations.spans`."""
    repeated = readings.duplicated(["device", "from", "to", "operations"]).to_numpy()
    overlapping = np.zeros(len(readings), bool)
    overlapping[~repeated] = overlapping_readings(readings[~repeated])
    cut = cut_readings(readings[~repeated & ~overlapping], ignored)
    for kind, rows, sentence in (
            ("repeated", readings["row"].to_numpy()[repeated], "Repeats an earlier reading: counted once."),
            ("overlapping", readings["row"].to_numpy()[overlapping], "Overlaps an earlier reading of the same device, "
             "so that steps would count twice: left out; the one that begins first counts."),
            ("not_split", cut.not_split, "Overlaps a span to be ignored of which the steps are not stated, or only a "
             "part lies in the reading: left out, since its steps cannot be split. State operations in the row to be "
             "ignored, or end the reading where that span begins."),
            ("more_ignored", cut.more_ignored, "Has fewer steps than the spans to be ignored in it: left out."),
            ("all_ignored", cut.all_ignored, "Lies in a span to be ignored: left out.")):
        if len(rows):
            found.append(OperationFinding(kind, np.sort(rows), sentence))
    return cut.pieces[list(_SPAN_COLUMNS)]


def _monitored_devices(choice: str, network: Network, logged: np.ndarray, recorded: np.ndarray) -> np.ndarray:
    """Devices whose events are recorded, ascending. logged, recorded: devices of the events of the two files."""
    everywhere = np.flatnonzero(BACKS_UP[network.device]) if choice == ALL_RECORDED else np.array([], dtype=np.int64)
    own = np.array([], dtype=np.int64) if choice == NONE_RECORDED else recorded
    return np.unique(np.concatenate([everywhere, own, logged])).astype(np.int64)


def _note_dropped(dropped: pd.DataFrame, start: np.datetime64, end: np.datetime64,
                  found: list[OperationFinding]) -> None:
    """Events that no monitored span holds: outside the records, or in a span to be ignored."""
    time, rows = dropped["time"].to_numpy().astype("datetime64[s]"), dropped["row"].to_numpy()
    own = dropped["source"].to_numpy() != "outages"
    outside = (time < start) | (time >= end)
    if (outside & own).any():
        found.append(OperationFinding("outside_period", np.sort(rows[outside & own]), "An event outside the days that "
                                      "the outage records cover: left out."))
    if (~outside).any():
        found.append(OperationFinding("ignored_events", np.sort(rows[~outside & own]),
                                      f"{count(int((~outside).sum()), 'event')} in spans to be ignored, those of the "
                                      "outage records included: left out."))
