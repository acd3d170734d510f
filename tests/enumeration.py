"""The model's rules played out one by one: slow, plain, and written apart from the package.

For every scenario, section, kind of fault, place along the section and on/off pattern of the
devices on the way to the reclosing device, the operations are played from the first to
lockout and the consequences added up. Nothing here imports `reliability.network`,
`reliability.faults` or `reliability.indices`, so an agreement with them means something.

`enumerate_study` gives, by scenario name, a dict of

    saifi, saidi_min, caidi_min, asai, maifi, maifi_e    None where no customer is served
    ens_mwh, customers_served, callouts {refuse, reset, repair, patrol} per year
    sectionalizer_operations                             events a year that one ends
    cemi {1 … 6}                                         share of customers
    sections {section_id: {failure_rate, outage_hours}}  per year, seen by a customer there
    laterals {section_id: {customer_interruptions, customer_hours, momentary_events}}
                                                         per year, of the faults on the lateral
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from itertools import pairwise, product
from pathlib import Path

DATA = Path(__file__).parents[1] / "reliability" / "schema" / "reference"
LATERAL_DEVICES = ("fuse", "sectionalizer", "lateral_recloser")
RECLOSING_DEVICES = ("breaker", "recloser", "lateral_recloser")
KM_PER_MILE = 1.609344
PERMANENT = None  # in place of the dead time in which a fault clears
CALLOUT_OF_TEMPORARY = {"fuse": "refuse", "sectionalizer": "reset", "lateral_recloser": "reset",
                        "breaker": "patrol", "recloser": "patrol"}


def momentary_customers(zone: float, r_share: float, below: float, o_share: float) -> float:
    """Customers who see only momentaries when O ≠ R stays open and R opened at least once.

    Never below 0: with the customers spread evenly over the phases of an R of one unit a
    phase, one phase can hold fewer of them than a device of fewer phases below it serves.
    """
    return max(0.0, zone * r_share - below * o_share)


def momentary_customers_to_the_letter(zone: float, r_share: float, below: float, o_share: float) -> float:
    """The same without that limit; differs only where it is negative."""
    return zone * r_share - below * o_share


# --- the network -------------------------------------------------------------------------


def blank(value: object) -> bool:
    """Whether a cell was left empty."""
    return value is None or value == "" or (isinstance(value, float) and math.isnan(value)) or value != value


def read_sections(study) -> dict[str, dict]:
    """Rows by section_id, blanks left out."""
    rows = {}
    for record in study.sections.to_dict("records"):
        rows[str(record["section_id"])] = {key: value for key, value in record.items() if not blank(value)}
    return rows


class Tree:
    """Who is above and below whom; the devices do not matter here, only where they are."""

    def __init__(self, rows: dict[str, dict]):
        self.parent = {name: (row.get("parent_id") or None) for name, row in rows.items()}
        self.headed = {name for name, row in rows.items() if row.get("device")}
        self.below = {name: [] for name in rows}
        for name in rows:
            for above in self.upward(name):
                self.below[above].append(name)
        self.block = {name: next(s for s in self.upward(name) if s in self.headed or not self.parent[s])
                      for name in rows}
        self.tie = {name: max(float(rows[s].get("tie_probability", 0.0)) for s in self.below[name]) for name in rows}

    def upward(self, name: str) -> list[str]:
        """The section, its parent, and so on to the root."""
        path = []
        while name:
            path.append(name)
            name = self.parent[name]
        return path


def laterals_of(rows: dict[str, dict], tree: Tree) -> list[str]:
    """Sections headed by a lateral device with no such device above."""
    lateral = {name for name, row in rows.items() if row.get("device") in LATERAL_DEVICES}
    return [name for name in rows if [s for s in tree.upward(name) if s in lateral] == [name]]


# --- scenarios and settings --------------------------------------------------------------


def converted(rows: dict[str, dict], laterals: list[str], scenario, values) -> dict[str, dict]:
    """The rows as a scenario has them."""
    rows = {name: dict(row) for name, row in rows.items()}
    for name in (laterals if scenario.laterals is None else scenario.laterals):
        row = rows[name]
        if scenario.device is None:
            continue
        if row["device"] != scenario.device:
            for column in ("fuse_link", "saving_ceiling_a", "rated_current_a", "actuating_current_a", "counts",
                           "operations_to_lockout", "fast_operations"):
                row.pop(column, None)
            row["device"] = scenario.device
        if scenario.device == "sectionalizer" and scenario.counts is not None:
            row["counts"] = scenario.counts
    if scenario.fast_operations is not None:
        for row in rows.values():
            if row.get("device") in ("breaker", "recloser"):
                operations = int(row.get("operations_to_lockout", values["operations_to_lockout"]))
                row["fast_operations"] = min(scenario.fast_operations, operations - 1)  # F is at most M − 1
    return rows


def chosen_rating(peak_load: float | None, values) -> float:
    """The smallest rating that carries the load with its margin; 0 (always counts) without one."""
    if peak_load is None:
        return 0.0
    with (DATA / "sectionalizer_ratings.csv").open(newline="") as file:
        ratings = sorted(float(row["rated_current_a"]) for row in csv.DictReader(file))
    for rating in ratings:
        if rating >= values["load_margin"] * peak_load and 1.6 * rating >= values["cold_load_factor"] * peak_load:
            return rating
    return 0.0


def settings(row: dict, values) -> dict:
    """What the device of a row is set to, defaults filled in."""
    device = row["device"]
    setting = {"section": str(row["section_id"]), "device": device}
    if device in RECLOSING_DEVICES:
        setting["operations"] = int(row.get("operations_to_lockout", values["operations_to_lockout"]))
        setting["fast"] = int(row.get("fast_operations",
                                      0 if device == "lateral_recloser" else values["fast_operations"]))
    elif device == "fuse":
        setting["failure"] = values["fuse_failure"]
        setting["ceiling"] = (row["saving_ceiling_a"] if "saving_ceiling_a" in row
                              else ceiling_of_link(str(row["fuse_link"]), values["fast_clearing_time_s"])
                              if "fuse_link" in row else math.inf)
    elif device == "sectionalizer":
        setting["failure"] = values["sectionalizer_failure"]
        # a blank rating is the chosen one, of a sectionalizer that stands as of one to be put in
        rating = row["rated_current_a"] if "rated_current_a" in row else chosen_rating(row.get("peak_load_a"), values)
        setting["actuating"] = row.get("actuating_current_a", 1.6 * rating)
        setting["counts"] = int(row.get("counts", values["sectionalizer_counts"]))
    return setting


def ceiling_of_link(link: str, fast_clearing_time: float) -> float:
    """Current at which 0.75 × minimum melting time equals the backup's fast clearing time."""
    with (DATA / "fuse_links.csv").open(newline="") as file:
        rows = {row["rating_a"] + row["speed"]: row for row in csv.DictReader(file)}
    row = {key: float(value) for key, value in rows[link.strip().upper()].items() if key != "speed"}
    points = [(row["long_time_s"], row["long_min_a"]), (10.0, row["ten_s_min_a"]), (0.1, row["tenth_s_min_a"])]
    melting_time = fast_clearing_time / 0.75
    if melting_time >= points[0][0]:
        return points[0][1]
    if melting_time < 0.1:
        return points[2][1] * math.sqrt(0.1 / melting_time)
    for (t1, i1), (t2, i2) in pairwise(points):
        if t2 <= melting_time <= t1:
            part = math.log(melting_time / t1) / math.log(t2 / t1)
            return i1 * (i2 / i1) ** part
    raise AssertionError("the points cover every time")


# --- one fault ---------------------------------------------------------------------------


def places(row: dict, chain: list[dict]) -> list[tuple[float, float | None]]:
    """Stretches of the section as (share of it, current in A at its middle), None where unknown."""
    if "fault_current_source_a" not in row or "fault_current_end_a" not in row:
        return [(1.0, None)]
    near, far = float(row["fault_current_source_a"]), float(row["fault_current_end_a"])
    if near == far:
        return [(1.0, near)]
    cuts = [0.0, 1.0]
    for device in chain:
        threshold = device.get("ceiling", device.get("actuating"))
        if 0 < threshold < math.inf:
            x = (1 / threshold - 1 / near) / (1 / far - 1 / near)
            if 0 < x < 1:
                cuts.append(x)
    cuts.sort()
    return [(right - left, 1 / ((1 - (left + right) / 2) / near + (left + right) / 2 / far))
            for left, right in pairwise(cuts) if right > left]


def play(chain: list[dict], backup: dict, current: float | None, clears_in: int | None) -> tuple[dict | None, int]:
    """The device left open (None: nothing) and how often the backup opened.

    chain: the working fuses and sectionalizers, nearest the fault first.
    """
    fuses = [device for device in chain if device["device"] == "fuse"]
    counters = [device for device in chain if device["device"] == "sectionalizer"
                and (current is None or not current < device["actuating"])]
    for operation in range(1, backup["operations"] + 1):
        fast = operation <= backup["fast"]
        if fuses:
            saved = fast and (current is None or current < fuses[0]["ceiling"])
            if not saved:
                return fuses[0], operation if fast else operation - 1
        if operation == backup["operations"]:
            return backup, operation
        ready = [device for device in counters if device["counts"] <= operation]
        if ready:
            return ready[-1], operation
        if clears_in is not PERMANENT and clears_in <= operation:
            return None, operation
    raise AssertionError("the last operation always ends it")


def outcomes(chain: list[dict], backup: dict, row: dict, clears_in: int | None):
    """Yield (probability, device left open or None, openings of the backup)."""
    for share, current in places(row, chain):
        for pattern in product((True, False), repeat=len(chain)):
            probability = share
            for device, works in zip(chain, pattern, strict=True):
                probability *= 1 - device["failure"] if works else device["failure"]
            if probability > 0:
                working = [device for device, works in zip(chain, pattern, strict=True) if works]
                yield (probability, *play(working, backup, current, clears_in))


def phases_involved(row: dict, values) -> float:
    """Mean number of phases in a fault of the section."""
    one, two, three = values["phases_involved"]
    return {1: 1.0, 2: one + 2 * (two + three), 3: one + 2 * two + 3 * three}[int(row["phases"])]


def share_interrupted(device: dict, rows: dict[str, dict], fault: str, values) -> float:
    """Share of the customers below an opening device that it interrupts."""
    if device["device"] in ("breaker", "recloser"):
        return 1.0
    return min(1.0, phases_involved(rows[fault], values) / int(rows[device["section"]]["phases"]))


def hours_to_restore(rows: dict[str, dict], tree: Tree, fault: str, opened: dict, permanent: bool,
                     values) -> dict[str, float]:
    """Mean hours without supply by section below the opened device."""
    below = tree.below[opened["section"]]
    if not permanent:
        return dict.fromkeys(below, float(values[CALLOUT_OF_TEMPORARY[opened["device"]] + "_hours"]))
    repair = float(rows[fault].get("repair_hours", values["repair_hours"]))
    switching = float(values["switching_hours"])
    hours = {}
    for name in below:
        path = tree.upward(name)
        in_block = [tree.block[s] == tree.block[fault] for s in path]
        if in_block[0]:
            hours[name] = repair
        elif any(in_block):
            tie = tree.tie[path[in_block.index(True) - 1]]
            hours[name] = tie * switching + (1 - tie) * repair
        else:
            hours[name] = switching
    return hours


# --- the sums ----------------------------------------------------------------------------


def enumerate_study(study, momentary: Callable[[float, float, float, float], float] = momentary_customers
                    ) -> dict[str, dict]:
    """Results by scenario name; see the top of the module for what they hold."""
    rows = read_sections(study)
    tree = Tree(rows)
    laterals = laterals_of(rows, tree)
    return {scenario.name: _scenario_results(converted(rows, laterals, scenario, study.values), tree, laterals,
                                             study.values, momentary)
            for scenario in study.scenarios}


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


def _scenario_results(rows, tree, laterals, values, momentary) -> dict:
    devices = {name: settings(row, values) for name, row in rows.items() if row.get("device")}
    customers = {name: float(row["customers"]) for name, row in rows.items()}
    load = {name: float(row.get("load_kw", 0.0)) for name, row in rows.items()}
    seen = {name: {"failure_rate": 0.0, "outage_hours": 0.0} for name in rows}
    of_lateral = {name: {"customer_interruptions": 0.0, "customer_hours": 0.0, "momentary_events": 0.0}
                  for name in laterals}
    callouts = dict.fromkeys(("refuse", "reset", "repair", "patrol"), 0.0)
    events = interruptions = operations = 0.0
    for fault, row in rows.items():
        path = tree.upward(fault)
        r_at = next(i for i, s in enumerate(path) if s in devices and devices[s]["device"] in RECLOSING_DEVICES)
        backup = devices[path[r_at]]
        chain = [devices[s] for s in path[:r_at] if s in devices and devices[s]["device"] in ("fuse", "sectionalizer")]
        home = next((of_lateral[s] for s in path if s in of_lateral), None)
        r_share = share_interrupted(backup, rows, fault, values)
        zone = sum(customers[s] for s in tree.below[path[r_at]])
        for kind_rate, clears_in in kinds(row, values):
            for probability, opened, openings in outcomes(chain, backup, row, clears_in):
                rate = kind_rate * probability
                if rate == 0:
                    continue
                if opened is None:
                    momentaries = zone * r_share
                else:
                    o_share = share_interrupted(opened, rows, fault, values)
                    hours = hours_to_restore(rows, tree, fault, opened, clears_in is PERMANENT, values)
                    below = sum(customers[s] for s in hours)
                    callouts["repair" if clears_in is PERMANENT else CALLOUT_OF_TEMPORARY[opened["device"]]] += rate
                    operations += rate if opened["device"] == "sectionalizer" else 0.0
                    for name, duration in hours.items():
                        seen[name]["failure_rate"] += rate * o_share
                        seen[name]["outage_hours"] += rate * o_share * duration
                        if home:
                            home["customer_interruptions"] += rate * o_share * customers[name]
                            home["customer_hours"] += rate * o_share * customers[name] * duration
                    momentaries = (momentary(zone, r_share, below, o_share)
                                   if opened is not backup and openings >= 1 else 0.0)
                events += rate * momentaries
                interruptions += rate * momentaries * openings
                if home:
                    home["momentary_events"] += rate * momentaries
    return {"callouts": callouts, "sectionalizer_operations": operations, "sections": seen, "laterals": of_lateral,
            **_indices(customers, load, seen, events, interruptions, values["yearly_cv"])}


def _indices(customers, load, seen, events, interruptions, yearly_cv) -> dict:
    served = sum(customers.values())
    found = {"customers_served": served,
             "ens_mwh": sum(load[name] * seen[name]["outage_hours"] for name in seen) / 1000}
    if served == 0:
        return found | dict.fromkeys(("saifi", "saidi_min", "caidi_min", "asai", "maifi", "maifi_e")) | {
            "cemi": dict.fromkeys(range(1, 7))}
    saifi = sum(customers[name] * seen[name]["failure_rate"] for name in seen) / served
    saidi = 60 * sum(customers[name] * seen[name]["outage_hours"] for name in seen) / served
    return found | {
        "saifi": saifi, "saidi_min": saidi, "caidi_min": saidi / saifi if saifi > 0 else None,
        "asai": 1 - saidi / 525_600, "maifi": interruptions / served, "maifi_e": events / served,
        "cemi": {n: sum(customers[name] * at_least(n, seen[name]["failure_rate"], yearly_cv)
                        for name in seen) / served for n in range(1, 7)}}


def at_least(n: int, mean: float, yearly_cv: float) -> float:
    """Probability of n or more in a year: Poisson, or negative binomial of shape 1/cv²."""
    if mean == 0:
        return 0.0
    if yearly_cv == 0:
        chance, ratio = math.exp(-mean), lambda k: mean / (k + 1)
    else:
        shape = 1 / yearly_cv**2
        chance = math.exp(-shape * math.log1p(mean / shape))
        ratio = lambda k: (shape + k) / (k + 1) * mean / (mean + shape)  # noqa: E731
    total, k = 0.0, 0
    while k < n or k < mean or chance > 1e-18 * total:  # the tail itself: 1 minus the rest would lose digits
        total += chance if k >= n else 0.0
        chance *= ratio(k)
        k += 1
    return total
