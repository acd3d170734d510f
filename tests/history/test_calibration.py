"""Records against the model on the same kind of days, and factors only outside their noise."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.calibration import Calibration
from reliability.history.history import History, read_history
from tests.history.records import model_days, outage, study

AS_RECORDED = {"A": 0.4, "B": 0.4}


def history(rows, saifi=None, saidi=None, *, cv: float = 0.01, ordinary: float = 1.0, hours: float = 2.0,
            **values) -> History:
    model = model_days(saifi or AS_RECORDED, saidi or {"A": 12.0, "B": 12.0}, cv=cv, ordinary=ordinary, hours=hours)
    return read_history(study(rows, **values), model)


def calibrated(rows, *args, **kwargs) -> Calibration:
    found = history(rows, *args, **kwargs).calibration
    assert found is not None
    return found


def year(number: int, customers: int, minutes: int = 60, section: str = "A") -> list[dict]:
    """One event of so many customers and minutes."""
    begin = np.datetime64(f"{number}-05-01T08:00")
    return [outage(f"e{number}", str(begin), str(begin + minutes), customers, section)]


def test_ratios_are_those_of_all_unplanned_days():
    """By hand: 800 of 2000 customers for an hour a year, of a model of 0.2 and 20 min: 2 and 1.2, so times 0.6."""
    found = calibrated([*year(2021, 800), *year(2022, 800)], {"A": 0.4, "B": 0.0}, {"A": 40.0, "B": 0.0})
    assert found.every_day.rate[0] == pytest.approx(0.4 / 0.2)
    assert found.every_day.time[0] == pytest.approx((0.4 * 60 / 20) / 2)
    assert found.rate_factor == found.every_day.rate[0]
    assert found.time_factor == found.every_day.time[0]
    assert found.feeders.loc["A", ["observed_saifi", "modelled_saifi"]].tolist() == [0.8, 0.4]
    assert np.isnan(found.feeders.loc["B", "saifi_ratio"])
    assert "2.0 on all fault rates" in found.verdict.replace("2.00", "2.0")
    assert "not applied" in found.verdict


def test_no_factor_within_the_noise_of_the_years():
    rows = [*year(2021, 800), *year(2022, 800)]
    modelled = {"A": 0.7, "B": 0.0}, {"A": 42.0, "B": 0.0}      # a ratio of 1.14, times as they are
    sharp, wide = calibrated(rows, *modelled, cv=0.01), calibrated(rows, *modelled, cv=0.3)
    assert sharp.rate_factor == pytest.approx(0.8 / 0.7)
    assert np.isnan(sharp.time_factor)
    assert np.isnan(wide.rate_factor)
    assert "No factor is offered" in wide.verdict
    low, high = wide.every_day.rate[1:]
    assert low < 1 < wide.every_day.rate[0] < high


def test_the_interval_is_that_of_a_mean_over_so_many_years():
    """Theory: the mean of n lognormal years varies with cv / √n; 1.645 of it at 90 %."""
    for years in (1, 4, 9):
        rows = [row for y in range(2012, 2012 + years) for row in year(y, 800)]
        ratio, low, high = calibrated(rows, cv=0.1).every_day.rate
        assert np.log(high / low) / 2 == pytest.approx(1.645 * 0.1 / years ** 0.5, rel=0.1)
        assert low < ratio < high


def test_records_that_vary_more_than_the_model_widen_their_interval():
    level = [row for y, n in zip(range(2018, 2024), [800] * 6, strict=True) for row in year(y, n)]
    uneven = [row for y, n in zip(range(2018, 2024), [100, 1000, 800, 900, 1000, 1000], strict=True)
              for row in year(y, n)]
    one, other = (calibrated(rows, {"A": 0.9, "B": 0.0}, {"A": 54.0, "B": 0.0}, cv=0.05) for rows in (level, uneven))
    assert one.every_day.rate[0] == pytest.approx(other.every_day.rate[0]) == pytest.approx(0.4 / 0.45)
    assert np.isfinite(one.rate_factor)
    assert np.isnan(other.rate_factor)


STORM = outage("s", "2021-03-01T10:00", "2021-03-09T10:00", 1000, "B")
USUAL = [outage(f"a{i}", f"2020-0{i + 1}-05T10:00", f"2020-0{i + 1}-05T{11 + i}:00", 100 + 20 * i) for i in range(5)]


def test_days_without_major_events_meet_a_model_of_such_days():
    """2021 has a threshold, 2020 has none; the storm of 2021 is set apart, and half of the model's interruptions."""
    rows = [*USUAL, STORM, outage("o", "2021-04-01T10:00", "2021-04-01T12:00", 200)]
    found = calibrated(rows, ordinary=0.5)
    assert found.every_day.years == (2020, 2021)
    assert found.ordinary.years == (2021,)
    table = found.ordinary.feeders
    assert table.loc["A", ["observed_saifi", "modelled_saifi"]].tolist() == pytest.approx([0.2, 0.2])
    assert table.loc["B", "observed_saifi"] == 0
    assert found.ordinary.rate[0] == pytest.approx(0.1 / 0.2)
    assert found.ordinary.time[0] == pytest.approx((0.2 * 120 / 2 / 6) / 0.5)
    every = found.every_day.feeders.loc["B", ["observed_saifi", "modelled_saifi"]].tolist()
    assert every == pytest.approx([0.5, 0.4])


def test_records_without_storms_are_compared_on_other_days_only():
    rows = [*USUAL, STORM, outage("o", "2021-04-01T10:00", "2021-04-01T12:00", 200)]
    found = calibrated(rows, storms_included=False)
    assert found.every_day is None
    assert found.decisive is found.ordinary
    assert found.rate_factor == found.ordinary.rate[0] == pytest.approx(0.1 / 0.4)
    assert "leave out major storms" in found.note


def test_listed_days_and_years_without_a_threshold_have_no_model_of_other_days():
    listed = calibrated([*USUAL, STORM], major_event_method="fixed", major_event_days="2021-03-01")
    assert listed.ordinary is None
    assert "listed by hand" in listed.note
    assert calibrated(USUAL).ordinary is None
    assert history(USUAL, storms_included=False).calibration is None


def test_nothing_modelled_and_years_in_part_have_no_factor():
    nothing = calibrated(year(2021, 800), {"A": 0.0, "B": 0.0}, {"A": 0.0, "B": 0.0})
    assert np.isnan(nothing.rate_factor)
    assert np.isnan(nothing.time_factor)
    part = calibrated(year(2021, 800), {"A": 8.0, "B": 0.0}, records_from="2021-03-01")
    assert np.isnan(part.rate_factor)
    assert "no year is covered in full" in part.verdict


def test_interruptions_of_unknown_place_count_for_the_system():
    rows = [*year(2021, 400), outage("x", "2021-06-01T10:00", "2021-06-01T11:00", 400, "nowhere")]
    found = calibrated(rows)
    assert found.every_day.rate[0] == pytest.approx(1.0)
    assert found.feeders.loc["A", "observed_saifi"] == 0.4


def test_planned_interruptions_are_no_part_of_what_is_compared_even_where_they_are_counted():
    rows = [outage("a", "2023-03-01T10:00", "2023-03-01T12:00", 200),
            outage("p", "2023-04-01T10:00", "2023-04-01T12:00", 600, planned="true")]
    made = history(rows)
    assert made.every_event.feeders.loc[(2023, "A"), "saifi"] == 0.8
    assert made.calibration.feeders.loc["A", ["observed_saifi", "observed_saidi_min"]].tolist() == [0.2, 24.0]
    assert "Planned interruptions are left out" in made.calibration.note


def test_restoration_times_are_compared_on_like_days():
    """By hand: repairs last 2, 4, 2, 4 … h, or 3 h in the mean; the model's 2 h."""
    rows = [outage(f"r{i}", f"2023-01-{i + 1:02d}T08:00", f"2023-01-{i + 1:02d}T{10 + 2 * (i % 2)}:00", 5,
                   fault_kind="permanent") for i in range(20)]
    table = calibrated(rows).every_day.times
    assert table.index.tolist() == ["repair"]
    row = table.loc["repair"]
    assert (row["events"], row["observed_hours"], row["modelled_hours"], row["ratio"]) == (20, 3.0, 2.0, 1.5)
    assert np.log(row["high"] / row["ratio"]) == pytest.approx(1.645 * (20 / 19) ** 0.5 / 3 / 20 ** 0.5, rel=1e-3)


def test_a_day_that_is_mostly_one_event_is_said():
    beside = [outage(f"b{i}", "2021-03-01T11:00", "2021-03-01T12:00", 100, "A1") for i in range(1)]
    made = history([*USUAL, STORM, *beside])
    (row,) = made.single_events.to_dict("records")
    assert (row["event_id"], row["section_id"], row["mostly_one"]) == ("s", "B", True)
    assert row["share"] == pytest.approx(1000 * 8 * 24 / (1000 * 8 * 24 + 100))
    assert any("On 1 of 1 major event day one event holds" in c for c in made.cautions)
    many = [outage(f"b{i}", "2021-03-01T10:00", "2021-03-02T10:00", 90 + i, s) for i, s in enumerate(("A1", "A2", "B"))]
    spread = history([*USUAL, *many])
    assert len(spread.single_events) == 1
    assert not spread.single_events["mostly_one"].any()
    assert not any("one event holds" in c for c in spread.cautions)
    two = [outage(f"b{i}", "2021-03-01T10:00", "2021-03-02T10:00", 140, s) for i, s in enumerate(("A1", "A2"))]
    half = history([*USUAL, *two]).single_events
    assert (half["share"].tolist(), half["mostly_one"].tolist()) == ([0.5], [True])
