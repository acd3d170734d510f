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
