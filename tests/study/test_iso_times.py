"""Times by the grammar of ISO 8601: every form that it allows is read as a second program says, and nothing beside it.

The expected values come from datetime's own calendar (`date`, `fromisocalendar`, `timedelta`), not from a parser.
"""

from __future__ import annotations

import datetime as dt
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.study.iso_times import read_iso
from reliability.study.timestamps import FAR, GOOD, UNREADABLE, read_timestamps

DAYS = st.dates(dt.date(1950, 1, 1), dt.date(2099, 12, 30))


@st.composite
def dates(draw) -> tuple[str, dt.date, bool]:
    """A date by the grammar, the day that it is, and whether it is in the extended form."""
    day = draw(DAYS)
    year, week, weekday = day.isocalendar()
    ordinal = day.timetuple().tm_yday
    text, extended = draw(st.sampled_from([
        (f"{day:%Y-%m-%d}", True), (f"{day:%Y%m%d}", False), (f"{year:04d}-W{week:02d}-{weekday}", True),
        (f"{year:04d}W{week:02d}{weekday}", False), (f"{day.year:04d}-{ordinal:03d}", True),
        (f"{day.year:04d}{ordinal:03d}", False)]))
    return text, day, extended


@st.composite
def times(draw) -> tuple[str, int]:
    """A time of day by the grammar and its seconds from midnight, rounded down."""
    hour, minute, second = draw(st.integers(0, 23)), draw(st.integers(0, 59)), draw(st.integers(0, 59))
    tenths, sign, colon = draw(st.integers(0, 9)), draw(st.sampled_from(".,")), draw(st.sampled_from([":", ""]))
    at_minute, at_second = hour * 3600 + minute * 60, hour * 3600 + minute * 60 + second
    return draw(st.sampled_from([
        (f"{hour:02d}", hour * 3600), (f"{hour:02d}{colon}{minute:02d}", at_minute),
        (f"{hour:02d}{colon}{minute:02d}{colon}{second:02d}", at_second),
        (f"{hour:02d}{sign}{tenths}", hour * 3600 + tenths * 360),
        (f"{hour:02d}{colon}{minute:02d}{sign}{tenths}", at_minute + tenths * 6),
        (f"{hour:02d}{colon}{minute:02d}{colon}{second:02d}{sign}{tenths}", at_second),
        (f"24{colon}00", 86_400), (f"24{colon}00{colon}00", 86_400)]))


@st.composite
def offsets(draw) -> tuple[str, float]:
    """An offset from UTC by the grammar in seconds, NaN for none."""
    hours, minutes, negative = draw(st.integers(0, 13)), draw(st.sampled_from([0, 15, 30, 45])), draw(st.booleans())
    sign = draw(st.sampled_from("-−")) if negative else "+"
    scale = -1 if negative else 1
    return draw(st.sampled_from([
        ("", np.nan), ("Z", 0.0), (f"{sign}{hours:02d}", scale * hours * 3600.0),
        (f"{sign}{hours:02d}:{minutes:02d}", scale * (hours * 3600.0 + minutes * 60)),
        (f"{sign}{hours:02d}{minutes:02d}", scale * (hours * 3600.0 + minutes * 60))]))


@given(st.lists(st.tuples(dates(), times(), offsets(), st.sampled_from(["T", " ", "t"])), min_size=1, max_size=20))
def test_every_form_of_the_grammar_is_read(drawn):
    texts = [f"{date[0]}{mark}{time[0]}{offset[0]}" for date, time, offset, mark in drawn]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = read_iso(pd.Series(texts, dtype="str"))
    midnight = [dt.datetime.combine(date[1], dt.time()) for date, *_ in drawn]
    wanted = [m + dt.timedelta(seconds=time[1]) for m, (_, time, *_) in zip(midnight, drawn, strict=True)]
    assert found.local.astype(object).tolist() == wanted
    np.testing.assert_array_equal(found.offset_s, [offset[1] for _, _, offset, _ in drawn])
    assert not found.date_only.any()


@given(st.lists(dates(), min_size=1, max_size=20))
def test_a_date_alone_is_its_midnight(drawn):
    found = read_iso(pd.Series([text for text, *_ in drawn], dtype="str"))
    assert found.local.astype("datetime64[D]").astype(object).tolist() == [day for _, day, _ in drawn]
    assert found.date_only.all()


@given(st.lists(st.tuples(dates(), times(), offsets()), min_size=2, max_size=20))
def test_instants_stay_the_same_in_the_studys_zone(drawn):
    """Whatever the zone, less the offset that it then has, a time is the instant that was written."""
    texts = [f"{date[0]}T{time[0]}{offset[0] or 'Z'}" for date, time, offset in drawn]
    column = pd.Series(texts, dtype="str", name="t")
    (there,), problems = read_timestamps([column], "", "t.csv", np.arange(len(column)), "America/Chicago")
    (written,), _ = read_timestamps([column], "", "t.csv", np.arange(len(column)))
    assert problems == []
    for times_ in (there, written):
        assert (times_.status == GOOD).all()
    utc = [t.local - t.offset_s.astype("timedelta64[s]") for t in (there, written)]
    np.testing.assert_array_equal(*utc)
    assert set(there.offset_s) <= {-5 * 3600.0, -6 * 3600.0}


@pytest.mark.parametrize(("text", "local", "offset"), [
    ("20240325T1000Z", "2024-03-25T10:00:00", 0), ("2024-03-25T10:00+05", "2024-03-25T10:00:00", 5 * 3600),
    ("2024-03-25 10:00:00+5:30", "2024-03-25T10:00:00", 19_800),
    ("2024-03-25T10:00 -0600", "2024-03-25T10:00:00", -21_600),
    ("2024-03-25 10:00 UTC", "2024-03-25T10:00:00", 0), ("2024/3/5 9:05Z", "2024-03-05T09:05:00", 0),
    ("03/25/2024 10:00 -05:00", "2024-03-25T10:00:00", -18_000), ("25 Mar 2024 10:00 pm Z", "2024-03-25T22:00:00", 0),
    ("2024-03-25T23:59:60Z", "2024-03-26T00:00:00", 0)])
def test_forms_with_an_offset(text, local, offset):
    (found,), _ = read_timestamps([pd.Series([text], name="t")], "", "t.csv", np.arange(1))
    assert (str(found.local[0]), found.offset_s[0]) == (local, offset)


@pytest.mark.parametrize("text", [
    "2024-02-30T10:00", "2023-366", "2024-367", "2024-000", "2021-W53-1", "2024-W00-1", "2024-W10-8",
    "2024-03-25T25:00", "2024-03-25T24:01", "2024-03-25T10:60", "2024-03-25T10:00:61", "2024-03-25T10:00+15:00",
    "2024-03-25T10:00+05:75",
    "2024-03-25T930", "2024-03", "2024", "20240325T", "2024-03-25T10:00+530", "2024-03-25T10:00 EST", "20240325T10000",
    "2024-13-01", "now", "today", "1711360800", "45376"])
def test_what_does_not_exist_or_has_no_form_is_unreadable(text):
    (found,), _ = read_timestamps([pd.Series([text], name="t")], "", "t.csv", np.arange(1))
    assert found.status[0] == UNREADABLE
    assert np.isnat(found.local[0])
    assert np.isnan(found.offset_s[0])


@pytest.mark.parametrize("text", ["1900-01-01", "0000-01-01T00:00Z", "2199-W01-1", "10000-01-01"])
def test_a_far_year_is_no_time(text):
    (found,), _ = read_timestamps([pd.Series([text], name="t")], "", "t.csv", np.arange(1))
    assert found.status[0] == FAR


@given(st.lists(st.text(alphabet="0123456789-:TZW+., /−", max_size=24), max_size=20))
def test_any_text_is_a_time_or_none_without_a_warning(texts):
    column = pd.Series(texts, dtype="str", name="t")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        (found,), _ = read_timestamps([column], "month_first", "t.csv", np.arange(len(texts)), "Etc/GMT+6")
    assert (np.isnat(found.local) == (found.status != GOOD)).all()
