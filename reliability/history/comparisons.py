"""The raw and the predictive comparison of one measure, and the verdict that follows from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.history.lateral_years import DRIFT, LateralYears, Spread, concentration, spread_between_years
from reliability.history.posterior_sums import DRAWS, log_odds_draws
from reliability.history.ratio_tests import (
    NO_DIFFERENCE,
    ConditionalRatio,
    PredictiveRatio,
    conditional_ratio,
    verdict,
)
from reliability.history.selection_basis import BOTH, RAW


@dataclass(frozen=True)
class Comparison:
    """Both comparisons of converted with other laterals, and the spread of the others' lateral-years that they allow
    for.
    """

    raw: ConditionalRatio
    predictive: PredictiveRatio
    spread: Spread

    def verdict(self, decides: str) -> str:
        """By the comparison that decides; where that is BOTH, theirs where they agree."""
        if decides == BOTH:
            found = verdict(self.raw)
            return found if verdict(self.predictive) == found else NO_DIFFERENCE
        return verdict(self.raw if decides == RAW else self.predictive)


def compare(table: LateralYears, converted: np.ndarray, exposure: np.ndarray, rng: np.random.Generator) -> Comparison:
    """Comparison of the laterals `converted` with the others; converted, exposure: (laterals,)."""
    before, after = table.totals(False), table.totals(True)
    spread = spread_between_years(table.counts[~converted])
    draws = spread.draws(rng.random(DRAWS))
    concentrations = table.concentration(False), table.concentration(True)
    wider = (float(draws.mean()) * sum(concentrations) + DRIFT) * sum(
        concentration((before + after)[group]) for group in (converted, ~converted))
    own = int(before[converted].sum()), int(after[converted].sum())
    others = int(before[~converted].sum()), int(after[~converted].sum())
    log_odds = log_odds_draws(before, exposure, converted, draws, concentrations, rng)
    return Comparison(conditional_ratio(*own, others, float(np.sqrt(wider))),
                      PredictiveRatio(own[1], own[1] + others[1], log_odds), spread)
