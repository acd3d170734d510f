"""Radial studies to test on: drawn at random, or spelt out row by row.

`random_study(rng, sections)` mixes devices, settings and gaps; with `full=True` it mixes in all
else that the model knows (tests/networks_full.py), and the study has `settings` and `curves`.
`random_studies(...)` is the hypothesis strategy over its seed and size. `study_of(rows)` makes a
study of a few rows given as dicts, everything else blank.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from hypothesis import strategies as st

from reliability.network.tree import build_network
from reliability.schema import columns
from reliability.schema.assumptions import defaults
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.devices import (
    BREAKER,
    FUSE,
    LATERAL_DEVICES,
    LATERAL_RECLOSER,
    RECLOSER,
    SECTIONALIZER,
    SWITCH,
)
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study.study import Study
from tests.networks_full import (
    SETTINGS,
    full_cells,
    full_device,
    full_scenarios,
    full_values,
    random_curves,
    random_settings,
)

NO_DEFAULT_RANGES = {"default_ranges": False}
RECLOSING = (BREAKER, RECLOSER, LATERAL_RECLOSER)
LINKS = ("6K", "15K", "25K", "40K", "65K", "100K", "140K", "200K", "10T", "30T", "65T", "140T", "200T")


def frame_of(rows: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Rows as the reader of sections.csv leaves them: every column, ids, phases and classes filled.

    Columns of the rows that the schema does not have stand last.
    """
    by_id = {row["section_id"]: row for row in rows}
    more = {name: value for row in rows for name, value in row.items()}
    kinds = {name: "text" if isinstance(value, str) else "number" for name, value in more.items()}
    kinds |= {c.name: c.kind for c in columns.SECTIONS}
    names = [c.name for c in columns.SECTIONS]
    names += [name for name in more if name not in names]
    full = []
    for row in rows:
        out = {name: "" if kinds[name] == "text" else np.nan for name in names} | dict(row)
        if not out["feeder_id"]:
            out["feeder_id"] = _upward(by_id, row["section_id"])[-1]
        out["phases"] = _phases(by_id, row["section_id"])
        if all(np.isnan(out[f"customers_{c}"]) for c in CUSTOMER_CLASSES):
            out["customers_residential"] = out["customers"]
        out |= {f"customers_{c}": 0.0 for c in CUSTOMER_CLASSES if np.isnan(out[f"customers_{c}"])}
        if "customers_three_phase" in names and np.isnan(out["customers_three_phase"]):
            out["customers_three_phase"] = 0.0
        full.append(out)
    frame = pd.DataFrame(full, columns=names)
    return frame.astype({name: float for name in names if kinds[name] != "text"})


def _phases(by_id: Mapping[str, Mapping], name: str) -> float:
    """Stated, or 1 at the head of a lateral, elsewhere the parent's, 3 at a source."""
    stated = by_id[name].get("phases", np.nan)
    if not np.isnan(stated):
        return float(stated)
    path = _upward(by_id, name)
    if [s for s in path if by_id[s].get("device") in LATERAL_DEVICES] == [name]:
        return 1.0
    return _phases(by_id, path[1]) if len(path) > 1 else 3.0


def certain(study: Study) -> Study:
    """The study with every assumption certain."""
    return replace(study, stated_ranges={}, values=study.values | NO_DEFAULT_RANGES)


def study_of(rows: Sequence[Mapping[str, object]], scenarios: Sequence[Scenario] = (),
             settings: Sequence[Mapping[str, object]] = (), curves: Sequence[tuple[str, float, float]] = (),
             **values: object) -> Study:
    """A study of the rows given; length_km and customers of a row default to 0.

    Of the assumptions named in `values` those values hold, of the rest the defaults; without default ranges.
    `settings` are rows of settings.csv (element and operation default to phase and fast), `curves` those of curves.csv.
    """
    rows = [{"parent_id": "", "device": "", "length_km": 0.0, "customers": 0.0} | dict(row) for row in rows]
    frame = frame_of(rows)
    elements = [{"element": "phase", "operation": "fast"} | dict(row) for row in settings]
    of_devices = checked(pd.DataFrame(elements, columns=list(SETTINGS)))
    points = pd.DataFrame(list(curves), columns=["curve", "current_a", "time_s"])
    return Study("test", "USD", frame, build_network(frame, settings=of_devices, curves=points),
                 defaults() | NO_DEFAULT_RANGES | values, scenarios=(Scenario(AS_BUILT), *scenarios),
                 settings=of_devices, curves=points)


def checked(settings: pd.DataFrame | None) -> pd.DataFrame | None:
    """Rows of settings.csv as the reader leaves them: blanks filled."""
    if settings is None:
        return None
    numbers = dict.fromkeys(("pickup_a", "time_dial", "added_time_s"), float)
    return settings.astype(numbers).fillna({"time_dial": 1.0, "added_time_s": 0.0})


def _upward(by_id: Mapping[str, Mapping], name: str) -> list[str]:
    path = []
    while name:
        path.append(name)
        name = by_id[name].get("parent_id", "")
    return path


def random_study(rng: np.random.Generator, sections: int = 30, full: bool = False, **values: object) -> Study:
    """Any mix of devices, gaps and settings within the bounds of a checked study.

    Counts stay below the operations of the backup as built (one of a single operation
    excepted), fast operations of a section below those of its own device, phases at or below
    the parent's. `full` mixes in tripping, three-phase customers, reclosing off, links' curves, overcurrent
    settings, underground sections and mixed scenarios. `values` override assumptions.
    """
    fewest = int(rng.choice([2, 3, 4], p=[0.4, 0.35, 0.25]))  # operations to lockout in this study, at the least
    assumed = defaults() | NO_DEFAULT_RANGES | _random_values(rng, fewest) | (full_values(rng) if full else {}) | values
    low_currents = full and rng.random() < 0.2
    rows: list[dict] = []
    for number in range(sections):
        root = number == 0 or (number < 4 and rng.random() < 0.15)
        parent = None if root else rows[_random_parent(rng, number)]
        row = _random_row(rng, f"s{number:03d}", parent, fewest, rows, full)
        rows.append(row | full_cells(rng, row, low_currents) if full else row)
    frame = frame_of(rows)
    if not full:
        return Study("random", "USD", frame, build_network(frame), assumed,
                     scenarios=_random_scenarios(rng, rows, fewest))
    scenarios = full_scenarios(rng, rows, candidates_of(rows))
    settings = checked(random_settings(rng, frame, float(str(assumed["fuse_melting_factor"]))))
    curves = random_curves(rng)
    return Study("random", "USD", frame, build_network(frame, settings=settings, curves=curves), assumed,
                 scenarios=scenarios, settings=settings, curves=curves)


def candidates_of(rows: Sequence[Mapping[str, object]]) -> list[str]:
    """Sections headed by a lateral device whose next device above, switches aside, is a reclosing one."""
    by_id = {row["section_id"]: row for row in rows}
    found = []
    for name, row in by_id.items():
        above = (by_id[s]["device"] for s in _upward(by_id, name)[1:])
        following = next((d for d in above if d and d != SWITCH), "")
        if row["device"] in LATERAL_DEVICES and following in RECLOSING:
            found.append(name)
    return found


def with_stray_cells(study: Study, rng: np.random.Generator) -> Study:
    """The study with settings in a third of the rows' blanks, of devices that need not be there.

    Fast operations are 1 of 5 and counts 1, so that what was within its bounds stays so.
    """
    stray = {"fuse_link": "40K", "saving_ceiling_a": 1200.0, "actuating_current_a": 900.0, "counts": 1.0}
    sections = study.sections.copy()
    chosen = pd.Series(rng.random(len(sections)) < 0.3, index=sections.index)
    for column, value in stray.items():
        sections.loc[chosen & (sections[column].isna() | (sections[column] == "")), column] = value
    no_recloser = chosen & ~sections["device"].isin(RECLOSING)
    sections.loc[no_recloser, ["operations_to_lockout", "fast_operations"]] = (5.0, 1.0)
    return study.with_sections(sections)


@st.composite
def random_studies(draw: st.DrawFn, most_sections: int = 25, full: bool = False) -> Study:
    """`random_study` over its seed and size; shrinks to few sections."""
    sections = draw(st.integers(1, most_sections))
    return random_study(np.random.default_rng(draw(st.integers(0, 2**32 - 1))), sections, full)


def _random_values(rng: np.random.Generator, fewest: int) -> dict[str, object]:
    clearing = rng.dirichlet((4.0, 1.0, 0.5)) if rng.random() < 0.8 else np.eye(3)[rng.integers(3)]
    phases = rng.dirichlet((4.0, 1.0, 0.5))
    operations = _random_operations(rng, fewest)
    return {
        "line_fault_rate_per_km": float(rng.uniform(0.05, 0.5)),
        "temporary_fraction": float(rng.choice([0.0, 1.0, rng.uniform(0.3, 0.95)], p=[0.1, 0.1, 0.8])),
        "clearing_shares": tuple(float(c) for c in clearing),
        "phases_involved": tuple(float(m) for m in phases),
        "yearly_cv": float(rng.choice([0.0, 0.2, 1.1])),
        **{f"{kind}_hours": float(rng.uniform(0.3, 6.0)) for kind in ("repair", "switching", "refuse", "reset",
                                                                      "patrol")},
        "operations_to_lockout": operations,
        "fast_operations": int(rng.integers(0, operations)),
        "fast_clearing_time_s": float(rng.choice([0.03, 0.08, 0.2, 9.0])),
        "sectionalizer_counts": int(rng.integers(1, min(fewest, 4))),
        "fuse_failure": float(rng.choice([0.0, 0.03, 0.3])),
        "sectionalizer_failure": float(rng.choice([0.0, 0.01, 0.25])),
    }


def _random_parent(rng: np.random.Generator, number: int) -> int:
    """Mostly a recent section, so that the tree has depth; sometimes any."""
    return int(rng.integers(0, number)) if rng.random() < 0.3 else int(rng.integers(max(0, number - 4), number))


def _random_row(rng: np.random.Generator, name: str, parent: dict | None, fewest: int, rows: list[dict],
                full: bool = False) -> dict:
    if parent is None:
        device = str(rng.choice([BREAKER, RECLOSER]))
    else:
        device = str(rng.choice([RECLOSER, LATERAL_RECLOSER, FUSE, SECTIONALIZER, SWITCH, ""],
                                p=[0.05, 0.08, 0.25, 0.18, 0.12, 0.32]))
    if full and parent is not None:
        by_id = {row["section_id"]: row for row in rows}
        device = full_device(rng, device, [by_id[s]["device"] for s in _upward(by_id, parent["section_id"])])
    most_phases = 3 if parent is None else int(_phases({row["section_id"]: row for row in rows}, parent["section_id"]))
    customers = [int(c) for c in rng.integers(0, 40, size=3) * (rng.random(3) < 0.6)]
    row: dict[str, object] = {
        "section_id": name, "parent_id": parent["section_id"] if parent else "", "device": device,
        "length_km": float(rng.choice([0.0, rng.uniform(0.1, 6.0)], p=[0.1, 0.9])),
        "customers": sum(customers), "load_kw": float(rng.uniform(0.0, 300.0)),
        **{f"customers_{c}": n for c, n in zip(CUSTOMER_CLASSES, customers, strict=True)},
        "phases": most_phases if rng.random() < 0.6 else int(rng.integers(1, most_phases + 1)),
    }
    row |= _sometimes(rng, 0.3, line_fault_rate_per_km=rng.uniform(0.0, 1.0), repair_hours=rng.uniform(0.5, 10.0),
                      equipment_fault_rate=rng.uniform(0.0, 0.2), temporary_fraction=rng.uniform(0.0, 1.0),
                      load_kw=np.nan)
    row |= _sometimes(rng, 0.6, peak_load_a=float(rng.choice([4.0, 30.0, 90.0, 400.0])))
    row |= _sometimes(rng, 0.12, tie_probability=float(rng.choice([0.3, 0.8, 1.0])))
    return row | _random_currents(rng, parent) | _random_settings(rng, row, fewest, rows)


def _random_operations(rng: np.random.Generator, fewest: int) -> int:
    return fewest if rng.random() < 0.5 else int(rng.integers(fewest, 6))


def _sometimes(rng: np.random.Generator, chance: float, **cells: float) -> dict[str, float]:
    return {name: float(value) for name, value in cells.items() if rng.random() < chance}


def _random_currents(rng: np.random.Generator, parent: dict | None) -> dict[str, float]:
    """Falling along the section from where the parent ended; constant, one missing or both now and then."""
    near = float((parent or {}).get("fault_current_end_a", np.nan))
    if np.isnan(near):
        near = float(rng.uniform(500.0, 9000.0))
    far = near * float(rng.choice([1.0, rng.uniform(0.4, 0.99)], p=[0.1, 0.9]))
    case = rng.random()
    if case < 0.08:
        return {}
    if case < 0.12:
        return {"fault_current_source_a": near}
    if case < 0.16:
        return {"fault_current_end_a": far}
    return {"fault_current_source_a": near, "fault_current_end_a": far}


def _random_settings(rng: np.random.Generator, row: dict, fewest: int, rows: list[dict]) -> dict[str, object]:
    threshold = float(rng.uniform(300.0, 6000.0))
    if row["device"] in RECLOSING:
        operations = _random_operations(rng, fewest)
        if rng.random() < 0.1:  # one that does not reclose: it trips and stays open
            operations = 1
        both = {"operations_to_lockout": operations, "fast_operations": int(rng.integers(0, operations))}
        return both if rng.random() < 0.8 else {}
    if row["device"] == FUSE:
        kind = rng.integers(4)
        link = {"fuse_link": str(rng.choice(LINKS))}
        return [{}, link, {"saving_ceiling_a": threshold}, link | {"saving_ceiling_a": threshold}][kind]
    if row["device"] == SECTIONALIZER:
        kind = rng.integers(4)
        rating, actuating = {"rated_current_a": threshold / 3.2}, {"actuating_current_a": threshold / 2}
        current = [{}, rating, actuating, rating | actuating][kind]
        most = max(1, min(3, _operations_of_backup(row, fewest, rows) - 1))
        return current | ({"counts": int(rng.integers(1, most + 1))} if rng.random() < 0.7 else {})
    return {}


def _operations_of_backup(row: dict, fewest: int, rows: list[dict]) -> int:
    by_id = {r["section_id"]: r for r in rows}
    backup = next(s for s in _upward(by_id, row["parent_id"]) if by_id[s]["device"] in RECLOSING)
    return int(by_id[backup].get("operations_to_lockout", fewest))


def _random_scenarios(rng: np.random.Generator, rows: list[dict], fewest: int) -> tuple[Scenario, ...]:
    by_id = {row["section_id"]: row for row in rows}
    laterals = [name for name in by_id
                if [s for s in _upward(by_id, name) if by_id[s]["device"] in LATERAL_DEVICES] == [name]]

    def some() -> tuple[str, ...]:
        return tuple(name for name in laterals if rng.random() < 0.6)

    counts = int(rng.integers(1, min(fewest, 4)))
    fast = int(rng.integers(0, fewest))
    return (
        Scenario(AS_BUILT),
        Scenario("Fast tripping blocked", fast_operations=0),
        Scenario("Sectionalizers everywhere", None, SECTIONALIZER, counts),
        Scenario("Some sectionalizers", some(), SECTIONALIZER, fast_operations=fast),
        Scenario("Some lateral reclosers", some(), LATERAL_RECLOSER, fast_operations=fast),
        Scenario("Some fuses", some(), FUSE),
        Scenario("Fuses everywhere, fast tripping set", None, FUSE, fast_operations=fast),
    )
