"""Times of a clock of twelve hours whose AM and PM are lost."""

from __future__ import annotations

import pytest

from reliability.history.outages import read_records
from tests.history.records import outage, study


@pytest.mark.parametrize(("hours", "minutes", "found"), [
    (range(1, 13), 0, True), (range(1, 13), 59, True), (range(12), 0, False), (range(2, 14), 0, False),
    (range(8, 13), 0, False)])
def test_a_clock_of_twelve_hours_without_am_and_pm_is_told(hours, minutes, found):
    rows = [outage(f"e{i}", f"2024-04-{i + 1:02} {hour:02}:{minutes:02}", f"2024-04-{i + 1:02} {hour:02}:59", 1)
            for i, hour in enumerate([*hours] * 3) if i < 30]
    codes = {f.code: len(f.rows) for f in read_records(study(rows)).findings}
    assert codes.get("half_of_day") == (len(rows) if found else None)
    assert "half_of_day" not in {f.code for f in read_records(study(rows[:14])).findings}
