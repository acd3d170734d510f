"""Mean cost of one interruption to one customer over the severity of the event."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from reliability.schema.values import Drawn
from reliability.study.cost_table import CostTable

# Below this spread of the severity its covariance with cost is lost in rounding, and does not matter.
SMALLEST_CV = 1e-3


def unit_costs(costs: CostTable, hours: np.ndarray, cv: Drawn) -> tuple[np.ndarray, np.ndarray]:
    """Mean over the severity L of the cost of an interruption of `hours` × L, and its slope b in L.

    hours: (m,) mean durations. cv: coefficient of variation of the lognormal L of mean 1, a number or (m,).
    Returns two arrays (m, c): E[cost], and b = Cov(cost, L)/Var(L), so that
    E[cost] − b + b·L is the best straight line in L and has the exact mean. A ramp from t
    hours on has the mean of a call of Black, The pricing of commodity contracts, 1976 (from
    memory): d·Φ(z) − t·Φ(z − σ) with z = (ln(d/t) + σ²/2)/σ and σ² = ln(1 + cv²). b is 0
    where L does not vary.
    """
    hours, cv = (a[:, None] for a in np.broadcast_arrays(np.asarray(hours, dtype=float), np.asarray(cv, dtype=float)))
    start, still = costs.durations_hours[None, :], cv < SMALLEST_CV
    cv = np.where(still, 1.0, cv)
    sigma = np.sqrt(np.log1p(cv * cv))
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (np.log(hours) - np.log(start) + sigma * sigma / 2.0) / sigma
    z[hours[:, 0] <= 0] = -np.inf  # also 0 h on a ramp from 0 h
    once, above, twice = ndtr(z - sigma), ndtr(z), ndtr(z + sigma)
    ramp = np.where(still, np.maximum(hours - start, 0.0), hours * above - start * once)
    # E[L·ramp] − E[ramp], from the same integral with the density weighted by L
    together = hours * ((1.0 + cv * cv) * twice - above) - start * (above - once)
    return costs.momentary + ramp @ costs.bends.T, np.where(still, 0.0, together @ costs.bends.T / (cv * cv))
