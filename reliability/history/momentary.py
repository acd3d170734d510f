"""Momentary interruptions into momentary events (IEEE Std 1366-2012, definitions; from memory).

The momentary interruptions of one place that start within five minutes of the first of them
are one momentary event: a reclosing device at work. Those that start together are steps of a
restoration, so different customers; those that follow are the same customers again, and the
event has as many as the largest of them. Places are events of their own.

A customer whose sustained interruption starts within five minutes after it has no momentary event:
one of the same place, and one of any other place at, above or below it as far as the two records
together have more customers than are served there, so that some must be in both. Records that name
no more than there are may be of different customers, and nothing is taken out.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.history.extent import below, pairs_in_time, reached, roots
from reliability.history.outages import Records
from reliability.study.event_ids import MOMENTARY_SECONDS


def window_starts(place: np.ndarray, start: np.ndarray, seconds: int = MOMENTARY_SECONDS) -> np.ndarray:
    """Whether each time opens a window, of rows (n,) in order of place and then start.

    A window holds the times of one place up to `seconds` after the first of it.
    """
    n = len(place)
    if not n:
        return np.zeros(0, bool)
    begins = np.append(True, place[1:] != place[:-1])
    key = _key(place, start, seconds)
    beyond = np.searchsorted(key, key + seconds, side="right")  # first row past the window of each
    opens = np.zeros(n, bool)
    at = np.flatnonzero(begins | np.append(True, np.diff(key) > seconds))
    while at.size:
        opens[at] = True
        at = beyond[at]
        at = at[at < n]
        at = at[~opens[at]]
    return opens


def _key(place: np.ndarray, start: np.ndarray, seconds: int) -> np.ndarray:
    """One ascending number for place and time, the places further apart than any window."""
    low = int(start.min())
    return place.astype(np.int64) * (int(start.max()) - low + 4 * seconds) + (start - low)


def momentary_customers(records: Records) -> np.ndarray:
    """Customers of the momentary event that each step (n,) opens; 0 for all other steps."""
    steps = records.steps
    result = np.zeros(len(steps))
    counted, sustained = steps["counted"].to_numpy(), steps["sustained"].to_numpy()
    start = steps["started"].to_numpy().astype(np.int64)
    place, customers = pd.factorize(steps["place"])[0], steps["customers"].to_numpy()
    at = np.flatnonzero(counted & ~sustained)
    if not at.size:
        return result
    at = at[np.lexsort((start[at], place[at]))]
    opens = window_starts(place[at], start[at])
    window = np.cumsum(opens) - 1
    # steps that start together are different customers, later starts the same ones again
    together = np.cumsum(opens | np.append(True, np.diff(start[at]) != 0)) - 1
    summed = np.bincount(together, weights=customers[at])
    of_window = window[np.flatnonzero(np.append(True, np.diff(together) != 0))]
    first = np.flatnonzero(opens)
    largest = np.maximum.reduceat(summed, np.searchsorted(of_window, np.arange(len(first))))
    over = np.maximum.reduceat(start[at] + steps["seconds"].to_numpy()[at].astype(np.int64), first)
    suffered = _sustained_after(place[at[first]], start[at[first]], over, place, start,
                                np.where(counted & sustained, customers, 0.0), counted & sustained)
    suffered += _elsewhere(records, at[first], place, largest, over)
    result[at[first]] = np.maximum(largest - suffered, 0.0)
    return result


def _elsewhere(records: Records, first: np.ndarray, place: np.ndarray, customers: np.ndarray,
               over: np.ndarray) -> np.ndarray:
    """Customers of each momentary event (w,) that must be among those of sustained records of other places.

    first: its first step; place: (n,) codes of the steps; customers, over (s): of the event.
    """
    network, section = records.network, records.steps["section"].to_numpy()
    result = np.zeros(len(first))
    event, lasting = np.flatnonzero(section[first] >= 0), _lasting(records, place)
    if not len(lasting) or not len(event):
        return result
    opened, customers = first[event], customers[event]
    begun = records.steps["started"].to_numpy()[opened].astype("datetime64[s]").astype(np.int64)
    one, other = pairs_in_time(roots(network, section[opened]), begun, over[event] + MOMENTARY_SECONDS,
                               roots(network, lasting["section"].to_numpy()), lasting["start"].to_numpy())
    apart = lasting["place"].to_numpy()[other] != place[opened][one]
    one, other = one[apart], other[apart]
    named = lasting["customers"].to_numpy()[other]
    growth = records.served.growth[records.steps["year"].to_numpy()[opened] - records.served.years[0]]
    top = reached(network, section[opened], customers, growth)
    far = reached(network, *(lasting[name].to_numpy() for name in ("section", "customers", "growth")))[other]
    served = network.customers_below * 1.0
    inside = below(network, far, top[one])
    within = np.bincount(one[inside], weights=named[inside], minlength=len(event))
    shared = np.clip(customers + within - served[top] * growth, 0.0, np.minimum(customers, within))
    above = ~inside & below(network, top[one], far)
    beyond = np.zeros(len(event))
    np.maximum.at(beyond, one[above], (customers[one] + named - served[far] * growth[one])[above])
    result[event] = shared + np.minimum(beyond, customers)
    return result


def _lasting(records: Records, place: np.ndarray) -> pd.DataFrame:
    """Sustained records of known section: place, start (s), section, customers and growth of customers served; steps
    that start together are one."""
    steps = records.steps
    used = (steps["counted"] & steps["sustained"]).to_numpy(dtype=bool) & (steps["section"].to_numpy() >= 0)
    part = pd.DataFrame({
        "place": place, "start": steps["started"].to_numpy().astype("datetime64[s]").astype(np.int64),
        "section": steps["section"], "customers": steps["customers"] - steps["already_off"],
        "growth": records.served.growth[steps["year"].to_numpy() - records.served.years[0]]})[used]
    return part.groupby(["place", "start"], sort=False, as_index=False).agg(
        section=("section", "first"), customers=("customers", "sum"), growth=("growth", "first"))


def _sustained_after(place: np.ndarray, begun: np.ndarray, over: np.ndarray, all_places: np.ndarray,
                     all_starts: np.ndarray, customers: np.ndarray, sustained: np.ndarray) -> np.ndarray:
    """Customers whose sustained interruption starts after `begun` and up to five minutes after `over`.

    place, begun, over: (w,) of the momentary events. all_places, all_starts, customers, sustained: (n,) of the steps.
    """
    rows = np.flatnonzero(sustained)
    if not rows.size:
        return np.zeros(len(place))
    rows = rows[np.lexsort((all_starts[rows], all_places[rows]))]
    low = min(int(all_starts.min()), int(begun.min()))
    span = int(max(all_starts.max(), over.max())) - low + 4 * MOMENTARY_SECONDS
    key = all_places[rows].astype(np.int64) * span + (all_starts[rows] - low)
    running = np.append(0.0, np.cumsum(customers[rows]))
    base = place.astype(np.int64) * span - low
    until = np.searchsorted(key, base + over + MOMENTARY_SECONDS, side="right")
    return running[until] - running[np.searchsorted(key, base + begun, side="right")]
