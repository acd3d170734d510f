"""What tests/networks.py draws for a full study beside the sections: settings, curves, scenarios, newer assumptions.

Settings mix phase and ground elements, fast and delayed ones, every kind of curve, pickups above every fault current,
and curves equal to a link's; links have curves of their own now and then, and one is in no table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from reliability.schema.devices import (
    BREAKER,
    BY_NAME,
    FUSE,
    LATERAL_DEVICES,
    LATERAL_RECLOSER,
    RECLOSER,
    SECTIONALIZER,
    SWITCH,
)
from reliability.schema.scenarios import AS_BUILT, Conversion, Scenario

FORMULAS = ("ieee_moderately_inverse", "ieee_very_inverse", "ieee_extremely_inverse",
            "iec_standard_inverse", "iec_very_inverse", "iec_extremely_inverse")
OWN_LINKS = ("40K", "65T", "55K")  # may have curves of their own; the last is in no table
POINT_CURVES = ("recloser A", "recloser B", "40K melting", "40K clearing")
SETTINGS = ("section_id", "element", "operation", "pickup_a", "curve", "time_dial", "added_time_s")


def full_values(rng: np.random.Generator) -> dict[str, object]:
    """Assumptions on reclosing off, fuses and fault currents; the patrol with reclosing off only sometimes."""
    values: dict[str, object] = {
        "reclosing_off_share": float(rng.choice([0.0, 0.01, 0.4, 1.0], p=[0.45, 0.25, 0.25, 0.05])),
        "reclosing_off_trip": str(rng.choice(["fast", "delayed"])),
        "fault_current_factor": float(rng.choice([1.0, 0.7, 1.4])),
        "fuse_melting_factor": float(rng.choice([0.75, 0.5, 1.0])),
        "wrong_link_share": float(rng.choice([0.0, 0.1, 1.0], p=[0.5, 0.4, 0.1])),
        "fuse_arcing_time_s": float(rng.choice([0.013, 0.0, 0.2])),
    }
    if rng.random() < 0.6:
        values["patrol_reclosing_off_hours"] = float(rng.uniform(0.3, 8.0))
    return values


def full_device(rng: np.random.Generator, device: str, above: Sequence[str]) -> str:
    """The device, or a fuse where the next device above is a lateral recloser; `above` from the parent up."""
    following = next((d for d in above if d and d != SWITCH), "")
    return FUSE if following == LATERAL_RECLOSER and rng.random() < 0.4 else device


def full_cells(rng: np.random.Generator, row: Mapping[str, object], low_currents: bool) -> dict[str, object]:
    """Cells of the newer columns, links more often, and currents scaled down or rising along the section."""
    cells: dict[str, object] = {}
    device = BY_NAME.get(str(row["device"]))
    if device is not None and device.trippings and rng.random() < 0.6:
        cells["tripping"] = str(rng.choice(device.trippings))
    if device is not None and device.recloses and rng.random() < 0.3:
        cells["reclosing_off_share"] = float(rng.choice([0.0, 0.2, 1.0], p=[0.4, 0.4, 0.2]))
    if row["device"] == FUSE and rng.random() < 0.6:
        cells["fuse_link"] = str(rng.choice(OWN_LINKS + ("15K", "65K", "100T", "200K")))
    if rng.random() < 0.5:
        cells["customers_three_phase"] = int(rng.integers(0, int(row["customers"]) + 1))
    elif rng.random() < 0.1:
        cells["customers_three_phase"] = int(row["customers"])
    if rng.random() < 0.15:
        cells["construction"] = "underground"
    if rng.random() < 0.2:
        cells["phases"] = np.nan
    scale = 0.15 if low_currents else 1.0
    for name in ("fault_current_source_a", "fault_current_end_a"):
        if name in row:
            cells[name] = scale * float(row[name])
    if len(cells.keys() & {"fault_current_source_a", "fault_current_end_a"}) == 2 and rng.random() < 0.1:
        cells["fault_current_end_a"] = cells["fault_current_source_a"] * float(rng.uniform(1.05, 2.0))
    return cells


# --- settings and curves -----------------------------------------------------------------


def random_settings(rng: np.random.Generator, sections: pd.DataFrame, factor: float) -> pd.DataFrame | None:
    """Rows of settings.csv for most reclosing devices; None now and then. `factor`: fuse_melting_factor."""
    if rng.random() < 0.15:
        return None
    rows: list[dict] = []
    for section, device in zip(sections["section_id"], sections["device"], strict=True):
        if device not in (BREAKER, RECLOSER, LATERAL_RECLOSER) or rng.random() < 0.25:
            continue
        if rows and rng.random() < 0.15:  # set as the one before
            before = rows[-1]["section_id"]
            rows += [row | {"section_id": section} for row in rows if row["section_id"] == before]
            continue
        elements = ("ground",) if rng.random() < 0.15 else ("phase", "ground")
        pairs = [(e, o) for e in elements for o in ("fast", "delayed") if rng.random() < 0.8]
        rows += [{"section_id": section, "element": e, "operation": o} | _random_element(rng, e, o, factor)
                 for e, o in pairs]
    frame = pd.DataFrame(rows, columns=list(SETTINGS))
    return frame.astype({"pickup_a": float, "time_dial": float, "added_time_s": float})


def _random_element(rng: np.random.Generator, element: str, operation: str, factor: float) -> dict[str, object]:
    pickup = float(rng.uniform(40.0, 900.0)) * (0.5 if element == "ground" else 1.0)
    if rng.random() < 0.06:
        pickup = 1e5  # above every fault current
    curve = str(rng.choice(("definite", *FORMULAS, *POINT_CURVES)))
    slow = 3.0 if operation == "delayed" else 0.05
    if curve == "definite":
        dial = slow * float(rng.choice([0.5, 1.0, rng.uniform(0.1, 3.0)]))
    elif curve in FORMULAS:
        dial = slow * float(rng.uniform(0.1, 6.0)) * (0.2 if curve.startswith("iec") else 1.0)
    else:  # equal to a link's times `factor`, unscaled, or scaled
        dial = float(rng.choice([np.nan, factor, slow]))
    return {"pickup_a": pickup, "curve": curve, "time_dial": dial,
            "added_time_s": float(rng.choice([np.nan, 0.0, 0.05, 0.1]))}


def random_curves(rng: np.random.Generator) -> pd.DataFrame:
    """Every curve that settings or links may name: of reclosers, and melting and clearing of OWN_LINKS."""
    rows = [(name, *point) for name in POINT_CURVES[:2] for point in _falling(rng, 200.0, 30.0)]
    for link in OWN_LINKS:
        if link == "65T" and rng.random() < 0.5:
            continue  # by the table then
        melting = _falling(rng, 100.0, 300.0)
        later = float(rng.uniform(1.05, 1.6))
        rows += [(f"{link} melting", *point) for point in melting]
        rows += [(f"{link} clearing", 1.15 * current, later * time + 0.01) for current, time in melting]
    return pd.DataFrame(rows, columns=["curve", "current_a", "time_s"])


def _falling(rng: np.random.Generator, current: float, time: float) -> list[tuple[float, float]]:
    """From about `current` and `time` down; level between two points now and then."""
    points = [(current * float(rng.uniform(0.5, 2.0)), time * float(rng.uniform(0.3, 1.0)))]
    for _ in range(rng.integers(1, 6)):
        i, t = points[-1]
        slower = 1.0 if rng.random() < 0.15 else float(rng.uniform(0.02, 0.7))
        points.append((i * float(rng.uniform(1.1, 3.0)), t * slower))
    return points


# --- scenarios ---------------------------------------------------------------------------


def full_scenarios(rng: np.random.Generator, rows: Sequence[Mapping], candidates: Sequence[str]
                   ) -> tuple[Scenario, ...]:
    """Every way to name candidates and settings; counts up to 3, whatever the backup's operations."""
    heads = [str(row["section_id"]) for row in rows if row["device"] in (BREAKER, RECLOSER)]

    def some() -> tuple[str, ...]:
        return tuple(name for name in candidates if rng.random() < 0.6)

    def counts() -> int:
        return int(rng.integers(1, 4))

    def choice() -> Conversion:
        device = str(rng.choice(LATERAL_DEVICES))
        return Conversion(device, counts() if device == SECTIONALIZER and rng.random() < 0.7 else None)

    by_section = {name: int(rng.integers(0, 4)) for name in heads if rng.random() < 0.6}
    return (
        Scenario(AS_BUILT),
        Scenario("Fast tripping blocked", fast_operations=0),
        Scenario("Fast tripping by device", fast_operations=by_section),
        Scenario("Sectionalizers everywhere", None, SECTIONALIZER, counts()),
        Scenario("Sectionalizers everywhere, fast tripping by device", None, SECTIONALIZER, None, by_section),
        Scenario("Some sectionalizers", some(), SECTIONALIZER, counts(), int(rng.integers(0, 4))),
        Scenario("Lateral reclosers everywhere", None, LATERAL_RECLOSER),
        Scenario("Some lateral reclosers", some(), LATERAL_RECLOSER, fast_operations=int(rng.integers(0, 4))),
        Scenario("Fuses everywhere", None, FUSE),
        Scenario("Some fuses", some(), FUSE),
        Scenario("Mixed", {name: choice() for name in some()}),
        Scenario("Mixed, fast tripping by device", {name: choice() for name in candidates},
                 fast_operations=by_section),
    )
