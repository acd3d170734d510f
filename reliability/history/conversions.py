"""Effect of conversions: converted against unconverted laterals, before against after.

Difference in differences: the change of the converted laterals' event counts over the change
of the others', so that a stormy year cancels out. Before is the time until the first
conversion, after the time since the last one; the time between is left out for all.
Two comparisons stand side by side, raw and predictive (`ratio_tests`); which of them decides depends on how
the laterals were chosen (`selection_basis`). Without others to compare with there is no verdict.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from reliability.formats import count, number
from reliability.history.comparisons import compare
from reliability.history.lateral_events import (
    Span,
    Windows,
    events_by_year,
    events_on_laterals,
    lateral_exposure,
)
from reliability.history.lateral_years import DRIFT, LateralYears, Spread, concentration
from reliability.history.outages import Records
from reliability.history.pilot import years_after_needed
from reliability.history.ratio_tests import RatioTest, p_value, ratio_interval, verdict
from reliability.history.selection_basis import BOTH_MUST_AGREE, PREDICTIVE, RAW, SelectionBasis, selection_basis
from reliability.network.devices import CODE
from reliability.schema.devices import FUSE

FEEDERS_APART = 0.1     # beyond it a feeder's year of its own is said where its spread is not known; ours
MEASURES = ("sustained_interruptions", "momentary_events", "callouts")
REGRESSION = ("Laterals chosen after bad years have better ones afterwards even where nothing is done (regression to "
              "the mean). Raw: after over before, between the converted and the others. Predictive: after over what "
              "the counts before let expect of each lateral among all of them.")
_NUMBERS = ("rate_ratio", "low", "high", "p_value", "corrected_ratio", "corrected_low", "corrected_high",
            "corrected_p_value", "lateral_year_cv", "feeder_year_cv", "feeders_apart", "years_needed")
_WORDS = ("raw_verdict", "predictive_verdict", "decides", "verdict")


@dataclass(frozen=True)
class BeforeAfter:
    """Before and after.

    measures: a row a measure of MEASURES: converted_before, converted_after, others_before,
        others_after (events); raw: rate_ratio with low, high at LEVEL and p_value (mid-p); predictive:
        corrected_ratio, corrected_low, corrected_high, corrected_p_value; NaN or infinite where they do not exist.
        raw_verdict, predictive_verdict, decides (RAW, PREDICTIVE or BOTH_MUST_AGREE) and verdict, None without a
        comparison group. lateral_year_cv and feeder_year_cv (spread of lateral-years and of feeder-years beyond
        Poisson, of the others), feeders_apart (see `lateral_years.feeders_apart`), expected_ratio, years_needed (years
        after, for a power of 80 % to show the expected effect by the raw comparison).
    basis: how the laterals were chosen, and which comparison decides.
    converted, others: number of laterals. years_before, years_after, years_left_out.
    """

    measures: pd.DataFrame
    basis: SelectionBasis
    converted: int
    others: int
    years_before: float
    years_after: float
    years_left_out: float
    notes: tuple[str, ...]


def before_after(records: Records, expected_ratio: float, line_fault_rate: float = 1.0,
                 seed: int = 1) -> BeforeAfter | None:
    """Effect of the conversions in [history.conversions]; None where there are none.

    expected_ratio: sustained interruptions after over before that a conversion should bring. line_fault_rate: assumed a
    km and year of sections that state none. seed: of the draws.
    """
    conversions = records.settings.conversions
    if not conversions:
        return None
    heads = records.network.candidates
    place = {str(name): i for i, name in enumerate(records.network.ids[heads])}
    day = np.full(len(heads), np.datetime64("NaT"), dtype="datetime64[D]")
    for name, when in conversions.items():
        day[place[name]] = when
    converted, kept, notes = _groups(records, day)
    first, last = day[converted].min(), day[converted].max()
    day_after = max(last, records.first_day)
    basis = selection_basis(records.settings, records.first_day, first, day_after)
    windows = _windows(records, first, day_after, basis)
    if not windows.years(False) or not windows.years(True):
        notes.append("The records do not cover both a time before the first conversion and a time after the last.")
    if converted[kept].all():
        notes.append("All laterals are converted: changes from year to year cannot be taken out, so there is no "
                     "verdict.")
    if still := int((converted & (records.network.device[heads] == CODE[FUSE])).sum()):
        notes.append(f"{count(still, 'converted lateral')} {'has' if still == 1 else 'have'} a fuse in the sections: "
                     "whether a conversion was made there is to be looked at.")
    if first < last:
        notes.append(f"The days from {first} to {last - 1}, during which conversions were made, are left out.")
    events, exposure = events_on_laterals(records), lateral_exposure(records, line_fault_rate)[kept]
    feeder = records.network.feeder[heads][kept]
    rows = {}
    for name in MEASURES:
        table = events_by_year(events[name], heads, windows)
        table = LateralYears(table.counts[kept], table.years, table.after)
        rows[name] = _row(table, converted[kept], feeder, exposure, _decides(name, basis),
                          expected_ratio if name != "momentary_events" else np.nan, np.random.default_rng(seed))
    measures = pd.DataFrame.from_dict(rows, orient="index")
    measures.index.name = "measure"
    for name in _WORDS:      # as objects, so that None stays None
        measures[name] = pd.Series([row[name] for row in rows.values()], measures.index, dtype=object)
    notes += _measure_notes(measures, basis)
    return BeforeAfter(measures, basis, int(converted.sum()), int((kept & ~converted).sum()), windows.years(False),
                       windows.years(True), max(float((last - first).astype(int)), 0.0) / 365.25,
                       (basis.sentence, REGRESSION, *notes))


def _groups(records: Records, day: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Converted laterals, those that take part at all, (laterals,) bool, and notes.

    A lateral converted before the records begin has no time before, one converted after they end none after: where
    there are others, such laterals belong to neither group.
    """
    ever = ~np.isnat(day)
    inside = ever & (day > records.first_day) & (day <= records.last_day)
    if not inside.any() or inside.sum() == ever.sum():
        return ever, np.ones(len(day), bool), []
    outside = int((ever & ~inside).sum())
    return inside, inside | ~ever, [f"Laterals converted before the records begin or after they end, which belong to "
                                    f"neither group: {outside}."]


def _windows(records: Records, first: np.datetime64, day_after: np.datetime64, basis: SelectionBasis) -> Windows:
    end = min(first, records.last_day + 1)
    before: tuple[Span, ...] = ((records.first_day, end),)
    if basis.left_out:
        start, stop = basis.left_out
        before = ((records.first_day, start), (stop + 1, end))
    return Windows(before, ((day_after, records.last_day + 1),))


def _row(table: LateralYears, converted: np.ndarray, feeder: np.ndarray, exposure: np.ndarray, decides: str,
         expected: float, rng: np.random.Generator) -> dict[str, object]:
    """One row of `BeforeAfter.measures`.

    converted, feeder, exposure: (laterals,). decides: RAW, PREDICTIVE or BOTH_MUST_AGREE. expected: ratio that a
    conversion should bring.
    """
    before, after = table.totals(False), table.totals(True)
    own = int(before[converted].sum()), int(after[converted].sum())
    others = int(before[~converted].sum()), int(after[~converted].sum())
    row: dict[str, object] = {"converted_before": own[0], "converted_after": own[1], "others_before": others[0],
                              "others_after": others[1]}
    row |= dict.fromkeys(_NUMBERS, np.nan) | {"expected_ratio": expected} | dict.fromkeys(_WORDS)
    lengths = [float(table.years[table.after == side].sum()) for side in (False, True)]
    if not all(lengths):
        return row
    if not sum(others):
        change = _over(own[1] * lengths[0], own[0] * lengths[1])
        return row | ({"rate_ratio": change} if converted.all() else {})
    found = compare(table, converted, feeder, exposure, rng)
    odds = float(found.predictive.log_odds.mean())
    row |= _described(found.raw, _over(own[1] * others[0], own[0] * others[1]), "rate_ratio", "")
    row |= _described(found.predictive, _over(own[1], others[1] * float(np.exp(odds))), "corrected_ratio", "corrected_")
    row |= {"raw_verdict": verdict(found.raw), "predictive_verdict": verdict(found.predictive), "decides": decides,
            "verdict": found.verdict(decides), "lateral_year_cv": found.spread.cv,
            "feeder_year_cv": found.feeder_spread.cv, "feeders_apart": found.apart}
    share = own[0] / max(sum(before), 1) if decides == RAW else float(special.expit(odds))
    row["years_needed"] = _years_needed(expected, before.sum() * np.array([share, 1 - share]), lengths[0],
                                        _beyond(found.spread) * concentration((before + after)[converted])
                                        + _beyond(found.feeder_spread) * found.apart, table.concentration(False),
                                        DRIFT * concentration((before + after)[converted]))
    return row


def _decides(measure: str, basis: SelectionBasis) -> str:
    """The comparison that decides for a measure.

    A choice by the records usually rests on sustained interruptions. They tell of a lateral's momentary events too,
    which the predictive comparison of momentary events does not know of.
    """
    return BOTH_MUST_AGREE if measure == "momentary_events" and basis.decides == PREDICTIVE else basis.decides


def _described(test: RatioTest, ratio: float, name: str, prefix: str) -> dict[str, object]:
    """Ratio, interval and p-value of a comparison; the latter two under names that begin with `prefix`."""
    low, high = ratio_interval(test)
    return {name: ratio, f"{prefix}low": low, f"{prefix}high": high, f"{prefix}p_value": p_value(test)}


def _over(a: float, b: float) -> float:
    return a / b if b > 0 else np.nan


def _beyond(spread: Spread) -> float:
    """Squared coefficient of variation by a spread's estimate, 0 where that is below or unknown."""
    return max(spread.estimate, 0.0) if np.isfinite(spread.estimate) else 0.0


def _years_needed(ratio: float, before: np.ndarray, years: float, beyond: float, concentration_before: float,
                  drift: float) -> float:
    """Years after for the expected effect to show; before: events of both groups that were to be expected, (2,).

    beyond, drift: variance of the logarithm of the ratio of a year beyond Poisson, and once for all years, of the
    converted and of their feeders; that of the others, who are many, is left out.
    """
    if not (before > 0).all() or not 0 < ratio < 1:
        return np.nan
    rate = before / years
    return years_after_needed(ratio, float((1 / before).sum()) + beyond * concentration_before + drift,
                              float(1 / (rate[0] * ratio) + 1 / rate[1]) + beyond)


def _measure_notes(measures: pd.DataFrame, basis: SelectionBasis) -> list[str]:
    """Measures without a verdict or with a rule of their own, and how far lateral-years vary beyond chance."""
    notes = []
    names = {str(name): str(name).replace("_", " ").replace("callouts", "call-outs") for name in measures.index}
    if len(silent := [names[n] for n in names if not measures.loc[n, ["others_before", "others_after"]].sum()]):
        notes.append(f"No event is recorded on other laterals, so there is no verdict: {', '.join(silent)}.")
    if basis.decides == PREDICTIVE and measures.loc["momentary_events", "verdict"] is not None:
        notes.append("The choice may have rested on sustained interruptions alone, so for momentary events the raw and "
                     "the predictive comparison must agree.")
    for whose, column, also in (
            ("lateral", "lateral_year_cv", "for how roughly it is known, and for a slow drift of each lateral's rate "
             f"with a coefficient of variation of {number(DRIFT ** 0.5, 2)} (ours)."),
            ("feeder", "feeder_year_cv", "as far as the converted laterals are on other feeders than the others, and "
             "for how roughly it is known.")):
        known = measures[column].dropna()
        if len(known):
            words = "; ".join(f"{names[str(name)]} {number(cv, 2) if cv > 0 else 'none seen'}"
                              for name, cv in known.items())
            notes.append(f"Years of one {whose} differ beyond chance; coefficient of variation, estimated from the "
                         f"others: {words}. Intervals, p-values and verdicts allow for it, {also}")
    unknown = measures["feeder_year_cv"].isna() & (measures["feeders_apart"] > FEEDERS_APART)
    if unknown.any():
        notes.append("The converted laterals are on other feeders than the others, whose records do not show how much "
                     "feeders' years differ from one another (a storm on one side alone): no interval or verdict "
                     "allows for that.")
    return notes
