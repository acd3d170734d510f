"""The same model as a discrete-event simulation in SimPy: clocks, faults and crews, one by one.

Slow and plain; it checks the sparse-matrix simulation by another route and is what that one
is timed against. Rules of protection come from the enumeration, so nothing of the package's
faults or indices is used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import simpy

from tests.enumeration import (
    PERMANENT,
    RECLOSING_DEVICES,
    Tree,
    converted,
    hours_to_restore,
    kinds,
    laterals_of,
    momentary_customers,
    play,
    read_sections,
    settings,
    share_interrupted,
)

HOURS_PER_YEAR = 8760.0


@dataclass
class Tally:
    """What one scenario's customers went through."""

    faults: int = 0
    ci: float = 0.0
    customer_hours: float = 0.0
    momentary_events: float = 0.0
    momentary_interruptions: float = 0.0
    callouts: dict[str, int] = field(default_factory=lambda: {"repair": 0, "other": 0})


class Feeder:
    """The sections of one scenario, what stands above each, and the tally."""

    def __init__(self, study, scenario):
        rows = read_sections(study)
        self.tree, self.values, self.tally = Tree(rows), study.values, Tally()
        self.rows = converted(rows, laterals_of(rows, self.tree), scenario, study.values)
        self.customers = {name: float(row["customers"]) for name, row in self.rows.items()}
        devices = {name: settings(row, study.values) for name, row in self.rows.items() if row.get("device")}
        self.above = {name: self._above(name, devices) for name in self.rows}

    def _above(self, name: str, devices: dict[str, dict]) -> tuple[list[dict], dict]:
        chain = []
        for section in self.tree.upward(name):
            device = devices.get(section)
            if device and device["device"] in RECLOSING_DEVICES:
                return chain, device
            if device and device["device"] in ("fuse", "sectionalizer"):
                chain.append(device)
        raise AssertionError("every root has a reclosing device")

    def fault(self, env: simpy.Environment, name: str, clears_in: int | None, rng: np.random.Generator):
        """One fault from inception to the last customer's restoration."""
        chain, backup = self.above[name]
        x, row, tally = rng.random(), self.rows[name], self.tally
        working = [device for device in chain if rng.random() >= device["failure"]]
        current = None
        if "fault_current_source_a" in row and "fault_current_end_a" in row:
            current = 1.0 / ((1.0 - x) / row["fault_current_source_a"] + x / row["fault_current_end_a"])
        opened, openings = play(working, backup, current, clears_in)
        zone = sum(self.customers[s] for s in self.tree.below[backup["section"]])
        backup_share = share_interrupted(backup, self.rows, name, self.values)
        tally.faults += 1
        if opened is None:
            self._momentary(zone * backup_share, openings)
            return
        share = share_interrupted(opened, self.rows, name, self.values)
        hours = hours_to_restore(self.rows, self.tree, name, opened, clears_in is PERMANENT, self.values)
        below = sum(self.customers[s] for s in hours)
        if opened is not backup and openings:
            self._momentary(momentary_customers(zone, backup_share, below, share), openings)
        tally.callouts["repair" if clears_in is PERMANENT else "other"] += 1
        sigma = math.sqrt(math.log1p(self.values["cv"] ** 2))
        severity = math.exp(rng.normal(-sigma * sigma / 2.0, sigma))
        tally.ci += below * share
        began = env.now
        for duration in sorted(set(hours.values())):
            yield env.timeout(duration * severity - (env.now - began))
            back = share * sum(self.customers[s] for s, h in hours.items() if h == duration)
            tally.customer_hours += back * (env.now - began)

    def _momentary(self, customers: float, openings: int) -> None:
        self.tally.momentary_events += customers
        self.tally.momentary_interruptions += customers * openings


def _faults(env: simpy.Environment, feeder: Feeder, name: str, rate: float, clears_in: int | None,
            rng: np.random.Generator):
    while True:
        yield env.timeout(rng.exponential(HOURS_PER_YEAR / rate))
        env.process(feeder.fault(env, name, clears_in, rng))


def discrete_event_years(study, scenario, years: float, rng: np.random.Generator) -> Tally:
    """Run one scenario for so many years at the study's mean assumptions (no storminess)."""
    env, feeder = simpy.Environment(), Feeder(study, scenario)
    for name, row in feeder.rows.items():
        for rate, clears_in in kinds(row, study.values):
            if rate > 0:
                env.process(_faults(env, feeder, name, rate, clears_in, rng))
    env.run(until=years * HOURS_PER_YEAR)
    return feeder.tally
