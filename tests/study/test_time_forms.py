"""Dates and times of other forms than ISO 8601: what has one reading is read, what has two or none is refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.study.time_forms import not_read, short_years
from reliability.study.timestamps import GOOD, UNREADABLE, read_timestamps


def read(text: str, century: int | None = None):
    (times,), problems = read_timestamps([pd.Series([text], name="started")], "", "f.csv", np.array([2]),
                                         century=century)
    return times, problems


@pytest.mark.parametrize("text", [
    "3-Apr-2024 10:05:07", "2024/04/03 10:05:07", "Apr 3, 2024 10:05:07 AM", "April 3rd, 2024 10:05:07 a.m.",
    "3rd April 2024 10:05:07", "Wed, 3 Apr 2024 10:05:07", "Wednesday, April 3, 2024 10:05:07 AM",
    "Wed Apr 3 10:05:07 2024", "20240403100507", "20240403 100507", "03APR2024:10:05:07", "03apr2024 10:05:07.5",
    "10:05:07 3-Apr-2024", "10:05:07 AM 2024-04-03", "2024-04-03-10.05.07.000000", "2024-04-03 10.05.07",
    "3-Apr-2024 at 10:05:07", "2024/04/03 - 10:05:07", "3-Apr-2024 10:05:07 hrs", "2024-Apr-03 10:05:07"])
def test_a_form_with_one_reading_is_read(text):
    times, problems = read(text)
    assert not problems
    assert str(times.local[0]) == "2024-04-03T10:05:07"


@pytest.mark.parametrize(("text", "local"), [
    ("4/13/2024 12:05 AM", "2024-04-13T00:05:00"), ("4/13/2024 0:05 AM", "2024-04-13T00:05:00"),
    ("12:05 PM 13.4.2024", "2024-04-13T12:05:00"), ("202404131205", "2024-04-13T12:05:00")])
def test_halves_of_the_day_and_digits_alone(text, local):
    assert str(read(text)[0].local[0]) == local


@pytest.mark.parametrize("text", ["10:05 3/4/2024", "3/4/2024 at 10:05", "3/4/2024 10:05 a.m."])
def test_the_order_of_day_and_month_is_never_guessed(text):
    assert "can be read day first or month first" in str(read(text)[1][0])


@pytest.mark.parametrize(("text", "why"), [
    ("03/04/24 10:05", "its year has two digits"), ("3-Apr-24 10:05", "its year has two digits"),
    ("03APR24:10:05:07", "its year has two digits"), ("24/04/03", "its year has two digits"),
    ("45385", "a spreadsheet's number of a day"), ("1712138700", "seconds counted from a day"),
    ("10:05", "a time of day without its date"), ("4/13/2024 10:05:07 AM EST", "a time zone by letters"),
    ("2024-02-30 10:05", "no such form, or no such day or time"), ("3-Apr-2024 0:05 PM", "no such"),
    ("soon", "no such")])
def test_what_is_not_read_says_why(text, why):
    assert read(text)[0].status[0] == UNREADABLE
    assert why in not_read(text)


@pytest.mark.parametrize(("text", "century", "local"), [
    ("3-Apr-24 10:05", 2000, "2024-04-03T10:05:00"), ("03APR24:10:05:07", 2000, "2024-04-03T10:05:07"),
    ("4/13/98", 1900, "1998-04-13T00:00:00"), ("Wed, Apr 3, 24 10:05 PM", 2000, "2024-04-03T22:05:00")])
def test_years_of_two_digits_are_read_in_the_century_that_is_stated(text, century, local):
    times, problems = read(text, century)
    assert (problems, times.status[0], str(times.local[0])) == ([], GOOD, local)
    assert read("3/4/24", century)[1]       # the order is asked for all the same
    assert short_years(pd.Series([text, "2024-04-03 10:05"])).tolist() == [True, False]


@pytest.mark.parametrize("text", ["2024-04-03 14.05", "20240403 14,05", "03-Apr-2024 14.05"])
def test_hours_and_minutes_with_a_point_are_not_read_as_a_part_of_an_hour(text):
    assert read(text)[0].status[0] == UNREADABLE
    assert not_read(text) == "its time may be hours and minutes or a decimal part of an hour"


@pytest.mark.parametrize("text", ["03-Apr-2024 1405", "3 Apr 2024 1405", "13.04.2024 1405", "04/13/2024 1405"])
def test_four_digits_behind_a_date_are_hours_and_minutes(text):
    assert str(read(text)[0].local[0]).endswith("T14:05:00")
