"""Rows of the demo's tables as they are made, and how they are written."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

COLUMNS = {
    "sections": [
        "section_id", "parent_id", "device", "feeder_id", "area", "device_id", "location", "construction", "length_km",
        "line_fault_rate_per_km", "temporary_fraction", "repair_hours", "customers", "customers_residential",
        "customers_small_ci", "customers_large_ci", "customers_three_phase", "load_kw", "connected_kva", "peak_load_a",
        "phases", "fault_current_source_a", "fault_current_end_a", "fuse_link", "counts", "operations_to_lockout",
        "fast_operations", "minimum_trip_a", "dead_time_s", "longest_dead_time_s", "tripping", "reclosing_off_share",
        "tie_probability", "tie_section_id", "generation_kw", "capacitor_kvar"],
    "settings": ["section_id", "element", "operation", "pickup_a", "curve", "time_dial", "added_time_s"],
    "curves": ["curve", "current_a", "time_s"],
    "outages": ["event_id", "section_id", "started", "restored", "customers", "cause", "fault_kind", "planned"],
    "operations": ["section_id", "from", "to", "operations", "kind"],
}


@dataclass
class Maker:
    """Rows of sections.csv as they are drawn."""

    rng: np.random.Generator
    rows: list[dict] = field(default_factory=list)

    def add(self, **cells) -> dict:
        self.rows.append(cells)
        return cells


def write(path: Path, rows: list[dict], columns: list[str]) -> None:
    """A table; cells that a row does not have are blank, those that no column has are left out."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, restval="", extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
