"""Events, causes and excluded days of the report, against a few records counted by hand."""

from __future__ import annotations

import pytest

from reliability.history.history import read_history
from reliability.report.records import causes_frame, excluded_days, largest_events, most_interruptions, years_frame
from tests.history.records import outage, study

ROWS = [
    # one event of two steps: 200 × 60 min + 100 × 120 min
    outage("a", "2023-03-01T10:00", "2023-03-01T11:00", 200, "A", cause="wind"),
    outage("a", "2023-03-01T10:00", "2023-03-01T12:00", 100, "A", cause="wind"),
    outage("b", "2023-05-02T08:00", "2023-05-02T08:30", 1000, "B", cause="vehicle"),      # 30 000
    outage("c", "2023-05-02T09:00", "2023-05-02T09:04", 1000, "B", cause="vehicle"),      # momentary
    outage("d", "2024-01-05T00:00", "2024-01-06T02:00", 10, "A1", cause=""),              # 15 600
]


@pytest.fixture
def history():
    return read_history(study(ROWS, major_event_method="fixed", major_event_days="2023-05-02"))


def test_the_largest_events_come_first_with_their_steps_summed(history):
    frame = largest_events(history)
    assert frame["customer_minutes"].tolist() == [30_000.0, 24_000.0, 15_600.0]
    assert frame["customers"].tolist() == [1000.0, 300.0, 10.0]
    assert frame["started"].tolist() == ["2023-05-02 08:00", "2023-03-01 10:00", "2024-01-05 00:00"]
    assert frame["section_id"].tolist() == ["B", "A", "A1"]
    assert frame["hours"].tolist() == [0.5, 2.0, 26.0]
    assert frame["saidi_min"].tolist() == [15.0, 12.0, 7.8]
    assert frame["major"].tolist() == ["yes", "no", "no"]
    assert frame["cause"].tolist() == ["vehicle", "wind", "(no cause given)"]
    assert len(largest_events(history, 1)) == 1


def test_causes_sum_over_the_years_with_and_without_major_event_days(history):
    frame = causes_frame(history).set_index("cause")
    assert frame["customer_minutes"].to_dict() == {"vehicle": 30_000.0, "wind": 24_000.0, "(no cause given)": 15_600.0}
    assert frame["minutes_without"].to_dict() == {"vehicle": 0.0, "wind": 24_000.0, "(no cause given)": 15_600.0}
    assert frame["share"].sum() == pytest.approx(1.0)


def test_an_excluded_day_is_told_in_full(history):
    day, = excluded_days(history).to_dict("records")
    assert day["day"] == "2023-05-02"
    assert (day["customers"], day["share"], day["customer_minutes"]) == (1000.0, 0.5, 30_000.0)
    assert (day["cause"], day["feeders"], day["restored"]) == ("vehicle", "B", "2023-05-02 08:30")


def test_years_stand_with_both_views_and_means_where_there_are_enough(history):
    frame = years_frame(history)
    assert frame[["year", "view"]].agg(" ".join, axis=1).tolist() == [
        "2023 all events", "2023 without major event days", "2024 all events", "2024 without major event days"]
    assert frame["saidi_min"].tolist() == pytest.approx([27.0, 12.0, 7.8, 7.8])
    three = years_frame(read_history(study([*ROWS, outage("e", "2025-02-01T10:00", "2025-02-01T12:00", 100)])))
    mean = three[three["year"] == "mean of 3"].iloc[0]
    assert mean["saidi_min"] == pytest.approx((27.0 + 7.8 + 6.0) / 3)
    assert mean["caidi_min"] == pytest.approx(mean["saidi_min"] / mean["saifi"])
    assert mean["remark"] == "2023 to 2025"


def test_more_than_twelve_outages_are_found_along_the_path_to_the_source():
    on_main = [outage(f"m{i}", f"2024-02-{1 + i:02}T10:00", f"2024-02-{1 + i:02}T11:00", 500, "A") for i in range(7)]
    on_tap = [outage(f"t{i}", f"2024-03-{1 + i:02}T10:00", f"2024-03-{1 + i:02}T11:00", 20, "A1") for i in range(6)]
    found = most_interruptions(read_history(study([*on_main, *on_tap])))
    assert found.to_dict("records") == [{"year": "2024", "feeder_id": "A", "outages": 13.0}]
    assert most_interruptions(read_history(study([*on_main, *on_tap[:5]]))).empty
