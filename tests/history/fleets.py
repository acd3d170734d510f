"""Fleets of laterals with and without an effect of conversions, drawn for the tests of verification."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.history.comparisons import compare
from reliability.history.lateral_years import LateralYears
from reliability.history.selection_basis import BOTH_MUST_AGREE, PREDICTIVE, RAW

EARLIER_YEARS = 3
DECIDES = {"records": PREDICTIVE, "earlier_records": RAW}


@dataclass(frozen=True)
class FleetLaw:
    """What a fleet is drawn from: gamma rates between laterals, a multiplier common to all in a year (yearly_cv),
    one of each lateral-year and of each feeder-year (squared cv), and the effect of conversions; `chosen` says how
    laterals are chosen: "feeders" are those of whole feeders.
    """

    chosen: str
    laterals: int = 200
    converted: int = 50
    years: int = 3
    rate: float = 1.0
    cv: float = 0.7
    yearly_cv: float = 0.0
    lateral_years: float = 0.0
    ratio: float = 1.0
    feeders: int = 12
    feeder_years: float = 0.0


def draw(law: FleetLaw, rng: np.random.Generator) -> tuple[LateralYears, np.ndarray, np.ndarray]:
    """Counts before and after, the laterals converted, and the feeder of each."""
    n, years = law.laterals, EARLIER_YEARS + 2 * law.years
    rate = law.rate * rng.gamma(law.cv ** -2, law.cv ** 2, n)
    expected = np.repeat(rate[:, None], years, axis=1)
    if law.yearly_cv:
        expected = expected * rng.gamma(law.yearly_cv ** -2, law.yearly_cv ** 2, years)
    if law.lateral_years:
        expected = expected * rng.gamma(1 / law.lateral_years, law.lateral_years, (n, years))
    feeder = np.arange(n) * law.feeders // n
    if law.feeder_years:
        expected = expected * rng.gamma(1 / law.feeder_years, law.feeder_years, (law.feeders, years))[feeder]
    counts = rng.poisson(expected)
    later = EARLIER_YEARS + law.years
    standard = (np.log(rate) - np.log(rate).mean()) / np.log(rate).std()
    score = {"random": np.zeros(n), "records": counts[:, EARLIER_YEARS:later].sum(axis=1),
             "earlier_records": counts[:, :EARLIER_YEARS].sum(axis=1),
             "feeders": -feeder,
             "covariate": 0.7 * standard + 0.51 ** 0.5 * rng.standard_normal(n)}[law.chosen]
    converted = np.zeros(n, dtype=bool)
    converted[np.lexsort((rng.random(n), score))[-law.converted:]] = True
    counts[converted, later:] = rng.binomial(counts[converted, later:], law.ratio)
    after = np.arange(2 * law.years) >= law.years
    return LateralYears(counts[:, EARLIER_YEARS:], np.ones(2 * law.years), after), converted, feeder


def verdicts(law: FleetLaw, fleets: int, decides: str = "") -> list[str]:
    """The verdict on each of so many fleets; decides: RAW, PREDICTIVE, BOTH_MUST_AGREE; "": as the choice says."""
    rng = np.random.default_rng(20)
    found = []
    for _ in range(fleets):
        table, converted, feeder = draw(law, rng)
        comparison = compare(table, converted, feeder, np.ones(law.laterals), np.random.default_rng(1))
        found.append(comparison.verdict(decides or DECIDES.get(law.chosen, BOTH_MUST_AGREE)))
    return found
