"""Arithmetic of discounting, on cash flows of year 0 … H (arrays (H + 1,) in money)."""

from __future__ import annotations

import numpy as np
import scipy

from reliability.schema.values import Drawn

# Search for rates: discount factors from e^-60 to e^60 cover every rate that a double can tell from −1 or infinity.
LOG_FACTOR_LIMIT = 60.0
RATE_POINTS = 2_000


def discount_factors(rate: Drawn, years: int) -> np.ndarray:
    """(1 + r)^−y for y = 1 … years; rate: a number or (trials,), result (…, years)."""
    return (1.0 + np.asarray(rate, dtype=float)[..., None]) ** -np.arange(1.0, years + 1.0)


def growth_factors(rate: Drawn, years: int) -> np.ndarray:
    """(1 + g)^(y − 1) for y = 1 … years; rate: a number or (trials,), result (…, years)."""
    return (1.0 + np.asarray(rate, dtype=float)[..., None]) ** np.arange(float(years))


def replacement_prices(rate: Drawn, years: int, life: int | None) -> np.ndarray:
    """Price in each year 1 … years of what is bought again then, over its price in year 0; 0 where nothing is.

    rate: growth of prices a year, a number or (trials,), result (…, years). life: years after which it is bought
    again, None for never. What would end its life with the last year is not.
    """
    year = np.arange(1, years + 1)
    due = (year % life == 0) & (year < years) if life is not None else np.zeros(years, dtype=bool)
    return np.where(due, (1.0 + np.asarray(rate, dtype=float)[..., None]) ** year, 0.0)


def capital_recovery_factor(rate: float, years: int) -> float:
    """Yearly payment, at the ends of the years, that repays 1: r/(1 − (1 + r)^−H), 1/H at r = 0."""
    return float(1.0 / discount_factors(rate, years).sum())


def irr(flows: np.ndarray) -> float | None:
    """Internal rate of return: the rate at which the net present value is 0; None without a sign change.

    With several such rates (the flows change sign more than once) the one nearest to 0, as
    numpy-financial does; None where they change sign but no rate gives 0.
    """
    flows = np.asarray(flows, dtype=float)
    signs = np.sign(flows[flows != 0])
    changes = int(np.count_nonzero(np.diff(signs)))
    if changes == 0:
        return None

    def value(log_factor: float) -> float:
        return _scaled_value(flows, log_factor)

    # one sign change means one root (Descartes); else the grid has to separate the roots
    inner = np.array([]) if changes == 1 else np.linspace(-5.0, 5.0, RATE_POINTS + 1)
    grid = np.concatenate([[-LOG_FACTOR_LIMIT], inner, [LOG_FACTOR_LIMIT]])
    above = np.sign([value(g) for g in grid])
    roots = [float(scipy.optimize.brentq(value, grid[k], grid[k + 1], xtol=1e-15, rtol=1e-15))
             for k in np.flatnonzero(above[:-1] * above[1:] <= 0)]
    rates = [float(np.expm1(-x)) for x in roots]
    return min(rates, key=abs) if rates else None


def _scaled_value(flows: np.ndarray, log_factor: float) -> float:
    """Net present value at the discount factor exp(log_factor), scaled by its largest term so as not to overflow."""
    at = np.flatnonzero(flows)
    exponent = np.log(np.abs(flows[at])) + at * log_factor
    return float(np.sum(np.sign(flows[at]) * np.exp(exponent - exponent.max())))


def payback_years(flows: np.ndarray, rate: float = 0.0) -> float | None:
    """Years until the discounted flows add up to 0, a straight line within a year.

    rate 0 gives the simple payback. None where nothing is spent in year 0 (there is nothing
    to pay back) and where it is never reached.
    """
    if flows[0] >= 0:
        return None
    present = np.concatenate([flows[:1], flows[1:] * discount_factors(rate, len(flows) - 1)])
    running = np.cumsum(present)
    reached = np.flatnonzero(running >= 0)
    if not reached.size:
        return None
    year = int(reached[0])
    return float(year - running[year] / present[year])
