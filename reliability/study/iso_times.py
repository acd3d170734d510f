"""Dates and times by the grammar of ISO 8601, extended and basic, with or without an offset from UTC.

Beside the standard's forms are read: a blank for the T, slashes in a date, one digit of month, day or hour between
signs, UTC or GMT for Z, and an offset of one digit such as +5:30. Not read is 14.05 behind a blank, which may be
five past two or five hundredths of an hour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

HOUR = 3600
FARTHEST_H = 14         # offset from UTC of any zone, at most; from memory
OFFSET = r"Z|z|UTC|GMT|[+\-−]\d\d(?::?\d\d)?|[+\-−]\d(?::\d\d)?"
# what nearly every file has
_CLOCK = r"[T ](?:[01]\d|2[0-3]):[0-5]\d(?::[0-5]\d(?:\.\d{1,9})?)?"
_PLAIN = rf"\d{{4}}-\d\d-\d\d(?:{_CLOCK})?"
_PLAIN_OFFSET = rf"^(\d{{4}}-\d\d-\d\d{_CLOCK})\s*({OFFSET})$"
_DATE = r"(\d{4})(?:-(\d{1,2})-(\d{1,2})|/(\d{1,2})/(\d{1,2})|(\d\d)(\d\d)|-?W(\d\d)-?(\d)|-?(\d{3}))"
_TIME = r"(?:(\d{1,2}):(\d\d)(?::(\d\d))?|(\d\d)(?:(\d\d)(\d\d)?)?)(?:[.,](\d{1,15}))?"
_WHOLE = rf"^{_DATE}(?:(?:[Tt]| +){_TIME}\s*({OFFSET})?)?$"


@dataclass(frozen=True)
class IsoTimes:
    """A column of text as ISO 8601. matched: (n,) the grammar fits, though day or time may not exist.

    local: (n,) datetime64[s] as written, NaT where the text is none or does not exist. offset_s: (n,) seconds ahead of
    UTC, NaN where none is written. date_only: (n,) no time of day is written.
    """

    local: np.ndarray
    offset_s: np.ndarray
    matched: np.ndarray
    date_only: np.ndarray


def read_iso(text: pd.Series) -> IsoTimes:
    """Times of a column of text without surrounding blanks."""
    n = len(text)
    matched = text.str.fullmatch(_PLAIN).to_numpy(dtype=bool).copy()
    found = IsoTimes(np.full(n, np.datetime64("NaT", "s")), np.full(n, np.nan), matched, np.zeros(n, bool))
    _read_plain(text if matched.all() else text[matched], np.flatnonzero(matched), found)
    rest = np.flatnonzero(~matched)
    if rest.size:
        p = text.iloc[rest].str.extract(_PLAIN_OFFSET)
        usual = p[0].notna().to_numpy()
        matched[rest[usual]] = True
        found.offset_s[rest[usual]] = offset_seconds(p[1][usual])
        real = usual.copy()
        real[usual] = ~np.isnan(found.offset_s[rest[usual]])
        _read_plain(p[0][real], rest[real], found)
        _read_others(text.iloc[rest[~usual]], rest[~usual], found)
    return found


def _read_plain(text: pd.Series, at: np.ndarray, found: IsoTimes) -> None:
    """Fill in texts of the form `_PLAIN`, which stand at `at`."""
    found.local[at] = pd.to_datetime(text, format="ISO8601", errors="coerce").to_numpy().astype("datetime64[s]")
    found.date_only[at] = (text.str.len() == 10).to_numpy(dtype=bool)


def _read_others(text: pd.Series, at: np.ndarray, found: IsoTimes) -> None:
    """Fill in texts of every form of the grammar."""
    p = text.str.extract(_WHOLE)
    fits = p[0].notna().to_numpy()
    at, p = at[fits], p[fits]
    if not at.size:
        return
    found.matched[at] = True
    day, seconds, found.offset_s[at] = _day(p), _seconds(p), offset_seconds(p[17])
    clock = (p[13].notna() & p[14].isna() & p[16].str.len().eq(2) & text[fits].str.contains(" ")).to_numpy(dtype=bool)
    exists = ~clock & ~np.isnat(day) & ~np.isnan(seconds) & (p[17].isna().to_numpy() | ~np.isnan(found.offset_s[at]))
    found.local[at[exists]] = day[exists].astype("datetime64[s]") + seconds[exists].astype("timedelta64[s]")
    found.date_only[at] = (p[10].isna() & p[13].isna()).to_numpy()


def offset_seconds(text: pd.Series) -> np.ndarray:
    """Seconds ahead of UTC of offsets as `OFFSET` reads them, (n,), NaN where there is none or it cannot be."""
    codes, distinct = pd.factorize(text)
    return np.append(_distinct_seconds(pd.Series(distinct, dtype="str")), np.nan)[codes]


def _distinct_seconds(text: pd.Series) -> np.ndarray:
    p = text.str.extract(r"^([+\-−])(\d{1,2}):?(\d\d)?$")
    hours, minutes = _number(p[1], 0.0), _number(p[2], 0.0)
    seconds = np.where(p[0].eq("+").to_numpy(dtype=bool, na_value=False), 1.0, -1.0) * (hours * HOUR + minutes * 60.0)
    seconds[(hours * 60 + minutes > FARTHEST_H * 60) | (minutes > 59)] = np.nan
    seconds[text.str.upper().isin(("Z", "UTC", "GMT")).to_numpy(dtype=bool)] = 0.0
    return seconds


def _number(part: pd.Series, blank: float = np.nan) -> np.ndarray:
    return np.asarray(pd.to_numeric(part).fillna(blank).to_numpy(dtype=float))


def _first(p: pd.DataFrame, *groups: int) -> np.ndarray:
    """The number in the first of these groups that is there, NaN where none is."""
    values = _number(p[groups[0]])
    for group in groups[1:]:
        values = np.where(np.isnan(values), _number(p[group]), values)
    return values


def _day(p: pd.DataFrame) -> np.ndarray:
    """datetime64[D] of the date, NaT where it does not exist."""
    year, month, day = _number(p[0]), _first(p, 1, 3, 5), _first(p, 2, 4, 6)
    week, weekday, ordinal = _number(p[7]), _number(p[8]), _number(p[9])
    begin = (year - 1970).astype(int).astype("datetime64[Y]")
    result = np.full(len(p), np.datetime64("NaT", "D"))
    civil = (month >= 1) & (month <= 12) & (day >= 1)
    start = begin.astype("datetime64[M]") + np.where(civil, month - 1, 0).astype(int)
    date = start.astype("datetime64[D]") + np.where(civil, day - 1, 0).astype(int)
    civil &= date.astype("datetime64[M]") == start
    result[civil] = date[civil]
    first = begin.astype("datetime64[D]")
    in_year = first + np.where(np.isnan(ordinal), 1, ordinal).astype(int) - 1
    known = (ordinal >= 1) & (in_year.astype("datetime64[Y]") == begin)
    result[known] = in_year[known]
    # week 1 holds the first Thursday; day 0, 1 January 1970, was one
    monday = first - (first.astype(int) + 3) % 7 + np.where((first.astype(int) + 3) % 7 > 3, 7, 0)
    in_week = monday + np.where(np.isnan(week), 0, (week - 1) * 7 + weekday - 1).astype(int)
    thursday = in_week - (in_week.astype(int) + 3) % 7 + 3
    known = (week >= 1) & (weekday >= 1) & (weekday <= 7) & (thursday.astype("datetime64[Y]") == begin)
    result[known] = in_week[known]
    return result


def _seconds(p: pd.DataFrame) -> np.ndarray:
    """Whole seconds from midnight, NaN where the time of day does not exist; 24:00 is the end of the day."""
    hour, minute, second = _first(p, 10, 13), _first(p, 11, 14), _first(p, 12, 15)
    part = _number("0." + p[16], 0.0)
    last = np.where(~np.isnan(second), 1.0, np.where(~np.isnan(minute), 60.0, float(HOUR)))
    hour, minute, second = (np.nan_to_num(x) for x in (hour, minute, second))
    total = hour * HOUR + minute * 60 + second + np.floor(part * last + 1e-6)
    exists = (hour <= 24) & (minute <= 59) & (second <= 60) & ((hour < 24) | (total == 24 * HOUR) & (part == 0.0))
    return np.where(exists, total, np.nan)
