"""The outcome table: every class of fault, its rate, and what it does under each scenario.

A row is one independent Poisson process: faults of one section, of some kinds, in one
stretch of it, with one pattern of working devices. Everything downstream is a sum over it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from reliability.faults.chains import NEVER, NONE, Chains, pattern_probability, walk_chains
from reliability.faults.places import split_places
from reliability.network.protection import Protection, protection
from reliability.network.rates import fault_rates
from reliability.network.tree import Network
from reliability.schema.problems import number_of
from reliability.schema.scenarios import Scenario

DEAD_TIMES = 3                     # a temporary fault clears in dead time 1, 2 or 3
PERMANENT = 1 << DEAD_TIMES        # bits of `kinds`: 1, 2, 4 clearing in dead time 1, 2, 3; 8 permanent


@dataclass(frozen=True)
class OutcomeTable:
    """Fault classes (r rows) and what protection makes of them under S scenarios.

    section: (r,) where the fault is. kinds: (r,) bits of the kinds of fault in the row, which
    all end alike. width: (r,) share of the section's length. tally: (r, 4) see Chains.
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
    opened: np.ndarray
    openings: np.ndarray
    recloser: np.ndarray

    def __len__(self) -> int:
        return len(self.section)

    def __repr__(self) -> str:
        return (f"OutcomeTable: {number_of(len(self), 'row')}, {number_of(len(self.scenarios), 'scenario')}, "
                f"{number_of(len(self.network), 'section')}")

    def take(self, rows: np.ndarray) -> OutcomeTable:
        """The table of the given rows (positions or mask) only."""
        return replace(self, section=self.section[rows], kinds=self.kinds[rows], width=self.width[rows],
                       tally=self.tally[rows], opened=self.opened[:, rows], openings=self.openings[:, rows])


def build_outcomes(network: Network, values: Mapping[str, object], scenarios: Sequence[Scenario]) -> OutcomeTable:
    """Outcome table of all scenarios over the same fault classes (model §2 and 3).

    values: every assumption by key. scenarios: settled (`application.settle_scenarios`).
    """
    protections = tuple(protection(network, values, s) for s in scenarios)
    recloser = np.stack([p.reclosing_device for p in protections])
    places = split_places(network, protections)
    chains = walk_chains(network, protections, places, values)
    section = places.section[chains.place]
    lockout = np.stack([p.lockout[r[section]] for p, r in zip(protections, recloser, strict=True)])
    fast = np.stack([p.fast[r[section]] for p, r in zip(protections, recloser, strict=True)])
    at_lockout = np.stack([r[section] for r in recloser])

    rows, kinds, opened, openings = [], [], [], []
    for mask, index, result, count in _merged_kinds(
            [play(chains, lockout, fast, at_lockout, clearing) for clearing in (1, 2, 3, NEVER)]):
        rows.append(index)
        kinds.append(np.full(len(index), mask, dtype=np.int8))
        opened.append(result[:, index])
        openings.append(count[:, index])
    row = np.concatenate(rows)
    table = OutcomeTable(
        network, tuple(scenarios), protections, section[row], np.concatenate(kinds), places.width[chains.place[row]],
        chains.tally[row], np.concatenate(opened, axis=1).astype(np.int32),
        np.concatenate(openings, axis=1).astype(np.int8), recloser,
    )
    return table.take(np.flatnonzero(row_rates(table, values)))


def play(chains: Chains, lockout: np.ndarray, fast: np.ndarray, recloser: np.ndarray,
         clearing: int) -> tuple[np.ndarray, np.ndarray]:
    """Opened section (−1 none) and openings of R, each (S, r), of faults that clear in a dead time.

    clearing: the dead time, NEVER for a permanent fault. This is model §3 solved for the
    operation at which the sequence ends instead of played: the fuse melts at the start of an
    operation, sectionalizers open and faults clear in the dead time after it, and R locks out
    where neither comes in time.
    """
    melts_at = np.where(chains.fuse == NONE, NEVER, np.where(chains.saved, fast + 1, 1))
    dead_time = np.minimum(chains.counts, clearing)
    fuse = melts_at <= np.minimum(dead_time, lockout)
    dead = ~fuse & (dead_time < lockout)
    # a sectionalizer that reaches its counts in the dead time in which the fault clears opens
    sectionalizer = dead & (chains.counts <= clearing)
    opened = np.where(fuse, chains.fuse, np.where(sectionalizer, chains.sectionalizer, np.where(dead, NONE, recloser)))
    # a fuse that melts on a fast operation does not stop R from opening with it
    ahead = np.where(chains.saved | (fast == 0), melts_at - 1, melts_at)
    return opened, np.where(fuse, ahead, np.where(dead, dead_time, lockout))


def _merged_kinds(results: list[tuple[np.ndarray, np.ndarray]]):
    """(bits, rows, opened, openings) with temporary kinds that end alike in every scenario as one row.

    Two kinds end alike where the sequence is over before the first of them clears, and then any
    that clears later ends so too.
    """
    first, second, third, permanent = results
    yes = np.ones(first[0].shape[1], dtype=bool)
    same12, same23 = _alike(first, second), _alike(second, third)
    for mask, rows, result in (
        (0b111, same12, first), (0b001, ~same12, first), (0b110, same23 & ~same12, second),
        (0b010, ~same23, second), (0b100, ~same23, third), (PERMANENT, yes, permanent),
    ):
        index = np.flatnonzero(rows)
        if index.size:
            yield mask, index, *result


def _alike(a: tuple[np.ndarray, np.ndarray], b: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    return ((a[0] == b[0]) & (a[1] == b[1])).all(axis=0)


def kind_probability(kinds: int, temporary, shares):
    """Probability that a fault is of one of the kinds (bits); arrays broadcast."""
    if kinds == PERMANENT:
        return 1.0 - temporary
    return temporary * sum(shares[d] for d in range(DEAD_TIMES) if kinds >> d & 1)


def row_rates(table: OutcomeTable, values: Mapping[str, object]) -> np.ndarray:
    """Events a year of each row, (r,), at the given values of the assumptions."""
    own = table.network.column["temporary_fraction"]
    temporary = np.where(np.isnan(own), values["temporary_fraction"], own)
    kind = np.stack([kind_probability(bits, temporary, values["clearing_shares"]) for bits in range(PERMANENT + 1)])
    kind = kind[table.kinds, table.section]
    pattern = pattern_probability(table.tally, values)
    return fault_rates(table.network, values)[table.section] * kind * table.width * pattern
