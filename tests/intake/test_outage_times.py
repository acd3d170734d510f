"""Ends of outages by their duration, ids that are used again, and what the report counts of repeated rows."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.outages import records_of
from reliability.intake import Recipe
from reliability.study import open_study
from reliability.study.event_ids import numbered_events
from tests.intake.small import take

HEADER = "event_id,segment_id,started,duration_min,customers"
CHICAGO = Recipe(time_zone="America/Chicago")


def outages(*rows: str, header: str = HEADER) -> str:
    return "\n".join([header, *rows]) + "\n"


def seconds(tmp_path, imported) -> list[float]:
    """Length of each outage as the study has it."""
    imported.save(tmp_path / "study")
    return records_of(open_study(tmp_path / "study")).steps["seconds"].tolist()


STARTS = ("2024-03-10 01:30", "2024-11-03 00:30", "2023-11-04 23:30", "2024-06-01 10:00")


@pytest.mark.parametrize("minutes", [60, 120, 150, 240])
def test_a_duration_goes_over_a_change_of_the_clocks(tmp_path, minutes):
    text = outages(*(f"E{k},M2,{start},{minutes},10" for k, start in enumerate(STARTS)))
    assert seconds(tmp_path, take(tmp_path / "x", CHICAGO, outages=text)) == [minutes * 60.0] * len(STARTS)


@pytest.mark.parametrize("recipe", [CHICAGO, Recipe()])
def test_a_duration_from_a_time_with_an_offset_has_an_end_with_one(tmp_path, recipe):
    text = outages("E1,M2,2024-03-10T01:30-06:00,120,10", "E2,M2,2024-11-03T01:30-06:00,45,10",
                   "E3,M2,2023-11-05T01:30-05:00,45,10", "E4,M2,2024-06-01T10:00-05:00,30,10")
    assert seconds(tmp_path, take(tmp_path / "x", recipe, outages=text)) == [7200.0, 2700.0, 2700.0, 1800.0]


def test_steps_of_an_id_that_is_used_again_are_counted_by_event(tmp_path):
    rows = [f"7,M2,{year}-05-01 10:00,{minutes},{customers}" for year in (2022, 2023)
            for minutes, customers in ((60, 4), (120, 10))]
    found = take(tmp_path, Recipe(cumulative_steps=True), outages=outages(*rows)).tables["outages"]
    assert found["customers"].tolist() == [4, 6, 4, 6]


def test_repeated_rows_without_an_id_are_counted_once_as_in_the_study(tmp_path):
    row = ",M2,2024-05-01 10:00,120,10"
    imported = take(tmp_path / "x", outages=outages(row, row, ",M2,2024-06-01 10:00,60,10"))
    assert len(imported.report.findings.ids("outage_repeated")) == 1
    totals = imported.report.totals
    years = imported.report.facts["years"]
    assert totals["customer_minutes_per_year"].iloc[-1] * years == pytest.approx(1800.0)
    imported.save(tmp_path / "study")
    steps = records_of(open_study(tmp_path / "study")).steps
    counted = steps[steps["counted"]]
    assert (counted["customers"] * counted["seconds"] / 60).sum() == pytest.approx(1800.0)


class TestNumberedEvents:
    DAYS = np.array(["2020-01-01", "2020-01-01", "2020-01-03", "2021-01-01", "2020-01-02"], "datetime64[s]")

    def test_a_row_a_day_after_all_earlier_ones_have_ended_is_of_another_event(self):
        ends = self.DAYS + np.timedelta64(3600, "s")
        event, again = numbered_events(np.array([5, 5, 5, 5, 9]), self.DAYS, ends)
        assert event.tolist() == [0, 0, 1, 2, 3]
        assert again.tolist() == [False, False, True, True, False]

    def test_a_long_step_holds_what_starts_in_it(self):
        ends = self.DAYS + np.array([0, 400, 1, 1, 1]) * np.timedelta64(86_400, "s")
        assert numbered_events(np.array([5, 5, 5, 5, 9]), self.DAYS, ends)[0].tolist() == [0, 0, 0, 0, 1]

    def test_what_is_not_known_splits_nothing(self):
        none = np.full(5, np.datetime64("NaT", "s"))
        assert numbered_events(np.array([5, 5, 5, 5, 9]), none, none)[0].tolist() == [0, 0, 0, 0, 1]
        starts = self.DAYS.copy()
        starts[0] = np.datetime64("NaT")
        event, _ = numbered_events(np.array([5, 5, 5, 5, 9]), starts, none)
        assert event[0] == event[1] != event[2]


def test_steps_that_fall_though_they_are_said_to_add_up_are_listed(tmp_path):
    rows = [f"7,M2,2024-05-01 10:00,{minutes},{customers}" for minutes, customers in ((60, 35), (90, 20), (120, 5))]
    imported = take(tmp_path, Recipe(cumulative_steps=True), outages=outages(*rows))
    assert len(imported.report.findings.ids("steps_fall")) == 2
    rising = [f"7,M2,2024-05-01 10:00,{minutes},{customers}" for minutes, customers in ((120, 35), (60, 20), (90, 20))]
    imported = take(tmp_path / "x", Recipe(cumulative_steps=True), outages=outages(*rising))
    assert imported.report.findings.ids("steps_fall") == ()
    assert imported.tables["outages"]["customers"].tolist() == [15, 20, 0]
