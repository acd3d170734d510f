"""Sections, devices and scenarios as model.md §1 and contract.md tell them, row by row and in dicts.

For tests/enumeration.py; written from the text alone, nothing of the package is imported.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping

from tests.enumeration_curves import DATA, FORMULAS, cuts_by_times, link_of, next_larger, read_curves

BREAKER, RECLOSER, LATERAL_RECLOSER, FUSE, SECTIONALIZER = (
    "breaker", "recloser", "lateral_recloser", "fuse", "sectionalizer")
LATERAL_DEVICES = (FUSE, SECTIONALIZER, LATERAL_RECLOSER)
RECLOSING_DEVICES = (BREAKER, RECLOSER, LATERAL_RECLOSER)
DEVICES_ALONG = (FUSE, SECTIONALIZER)  # those of a chain
# what a row says of its device, lost when another takes its place; `elements` are its rows of settings.csv
OF_THE_DEVICE = ("fuse_link", "saving_ceiling_a", "rated_current_a", "actuating_current_a", "counts",
                 "operations_to_lockout", "fast_operations", "minimum_trip_a", "dead_time_s", "tripping",
                 "reclosing_off_share", "device_id", "elements")


def blank(value: object) -> bool:
    """Whether a cell was left empty."""
    return value is None or value == "" or (isinstance(value, float) and math.isnan(value)) or value != value


def read_sections(study) -> dict[str, dict]:
    """Rows by section_id, blanks left out but for phases, and each with its rows of settings.csv as `elements`."""
    rows = {}
    for record in study.sections.to_dict("records"):
        rows[str(record["section_id"])] = {key: value for key, value in record.items() if not blank(value)}
    curves = read_curves(getattr(study, "curves", None))
    settings = getattr(study, "settings", None)
    for record in [] if settings is None else settings.to_dict("records"):
        rows[str(record["section_id"])].setdefault("elements", []).append(_element(record, curves))
    tree = Tree(rows)
    laterals = laterals_of(rows, tree)
    for name in sorted(rows, key=lambda s: len(tree.upward(s))):
        if "phases" not in rows[name]:
            parent = tree.parent[name]
            rows[name]["phases"] = 1 if name in laterals else rows[parent]["phases"] if parent else 3
    return rows


def _element(record: Mapping, curves: Mapping) -> dict:
    curve = str(record["curve"])
    dial, added = record.get("time_dial"), record.get("added_time_s")
    return {"ground": record["element"] == "ground", "fast": record["operation"] == "fast",
            "pickup": float(record["pickup_a"]), "curve": curve, "dial": 1.0 if blank(dial) else float(dial),
            "added": 0.0 if blank(added) else float(added),
            "points": None if curve == "definite" or curve in FORMULAS else curves[curve]}


class Tree:
    """Who is above and below whom; which device stands where does not matter here, only where there is one."""

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

    def stretch(self, fault: str, rows: dict[str, dict]) -> set[str]:
        """Sections joined to the faulted one through sections of as many phases as it has or fewer."""
        most = int(rows[fault]["phases"])
        found, waiting = {fault}, [fault]
        while waiting:
            name = waiting.pop()
            for other in rows:
                joined = self.parent[other] == name or self.parent[name] == other
                if joined and other not in found and int(rows[other]["phases"]) <= most:
                    found.add(other)
                    waiting.append(other)
        return found


def laterals_of(rows: dict[str, dict], tree: Tree) -> list[str]:
    """Sections headed by a lateral device with no such device above."""
    lateral = {name for name, row in rows.items() if row.get("device") in LATERAL_DEVICES}
    return [name for name in rows if [s for s in tree.upward(name) if s in lateral] == [name]]


def candidates_of(rows: dict[str, dict], tree: Tree) -> list[str]:
    """Sections headed by a lateral device whose next device above, switches aside, is a reclosing device."""
    found = []
    for name, row in rows.items():
        if row.get("device") in LATERAL_DEVICES:
            above = [rows[s]["device"] for s in tree.upward(name)[1:] if rows[s].get("device")]
            if next(device for device in above if device != "switch") in RECLOSING_DEVICES:
                found.append(name)
    return found


# --- scenarios ---------------------------------------------------------------------------


def choices_of(rows: dict[str, dict], tree: Tree, scenario) -> dict[str, tuple[str, int | None]]:
    """Device and counts (None: not stated) that a scenario asks for, by candidate."""
    candidates = candidates_of(rows, tree)
    if isinstance(scenario.laterals, Mapping):
        asked = {name: (_of(choice, "device", scenario.device), _of(choice, "counts", scenario.counts))
                 for name, choice in scenario.laterals.items()}
    elif scenario.laterals is None:
        asked = {name: (scenario.device, scenario.counts) for name in candidates
                 if rows[name]["device"] != LATERAL_RECLOSER}
    else:
        asked = dict.fromkeys(scenario.laterals, (scenario.device, scenario.counts))
    return {name: choice for name, choice in asked.items()
            if choice[0] and name in candidates and rows[name].get("construction") != "underground"}


def _of(choice, key: str, otherwise):
    value = choice.get(key) if isinstance(choice, Mapping) else getattr(choice, key, None)
    return otherwise if blank(value) else value


def operations_of(row: dict, values) -> int:
    """Operations to lockout of a reclosing device."""
    return int(row.get("operations_to_lockout", values["operations_to_lockout"]))


def converted(rows: dict[str, dict], tree: Tree, scenario, values) -> dict[str, dict]:
    """The rows as a scenario has them."""
    choices = choices_of(rows, tree, scenario)
    rows = {name: dict(row) for name, row in rows.items()}
    for name in sorted(choices, key=lambda s: len(tree.upward(s))):  # a backup is settled before what it backs
        device, counts = choices[name]
        row = rows[name]
        backup = next(s for s in tree.upward(name)[1:] if rows[s].get("device") in RECLOSING_DEVICES)
        most = operations_of(rows[backup], values) - 1
        if device == SECTIONALIZER and most < 1:
            continue
        if row["device"] != device:
            for column in OF_THE_DEVICE:
                row.pop(column, None)
            row["device"] = device
            counts = values["sectionalizer_counts"] if counts is None else counts
        if device == SECTIONALIZER and counts is not None:
            row["counts"] = min(int(counts), most)
    for name, row in rows.items():
        fast = scenario.fast_operations
        if isinstance(fast, Mapping):
            fast = fast.get(name)
        elif row.get("device") not in (BREAKER, RECLOSER):
            fast = None
        if fast is not None and row.get("device") in RECLOSING_DEVICES:
            row["fast_operations"] = min(int(fast), operations_of(row, values) - 1)  # F is at most M − 1
    return rows


# --- what a device is set to -----------------------------------------------------------------


def chosen_rating(peak_load: float | None, values) -> float:
    """The smallest rating that carries the load with its margin; 0 (always counts) without one."""
    if peak_load is None:
        return 0.0
    with (DATA / "sectionalizer_ratings.csv").open(newline="") as file:
        ratings = sorted(float(row["rated_current_a"]) for row in csv.DictReader(file))
    ratio = values.get("actuating_ratio", 1.6)
    for rating in ratings:
        if rating >= values["load_margin"] * peak_load and ratio * rating >= values["cold_load_factor"] * peak_load:
            return rating
    return 0.0


def settings(row: dict, values, curves: Mapping) -> dict:
    """What the device of a row is set to, defaults filled in; `curves` those of curves.csv by name."""
    device = row["device"]
    setting = {"section": str(row["section_id"]), "device": device}
    default = "single_phase" if device in LATERAL_DEVICES else "three_phase"
    setting["tripping"] = default if device == FUSE else row.get("tripping", default)
    if device in RECLOSING_DEVICES:
        setting["operations"] = operations_of(row, values)
        default_fast = 0 if device == LATERAL_RECLOSER else values["fast_operations"]
        setting["fast"] = min(int(row.get("fast_operations", default_fast)), setting["operations"] - 1)
        setting["elements"] = row.get("elements", [])
        setting["off_share"] = float(row.get("reclosing_off_share", values.get("reclosing_off_share", 0.0)))
        setting["off"] = False
    elif device == FUSE:
        setting["failure"] = values["fuse_failure"]
        setting["factor"] = values.get("fuse_melting_factor", 0.75)
        setting["links"] = _links(row, values, curves)
    elif device == SECTIONALIZER:
        setting["failure"] = values["sectionalizer_failure"]
        # a blank rating is the chosen one, of a sectionalizer that stands as of one to be put in
        rating = row["rated_current_a"] if "rated_current_a" in row else chosen_rating(row.get("peak_load_a"), values)
        setting["actuating"] = row.get("actuating_current_a", values.get("actuating_ratio", 1.6) * rating)
        setting["counts"] = int(row.get("counts", values["sectionalizer_counts"]))
    return setting


def _links(row: dict, values, curves: Mapping) -> list[tuple[float, dict | None, float]]:
    """(Probability, link or None, saving ceiling) of the links that a fuse may hold."""
    stated = row.get("saving_ceiling_a")
    if "fuse_link" not in row:
        return [(1.0, None, math.inf if stated is None else float(stated))]
    name = str(row["fuse_link"])
    larger, wrong = next_larger(name), float(values.get("wrong_link_share", 0.0))
    held = [(1.0, name)] if larger is None or wrong == 0 else [(1 - wrong, name), (wrong, larger)]
    found = []
    for probability, held_name in held:
        link = link_of(held_name, curves, values.get("fuse_arcing_time_s", 0.013))
        melting_time = values["fast_clearing_time_s"] / values.get("fuse_melting_factor", 0.75)
        found.append((probability, link, link["melting"].least_current(melting_time) if stated is None
                      else float(stated)))
    return found


class Network:
    """The sections of a study under one scenario, their devices' settings, and what is looked up often."""

    def __init__(self, study, rows: dict[str, dict], tree: Tree, scenario):
        self.values, self.tree = study.values, tree
        self.rows = converted(rows, tree, scenario, study.values)
        curves = read_curves(getattr(study, "curves", None))
        self.devices = {name: settings(row, study.values, curves) for name, row in self.rows.items()
                        if row.get("device")}
        self.customers = {name: float(row["customers"]) for name, row in rows.items()}
        self.three_phase = {name: float(row.get("customers_three_phase", 0.0)) for name, row in rows.items()}
        self.phases = {name: int(row["phases"]) for name, row in rows.items()}
        known = [current for name in rows for current in self.currents(name) or ()]
        self.range = (min(known), max(known)) if known else None
        self.stretches = {name: tree.stretch(name, rows) for name in rows}
        self._cuts: dict[tuple, list[float]] = {}

    def above(self, fault: str) -> tuple[list[dict], dict]:
        """The chain of a section, nearest the fault first, and its reclosing device."""
        chain = []
        for name in self.tree.upward(fault):
            device = self.devices.get(name)
            if device and device["device"] in RECLOSING_DEVICES:
                return chain, device
            if device and device["device"] in DEVICES_ALONG:
                chain.append(device)
        raise AssertionError("every root has a reclosing device")

    def currents(self, name: str) -> tuple[float, float] | None:
        """Fault currents at the two ends of a section, A, with their factor; None where one is unknown."""
        row, factor = self.rows[name], self.values.get("fault_current_factor", 1.0)
        if "fault_current_source_a" not in row or "fault_current_end_a" not in row:
            return None
        return factor * float(row["fault_current_source_a"]), factor * float(row["fault_current_end_a"])

    def cuts(self, backup: dict, held: dict, ground: bool) -> list[float]:
        """Currents at which the race of a reclosing device and a link may turn, found once per pair."""
        link = held["link"]
        key = (backup["section"], link["name"], ground)
        if key not in self._cuts:
            seeing = [e for e in backup["elements"] if ground or not e["ground"]]
            self._cuts[key] = cuts_by_times(link, held["factor"], seeing, *self.range)
        return self._cuts[key]
