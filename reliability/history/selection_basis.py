"""How the converted laterals were chosen, and which comparison of before and after may therefore decide.

A choice by counts is a choice of bad luck as well: laterals chosen by the records before are followed by better years
even where nothing is done (regression to the mean). The predictive comparison takes that out, by what the counts before
say of each lateral's rate; but where something else told more of the rates than those counts, it expects too little of
the converted and finds harm where there is none. The raw comparison needs the counts before to be free of the choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.study.record_settings import CHOSEN_ON_RECORDS, EARLIER_RECORDS, RecordSettings

RAW, PREDICTIVE, BOTH_MUST_AGREE = "raw", "predictive", "both"
LEAST_DAYS_BEFORE = 365      # of the time before that must remain where days of the choice are left out; ours
_RULES = {
    RAW: "the raw comparison decides",
    PREDICTIVE: "the predictive comparison decides, which takes regression to the mean out",
    BOTH_MUST_AGREE: "the raw and the predictive comparison must agree",
}


@dataclass(frozen=True)
class SelectionBasis:
    """Which comparison decides, why, and which days before are left out.

    decides: RAW, PREDICTIVE or BOTH_MUST_AGREE. sentence: how the laterals were chosen and what follows.
    left_out: first and last day of the time before that only served the choice, or None.
    """

    decides: str
    sentence: str
    left_out: tuple[np.datetime64, np.datetime64] | None = None


def selection_basis(settings: RecordSettings, first_day: np.datetime64, first: np.datetime64,
                    end: np.datetime64) -> SelectionBasis:
    """Basis of the choice, by [history] chosen_by, chosen_from and chosen_to.

    first_day … first − 1: the days before; end: the first of the days after.
    """
    if settings.chosen_by not in (CHOSEN_ON_RECORDS, EARLIER_RECORDS):
        return _basis(BOTH_MUST_AGREE,
                      "The laterals were not, or not only, chosen by their records, or nothing is stated of it")
    stated = settings.chosen_from is not None or settings.chosen_to is not None
    if not stated:
        return (_basis(PREDICTIVE, "The laterals were chosen by the records before their conversion")
                if settings.chosen_by == CHOSEN_ON_RECORDS else _basis(RAW,
                                                                       "The laterals were chosen by earlier records"))
    begin, last = _window(settings, first_day, first)
    days = f"by the records of {'days' if begin is None else begin} up to {last}"
    if last < first_day:
        return _basis(RAW, f"The laterals were chosen {days}, before the records at hand begin")
    if last >= end:
        return _basis(BOTH_MUST_AGREE, f"The laterals were chosen {days}, which reach into the time after")
    if settings.chosen_by == CHOSEN_ON_RECORDS:
        if last < first and begin is not None and begin >= first_day:
            return _basis(PREDICTIVE, f"The laterals were chosen {days}, which belong to the time before")
        return _basis(BOTH_MUST_AGREE, f"The laterals were chosen {days}, which the time before holds only in part")
    return _without(begin, last, days, first_day, first)


def _window(settings: RecordSettings, first_day: np.datetime64,
            first: np.datetime64) -> tuple[np.datetime64 | None, np.datetime64]:
    """First (None: unknown, earlier than the records) and last day whose records were the basis of the choice."""
    begin, last = settings.chosen_from, settings.chosen_to
    if begin is None and settings.chosen_by == CHOSEN_ON_RECORDS:
        begin = first_day
    if last is None:
        last = (first_day if begin is not None and begin < first_day and settings.chosen_by == EARLIER_RECORDS
                else first) - np.timedelta64(1, "D")
    return begin, last


def _without(begin: np.datetime64 | None, last: np.datetime64, days: str, first_day: np.datetime64,
             first: np.datetime64) -> SelectionBasis:
    """Earlier records that reach into the time before: their days are left out where enough of it remains."""
    start, stop = max(first_day, begin or first_day), min(last, first - 1)
    remaining = int((first - first_day).astype(int)) - max(int((stop - start).astype(int)) + 1, 0)
    if remaining >= LEAST_DAYS_BEFORE:
        return SelectionBasis(RAW, f"The laterals were chosen {days}: these days are left out of the time before, and "
                              f"{_RULES[RAW]}.", (start, stop))
    if begin is not None and begin >= first_day and last < first:
        return _basis(PREDICTIVE, f"The laterals were chosen {days}, which are nearly all of the time before")
    return _basis(BOTH_MUST_AGREE,
                  f"The laterals were chosen {days}, which hold nearly all of the time before and more")


def _basis(decides: str, how: str) -> SelectionBasis:
    return SelectionBasis(decides, f"{how}: {_RULES[decides]}.")
