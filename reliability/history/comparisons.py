"""The raw and the predictive comparison of one measure, and the verdict that follows from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.history.lateral_years import (
    DRIFT,
    LateralYears,
    Spread,
    concentration,
    feeders_apart,
    spread_between_feeder_years,
    spread_between_years,
)
from reliability.history.posterior_sums import POSTERIOR_DRAWS, log_odds_draws
from reliability.history.ratio_tests import (
    NO_DIFFERENCE,
    ConditionalRatio,
    PredictiveRatio,
    conditional_ratio,
    verdict,
)
from reliability.history.selection_basis import BOTH_MUST_AGREE, RAW


@dataclass(frozen=True)
class ConvertedAgainstOthers:
    """Both comparisons of converted with other laterals, and the spreads that they allow for: of the others'
    lateral-years and feeder-years, and apart, how far the feeders of the two groups differ (`feeders_apart`).
    """

    raw: ConditionalRatio
    predictive: PredictiveRatio
    spread: Spread
    feeder_spread: Spread
    apart: float

    def verdict(self, decides: str) -> str:
        """By the comparison that decides; where that is BOTH_MUST_AGREE, theirs where they agree."""
        if decides == BOTH_MUST_AGREE:
            found = verdict(self.raw)
            return found if verdict(self.predictive) == found else NO_DIFFERENCE
        return verdict(self.raw if decides == RAW else self.predictive)


def compare(table: LateralYears, converted: np.ndarray, feeder: np.ndarray, exposure: np.ndarray,
            rng: np.random.Generator) -> ConvertedAgainstOthers:
    """Comparison of the laterals `converted` with the others; converted, feeder (codes), exposure: (laterals,).

    What a year brings to one feeder is common to both groups as far as they are on the same feeders.
    """
    before, after = table.totals(False), table.totals(True)
    spread = spread_between_years(table.counts[~converted])
    draws = spread.draws(rng.random(POSTERIOR_DRAWS))
    concentrations = table.concentration(False), table.concentration(True)
    wider = (float(draws.mean()) * sum(concentrations) + DRIFT) * sum(
        concentration((before + after)[group]) for group in (converted, ~converted))
    apart, of_feeders = feeders_apart(before + after, converted, feeder), spread_between_feeder_years(
        table.counts[~converted], feeder[~converted])
    by_feeder = of_feeders.draws(rng.random(POSTERIOR_DRAWS)) * apart * sum(concentrations)
    own = int(before[converted].sum()), int(after[converted].sum())
    others = int(before[~converted].sum()), int(after[~converted].sum())
    log_odds = log_odds_draws(before, exposure, converted, draws, concentrations, rng)
    log_odds = log_odds + np.sqrt(by_feeder) * rng.standard_normal(POSTERIOR_DRAWS)
    return ConvertedAgainstOthers(conditional_ratio(*own, others, float(np.sqrt(wider + by_feeder.mean()))),
                                  PredictiveRatio(own[1], own[1] + others[1], log_odds), spread, of_feeders, apart)
