"""Cells of numbers: what is one, and what is not, however quickly a whole column is read."""

from __future__ import annotations

import math

import numpy as np
import pytest

from reliability.study.cells import parse_numbers


@pytest.mark.parametrize("text", ["1.", ".5", "-.5", "+1", "1e5", "1E-3", "0.1e+01", "007", "5e-324", "1e-400",
                                  "0.1234567890123456789", "12345678901234567890"])
def test_a_plain_number_is_read_as_python_reads_it(text):
    numbers, unreadable = parse_numbers([text, "2", ""])
    assert (numbers[0], numbers[1], unreadable) == (float(text), 2.0, [])
    assert math.isnan(numbers[2])


def test_a_zero_keeps_its_sign():
    assert math.copysign(1.0, parse_numbers(["-0", "0"])[0][0]) == -1.0


@pytest.mark.parametrize("text", ["nan", "NaN", "inf", "-inf", "Infinity", "1e400", "0x10", "1_000", "1,5", "١", "1e",
                                  "-", ".", "e5", "1e5.0", "--1", "1 2", "\ud800"])
def test_what_is_no_plain_finite_number_is_told_and_the_others_are_read(text):
    numbers, unreadable = parse_numbers(["3.5", text, "", "2"])
    assert unreadable == [1]
    np.testing.assert_array_equal(numbers[[0, 2, 3]], [3.5, np.nan, 2.0])


def test_the_numbers_of_a_column_may_be_written_to():
    parse_numbers(["1", "2"])[0][0] = np.nan
