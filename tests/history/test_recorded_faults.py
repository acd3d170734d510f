"""Which faults the outage records show, at which place, and of what kind."""

from __future__ import annotations

import numpy as np

from reliability.history.outages import read_records
from reliability.history.protection_then import Spell, spells
from reliability.history.recorded_faults import fault_counts, recorded_faults
from reliability.history.units import units_of
from tests.history.records import TWO_FEEDERS, outage, study

BASE = ("2023-05-03T10:00", "2023-05-03T11:00", 10)


def faults(*rows: dict, **kwargs) -> list[tuple[str, int]]:
    """Section and kind of each fault."""
    records = read_records(study(rows, **kwargs))
    table = recorded_faults(records)
    return sorted(zip(records.network.ids[table["section"]].tolist(), table["kind"].tolist(), strict=True))


def devices(*rows: dict, **kwargs) -> list[str]:
    """Of each fault, in order of its time, the reclosing device that opened."""
    records = read_records(study(rows, **kwargs))
    table = recorded_faults(records).sort_values("at")
    return ["" if d < 0 else str(records.network.ids[d]) for d in table["device"]]


def test_one_event_is_one_fault_however_many_steps():
    later = outage("a", "2023-05-03T10:00", "2023-05-03T12:00", 5)
    assert faults(outage("a", *BASE), later) == [("A1", -1)]


def test_whoever_was_interrupted_at_a_fuse_was_so_by_a_fault_however_short():
    assert faults(outage("a", "2023-05-03T10:00", "2023-05-03T10:01", 10)) == [("A1", -1)]


def test_planned_events_are_none():
    assert faults(outage("a", *BASE, planned="yes")) == []


def test_rows_without_a_duration_or_customers_still_are():
    assert faults(outage("a", "2023-05-03T10:00", "", 10), outage("b", "2023-05-04T10:00", "", "")) == [
        ("A1", -1), ("A1", -1)]


def test_openings_of_one_section_within_five_minutes_are_one_fault():
    rows = [outage(f"e{m}", f"2023-05-03T10:{m:02d}", f"2023-05-03T10:{m:02d}", 10) for m in (0, 1, 5)]
    assert len(faults(*rows)) == 1
    assert len(faults(*rows, outage("x", "2023-05-03T10:06", "2023-05-03T10:06", 10))) == 2


def test_an_event_lies_at_the_furthest_section_it_names():
    assert faults(outage("a", "2023-05-03T10:00:00", "2023-05-03T10:00:02", 900, "A"),
                  outage("a", *BASE, "A1x", fault_kind="permanent"), outage("a", *BASE, "A1")) == [("A1x", 1)]


def test_what_a_reclosing_device_rode_through_is_no_fault_of_a_place():
    """Breaker A and recloser AR, with laterals in their zones or none, and a section of the main."""
    sections = [*TWO_FEEDERS, {"section_id": "AR", "parent_id": "A", "device": "recloser"},
                {"section_id": "AM", "parent_id": "A", "device": ""}]
    rows = [outage(f"e{i}", f"2023-05-0{i + 1}T10:00", f"2023-05-0{i + 1}T10:01", 10, name)
            for i, name in enumerate(("A", "AR", "AM", "B"))]
    assert faults(*rows, sections=sections) == []


def test_a_lateral_recloser_rides_through_as_any_other():
    sections = [TWO_FEEDERS[0], TWO_FEEDERS[1] | {"device": "lateral_recloser"}, *TWO_FEEDERS[2:]]
    blink = outage("a", "2023-05-03T10:00", "2023-05-03T10:01", 200)
    assert faults(blink, sections=sections) == []
    behind = outage("b", "2023-05-03T10:01", "2023-05-03T11:00", 50, "A1x")
    assert faults(blink, behind, sections=sections) == [("A1x", -1)]


def test_a_lockout_is_a_fault_with_the_blink_before_it():
    blink = outage("a", "2023-05-03T10:00", "2023-05-03T10:01", 600, "A")
    lockout = outage("b", "2023-05-03T10:02", "2023-05-03T11:00", 600, "A")
    assert faults(blink, lockout) == [("A", -1)]
    assert devices(blink, lockout) == ["A"]


def test_a_blink_recorded_with_what_it_led_to_is_one_event():
    blink = outage("a", "2023-05-03T10:00", "2023-05-03T10:01", 600, "A")
    assert faults(blink, outage("a", *BASE, "A2")) == [("A2", -1)]


def test_the_device_that_opened_is_the_nearest_one_above():
    sections = [*TWO_FEEDERS, {"section_id": "AM", "parent_id": "A", "device": ""},
                {"section_id": "AR", "parent_id": "AM", "device": "recloser"}]
    rows = [outage(f"e{i}", f"2023-05-0{i + 1}T10:00", f"2023-05-0{i + 1}T11:00", 10, name)
            for i, name in enumerate(("A", "AM", "AR", "A1", "A1x"))]
    assert devices(*rows, sections=sections) == ["A", "A", "AR", "", ""]


def test_a_cause_tells_the_kind_only_where_it_is_mapped_and_the_kind_is_blank():
    rows = [outage("a", *BASE, cause="Tree"),
            outage("b", "2023-06-03T10:00", "2023-06-03T11:00", 10, cause="tree", fault_kind="permanent"),
            outage("c", "2023-07-03T10:00", "2023-07-03T11:00", 10, cause="wind")]
    assert [k for _, k in faults(*rows)] == [-1, -1, 1]
    assert [k for _, k in faults(*rows, extra={"causes": {"tree": "temporary"}})] == [-1, 0, 1]


def counted(extra: dict, **kwargs) -> tuple[dict[str, list[int]], list[list[int]]]:
    """Counts by unit and by reclosing device, of a fault a year at A1 (a recloser there today)."""
    sections = [TWO_FEEDERS[0], TWO_FEEDERS[1] | {"device": "lateral_recloser"}, *TWO_FEEDERS[2:]]
    rows = [outage(f"e{y}", f"{y}-05-03T10:00", f"{y}-05-03T11:00", 10, "A1", fault_kind=kind)
            for y, kind in ((2020, "temporary"), (2021, "permanent"), (2022, ""), (2023, "permanent"))]
    made = study(rows, sections, extra, records_from="2020-01-01", records_to="2023-12-31", **kwargs)
    records = read_records(made)
    times: list[Spell] = list(spells(made, records.settings, np.datetime64("2020-01-01", "s"),
                                     np.datetime64("2024-01-01", "s")))
    units, covered = units_of(made.model, "all"), np.zeros(len(made.network), bool)
    found = fault_counts(records, times, units, np.array([0, 1]), covered)
    return dict(zip(units.name, found.at_unit.tolist(), strict=True)), found.at_device.tolist()


def test_a_fault_at_a_lateral_recloser_is_one_of_the_device_since_it_stands_there():
    """Until 2022 a fuse stood there: its faults are the unit's."""
    nothing = [0, 0, 0]
    units, at_device = counted({})
    assert units["A1"] == nothing
    assert at_device == [nothing, [1, 2, 1]]
    units, at_device = counted({"conversions": {"A1": "2022-01-01"}})
    assert units["A1"] == [1, 1, 0]
    assert at_device == [nothing, [0, 1, 1]]
