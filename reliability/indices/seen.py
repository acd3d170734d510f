"""What a customer on each section sees a year: sums along the paths from the sources.

Each event is written down where it touches (below a device, in a stretch, in a block), and who lies below that place
sees it; so one sum along the path to the source serves all events.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy import sparse

from reliability.faults.consequences import Consequences, Shares
from reliability.network.tree import Network

# Customers spread over the phases, three-phase ones, and whoever would be on a section that serves nobody.
CUSTOMER_KINDS = 3
SEEN_SUMS = ("interruptions", "hours", "extra", "events", "momentary_interruptions")


class Seen:
    """Adds up events of a network of n sections; results are (n, CUSTOMER_KINDS), for customers of each kind.

    0 for a kind of which the network has none. sums: what was added up elsewhere, (n, CUSTOMER_KINDS) by name of
    `SEEN_SUMS`.
    """

    def __init__(self, network: Network, sums: Mapping[str, np.ndarray] | None = None):
        self.network = network
        self._occurs = np.array(_occurring(network))
        self._at = {name: np.zeros((len(network),
                                    CUSTOMER_KINDS)) for name in SEEN_SUMS} if sums is None else dict(sums)

    def add(self, effect: Consequences, section: np.ndarray, rate: np.ndarray) -> None:
        """Events of rows (r,), `rate` times a year each; section: (r,) where the fault is."""
        # where nothing stays open the shares are 0, wherever they are written down
        opened, repair = np.where(effect.opened >= 0, effect.opened, effect.recloser), effect.waits >= 0
        self._place("interruptions", effect.sustained_shares, opened, effect.within, rate)
        hours = np.where(repair, effect.switching_hours, effect.waiting_hours)
        self._place("hours", effect.sustained_shares, opened, effect.within, rate * hours)
        # at the block that waits: the hours by which its repair exceeds switching
        extra = np.where(repair, effect.waiting_hours - effect.switching_hours, 0.0)
        self._place("extra", effect.sustained_shares, self.network.block[section], effect.waits_within, rate * extra)
        for name, weight in (("events", rate), ("momentary_interruptions", rate * effect.openings)):
            self._place(name, effect.momentary_zone, effect.recloser, effect.recloser, weight)
            self._place(name, effect.momentary_below, opened, effect.within, weight)

    def _place(self, name: str, shares: Shares, at: np.ndarray, within: np.ndarray, weight: np.ndarray) -> None:
        for kind, share in enumerate((shares.outside, shares.whole, shares.unserved)):
            if self._occurs[kind]:
                self._write(name, kind, at, weight * share)
        apart = np.flatnonzero(shares.inside != shares.outside)
        self._write(name, 0, within[apart], (weight * (shares.inside - shares.outside))[apart])

    def _write(self, name: str, kind: int, at: np.ndarray, amount: np.ndarray) -> None:
        """Add amounts at sections that lie near each other among all."""
        if len(at):
            low = int(at.min())
            found = np.bincount(at - low, amount)
            self._at[name][low:low + len(found), kind] += found

    def interruptions(self) -> np.ndarray:
        """Sustained interruptions a year."""
        return self._along(self._at["interruptions"])

    def momentary(self, name: str) -> np.ndarray:
        """Momentary "events" or "momentary_interruptions" a year."""
        return self._along(self._at[name])

    def hours(self) -> np.ndarray:
        """Hours of sustained interruption a year.

        Whoever is in the block that waits or beyond its devices waits, but a subtree with a tie only with the
        chance that the tie cannot take it over.
        """
        network = self.network
        heads = np.flatnonzero((network.block == np.arange(len(network))) & (network.parent >= 0))
        along = self._along(self._at["extra"])
        # of the block above each head: what stands on the path from that block's own head down to here
        upper = network.parent[network.block[network.parent[heads]]]
        in_block = along[network.parent[heads]] - np.where(upper[:, None] >= 0, along[upper], 0.0)
        relief = np.zeros_like(along)
        relief[heads] = network.tie_below[heads][:, None] * in_block
        return self._along(self._at["hours"] - relief) + along

    def average(self, by_kind: np.ndarray) -> np.ndarray:
        """Of a customer of each section on the average, (n,); of the third kind where there is none."""
        share = self.network.three_phase_share
        served = (1.0 - share) * by_kind[:, 0] + share * by_kind[:, 1]
        return np.where(np.isnan(share), by_kind[:, 2], served)

    def _along(self, values: np.ndarray) -> np.ndarray:
        total = np.zeros(values.shape)
        total[:, self._occurs] = self.network.along_path(values[:, self._occurs])
        return total


def _occurring(network: Network) -> tuple[bool, bool, bool]:
    """Whether a network has customers of each kind."""
    share = network.three_phase_share
    return True, bool((share > 0.0).any()), bool(np.isnan(share).any())


def placing(network: Network, shares: Shares, at: np.ndarray, within: np.ndarray) -> sparse.csr_array:
    """(CUSTOMER_KINDS · n, r): what rates of rows (r,) come to where their events touch, as `Seen` adds them."""
    n, rows = len(network), np.arange(len(at))
    apart = np.flatnonzero(shares.inside != shares.outside)
    parts = [(kind * n + at, rows, share) for kind, share in enumerate((shares.outside, shares.whole, shares.unserved))
             if _occurring(network)[kind]]
    parts.append((within[apart], apart, (shares.inside - shares.outside)[apart]))
    place, row, value = (np.concatenate(column) for column in zip(*parts, strict=True))
    there = value != 0.0
    return sparse.csr_array((value[there], (place[there], row[there])), shape=(CUSTOMER_KINDS * n, len(at)))
