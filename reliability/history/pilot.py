"""Before a pilot: how many laterals for how many years until an effect of the expected size shows.

The logarithm of the ratio of two changes is nearly normal; its variance is a sum over the four counts, each with
1 / (its expected events), and with the spread of lateral-years beyond Poisson in proportion to 1 / (laterals × years);
what the rates of the converted drift by (`lateral_years.DRIFT`) no number of years takes away.
In a stepped roll-out a part of the laterals is converted each year; as in the comparison itself, the years between the
first and the last conversion are left out, and the laterals never converted are those compared with.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy
from scipy import special

from reliability.history.lateral_events import Windows, events_by_year, events_on_laterals
from reliability.history.lateral_years import DRIFT, concentration, spread_between_years
from reliability.history.level import LEVEL
from reliability.history.outages import Records

POWER = 0.80
SHARES = (0.05, 0.1, 0.2, 0.3, 0.5)       # of the fleet, converted
YEARLY_PARTS = (1, 3)                            # yearly parts in which they are converted: all at once, and in three
MOST_YEARS = 30.0                         # a pilot that needs longer is none; ours
NOTES = (
    "Of laterals as bad as the average; worse ones have more events and need fewer years.",
    "In a stepped roll-out an equal part of the laterals is converted each year. The years between the first and "
    "the last conversion serve neither group; laterals never converted are those compared with, so not all should "
    "be converted before the effect has been shown.",
    "The years are those of the raw comparison, which decides where the choice rests on records that end before "
    "the years compared begin. Otherwise the predictive comparison decides "
    "or must agree with it, and the years are a guide.",
)


@dataclass(frozen=True)
class Fleet:
    """Laterals as the records show them: their number, events of one a year, squared cv of the rates between them and
    of lateral-years beyond Poisson, and years of records before.
    """

    laterals: int
    rate: float
    between: float
    spread: float
    years_before: float

    def variance(self, ratio: float = 1.0) -> float:
        """Variance of ln(events) of one lateral in one year, were there many of them, at `ratio` times the rate."""
        return 1 / (self.rate * ratio) + self.spread * (1 + self.between)


@dataclass(frozen=True)
class Pilot:
    """Pilots of different sizes.

    fleet: what was assumed. ratio: interruptions after over before that is expected. designs: a row a pilot:
    converted, others (laterals), steps (yearly parts), years_after (after the last conversion, NaN where
    more than MOST_YEARS or none suffice), years_total (from the first conversion).
    """

    fleet: Fleet
    ratio: float
    designs: pd.DataFrame
    notes: tuple[str, ...]


def years_after_needed(ratio: float, before: float, after: float) -> float:
    """Years after for a power of POWER to show `ratio` at a verdict of LEVEL; NaN where no number suffices.

    before: variance of the logarithm of the ratio from the counts before; after: the same from one year after.
    """
    if not 0 < ratio < 1:
        return np.nan
    wanted = np.log(ratio) / (scipy.special.ndtri((1 + LEVEL) / 2) + scipy.special.ndtri(POWER))
    available = wanted ** 2 - before
    return float(after / available) if available > 0 else np.nan


def power(fleet: Fleet, ratio: float, converted: int, years_after: np.ndarray) -> np.ndarray:
    """Probability of the verdict "fewer" after so many years, (n,), where `ratio` is the effect."""
    before, after = _variances(fleet, ratio, converted)
    with np.errstate(divide="ignore"):
        error = np.sqrt(before + after / np.asarray(years_after, dtype=float))
    return np.asarray(special.ndtr(-np.log(ratio) / error - special.ndtri((1 + LEVEL) / 2)))


def _variances(fleet: Fleet, ratio: float, converted: int) -> tuple[float, float]:
    """Variance of the logarithm of the ratio from the counts before, drift included, and from one year after."""
    others = fleet.laterals - converted
    same = fleet.variance()
    drift = DRIFT * (1 + fleet.between)
    return ((same / fleet.years_before + drift) / converted + same / fleet.years_before / others,
            fleet.variance(ratio) / converted + same / others)


def fleet_of(counts: np.ndarray, years: float) -> Fleet:
    """Fleet behind the events of unconverted laterals in each year, `counts` (laterals, cells), in `years` in all."""
    totals = counts.sum(axis=1)
    spread = float(np.nan_to_num(max(spread_between_years(counts).estimate, 0.0)))
    n, by_year = len(totals), counts.sum(axis=0)
    pairs = n * concentration(totals) if n else 1.0
    between = max(pairs / (1 + spread * concentration(by_year)) - 1, 0.0) if by_year.sum() else 0.0
    return Fleet(n, float(totals.sum() / (n * years)) if n else 0.0, between, spread, years)


def plan_pilot(fleet: Fleet, ratio: float) -> Pilot | None:
    """Pilots of SHARES of the fleet in YEARLY_PARTS; None where the records or the expected effect allow no plan."""
    if fleet.laterals < 2 or not fleet.rate > 0 or not 0 < ratio < 1:
        return None
    sizes = sorted({min(max(round(share * fleet.laterals), 1), fleet.laterals - 1) for share in SHARES})
    rows = []
    for converted in sizes:
        years = years_after_needed(ratio, *_variances(fleet, ratio, converted))
        years = years if years <= MOST_YEARS else np.nan
        rows += [{"converted": converted, "others": fleet.laterals - converted, "steps": steps, "years_after": years,
                  "years_total": years + steps - 1} for steps in YEARLY_PARTS if steps <= converted]
    return Pilot(fleet, ratio, pd.DataFrame(rows), NOTES)


def pilot_of(records: Records, expected_ratio: float) -> Pilot | None:
    """What a pilot among the laterals not converted would need; None where the records allow no plan."""
    heads = records.network.candidates
    free = ~np.isin(records.network.ids[heads], list(records.settings.conversions))
    whole = Windows(((records.first_day, records.last_day + 1),), ())
    table = events_by_year(events_on_laterals(records)["sustained_interruptions"], heads, whole)
    return plan_pilot(fleet_of(table.counts[free], records.period_years), expected_ratio)
