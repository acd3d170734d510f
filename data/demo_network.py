"""The network of the invented cooperative: feeders, laterals, loads and links, before its protection."""

from __future__ import annotations

import numpy as np
from demo_maker import Maker

from reliability.network.fuse_links import link_table
from reliability.network.link_curves import link_curves, saving_ceilings_a

SUBSTATIONS = {"Alder Creek": 3, "Millbrook": 4, "Stonefield": 5}  # feeders each
KV_TO_GROUND = 7.2
MAIN_OHM_PER_KM, TAP_OHM_PER_KM = 0.42, 0.95


def impedance(current_a: float) -> float:
    return KV_TO_GROUND * 1000.0 / current_a


def current(ohm: float) -> float:
    return round(KV_TO_GROUND * 1000.0 / ohm)


def coordinated_link(load_a: float, fault_a: float, rng: np.random.Generator) -> str:
    """The smallest link that carries the load twice over and can still be saved, if there is one."""
    table = link_table()
    sizes = [r for r in (10, 15, 25, 40, 65, 100) if r >= 2.0 * load_a] or [100]
    names = [f"{r}{s}" for r in sizes for s in "KT"]
    saved = [n for n, ceiling in zip(names, saving_ceilings_a(link_curves(names), 0.08, 0.75), strict=True)
             if ceiling > fault_a]
    link = saved[0] if saved else f"{sizes[min(1, len(sizes) - 1)]}T"
    if rng.random() < 0.06:  # somebody put in what was on the truck
        link = str(rng.choice([n for n in table.index if n[:-1] in ("10", "15", "25", "40", "65")]))
    return link


def feeder(maker: Maker, name: str, number: int) -> None:
    """One feeder: a main with switches, perhaps a midline recloser and a tie, and its taps."""
    rng = maker.rng
    ohm = impedance(rng.uniform(4200, 7500))
    fast = 2 if number % 3 else 0  # fast tripping is blocked on every third feeder
    spans = int(rng.integers(9, 14))
    recloser_at = int(rng.integers(spans // 2, spans - 2)) if number % 4 != 1 else -1
    parent, mains = "", []
    for i in range(spans):
        length = round(rng.uniform(0.8, 2.0), 2)
        device = "breaker" if i == 0 else "recloser" if i == recloser_at else "switch" if i % 3 == 0 else ""
        cells = {"section_id": f"{name}-M{i + 1:02d}", "parent_id": parent, "device": device, "feeder_id": name,
                 "length_km": length, "customers": int(rng.integers(4, 22)), "phases": 3,
                 "fault_current_source_a": current(ohm), "fault_current_end_a": current(ohm + MAIN_OHM_PER_KM * length)}
        if device in ("breaker", "recloser"):
            cells |= {"operations_to_lockout": 4, "fast_operations": fast, "dead_time_s": 2.0,
                      "minimum_trip_a": 560 if device == "breaker" else int(rng.choice([200, 280, 240]))}
        if i == spans - 1 and number % 3 != 2:
            cells["tie_probability"] = round(rng.uniform(0.5, 0.9), 2)
        ohm += MAIN_OHM_PER_KM * length
        parent = maker.add(**cells)["section_id"]
        mains.append(cells)
    for k in range(int(rng.integers(47, 54))):
        tap(maker, mains[int(rng.integers(1, spans))], f"{name}-L{k + 1:02d}", name)


def tap(maker: Maker, main: dict, name: str, feeder_id: str) -> None:
    """One fused lateral, perhaps with a second section and sub-laterals behind fuses of their own."""
    rng = maker.rng
    phases = int(rng.choice([1, 2, 3], p=[0.72, 0.10, 0.18]))
    customers = int(min(rng.gamma(1.6, 8.0 * phases) + 2, 160))
    ohm = impedance(main["fault_current_end_a"])
    head = line(maker, name, main["section_id"], "fuse", feeder_id, phases, customers, ohm, rng.gamma(2.2, 0.48) + 0.15)
    ohm_end = impedance(head["fault_current_end_a"])
    below = head
    if rng.random() < 0.35:
        below = line(maker, f"{name}a", name, "", feeder_id, phases, int(rng.integers(1, 12)), ohm_end,
                     rng.gamma(2.0, 0.5) + 0.1)
    for j in range(int(rng.choice([0, 1, 2], p=[0.8, 0.14, 0.06]))):
        line(maker, f"{name}s{j + 1}", below["section_id"], "fuse", feeder_id, 1, int(rng.integers(1, 10)),
             impedance(below["fault_current_end_a"]), rng.gamma(2.0, 0.3) + 0.1)


def line(maker: Maker, name: str, parent: str, device: str, feeder_id: str, phases: int, customers: int, ohm: float,
         length: float) -> dict:
    length = round(length, 2)
    return maker.add(section_id=name, parent_id=parent, device=device, feeder_id=feeder_id, length_km=length,
                     customers=customers, phases=phases, fault_current_source_a=current(ohm),
                     fault_current_end_a=current(ohm + TAP_OHM_PER_KM * length))


def finish(maker: Maker) -> list[dict]:
    """Loads, classes, peak currents and links, which need to know what lies below."""
    rng = maker.rng
    below = {r["section_id"]: r["customers"] for r in maker.rows}
    for row in reversed(maker.rows):
        if row["parent_id"]:
            below[row["parent_id"]] += below[row["section_id"]]
    for row in maker.rows:
        n = row["customers"]
        big_tap = row["phases"] == 3 and row["device"] == "fuse"
        large = int(rng.random() < (0.25 if big_tap else 0.03 if n > 20 else 0.0))
        small = int(rng.binomial(n - large, 0.08))
        row |= {"customers_residential": n - small - large, "customers_small_ci": small, "customers_large_ci": large}
        plant = large * (rng.uniform(300, 2400) if row["phases"] == 3 else 60.0)  # kW
        row["plant_kw"] = plant
        row["load_kw"] = round(1.15 * (n - small - large) + 4.0 * small + 0.6 * plant, 1)
        peak_kva = 2.6 * below[row["section_id"]] * rng.uniform(0.8, 1.2) + plant / 0.9
        row["peak_load_a"] = round(peak_kva / KV_TO_GROUND / row["phases"], 1)
        if row["device"] == "fuse" and rng.random() > 0.015:
            row["fuse_link"] = coordinated_link(row["peak_load_a"], row["fault_current_source_a"], rng)
        if rng.random() < 0.02:
            row["peak_load_a"] = ""
        if row["device"] in ("", "fuse") and rng.random() < 0.02:
            row["fault_current_source_a"] = row["fault_current_end_a"] = ""
        row["generation_kw"] = round(rng.uniform(15, 120)) if row["device"] == "fuse" and rng.random() < 0.04 else 0
        row["capacitor_kvar"] = 300 if row["phases"] == 3 and row["device"] == "" and rng.random() < 0.05 else 0
    single_phase_tails(maker.rows)
    return maker.rows


def single_phase_tails(rows: list[dict]) -> None:
    """The last part of a lateral has one phase. Where the first has one too, the current at the joint lies on the line
    from end to end: the same conductor runs on."""
    heads = {row["section_id"]: row for row in rows}
    for row in rows:
        name = row["section_id"]
        if not name.endswith("a"):
            continue
        head = heads[name.removesuffix("a")]
        if row["phases"] > 1 and row["peak_load_a"]:
            row["peak_load_a"] = round(row["peak_load_a"] * row["phases"], 1)
        row |= {"phases": 1, "capacitor_kvar": 0}
        if head["phases"] == 1 and head["fault_current_source_a"] and row["fault_current_end_a"]:
            part = head["length_km"] / (head["length_km"] + row["length_km"])
            joint = 1.0 / ((1.0 - part) / head["fault_current_source_a"] + part / row["fault_current_end_a"])
            head["fault_current_end_a"] = round(joint, 6)
            if row["fault_current_source_a"]:
                row["fault_current_source_a"] = round(joint, 6)


def network_rows(maker: Maker) -> list[dict]:
    """Rows of sections.csv before its protection."""
    number = 0
    for station, feeders in SUBSTATIONS.items():
        code = "".join(word[0] for word in station.split()) if " " in station else station[:2].upper()
        for k in range(feeders):
            number += 1
            first = len(maker.rows)
            feeder(maker, f"{code}{k + 1}", number)
            for row in maker.rows[first:]:
                row["area"] = station
    return finish(maker)
