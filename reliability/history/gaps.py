"""Times without a record that chance does not make: rows years away from all others, and stretches that are missing.

Days with records follow each other by chance, a day in `usual` on average. Of n such steps one is longer than
usual · (ln n + ln 1000) with a chance of about one in a thousand (the largest of n exponential times). Seasons differ,
so that less than four months is never called long. Both bounds are our choice.
"""

from __future__ import annotations

import numpy as np

from reliability.history.findings import Finding
from reliability.study.record_settings import RecordSettings

CHANCE = 1e-3
LEAST_GAP_DAYS, YEAR_DAYS = 120.0, 365.0
ENOUGH, FEW_DAYS = 20, 0.01      # days with records, of which so few may be years away by a wrong year; our choice


def far_from_others(day: np.ndarray, settings: RecordSettings) -> np.ndarray:
    """Rows (n,) bool that a year and more without a record, longer than chance makes it, parts from all but a few.

    day: (n,) datetime64[D]. Only where the study does not state from when or until when the records are.
    """
    days = np.unique(day)
    if len(days) < ENOUGH:
        return np.zeros(len(day), bool)
    long = np.flatnonzero(_steps(days) > max(_longest(days), YEAR_DAYS))
    few = max(1, int(FEW_DAYS * len(days)))
    early = long[long + 1 <= few] if settings.records_from is None else long[:0]
    late = long[len(days) - 1 - long <= few] if settings.records_to is None else long[:0]
    first = days[early[-1] + 1] if early.size else days[0]
    last = days[late[0]] if late.size else days[-1]
    return np.asarray((day < first) | (day > last))


def long_gaps(day: np.ndarray, row: np.ndarray, first: np.datetime64, last: np.datetime64) -> tuple[Finding, ...]:
    """The finding on stretches of the records' period, from `first` to `last`, without a record; none without any.

    day: (n,) datetime64[D] of each record. row: (n,) its spreadsheet number.
    """
    days = np.unique(day)
    if len(days) < ENOUGH:
        return ()
    ends = np.unique(np.concatenate([days, [first - 1, last + 1]]).astype("datetime64[D]"))
    long = np.flatnonzero(_steps(ends) > _longest(days))
    if not long.size:
        return ()
    beside = [ends[k + 1] if ends[k + 1] <= days[-1] else days[-1] for k in long]
    rows = [int(row[day == one].min()) for one in beside]
    return (Finding("long_gap", np.unique(rows), tuple(f"{ends[k] + 1} to {ends[k + 1] - 1}" for k in long)),)


def _steps(days: np.ndarray) -> np.ndarray:
    return np.diff(days).astype(float)


def _longest(days: np.ndarray) -> float:
    """The longest step between days with records that chance makes."""
    usual = float((days[-1] - days[0]).astype(int) + 1) / len(days)
    return max(LEAST_GAP_DAYS, usual * float(np.log(len(days) / CHANCE)))
