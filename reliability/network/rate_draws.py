"""Draws of fault rates that are known only as far as records tell, by unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class RateDraws:
    """K joint draws of the rates of U units, relative to the rates in the sections.

    unit_of: (n,) unit of each section. temporary, permanent: (K, U), of mean 1.
    """

    unit_of: np.ndarray
    temporary: np.ndarray
    permanent: np.ndarray

    def __len__(self) -> int:
        return len(self.temporary)

    def of_groups(self, unit: np.ndarray, permanent: np.ndarray, picked: np.ndarray) -> np.ndarray:
        """Relative rates (g, trials) of groups of faults, each of a unit and a kind; picked: (trials,) draws."""
        rates = np.empty((len(unit), len(picked)))
        for kind, draws in ((permanent, self.permanent), (~permanent, self.temporary)):
            rates[kind] = draws[picked].T[unit[kind]]
        return rates
