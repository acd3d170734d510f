"""The protection of the invented cooperative: reclosing devices, their settings and curves, names and places.

Settings are those that an engineer may find in such a place: phase pickups of two to three times the peak load, ground
pickups of about half of them, fast operations a few cycles long, delayed ones slow enough that a fuse clears first
nearly everywhere. Everything is made up.
"""

from __future__ import annotations

import numpy as np

from reliability.network.link_curves import link_curves, saving_ceilings_a

VERY, EXTREMELY = "ieee_very_inverse", "ieee_extremely_inverse"
# Breakers by station: interrupting time, s (five cycles in the oldest, else three), and dial of the ground curve.
BREAKERS = {"Alder Creek": (0.083, 0.8), "Millbrook": (0.05, 1.2), "Stonefield": (0.05, 1.2)}
RECLOSER_S, LATERAL_RECLOSER_S = 0.045, 0.035   # interrupting times
LONGEST_DEAD_TIME_S = {"breaker": 15.0, "recloser": 5.0, "lateral_recloser": 5.0}
LATERAL_RECLOSERS = 9              # the laterals with most customers that have fused branches, one a feeder
RECLOSING_OFF = {"MI2": 0.006, "ST4": 0.012}   # dry, wooded country: lines run without reclosing on fire-risk days
UNDERGROUND_SHARE = 0.05           # of single-phase laterals without branches
UNDERGROUND = {"construction": "underground", "line_fault_rate_per_km": 0.12, "temporary_fraction": 0.05,
               "repair_hours": 6.0}
ROADS = ("Quarry Lane", "Tannery Road", "Old Ferry Road", "Larkfield Road", "Sawpit Lane", "Heron Road", "Chapel Row",
         "Windmill Road", "Drovers Road", "Kiln Lane", "Beech Hollow", "Ostlers Way")
LETTERS = {"breaker": "B", "recloser": "R", "lateral_recloser": "L", "fuse": "F", "switch": "S"}
TRANSFORMERS_KVA = (75, 112.5, 150, 225, 300, 500, 750, 1000, 1500, 2000, 2500, 3750)   # of plants
# Clearing times of the oldest recloser, hydraulic, of 140 A minimum trip; and one link by its maker's sheet.
CURVES = {
    "hydraulic fast": [(140, 0.35), (200, 0.16), (280, 0.105), (420, 0.07), (700, 0.05), (1400, 0.04), (3000, 0.035)],
    "hydraulic delayed": [(140, 30.0), (200, 9.5), (280, 5.0), (420, 2.6), (700, 1.25), (1400, 0.5), (3000, 0.2)],
    "65T melting": [(128, 300.0), (140, 100.0), (195, 10.0), (285, 3.0), (490, 1.0), (930, 0.3), (1650, 0.1),
                    (3690, 0.02), (8000, 0.0043)],
    "65T clearing": [(153, 300.0), (175, 90.0), (291, 10.0), (415, 3.0), (700, 1.02), (1180, 0.313), (1975, 0.113),
                     (3250, 0.05), (8000, 0.019)],
}


def is_branch(row: dict) -> bool:
    """Whether a section is a fused branch of a lateral, as generate_demo.py names them (AC1-L07s1)."""
    return "s" in row["section_id"]


def _lateral(row: dict) -> str:
    """section_id of the head of a section's lateral, its own on the mains (AC1-L07 of AC1-L07a and AC1-L07s1)."""
    return row["section_id"].split("s")[0].removesuffix("a")


def add_lateral_reclosers(rows: list[dict]) -> None:
    """Put single-phase reclosers where fuses with fused branches stood; the branches get links that go with them."""
    branches: dict[str, list[dict]] = {}
    customers: dict[str, int] = {}
    for row in rows:
        lateral = _lateral(row)
        customers[lateral] = customers.get(lateral, 0) + row["customers"]
        if is_branch(row):
            branches.setdefault(lateral, []).append(row)
    single = {row["section_id"]: row for row in rows if row["section_id"] in branches and row["phases"] == 1}
    largest = sorted(single, key=lambda name: (-customers[name], name))
    first = {single[name]["feeder_id"]: name for name in reversed(largest)}
    for name in sorted(first.values(), key=largest.index)[:LATERAL_RECLOSERS]:
        single[name] |= {"device": "lateral_recloser", "fuse_link": "", "operations_to_lockout": 4,
                         "fast_operations": 2, "dead_time_s": 2.0, "tripping": "single_phase"}
        for row in branches[name]:
            row["fuse_link"] = _link_below_recloser(float(row["fault_current_source_a"] or 1500.0))


def _link_below_recloser(fault_a: float) -> str:
    """The smallest of the links in stock that a lateral recloser's fast operation still saves."""
    stock = ("15T", "25T", "40T")
    ceilings = saving_ceilings_a(link_curves(stock), LATERAL_RECLOSER_S + 0.02, 0.75)
    return next((link for link, ceiling in zip(stock, ceilings, strict=True) if ceiling > fault_a), stock[-1])


def add_underground(rows: list[dict], rng: np.random.Generator) -> None:
    """Cable in place of some laterals of one phase and one section: few faults, hardly a temporary one."""
    parents = {row["parent_id"] for row in rows}
    for row in rows:
        plain = row["device"] == "fuse" and row["phases"] == 1 and row["section_id"] not in parents
        if plain and not is_branch(row) and rng.random() < UNDERGROUND_SHARE:
            row |= UNDERGROUND


def add_service(rows: list[dict], rng: np.random.Generator) -> None:
    """Customers served by three phases, and transformers connected."""
    for row in rows:
        large, small, homes = (row[f"customers_{c}"] for c in ("large_ci", "small_ci", "residential"))
        three = row["phases"] == 3
        shops = int(rng.binomial(small, 0.4)) if three else 0   # small ones served by three phases
        row["customers_three_phase"] = shops + large if three else 0
        of_homes = rng.choice([10, 15, 25], (homes + 1) // 2, p=[0.45, 0.4, 0.15]).sum()   # two homes to a transformer
        plant_kva = row.pop("plant_kw") / 0.9
        of_plant = next(size for size in TRANSFORMERS_KVA if size >= plant_kva) if large else 0
        row["connected_kva"] = f"{of_homes + 45 * shops + 25 * (small - shops) + of_plant:g}"


def add_names(rows: list[dict], rng: np.random.Generator) -> None:
    """A number and a place for every device: poles counted along each feeder, a road for each lateral."""
    feeders = list(dict.fromkeys(row["feeder_id"] for row in rows))
    count: dict[tuple[str, str], int] = {}
    pole, roads = dict.fromkeys(feeders, 0), {}
    for row in rows:
        feeder = row["feeder_id"]
        pole[feeder] += int(rng.integers(4, 20))
        if not row["device"]:
            continue
        lateral = feeder if "-M" in row["section_id"] else _lateral(row)
        road = roads.setdefault(lateral, ROADS[int(rng.integers(len(ROADS)))])
        letter, number = LETTERS[row["device"]], feeders.index(feeder) + 1
        count[feeder, letter] = count.get((feeder, letter), 0) + 1
        row["device_id"] = f"{letter}{number:02d}-{count[feeder, letter]:02d}"
        row["location"] = f"Pole {number:02d}/{pole[feeder]:03d}, {road}"


def add_settings(rows: list[dict]) -> list[dict]:
    """Rows of settings.csv; minimum trip, tripping and the share without reclosing in the sections' rows."""
    reclosers = [row for row in rows if row["device"] == "recloser"]
    roles = dict.fromkeys((row["section_id"] for row in reclosers), "electronic")
    for place, role in ((2, "lockout"), (6, "hydraulic"), (7, "single")):
        roles[reclosers[place]["section_id"]] = role
    midline = {row["feeder_id"] for row in reclosers}
    settings: list[dict] = []
    for row in rows:
        if row["device"] == "breaker":
            own = breaker(row, row["feeder_id"] in midline)
        elif row["device"] == "recloser":
            own = recloser(row, roles[row["section_id"]])
        elif row["device"] == "lateral_recloser":
            own = inverse_pair("phase", 70, EXTREMELY, 0.02, 1.0, LATERAL_RECLOSER_S)
        else:
            continue
        row["minimum_trip_a"] = min(element["pickup_a"] for element in own)
        row["longest_dead_time_s"] = LONGEST_DEAD_TIME_S[row["device"]]
        row["reclosing_off_share"] = RECLOSING_OFF.get(row["feeder_id"], "")
        settings += [{"section_id": row["section_id"]} | element for element in own]
    return settings


def name_ties(rows: list[dict]) -> None:
    """Each tie between two neighbouring feeders names the section on its other side."""
    ends = [row for row in rows if row.get("tie_probability")]
    for here, there in zip(ends[::2], ends[1::2], strict=False):
        here["tie_section_id"], there["tie_section_id"] = there["section_id"], here["section_id"]


def breaker(row: dict, midline: bool) -> list[dict]:
    """Very inverse throughout, fast ones slower than those of the recloser beyond; lower pickups without one."""
    added, ground_dial = BREAKERS[row["area"]]
    phase, ground = (560, 240) if midline else (400, 200)
    return (inverse_pair("phase", phase, VERY, 0.05, 1.0, added)
            + inverse_pair("ground", ground, VERY, 0.05, ground_dial, added))


def recloser(row: dict, role: str) -> list[dict]:
    """A midline recloser: electronic, three-phase or by phase, or a bank of old hydraulic ones without ground trip."""
    if role == "hydraulic":
        row["tripping"] = "single_phase"
        return [setting("phase", operation, 140, f"hydraulic {operation}", "", "") for operation in ("fast", "delayed")]
    if role == "single":
        row["tripping"] = "single_phase"
        return inverse_pair("phase", 200, EXTREMELY, 0.02, 1.0, RECLOSER_S)
    if role == "lockout":
        row["tripping"] = "single_phase_three_phase_lockout"
    pickup = row["minimum_trip_a"]
    return (inverse_pair("phase", pickup, EXTREMELY, 0.02, 1.0, RECLOSER_S)
            + inverse_pair("ground", pickup // 2, EXTREMELY, 0.02, 1.5 if pickup < 280 else 1.0, RECLOSER_S))


def inverse_pair(element: str, pickup_a: int, curve: str, fast_dial: float, delayed_dial: float,
                 added_s: float) -> list[dict]:
    return [setting(element, "fast", pickup_a, curve, fast_dial, added_s),
            setting(element, "delayed", pickup_a, curve, delayed_dial, added_s)]


def setting(element: str, operation: str, pickup_a: int, curve: str, dial, added_s) -> dict:
    return {"element": element, "operation": operation, "pickup_a": pickup_a, "curve": curve, "time_dial": dial,
            "added_time_s": added_s}


def curve_rows() -> list[dict]:
    """Rows of curves.csv."""
    return [{"curve": name, "current_a": current, "time_s": time}
            for name, points in CURVES.items() for current, time in points]
