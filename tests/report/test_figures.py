"""Rounding, units and grammar of numbers, and their places in summary.json."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from reliability.formats import DASH, noun_for, shown
from reliability.report.figures import Figure, Name, plain, pointer, resolve, say


@pytest.mark.parametrize(("value", "kind", "text"), [
    (1234567.4, "money", "1\u202f234\u202f567"), (-1234.5, "money", "−1\u202f234"),
    (0.0, "money", "0"), (0.5, "index", "0.500"),
    (0.00042, "index", "0.00042"), (-0.0000001234, "index", "−1.2e-07"), (12.34, "minutes", "12.3"),
    (0.1234, "share", "12.3 %"), (0.0, "share", "0.0 %"), (0.00001, "share", "0.0010 %"),
    (0.9998877, "asai", "0.999888"),
    (2116.6667, "any", "2\u202f117"), (0.17167, "any", "0.1717"), (3.0, "any", "3"), (0.065, "any", "0.065"),
    (5e9, "any", "5\u202f000\u202f000\u202f000"), (7.0, "count", "7"), (0.3, "count", "0.30"), (2.5, "years", "2.5"),
    (0.0056993, "share_of_three_digits", "0.570 %"), (0.5, "share_of_three_digits", "50.0 %"),
    (0.0, "share_of_three_digits", "0 %"), (0.023099, "three_digits", "0.0231"),
    (1234.5, "three_digits", "1\u202f230"),
])
def test_numbers_are_rounded_by_their_kind_and_small_is_not_nothing(value, kind, text):
    assert shown(value, kind) == text


@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf, pd.NA, pd.NaT])
def test_what_does_not_exist_is_a_dash(value):
    assert shown(value, "index") == DASH
    assert shown(value, "money", signed=True) == DASH


def test_signs():
    assert [shown(v, "index", signed=True) for v in (1.0, -1.0, 0.0)] == ["+1.000", "−1.000", "0.000"]


def test_singular_and_plural():
    assert [noun_for(n, "lateral") for n in (0, 1, 2)] == ["laterals", "lateral", "laterals"]
    assert noun_for(1, "day is", "days are") == "day is"


def test_a_sentence_keeps_figures_and_names_apart():
    sentence = say("{s} costs {c} a year", s=Name("{odd} name"), c=Figure(3.0, "count", "/x"))
    assert plain(sentence) == "“{odd} name” costs 3 a year"
    assert sentence[2] == Figure(3.0, "count", "/x")


@pytest.mark.parametrize("key", ["plain", "with/stroke", "til~de", "~1", "", "0", "dotted.name", "ü ß"])
def test_any_name_can_be_pointed_to(key):
    assert resolve({"feeders": {key: {"saifi": [5.0]}}}, pointer("feeders", key, "saifi", 0)) == 5.0
    assert resolve({"feeders": {key: {}}}, pointer("feeders", key, "saifi", 0)) is None


@pytest.mark.parametrize(("value", "text"), [
    (12_345_678.9, "12\u202f345\u202f679"), (2.5e9 + 0.3, "2\u202f500\u202f000\u202f000"),
    (1e7, "10\u202f000\u202f000")])
def test_large_numbers_that_are_not_whole_are_shown_whole(value, text):
    assert shown(value, "any") == text
