"""Every finding: a row that has it and one that nearly has it, and what is done about it."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.findings import TREATMENTS, messages
from reliability.history.outages import read_records
from reliability.schema.problems import StudyError
from reliability.study.record_settings import Replaced
from reliability.study.time_forms import FORMS
from tests.history.records import outage, study

GOOD = outage("good", "2023-05-03T10:00", "2023-05-03T11:00", 100)


def found(*rows: dict, extra: dict | None = None, **values: object) -> dict[str, list[int]]:
    """Findings by code, with their rows; the row GOOD is row 2, those given follow."""
    records = read_records(study([GOOD, *rows], extra=extra, **values))
    return {f.code: f.rows.tolist() for f in records.findings}


START = "2023-06-05T10:00"
CASES = {   # code: a row with it, a row near it without it
    "missing_started": (outage("x", "", START, 10), outage("x", START, START, 10)),
    "started_not_a_date": (outage("x", "soon", START, 10), outage("x", START, START, 10)),
    "started_far_year": (outage("x", "0000-01-01T10:00", START, 10), outage("x", "1950-01-01", START, 10)),
    "missing_restored": (outage("x", START, "", 10), outage("x", START, START, 10)),
    "restored_not_a_date": (outage("x", START, "2023-02-30T10:00", 10), outage("x", START, "2023-06-30T10:00", 10)),
    "restored_far_year": (outage("x", START, "10000-01-01T00:00", 10), outage("x", START, "2099-12-31T00:00", 10)),
    "restored_before_started": (outage("x", START, "2023-06-05T09:59", 10), outage("x", START, START, 10)),
    "duplicate_rows": (GOOD, GOOD | {"restored": "2023-05-03T11:01"}),
    "missing_event_id": (outage("", START, START, 10), outage("0", START, START, 10)),
    "event_id_reused": (outage("good", "2023-05-04T11:01", "2023-05-04T12:00", 10),
                        outage("good", "2023-05-04T11:00", "2023-05-04T12:00", 10)),
    "clock_change": (outage("x", "2023-11-05T01:50", "2023-11-05T01:10", 10),
                     outage("x", "2023-11-06T01:50", "2023-11-06T01:10", 10)),
    "mixed_date_forms": (outage("x", "06/25/2023 10:00", "06/25/2023 11:00", 10), outage("x", START, START, 10)),
    "date_without_time": (outage("x", "2023-06-05", "2023-06-05T09:00", 10), outage("x", START, START, 10)),
    "over_30_days": (outage("x", START, "2023-07-05T10:01", 10), outage("x", START, "2023-07-05T10:00", 10)),
    "missing_customers": (outage("x", START, START, ""), outage("x", START, START, 0)),
    "customers_not_a_number": (outage("x", START, START, "12.5"), outage("x", START, START, "12.0")),
    "customers_above_served": (outage("x", START, START, 1001), outage("x", START, START, 1000)),
    "customers_above_section": (outage("x", START, START, 251), outage("x", START, START, 250)),
    "overlapping_steps": (outage("good", "2023-05-03T10:30", "2023-05-03T12:00", 10),
                          outage("good", "2023-05-03T11:00", "2023-05-03T12:00", 10)),
    "repeated_event": (GOOD | {"event_id": "x"}, GOOD | {"event_id": "x", "customers": 101}),
    "unknown_section": (outage("x", START, START, 10, "A9"), outage("x", START, START, 10, "A2")),
    "blank_section": (outage("x", START, START, 10, ""), outage("x", START, START, 10, "A2")),
    "unknown_fault_kind": (outage("x", START, START, 10, fault_kind="maybe"),
                           outage("x", START, START, 10, fault_kind="Permanent")),
    "unknown_planned": (outage("x", START, START, 10, planned="perhaps"), outage("x", START, START, 10, planned="Yes")),
}


@pytest.mark.parametrize("code", CASES)
def test_finding_is_made_where_it_is_and_only_there(code):
    bad, near = CASES[code]
    assert found(bad)[code] == [3]
    assert code not in found(near)


def test_findings_that_a_key_asks_for():
    planned = outage("x", START, START, 10, planned="true")
    assert found(planned, include_planned=False) == {"planned_left_out": [3]}
    assert found(planned) == {}
    assert found(outage("x", START, START, 10), records_to="2023-05-31") == {"outside_period": [3]}
    assert found(outage("x", START, START, 10), records_to="2023-06-05") == {}


def test_every_finding_has_a_case():
    elsewhere = {"repeated_event_counted", "inside_another", "inside_another_counted",       # test_found_twice
                 "goes_on", "goes_on_counted", "around_another", "around_another_counted",
                 "utc_offset", "utc_offset_converted", "skipped_hour", "half_of_day",
                 "far_from_others", "long_gap"}          # test_gaps
    assert set(CASES) | {"planned_left_out", "outside_period"} | elsewhere == set(TREATMENTS)


@pytest.mark.parametrize("code", [c for c in CASES if "Left out" in TREATMENTS[c][1]])
def test_rows_left_out_of_the_indices_are_those_that_say_so(code):
    steps = read_records(study([GOOD, CASES[code][0]])).steps
    assert steps[steps["counted"]]["row"].tolist() == [2]
    still_a_fault = "still a fault" in TREATMENTS[code][1]
    assert (3 in steps["row"].tolist()) == still_a_fault


def test_clean_records_have_no_findings_and_every_row_is_counted_or_found():
    assert found() == {}
    sound = (outage(f"s{k}", f"2023-07-{k:02d}T10:00", f"2023-07-{k:02d}T11:00", 10) for k in range(1, 32))
    rows = [*(case[0] for case in CASES.values()), *sound]     # among which the unreadable times are few
    records = read_records(study([GOOD, *rows]))
    used = set(records.steps.loc[records.steps["counted"], "row"])
    listed = {int(r) for f in records.findings for r in f.rows}
    assert used | listed == set(range(2, len(rows) + 3))


def test_a_step_of_five_minutes_is_momentary_and_one_second_more_is_sustained():
    records = read_records(study([outage("a", "2023-05-03T10:00:00", "2023-05-03T10:05:00", 1),
                                  outage("b", "2023-05-03T10:00:00", "2023-05-03T10:05:01", 1)]))
    assert records.steps["sustained"].tolist() == [False, True]


def test_customers_are_reduced_to_those_served():
    records = read_records(study([outage("x", START, "2023-06-05T11:00", 5000),
                                  outage("y", START, "2023-06-05T11:00", 5000, "")]))
    assert records.steps["customers"].tolist() == [1000, 2000]
    grown = read_records(study([outage("x", START, "2023-06-05T11:00", 5000)],
                               extra={"customers_served": {"2023": 3000}}))
    assert grown.steps["customers"].tolist() == [1500]


def test_overlapping_steps_are_scaled_only_where_they_exceed_those_served():
    start = "2023-06-05T10:00"
    steps = read_records(study([outage("x", start, "2023-06-05T11:00", 900, "A"),
                                outage("x", start, "2023-06-05T12:00", 600, "A")])).steps
    assert steps["customers"].tolist() == pytest.approx([600, 400])
    disjoint = read_records(study([outage("x", start, "2023-06-05T11:00", 400, "A"),
                                   outage("x", start, "2023-06-05T12:00", 600, "A")]))
    assert disjoint.steps["customers"].tolist() == [400, 600]
    assert not disjoint.findings


def test_reclosing_within_an_event_is_no_overlap():
    """Two openings of a recloser that interrupt everybody, before a sustained interruption of some."""
    records = read_records(study([outage("x", "2023-06-05T10:00:00", "2023-06-05T10:00:02", 1000, "A"),
                                  outage("x", "2023-06-05T10:00:20", "2023-06-05T10:00:30", 1000, "A"),
                                  outage("x", "2023-06-05T10:00:40", "2023-06-05T11:00:00", 200, "A1")]))
    assert not records.findings
    assert records.steps["customers"].sum() == 2200


class TestClockChange:
    @pytest.mark.parametrize(("started", "restored", "minutes"), [
        ("02:20", "02:50", 30), ("01:40", "02:10", 30), ("02:50", "03:10", 20), ("02:59", "03:00", 1)])
    def test_a_time_that_the_clocks_skipped_is_told_and_loses_no_minute(self, started, restored, minutes):
        """In Chicago they were put forward at 2:00 on 12 March 2023."""
        row = outage("x", f"2023-03-12T{started}", f"2023-03-12T{restored}", 10)
        records = read_records(study([GOOD, row], time_zone="America/Chicago"))
        assert {f.code: f.rows.tolist() for f in records.findings} == {"skipped_hour": [3]}
        assert records.steps["seconds"].tolist() == [3600, minutes * 60]
        assert found(row | {"started": "2023-03-12T01:59", "restored": "2023-03-12T03:00"},
                     time_zone="America/Chicago") == {"clock_change": [3]}

    FALL = ("2023-11-05T01:50", "2023-11-05T01:10")

    def seconds(self, started: str, restored: str, zone: str | None = None) -> float:
        records = read_records(study([GOOD, outage("x", started, restored, 10)], time_zone=zone))
        return float(records.steps["seconds"].iloc[1])

    def test_without_a_zone_an_hour_is_added_to_a_restoration_before_its_start(self):
        assert self.seconds(*self.FALL) == 20 * 60

    def test_without_a_zone_an_hour_and_a_minute_is_no_clock_change(self):
        assert np.isnan(self.seconds("2023-11-05T02:30", "2023-11-05T01:29"))
        assert self.seconds("2023-11-05T02:30", "2023-11-05T01:31") == 60

    def test_with_a_zone_durations_are_elapsed_time(self):
        """Clocks went back at 2:00 on 5 November and forward at 2:00 on 12 March 2023 in this zone (tz database)."""
        zone = "America/Chicago"
        assert self.seconds(*self.FALL, zone) == 20 * 60
        assert self.seconds("2023-11-05T00:30", "2023-11-05T03:30", zone) == 4 * 3600
        assert self.seconds("2023-03-12T01:30", "2023-03-12T03:30", zone) == 3600
        assert self.seconds("2023-06-05T01:30", "2023-06-05T03:30", zone) == 2 * 3600

    def test_with_a_zone_only_its_own_nights_count(self):
        assert np.isnan(self.seconds("2023-10-29T01:50", "2023-10-29T01:10", "America/Chicago"))

    def test_offsets_give_the_elapsed_time(self):
        assert self.seconds("2023-11-05T01:50-05:00", "2023-11-05T01:10-06:00", "America/Chicago") == 20 * 60
        assert self.seconds("20231105T0150-05", "20231105T0710Z", "America/Chicago") == 20 * 60


class TestOffsets:
    ZONE = "America/Chicago"

    def test_times_with_an_offset_are_converted_to_the_studys_zone(self):
        """At midnight in Chicago it is five in the morning in Greenwich, in summer; the day is that of Chicago."""
        records = read_records(study([GOOD, outage("x", "2023-06-06T04:30Z", "2023-06-06T05:30Z", 10)],
                                     time_zone=self.ZONE))
        step = records.steps.iloc[1]
        assert (str(step["started"]), str(step["day"])[:10]) == ("2023-06-05 23:30:00", "2023-06-05")
        assert step["seconds"] == 3600
        assert {f.code: f.rows.tolist() for f in records.findings} == {"utc_offset_converted": [3]}

    def test_offsets_beside_none_need_the_zone(self):
        with pytest.raises(StudyError) as error:
            read_records(study([GOOD, outage("x", "20230606T0430Z", "2023-06-06T05:30", 10)]))
        problem = error.value.problems[0]
        assert (problem.row, problem.column, problem.value) == (3, "started", "20230606T0430Z")
        assert "not all times state (1 do, 3 do not)" in problem.rule
        assert "time_zone" in problem.remedy

    def test_a_date_alone_has_no_offset_to_state(self):
        rows = [outage("x", "2023-06-06T04:30Z", "2023-06-06T05:30Z", 10), outage("y", "2023-06-07", "2023-06-08", 10)]
        assert [f.code for f in read_records(study(rows)).findings] == ["utc_offset", "date_without_time"]

    def test_where_all_times_have_one_and_no_zone_is_known_they_stay_as_written(self):
        records = read_records(study([outage("x", "2023-06-06T04:30+05:30", "2023-06-06T04:30+05", 10)]))
        assert str(records.steps["started"].iloc[0]) == "2023-06-06 04:30:00"
        assert records.steps["seconds"].iloc[0] == 1800
        assert [f.code for f in records.findings] == ["utc_offset"]


def test_dates_of_the_rarer_form_are_listed():
    days = ("2024-04-03", "25/03/2024", "26/03/2024")
    rows = [outage(day, f"{day} 10:00", f"{day} 11:00", 1) for day in days]
    assert {f.code: f.rows.tolist() for f in read_records(study(rows)).findings} == {"mixed_date_forms": [2]}


class TestDateOrder:
    def starts(self, *texts: str, **values: object) -> list[str]:
        rows = [outage(f"e{i}", t, t, 1) for i, t in enumerate(texts)]
        return [str(t)[:16] for t in read_records(study(rows, **values)).steps["started"].to_numpy()]

    def test_ambiguous_order_is_a_problem_that_names_the_key(self):
        with pytest.raises(StudyError) as error:
            self.starts("03/04/2024 10:00", "05/06/2024 11:00")
        problem = error.value.problems[0]
        assert (problem.row, problem.column, problem.value) == (2, "started", "03/04/2024 10:00")
        assert "date_order" in problem.remedy

    def test_the_key_settles_it(self):
        assert self.starts("03/04/2024 10:00", date_order="day_first") == ["2024-04-03 10:00".replace(" ", "T")]
        assert self.starts("03/04/2024 10:00", date_order="month_first") == ["2024-03-04T10:00"]

    def test_a_date_with_one_reading_settles_the_others(self):
        assert self.starts("03/04/2024 10:00", "25/03/2024 10:00") == ["2024-04-03T10:00", "2024-03-25T10:00"]
        assert self.starts("03/04/2024 10:00", "03/25/2024 10:00") == ["2024-03-04T10:00", "2024-03-25T10:00"]

    def test_dates_that_prove_both_orders_settle_nothing(self):
        with pytest.raises(StudyError, match="1 problem"):
            self.starts("03/04/2024 10:00", "25/03/2024 10:00", "03/25/2024 10:00")

    def test_dates_of_one_reading_each_need_no_key(self):
        assert self.starts("04/04/2024 10:00", "25/03/2024 10:00", "03/26/2024 10:00") == [
            "2024-04-04T10:00", "2024-03-25T10:00", "2024-03-26T10:00"]

    def test_a_date_that_the_key_makes_impossible_is_not_a_date(self):
        records = read_records(study([GOOD, outage("x", "03/25/2024 10:00", "03/25/2024 11:00", 1)],
                                     date_order="day_first"))
        assert {f.code for f in records.findings} == {"started_not_a_date", "restored_not_a_date"}

    @pytest.mark.parametrize(("text", "read"), [
        ("2024-3-5 8:05", "2024-03-05T08:05"), ("2024/03/05 08:05:59", "2024-03-05T08:05"),
        ("20240305T0805", "2024-03-05T08:05"), ("5 Mar 2024 8:05 pm", "2024-03-05T20:05"),
        ("Mar 5, 2024 12:05 AM", "2024-03-05T00:05"), ("25.03.2024 14:05", "2024-03-25T14:05"),
        ("03/25/2024 2:05 PM", "2024-03-25T14:05"), ("2024-03-05T08:05:09.5", "2024-03-05T08:05"),
    ])
    def test_readings(self, text, read):
        assert self.starts(text) == [read]

    @pytest.mark.parametrize("text", ["now", "today", "2024", "2024-03", "24/03/25 10:00", "2024-02-30T10:00",
                                      "03/25/2024 25:00", "03/25/2024 13:00 PM", "Smarch 5 2024", "12:00", "45376.5"])
    def test_no_readings(self, text):
        with pytest.raises(StudyError, match="2 problems") as error:       # its end is of the same text
            self.starts(text)
        assert "not readable as a date and time" in error.value.problems[0].rule


class TestPeriod:
    def partial(self, days: list[str], **values: object) -> dict[int, str]:
        rows = [outage(f"e{i}", f"{d}T10:00", f"{d}T11:00", 1) for i, d in enumerate(days)]
        return dict(read_records(study(rows, **values)).partial)

    WEEKS = np.arange(np.datetime64("2021-04-10"), np.datetime64("2023-09-20"), 7).astype(str).tolist()

    def test_records_that_begin_and_end_within_a_year_are_said_to_cover_a_part(self):
        assert self.partial(self.WEEKS) == {2021: "covered from 2021-04-10", 2023: "covered to 2023-09-16"}

    def test_a_gap_that_chance_explains_is_no_part(self):
        assert self.partial(["2021-04-10", "2022-01-01", "2023-09-20"]) == {}

    def test_keys_decide(self):
        kept = {"records_from": "2021-01-01", "records_to": "2023-12-31"}
        assert self.partial(self.WEEKS, **kept) == {}
        assert self.partial(["2023-05-01"], records_from="2023-02-01", records_to="2023-11-30") == {
            2023: "covered from 2023-02-01 to 2023-11-30"}


def test_years_without_a_record_are_covered_too():
    rows = [outage("a", "2020-05-01T10:00", "2020-05-01T11:00", 1),
            outage("b", "2023-05-01T10:00", "2023-05-01T11:00", 1)]
    assert read_records(study(rows)).years.tolist() == [2020, 2021, 2022, 2023]


def test_an_event_belongs_to_the_day_and_year_it_began():
    rows = [outage("a", "2022-12-31T23:50", "2023-01-01T03:00", 1),
            outage("a", "2023-01-01T00:10", "2023-01-02T00:00", 2)]
    steps = read_records(study(rows)).steps
    assert set(steps["year"]) == {2022}
    assert {str(d)[:10] for d in steps["day"]} == {"2022-12-31"}


@pytest.mark.parametrize(("extra", "values", "column"), [
    ({"causes": {"tree": "both"}}, {}, "history.causes.tree"),
    ({"customers_served": {"2023": -1}}, {}, "history.customers_served.2023"),
    ({"customers_served": {"then": 5}}, {}, "history.customers_served.then"),
    ({"conversions": {"A1": "soon"}}, {}, "history.conversions.A1"),
    ({"conversions": {"Z": "2023-01-01"}}, {}, "history.conversions.Z"),
    ({"conversions": {"A": "2023-01-01", "A1": "2023-01-01"}}, {}, "history.conversions.A"),
    ({"conversions": {"A1": {"day": "soon"}}}, {}, "history.conversions.A1"),
    ({"conversions": {"A1": {"device": "fuse"}}}, {}, "history.conversions.A1"),
    ({"conversions": {"A1": {"day": "2023-01-01", "device": "switch"}}}, {}, "history.conversions.A1.device"),
    ({"conversions": {"A1": {"day": "2023-01-01", "link": "40T"}}}, {}, "history.conversions.A1.link"),
    ({}, {"time_zone": "Middle/Nowhere"}, "history.time_zone"),
    ({}, {"major_event_days": "2023-02-11, 11.2.2023"}, "history.major_event_days"),
    ({}, {"major_event_days": "2023-02-11 2023-02-12"}, "history.major_event_days"),
    ({}, {"major_event_method": "fixed"}, "history.major_event_method"),
    ({}, {"records_from": "2024-01-01", "records_to": "2023-01-01"}, "history.records_to"),
])
def test_wrong_keys_are_problems(extra, values, column):
    with pytest.raises(StudyError) as error:
        read_records(study([GOOD], extra=extra, **values))
    assert [p.column for p in error.value.problems] == [column]


@pytest.mark.parametrize(("stated", "before"), [
    ("2023-01-01", {}),
    ({"day": "2023-01-01"}, {"A1": Replaced("fuse", "")}),
    ({"day": "2023-01-01", "fuse_link": "40T"}, {"A1": Replaced("fuse", "40T")}),
    ({"day": "2023-01-01", "device": "lateral_recloser"}, {"A1": Replaced("lateral_recloser", "")})])
def test_a_conversion_may_say_what_stood_there_before(stated, before):
    settings = read_records(study([GOOD], extra={"conversions": {"A1": stated}})).settings
    assert settings.conversions == {"A1": np.datetime64("2023-01-01")}
    assert settings.replaced == before


@pytest.mark.parametrize("days", [
    "2023-02-11, 2023-03-01", "2023-02-11;2023-03-01;", "2023-03-01T00:00:00,2023-02-11 09:30"])
def test_days_are_listed_with_commas_or_semicolons(days):
    settings = read_records(study([GOOD], major_event_days=days)).settings
    assert settings.major_event_days.astype(str).tolist() == ["2023-02-11", "2023-03-01"]


def test_all_wrong_keys_are_told_at_once():
    with pytest.raises(StudyError) as error:
        read_records(study([GOOD], extra={"causes": {"a": "b"}}, time_zone="Middle/Nowhere", records_from="x"))
    assert len(error.value.problems) == 3


def test_no_records_is_a_problem():
    with pytest.raises(StudyError, match="1 problem"):
        read_records(study([]))


def test_times_that_are_no_dates_say_why_and_the_forms_that_are_read():
    rows = [GOOD, outage("x", "06/25/23 10:00", START, 10), outage("y", START, "soon", 10)]
    lines = messages(read_records(study(rows)).findings, "outages.csv")
    assert lines[0].startswith("outages.csv: row 3: Start time not a date, such as 06/25/23 10:00 (its year has two ")
    assert any(line.startswith("outages.csv: row 4: Restore time not a date, such as soon (no such form") for line in
               lines)
    assert lines[-1] == f"outages.csv: of dates and times {FORMS}."
    assert FORMS not in "".join(messages(read_records(study([GOOD, GOOD])).findings, "outages.csv"))


@pytest.mark.parametrize(("bad", "of", "noted"), [(1, 3, True), (1, 1, False), (2, 4, True), (2, 3, False),
                                                  (21, 22, False)])
@pytest.mark.parametrize("column", ["started", "restored"])
def test_times_that_cannot_be_read_are_noted_and_most_of_a_column_are_a_problem_each(column, bad, of, noted):
    rows = [outage(f"x{k}", "2023-06-05T10:00", "2023-06-05T11:00", 10) for k in range(of)]
    rows[:bad] = [row | {column: f"{k}/06/23 10:00"} for k, row in enumerate(rows[:bad])]
    if noted:
        assert {f.code: f.count for f in read_records(study(rows)).findings}[f"{column}_not_a_date"] == bad
        return
    with pytest.raises(StudyError) as error:
        read_records(study(rows))
    assert [(p.row, p.column, p.value) for p in error.value.problems] == [
        (k + 2, column, f"{k}/06/23 10:00") for k in range(bad)]
    assert all("its year has two digits" in p.rule for p in error.value.problems)
    assert sum(p.remedy == FORMS for p in error.value.problems) == 1


def test_times_of_far_years_are_as_little_left_out_in_numbers_and_blank_ones_are_only_told():
    rows = [outage(f"x{k}", START, START, 10) for k in range(10)]
    far = [row | {"started": "1900-01-01"} if k < 6 else row for k, row in enumerate(rows)]
    with pytest.raises(StudyError, match="6 problems"):
        read_records(study(far))
    blank = [row | {"started": ""} if k < 3 else row for k, row in enumerate(rows)]
    assert [(f.code, f.count) for f in read_records(study(blank)).findings if "missing" in f.code] == [
        ("missing_started", 3)]


def test_no_row_left_says_why():
    with pytest.raises(StudyError) as error:
        read_records(study([GOOD], records_from="2024-01-01"))
    assert "(1)" in error.value.problems[0].rule


def test_two_dates_of_one_day_without_a_time_leave_the_duration_unknown():
    """No momentary interruption: only where a time says so is it over at once."""
    rows = [outage("a", "2023-06-05", "2023-06-05", 10), outage("b", "2023-06-05", "2023-06-06", 10),
            outage("c", "2023-06-05T00:00", "2023-06-05T00:00", 10)]
    steps = read_records(study(rows)).steps
    assert np.isnan(steps["seconds"].to_numpy()[0])
    assert steps["seconds"].tolist()[1:] == [86_400, 0]
    assert steps["counted"].tolist() == [False, True, True]
