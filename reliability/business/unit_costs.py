"""Mean cost of one interruption to one customer over the severity of the event."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from reliability.schema.values import Drawn
from reliability.study.cost_table import CostTable

# A spread of the severity below this does not matter.
SMALLEST_CV = 1e-3


def mean_unit_costs(costs: CostTable, hours: np.ndarray, cv: Drawn) -> np.ndarray:
    """Mean over the severity L of the cost of an interruption of `hours` × L, (m, c).

    hours: (m,) mean durations. cv: coefficient of variation of the lognormal L of mean 1, a number or (m,).
    A ramp from t hours on has the mean of a call of Black, The pricing of commodity contracts, 1976 (from
    memory): d·Φ(z) − t·Φ(z − σ) with z = (ln(d/t) + σ²/2)/σ and σ² = ln(1 + cv²).
    """
    hours, cv = (a[:, None] for a in np.broadcast_arrays(np.asarray(hours, dtype=float), np.asarray(cv, dtype=float)))
    start, still = costs.durations_hours[None, :], cv < SMALLEST_CV
    cv = np.where(still, 1.0, cv)
    sigma = np.sqrt(np.log1p(cv * cv))
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (np.log(hours) - np.log(start) + sigma * sigma / 2.0) / sigma
    z[hours[:, 0] <= 0] = -np.inf  # also 0 h on a ramp from 0 h
    ramp = np.where(still, np.maximum(hours - start, 0.0), hours * ndtr(z) - start * ndtr(z - sigma))
    return costs.momentary + ramp @ costs.bends.T
