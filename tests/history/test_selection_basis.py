"""Which comparison decides, by what [history] says of the choice."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.selection_basis import BOTH_MUST_AGREE, PREDICTIVE, RAW, selection_basis
from reliability.study.record_settings import RecordSettings

FIRST_DAY, FIRST, END = (np.datetime64(day) for day in ("2018-01-01", "2021-01-01", "2021-06-01"))


def basis(chosen_by: str, begin: str = "", last: str = ""):
    days = [np.datetime64(day) if day else None for day in (begin, last)]
    return selection_basis(RecordSettings(chosen_by=chosen_by, chosen_from=days[0], chosen_to=days[1]),
                           FIRST_DAY, FIRST, END)


@pytest.mark.parametrize(("chosen_by", "begin", "last", "decides"), [
    ("other", "", "", BOTH_MUST_AGREE),
    ("other", "2010-01-01", "2012-12-31", BOTH_MUST_AGREE),                   # the days alone do not tell all of it
    ("records", "", "", PREDICTIVE),
    ("earlier_records", "", "", RAW),
    ("records", "2018-01-01", "2020-12-31", PREDICTIVE),
    ("records", "2019-01-01", "", PREDICTIVE),
    ("records", "2010-01-01", "2017-12-31", RAW),                  # earlier records by another name
    ("records", "2016-01-01", "2020-12-31", BOTH_MUST_AGREE),                 # more than the records at hand
    ("records", "2018-01-01", "2021-03-01", BOTH_MUST_AGREE),
    ("records", "2018-01-01", "2022-01-01", BOTH_MUST_AGREE),
    ("earlier_records", "2010-01-01", "", RAW),
    ("earlier_records", "2010-01-01", "2017-12-31", RAW),
    ("earlier_records", "2010-01-01", "2018-12-31", RAW),          # 2018 left out
    ("earlier_records", "", "2020-10-31", BOTH_MUST_AGREE),
                                                                     # hardly anything left, and more than is at hand
    ("earlier_records", "2018-01-01", "2020-10-31", PREDICTIVE),   # hardly anything left, all of it at hand
    ("earlier_records", "2010-01-01", "2022-01-01", BOTH_MUST_AGREE),
])
def test_decides(chosen_by, begin, last, decides):
    found = basis(chosen_by, begin, last)
    assert found.decides == decides
    assert "decides" in found.sentence or "must agree" in found.sentence


def test_days_of_the_choice_are_left_out():
    found = basis("earlier_records", "2016-01-01", "2018-12-31")
    assert found.left_out == (FIRST_DAY, np.datetime64("2018-12-31"))
    assert "left out" in found.sentence
    assert basis("earlier_records", "2010-01-01", "2017-12-31").left_out is None
