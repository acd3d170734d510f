"""Counter readings and events of reclosing devices, as the estimate of rates takes them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reliability.history.device_events import finding_lines
from reliability.history.evidence import find_evidence
from reliability.history.history import read_history
from reliability.history.operations import Operations, read_operations
from reliability.history.outages import read_records
from reliability.history.rates import observations
from tests.history.records import TWO_FEEDERS, outage, study

A, A1, B = 0, 1, 4      # positions of these sections in the network
OTHER = outage("x", "2023-06-01T00:00:00", "2023-06-01T02:00:00", 10, "A1", fault_kind="permanent")
WHOLE = {"records_from": "2022-01-01", "records_to": "2023-12-31"}


def operations(rows=(), outages=(OTHER,), sections=TWO_FEEDERS, **values) -> Operations:
    """Operations of a study; rows: (section_id, from, to, operations, kind) as they would be read."""
    frame = pd.DataFrame(list(rows), columns=["section_id", "from", "to", "operations", "kind"])
    times = {name: pd.to_datetime(frame[name], format="ISO8601").to_numpy().astype("datetime64[s]")
             for name in ("from", "to")}
    frame = frame.assign(row=range(2, len(rows) + 2), operations=frame["operations"].astype(float), **times)
    made = replace(study(list(outages), sections, **(WHOLE | values)), operations=frame)
    return read_operations(made, read_records(made))


class TestEventsWithoutASection:
    BLINKS = tuple(outage(f"m{d}", f"2022-08-0{d}T10:00", f"2022-08-0{d}T10:01", 900, "A" if d < 4 else "")
                   for d in (1, 2, 3, 4))

    def test_the_share_that_names_one_thins_what_is_expected(self):
        made = study([OTHER, *self.BLINKS], momentary="all", **WHOLE)
        whole = study([OTHER, *self.BLINKS[:3]], momentary="all", **WHOLE)
        found, of_all = (_evidence(each) for each in (made, whole))
        assert found.events.sum() == of_all.events.sum() == 3
        for part in ("alone", "beside"):
            assert getattr(found, part).temporary == pytest.approx(0.75 * getattr(of_all, part).temporary)

    def test_a_device_with_a_log_of_its_own_has_all_its_events(self):
        made = study([OTHER, *self.BLINKS], momentary="all", **WHOLE)
        rows = pd.DataFrame([("A", "2022-09-01T10:00:00", "", 1.0, "event", 2)],
                            columns=["section_id", "from", "to", "operations", "kind", "row"])
        times = {name: pd.to_datetime(rows[name]).to_numpy().astype("datetime64[s]") for name in ("from", "to")}
        logged = _evidence(replace(made, operations=rows.assign(**times))).alone
        plain = _evidence(study([OTHER, *self.BLINKS[:3]], momentary="all", **WHOLE)).alone
        share = logged.by_place(logged.temporary, 2) / plain.by_place(plain.temporary, 2)
        assert share == pytest.approx([1.0, 0.75])

    def test_steps_of_a_sustained_event_and_planned_work_are_none_of_them(self):
        step = outage("x", "2023-06-01T00:00:00", "2023-06-01T00:01:00", 10, "")
        planned = outage("p", "2023-06-02T00:00:00", "2023-06-02T00:01:00", 10, "", planned="true")
        assert operations(outages=[OTHER, step, planned, *self.BLINKS]).with_place == 0.75
        assert operations(outages=[OTHER]).with_place == 1.0


def _evidence(made):
    records = read_records(made)
    return find_evidence(made, observations(made, records, read_operations(made, records))).evidence


def counter(begin, end, steps, section="A"):
    return section, begin, end, steps, "counter"


def ignore(begin, end, steps=np.nan, section="A"):
    return section, begin, end, steps, "ignore"


def event(time, openings=1, section="A"):
    return section, time, None, openings, "event"


def momentary(start, section="A", customers=600, seconds=60, **cells):
    begun = pd.Timestamp(start)
    return outage(f"m{start}{section}", begun.isoformat(), (begun + pd.Timedelta(seconds=seconds)).isoformat(),
                  customers, section, **cells)


def kinds(found: Operations) -> dict[str, list[int]]:
    return {f.kind: f.rows.tolist() for f in found.findings}


def days(frame: pd.DataFrame) -> list[tuple]:
    return [(d, str(a)[:10], str(b)[:10]) for d, a, b in zip(
        frame["device"], frame["start"].to_numpy(), frame["end"].to_numpy(), strict=True)]


def test_readings_keep_their_span_and_steps():
    found = operations([counter("2023-01-01", "2023-07-01", 8), counter("2022-01-01", "2023-01-01", 12),
                        counter("2022-01-01", "2024-01-01", 5, "B")])
    assert days(found.spans) == [(A, "2022-01-01", "2023-01-01"), (A, "2023-01-01", "2023-07-01"),
                                 (B, "2022-01-01", "2024-01-01")]
    assert found.spans["steps"].tolist() == [12, 8, 5]
    assert found.spans["row"].tolist() == [3, 2, 4]
    assert found.spans["reading"].tolist() == [0, 1, 2]
    assert not found.findings


def test_ignored_steps_are_taken_out_with_their_time():
    found = operations([counter("2022-01-01", "2023-01-01", 20), ignore("2022-03-01", "2022-03-05", 6),
                        ignore("2022-12-20", "2023-01-10", 0)])
    assert days(found.spans) == [(A, "2022-01-01", "2022-03-01"), (A, "2022-03-05", "2022-12-20")]
    assert found.spans["reading"].tolist() == [0, 0]
    np.testing.assert_array_equal(found.spans["steps"], [14, np.nan])


@pytest.mark.parametrize(("span", "kind"), [
    (ignore("2022-03-01", "2022-03-05"), "not_split"),                # steps not known
    (ignore("2022-12-20", "2023-01-10", 4), "not_split"),             # partly beyond the reading
    (ignore("2022-03-01", "2022-03-05", 21), "more_ignored"),
    (ignore("2021-12-01", "2023-02-01"), "all_ignored"),
])
def test_a_reading_that_cannot_be_cut_is_left_out_and_listed(span, kind):
    found = operations([counter("2022-01-01", "2023-01-01", 20), span, counter("2022-01-01", "2023-01-01", 3, "B")])
    assert found.spans["steps"].tolist() == [3]
    assert kinds(found) == {kind: [2]}


def test_a_span_ignored_beside_a_reading_or_of_another_device_leaves_it():
    found = operations([counter("2022-01-01", "2022-06-01", 20), ignore("2022-06-01", "2022-06-11"),
                        counter("2022-06-11", "2023-01-01", 1), ignore("2022-02-01", "2022-03-01", section="B")])
    assert found.spans["steps"].tolist() == [20, 1]
    assert not found.findings


def test_steps_never_count_twice():
    found = operations([counter("2022-01-01", "2022-07-01", 7), counter("2022-06-01", "2022-12-01", 9),
                        counter("2022-11-01", "2023-02-01", 4), counter("2022-01-01", "2022-07-01", 7),
                        counter("2022-06-01", "2022-12-01", 2, "B")])
    # the third overlaps only the second, which does not count
    assert found.spans["steps"].tolist() == [7, 4, 2]
    assert kinds(found) == {"overlapping": [3], "repeated": [5]}


def test_events_come_from_both_files_once():
    found = operations([event("2022-05-01T10:00:30", 3), event("2022-08-01T00:00:00", 2)],
                       [OTHER, momentary("2022-05-01T10:00:00"), momentary("2022-09-01T00:00:00"),
                        momentary("2022-09-02T00:00:00", "B")])
    assert found.events["device"].tolist() == [A, A, A, B]
    assert found.events["openings"].tolist() == [3, 2, 1, 1]
    assert found.events["source"].tolist() == ["both", "operations", "outages", "outages"]
    assert found.events["time"].tolist()[0] == pd.Timestamp("2022-05-01T10:00:00")
    assert kinds(found) == {"in_both": [2]}


def test_events_more_than_a_minute_apart_in_the_two_files_are_two():
    found = operations([event("2022-05-01T10:01:01")], [OTHER, momentary("2022-05-01T10:00:00")])
    assert len(found.events) == 2


def test_openings_within_five_minutes_are_one_event():
    found = operations([event("2022-05-01T10:00:00"), event("2022-05-01T10:00:20", 2), event("2022-05-01T10:05:01"),
                        event("2022-05-01T10:05:01")],
                       [OTHER, momentary("2023-02-01T00:00:00", customers=300),
                        momentary("2023-02-01T00:00:00", customers=200), momentary("2023-02-01T00:00:40")])
    assert found.events["openings"].tolist() == [3, 1, 2]
    assert kinds(found) == {"one_sequence": [3]}


def test_a_sequence_that_ends_in_lockout_is_no_momentary_event():
    lockout = outage("l", "2022-05-01T10:01:00", "2022-05-01T12:00:00", 600, "A")
    fuse = outage("f", "2022-07-01T10:01:00", "2022-07-01T12:00:00", 200, "A1")
    found = operations([event("2022-05-01T10:00:00", 4), event("2022-07-01T10:00:30", 2),
                        event("2022-05-01T09:54:00"), event("2022-05-01T13:00:00")], [OTHER, lockout, fuse])
    assert found.events["time"].tolist() == [pd.Timestamp("2022-05-01T09:54:00"), pd.Timestamp("2022-05-01T13:00:00"),
                                             pd.Timestamp("2022-07-01T10:00:30")]
    assert kinds(found) == {"lockout": [2]}


def test_a_record_at_a_solid_section_is_its_devices_and_one_at_a_fuse_nobodys():
    sections = (*TWO_FEEDERS, {"section_id": "B1", "parent_id": "B", "device": "", "customers": 5, "length_km": 1.0})
    found = operations([], [OTHER, momentary("2022-05-01T10:00:00", "B1", 5),
                            momentary("2022-06-01T10:00:00", "A1", 5)], sections)
    assert found.events["device"].tolist() == [B]
    assert kinds(found) == {"not_at_a_reclosing_device": [4]}
    assert days(found.monitored) == [(B, "2022-01-01", "2024-01-01")]


@pytest.mark.parametrize(("choice", "devices", "events"), [("all", [A, B], 2), ("some", [A, B], 2), ("none", [A], 1)])
def test_who_is_monitored_is_what_the_study_says(choice, devices, events):
    found = operations([event("2022-05-01T10:00:00")], [OTHER, momentary("2022-08-01T00:00:00", "B")], momentary=choice)
    assert found.monitored["device"].tolist() == devices
    assert len(found.events) == events
    alone = operations([], momentary=choice)
    assert alone.monitored["device"].tolist() == ([A, B] if choice == "all" else [])


def test_planned_work_and_records_of_unknown_length_are_no_events():
    found = operations([], [OTHER, momentary("2022-05-01T10:00:00", planned="true"),
                            outage("u", "2022-06-01T10:00:00", "", 600, "A")])
    assert not len(found.events)


def test_ignored_spans_take_events_and_monitoring_out():
    found = operations([event("2022-05-01T10:00:00"), ignore("2022-05-01", "2022-05-02"), event("2022-05-02T00:00:00"),
                        event("2021-12-31T23:59:59"), event("2024-01-01T00:00:00")],
                       [OTHER, momentary("2022-05-01T20:00:00")])
    assert found.events["time"].tolist() == [pd.Timestamp("2022-05-02T00:00:00")]
    assert days(found.monitored) == [(A, "2022-01-01", "2022-05-01"), (A, "2022-05-02", "2024-01-01")]
    assert kinds(found) == {"ignored_events": [2], "outside_period": [5, 6]}


def test_no_table_and_no_event_give_empty_frames_of_the_same_columns():
    with_rows = operations([counter("2022-01-01", "2023-01-01", 1), event("2022-05-01T10:00:00")])
    made = study([OTHER])
    without = read_operations(made, read_records(made))
    for name in ("spans", "events", "monitored"):
        one, other = getattr(with_rows, name), getattr(without, name)
        assert list(one) == list(other)
        assert not len(other)


def test_findings_name_the_file_that_they_are_in():
    made = study([OTHER, momentary("2022-05-01T10:00:00", "A1", 5)])
    found = read_operations(made, read_records(made)).findings
    assert finding_lines(found, made)[0].startswith("outages.csv: row 3: A momentary interruption at a device")
    assert finding_lines([replace(found[0], in_outages=False)], made)[0].startswith("operations.csv: row 3:")


@pytest.mark.parametrize(("values", "wanted"), [
    ({}, ()), ({"planned_included": False}, ("no planned work",)),
    ({"storms_included": False}, ("leave out major storms",)),
])
def test_cautions_say_what_the_records_leave_out(values, wanted):
    cautions = read_history(study([OTHER], **values)).cautions
    for words in ("no planned work", "leave out major storms"):
        assert any(words in caution for caution in cautions) == (words in wanted)


def test_a_planned_row_in_records_said_to_hold_none_is_told():
    planned = outage("p", "2022-05-01T10:00:00", "2022-05-01T12:00:00", 5, "A1", planned="true")
    cautions = read_history(study([OTHER, planned], planned_included=False)).cautions
    assert any("1 row marked planned is there" in caution for caution in cautions)


def test_a_reading_beyond_the_records_is_held_against_all_of_its_time():
    """The records cover two years; the same counter is read over them, or over these and the two before."""
    made = study([OTHER], **WHOLE)
    begin = np.datetime64("2022-01-01", "s")
    year = np.timedelta64(int(365.25 * 86_400), "s")

    def steps(start: np.datetime64) -> float:
        frame = pd.DataFrame({"section_id": ["A"], "from": [start], "to": [begin + 2 * year], "operations": [9.0],
                              "kind": ["counter"], "row": [2]})
        of = _evidence(replace(made, operations=frame)).pure_steps
        return float(of.temporary.sum())

    assert steps(begin - 2 * year) == pytest.approx(2.0 * steps(begin), rel=2e-3)     # days of leap years
