"""Customers or load of every section, by what an opening of some phases does to them, and their sums below a section.

Customers are spread evenly over the phases, but for three-phase ones, who are interrupted whatever phase opens
(model §4). A load is interrupted as the customers of its section are; where there are none, as the opened device does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from reliability.network.forest import sums_below
from reliability.network.tree import Network

_CUSTOMERS = "customers as a quantity"      # where it is cached, as by a cached property


@dataclass(frozen=True)
class SectionSums:
    """Sums over a set of sections at each section, (n,) or (n, m) each: `whole` and `unserved` None where all are 0."""

    by_phase: np.ndarray
    whole: np.ndarray | None
    unserved: np.ndarray | None


@dataclass(frozen=True)
class Quantity:
    """A quantity of n sections in three parts, (n,) or (n, m) each.

    by_phase: of customers spread over the phases. whole: of three-phase customers. unserved: of sections without
    customers.
    """

    network: Network
    by_phase: np.ndarray
    whole: np.ndarray
    unserved: np.ndarray

    @cached_property
    def below(self) -> SectionSums:
        """Sums over sub(i)."""
        return self._sums(lambda values: sums_below(values, self.network.size))

    @cached_property
    def waiting(self) -> SectionSums:
        """Of sub(i), what waits for the repair of a fault in the block of i.

        The part of the block in sub(i) waits, and beyond its devices the part of each subtree that no tie takes over.
        """
        return self._sums(lambda values: _waiting(self.network, values))

    def find_sums(self) -> None:
        """Work out its sums now, for copies of this process to have."""
        for name in ("below", "waiting"):
            getattr(self, name)

    def _sums(self, add: Callable[[np.ndarray], np.ndarray]) -> SectionSums:
        whole, unserved = (add(part) if part.any() else None for part in (self.whole, self.unserved))
        return SectionSums(add(self.by_phase), whole, unserved)


def quantity(network: Network, values: np.ndarray) -> Quantity:
    """Values of each section, (n,) or (n, m), in the proportion of its customers."""
    share = network.three_phase_share
    served = ~np.isnan(share)
    share = np.nan_to_num(share)
    if values.ndim > 1:
        share, served = share[:, None], served[:, None]
    return Quantity(network, np.where(served, values * (1.0 - share), 0.0), np.where(served, values * share, 0.0),
                    np.where(served, 0.0, values))


def customers_of(network: Network) -> Quantity:
    """The customers of a network, worked out once for it."""
    cached = vars(network)
    if _CUSTOMERS not in cached:
        cached[_CUSTOMERS] = quantity(network, network.customers)
    found: Quantity = cached[_CUSTOMERS]
    return found


def _waiting(network: Network, values: np.ndarray) -> np.ndarray:
    below = sums_below(values, network.size)
    heads = np.flatnonzero(network.block == np.arange(len(network)))
    beyond = heads[network.parent[heads] >= 0]
    stranded = 1.0 - network.tie_below[beyond]
    own = np.array(values, dtype=float)
    np.add.at(own, network.parent[beyond], (stranded if values.ndim == 1 else stranded[:, None]) * below[beyond])
    # the sections of one block, in depth-first order: those below one of them are a slice of it
    n = len(network)
    order = np.argsort(network.block, kind="stable")
    key = network.block[order] * n + order
    place = np.searchsorted(key, network.block * n + np.arange(n))
    stop = np.searchsorted(key, network.block * n + np.arange(n) + network.size)
    running = np.cumsum(own[order], axis=0, dtype=np.longdouble)
    running = np.concatenate([np.zeros_like(running[:1]), running])
    return np.asarray(running[stop] - running[place], dtype=float)
