"""Faults that the outage records show, and where each of them lies.

An unplanned event is one fault, and so are events of one lateral, or of one main section,
that start within five minutes of the first of them. A fault that a breaker or recloser
cleared lies somewhere in its zone, perhaps on a lateral: its section is not known.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.history.momentary import window_starts
from reliability.history.outages import Records, mapped_kinds
from reliability.network.devices import BACKS_UP
from reliability.network.tree import Network

NOWHERE = -1


def recorded_faults(records: Records) -> pd.DataFrame:
    """Faults that the records show, a row each: section (position), day (datetime64[s]), kind, sustained.

    The section is the furthest from the source that the fault's events name, NOWHERE for an
    event of a breaker or recloser on the main, its zone holding a lateral, that has no step known
    to be sustained. A momentary event of a lateral recloser is a fault of its lateral, which is
    all of its zone. A fault has the kind that its steps state, permanent where they differ.
    """
    network = records.network
    steps = records.steps[["event", "section", "event_started", "day", "planned", "sustained"]]
    steps = steps.assign(kind=mapped_kinds(records))
    steps = steps[~steps["planned"].to_numpy() & (steps["section"].to_numpy() >= 0)]
    steps = steps.assign(depth=network.along_path(np.ones(len(network)))[steps["section"].to_numpy()])
    steps = _merged(steps, steps["event"].to_numpy())
    section = steps["section"].to_numpy()
    place = np.where(network.lateral[section] >= 0, network.lateral[section], section)
    order = np.lexsort((steps["event_started"].to_numpy(), place))
    opens = window_starts(place[order], steps["event_started"].to_numpy()[order].astype(np.int64))
    faults = _merged(steps.iloc[order], np.cumsum(opens))
    section = faults["section"].to_numpy()
    nowhere = ~faults["sustained"].to_numpy(dtype=bool) & _backs_up_laterals(network)[section]
    faults = faults.assign(section=np.where(nowhere, NOWHERE, section))
    return faults[["section", "day", "kind", "sustained"]].reset_index(drop=True)


def _backs_up_laterals(network: Network) -> np.ndarray:
    """Breakers and reclosers on the main with a lateral in their zone, (n,)."""
    heads = network.unit == np.arange(len(network))
    return (network.unit < 0) & BACKS_UP[network.device] & (network.below(heads) > 0)


def _merged(steps: pd.DataFrame, code: np.ndarray) -> pd.DataFrame:
    """The furthest row of each code, ordered by code, with the largest kind and whether any row was sustained."""
    order = np.lexsort((-steps["depth"].to_numpy(), code))
    steps, code = steps.iloc[order], code[order]
    first = np.append(True, code[1:] != code[:-1])[:len(code)]
    grouped = steps[["kind", "sustained"]].groupby(code, sort=True).max()
    return steps[first].assign(kind=grouped["kind"].to_numpy(), sustained=grouped["sustained"].to_numpy())
