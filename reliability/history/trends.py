"""Whether a yearly series rises or falls: a straight line by least squares, and the test of its slope."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from reliability.history.level import LEVEL

FEWEST_YEARS = 4        # below it the line's own residuals say next to nothing; our choice
RISING, FALLING, NONE_SHOWN, TOO_FEW = "rising", "falling", "none shown", "too few years"


@dataclass(frozen=True)
class Trend:
    """per_year: slope a year over the mean, NaN without a mean above 0; verdict at 90 %, two-sided."""

    per_year: float
    verdict: str


def trend(values: np.ndarray) -> Trend:
    """Trend of the values (y,) of consecutive years; years of NaN are left out.

    The slope is divided by its standard error from the residuals and compared with Student's t of y − 2 degrees of
    freedom.
    """
    year = np.flatnonzero(np.isfinite(values))
    found, n = np.asarray(values, dtype=float)[year], len(year)
    mean = float(found.mean()) if n else 0.0
    if n < FEWEST_YEARS or mean <= 0:
        return Trend(float("nan"), TOO_FEW if n < FEWEST_YEARS else NONE_SHOWN)
    away = year - year.mean()
    slope = float(away @ found / (away @ away))
    residual = found - mean - slope * away
    error = float(np.sqrt(residual @ residual / (n - 2) / (away @ away)))
    sure = abs(slope) > error * float(special.stdtrit(n - 2, 0.5 + LEVEL / 2.0)) and abs(slope) > 1e-9 * mean
    return Trend(slope / mean, (RISING if slope > 0 else FALLING) if sure else NONE_SHOWN)
