"""Did the conversions help? Converted against unconverted laterals, before against after.

Difference in differences: the change of the converted laterals' event counts over the change
of the others', so that a stormy year falls out. Before is the time until the first
conversion, after the time since the last one; what lies between is left out for all.
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
REGRESSION = ("Laterals are chosen for conversion after bad years, and after a bad year a better one follows even "
              "where nothing is done; so the years before are pulled towards the mean of all laterals before they "
              "are compared.")
_REACH = 40.0     # search for ln(odds) within ± this


@dataclass(frozen=True)
class BeforeAfter:
    """Before and after.

    measures: a row a measure of MEASURES: converted_before, converted_after, others_before,
        others_after (events), rate_ratio with low, high at LEVEL and p_value (exact), NaN or
        infinite where they do not exist, then corrected_ratio, corrected_low, corrected_high,
        corrected_p_value (regression to the mean taken out), expected_ratio, years_needed
        (years after for a chance of POWER to tell the expected effect from none).
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
    notes = []
    first, last = days.min(), days.max()
    day_before, day_after = min(first, records.last_day + 1), max(last, records.first_day)
    before = max(float((day_before - records.first_day).astype(int)), 0.0) / 365.25
    after = max(float((records.last_day + 1 - day_after).astype(int)), 0.0) / 365.25
    if not before or not after:
        notes.append("The records do not cover time both before the first and after the last conversion.")
    if converted.all():
        notes.append("No lateral was left unconverted: changes from year to year are not taken out.")
    if first < last:
        notes.append(f"The days from {first} to {last - 1}, while conversions were made, are left out.")
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
    a = [int(c[converted].sum()) for c in counts]
    c = [int(c[~converted].sum()) for c in counts]
    row = dict(zip(("converted_before", "converted_after", "others_before", "others_after"), (*a, *c), strict=True))
    names = ("rate_ratio", "low", "high", "p_value", "corrected_ratio", "corrected_low", "corrected_high",
             "corrected_p_value", "years_needed")
    row |= dict.fromkeys(names, np.nan) | {"expected_ratio": expected}
    if not before or not after:
        return row
    exposed = after / before
    unselected = _without_selection(counts[0], length, before)
    mine, theirs = float(unselected[converted].sum()), float(unselected[~converted].sum())
    shift = _over(a[0], mine)
    if (~converted).any():
        shift *= _over(theirs, c[0])
        law = conditional_ratio(*a, tuple(c))
        ratio = _over(a[1] * c[0], a[0] * c[1])
        scale = 1.0
    else:
        law = conditional_ratio(*a)
        scale = 1 / exposed
        ratio = _over(a[1], a[0]) * scale
    low, high = (v * scale for v in law.interval())
    row |= {"rate_ratio": ratio, "low": low, "high": high, "p_value": law.p_value(1 / scale)}
    if np.isfinite(shift) and shift > 0:
        row |= {"corrected_ratio": ratio * shift, "corrected_low": low * shift, "corrected_high": high * shift,
                "corrected_p_value": law.p_value(1 / (scale * shift))}
    row["years_needed"] = years_needed(expected, mine, mine / before, theirs, theirs / before)
    return row


def _over(a: float, b: float) -> float:
    return a / b if b > 0 else np.nan


def _without_selection(count: np.ndarray, length: np.ndarray, years: float) -> np.ndarray:
    """Events of each lateral that its group would let expect in the same time: posterior mean × exposure."""
    exposure = length * years
    result = count.astype(float)
    seen = exposure > 0
    if seen.sum() > 1 and count[seen].sum() > 0:
        result[seen] = gamma_poisson(count[seen], exposure[seen]).mean * exposure[seen]
    return result


@dataclass(frozen=True)
class ConditionalRatio:
    """Exact law of the converted laterals' later count, given the sums that do not depend on the effect.

    seen: that count. values, log_weight: what it could have been, and the logarithms of the
    weights at odds 1.
    """

    seen: int
    values: np.ndarray
    log_weight: np.ndarray

    def tails(self, log_odds: float) -> tuple[float, float]:
        """P(X ≤ seen), P(X ≥ seen)."""
        log = self.log_weight + self.values * log_odds
        p = np.exp(log - log.max())
        p /= p.sum()
        return float(p[self.values <= self.seen].sum()), float(p[self.values >= self.seen].sum())

    def interval(self) -> tuple[float, float]:
        """Odds at which either tail is (1 − LEVEL) / 2; 0 or infinite at an end of the range."""
        tail = (1 - LEVEL) / 2
        low, high = 0.0, np.inf
        if self.seen > self.values[0]:
            low = float(np.exp(scipy.optimize.brentq(lambda x: self.tails(x)[1] - tail, -_REACH, _REACH)))
        if self.seen < self.values[-1]:
            high = float(np.exp(scipy.optimize.brentq(lambda x: self.tails(x)[0] - tail, -_REACH, _REACH)))
        return low, high

    def p_value(self, odds: float = 1.0) -> float:
        """Two-sided: twice the smaller tail, at most 1."""
        return min(1.0, 2 * min(self.tails(float(np.log(odds)))))


def conditional_ratio(before: int, after: int, others: tuple[int, int] | None = None) -> ConditionalRatio:
    """Law of `after`, events of the converted laterals, the others having had `others` before and after.

    With others, given both groups' totals and the total after: a noncentral hypergeometric law
    whose odds are the rate ratio. Without, given the total: a binomial law whose odds are the
    rate ratio times the ratio of the times observed.
    """
    mine = before + after
    if others is None:
        values = np.arange(mine + 1)
        return ConditionalRatio(after, values, _log_choose(mine, values))
    theirs, later = sum(others), after + others[1]
    values = np.arange(max(0, later - theirs), min(mine, later) + 1)
    return ConditionalRatio(after, values, _log_choose(mine, values) + _log_choose(theirs, later - values))


def _log_choose(n: int, k: np.ndarray) -> np.ndarray:
    return special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)


def years_needed(ratio: float, before: float, rate: float, others_before: float, others_rate: float) -> float:
    """Years after the conversions for a chance of POWER to tell `ratio` from 1 at a level of 1 − LEVEL.

    before, rate: events in the time before and per year of the laterals to convert; the same
    for the others (0: none). The logarithm of the rate ratio is taken as normal. NaN where
    no number of years suffices, the time before being too short, or no effect is expected.
    """
    if not 0 < ratio < 1 or before <= 0 or rate <= 0:
        return np.nan
    reach = (np.log(ratio) / (scipy.stats.norm.ppf((1 + LEVEL) / 2) + scipy.stats.norm.ppf(POWER))) ** 2
    with_others = others_before > 0 and others_rate > 0
    room = reach - 1 / before - (1 / others_before if with_others else 0.0)
    if room <= 0:
        return np.nan
    return float((1 / (rate * ratio) + (1 / others_rate if with_others else 0.0)) / room)
