"""Dates and times of the outage records, read only where they have one reading.

A year-first date has one reading. A date such as 03/04/2024 has two; the order is taken
from the key history.date_order, or from a date of the same file that has only one reading.
A time with an offset from UTC is converted to the study's time zone, where that is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import pandas as pd

from reliability.schema.nearest import Names
from reliability.schema.problems import Problem
from reliability.study.iso_times import HOUR, OFFSET, offset_seconds, read_iso
from reliability.study.time_forms import same_forms

DAY_FIRST, MONTH_FIRST = "day_first", "month_first"
GOOD, BLANK_TIME, UNREADABLE, FAR = 0, 1, 2, 3
ZONE_REMEDY = 'set time_zone in [history] of study.toml, such as "America/Chicago"'
# Times that half of a day cannot hold by chance, and hours of it that are no shift of a crew; our choice.
MANY_TIMES, MANY_HOURS = 30, 9
FIRST_YEAR, LAST_YEAR = 1950, 2099      # our assumption: outside, a placeholder or an error

_OFFSET = rf"^(.*:\d\d(?:[.,]\d+)?(?:\s*[AaPp][Mm])?)\s*({OFFSET})$"     # behind a time of another form than ISO 8601
_LOOSE = (r"^(\d{1,4}|[A-Za-z]{3,9})[ /.\-]+(\d{1,2}|[A-Za-z]{3,9})[ /.,\-]+(\d{1,4})"
          r"(?:[T ,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*([AaPp][Mm])?)?$")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NAMES = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
          "november", "december")
_MONTH_OF = {name: i % 12 + 1 for i, name in enumerate(_MONTHS + _NAMES)} | {"sept": 9}


@dataclass(frozen=True)
class Timestamps:
    """A column of times. local: (n,) datetime64[s], NaT where status is not GOOD.

    offset_s: (n,) seconds that `local` is ahead of UTC where the text states an offset, else NaN. status: (n,) GOOD,
    BLANK_TIME, UNREADABLE or FAR. date_only: (n,) no time of day was given. year_first: (n,) the year is written first.
    """

    local: np.ndarray
    offset_s: np.ndarray
    status: np.ndarray
    date_only: np.ndarray
    year_first: np.ndarray


@dataclass(frozen=True)
class _Loose:
    """The parts of dates that are not ISO 8601. Arrays (m,); `at` are positions in the column."""

    at: np.ndarray
    day_month: np.ndarray    # (m, 2) the two numbers in writing order; day first where the order is clear
    year: np.ndarray
    open: np.ndarray         # both numbers are written, so the order matters
    seconds: np.ndarray      # of the day, −1 where the time is impossible
    readable: np.ndarray
    date_only: np.ndarray    # no time of day
    year_first: np.ndarray


@dataclass(frozen=True)
class _Parts:
    """A column of times before the date order is known. Arrays (n,).

    local: datetime64[s] where ISO 8601 reads it, else NaT; loose: the other dates. offset_s: seconds ahead of UTC,
    NaN without. beyond: a year of five digits or more. date_only: no time of day.
    """

    local: np.ndarray
    loose: _Loose
    offset_s: np.ndarray
    blank: np.ndarray
    beyond: np.ndarray
    date_only: np.ndarray


def is_zone(name: str) -> bool:
    """Whether a name is one of the IANA time zone database."""
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError):
        return False
    return True


def zone_meant(name: str) -> str:
    """What to write for a name that is no time zone."""
    return Names(sorted(available_timezones())).suggest(name, 'write one like "America/Chicago"')


def clean(column: pd.Series) -> pd.Series:
    """Text without surrounding blanks, "" where missing."""
    return column.astype("str").fillna("").str.strip().reset_index(drop=True)


def read_timestamps(columns: list[pd.Series], choice: str, file: str, row: np.ndarray,
                    zone: str = "", century: int | None = None) -> tuple[list[Timestamps], list[Problem]]:
    """Times of several columns of one file, and a problem where the date order or the time zone is not known.

    columns: each (n,) text. choice: "" (take it from the file), "day_first" or "month_first". row: (n,) spreadsheet row
    numbers. zone: IANA name of the local time, to which times with an offset from UTC are converted; "" where it is not
    known: then they stay as written, which is a problem where others have no offset. century: of years of two digits,
    such as 2000; without it these cannot be read.
    """
    parts = [_parts(clean(c), century) for c in columns]
    order, problems = (choice, []) if choice else _date_order([p.loose for p in parts], columns, file, row)
    times = [_timestamps(p, order) for p in parts]
    if zone:
        return [_in_zone(t, zone) for t in times], problems
    return times, problems + _offsets_mixed(times, columns, file, row)


def _in_zone(times: Timestamps, zone: str) -> Timestamps:
    """Times with an offset in the local time of a zone."""
    at = np.flatnonzero(~np.isnan(times.offset_s) & ~np.isnat(times.local))
    if not at.size:
        return times
    utc = times.local[at] - times.offset_s[at].astype("timedelta64[s]")
    local, offset_s = times.local.copy(), times.offset_s.copy()
    there = pd.DatetimeIndex(utc).tz_localize("UTC").tz_convert(zone).tz_localize(None)
    local[at] = there.to_numpy().astype("datetime64[s]")
    offset_s[at] = (local[at] - utc).astype(float)
    return replace(times, local=local, offset_s=offset_s)


def _offsets_mixed(times: list[Timestamps], columns: list[pd.Series], file: str, row: np.ndarray) -> list[Problem]:
    """The problem that some times state an offset from UTC and others none, so that they cannot be compared."""
    stated = [~np.isnan(t.offset_s) & (t.status == GOOD) for t in times]
    bare = [np.isnan(t.offset_s) & (t.status == GOOD) & ~t.date_only for t in times]
    some, none = (sum(int(where.sum()) for where in found) for found in (stated, bare))
    if not some or not none:
        return []
    at, column = min((int(np.flatnonzero(where)[0]), k) for k, where in enumerate(stated) if where.any())
    return [Problem(file, f"an offset from UTC, which not all times state ({some} do, {none} do not)",
                    f"{ZONE_REMEDY}, to which they are converted", int(row[at]), str(columns[column].name),
                    str(columns[column].iloc[at]))]


def rarer_form(times: list[Timestamps]) -> np.ndarray:
    """Rows (n,) whose dates are of the rarer form, where some of a file begin with the year and others do not."""
    good = [t.status == GOOD for t in times]
    first = [t.year_first & g for t, g in zip(times, good, strict=True)]
    other = [~t.year_first & g for t, g in zip(times, good, strict=True)]
    counts = [sum(int(where.sum()) for where in found) for found in (first, other)]
    if not min(counts):
        return np.zeros(len(times[0].status), bool)
    return np.logical_or.reduce(first if counts[0] < counts[1] else other)


def half_of_day(times: list[Timestamps]) -> np.ndarray:
    """Rows (n,) with a time of day, where a file has many and all lie from 1:00 to 12:59: a clock of twelve hours whose
    AM and PM are lost."""
    timed = [(t.status == GOOD) & ~t.date_only for t in times]
    hours = np.concatenate([t.local[at].astype("datetime64[h]").astype(int) % 24
                            for t, at in zip(times, timed, strict=True)])
    if len(hours) < MANY_TIMES or hours.min() < 1 or hours.max() > 12 or len(np.unique(hours)) < MANY_HOURS:
        return np.zeros(len(times[0].status), bool)
    return np.logical_or.reduce(timed)


def _parts(text: pd.Series, century: int | None) -> _Parts:
    iso = read_iso(text)
    offset_s = iso.offset_s.copy()
    blank = (text == "").to_numpy(dtype=bool)
    at = np.flatnonzero(~iso.matched & ~blank)
    if at.size:
        p = text.iloc[at].str.extract(_OFFSET)
        found = p[0].notna().to_numpy()
        offset_s[at[found]] = offset_seconds(p[1][found])
        text = text.copy()
        text.iloc[at[found]] = np.where(np.isnan(offset_s[at[found]]), "?", p[0][found].to_numpy(object))
        other = at if century is not None else at[~text.iloc[at].str.match(_LOOSE).to_numpy(dtype=bool)]
        text.iloc[other] = same_forms(text.iloc[other], century).to_numpy(object)
    loose = _read_loose(text, at)
    beyond = np.zeros(len(text), bool)
    unread = loose.at[~loose.readable]
    if unread.size:
        beyond[unread] = text.iloc[unread].str.contains(r"^\d{5,}[-/.]\d").to_numpy(dtype=bool)
    return _Parts(iso.local, loose, offset_s, blank, beyond, iso.date_only)


def _read_loose(text: pd.Series, at: np.ndarray) -> _Loose:
    if not at.size:     # the usual case, and twelve passes over nothing take 6 ms
        whole, flags = np.zeros(0, int), np.zeros(0, bool)
        return _Loose(at, np.zeros((0, 2), int), whole, flags, whole, flags, flags, flags)
    p = text.iloc[at].str.extract(_LOOSE)
    m = len(at)
    number = np.full((m, 3), -1)
    named = np.zeros((m, 3), bool)
    for i in range(3):
        token = p[i].fillna("")
        number[:, i] = pd.to_numeric(token, errors="coerce").fillna(-1).astype(int)
        months = token.str.lower().map(_MONTH_OF).fillna(0).to_numpy(dtype=int)
        named[:, i] = months > 0
        number[:, i] = np.where(named[:, i], months, number[:, i])
    long0, long2 = ((p[i].fillna("").str.len() == 4).to_numpy() & ~named[:, i] for i in (0, 2))
    first = long0 & ~long2 & ~named[:, 0]       # year, month, day
    last = long2 & ~long0
    year = np.where(first, number[:, 0], number[:, 2])
    day = np.where(first, number[:, 2], np.where(named[:, 0], number[:, 1], number[:, 0]))
    month = np.where(first, number[:, 1], np.where(named[:, 0], number[:, 0], number[:, 1]))
    seconds, valid = _seconds(p)
    readable = valid & (first | last) & (number >= 0).all(axis=1) & ~(named[:, 0] & named[:, 1]) & ~named[:, 2]
    return _Loose(at, np.column_stack([day, month]), year, readable & last & ~named.any(axis=1), seconds, readable,
                  p[3].isna().to_numpy(), first)


def _seconds(p: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Seconds of the day from the hour, minute, second and am/pm parts, and whether they exist."""
    hour, minute, second = (pd.to_numeric(p[i], errors="coerce").fillna(0).to_numpy(dtype=int) for i in (3, 4, 5))
    half = p[6].fillna("").str.lower().to_numpy(dtype=object)
    twelve_hours = half != ""
    in_half = (hour <= 12) & ((hour >= 1) | (half == "am"))       # 0:05 AM is the first hour as well
    valid = np.where(twelve_hours, in_half, hour < 24) & (minute < 60) & (second < 60)
    hour = np.where(twelve_hours, hour % 12 + 12 * (half == "pm"), hour)
    return hour * HOUR + minute * 60 + second, valid


def _date_order(loose: list[_Loose], columns: list[pd.Series], file: str, row: np.ndarray) -> tuple[str, list[Problem]]:
    """Date order that the file itself shows, or a problem that asks for the key."""
    proven = set()
    ambiguous, first = 0, None
    for part, column in zip(loose, columns, strict=True):
        a, b = part.day_month[part.open].T if part.open.any() else (np.array([]), np.array([]))
        proven |= {DAY_FIRST} if (a > 12).any() else set()
        proven |= {MONTH_FIRST} if (b > 12).any() else set()
        both = part.at[part.open][(a != b) & (a <= 12) & (b <= 12)]
        ambiguous += len(both)
        if len(both) and (first is None or both[0] < first[0]):
            first = (both[0], column)
    if len(proven) == 1:
        return proven.pop(), []
    if first is None:
        return "", []        # every date has one reading
    at, column = first
    why = "other dates show both orders" if proven else "no date of the file shows which"
    return "", [Problem(
        file, f"the date can be read day first or month first, and {why} (ambiguous dates: {ambiguous})",
        f'set date_order = "{DAY_FIRST}" or "{MONTH_FIRST}" in [history] of study.toml',
        int(row[at]), str(column.name), str(column.iloc[at]))]


def _timestamps(parts: _Parts, order: str) -> Timestamps:
    """Times with the loose dates read in `order`, "" where each has one reading."""
    loose = parts.loose
    day, month = loose.day_month[:, 0].copy(), loose.day_month[:, 1].copy()
    # without an order, each of these dates has one reading: the one in which the month exists
    swap = loose.open & ((order == MONTH_FIRST) if order else (month > 12))
    day[swap], month[swap] = month[swap], day[swap]
    ok = loose.readable & (month >= 1) & (month <= 12) & (day >= 1)
    months = (np.where(ok, loose.year, 1970) - 1970) * 12 + np.where(ok, month, 1) - 1
    start = months.astype("datetime64[M]")
    date = start.astype("datetime64[D]") + (np.where(ok, day, 1) - 1)
    ok &= date.astype("datetime64[M]") == start
    local = parts.local.copy()
    local[loose.at[ok]] = date[ok].astype("datetime64[s]") + loose.seconds[ok]
    date_only = parts.date_only.copy()
    date_only[loose.at] = loose.date_only
    status = np.where(np.isnat(local), UNREADABLE, GOOD).astype(np.int8)
    year = local.astype("datetime64[Y]").astype(int) + 1970
    status[~np.isnat(local) & ((year < FIRST_YEAR) | (year > LAST_YEAR))] = FAR
    status[parts.beyond] = FAR
    status[parts.blank] = BLANK_TIME
    local[status != GOOD] = np.datetime64("NaT", "s")
    year_first = np.ones(len(local), bool)
    year_first[loose.at] = loose.year_first
    offset_s = np.where(status == GOOD, parts.offset_s, np.nan)
    return Timestamps(local, offset_s, status, date_only & (status == GOOD), year_first)


def elapsed_seconds(started: Timestamps, restored: Timestamps,
                    zone: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Seconds from start to restoration, NaN where unknown, where the clocks changed, and where one of the two is a
    time that the clocks skipped: then the seconds are those between the times as written.

    zone: IANA name of the local time, "" where it is not known. Negative where the
    restoration precedes the start under every reading.
    """
    wall = (restored.local - started.local).astype(float)
    wall[np.isnat(started.local) | np.isnat(restored.local)] = np.nan
    skipped = np.zeros(len(wall), bool)
    if zone:
        skipped = _skipped(started.local, zone) | _skipped(restored.local, zone)
        seconds = np.where(skipped, wall, _elapsed_in_zone(started.local, restored.local, zone))
        changed = seconds != wall
        changed &= ~np.isnan(wall)
        changed |= _repeated(started.local, zone) | _repeated(restored.local, zone)
        changed &= ~np.isnan(wall)
    else:
        changed = (wall < 0) & (wall >= -HOUR) & _fall_back_night(started.local)
        seconds = np.where(changed, wall + HOUR, wall)
    stated = ~np.isnan(started.offset_s) & ~np.isnan(restored.offset_s) & ~np.isnan(wall)
    seconds = np.where(stated, wall - (restored.offset_s - started.offset_s), seconds)
    return seconds, changed & ~stated & ~skipped, skipped


def after(started: Timestamps, seconds: np.ndarray, zone: str) -> Timestamps:
    """Times so many seconds (n,) after others, NaT where one is unknown, with their offsets from UTC where those are
    known.

    zone: IANA name of the local time; "" where it is not known: the clocks are then taken not to change.
    """
    known = ~np.isnat(started.local) & ~np.isnan(seconds)
    later = np.round(np.where(known, seconds, 0.0)).astype("timedelta64[s]")
    local, offset_s = started.local + later, started.offset_s.copy()
    if zone:
        stated = np.nan_to_num(started.offset_s).astype("timedelta64[s]")
        utc = np.where(np.isnan(started.offset_s), _utc(started.local, zone, True), started.local - stated) + later
        there = pd.DatetimeIndex(utc).tz_localize("UTC").tz_convert(zone).tz_localize(None)
        local = there.to_numpy().astype("datetime64[s]")
        offset_s = (local - utc).astype(float)
    local[~known], offset_s[~known] = np.datetime64("NaT", "s"), np.nan
    no = np.zeros(len(local), bool)
    return Timestamps(local, offset_s, np.where(known, GOOD, BLANK_TIME), no, ~no)


def that_need_offsets(times: Sequence[Timestamps], zone: str) -> np.ndarray:
    """Rows (n,) with a time that the clocks of a zone show twice and an offset from UTC that says which is meant."""
    twice = np.any([_repeated(t.local, zone) & ~np.isnan(t.offset_s) for t in times], axis=0)
    return np.asarray(twice)


def with_offsets(times: Timestamps, zone: str) -> Timestamps:
    """Times with the offset from UTC that each has in a zone, the first of two where the clocks show it twice and the
    text does not say which."""
    offset_s = (times.local - _utc(times.local, zone, True)).astype(float)
    offset_s[np.isnat(times.local)] = np.nan
    return replace(times, offset_s=np.where(np.isnan(times.offset_s), offset_s, times.offset_s))


def _fall_back_night(local: np.ndarray) -> np.ndarray:
    """Before four on a Sunday morning of the months in which clocks are put back somewhere."""
    day = local.astype("datetime64[D]")
    number = np.where(np.isnat(local), 0, day.astype(int))
    sunday = (number + 3) % 7 == 6                  # day 0, 1 January 1970, was a Thursday
    month = local.astype("datetime64[M]").astype(int) % 12 + 1
    hour = (local - day).astype(int) // HOUR
    return ~np.isnat(local) & sunday & np.isin(month, (3, 4, 5, 9, 10, 11)) & (hour < 4)


def _utc(local: np.ndarray, zone: str, first: bool) -> np.ndarray:
    times = pd.DatetimeIndex(local).tz_localize(zone, ambiguous=np.full(len(local), first), nonexistent="shift_forward")
    return times.tz_convert(None).to_numpy().astype("datetime64[s]")


def _elapsed_in_zone(started: np.ndarray, restored: np.ndarray, zone: str) -> np.ndarray:
    start, end = _utc(started, zone, True), _utc(restored, zone, True)
    end = np.where(end < start, _utc(restored, zone, False), end)
    seconds = (end - start).astype(float)
    return np.where(np.isnat(started) | np.isnat(restored), np.nan, seconds)


def _skipped(local: np.ndarray, zone: str) -> np.ndarray:
    """Times that the clocks never showed, as they were put forward."""
    there = pd.DatetimeIndex(local).tz_localize(zone, ambiguous=np.full(len(local), True), nonexistent="NaT")
    return ~np.isnat(local) & np.asarray(there.isna())


def _repeated(local: np.ndarray, zone: str) -> np.ndarray:
    """Times that the clocks showed twice."""
    return ~np.isnat(local) & (_utc(local, zone, True) != _utc(local, zone, False))
