"""What faults there are and how protection responds to each (model.md §2, §3), for tests/enumeration.py.

Written from the text alone; nothing of the package is imported.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise, product

from tests.enumeration_curves import BOTH, FUSE_ALONE, by_simple_rule, by_times, elements_that_act
from tests.enumeration_network import FUSE, SECTIONALIZER, Network

KM_PER_MILE = 1.609344
PERMANENT = None  # in place of the dead time in which a fault clears


# --- what may happen ---------------------------------------------------------------------


def kinds(row: dict, values):
    """Yield (rate per year, dead time in which the fault clears) of a section's faults."""
    length = row["length_km"] if "length_km" in row else KM_PER_MILE * row["length_mi"]
    per_km = (row["line_fault_rate_per_mi"] / KM_PER_MILE if "line_fault_rate_per_mi" in row
              else row.get("line_fault_rate_per_km", values["line_fault_rate_per_km"]))
    rate = float(length) * float(per_km) + float(row.get("equipment_fault_rate", 0.0))
    temporary = float(row.get("temporary_fraction", values["temporary_fraction"]))
    yield rate * (1 - temporary), PERMANENT
    for dead_time, share in enumerate(values["clearing_shares"], start=1):
        yield rate * temporary * share, dead_time


def states(backup: dict, values) -> list[tuple[float, dict]]:
    """(Probability, the reclosing device in that state): in normal operation, and with reclosing off."""
    off = backup | {"off": True, "operations": 1,
                    "fast": 1 if values.get("reclosing_off_trip", "delayed") == "fast" else 0}
    return [(1 - backup["off_share"], backup), (backup["off_share"], off)]


def parts(phases: int, backup: dict, values) -> list[tuple[float, float, bool]]:
    """(Probability, mean phases involved, whether ground elements see it) of the parts of a section's faults."""
    one, two, three = values["phases_involved"]
    if phases == 1:
        return [(1.0, 1.0, True)]
    if phases == 2:
        return [(1.0, one + 2 * (two + three), True)]
    if not any(e["ground"] for e in backup["elements"]):
        return [(1.0, one + 2 * two + 3 * three, True)]
    if one + two == 0:
        return [(1.0, 3.0, False)]
    return [(one + two, (one + 2 * two) / (one + two), True), (three, 3.0, False)]


def patterns(chain: list[dict]) -> Iterator[tuple[float, list[dict], dict | None]]:
    """Yield (probability, the devices that work, the fuse to be asked with the link it holds).

    Only the working fuse nearest the fault is asked, so only its link matters.
    """
    for works in product((True, False), repeat=len(chain)):
        probability = 1.0
        for device, does in zip(chain, works, strict=True):
            probability *= 1 - device["failure"] if does else device["failure"]
        working = [device for device, does in zip(chain, works, strict=True) if does]
        fuse = next((device for device in working if device["device"] == FUSE), None)
        if fuse is None:
            yield probability, working, None
            continue
        for held, link, ceiling in fuse["links"]:
            yield probability * held, working, fuse | {"link": link, "ceiling": ceiling}


def places(network: Network, fault: str, working: list[dict], fuse: dict | None, backup: dict, ground: bool
           ) -> list[tuple[float, float | None]]:
    """Stretches of the section as (share of it, current in A at its middle), None where unknown."""
    currents = network.currents(fault)
    if currents is None:
        return [(1.0, None)]
    near, far = currents
    if near == far:
        return [(1.0, near)]
    thresholds = [device["actuating"] for device in working if device["device"] == SECTIONALIZER]
    if fuse and fuse["link"] and backup["elements"]:
        thresholds += network.cuts(backup, fuse, ground)
    elif fuse:
        thresholds += [fuse["ceiling"]] + ([fuse["link"]["clearing"].points[0][0]] if fuse["link"] else [])
    cuts = {0.0, 1.0}
    for threshold in thresholds:
        if 0 < threshold < math.inf:
            x = (1 / threshold - 1 / near) / (1 / far - 1 / near)
            if 0 < x < 1:
                cuts.add(x)
    return [(right - left, 1 / ((1 - (left + right) / 2) / near + (left + right) / 2 / far))
            for left, right in pairwise(sorted(cuts))]


# --- one fault ---------------------------------------------------------------------------


def which(fuse: dict, backup: dict, current: float | None, fast: bool, ground: bool) -> str:
    """Which of the three happens on one operation."""
    if backup["elements"] and fuse["link"] and current is not None:
        return by_times(fuse["link"], fuse["factor"], elements_that_act(backup["elements"], fast, ground), current)
    return by_simple_rule(fuse["link"], fuse["ceiling"], current, fast)


def play(working: list[dict], fuse: dict | None, backup: dict, current: float | None, ground: bool,
         clears_in: int | None) -> tuple[dict | None, int]:
    """The device left open (None: nothing) and how often the reclosing device opened.

    working: the working fuses and sectionalizers, nearest the fault first; fuse: the first fuse of them, with its link.
    """
    last = backup["operations"]
    for operation in range(1, last + 1):
        ready = [device for device in working if device["device"] == SECTIONALIZER
                 and not (current is not None and current < device["actuating"]) and device["counts"] <= operation]
        if fuse:
            happens = which(fuse, backup, current, operation <= backup["fast"], ground)
            if happens == FUSE_ALONE:
                return fuse, operation - 1
            if happens == BOTH:
                if operation == last:
                    return backup, operation
                sections = [device["section"] for device in ready] + [fuse["section"]]
                return next(d for d in reversed(working) if d["section"] in sections), operation
        if operation == last:
            return backup, operation
        if ready:
            return ready[-1], operation
        if clears_in is not PERMANENT and clears_in <= operation:
            return None, operation
    raise AssertionError("the last operation always ends it")
