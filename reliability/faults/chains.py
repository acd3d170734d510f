"""What the devices between a fault and its reclosing device do, and with what probability.

Only two facts about the chain matter to the sequence of operations (model §3): the working
fuse nearest the fault, with the link it holds, and the working sectionalizer that is first to
reach its counts. So the chain is walked once from the fault upwards, splitting a place only where
a device's working or failing changes one of the two in some scenario.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.faults.places import Places
from reliability.network.coordination import Coordination
from reliability.network.devices import COUNTS, MELTS, RECLOSES
from reliability.network.protection import Protection
from reliability.network.tree import Network
from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn

NOTHING_WORKS = -1
NEVER_REACHED = 127  # counts that no sequence reaches
FUSE_WORKS, FUSE_FAILS, SECTIONALIZER_WORKS, SECTIONALIZER_FAILS, RIGHT_LINK, WRONG_LINK = range(6)
FACTS = 6    # columns of a tally
_FusePattern = tuple[tuple[tuple[int, np.ndarray], ...], np.ndarray, np.ndarray | None]


@dataclass(frozen=True)
class Chains:
    """States of the chain, a row a place and pattern of working devices.

    place: (r,) index into Places. tally: (r, FACTS) how many devices the pattern asks to work or
    fail, and to hold the right or the wrong link; the pattern's probability follows from it. fuse,
    sectionalizer: (S, r) section whose device acts, −1 for none. pair: (S, r) the fuse and its reclosing
    device in `Coordination.race`, −1 for none. counts: (S, r) of the sectionalizer, NEVER_REACHED for none.
    """

    place: np.ndarray
    tally: np.ndarray
    fuse: np.ndarray
    pair: np.ndarray
    sectionalizer: np.ndarray
    counts: np.ndarray

    def take(self, index: np.ndarray) -> Chains:
        """The rows `index`, in that order."""
        return Chains(self.place[index], self.tally[index], self.fuse[:, index], self.pair[:, index],
                      self.sectionalizer[:, index], self.counts[:, index])


def pattern_probability(tally: np.ndarray, values: TrialValues) -> Drawn:
    """Probability of each pattern, from its tally (…, FACTS) and the probabilities of failing and of a wrong link.

    The probabilities may be arrays that broadcast against the leading axes of `tally`.
    """
    fuse, sectionalizer = drawn(values, "fuse_failure"), drawn(values, "sectionalizer_failure")
    wrong = drawn(values, "wrong_link_share")
    works, fails, acts, fails_to_act, right, mistaken = np.moveaxis(tally, -1, 0)
    return (_power(1.0 - fuse, works) * _power(fuse, fails) * _power(1.0 - sectionalizer, acts)
            * _power(sectionalizer, fails_to_act) * _power(1.0 - wrong, right) * _power(wrong, mistaken))


def _power(base: Drawn, exponent: np.ndarray) -> Drawn:
    """base ** exponent; a single base is raised once to each of the few whole exponents that occur."""
    if np.ndim(base):
        if not np.ndim(exponent) and exponent <= 1:     # of many draws and one pattern: nearly always, and slow
            return base if exponent else 1.0
        return base ** exponent
    return (base ** np.arange(exponent.max(initial=0) + 1))[exponent]


def walk_chains(network: Network, protections: Sequence[Protection], races: Coordination, places: Places,
                values: Assumptions) -> Chains:
    """Every state of the chain above every place, for all scenarios at once."""
    s, m = len(protections), len(places.section)
    walk = _Walk(protections, races, places, values)
    nothing = np.full((s, m), NOTHING_WORKS, dtype=np.int32)
    state = Chains(np.arange(m, dtype=np.int32), np.zeros((m, FACTS), dtype=np.int16), nothing, nothing, nothing,
                   np.full((s, m), NEVER_REACHED, dtype=np.int16))
    protective, above = (of.astype(np.int32) for of in (network.protective, network.protective_above))
    at, finished = protective[places.section], []
    live = np.ones((s, m), dtype=bool)  # scenarios whose reclosing device lies further up
    while True:
        kinds = np.stack([p.device[at] for p in protections])
        live &= ~RECLOSES[kinds]
        going = live.any(axis=0)
        finished.append(state.take(np.flatnonzero(~going)))
        if not going.any():
            break
        on = np.flatnonzero(going)
        state, origin = _step(walk, state.take(on), at[on], kinds[:, on], live[:, on])
        at, live = above[at[on[origin]]], live[:, on[origin]]
    return _stack(finished)


@dataclass(frozen=True)
class _Walk:
    """What stays the same all along the chains."""

    protections: Sequence[Protection]
    races: Coordination
    places: Places
    values: Assumptions


def _step(walk: _Walk, state: Chains, at: np.ndarray, kinds: np.ndarray,
          live: np.ndarray) -> tuple[Chains, np.ndarray]:
    """Pass one device; returns the states after it and the row each came from.

    at: (r,) section of the device. kinds: (S, r) its code. live: (S, r) whether the reclosing device lies further up.
    """
    protections, races, values = walk.protections, walk.races, walk.values
    current = walk.places.current_a[state.place]
    counts = np.stack([p.counts[at] for p in protections]).astype(np.int16)
    actuating = np.stack([p.actuating_a[at] for p in protections])
    blows = live & MELTS[kinds] & (state.fuse == NOTHING_WORKS)
    # of equal counts the one nearest the source decides, so a later device takes over;
    # an unknown current compares false: the sectionalizer acts (model §2)
    opens = live & COUNTS[kinds] & ~(current < actuating) & (counts <= state.counts)
    by_error = (blows & races.misfit[:, at]).any(axis=0)

    parts, origins = [], []
    for facts, melting, pairs in _fuse_patterns(blows.any(axis=0), by_error, races, values):
        for works, acting in _sectionalizer_patterns(opens.any(axis=0), values):
            index = np.flatnonzero(melting & acting)
            if not index.size:
                continue
            old = state.take(index)
            tally = old.tally.copy()
            for fact, where in facts:
                tally[:, fact] += where[index]
            tally[:, SECTIONALIZER_WORKS if works else SECTIONALIZER_FAILS] += opens[:, index].any(axis=0)
            melt, act = blows[:, index] & (pairs is not None), opens[:, index] & works
            pair = old.pair if pairs is None else np.where(melt, pairs[:, at[index]], old.pair)
            parts.append(Chains(
                old.place, tally, np.where(melt, at[index], old.fuse), pair,
                np.where(act, at[index], old.sectionalizer), np.where(act, counts[:, index], old.counts)))
            origins.append(index)
    return _stack(parts), np.concatenate(origins)


def _fuse_patterns(matters: np.ndarray, by_error: np.ndarray, races: Coordination,
                   values: Assumptions) -> Iterator[_FusePattern]:
    """(facts to tally with where, rows that take part, pairs of the fuse or None where it fails) of each possibility.

    Rows that a fuse does not concern go with the first that is possible, once.
    """
    failure, wrong = values["fuse_failure"], values["wrong_link_share"]
    works = failure < 1.0
    yield ((FUSE_WORKS, matters), (RIGHT_LINK, by_error)), ~matters | (works & (~by_error | (wrong < 1.0))), races.right
    if works and wrong > 0.0:
        yield ((FUSE_WORKS, matters), (WRONG_LINK, by_error)), by_error, races.wrong
    if failure > 0.0:
        yield ((FUSE_FAILS, matters),), matters, None


def _sectionalizer_patterns(matters: np.ndarray, values: Assumptions) -> Iterator[tuple[bool, np.ndarray]]:
    """(whether it works, rows that take part); rows that it does not concern go with "works", once."""
    failure = values["sectionalizer_failure"]
    yield True, ~matters | (failure < 1.0)
    if failure > 0.0:
        yield False, matters


def _stack(parts: list[Chains]) -> Chains:
    return Chains(np.concatenate([p.place for p in parts]), np.concatenate([p.tally for p in parts]),
                  *(np.concatenate([getattr(p, f) for p in parts], axis=1)
                    for f in ("fuse", "pair", "sectionalizer", "counts")))
