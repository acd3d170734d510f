"""Customers served in each year, in total and by feeder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from reliability.network.tree import Network


@dataclass(frozen=True)
class Served:
    """Customers served.

    years: (y,) calendar years. now: customers of the study's sections. total: (y,) customers
    served in the year. by_feeder: (y, f), feeders in `network.feeder_ids` order; a feeder
    keeps its present share of the total (our assumption). stated: (y,) given by the user.
    """

    years: np.ndarray
    now: float
    total: np.ndarray
    by_feeder: np.ndarray
    stated: np.ndarray

    @property
    def growth(self) -> np.ndarray:
        """Customers served in each year over those of the sections, (y,)."""
        return self.total / self.now if self.now > 0 else np.ones(len(self.years))


def customers_served(network: Network, by_year: Mapping[int, float], years: np.ndarray) -> Served:
    """Customers served in `years` (y,): as stated in [history.customers_served], else those of the sections."""
    feeder = np.bincount(network.feeder, weights=network.customers, minlength=len(network.feeder_ids))
    now = float(feeder.sum())
    stated = np.array([int(y) in by_year for y in years], dtype=bool)
    total = np.array([by_year.get(int(y), now) for y in years], dtype=float)
    share = feeder / now if now > 0 else np.zeros_like(feeder)
    return Served(np.asarray(years), now, total, total[:, None] * share, stated)
