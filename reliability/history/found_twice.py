"""One outage under two event_ids, and a lateral's outage inside its feeder's: found, and counted once.

*Under two ids*: records of two events at one place that overlap in time and have as many customers each, where the two
together have more customers than are served there (some must be in both), or where the two begin, or end, within five
minutes of each other. The later record is left out. Where neither is near and the later one lasts longer, it goes on
where the earlier ends, as one outage with it: nobody is interrupted again, and its minutes count from there.

*Inside another*: a sustained record that begins while a sustained record of a place above it is open. Of its customers
those are off already that the open steps above and it share, as the two have more customers together than are served
there: they are not interrupted again, and their minutes count from the end of the outage above. Of a feeder restored
step by step, those who are back may be interrupted again, so that what was restored first and then failed counts in
full. The record stays a fault at its place.

*Around others*: the same of a record that begins while records of places below it are open, whose customers are off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.history.extent import below, pairs_in_time, reached, roots
from reliability.history.served import Served
from reliability.network.packed import of_each
from reliability.network.tree import Network

CLOSE_SECONDS = 300     # our choice, that of a momentary event


@dataclass(frozen=True)
class FoundTwice:
    """What was found; arrays over the steps (n,).

    repeats: steps of an event that repeats another. goes_on: of one that goes on where another at its place ends.
    of_event: code of the event that each step repeats, goes on from, lies inside of or around, −1 without. inside,
    around: sustained steps some customers of which are off already. already_off: these customers, and those of what
    goes on. off_seconds: from the step's start until the other outage ended, at most its duration.
    """

    repeats: np.ndarray
    goes_on: np.ndarray
    inside: np.ndarray
    around: np.ndarray
    of_event: np.ndarray
    already_off: np.ndarray
    off_seconds: np.ndarray


def found_twice(steps: pd.DataFrame, network: Network, served: Served) -> FoundTwice:
    """Look for outages recorded twice among typed steps (see `outages.Records`)."""
    n = len(steps)
    growth = served.growth[steps["year"].to_numpy() - served.years[0]]
    start = steps["started"].to_numpy().astype("datetime64[s]").astype(np.int64)
    frame = pd.DataFrame({
        "at": np.arange(n), "event": steps["event"].to_numpy(), "place": steps["place"].to_numpy(),
        "section": steps["section"].to_numpy(), "start": start, "planned": steps["planned"].to_numpy(),
        "end": start + np.nan_to_num(steps["seconds"].to_numpy()).astype(np.int64),
        "customers": steps["customers"].to_numpy(), "growth": growth, "sustained": steps["sustained"].to_numpy()})
    frame = frame[steps["counted"].to_numpy()]
    of_event = np.full(n, -1, dtype=np.int64)
    records, code = _records(frame)
    original, before = _repeated(records, network)
    again = original >= 0
    repeats = np.zeros(n, bool)
    repeats[frame["at"].to_numpy()[again[code]]] = True
    of_event[frame["at"].to_numpy()] = np.where(original >= 0, records["event"].to_numpy()[original], -1)[code]
    used = frame["sustained"].to_numpy() & (frame["section"].to_numpy() >= 0) & ~again[code]
    lasting = frame[used]
    of_lasting = _records(lasting)
    inside = _inside(lasting, *of_lasting, network)
    around = _around(lasting, *of_lasting, inside[0], network)
    kinds = np.zeros(n, dtype=np.int8)
    already, off = np.zeros(n), np.zeros(n)
    # what holds of a step by the last of these that it meets
    for kind, (customers, seconds, event) in enumerate(
            (around, inside, _going_on(lasting, records, before[code[used]])), 1):
        at = lasting["at"].to_numpy()[customers > 0]
        kinds[at] = kind
        already[at], off[at], of_event[at] = (each[customers > 0] for each in (customers, seconds, event))
    return FoundTwice(repeats, kinds == 3, kinds == 2, kinds == 1, of_event, already, off)


def _records(frame: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """Steps of one event and place as one record, and the record of each step."""
    code = frame.groupby(["event", "place"], sort=False).ngroup().to_numpy()
    records = frame.groupby(code, sort=True).agg(
        event=("event", "first"), place=("place", "first"), section=("section", "first"), start=("start", "min"),
        end=("end", "max"), customers=("customers", "sum"), growth=("growth", "first"), planned=("planned", "first"),
        at=("at", "first"), sustained=("sustained", "max"))
    return records, code


def _repeated(records: pd.DataFrame, network: Network) -> tuple[np.ndarray, np.ndarray]:
    """The record that each repeats, and the one that it goes on from, −1 without, (records,) each."""
    customers, start, end = (records[name].to_numpy() for name in ("customers", "start", "end"))
    keys = [records[name].to_numpy() for name in ("customers", "sustained", "planned", "place")]
    order = np.lexsort((records["at"].to_numpy(), start, *keys))
    same = np.append(False, np.logical_and.reduce([key[order][1:] == key[order][:-1] for key in keys]))[:len(order)]
    section = records["section"].to_numpy()
    served = np.where(section >= 0, network.customers_below[section] * records["growth"].to_numpy(), np.inf)
    crowded = 2.0 * customers > served * (1.0 + 1e-12)
    original = np.full(len(records), -1, dtype=np.int64)
    before = original.copy()
    first, lasting = -1, records["sustained"].to_numpy(dtype=bool)
    if not same.any():
        return original, before
    group = np.cumsum(~same)
    low, stride = int(start.min()), int(end.max() - start.min()) + 1
    open_until = np.maximum.accumulate(group * stride + end[order] - low)     # of the earlier records of a group
    meets = same & (group * stride + start[order] - low < np.append(0, open_until[:-1]))
    suspect = np.isin(group, group[meets])
    for k in np.flatnonzero(suspect).tolist():
        i = order[k]
        overlaps = same[k] and start[i] < end[first] and customers[i] > 0
        close = overlaps and (start[i] - start[first] <= CLOSE_SECONDS or abs(end[i] - end[first]) <= CLOSE_SECONDS)
        if overlaps and (close or (crowded[i] and not (lasting[i] and end[i] > end[first]))):
            original[i] = first
            continue
        if overlaps and crowded[i]:
            before[i] = first
        if not same[k] or end[i] > end[first]:
            first = i
    return original, before


def _inside(steps: pd.DataFrame, records: pd.DataFrame, code: np.ndarray,
            network: Network) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Customers of each sustained step (m,) who are off already, for how long (s), and the event above, −1 without.

    records, code: of the steps, see `_records`.
    """
    root, top, start, end, event = _places(records, network)
    above, inner = pairs_in_time(root, start, end - 1, root, start)
    nested = below(network, top[inner], top[above]) & (top[inner] != top[above]) & (event[inner] != event[above])
    above, inner = above[nested], inner[nested]
    if not len(above):
        return _nobody(steps)
    still, until = _still_off(steps, code, above, start[inner])
    size = records["customers"].to_numpy()
    served = network.customers_below[top[above]] * records["growth"].to_numpy()[above]
    shared = np.clip(size[inner] + still - served, 0.0, size[inner])
    best = np.lexsort((-shared, inner))
    best = best[np.append(True, inner[best][1:] != inner[best][:-1])]
    best = best[shared[best] > 1e-9]
    return _of_steps(steps, code, inner[best], shared[best] / size[inner[best]], until[best], event[above[best]])


def _around(steps: pd.DataFrame, records: pd.DataFrame, code: np.ndarray, already: np.ndarray,
            network: Network) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The same of records that begin while others below them are open, and one event of these.

    already: (m,) customers of each step who are off by a record above it.
    """
    root, top, start, end, event = _places(records, network)
    inner, outer = pairs_in_time(root, start + 1, np.maximum(end - 1, start + 1), root, start)
    nested = below(network, top[inner], top[outer]) & (top[inner] != top[outer]) & (event[inner] != event[outer])
    inner, outer = inner[nested], outer[nested]
    if not len(outer):
        return _nobody(steps)
    own = steps.assign(customers=steps["customers"].to_numpy() - already)
    still, until = _still_off(own, code, inner, start[outer])
    which, first, pair = np.unique(outer, return_index=True, return_inverse=True)
    off, size = np.bincount(pair, still), records["customers"].to_numpy()[which]
    served = network.customers_below[top[which]] * records["growth"].to_numpy()[which]
    shared = np.clip(size + off - served, 0.0, np.minimum(off, size))
    ended = np.bincount(pair, still * np.minimum(until, end[outer])) / np.maximum(off, 1e-9)
    found = shared > 1e-9
    return _of_steps(steps, code, which[found], shared[found] / size[found], ended[found],
                     event[inner[first]][found])


def _going_on(steps: pd.DataFrame, records: pd.DataFrame,
              before: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The same of what goes on where another at its place ends; before: (m,) the other record, −1 without."""
    begun, ends = steps["start"].to_numpy(), np.minimum(steps["end"].to_numpy(), records["end"].to_numpy()[before])
    off = np.where(before >= 0, np.maximum(ends - begun, 0), 0).astype(float)
    return np.where(off > 0, steps["customers"].to_numpy(), 0.0), off, records["event"].to_numpy()[before]


def _nobody(steps: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nobody is off already."""
    return np.zeros(len(steps)), np.zeros(len(steps)), np.full(len(steps), -1, dtype=np.int64)


def _places(records: pd.DataFrame, network: Network) -> tuple[np.ndarray, ...]:
    """Of each record its source, the section that holds its customers, when it begins and ends, and its event."""
    top = reached(network, *(records[name].to_numpy() for name in ("section", "customers", "growth")))
    return (roots(network, records["section"].to_numpy()), top,
            *(records[name].to_numpy() for name in ("start", "end", "event")))


def _of_steps(steps: pd.DataFrame, code: np.ndarray, record: np.ndarray, shared: np.ndarray, until: np.ndarray,
              event: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Customers of each step who are off already, for how long (s), and the event by which, −1 without.

    record: (k,) those with such customers, shared: their share, until: when they would be back, event: of the other.
    """
    records = int(code.max()) + 1
    share, ended, of = np.zeros(records), np.zeros(records), np.full(records, -1, np.int64)
    share[record], ended[record], of[record] = shared, until, event
    begun, over = steps["start"].to_numpy(), steps["end"].to_numpy()
    off = np.clip(np.minimum(over, ended[code]) - begun, 0, None).astype(float)
    return share[code] * steps["customers"].to_numpy() * (off > 0), off, np.where(off > 0, of[code], -1)


def _still_off(steps: pd.DataFrame, code: np.ndarray, record: np.ndarray,
               time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Customers that a record (k,) still has off at a time, and when the last of them is restored."""
    order = np.argsort(code, kind="stable")
    first = np.searchsorted(code[order], record, side="left")
    count = np.searchsorted(code[order], record, side="right") - first
    pair, number = of_each(count)
    step = order[first[pair] + number]
    open_ = (steps["end"].to_numpy()[step] > time[pair]) & (steps["start"].to_numpy()[step] <= time[pair])
    still = np.bincount(pair, weights=np.where(open_, steps["customers"].to_numpy()[step], 0.0), minlength=len(record))
    until = np.zeros(len(record), np.int64)
    np.maximum.at(until, pair[open_], steps["end"].to_numpy()[step[open_]])
    return still, until
