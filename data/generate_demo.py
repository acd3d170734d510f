"""Make data/demo: an invented rural cooperative, its network and six years of outage records.

    python data/generate_demo.py

Network, loads and links are drawn here, the reclosing devices and their settings in demo_protection.py. Everything is
drawn from one seed. The records are drawn from the same outcome table that the
package computes with, at fault rates that differ from lateral to lateral; the true rates are
written to truth.csv, which no study reads, so that what is learned can be compared with them.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "data")]

from demo_protection import (  # noqa: E402
    add_lateral_reclosers,
    add_names,
    add_service,
    add_settings,
    add_underground,
    curve_rows,
    is_branch,
    name_ties,
)

from reliability.faults.consequences import Consequences, consequences  # noqa: E402
from reliability.faults.outcomes import PERMANENT, OutcomeTable, build_outcomes, row_rates  # noqa: E402
from reliability.network.devices import HEADS_LATERAL  # noqa: E402
from reliability.network.fuse_links import link_table  # noqa: E402
from reliability.network.link_curves import link_curves, saving_ceilings_a  # noqa: E402
from reliability.network.model import Model  # noqa: E402
from reliability.network.quantities import quantity  # noqa: E402
from reliability.schema.values import Assumptions  # noqa: E402
from reliability.study import Study, open_study  # noqa: E402

SEED = 11
FOLDER = Path(__file__).parent / "demo"
SUBSTATIONS = {"Alder Creek": 3, "Millbrook": 4, "Stonefield": 5}  # feeders each
FIRST_YEAR, YEARS = 2020, 6
KV_TO_GROUND = 7.2
MAIN_OHM_PER_KM, TAP_OHM_PER_KM = 0.42, 0.95
LINE_FAULT_RATE = 0.22            # a km and year, fleet mean
RATE_CV = 0.55                    # between laterals
DRY_SEASON = (182, 274)           # days of the year in which reclosing may be off
STORM_SHARE = 0.2                 # of a year's faults, on its storm days
COLUMNS = {
    "sections": [
        "section_id", "parent_id", "device", "feeder_id", "area", "device_id", "location", "construction", "length_km",
        "line_fault_rate_per_km", "temporary_fraction", "repair_hours", "customers", "customers_residential",
        "customers_small_ci", "customers_large_ci", "customers_three_phase", "load_kw", "connected_kva", "peak_load_a",
        "phases", "fault_current_source_a", "fault_current_end_a", "fuse_link", "operations_to_lockout",
        "fast_operations", "minimum_trip_a", "dead_time_s", "longest_dead_time_s", "tripping", "reclosing_off_share",
        "tie_probability", "tie_section_id", "generation_kw", "capacitor_kvar"],
    "settings": ["section_id", "element", "operation", "pickup_a", "curve", "time_dial", "added_time_s"],
    "curves": ["curve", "current_a", "time_s"],
    "outages": ["event_id", "section_id", "started", "restored", "customers", "cause", "fault_kind", "planned"],
}
CAUSES = {True: ["tree contact", "lightning", "animal", "wind", "unknown"],
          False: ["tree fell on line", "broken pole", "failed equipment", "vehicle", "broken conductor"]}

STUDY_TOML = """\
# An invented rural cooperative. Every figure is made up; see generate_demo.py beside this folder.
name = "Ostrevale Rural Electric (invented)"
currency = "USD"

[faults]
line_fault_rate_per_km = { low = 0.17, likely = 0.22, high = 0.29 }
temporary_fraction = { low = 0.56, likely = 0.67, high = 0.77 }
clearing_shares = [0.879, 0.106, 0.015]
phases_involved = [0.75, 0.20, 0.05]
yearly_cv = 0.2

[restoration]
repair_hours = { low = 2.2, likely = 3.0, high = 4.5 }
switching_hours = 1.0
refuse_hours = { low = 1.2, likely = 1.6, high = 2.4 }
reset_hours = { low = 1.0, likely = 1.5, high = 2.2 }
patrol_hours = 1.3
cv = 0.8

[protection]
operations_to_lockout = 4
fast_operations = 0
fast_clearing_time_s = 0.08
sectionalizer_counts = 3
fuse_failure = 0.01
sectionalizer_failure = { low = 0.005, likely = 0.01, high = 0.03 }
system_kv = 12.47
bil_kv = 95

[application]
memory_s = 40
inrush_restraint = "yes"

[costs]
crew_rate_per_hour = { low = 130, likely = 160, high = 210 }
overtime_share = 0.6
overtime_multiplier = 1.5
vehicle_per_callout = 70
refuse_crew_hours = 2.2
reset_crew_hours = 2.0
patrol_crew_hours = 2.5
repair_crew_hours = 4.5
fuse_link_cost = 12
actuator_cost = 65
repair_material_cost = 350
fuse_cost = 380
sectionalizer_cost = { low = 1700, likely = 2100, high = 2600 }
lateral_recloser_cost = 5200
backup_settings_cost = 1500
inspection_cost_per_year = 12
energy_margin_per_kwh = 0.06
incentive_per_saidi_minute = 0
incentive_per_saifi = 0

[finance]
discount_rate = 0.065
escalation_rate = 0.02
horizon_years = 20
perspective = "utility"

[simulation]
seed = 1

[[scenarios]]
name = "All laterals sectionalized"
laterals = "all"
device = "sectionalizer"
counts = 3

# A mixed choice: ST3-L49s1 is a fused branch behind a lateral recloser.
[[scenarios]]
name = "Pilot of five laterals"

[scenarios.laterals]
ST1-L18 = { device = "sectionalizer", counts = 3 }
ST5-L46 = { device = "sectionalizer", counts = 3 }
ST5-L11 = { device = "sectionalizer", counts = 2 }
ST2-L46 = { device = "lateral_recloser" }
ST3-L49s1 = { device = "sectionalizer", counts = 3 }

[[scenarios]]
name = "Fast tripping everywhere"
fast_operations = 2

[[scenarios]]
name = "Fast tripping blocked"
fast_operations = 0
"""


@dataclass
class Maker:
    """Rows of sections.csv as they are drawn."""

    rng: np.random.Generator
    rows: list[dict] = field(default_factory=list)

    def add(self, **cells) -> dict:
        self.rows.append(cells)
        return cells


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
    return maker.rows


def write(path: Path, rows: list[dict], columns: list[str]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


@dataclass(frozen=True)
class Faults:
    """Classes of fault and what they do, arrays (r,): customers interrupted, waiting for the call-out, and blinking."""

    table: OutcomeTable
    what: Consequences
    values: Assumptions
    interrupted: np.ndarray
    waiting: np.ndarray
    blinking: np.ndarray


def faults_of(study: Study) -> Faults:
    """Faults as the network is built; momentary events leave no record at a lateral recloser."""
    network, values = study.network, study.values
    table = build_outcomes(Model(network, values), study.scenarios[:1])
    what, customers = consequences(table, 0, values), quantity(network, network.customers)
    seen = ~HEADS_LATERAL[network.device[what.recloser]]
    return Faults(table, what, values, what.sustained(customers), what.waiting(customers),
                  np.where(seen, what.momentary_events(customers), 0.0))


def records(rng: np.random.Generator) -> tuple[list[dict], pd.DataFrame]:
    """Six years of outage records and the true fault rates behind them."""
    study = open_study(FOLDER)
    network, n = study.network, len(study.network)
    group = np.where(network.lateral >= 0, network.lateral, np.arange(n))
    factor = rng.gamma(RATE_CV ** -2, RATE_CV ** 2, n)[group]
    stated = network.column["line_fault_rate_per_km"]
    true_rate = np.where(np.isnan(stated), LINE_FAULT_RATE, stated) * factor
    faults = faults_of(study.with_section_values({"line_fault_rate_per_km": true_rate}))
    rates = row_rates(faults.table, faults.values)
    rows: list[dict] = []
    for year in range(FIRST_YEAR, FIRST_YEAR + YEARS):
        storm_days = np.sort(rng.choice(365, 5, replace=False))
        counts = rng.poisson(rates * rng.gamma(25.0, 1.0 / 25.0))
        for row in np.repeat(np.arange(len(rates)), counts):
            rows += event(rng, faults, int(row), year, storm_days)
    rows.sort(key=lambda r: (r["started"], r["event_id"]))
    number = {name: f"E{i + 1:05d}" for i, name in enumerate(dict.fromkeys(r["event_id"] for r in rows))}
    for r in rows:
        r["event_id"] = number[r["event_id"]]
    own = network.column["temporary_fraction"]
    truth = pd.DataFrame({"section_id": network.ids, "line_fault_rate_per_km": true_rate,
                          "temporary_fraction": np.where(np.isnan(own), faults.values["temporary_fraction"], own)})
    return dirty(rng, rows), truth


def event(rng: np.random.Generator, faults: Faults, row: int, year: int, storm_days: np.ndarray) -> list[dict]:
    """The restoration steps of one fault."""
    table, what, network = faults.table, faults.what, faults.table.network
    if table.off[0, row]:
        day = int(rng.integers(*DRY_SEASON))
    elif rng.random() < STORM_SHARE:
        day = int(rng.choice(storm_days, p=[0.45, 0.25, 0.15, 0.1, 0.05]))
    else:
        day = int(rng.integers(365))
    started = pd.Timestamp(year=year, month=1, day=1) + pd.Timedelta(days=day, seconds=int(rng.integers(86_400)))
    permanent, opened = table.kinds[row] == PERMANENT, int(what.opened[row])
    section, severity = int(table.section[row]), rng.lognormal(-0.2473, 0.7033)  # cv 0.8, mean 1
    kind = "permanent" if permanent else "temporary"
    if rng.random() < (0.35 if opened >= 0 and not permanent else 0.15):  # a blown fuse tells nobody why
        kind = ""
    base = {"event_id": f"{started:%Y%m%d%H%M%S}-{row}-{rng.integers(1 << 30)}",
            "started": f"{started:%Y-%m-%dT%H:%M:%S}", "cause": str(rng.choice(CAUSES[not permanent])),
            "fault_kind": kind, "planned": ""}
    blinked = round(faults.blinking[row])
    blink = base | step(started, 0.02, blinked) | {"event_id": base["event_id"] + "-R",
                                                   "section_id": str(network.ids[what.recloser[row]])}
    rows = [blink] if blinked else []
    if opened < 0:
        return rows
    place = {"section_id": str(network.ids[section if permanent else opened])}
    interrupted, below = float(faults.interrupted[row]), float(network.customers_below[opened])
    # of single-phase openings somewhat more or fewer customers than the mean hang on the phase
    scale = min(below / interrupted, rng.choice([0.9, 1.0, 1.1])) if 0 < interrupted < below else 1.0
    waiting = round(scale * faults.waiting[row])
    switched = round(scale * interrupted) - waiting
    steps = [step(started, what.switching_hours[row] * severity, switched),
             step(started, what.waiting_hours[row] * severity, waiting)]
    return rows + [base | place | s for s in steps if s["customers"] > 0]


def step(started: pd.Timestamp, hours: float, customers: int) -> dict:
    restored = started + pd.Timedelta(minutes=max(1, round(60.0 * hours)))
    return {"restored": f"{restored:%Y-%m-%dT%H:%M:%S}", "customers": customers}


def dirty(rng: np.random.Generator, rows: list[dict]) -> list[dict]:
    """What real exports have: a missing time, a section nobody knows, a row twice, times swapped, planned work."""
    for i in rng.choice(len(rows), 6, replace=False):
        rows[i] = rows[i] | {"restored": ""}
    for i in rng.choice(len(rows), 5, replace=False):
        rows[i] = rows[i] | {"section_id": f"OLD-{i}"}
    for i in rng.choice(len(rows), 8, replace=False):
        rows[i] = rows[i] | {"section_id": ""}
    for i in rng.choice(len(rows), 2, replace=False):
        rows[i] = rows[i] | {"started": rows[i]["restored"] or rows[i]["started"], "restored": rows[i]["started"]}
    for i in rng.choice(len(rows), 40, replace=False):
        rows[i] = rows[i] | {"cause": "scheduled work", "fault_kind": "", "planned": "true"}
    for i in sorted(rng.choice(len(rows), 3, replace=False))[::-1]:
        rows.insert(int(i) + 1, dict(rows[i]))
    return rows


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


def main() -> None:
    rng = np.random.default_rng(SEED)
    rows = network_rows(Maker(rng))
    of_protection = np.random.default_rng([SEED, 1])   # what is drawn there moves nothing here
    add_lateral_reclosers(rows)
    name_ties(rows)
    add_underground(rows, of_protection)
    add_service(rows, of_protection)
    settings = add_settings(rows)
    add_names(rows, of_protection)
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / "study.toml").write_text(STUDY_TOML, encoding="utf-8")
    (FOLDER / "outages.csv").unlink(missing_ok=True)
    for name, table in (("sections", rows), ("settings", settings), ("curves", curve_rows())):
        write(FOLDER / f"{name}.csv", table, COLUMNS[name])
    outages, truth = records(rng)
    write(FOLDER / "outages.csv", outages, COLUMNS["outages"])
    truth.round(5).to_csv(FOLDER / "truth.csv", index=False, lineterminator="\n")
    taps = [r for r in rows if r["device"] in ("fuse", "lateral_recloser") and not is_branch(r)]
    print(f"{len(rows)} sections, {len(taps)} laterals, {sum(r['customers'] for r in rows)} customers, "
          f"{len(outages)} records")


if __name__ == "__main__":
    main()
