"""What the devices between a fault and its reclosing device do, and with what probability.

Only two facts about the chain matter to the sequence of operations (model §3): the working
fuse nearest the fault, and the working sectionalizer that is first to reach its counts. So
the chain is walked once from the fault upwards, splitting a place only where a device's
working or failing changes one of the two in some scenario.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.faults.places import Places
from reliability.network.devices import COUNTS, MELTS, RECLOSES
from reliability.network.protection import Protection
from reliability.network.tree import Network

NONE = -1
NEVER = 127  # counts that no sequence reaches
FUSE_WORKS, FUSE_FAILS, SECTIONALIZER_WORKS, SECTIONALIZER_FAILS = range(4)


@dataclass(frozen=True)
class Chains:
    """States of the chain, a row a place and pattern of working devices.

    place: (r,) index into Places. tally: (r, 4) how many devices the pattern asks to work or
    fail, by kind; the pattern's probability follows from it. fuse, sectionalizer: (S, r)
    section whose device acts, −1 for none. saved: (S, r) whether a fast operation saves the
    fuse. counts: (S, r) of the sectionalizer, NEVER for none.
    """

    place: np.ndarray
    tally: np.ndarray
    fuse: np.ndarray
    saved: np.ndarray
    sectionalizer: np.ndarray
    counts: np.ndarray

    def take(self, index: np.ndarray) -> Chains:
        """The rows `index`, in that order."""
        return Chains(self.place[index], self.tally[index], self.fuse[:, index], self.saved[:, index],
                      self.sectionalizer[:, index], self.counts[:, index])


def pattern_probability(tally: np.ndarray, values: Mapping[str, object]) -> np.ndarray:
    """Probability of each pattern, from its tally (…, 4) and the two failure probabilities.

    The probabilities may be arrays that broadcast against the leading axes of `tally`.
    """
    fuse, sectionalizer = values["fuse_failure"], values["sectionalizer_failure"]
    works, fails, acts, fails_to_act = np.moveaxis(tally, -1, 0)
    return ((1.0 - fuse) ** works * fuse ** fails
            * (1.0 - sectionalizer) ** acts * sectionalizer ** fails_to_act)


def walk_chains(network: Network, protections: Sequence[Protection], places: Places,
                values: Mapping[str, object]) -> Chains:
    """Every state of the chain above every place, for all scenarios at once."""
    s, m = len(protections), len(places.section)
    state = Chains(np.arange(m), np.zeros((m, 4), dtype=np.int16), np.full((s, m), NONE), np.zeros((s, m), dtype=bool),
                   np.full((s, m), NONE), np.full((s, m), NEVER, dtype=np.int16))
    at, finished = network.protective[places.section], []
    live = np.ones((s, m), dtype=bool)  # scenarios whose reclosing device lies further up
    while True:
        kinds = np.stack([p.device[at] for p in protections])
        live &= ~RECLOSES[kinds]
        going = live.any(axis=0)
        finished.append(state.take(np.flatnonzero(~going)))
        if not going.any():
            break
        on = np.flatnonzero(going)
        state, origin = _step(state.take(on), at[on], kinds[:, on], live[:, on], places, protections, values)
        at, live = network.protective_above[at[on[origin]]], live[:, on[origin]]
    return _stack(finished)


def _step(state: Chains, at: np.ndarray, kinds: np.ndarray, live: np.ndarray, places: Places,
          protections: Sequence[Protection], values: Mapping[str, object]) -> tuple[Chains, np.ndarray]:
    """Pass one device; returns the states after it and the row each came from."""
    current = places.current_a[state.place]
    counts = np.stack([p.counts[at] for p in protections])
    ceiling = np.stack([p.ceiling_a[at] for p in protections])
    actuating = np.stack([p.actuating_a[at] for p in protections])
    # an unknown current compares false: the fuse is saved, the sectionalizer acts (model §2)
    blows = live & MELTS[kinds] & (state.fuse == NONE)
    # of equal counts the one nearest the source decides, so a later device takes over
    opens = live & COUNTS[kinds] & ~(current < actuating) & (counts <= state.counts)
    saved = ~(current >= ceiling)

    parts, origins = [], []
    for fuse_works in (True, False):
        for sectionalizer_works in (True, False):
            rows = _rows_of_pattern(blows.any(axis=0), fuse_works, values["fuse_failure"])
            rows &= _rows_of_pattern(opens.any(axis=0), sectionalizer_works, values["sectionalizer_failure"])
            index = np.flatnonzero(rows)
            if not index.size:
                continue
            old = state.take(index)
            melt, act = blows[:, index] & fuse_works, opens[:, index] & sectionalizer_works
            tally = old.tally.copy()
            tally[:, FUSE_WORKS if fuse_works else FUSE_FAILS] += blows[:, index].any(axis=0)
            tally[:, SECTIONALIZER_WORKS if sectionalizer_works else SECTIONALIZER_FAILS] += opens[:, index].any(axis=0)
            parts.append(Chains(
                old.place, tally, np.where(melt, at[index], old.fuse), np.where(melt, saved[:, index], old.saved),
                np.where(act, at[index], old.sectionalizer), np.where(act, counts[:, index], old.counts)))
            origins.append(index)
    return _stack(parts), np.concatenate(origins)


def _rows_of_pattern(matters: np.ndarray, works: bool, failure: float) -> np.ndarray:
    """Rows that take part in a pattern: those it does not concern go with "works", once."""
    if works:
        return ~matters | (failure < 1.0)
    return matters & (failure > 0.0)


def _stack(parts: list[Chains]) -> Chains:
    return Chains(np.concatenate([p.place for p in parts]), np.concatenate([p.tally for p in parts]),
                  *(np.concatenate([getattr(p, f) for p in parts], axis=1)
                    for f in ("fuse", "saved", "sectionalizer", "counts")))
