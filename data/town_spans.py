"""The wooded town's lines as its geographic system has them: spans between poles, and devices between two poles."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from demo_segments import part_of
from town_network import BRANCH, CABLE, MAIN, STATIONS, SWITCHES, WOODS, Line

from reliability.schema.columns import KM_PER_MILE

MILE_PLACES = 4
LONG_KM = 1.6                     # a lateral longer than this has two spans
CAPACITORS = 0.06                 # share of the spans of mains that have a bank
LINKS = (15, 25, 40, 65, 100)     # of type T in stock
HOME_KVA, SHOP_KVA = 2.8, 7.0     # of the peak, a customer
KV, KV_TO_GROUND = 12.47, 7.2
# Faults at the bus, three-phase and to ground, A: transformers of 20 to 25 MVA.
BUS_AMPS = {"North Woods": (7400, 7100), "Lakeside": (8300, 8100), "South Woods": (6200, 5900)}
ROADS = ("Alder Walk", "Birch Lane", "Cobble Street", "Deer Run", "Fern Hollow", "Gate Street", "Hazel Road",
         "Juniper Way", "Linden Street", "Maple Ridge", "Orchard Street", "Spruce Trail")
BREAKER, RECLOSER, CUTOUT, SWITCH, TIE = "BREAKER", "RECLOSER 1-PH", "CUTOUT", "GANG SWITCH", "TIE SWITCH"
LETTERS = {BREAKER: "CB", RECLOSER: "RC", CUTOUT: "FC", SWITCH: "GS", TIE: "TI"}
HEADS = {MAIN: BREAKER, BRANCH: RECLOSER}      # other lines begin at a cutout
RECLOSES = {BREAKER: {"TRIPS_TO_LOCKOUT": 4, "FIRST_DEAD_S": 2.0, "LAST_DEAD_S": 15.0, "OPENS": "GANGED"},
            RECLOSER: {"TRIPS_TO_LOCKOUT": 4, "FIRST_DEAD_S": 2.0, "LAST_DEAD_S": 5.0, "OPENS": "EACH PHASE"}}


@dataclass(frozen=True)
class Spans:
    """rows: of spans, `route` (p, 2) metres among them. devices: rows. of_line: ids of the spans of each line, from the
    source on."""

    rows: list[dict]
    devices: list[dict]
    of_line: list[list[str]]


def spans(rng: np.random.Generator, lines: list[Line]) -> Spans:
    """Spans and devices of all lines; numbers run along the feeders."""
    devices, rows, of_line = Devices(rng), [], []
    poles, node, peaks = dict.fromkeys((line.feeder for line in lines), 0), {}, peak_kva(lines)
    for k, line in enumerate(lines):
        source = bus(line.area) if line.parent < 0 else node[line.parent, line.at]
        here = f"{line.feeder}-000" if line.parent < 0 else load_side(source)
        devices.add(HEADS.get(line.kind, CUTOUT), source, here, line, peaks[k])
        first = len(rows)
        for share, after in pairwise([0.0, *_cuts(line, [one.at for one in lines if one.parent == k])]):
            poles[line.feeder] += 1
            there = f"{line.feeder}-{poles[line.feeder]:03d}"
            rows.append({
                "LINE": f"{'UG' if line.conductor == CABLE else 'OH'}-{len(rows) + 1:04d}", "POLE_A": here,
                "POLE_B": there, "WIRES": line.phases, "CONDUCTOR": line.conductor,
                "MILES": round(line.km * (after - share) / KM_PER_MILE, MILE_PLACES), "CIRCUIT": line.feeder,
                "DISTRICT": line.area, "BUILD": "CABLE" if line.conductor == CABLE else "POLES", "TREES": line.trees,
                "CAP_KVAR": 600 if line.kind == MAIN and rng.random() < CAPACITORS else 0,
                "route": part_of(line.route, share, after)})
            node[k, after] = here = there
            if line.kind == MAIN and after in SWITCHES:
                here = load_side(there)
                devices.add(SWITCH, there, here, line)
        of_line.append([row["LINE"] for row in rows[first:]])
    ends = [(line, node[k, 1.0]) for k, line in enumerate(lines) if line.kind == MAIN]
    for (line, one), (_, other) in zip(ends[::2], ends[1::2], strict=True):     # neighbouring feeders
        devices.add(TIE, one, other, line)
    return Spans(rows, devices.rows, of_line)


def _cuts(line: Line, taps: list[float]) -> list[float]:
    """Where spans of a line end: at taps and switches, in the middle of a long lateral, at its end."""
    own = SWITCHES if line.kind == MAIN else (0.5,) if line.kind == WOODS and line.km > LONG_KM else ()
    return sorted({*taps, *own, 1.0})


def peak_kva(lines: list[Line]) -> np.ndarray:
    """Peak of each line with all that hangs on it, kVA; plants aside, which have lines of their own."""
    kva = np.array([HOME_KVA * line.homes + SHOP_KVA * line.shops for line in lines])
    for k in range(len(lines) - 1, -1, -1):
        if lines[k].parent >= 0:
            kva[lines[k].parent] += kva[k]
    return kva


def bus(area: str) -> str:
    return f"BUS {area.upper()}"


def load_side(pole: str) -> str:
    return f"{pole}/L"


class Devices:
    """Rows of the devices as they are numbered."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng, self.rows = rng, []
        self.count = dict.fromkeys(LETTERS, 0)

    def add(self, kind: str, source: str, load: str, line: Line, kva: float = 0.0) -> None:
        """A device between two poles. kva: peak of what hangs on it."""
        self.count[kind] += 1
        peak_a = round(kva / KV_TO_GROUND / len(line.phases) * self.rng.uniform(0.85, 1.15), 1)
        road = ROADS[int(self.rng.integers(len(ROADS)))]
        row = {"DEVICE": f"{LETTERS[kind]}-{self.count[kind]:03d}", "KIND": kind, "SOURCE_SIDE": source,
               "LOAD_SIDE": load, "POSITION": "OPEN" if kind == TIE else "CLOSED", "WIRES": line.phases,
               "SITE": f"{line.area} substation" if kind == BREAKER else f"Pole {source}, {road}"}
        if kind == CUTOUT:
            row |= {"LINK": link_for(peak_a), "PEAK_AMPS": "" if self.rng.random() < 0.02 else peak_a}
        self.rows.append(row | RECLOSES.get(kind, {}))


def link_for(peak_a: float) -> str:
    """The smallest link in stock that carries twice the peak load."""
    return f"{next((size for size in LINKS if size >= 2.0 * peak_a), LINKS[-1])}T"


def sources() -> list[dict]:
    """Rows of the feeders: where they begin, with the currents of faults at the bus."""
    return [{"CIRCUIT": f"{letter}{k + 1}", "BUS": bus(area), "KV": KV, "AMPS_3PH": BUS_AMPS[area][0],
             "AMPS_GROUND": BUS_AMPS[area][1], "X_OVER_R": 12}
            for area, (letter, count) in STATIONS.items() for k in range(count)]
