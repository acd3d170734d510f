"""Fleets of fused laterals with records drawn from known rates, for tests of what is learned from records.

A fault is recorded where the rules of model §10 say: sustained at the device that opened, its kind left blank more
often where it was temporary; momentary at a reclosing device whose events are recorded; every opening on its counter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.faults.outcomes import PERMANENT_BIT, build_outcomes, row_rates
from reliability.history.operations import Operations, read_operations
from reliability.history.outages import Records, read_records
from reliability.schema.scenarios import UNCHANGED
from reliability.study.study import Study
from tests.history.records import frame
from tests.networks import study_of

START, YEARS = np.datetime64("2018-01-01T00:00:00"), 6
BLANK = {"temporary": 0.35, "permanent": 0.15}
SECONDS = int(YEARS * 365.25 * 86_400)
EVENTS, COUNTERS, NEITHER = "events", "counters", "neither"
Edit = Callable[[np.random.Generator, list[dict]], None]
Parts = tuple[tuple[Study, float, float], ...]


@dataclass(frozen=True)
class Fleet:
    """study: with assumed rates and its records. true: the same network at the true rates. records, operations: as
    read from it. lateral_rates: by section_id of a lateral's head, per km and year."""

    study: Study
    true: Study
    records: Records
    operations: Operations


def network_rows(rng: np.random.Generator, feeders: int, laterals: int, fast: list[int]) -> list[dict]:
    """Feeders of a breaker, a stretch of main, a recloser and another, with fused laterals; fast: operations by
    feeder."""
    rows: list[dict] = []
    for f in range(feeders):
        head, mid = f"F{f}", f"F{f}R"
        common = {"device": "breaker", "fast_operations": fast[f], "operations_to_lockout": 4, "phases": 3}
        rows.append({"section_id": head, "parent_id": "", "length_km": 6.0, "customers": 50,
                     "fault_current_source_a": 5000, "fault_current_end_a": 2500} | common)
        rows.append({"section_id": mid, "parent_id": head, "length_km": 8.0, "customers": 60,
                     "fault_current_source_a": 2500, "fault_current_end_a": 1100} | common | {"device": "recloser"})
        for k in range(laterals):
            source = float(rng.uniform(900, 4500))
            link = str(rng.choice(["25K", "40K", "65K", "100K"]))
            rows.append({"section_id": f"F{f}L{k}", "parent_id": head if k % 2 else mid, "device": "fuse",
                         "length_km": float(rng.uniform(0.4, 4.0)), "customers": int(rng.integers(3, 60)), "phases": 1,
                         "fault_current_source_a": source, "fault_current_end_a": source * 0.6, "fuse_link": link})
    return rows


def fleet(seed: int, fast: str = "on", seen: str = EVENTS, feeders: int = 8, laterals: int = 30,
          fraction: float = 0.72, cv: float = 0.6, spread: float = 0.0, edit: Edit | None = None,
          settings: tuple[dict, ...] = (), **values: object) -> Fleet:
    """A fleet and its records. fast: "on", "off" or "mixed". seen: what shows momentary events. spread: of the
    temporary fractions of units. edit: changes rows. yearly_cv: of a multiplier common to all faults of a year."""
    rng = np.random.default_rng(seed)
    on = {"on": [2] * feeders, "off": [0] * feeders, "mixed": [2 * (f % 2) for f in range(feeders)]}[fast]
    rows = network_rows(rng, feeders, laterals, on)
    if edit:
        edit(rng, rows)
    assumed = {"line_fault_rate_per_km": 0.25, "temporary_fraction": 0.65, "fuse_failure": 0.01,
               "reclosing_off_share": 0.02, "momentary": {EVENTS: "all", COUNTERS: "none", NEITHER: "none"}[seen],
               "yearly_cv": 0.0, "records_from": "2018-01-01", "records_to": "2023-12-31"} | values
    study = study_of(rows, settings=settings, **assumed)
    true = _at_true_rates(rng, study, fraction, cv, spread)
    return with_records(rng, study, true, seen)


def _at_true_rates(rng: np.random.Generator, study: Study, fraction: float, cv: float, spread: float) -> Study:
    """Rates 1.2 times those assumed, gamma between units."""
    network = study.network
    unit = np.where(network.unit >= 0, network.unit, network.feeder + len(network))
    factor = 1.2 * rng.gamma(1 / cv**2, cv**2, 2 * len(network))[unit]
    own = np.clip(rng.normal(fraction, spread, 2 * len(network)), 0.02, 0.98)[unit] if spread else np.full(
        len(network), fraction)
    line = network.column["line_fault_rate_per_km"]
    line = np.where(np.isnan(line), study.values["line_fault_rate_per_km"], line)
    return study.with_section_values({
        "line_fault_rate_per_km": line * factor, "temporary_fraction": own,
        "equipment_fault_rate": network.column["equipment_fault_rate"] * factor})


def with_records(rng: np.random.Generator, study: Study, true: Study, seen: str, parts: Parts = ()) -> Fleet:
    """`study` with records drawn from `true`; parts: see `drawn_records`."""
    outages, operations = drawn_records(rng, parts or ((true, 0.0, 1.0),), seen)
    study = replace(study, outages=outages, operations=operations)
    records = read_records(study)
    return Fleet(study, true, records, read_operations(study, records))


def drawn_records(rng: np.random.Generator, parts: Parts, seen: str) -> tuple[pd.DataFrame, pd.DataFrame | None]:
    """Outage records and, where counters are read, operations; parts: studies at their true rates, and the part of
    the time, from and to, for which each was so."""
    cv = float(parts[0][0].values["yearly_cv"])
    yearly = rng.gamma(1 / cv**2, cv**2, YEARS) if cv else np.ones(YEARS)
    drawn = pd.concat([_drawn_faults(rng, *part, yearly) for part in parts]).sort_values("at", kind="stable")
    ids, rows = parts[0][0].network.ids, []
    for i, (second, kind, opened, k, device) in enumerate(drawn.itertuples(index=False)):
        start = START + second
        if opened >= 0:
            stated = "" if rng.random() < BLANK[kind] else kind
            rows.append(_row(f"e{i}", ids[opened], start, 7200, stated))
        if seen == EVENTS and k >= 1 and opened != device:
            rows.append(_row(f"m{i}", ids[device], start, 60, ""))
    operations = _readings(parts[0][0], *(drawn[c].to_numpy() for c in ("device", "at", "openings"))
                           ) if seen == COUNTERS else None
    return frame(rows), operations


def _drawn_faults(rng: np.random.Generator, true: Study, since: float, until: float,
                  yearly: np.ndarray) -> pd.DataFrame:
    """Faults of one part of the time: at (seconds from START), kind, opened, openings, device that recloses."""
    table = build_outcomes(true.model, (UNCHANGED,))
    edges = np.arange(YEARS + 1) / YEARS
    share = np.clip(np.minimum(edges[1:], until) - np.maximum(edges[:-1], since), 0.0, None)
    counts = rng.poisson(row_rates(table, true.values)[:, None] * (share * YEARS * yearly))
    row, year = (np.repeat(index.ravel(), counts.ravel()) for index in np.indices(counts.shape))
    first = np.maximum(edges[:-1], since)[year]
    at = ((first + rng.random(len(row)) * share[year]) * SECONDS).astype(np.int64)
    kind = np.where(table.kinds[row] == PERMANENT_BIT, "permanent", "temporary")
    return pd.DataFrame({"at": at, "kind": kind, "opened": table.opened[0][row], "openings": table.openings[0][row],
                         "device": table.recloser[0][table.section[row]]})


def _row(event: str, section: str, start: np.datetime64, seconds: int, kind: str) -> dict:
    return {"event_id": event, "section_id": section, "started": str(start), "restored": str(start + seconds),
            "customers": 1, "fault_kind": kind}


def _readings(true: Study, device: np.ndarray, at: np.ndarray, openings: np.ndarray) -> pd.DataFrame:
    """A counter reading of every reclosing device for every year, as the reader of operations.csv leaves it."""
    rows = []
    year = at // int(365.25 * 86_400)
    for d in np.unique(device):
        for y in range(YEARS):
            start = START + y * int(365.25 * 86_400)
            rows.append({"section_id": str(true.network.ids[d]), "from": start, "to": start + int(365.25 * 86_400),
                         "operations": float(openings[(device == d) & (year == y)].sum()), "kind": "counter",
                         "row": len(rows) + 2})
    return pd.DataFrame(rows)
