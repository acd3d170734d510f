"""Records that meet in time, by hand."""

from __future__ import annotations

import numpy as np

from reliability.history.extent import pairs_in_time


def test_both_ends_of_a_span_are_in_it():
    span, point = pairs_in_time(np.array([0, 1]), np.array([10, 10]), np.array([20, 20]), np.array([0, 0, 0, 0, 1]),
                                np.array([9, 10, 20, 21, 20]))
    assert list(zip(span.tolist(), point.tolist(), strict=True)) == [(0, 1), (0, 2), (1, 4)]
