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

from tests.enumeration import consequence, interrupted
from tests.enumeration_faults import PERMANENT, kinds, parts, play, states
from tests.enumeration_network import FUSE, Network, Tree, read_sections

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
    """The sections of one scenario and the tally."""

    def __init__(self, study, scenario):
        rows = read_sections(study)
        self.network, self.values, self.tally = Network(study, rows, Tree(rows), scenario), study.values, Tally()
        self.rows = self.network.rows

    def fault(self, env: simpy.Environment, name: str, clears_in: int | None, rng: np.random.Generator):
        """One fault from inception to the last customer's restoration."""
        network, tally = self.network, self.tally
        chain, backup = network.above(name)
        backup = _drawn(states(backup, self.values), rng)[1]
        _, involved, ground = _drawn(parts(network.phases[name], backup, self.values), rng)
        working = [device for device in chain if rng.random() >= device["failure"]]
        fuse = next((device for device in working if device["device"] == FUSE), None)
        if fuse:
            _, link, ceiling = _drawn(fuse["links"], rng)
            fuse = fuse | {"link": link, "ceiling": ceiling}
        x, current, ends = rng.random(), None, network.currents(name)
        if ends:
            current = 1.0 / ((1.0 - x) / ends[0] + x / ends[1])
        opened, openings = play(working, fuse, backup, current, ground, clears_in)
        effect = consequence(network, name, backup, involved, opened, openings, clears_in is PERMANENT)
        tally.faults += 1
        if effect.only_momentary:
            self._momentary(effect.momentary(), openings)
        if opened is None:
            return
        tally.callouts["repair" if clears_in is PERMANENT else "other"] += 1
        sigma = math.sqrt(math.log1p(self.values["cv"] ** 2))
        severity = math.exp(rng.normal(-sigma * sigma / 2.0, sigma))
        tally.ci += effect.sustained
        began = env.now
        for duration in sorted(set(effect.hours.values())):
            # a clock late in the run may be a rounding ahead of two times that are the same
            yield env.timeout(max(0.0, duration * severity - (env.now - began)))
            back = sum(interrupted(network, s, share) for s, share in effect.shares.items()
                       if effect.hours[s] == duration)
            tally.customer_hours += back * (env.now - began)

    def _momentary(self, customers: float, openings: int) -> None:
        self.tally.momentary_events += customers
        self.tally.momentary_interruptions += customers * openings


def _drawn(choices: list[tuple], rng: np.random.Generator) -> tuple:
    """One of the choices, whose first entries are their probabilities."""
    chance = rng.random()
    for choice in choices:
        chance -= choice[0]
        if chance < 0:
            return choice
    return choices[-1]


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
