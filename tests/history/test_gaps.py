"""Times without a record that chance does not make, and rows that a wrong year puts far from all others."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.gaps import far_from_others, long_gaps
from reliability.history.history import read_history
from reliability.history.outages import read_records
from reliability.schema.problems import StudyError
from reliability.study.record_settings import record_settings
from tests.history.records import outage, study


def every_fifth_day(first: str, last: str, section: str = "A2") -> list[dict]:
    days = np.arange(np.datetime64(first), np.datetime64(last), np.timedelta64(5, "D"))
    return [outage(f"{section} {day}", f"{day}T10:00", f"{day}T11:00", 10, section) for day in days]


def found(rows: list[dict], **values: object):
    records = read_records(study(rows, **values))
    return {f.code: (f.rows.tolist(), f.pairs) for f in records.findings}, records


def test_a_row_of_a_wrong_year_is_left_out_and_named():
    rows = every_fifth_day("2019-01-03", "2024-12-30")
    for year in (2009, 2034):
        findings, records = found([*rows, outage("x", f"{year}-06-02T10:00", f"{year}-06-02T11:00", 10)])
        assert findings == {"far_from_others": ([len(rows) + 2], ())}
        assert records.years.tolist() == list(range(2019, 2025))
        assert len(records.steps) == len(rows)


def test_where_the_study_states_its_period_no_row_within_it_is_left_out():
    rows = [outage("x", "2009-06-02T10:00", "2009-06-02T11:00", 10), *every_fifth_day("2019-01-03", "2024-12-30")]
    findings, records = found(rows, records_from="2009-01-01")
    assert records.years[0] == 2009
    assert findings == {"long_gap": ([3], ("2009-06-03 to 2019-01-02",))}


def test_a_year_that_is_missing_is_named_and_cautioned():
    rows = [*every_fifth_day("2019-01-03", "2020-12-30"), *every_fifth_day("2022-01-02", "2024-12-30")]
    findings, _ = found(rows)
    at = len(every_fifth_day("2019-01-03", "2020-12-30")) + 2
    assert findings == {"long_gap": ([at], ("2020-12-29 to 2022-01-01",))}
    assert any("No record for a long time: 2020-12-29 to 2022-01-01" in c for c in read_history(study(rows)).cautions)


def test_few_records_have_long_gaps_by_chance():
    rows = [outage(str(y), f"{y}-06-02T10:00", f"{y}-06-02T11:00", 10) for y in (2009, 2019, 2024)]
    assert found(rows)[0] == {}


@pytest.mark.parametrize("rate", [8, 60, 400])
def test_records_that_come_by_chance_have_none(rate):
    rng, one, often = np.random.default_rng(rate), study([outage("a", "2020-01-01", "2020-01-02", 1)]), 0
    of = record_settings(one.values, one.extra, one.network)
    first, last = np.datetime64("2019-01-01"), np.datetime64("2024-12-31")
    for _ in range(400):
        day = np.sort(first + rng.integers(0, 2192, rng.poisson(6 * rate)).astype("timedelta64[D]"))
        often += bool(long_gaps(day, np.arange(len(day)), first, last)) or bool(far_from_others(day, of).any())
    assert often <= 4


def test_records_of_another_network_are_refused():
    rows = [row | {"section_id": f"other {k}"} for k, row in enumerate(every_fifth_day("2023-01-01", "2023-12-01"))]
    with pytest.raises(StudyError, match="none of 67 rows names a section of the network"):
        read_records(study(rows))
    assert len(read_records(study([*rows, outage("x", "2023-06-02T10:00", "2023-06-02T11:00", 10)])).steps) == 68
    assert len(read_records(study([row | {"section_id": ""} for row in rows])).steps) == 67


def test_indices_of_momentary_events_that_are_not_recorded_are_none():
    rows = every_fifth_day("2023-01-01", "2023-12-01")
    history = read_history(study(rows))
    assert history.every_event.years[["maifi", "maifi_e"]].isna().all(axis=None)
    assert history.every_event.causes[["maifi", "maifi_e"]].isna().all(axis=None)
    complete = read_history(study(rows, momentary="all"))
    assert (complete.every_event.years["maifi_e"] == 0.0).all()
    brief = outage("m", "2023-06-02T10:00:00", "2023-06-02T10:00:20", 10)
    assert (read_history(study([*rows, brief])).every_event.years["maifi_e"] > 0.0).all()


def far(*early: str, late: int = 0, usual: int = 438) -> np.ndarray:
    """Which days are far from the others: early ones, `usual` every fifth day from 2019 on, late ones."""
    one = study([outage("a", "2020-01-01", "2020-01-02", 1)])
    days = np.concatenate([np.array(early, dtype="datetime64[D]"),
                           np.datetime64("2019-01-03") + 5 * np.arange(usual),
                           np.datetime64("2040-01-01") + np.arange(late)])
    return far_from_others(days, record_settings(one.values, one.extra, one.network))


def test_as_many_days_as_a_hundredth_may_be_far_on_either_side_and_no_more():
    """438 days and a few: a hundredth are 4."""
    days = [f"2009-06-{d:02d}" for d in range(1, 6)]
    assert far(*days[:4]).sum() == far(late=4).sum() == 4
    assert far(*days).sum() == far(late=5).sum() == 0


def test_twenty_days_with_records_are_enough():
    assert far("2000-01-01", usual=19).tolist() == [True, *[False] * 19]
    assert not far("2000-01-01", usual=18).any()


def test_a_gap_before_the_first_and_after_the_last_record_is_whole():
    records = read_records(study(every_fifth_day("2019-01-03", "2022-12-30"), records_from="2015-01-01",
                                 records_to="2025-12-31"))
    last = every_fifth_day("2019-01-03", "2022-12-30")[-1]["started"][:10]
    (gap,) = [f.pairs for f in records.findings if f.code == "long_gap"]
    assert gap == ("2015-01-01 to 2019-01-02", f"{np.datetime64(last) + 1} to 2025-12-31")
