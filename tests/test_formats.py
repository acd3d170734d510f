"""Digits, thousands, money, percentages and counts as every room writes them."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from reliability.formats import (
    DASH,
    amount_of,
    compact,
    count,
    exact,
    missing,
    money,
    number,
    probability,
    shown,
    spoken,
    tick,
)


@pytest.mark.parametrize(("value", "text"), [
    (0.0, "0"), (842.4, "842"), (7.96, "8"), (0.3, "0"), (999.6, "1\u202f000"), (74_083.0, "74\u202f100"),
    (999_600.0, "1.00 M"), (-1_624_079.9, "−1.62 M"), (2.5e9, "2.50 bn")])
def test_money_has_three_digits_and_no_less_than_a_unit(value, text):
    assert money(value) == text
    assert money(value, "USD") == f"{text} USD"
    assert spoken(value, "money") == text


def test_a_sign_is_written_where_it_is_asked_for():
    assert money(5e4, "USD", signed=True) == "+50\u202f000 USD"
    assert [money(v, signed=True) for v in (0.0, 0.3, -0.3)] == ["0", "0", "0"]
    assert [number(v, signed=True) for v in (2.0, 0.0, -2.0)] == ["+2.00", "0", "−2.00"]


@pytest.mark.parametrize(("value", "digits", "text"), [
    (123_456.0, 3, "123\u202f000"), (9.996, 3, "10.0"), (0.0536, 2, "0.054"), (1.5e-9, 2, "1.5e-09"),
    (12.0, 4, "12.00")])
def test_digits_count_from_the_first_that_is_not_zero(value, digits, text):
    assert number(value, digits) == text


@pytest.mark.parametrize(("value", "kind", "text"), [
    (142.34, "minutes", "142"), (1.0, "index", "1.00"), (1234.0, "count", "1\u202f234"), (2024.0, "whole", "2024"),
    (0.1234, "share", "12.3 %"), (1.0, "share", "100 %"), (0.0, "share", "0 %"),
    (0.9999, "share", "100.0 %"), (0.99988, "asai", "0.999880"), ("text", "text", "text")])
def test_text_has_three_digits_unless_the_kind_is_exact(value, kind, text):
    assert spoken(value, kind) == text


def test_what_is_stated_keeps_its_digits():
    assert [exact(v) for v in (1e6, 12_345.0, 0.25, 1_234_567.5)] == [
        "1\u202f000\u202f000", "12\u202f345", "0.25", "1\u202f234\u202f567.5"]


@pytest.mark.parametrize(("text", "value"), [
    ("40000", 40_000.0), ("40\u202f000", 40_000.0), (" 1 234.5 ", 1234.5), ("1,234,567.25", 1_234_567.25), (".5", 0.5)])
def test_an_amount_is_read_as_it_is_written(text, value):
    assert amount_of(text) == value
    assert amount_of(exact(value)) == value


@pytest.mark.parametrize("text", ["", "-5", "1,5", "12,34", "1e9", "nan", "40 000 USD", "1.2.3", "60.000", "1.234"])
def test_what_may_be_read_in_two_ways_is_no_amount(text):
    with pytest.raises(ValueError, match="no amount"):
        amount_of(text)


def test_three_decimals_of_anything_but_money_are_decimals():
    assert amount_of("1.234", of_money=False) == 1.234


@pytest.mark.parametrize(("value", "text"), [
    (1.0, "over 99 %"), (0.9955, "over 99 %"), (0.99, "99.0 %"), (0.955, "95.5 %"), (0.01, "1.0 %"),
    (0.004, "under 1 %"), (0.0, "under 1 %"), (None, "–")])
def test_no_number_of_draws_makes_a_thing_certain(value, text):
    assert probability(value) == spoken(value, "probability") == shown(value, "probability") == text


def test_counts_carry_their_noun():
    assert [count(n, "lateral") for n in (0, 1, 12_500)] == ["0 laterals", "1 lateral", "12\u202f500 laterals"]
    assert count(2, "breaker or recloser", "breakers or reclosers") == "2 breakers or reclosers"


@pytest.mark.parametrize("value", [None, math.nan, pd.NA, pd.NaT])
def test_missing_is_a_dash_in_text(value):
    assert missing(value)
    assert money(value) == number(value) == spoken(value, "index") == DASH


def test_labels_and_ticks_are_short():
    assert [compact(v) for v in (999.7, 1.5e6, -2e3, 0.0)] == ["1.00 k", "1.50 M", "−2.00 k", "0"]
    assert [tick(v, 2e6) for v in (-5e5, 0.0)] == ["−0.5 M", "0"]
