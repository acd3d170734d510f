"""The outcome table: every class of fault, its rate, and what it does under each scenario.

A row is one independent Poisson process: faults of one section, of some kinds, in one stretch of it, with
one pattern of working devices, one number of phases involved where protection tells them apart, and with
reclosing on or off. Everything downstream is a sum over it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from reliability.faults.chains import NEVER_REACHED, Chains, pattern_probability, walk_chains
from reliability.faults.parts import THREE_PHASE_FAULTS, part_probability, parts_of_rows
from reliability.faults.places import Places, split_places
from reliability.faults.sequence import Backups, resolve_sequence
from reliability.faults.states import States, state_probability, states_of_rows
from reliability.formats import count
from reliability.network.coordination import Coordination, coordination
from reliability.network.device_settings import ALL_ELEMENTS, DELAYED_OPERATION, FAST_OPERATION, PHASE_ELEMENTS
from reliability.network.model import Model
from reliability.network.protection import Protection, protections_of
from reliability.network.rates import fault_rates
from reliability.network.tree import Network
from reliability.schema.columns import FAST
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions, Drawn

DEAD_TIMES = 3                     # a temporary fault clears in dead time 1, 2 or 3
PERMANENT_BIT = 1 << DEAD_TIMES        # bits of `kinds`: 1, 2, 4 clearing in dead time 1, 2, 3; 8 permanent
SECTIONS_AT_ONCE = 10_000          # of a part of a table that is only summed
RATES_AT_ONCE = 100_000            # rows; more at a time would only take memory
_Ends = tuple[np.ndarray, np.ndarray]   # (opened, openings), (S, r) each


@dataclass(frozen=True)
class OutcomeTable:
    """Fault classes (r rows) and what protection makes of them under S scenarios.

    section: (r,) where the fault is. kinds: (r,) bits of the kinds of fault in the row, which
    all end alike. width: (r,) share of the section's length. tally: (r, FACTS) see Chains.
    part: (r,) see `parts`. off_from, off_to: (r,) see `States`. off: (S, r) whether reclosing is off.
    hears_ground: (S, n) whether the reclosing device of a section has ground elements.
    opened: (S, r) section whose device stays open, −1 for none. openings: (S, r) of the
    reclosing device up to the end. recloser: (S, n) reclosing device of each section.
    scenarios, protections: S each, in the same order. Rows that cannot occur are left out.
    """

    network: Network
    scenarios: tuple[Scenario, ...]
    protections: tuple[Protection, ...]
    section: np.ndarray
    kinds: np.ndarray
    width: np.ndarray
    tally: np.ndarray
    part: np.ndarray
    off_from: np.ndarray
    off_to: np.ndarray
    off: np.ndarray
    hears_ground: np.ndarray
    opened: np.ndarray
    openings: np.ndarray
    recloser: np.ndarray

    def __len__(self) -> int:
        return len(self.section)

    def __repr__(self) -> str:
        return (f"OutcomeTable: {count(len(self), 'row')}, {count(len(self.scenarios), 'scenario')}, "
                f"{count(len(self.network), 'section')}")

    def take(self, rows: np.ndarray) -> OutcomeTable:
        """The table of the given rows (positions or mask) only."""
        by_row = {name: getattr(self, name)[rows] for name in ("section", "kinds", "width", "tally", "part", "off_from",
                                                               "off_to")}
        by_scenario = {name: getattr(self, name)[:, rows] for name in ("off", "opened", "openings")}
        return replace(self, **by_row, **by_scenario)


def build_outcomes(model: Model, scenarios: Sequence[Scenario]) -> OutcomeTable:
    """Outcome table of all scenarios over the same fault classes (model §2 and 3).

    values: every assumption by key. scenarios: settled (`application.settle_scenarios`).
    """
    (table,) = outcomes_in_parts(model, scenarios, None)
    return table


@dataclass(frozen=True)
class OutcomeParts:
    """An outcome table in parts, which are made one after another or by others; protections: of the scenarios."""

    network: Network
    protections: tuple[Protection, ...]
    make: tuple[Callable[[], OutcomeTable], ...]

    def __iter__(self) -> Iterator[OutcomeTable]:
        return (make() for make in self.make)


def outcomes_in_parts(model: Model, scenarios: Sequence[Scenario],
                      sections: int | None = SECTIONS_AT_ONCE) -> OutcomeParts:
    """Outcome table in parts of neighbouring trees that have so many sections at least.

    Each has the rows of the whole that are of its sections, in their order. sections: None for the whole at once.
    """
    network = model.network
    plans = protections_of(model, scenarios)
    recloser = np.stack([p.reclosing_device for p in plans])
    races = coordination(model, plans)
    found = _Found(plans, recloser, _hears_ground(network, plans, recloser), races)
    places = split_places(model, plans, races)
    bounds = _bounds(network, sections or len(network))
    return OutcomeParts(network, plans,
                        tuple(partial(_part, model, scenarios, found, places, *ends) for ends in bounds))


def _bounds(network: Network, sections: int) -> Iterator[tuple[int, int]]:
    """Bounds of groups of trees, which stand one behind the other, with so many sections at least."""
    roots, start = np.flatnonzero(network.parent < 0), 0
    while True:
        later = roots[roots >= start + sections]
        stop = int(later[0]) if later.size else len(network)
        yield start, stop
        if stop == len(network):
            return
        start = stop


@dataclass(frozen=True)
class _Found:
    """What is found once for a network, whatever part of it is looked at."""

    protections: tuple[Protection, ...]
    recloser: np.ndarray
    hears_ground: np.ndarray
    races: Coordination


def _part(model: Model, scenarios: Sequence[Scenario], found: _Found, places: Places, start: int, stop: int
          ) -> OutcomeTable:
    """The table of the sections from `start` up to `stop`."""
    here = slice(*np.searchsorted(places.section, [start, stop]).tolist())
    return _table(model, scenarios, found, Places(places.section[here], places.width[here], places.current_a[here]))


def _table(model: Model, scenarios: Sequence[Scenario], found: _Found, places: Places) -> OutcomeTable:
    """The table of some places."""
    network, values, protections = model.network, model.values, found.protections
    hears_ground, recloser = found.hears_ground, found.recloser
    columns = _columns(model, found, places)
    section, kinds, width, tally, part, off_from, off_to, off, opened, openings = columns
    table = OutcomeTable(network, tuple(scenarios), protections, section, kinds, width, tally.T, part, off_from, off_to,
                         off, hears_ground, opened, openings, recloser)
    happens = row_rates(table, values) != 0.0
    return table if happens.all() else table.take(np.flatnonzero(happens))


def _columns(model: Model, found: _Found, places: Places) -> list[np.ndarray]:
    """Columns of the table (last axis: rows), from `section` on."""
    network, values, protections, recloser = model.network, model.values, found.protections, found.recloser
    chains = walk_chains(network, protections, found.races, places, values)
    part, row = parts_of_rows(network, np.any(found.hears_ground, axis=0), places.section[chains.place])
    chains = chains.take(row) if len(row) > len(chains.place) else chains
    states = states_of_rows(protections, recloser, values, places.section[chains.place])

    faults = _Faults(protections, recloser, found.races, places, chains, part, states)
    one_fast = int(values["reclosing_off_trip"] == FAST)
    pieces: list[list[np.ndarray]] = []
    for level in states.levels():
        rows, off = states.rows_of(level)
        pieces += map(list, _rows(faults.take(rows) if len(rows) < len(part) else faults, level, off, one_fast))
    del faults, chains, places, states
    # a column at a time, so that two copies of the table never stand beside each other
    return [np.concatenate([piece.pop(0) for piece in pieces], axis=-1) for _ in range(len(pieces[0]))]


def _hears_ground(network: Network, protections: Sequence[Protection], recloser: np.ndarray) -> np.ndarray:
    """Whether the reclosing device of each section has ground elements, (S, n)."""
    has = np.append(network.settings.has_ground, False)
    return np.stack([has[p.settings_of[r]] for p, r in zip(protections, recloser, strict=True)])


@dataclass(frozen=True)
class _Faults:
    """Chains of r rows, the part and the states of reclosing of each, and the protection of S scenarios."""

    protections: Sequence[Protection]
    recloser: np.ndarray
    races: Coordination
    places: Places
    chains: Chains
    part: np.ndarray
    states: States

    def take(self, rows: np.ndarray) -> _Faults:
        """The given rows."""
        return replace(self, chains=self.chains.take(rows), part=self.part[rows], states=self.states.take(rows))


def _rows(faults: _Faults, level: int, off: np.ndarray, one_fast: int) -> Iterator[tuple[np.ndarray, ...]]:
    """Rows of the table for chains in one state of reclosing, in pieces of columns (last axis: rows).

    level: of the state. off: (S, r) whether reclosing is off in it. one_fast: fast operations of a device that is off.
    """
    chains, part, places = faults.chains, faults.part, faults.places
    section = places.section[chains.place]
    first, sections = _sections_of(section)
    at, lockout, fast = (np.stack([of[section - first] for of in by_section]) for by_section in zip(
        *(_operations(p, r[sections]) for p, r in zip(faults.protections, faults.recloser, strict=True)), strict=True))
    backups = Backups(at, np.where(off, np.int8(1), lockout), np.where(off, np.int8(one_fast), fast),
                      _outcomes(faults, FAST_OPERATION), _outcomes(faults, DELAYED_OPERATION))
    low, high = faults.states.bounds(level)
    for kinds, index, opened, openings in _merged_kinds(
            [resolve_sequence(chains, backups, clearing) for clearing in (1, 2, 3, NEVER_REACHED)]):
        yield (section[index].astype(np.int32), np.full(len(index), kinds, dtype=np.int8),
               places.width[chains.place[index]], chains.tally[index].T, part[index], low[index], high[index],
               off[:, index], opened[:, index], openings[:, index])


def _operations(of: Protection, recloser: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Reclosing devices (n,), their operations to lockout, and those of them that are fast, (n,) each."""
    lockout = of.lockout[recloser]
    return (recloser.astype(np.int32), lockout.astype(np.int8),
            np.minimum(of.fast[recloser], lockout - 1).astype(np.int8))


def _outcomes(faults: _Faults, kind: int) -> np.ndarray:
    """What happens between fuse and R on one kind of operation, (S, r); not to be read where there is no fuse."""
    races, chains = faults.races, faults.chains
    if not len(races.race):
        return np.zeros(chains.pair.shape, dtype=np.int8)
    heard = np.where(faults.part == THREE_PHASE_FAULTS, PHASE_ELEMENTS, ALL_ELEMENTS)
    found = np.zeros(chains.pair.shape, dtype=np.int8)
    fused = chains.pair >= 0
    scenario, row = np.nonzero(fused)
    found[scenario, row] = races.race.outcome_at(chains.pair[fused], np.full(len(row), kind), heard[row],
                                                 faults.places.current_a[chains.place[row]])
    return found


def _merged_kinds(results: list[_Ends]) -> Iterator[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
    """(bits, rows, opened, openings) with temporary kinds that end alike in every scenario as one row.

    Two kinds end alike where the sequence is over before the first of them clears, and then any
    that clears later ends so too.
    """
    first, second, third, permanent = results
    yes = np.ones(first[0].shape[1], dtype=bool)
    same12, same23 = _alike(first, second), _alike(second, third)
    for mask, rows, result in (
        (0b111, same12, first), (0b001, ~same12, first), (0b110, same23 & ~same12, second),
        (0b010, ~same23, second), (0b100, ~same23, third), (PERMANENT_BIT, yes, permanent),
    ):
        index = np.flatnonzero(rows)
        if index.size:
            yield mask, index, result[0], result[1]


def _alike(a: _Ends, b: _Ends) -> np.ndarray:
    return np.all((a[0] == b[0]) & (a[1] == b[1]), axis=0)


def kind_probability(kinds: int, temporary: Drawn, shares: Sequence[Drawn]) -> Drawn:
    """Probability that a fault is of one of the kinds (bits); arrays broadcast."""
    if kinds == PERMANENT_BIT:
        return 1.0 - temporary
    clears: Drawn = sum(shares[d] for d in range(DEAD_TIMES) if kinds >> d & 1)
    return temporary * clears


def _sections_of(section: np.ndarray) -> tuple[int, slice]:
    """The first of the sections of some rows, and all from it to their last, among which are few others in a part."""
    first, last = (int(section.min()), int(section.max())) if len(section) else (0, -1)
    return first, slice(first, last + 1)


def row_rates(table: OutcomeTable, values: Assumptions) -> np.ndarray:
    """Events a year of each row, (r,), at the given values of the assumptions."""
    first, sections = _sections_of(table.section)
    own = table.network.column["temporary_fraction"][sections]
    temporary = np.where(np.isnan(own), values["temporary_fraction"], own)
    kind = np.stack([kind_probability(bits, temporary, values["clearing_shares"]) for bits in range(PERMANENT_BIT + 1)])
    faults, rates = fault_rates(Model(table.network, values), sections), np.empty(len(table))
    for start in range(0, len(table), RATES_AT_ONCE):
        at = slice(start, start + RATES_AT_ONCE)
        section = table.section[at] - first
        rates[at] = (faults[section] * kind[table.kinds[at], section] * table.width[at]
                     * pattern_probability(table.tally[at], values) * part_probability(table.part[at], values)
                     * state_probability(table.off_from[at], table.off_to[at], values))
    return rates
