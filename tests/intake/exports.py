"""Exports drawn from a study: what systems of a utility would give of it, with every freedom that exports have.

Sections are cut into spans, spans turned around and shuffled, nodes named at random; devices stand in a table (by
segment, by node, between two nodes) or in the segments' rows, customers on segments or nodes in pieces. What comes back
must have the indices of the study.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import tomlkit

from reliability.intake.kinds import DEVICE_COLUMNS
from reliability.schema.assumptions import ASSUMPTIONS, defaults
from reliability.study.study import Study

COUNTED = ("customers_residential", "customers_small_ci", "customers_large_ci")
PER_LENGTH = {"length_m": 1000.0, "length_km": 1.0, "length_ft": 1000.0 / 0.3048, "length_mi": 1 / 1.609344}
OWN = ("construction", "line_fault_rate_per_km", "temporary_fraction", "repair_hours")


@dataclass
class Exported:
    """Tables of an export by name, and study.toml."""

    tables: dict[str, pd.DataFrame]
    settings: str = 'name = "drawn"\n'
    spans_of: dict[str, list[str]] = field(default_factory=dict)

    def write(self, folder: Path) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        for name, frame in self.tables.items():
            frame.to_csv(folder / f"{name}.csv", index=False)
        (folder / "study.toml").write_text(self.settings, encoding="utf-8")
        return folder


def settings_text(study: Study) -> str:
    """study.toml of a study's assumptions."""
    document, usual = tomlkit.document(), dict(defaults())
    document["name"] = study.name
    for a in ASSUMPTIONS:
        value = study.values[a.key]
        if value == usual[a.key]:
            continue
        if a.table not in document:
            document[a.table] = tomlkit.table()
        document[a.table][a.key] = list(value) if isinstance(value, tuple) else value
    return tomlkit.dumps(document)


def exported(study: Study, rng: np.random.Generator, *, by_parent: bool = False, most_spans: int = 4,
             areas: bool = True, between: bool = True,
             conductors: bool = False, bus: bool = False) -> Exported:
    """Exports of a study; see above. by_parent: segments name the one towards the source instead of nodes. areas:
    each section has an area of its own, so that
    only its own spans can be merged. between: devices may stand between two nodes.
    conductors: a row a phase of segments and devices. bus: all feeders begin at one node."""
    sections = study.sections.reset_index(drop=True)
    node = _node_names(sections["section_id"].tolist(), rng)
    in_rows = bool(rng.random() < 0.25)
    columns = _device_columns(sections)
    spans: list[dict] = []
    devices: list[dict] = []
    customers: list[dict] = []
    spans_of: dict[str, list[str]] = {}
    children = sections["parent_id"].value_counts()
    for k, section in sections.iterrows():
        pieces = _pieces(section, rng, most_spans)
        ids = [section["section_id"], *(f"{section['section_id']}/{j}" for j in range(1, len(pieces)))]
        spans_of[section["section_id"]] = ids
        start = node.get(section["parent_id"], "bus" if bus else f"bus {section['section_id']}")
        inner = [f"{node[section['section_id']]}.{j}" for j in range(len(pieces) - 1)]
        way = [start, *inner, node[section["section_id"]]]
        device = _device_cells(section, columns, study)
        if device and not in_rows:
            device |= {"device_id": f"D{k}"}
            if conductors:
                device["phases"] = int(section["phases"])
            style = rng.random()
            if by_parent or style < 0.5:
                device["segment_id"] = ids[0]
            elif style < 0.75 and (children[section["parent_id"]] == 1 if section["parent_id"] else not bus):
                device["node_id"] = way[0]
            elif not between:
                device["segment_id"] = ids[0]
            else:
                device |= {"from_node": way[0], "to_node": f"{way[0]} beyond D{k}"}
                if rng.random() < 0.5:
                    device["from_node"], device["to_node"] = device["to_node"], device["from_node"]
                way[0] = f"{way[0]} beyond D{k}"
            devices.append(device)
        for j, piece in enumerate(pieces):
            row = piece | {"segment_id": ids[j], "feeder_id": section["feeder_id"]}
            if areas:
                row["area"] = f"area {k}"
            if by_parent:
                row["parent_id"] = ids[j - 1] if j else (spans_of_last(spans_of, section["parent_id"]))
            else:
                row |= {"from_node": way[j], "to_node": way[j + 1]}
                if rng.random() < 0.5:
                    _turn(row)
            if in_rows and device and j == 0:
                row |= device
            spans.append(row)
        customers += _customer_rows(section, ids, way[1:], rng, by_parent)
    if conductors:
        spans, devices = _by_conductor(spans, "segment_id"), _by_conductor(devices, "device_id")
    tables = {"segments": _shuffled(spans, rng)}
    if devices:
        tables["devices"] = _shuffled(devices, rng)
    if customers:
        tables["customers"] = _shuffled(customers, rng)
    if not by_parent:
        roots = sections[sections["parent_id"] == ""]
        tables["sources"] = pd.DataFrame({"node_id": ["bus" if bus else f"bus {s}" for s in roots["section_id"]],
                                          "feeder_id": roots["feeder_id"]})
    _with_length(tables["segments"], rng)
    if study.settings is not None and len(study.settings):
        name = {s: f"D{k}" for k, s in enumerate(sections["section_id"])}
        table = study.settings.copy()
        key = "segment_id" if in_rows else "device_id"
        table[key] = table["section_id"] if in_rows else table["section_id"].map(name)
        tables["settings"] = table.drop(columns="section_id")
    if study.curves is not None and len(study.curves):
        tables["curves"] = study.curves
    return Exported(tables, settings_text(study), spans_of)


def spans_of_last(spans_of: dict[str, list[str]], parent: str) -> str:
    """The last span of the parent, "" at a source."""
    return spans_of[parent][-1] if parent else ""


def _node_names(ids: list[str], rng: np.random.Generator) -> dict[str, str]:
    numbers = rng.permutation(len(ids))
    return {name: f"N{number}" for name, number in zip(ids, numbers, strict=True)}


def _device_columns(sections: pd.DataFrame) -> list[str]:
    return [c for c in DEVICE_COLUMNS if c in sections and c not in ("device", "device_id")]


def _device_cells(section: pd.Series, columns: list[str], study: Study) -> dict:
    if not section["device"]:
        return {}
    cells = {"device": section["device"]} | {c: section[c] for c in columns}
    return {n: v for n, v in cells.items() if v == v and v != ""}


def _pieces(section: pd.Series, rng: np.random.Generator, most: int) -> list[dict]:
    """Cells of the spans of a section, from the source's side: parts of its length, 1/current linear along it."""
    length = float(section["length_km"])
    count = int(rng.integers(1, most + 1)) if length > 0 else 1
    cuts = np.r_[0.0, np.sort(rng.uniform(0.02, 0.98, count - 1)), 1.0]
    a, b = float(section["fault_current_source_a"]), float(section["fault_current_end_a"])
    tied = int(rng.integers(0, count))
    rows = []
    for j in range(count):
        share = cuts[j + 1] - cuts[j]
        row = {"length": length * share, "phases": _phase_word(int(section["phases"]), rng)}
        row |= {c: section[c] for c in OWN if section[c] == section[c] and section[c] != ""}
        if section["equipment_fault_rate"]:
            row["equipment_fault_rate"] = section["equipment_fault_rate"] * share
        if a == a and b == b:
            row["fault_current_from_a"] = 1 / ((1 - cuts[j]) / a + cuts[j] / b)
            row["fault_current_to_a"] = 1 / ((1 - cuts[j + 1]) / a + cuts[j + 1] / b)
        elif count == 1:
            row |= {"fault_current_from_a": a, "fault_current_to_a": b}
        if j == 0 and section["peak_load_a"] == section["peak_load_a"]:
            row["peak_load_a"] = section["peak_load_a"]
        if section["tie_probability"]:
            row["tie_probability"] = section["tie_probability"] if j == tied else section["tie_probability"] / 2
        rows.append(row)
    return rows


def _by_conductor(rows: list[dict], key: str) -> list[dict]:
    """A row for each phase, its id with the phase behind it but for the first; customers and load on one of them."""
    result = []
    for row in rows:
        phases = row.get("phases")
        letters = "ABC"[:int(phases)] if str(phases) in "123" else str(phases)
        result += [row | {key: row[key] if p == letters[0] else f"{row[key]}-{p}", "phases": p} for p in letters]
    return result


def _phase_word(phases: int, rng: np.random.Generator) -> str:
    return str(phases) if rng.random() < 0.5 else ("A", "AB", "ABC")[phases - 1]


def _turn(row: dict) -> None:
    row["from_node"], row["to_node"] = row["to_node"], row["from_node"]
    nan = float("nan")
    row["fault_current_from_a"], row["fault_current_to_a"] = (row.get("fault_current_to_a", nan),
                                                              row.get("fault_current_from_a", nan))


def _customer_rows(section: pd.Series, ids: list[str], ends: list[str], rng: np.random.Generator,
                   by_parent: bool) -> list[dict]:
    """Transformers that add up to a section's customers and load."""
    count = int(rng.integers(1, 4))
    pick = np.append(rng.integers(0, count, int(section["customers"])), np.arange(0))
    classes = np.repeat(np.arange(3), [int(section[c]) for c in COUNTED])
    three = int(np.nan_to_num(section.get("customers_three_phase", 0.0)))
    load = np.nan_to_num(float(section["load_kw"])) * np.diff(np.r_[0.0, np.sort(rng.random(count - 1)), 1.0])
    rows = []
    for t in range(count):
        own = classes[pick == t]
        at = int(rng.integers(0, len(ids)))
        row = {"transformer_id": f"T {section['section_id']} {t}", "customers": len(own), "load_kw": load[t]}
        row |= {c: int((own == k).sum()) for k, c in enumerate(COUNTED)}
        row["customers_three_phase"] = max(0, min(len(own), three))
        three -= row["customers_three_phase"]
        place = {"segment_id": ids[at]} if by_parent or rng.random() < 0.5 else {"node_id": ends[at]}
        rows.append(row | place)
    return rows


def _shuffled(rows: list[dict], rng: np.random.Generator) -> pd.DataFrame:
    frame = pd.DataFrame(rows)
    return frame.iloc[rng.permutation(len(frame))].reset_index(drop=True)


def _with_length(frame: pd.DataFrame, rng: np.random.Generator) -> None:
    name = str(rng.choice(list(PER_LENGTH)))
    frame[name] = frame.pop("length") * PER_LENGTH[name]
