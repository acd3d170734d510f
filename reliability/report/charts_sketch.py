"""A lateral and its backup in one line, for a sheet of the work pack where the study has no routes."""

from __future__ import annotations

import numpy as np

from reliability.formats import count, number
from reliability.network.devices import NO_DEVICE
from reliability.network.tree import Network
from reliability.report.chart import METRES_PER_KM, METRES_PER_MILE, MapChart, MapLines
from reliability.report.charts_map import mark_of
from reliability.report.palette import BLUE, GREY
from reliability.schema.devices import TABLE

WINDOW = (0.0, 100.0, 0.0, 78.0)                       # of the sketch, units of its own
BACKUP, TAP, DEVICE, FAR, TOP = (10.0, 22.0), 56.0, 36.0, 94.0, 66.0
MOST_SWITCHES = 5                                      # drawn between the two; the words give their number


def lateral_sketch(network: Network, head: int, backup: int, *, key: str, miles: bool = False) -> MapChart:
    """A lateral that leaves the line of its backup, not to scale; the words say what is between and beyond.

    backup: position of the reclosing device behind it, negative where there is none.
    """
    y = BACKUP[1]
    main = np.array([BACKUP[0], FAR if _goes_on(network, head) else TAP]), np.array([y, y])
    lateral = np.array([TAP, TAP]), np.array([y, TOP])
    marks = [mark_of(network, head, np.array([TAP]), np.array([DEVICE]), str(network.names[head]))]
    if backup >= 0:
        marks.append(mark_of(network, backup, np.array([BACKUP[0]]), np.array([y]), str(network.names[backup])))
        between = _switches_between(network, head, backup)[:MOST_SWITCHES]
        along = BACKUP[0] + (TAP - BACKUP[0]) * (np.arange(len(between)) + 1.0) / (len(between) + 1.0)
        marks += [mark_of(network, at, np.array([x]), np.array([y])) for at, x in zip(between, along, strict=True)]
    lines = (MapLines("main", *main, GREY, 2.0), MapLines("lateral", *lateral, BLUE, 3.0))
    return MapChart(key, f"Sketch of {network.names[head]}", _words(network, head, backup, miles), lines,
                    tuple(marks), WINDOW, "", miles, small=True, schematic=True)


def _words(network: Network, head: int, backup: int, miles: bool) -> str:
    end, size = network.along_path(_lengths(network)), int(network.size[head])
    inside = slice(head, head + size)
    said = f"One-line sketch, not to scale: lateral {network.names[head]}"
    if backup >= 0:
        before = end[network.parent[head]] - end[backup] + _lengths(network)[backup]
        said += f", {_distance(before, miles)} of line behind its backup {network.names[backup]}"
        if switches := len(_switches_between(network, head, backup)):
            said += f", {count(switches, 'switch', 'switches')} between"
    said += f". Beyond: {count(size, 'section')}, {_distance(float(_lengths(network)[inside].sum()), miles)} of line"
    codes = network.device[head + 1:head + size]
    devices = [count(int((codes == code).sum()), device.label.lower(), f"{device.label.lower()}es"
                     if device.label.endswith("ch") else "")
               for code, device in enumerate(TABLE) if (codes == code).any()]
    return said + "".join(f", {text}" for text in devices) + "."


def _lengths(network: Network) -> np.ndarray:
    return np.nan_to_num(network.column["length_km"])


def _distance(km: float, miles: bool) -> str:
    return f"{number(km * METRES_PER_KM / METRES_PER_MILE)} mi" if miles else f"{number(km)} km"


def _switches_between(network: Network, head: int, backup: int) -> list[int]:
    """Positions of the devices between a backup and a lateral's head, from the backup outwards: switches only."""
    found, at = [], int(network.parent[head])
    while at > backup:
        if network.device[at] != NO_DEVICE:
            found.append(at)
        at = int(network.parent[at])
    return found[::-1]


def _goes_on(network: Network, head: int) -> bool:
    """Whether the line from which a lateral branches goes on behind it."""
    parent = int(network.parent[head])
    return parent >= 0 and int(network.size[parent]) > 1 + int(network.size[head])
