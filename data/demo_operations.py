"""What is known of the reclosing devices' operations: events at some, counters at others, nothing at the rest.

Breakers of two stations and some reclosers report each momentary event to the outage system (outages.csv); two
electronic reclosers keep a log of their own; counters of further devices are read once a year, in the last weeks of it.
One reading was missed, and one counter was replaced between two readings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

REPORTED, LOGGED, COUNTED, NOT_KNOWN = "reported", "logged", "counted", "not known"
STATIONS_REPORTED = ("Millbrook", "Stonefield")
RECLOSERS = (LOGGED, LOGGED, REPORTED, REPORTED, REPORTED, COUNTED, COUNTED, COUNTED, NOT_KNOWN)
LATERAL_RECLOSERS = (COUNTED,) * 5 + (NOT_KNOWN,) * 4
MISSED, REPLACED = (1, 2), (4, 3)      # (counted device, reading), both from 0
READ_BETWEEN = ("11-10", "12-20")      # of each year


@dataclass(frozen=True)
class Operation:
    """One sequence of a reclosing device: openings, and whether some customers had a momentary event from it."""

    section_id: str
    at: pd.Timestamp
    openings: int
    momentary: bool


def known_by(rows: list[dict]) -> dict[str, str]:
    """How the operations of each reclosing device are known, by section_id."""
    kinds: dict[str, str] = {}
    for device, ways in (("recloser", RECLOSERS), ("lateral_recloser", LATERAL_RECLOSERS)):
        names = [row["section_id"] for row in rows if row["device"] == device]
        kinds |= dict(zip(names, ways, strict=True))
    return kinds | {row["section_id"]: REPORTED if row["area"] in STATIONS_REPORTED else COUNTED
                    for row in rows if row["device"] == "breaker"}


def operations(rng: np.random.Generator, known: Mapping[str, str], happened: Sequence[Operation],
               years: range) -> list[dict]:
    """Rows of operations.csv, in order of device and time."""
    rows = [{"section_id": o.section_id, "from": f"{o.at:%Y-%m-%dT%H:%M:%S}", "operations": o.openings, "kind": "event"}
            for o in sorted(happened, key=lambda o: o.at) if o.momentary and known[o.section_id] == LOGGED]
    counted = [name for name, way in known.items() if way == COUNTED]
    for k, name in enumerate(sorted(counted)):
        rows += _readings(rng, name, [o for o in happened if o.section_id == name], years, k)
    return sorted(rows, key=lambda row: (row["section_id"], row["from"]))


def _readings(rng: np.random.Generator, name: str, happened: Sequence[Operation], years: range,
              device: int) -> list[dict]:
    """Rows of one counter; device: its place among those that are read."""
    days = [pd.Timestamp(f"{years[0]}-01-02") + pd.Timedelta(days=int(rng.integers(14)))]
    for year in years:
        first, last = (pd.Timestamp(f"{year}-{day}") for day in READ_BETWEEN)
        days.append(first + pd.Timedelta(days=int(rng.integers((last - first).days))))
    if device == MISSED[0]:
        del days[1 + MISSED[1]]
    rows = []
    for k, (begin, end) in enumerate(pairwise(days)):
        steps = sum(o.openings for o in happened if begin <= o.at < end)
        row = {"section_id": name, "from": f"{begin:%Y-%m-%d}", "to": f"{end:%Y-%m-%d}", "operations": steps,
               "kind": "counter"}
        if (device, k) == REPLACED:
            row |= {"operations": "", "kind": "ignore"}
        rows.append(row)
    return rows
