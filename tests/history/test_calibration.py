"""Factors that close the gap between modelled and observed."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.history.calibration import calibrate
from reliability.history.history import read_history
from tests.history.records import outage, study

CUSTOMERS = pd.Series({"A": 1000, "B": 3000})


def table(**rows: tuple[float, float]) -> pd.DataFrame:
    return pd.DataFrame.from_dict(rows, orient="index", columns=["saifi", "saidi_min"])


def test_factors_close_the_gap_of_the_system():
    observed, modelled = table(A=(1.2, 150.0), B=(0.6, 50.0)), table(A=(1.0, 100.0), B=(1.0, 100.0))
    found = calibrate(observed, modelled, CUSTOMERS, (2023,))
    saifi, saidi = (1.2 + 3 * 0.6) / 4, (150 + 3 * 50) / 4
    assert found.rate_factor == pytest.approx(saifi)
    assert found.rate_factor * found.time_factor * 100 == pytest.approx(saidi)
    assert found.feeders.loc["A", "saifi_ratio"] == pytest.approx(1.2)


def test_feeders_that_cannot_be_compared_are_named():
    found = calibrate(table(A=(1.0, 90.0), C=(1.0, 80.0)), table(A=(1.0, 90.0), B=(1.0, 90.0)), CUSTOMERS, (2023,))
    assert "B, C" in found.note
    assert found.rate_factor == found.time_factor == 1


def test_nothing_modelled_has_no_factor():
    found = calibrate(table(A=(1.0, 90.0)), table(A=(0.0, 0.0)), CUSTOMERS, (2023,))
    assert np.isnan(found.rate_factor)
    assert np.isnan(found.time_factor)


def test_observed_figures_are_those_without_major_event_days_of_years_that_have_a_threshold():
    """2021 has a threshold, 2020 has none; the storm of 2021 is set apart."""
    rows = [outage(f"a{i}", f"2020-0{i + 1}-05T10:00", f"2020-0{i + 1}-05T{11 + i}:00", 100 + 20 * i) for i in range(5)]
    rows += [outage("s", "2021-03-01T10:00", "2021-03-09T10:00", 1000, "B"),
             outage("o", "2021-04-01T10:00", "2021-04-01T12:00", 200)]
    history = read_history(study(rows), modelled=table(A=(0.4, 12.0), B=(0.4, 12.0)))
    assert history.calibration.years == (2021,)
    assert history.calibration.feeders.loc["A", "observed_saifi"] == 0.2
    assert history.calibration.feeders.loc["B", "observed_saifi"] == 0
    assert history.calibration.rate_factor == pytest.approx(0.1 / 0.4)
    assert history.calibration.time_factor == pytest.approx((0.2 * 120 / 2 / 12) / 0.25)


def test_planned_interruptions_are_no_part_of_what_is_compared_even_where_they_are_counted():
    rows = [outage("a", "2023-03-01T10:00", "2023-03-01T12:00", 200),
            outage("p", "2023-04-01T10:00", "2023-04-01T12:00", 600, planned="true")]
    history = read_history(study(rows), modelled=table(A=(0.4, 12.0), B=(0.4, 12.0)))
    assert history.every_event.feeders.loc[(2023, "A"), "saifi"] == 0.8
    assert history.calibration.feeders.loc["A", ["observed_saifi", "observed_saidi_min"]].tolist() == [0.2, 24.0]
    assert "Planned interruptions are left out" in history.calibration.note
