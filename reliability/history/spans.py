"""Spans of time by device: what remains of them, and of the counter readings in them, without those to be ignored."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

Span = tuple[np.datetime64, np.datetime64]


@dataclass(frozen=True)
class Cut:
    """Readings without what is to be ignored.

    pieces: reading, device, start, end, steps, row; see `operations.Operations.spans`. Rows of readings left out:
    not_split, as the steps cannot be split; more_ignored, as more steps are to be ignored than it has; all_ignored, as
    nothing remains of it.
    """

    pieces: pd.DataFrame
    not_split: np.ndarray
    more_ignored: np.ndarray
    all_ignored: np.ndarray


def overlapping_readings(readings: pd.DataFrame) -> np.ndarray:
    """Readings, in order of device and start, that begin before one of the same device that counts has ended."""
    device = readings["device"].to_numpy()
    begin, end = (readings[name].to_numpy().astype("datetime64[s]").astype(np.int64) for name in ("from", "to"))
    same = np.append(False, device[1:] == device[:-1])
    suspect = np.isin(device, device[1:][same[1:] & (begin[1:] < end[:-1])]) if len(device) else same
    result = np.zeros(len(readings), bool)
    last = -1
    over = 0
    for i in np.flatnonzero(suspect).tolist():      # a reading that is left out hides no later one
        if device[i] == last and begin[i] < over:
            result[i] = True
        else:
            last, over = device[i], end[i]
    return result


def cut_readings(readings: pd.DataFrame, ignored: pd.DataFrame) -> Cut:
    """Readings cut at spans to be ignored; both with device, from, to, operations and row.

    A span with operations that lies in a reading is taken out with these steps, one of no steps wherever it lies.
    """
    of_device = dict(iter(ignored.groupby("device")))
    rows: list[tuple[int, int, np.datetime64, np.datetime64, float, int]] = []
    dropped: dict[str, list[int]] = {"not_split": [], "more_ignored": [], "all_ignored": []}
    columns = [readings[name].to_numpy() for name in ("device", "from", "to", "operations", "row")]
    for number, (device, begin, end, steps, row) in enumerate(zip(*columns, strict=True)):
        part = of_device.get(device)
        pieces, taken, why = ([(begin, end)], 0.0, "") if part is None else _cut(begin, end, part)
        why = why or ("more_ignored" if taken > steps else "")
        if why:
            dropped[why].append(int(row))
            continue
        rows += [(number, device, a, b, steps - taken if k == 0 else np.nan, row) for k, (a, b) in enumerate(pieces)]
    frame = pd.DataFrame(rows, columns=["reading", "device", "start", "end", "steps", "row"]).astype(
        {"reading": np.int64, "device": np.int64, "start": "datetime64[s]", "end": "datetime64[s]", "steps": float,
         "row": np.int64})
    return Cut(frame, *(np.array(dropped[name], dtype=np.int64)
                        for name in ("not_split", "more_ignored", "all_ignored")))


def _cut(begin: np.datetime64, end: np.datetime64, ignored: pd.DataFrame) -> tuple[list[Span], float, str]:
    """Pieces of a reading without the spans to be ignored, the steps in these, and why it cannot be used."""
    since, until, steps = (ignored[name].to_numpy() for name in ("from", "to", "operations"))
    met = (since < end) & (until > begin)
    if not met.any():
        return [(begin, end)], 0.0, ""
    since, until, steps = since[met], until[met], steps[met]
    pieces = _remaining(begin, end, since, until)
    if not pieces:
        return [], 0.0, "all_ignored"
    within = (since >= begin) & (until <= end)
    if np.isnan(steps).any() or (~within & (steps > 0)).any():
        return [], 0.0, "not_split"
    return pieces, float(steps.sum()), ""


def _remaining(begin: np.datetime64, end: np.datetime64, since: np.ndarray, until: np.ndarray) -> list[Span]:
    """What remains of a span without others."""
    pieces, at = [], begin
    for k in np.argsort(since, kind="stable"):
        if since[k] > at:
            pieces.append((at, min(since[k], end)))
        at = max(at, until[k])
        if at >= end:
            return pieces
    return [*pieces, (at, end)]


def without(devices: np.ndarray, start: np.datetime64, end: np.datetime64, ignored: pd.DataFrame) -> pd.DataFrame:
    """The span from `start` to `end` of each device, without its spans to be ignored: device, start, end."""
    of_device = dict(iter(ignored.groupby("device")))
    rows = []
    for device in devices.tolist():
        part = of_device.get(device)
        pieces = [(start, end)] if part is None else _remaining(start, end, part["from"].to_numpy(),
                                                                part["to"].to_numpy())
        rows += [(device, a, b) for a, b in pieces if a < b]
    return pd.DataFrame(rows, columns=["device", "start", "end"]).astype(
        {"device": np.int64, "start": "datetime64[s]", "end": "datetime64[s]"})


def inside(device: np.ndarray, time: np.ndarray, spans: pd.DataFrame) -> np.ndarray:
    """Whether each time (n,) of a device lies in one of its spans, which are in order and do not overlap."""
    if not len(spans) or not len(device):
        return np.zeros(len(device), bool)
    time, start, end = (column.astype("datetime64[s]").astype(np.int64) for column in (
        time, spans["start"].to_numpy(), spans["end"].to_numpy()))
    stride = max(time.max(), end.max()) - min(time.min(), start.min()) + 1
    of = spans["device"].to_numpy() * stride
    at = np.searchsorted(of + start, device * stride + time, side="right") - 1
    return (at >= 0) & (device * stride + time < (of + end)[np.maximum(at, 0)])
