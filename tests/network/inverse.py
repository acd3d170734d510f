"""One built-in curve by itself, for what it is held against."""

from __future__ import annotations

import numpy as np

from reliability.network.curves import Elements, element_times, point_curves
from reliability.schema.curves import INVERSE


def inverse_time_s(curve: str, current_a: np.ndarray, pickup_a: float, time_dial: float,
                   added_time_s: float = 0.0) -> np.ndarray:
    """Time (s) of one built-in curve of `INVERSE` at currents (A)."""
    a, b, p = INVERSE[curve]
    one = Elements(np.array(pickup_a), np.array(time_dial), np.array(added_time_s), np.array(a), np.array(b),
                   np.array(p), np.array(-1), point_curves([]))
    return element_times(one, np.asarray(current_a, float))

