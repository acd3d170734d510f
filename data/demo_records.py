"""Six years of records of an invented utility, drawn from the outcome table that the package computes with.

A fault finds the protection of its day: the table holds the laterals that were converted both ways, as a fault class
that ends in two ways, and the day of the fault says which.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from demo_conversions import as_scenario
from demo_operations import REPORTED, Operation

from reliability.faults.consequences import Consequences, consequences
from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable, build_outcomes, row_rates
from reliability.network.model import Model
from reliability.network.quantities import quantity
from reliability.schema.scenarios import UNCHANGED
from reliability.study import Study

RATE_CV = 0.55                    # between laterals
OFF_SEASON = (182, 274)           # days of the year in which reclosing may be off
STORM_SHARE = 0.2                 # of a year's faults, on its storm days
CAUSES = {True: ["tree contact", "lightning", "animal", "wind", "unknown"],
          False: ["tree fell on line", "broken pole", "failed equipment", "vehicle", "broken conductor"]}


@dataclass(frozen=True)
class Past:
    """years: of the records. line_fault_rate: a km and year, fleet mean, where a section states none. known: how the
    operations of each reclosing device are known, by section_id. days: of the conversions of laterals. oddities: rows
    of each kind that `dirty` makes."""

    years: range
    line_fault_rate: float
    known: Mapping[str, str]
    oddities: Mapping[str, int]
    days: Mapping[str, dt.date] = field(default_factory=dict)


@dataclass(frozen=True)
class Effects:
    """What classes of fault do under one protection, arrays (r,): customers interrupted, waiting for the call-out, and
    blinking."""

    what: Consequences
    interrupted: np.ndarray
    waiting: np.ndarray
    blinking: np.ndarray


@dataclass(frozen=True)
class Faults:
    """Classes of fault, r rows. before, after: what they do before and after the conversions. changed: (r,) day on
    which the protection at the fault changed, NaT where it did not. reported: (n,) whether momentary events of a
    reclosing device reach the outage system."""

    table: OutcomeTable
    before: Effects
    after: Effects
    rates: np.ndarray
    changed: np.ndarray
    reported: np.ndarray


@dataclass(frozen=True)
class Drawn:
    """outages: rows of outages.csv. operations: of all reclosing devices. truth: the rates behind them."""

    outages: list[dict]
    operations: list[Operation]
    truth: pd.DataFrame


def faults_of(study: Study, past: Past) -> Faults:
    """Faults of the network as it was before its conversions."""
    network, values = study.network, study.values
    table = build_outcomes(Model(network, values), (UNCHANGED, as_scenario(past.days)))
    customers = quantity(network, network.customers)

    def effects(scenario: int) -> Effects:
        what = consequences(table, scenario, values)
        return Effects(what, what.sustained(customers), what.waiting(customers), what.momentary_events(customers))

    unit = network.unit[table.section]
    names = np.where(unit >= 0, network.ids[unit], "").astype(str)
    changed = np.array([past.days.get(name, "NaT") for name in names], dtype="datetime64[D]")
    reported = np.array([past.known.get(str(name)) == REPORTED for name in network.ids])
    return Faults(table, effects(0), effects(1), row_rates(table, values), changed, reported)


def records(rng: np.random.Generator, study: Study, past: Past) -> Drawn:
    """The records and the true fault rates behind them. study: before its conversions."""
    network, n = study.network, len(study.network)
    group = np.where(network.lateral >= 0, network.lateral, np.arange(n))
    factor = rng.gamma(RATE_CV ** -2, RATE_CV ** 2, n)[group]
    stated = network.column["line_fault_rate_per_km"]
    true_rate = np.where(np.isnan(stated), past.line_fault_rate, stated) * factor
    faults = faults_of(study.with_section_values({"line_fault_rate_per_km": true_rate}), past)
    found: list[dict] = []
    operations: list[Operation] = []
    for year in past.years:
        storm_days = np.sort(rng.choice(365, 5, replace=False))
        counts = rng.poisson(faults.rates * rng.gamma(25.0, 1.0 / 25.0))
        for row in np.repeat(np.arange(len(counts)), counts):
            steps, operation = event(rng, faults, int(row), year, storm_days)
            found += steps
            operations.append(operation)
    found.sort(key=lambda r: (r["started"], r["event_id"]))
    number = {name: f"E{i + 1:05d}" for i, name in enumerate(dict.fromkeys(r["event_id"] for r in found))}
    for r in found:
        r["event_id"] = number[r["event_id"]]
    own = network.column["temporary_fraction"]
    truth = pd.DataFrame({"section_id": network.ids, "line_fault_rate_per_km": true_rate,
                          "temporary_fraction": np.where(np.isnan(own), study.values["temporary_fraction"], own)})
    return Drawn(dirty(rng, found, past.oddities), operations, truth)


def event(rng: np.random.Generator, faults: Faults, row: int, year: int,
          storm_days: np.ndarray) -> tuple[list[dict], Operation]:
    """The restoration steps of one fault, and what the reclosing device did."""
    table, network = faults.table, faults.table.network
    if table.off[0, row]:
        day = int(rng.integers(*OFF_SEASON))
    elif rng.random() < STORM_SHARE:
        day = int(rng.choice(storm_days, p=[0.45, 0.25, 0.15, 0.1, 0.05]))
    else:
        day = int(rng.integers(365))
    started = pd.Timestamp(year=year, month=1, day=1) + pd.Timedelta(days=day, seconds=int(rng.integers(86_400)))
    scenario = int(started.to_datetime64() >= faults.changed[row])
    effects = (faults.before, faults.after)[scenario]
    what, blinked = effects.what, round(effects.blinking[row])
    recloser, openings = int(what.recloser[row]), int(table.openings[scenario, row])
    permanent, opened = table.kinds[row] == PERMANENT_BIT, int(what.opened[row])
    section, severity = int(table.section[row]), rng.lognormal(-0.2473, 0.7033)  # cv 0.8, mean 1
    kind = "permanent" if permanent else "temporary"
    if rng.random() < (0.35 if opened >= 0 and not permanent else 0.15):  # a blown fuse tells nobody why
        kind = ""
    base = {"event_id": f"{started:%Y%m%d%H%M%S}-{row}-{rng.integers(1 << 30)}",
            "started": f"{started:%Y-%m-%dT%H:%M:%S}", "cause": str(rng.choice(CAUSES[not permanent])),
            "fault_kind": kind, "planned": ""}
    blink = base | step(started, 0.02, blinked) | {"event_id": base["event_id"] + "-R",
                                                   "section_id": str(network.ids[recloser])}
    operation = Operation(str(network.ids[recloser]), started, openings, bool(blinked))
    rows = [blink] if blinked and faults.reported[recloser] else []
    if opened < 0:
        return rows, operation
    place = {"section_id": str(network.ids[section if permanent else opened])}
    interrupted, below = float(effects.interrupted[row]), float(network.customers_below[opened])
    # of single-phase openings somewhat more or fewer customers than the mean hang on the phase
    scale = min(below / interrupted, rng.choice([0.9, 1.0, 1.1])) if 0 < interrupted < below else 1.0
    waiting = round(scale * effects.waiting[row])
    switched = round(scale * interrupted) - waiting
    steps = [step(started, what.switching_hours[row] * severity, switched),
             step(started, what.waiting_hours[row] * severity, waiting)]
    return rows + [base | place | s for s in steps if s["customers"] > 0], operation


def step(started: pd.Timestamp, hours: float, customers: int) -> dict:
    restored = started + pd.Timedelta(minutes=max(1, round(60.0 * hours)))
    return {"restored": f"{restored:%Y-%m-%dT%H:%M:%S}", "customers": customers}


def dirty(rng: np.random.Generator, rows: list[dict], oddities: Mapping[str, int]) -> list[dict]:
    """What real exports have: a missing time, a section nobody knows, a row twice, times swapped, planned work."""
    def some(kind: str) -> np.ndarray:
        return rng.choice(len(rows), oddities[kind], replace=False)

    for i in some("no end"):
        rows[i] = rows[i] | {"restored": ""}
    for i in some("unknown place"):
        rows[i] = rows[i] | {"section_id": f"OLD-{i}"}
    for i in some("no place"):
        rows[i] = rows[i] | {"section_id": ""}
    for i in some("times swapped"):
        rows[i] = rows[i] | {"started": rows[i]["restored"] or rows[i]["started"], "restored": rows[i]["started"]}
    for i in some("planned"):
        rows[i] = rows[i] | {"cause": "scheduled work", "fault_kind": "", "planned": "true"}
    for i in sorted(some("twice"))[::-1]:
        rows.insert(int(i) + 1, dict(rows[i]))
    return rows
