"""What fleets may have beside feeders of fused laterals, as keyword arguments of `recorded_fleets.fleet`."""

from __future__ import annotations

import numpy as np

from tests.history.recorded_fleets import COUNTERS, EVENTS


def other_devices(rng: np.random.Generator, rows: list[dict]) -> None:
    """A fifth of the laterals with a sectionalizer, a tenth with a recloser of their own."""
    for row in rows:
        if row["device"] == "fuse":
            kind = rng.choice(["fuse", "sectionalizer", "lateral_recloser"], p=[0.7, 0.2, 0.1])
            if kind != "fuse":
                row |= {"device": str(kind), "fuse_link": ""}


def no_links(rng: np.random.Generator, rows: list[dict]) -> None:
    """No fuse links, no fault currents: every fuse is saved by a fast operation."""
    for row in rows:
        row |= {"fuse_link": "", "fault_current_source_a": np.nan, "fault_current_end_a": np.nan}


def own_rates(rng: np.random.Generator, rows: list[dict]) -> None:
    """Sections with line rates, equipment and temporary fractions of their own."""
    for row in rows:
        if rng.random() < 0.3:
            row["line_fault_rate_per_km"] = float(rng.uniform(0.1, 0.5))
        if rng.random() < 0.3:
            row["equipment_fault_rate"] = float(rng.uniform(0.0, 0.3))


def below(rng: np.random.Generator, rows: list[dict]) -> None:
    """Fuses behind the fuses of a third of the laterals."""
    for row in [r for r in rows if r["device"] == "fuse"]:
        if rng.random() < 0.35:
            current = row["fault_current_end_a"]
            rows.append(row | {"section_id": f"{row['section_id']}x", "parent_id": row["section_id"], "fuse_link": "25K",
                               "fault_current_source_a": current, "fault_current_end_a": current * 0.7})


SETTINGS = tuple({"section_id": f"F{f}{r}", "operation": operation, "pickup_a": 400.0, "curve": "iec_very_inverse", "time_dial": dial}
                 for f in range(8) for r in ("", "R") for operation, dial in (("fast", 0.5), ("delayed", 6.0)))
VARIANTS: dict[str, dict[str, object]] = {
    "years that vary": {"yearly_cv": 0.3},
    "fractions that differ": {"spread": 0.15},
    "other devices": {"edit": other_devices},
    "other devices, counters": {"edit": other_devices, "seen": COUNTERS},
    "fuses in series": {"edit": below},
    "own rates": {"edit": own_rates},
    "no links": {"edit": no_links},
    "settings": {"settings": SETTINGS},
    "three feeders": {"feeders": 3},
    "twenty feeders": {"feeders": 20, "laterals": 15},
    "fraction 0.5": {"fraction": 0.5},
    "fraction 0.85": {"fraction": 0.85},
    "momentary some": {"seen": EVENTS, "momentary": "some"},
}
