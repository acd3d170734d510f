"""What remains of spans and counter readings without those to be ignored, by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.history.spans import cut_readings, without

DAY = np.datetime64("2024-01-01", "s")


def at(hours: float) -> np.datetime64:
    return DAY + np.timedelta64(int(hours * 3600), "s")


def spans(*rows: tuple[float, float, float]) -> pd.DataFrame:
    """Rows (from, to in hours, operations) of one device."""
    return pd.DataFrame({"device": 0, "from": [at(r[0]) for r in rows], "to": [at(r[1]) for r in rows],
                         "operations": [float(r[2]) for r in rows], "row": range(2, len(rows) + 2)})


def pieces(frame: pd.DataFrame) -> list[tuple[float, float]]:
    return [((a - DAY) / np.timedelta64(1, "h"), (b - DAY) / np.timedelta64(1, "h"))
            for a, b in zip(frame["start"].to_numpy(), frame["end"].to_numpy(), strict=True)]


def test_a_span_inside_another_takes_nothing_more():
    cut = cut_readings(spans((0, 30, 9)), spans((10, 20, 1), (12, 14, 2)))
    assert pieces(cut.pieces) == [(0, 10), (20, 30)]
    assert cut.pieces["steps"].iloc[0] == 6.0


def test_a_reading_all_of_whose_steps_are_to_be_ignored_has_none_left():
    cut = cut_readings(spans((0, 30, 5)), spans((10, 20, 5)))
    assert cut.pieces["steps"].iloc[0] == 0.0
    assert not cut.more_ignored.size
    assert cut_readings(spans((0, 30, 5)), spans((10, 20, 6))).more_ignored.tolist() == [2]


def test_a_single_step_of_a_span_that_reaches_beyond_a_reading_cannot_be_split():
    assert cut_readings(spans((0, 30, 5)), spans((20, 40, 1))).not_split.tolist() == [2]
    assert pieces(cut_readings(spans((0, 30, 5)), spans((20, 40, 0))).pieces) == [(0, 20)]


def test_a_span_beyond_the_end_leaves_the_end():
    left = without(np.array([0]), at(0), at(30), spans((10, 12, 0), (40, 50, 0)))
    assert pieces(left) == [(0, 10), (12, 30)]
