"""What multiplies the faults of a class: few factors of the assumptions, over many draws of them at once.

A row of the outcome table has as its rate a number of its own times a product of factors that it shares with many
others. Sections' own rates and fractions, places and parts are in the number; the probabilities of kinds, of working
devices and of the states of reclosing, and the study's line fault rate, are the factors. A share of faults that a
device states is a number too: what lies between it and the study's is a sum of both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.faults.chains import pattern_probability
from reliability.faults.outcomes import DEAD_TIMES, PERMANENT_BIT, OutcomeTable, kind_probability
from reliability.faults.parts import part_probability
from reliability.faults.states import STUDY_SHARE
from reliability.network.packed import distinct, packed
from reliability.network.rates import line_rate_parts
from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn, drawn_shares

AS_STATED, OFF, ON = range(3)  # faults in a share that is a number, with reclosing off by the study's share, on by it
EVEN_ODDS = 0.5
FACTOR_ROWS_AT_ONCE = 500_000       # so that memory stays bounded
# Values at which every class of fault can happen that can at any.
EVERY_CLASS: dict[str, object] = {
    "line_fault_rate_per_km": 1.0, "temporary_fraction": EVEN_ODDS, "clearing_shares": (1.0 / DEAD_TIMES,) * DEAD_TIMES,
    "fuse_failure": EVEN_ODDS, "sectionalizer_failure": EVEN_ODDS, "wrong_link_share": EVEN_ODDS}


@dataclass(frozen=True)
class Factors:
    """m products of factors, arrays (m,) or (m, FACTS).

    kinds: bits of the kinds of fault. own_fraction: whether the temporary fraction is in the numbers. tally: see
    `Chains`. state: of `AS_STATED`, `OFF`, `ON`. by_length: whether the study's line fault rate multiplies.
    """

    kinds: np.ndarray
    own_fraction: np.ndarray
    tally: np.ndarray
    state: np.ndarray
    by_length: np.ndarray

    @property
    def permanent(self) -> np.ndarray:
        """Whether the faults are permanent, (m,)."""
        return self.kinds == PERMANENT_BIT

    def of(self, values: TrialValues) -> np.ndarray:
        """The products, (K, m), at values that are numbers or draws (K,); (1, m) where all are numbers."""
        if not len(self.kinds):
            return np.zeros((1, 0))
        off = drawn(values, "reclosing_off_share")
        states = columns_of([1.0, off, 1.0 - off])
        rates = columns_of([1.0, drawn(values, "line_fault_rate_per_km")])
        tallies, pattern = np.unique(self.tally, axis=0, return_inverse=True)
        probabilities = pattern_probability(tallies, _as_columns(values))
        found = np.atleast_2d(probabilities)[:, pattern.ravel()] * states[:, self.state]
        return np.asarray(found * rates[:, self.by_length.astype(int)] * self._kinds(values))

    def _kinds(self, values: TrialValues) -> np.ndarray:
        temporary, clears = drawn(values, "temporary_fraction"), drawn_shares(values, "clearing_shares")
        kinds, code = np.unique(self.kinds, return_inverse=True)
        shared = [kind_probability(k, temporary, clears) for k in kinds.tolist()]
        own = [1.0 if k == PERMANENT_BIT else kind_probability(k, 1.0, clears) for k in kinds.tolist()]
        return columns_of(shared + own)[:, code.ravel() + len(kinds) * self.own_fraction]


def united(parts: Sequence[Factors]) -> tuple[Factors, list[np.ndarray]]:
    """All factors of some parts, each once, and for each part which of all its own are."""
    names = ("kinds", "own_fraction", "tally", "state", "by_length")
    whole = Factors(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))
    found, index = distinct(packed([whole.kinds, whole.own_fraction, *whole.tally.T, whole.state, whole.by_length]))
    some = np.empty(len(found), dtype=np.int64)     # a place of each
    some[index] = np.arange(len(index))
    ends = np.cumsum([len(part.kinds) for part in parts])
    return Factors(*(getattr(whole, name)[some] for name in names)), np.split(index, ends[:-1])


@dataclass(frozen=True)
class TableRows:
    """Rows of an outcome table by what multiplies them, arrays (e,).

    row: of the table; one row may be several entries. factor: index into `Factors`. weight: what the row's rate has by
    itself; negative in what is taken off again.
    """

    row: np.ndarray
    factor: np.ndarray
    weight: np.ndarray


def factor_entries(table: OutcomeTable, values: Assumptions) -> tuple[Factors, TableRows]:
    """Factors of the rows of a table, and its entries.

    values: those of the table where they change what protection does, any others elsewhere.
    """
    parts = [_entries_of(table, values, slice(start, start + FACTOR_ROWS_AT_ONCE))
             for start in range(0, max(len(table), 1), FACTOR_ROWS_AT_ONCE)]
    row, states, lengths, weight = (np.concatenate(column) for column in zip(*parts, strict=True))
    own_fraction = ~np.isnan(table.network.column["temporary_fraction"])[table.section]
    _, factor = distinct(packed([table.kinds[row], own_fraction[row], *(tally[row] for tally in table.tally.T), states,
                                 lengths]))
    some = np.empty(int(factor.max(initial=-1)) + 1, dtype=np.int64)    # an entry of each
    some[factor] = np.arange(len(factor))
    at = row[some]
    factors = Factors(table.kinds[at], own_fraction[at], table.tally[at], states[some], lengths[some])
    return factors, TableRows(row, factor, weight)


def _entries_of(table: OutcomeTable, values: Assumptions,
                part: slice) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(row, state, whether the study's line fault rate multiplies it, weight) of the entries of some rows, by row."""
    section, permanent = table.section[part], table.kinds[part] == PERMANENT_BIT
    own = table.network.column["temporary_fraction"][section]
    share = np.where(np.isnan(own), 1.0, np.where(permanent, 1.0 - own, own))
    share = share * table.width[part] * part_probability(table.part[part], values)
    pieces = []
    rates = line_rate_parts(table.network, section)
    for state, width in _states(table.off_from[part], table.off_to[part]):
        for by_length, rate in enumerate(rates):
            weight = share * width * rate
            rows = np.flatnonzero(weight)
            pieces.append((rows, np.full(len(rows), state, dtype=np.int8), np.full(len(rows), by_length == 1),
                           weight[rows]))
    row, states, lengths, weight = (np.concatenate(column) for column in zip(*pieces, strict=True))
    order = np.argsort(row, kind="stable")
    return ((row[order] + part.start).astype(np.int32), states[order], lengths[order], weight[order])


def _states(start: np.ndarray, stop: np.ndarray) -> Iterator[tuple[int, np.ndarray]]:
    """(state, its multiple in the share of faults of each row, (r,)): together the stretch between the row's cuts."""
    to_study, from_study = stop == STUDY_SHARE, start == STUDY_SHARE
    yield OFF, to_study.astype(float)
    yield ON, from_study.astype(float)
    yield AS_STATED, np.where(to_study, 0.0, stop) - np.where(from_study, 1.0, start)


def columns_of(parts: Sequence[Drawn]) -> np.ndarray:
    """Numbers or draws (K,) as columns, (K, parts) or (1, parts)."""
    return np.stack(np.broadcast_arrays(*(np.atleast_1d(np.asarray(p, dtype=float)) for p in parts)), axis=-1)


def _as_columns(values: TrialValues) -> dict[str, object]:
    """The probabilities of `pattern_probability`, draws as (K, 1)."""
    keys = ("fuse_failure", "sectionalizer_failure", "wrong_link_share")
    return {key: x[:, None] if isinstance(x, np.ndarray) else x for key in keys for x in (drawn(values, key),)}
