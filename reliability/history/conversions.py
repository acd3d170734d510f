"""Effect of conversions: converted against unconverted laterals, before against after.

Difference in differences: the change of the converted laterals' event counts over the change
of the others', so that a stormy year cancels out. Before is the time until the first
conversion, after the time since the last one; the time between is left out for all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy
from scipy import special

from reliability.history.empirical_bayes import LEVEL, gamma_poisson
from reliability.history.outages import Records

POWER = 0.80
MEASURES = ("sustained_interruptions", "momentary_events", "callouts")
REGRESSION = ("Laterals are chosen for conversion after bad years, and a bad year is usually followed by a better one "
              "even where nothing is done (regression to the mean); so the years before are shrunk towards the mean "
              "of all laterals before they are compared.")
_LOG_ODDS = (-40.0, 40.0)     # range of the search for ln(odds)


@dataclass(frozen=True)
class BeforeAfter:
    """Before and after.

    measures: a row a measure of MEASURES: converted_before, converted_after, others_before,
        others_after (events), rate_ratio with low, high at LEVEL and p_value (exact), NaN or
        infinite where they do not exist, then corrected_ratio, corrected_low, corrected_high,
        corrected_p_value (regression to the mean taken out), expected_ratio, years_needed
        (years after, for a power of POWER to detect the expected effect).
    converted, others: number of laterals. years_before, years_after, years_left_out.
    """

    measures: pd.DataFrame
    converted: int
    others: int
    years_before: float
    years_after: float
    years_left_out: float
    notes: tuple[str, ...]


def before_after(records: Records, expected_ratio: float) -> BeforeAfter | None:
    """Effect of the conversions in [history.conversions]; None where there are none.

    expected_ratio: sustained interruptions after over before that a conversion should bring.
    """
    network, conversions = records.network, records.settings.conversions
    if not conversions:
        return None
    heads = network.candidates
    days = np.array(list(conversions.values()), dtype="datetime64[D]")
    converted = np.isin(network.ids[heads], list(conversions))
    notes: list[str] = []
    first, last = days.min(), days.max()
    day_before, day_after = min(first, records.last_day + 1), max(last, records.first_day)
    before = max(float((day_before - records.first_day).astype(int)), 0.0) / 365.25
    after = max(float((records.last_day + 1 - day_after).astype(int)), 0.0) / 365.25
    if not before or not after:
        notes.append("The records do not cover both a time before the first conversion and a time after the last.")
    if converted.all():
        notes.append("All laterals are converted: changes from year to year cannot be taken out.")
    if first < last:
        notes.append(f"The days from {first} to {last - 1}, during which conversions were made, are left out.")
    events = _events(records)
    length = network.below(np.nan_to_num(network.column["length_km"]))[heads]
    rows = {}
    for name in MEASURES:
        counts = [_counts(events[name], heads, lo, hi) for lo, hi in (
            (records.first_day, first), (day_after, records.last_day + 1))]
        rows[name] = _compare(counts, converted, length, before, after,
                              expected_ratio if name != "momentary_events" else np.nan)
    table = pd.DataFrame.from_dict(rows, orient="index")
    table.index.name = "measure"
    return BeforeAfter(table, int(converted.sum()), int((~converted).sum()), before, after,
                       max(float((last - first).astype(int)), 0.0) / 365.25, (REGRESSION, *notes))


def _events(records: Records) -> dict[str, pd.DataFrame]:
    """Events on laterals by measure: lateral (position of its head) and day.

    A sustained interruption is an event at a section, a call-out an event at the lateral with a
    sustained interruption (records name no crews), a momentary event one without.
    """
    steps = records.steps
    section = steps["section"].to_numpy()
    lateral = np.where(section >= 0, records.network.unit[section], -1)
    part = steps.assign(lateral=lateral)[(lateral >= 0) & ~steps["planned"].to_numpy() & steps["counted"].to_numpy()]
    sustained = part[part["sustained"].to_numpy()]
    callouts = sustained.drop_duplicates(["event", "lateral"])
    momentary = part.groupby(["event", "lateral"], sort=False).agg(day=("day", "first"), sustained=("sustained", "max"))
    return {"sustained_interruptions": sustained.drop_duplicates(["event", "section"]), "callouts": callouts,
            "momentary_events": momentary[~momentary["sustained"].to_numpy(dtype=bool)].reset_index()}


def _counts(events: pd.DataFrame, heads: np.ndarray, start: np.datetime64, end: np.datetime64) -> np.ndarray:
    """Events of each lateral on days from `start` up to but not on `end`."""
    day = events["day"].to_numpy().astype("datetime64[D]")
    inside = events["lateral"].to_numpy(dtype=int)[(day >= start) & (day < end)]
    return np.bincount(np.searchsorted(heads, inside), minlength=len(heads))


def _compare(counts: list[np.ndarray], converted: np.ndarray, length: np.ndarray, before: float, after: float,
             expected: float) -> dict[str, float]:
    """One row of `BeforeAfter.measures`; counts: before and after, each (laterals,)."""
    before_count, after_count = (int(c[converted].sum()) for c in counts)
    others = int(counts[0][~converted].sum()), int(counts[1][~converted].sum())
    row: dict[str, float] = {"converted_before": before_count, "converted_after": after_count,
                             "others_before": others[0], "others_after": others[1]}
    names = ("rate_ratio", "low", "high", "p_value", "corrected_ratio", "corrected_low", "corrected_high",
             "corrected_p_value", "years_needed")
    row |= dict.fromkeys(names, np.nan) | {"expected_ratio": expected}
    if not before or not after:
        return row
    unselected = _without_selection(counts[0], length, before)
    expected_converted, expected_others = float(unselected[converted].sum()), float(unselected[~converted].sum())
    shift = _over(before_count, expected_converted)
    if (~converted).any():
        shift *= _over(expected_others, others[0])
        distribution = conditional_ratio(before_count, after_count, others)
        ratio = _over(after_count * others[0], before_count * others[1])
        scale = 1.0
    else:
        distribution = conditional_ratio(before_count, after_count)
        scale = 1 / (after / before)
        ratio = _over(after_count, before_count) * scale
    low, high = (v * scale for v in distribution.interval())
    row |= {"rate_ratio": ratio, "low": low, "high": high, "p_value": distribution.p_value(1 / scale)}
    if np.isfinite(shift) and shift > 0:
        row |= {"corrected_ratio": ratio * shift, "corrected_low": low * shift, "corrected_high": high * shift,
                "corrected_p_value": distribution.p_value(1 / (scale * shift))}
    row["years_needed"] = years_needed(expected, expected_converted, expected_converted / before,
                                       expected_others, expected_others / before)
    return row


def _over(a: float, b: float) -> float:
    return a / b if b > 0 else np.nan


def _without_selection(count: np.ndarray, length: np.ndarray, years: float) -> np.ndarray:
    """Events of each lateral expected in the same time without selection: posterior mean × exposure."""
    exposure = length * years
    result = count.astype(float)
    seen = exposure > 0
    if seen.sum() > 1 and count[seen].sum() > 0:
        result[seen] = gamma_poisson(count[seen], exposure[seen]).mean * exposure[seen]
    return result


@dataclass(frozen=True)
class ConditionalRatio:
    """Exact distribution of the converted laterals' later count, given the sums that do not depend on the effect.

    observed: that count. values, log_weight: what it could have been, and the logarithms of the
    weights at odds 1.
    """

    observed: int
    values: np.ndarray
    log_weight: np.ndarray

    def tails(self, log_odds: float) -> tuple[float, float]:
        """P(X ≤ observed), P(X ≥ observed)."""
        log = self.log_weight + self.values * log_odds
        p = np.exp(log - log.max())
        p /= p.sum()
        return float(p[self.values <= self.observed].sum()), float(p[self.values >= self.observed].sum())

    def interval(self) -> tuple[float, float]:
        """Odds at which either tail is (1 − LEVEL) / 2; 0 or infinite at an end of the range."""
        low = self._odds_at_tail(1) if self.observed > self.values[0] else 0.0
        high = self._odds_at_tail(0) if self.observed < self.values[-1] else np.inf
        return low, high

    def _odds_at_tail(self, side: int) -> float:
        tail = (1 - LEVEL) / 2
        return float(np.exp(scipy.optimize.brentq(lambda x: self.tails(x)[side] - tail, *_LOG_ODDS)))

    def p_value(self, odds: float = 1.0) -> float:
        """Two-sided: twice the smaller tail, at most 1."""
        return min(1.0, 2 * min(self.tails(float(np.log(odds)))))


def conditional_ratio(before: int, after: int, others: tuple[int, int] | None = None) -> ConditionalRatio:
    """Distribution of `after`, events of the converted laterals; the others had `others` before and after.

    With others, given both groups' totals and the total after: a noncentral hypergeometric
    distribution     whose odds are the rate ratio. Without, given the total: a binomial distribution whose
    odds are the rate ratio times the ratio of the times observed.
    """
    converted = before + after
    if others is None:
        values = np.arange(converted + 1)
        return ConditionalRatio(after, values, _log_choose(converted, values))
    unconverted, later = sum(others), after + others[1]
    values = np.arange(max(0, later - unconverted), min(converted, later) + 1)
    return ConditionalRatio(after, values, _log_choose(converted, values) + _log_choose(unconverted, later - values))


def _log_choose(n: int, k: np.ndarray) -> np.ndarray:
    return special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)


def years_needed(ratio: float, before: float, rate: float, others_before: float, others_rate: float) -> float:
    """Years after the conversions for a power of POWER to detect `ratio` at a significance level of 1 − LEVEL.

    before, rate: events in the time before and per year of the laterals to convert; the same
    for the others (0: none). The logarithm of the rate ratio is taken as normal. NaN where
    no number of years suffices because the time before is too short, or where no effect is expected.
    """
    if not 0 < ratio < 1 or before <= 0 or rate <= 0:
        return np.nan
    variance = (np.log(ratio) / (scipy.stats.norm.ppf((1 + LEVEL) / 2) + scipy.stats.norm.ppf(POWER))) ** 2
    with_others = others_before > 0 and others_rate > 0
    available = variance - 1 / before - (1 / others_before if with_others else 0.0)
    if available <= 0:
        return np.nan
    return float((1 / (rate * ratio) + (1 / others_rate if with_others else 0.0)) / available)
