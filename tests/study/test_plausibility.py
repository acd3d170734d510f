"""Other units than ours are asked about, whatever holds them; usual studies are not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.schema.assumptions import ASSUMPTIONS, BY_KEY, defaults
from reliability.schema.columns import COLUMN_TABLES, KM_PER_MILE
from reliability.schema.plausible import RANGES
from reliability.schema.problems import StudyError
from reliability.study.study import Study

SECTIONS = pd.DataFrame({
    "section_id": ["main", "tap", "end"], "parent_id": ["", "main", "main"], "device": ["breaker", "fuse", ""],
    "length_km": [2.0, 0.8, 1.1], "customers": [10, 35, 60], "load_kw": [13.0, 48.0, 90.0],
    "peak_load_a": [60.0, 5.0, 9.0],
    "fault_current_source_a": [4200.0, 2900.0, 2900.0], "fault_current_end_a": [2900.0, 1800.0, 2100.0],
    "repair_hours": [3.0, 3.5, 4.0], "system_kv": 12.47, "bil_kv": 95.0, "connected_kva": [50.0, 150.0, 300.0],
    "line_fault_rate_per_km": 0.2, "dead_time_s": [2.0, np.nan, np.nan], "minimum_trip_a": [400.0, np.nan, np.nan],
    "years_observed": 5.0, "faults_observed": 1})
SETTINGS = pd.DataFrame({"section_id": ["main"], "element": ["phase"], "operation": ["fast"], "pickup_a": [400.0],
                         "curve": ["definite"], "time_dial": [0.1], "added_time_s": [0.08]})
CURVES = pd.DataFrame({"curve": "own", "current_a": [100.0, 1000.0], "time_s": [1.0, 0.1]})


def notes(column: str = "", factor: float = 1.0, table: str = "sections", **assumptions: object) -> list[str]:
    """Questions about the units of a study of which one column is in another unit."""
    frames = {"sections": SECTIONS, "settings": SETTINGS, "curves": CURVES}
    if column:
        frames[table] = frames[table].assign(**{column: frames[table][column] * factor})
    study = Study.from_frames(**frames, **assumptions)
    return [note for note in study.notes if "Is it in" in note]


def test_a_usual_study_is_not_asked():
    assert notes() == []


@pytest.mark.parametrize(("column", "factor", "table", "other"), [
    ("repair_hours", 60, "sections", "minutes"), ("length_km", 1000, "sections", "metres"),
    ("length_km", 3281, "sections", "feet"), ("load_kw", 1000, "sections", "watts"),
    ("load_kw", 1e-3, "sections", "megawatts"),
    ("connected_kva", 1e-3, "sections", "megavolt-amperes"), ("connected_kva", 1e3, "sections", "volt-amperes"),
    ("peak_load_a", 1e-3, "sections", "kiloamperes"), ("fault_current_source_a", 1e-3, "sections", "kiloamperes"),
    ("fault_current_end_a", 1e-3, "sections", "kiloamperes"), ("minimum_trip_a", 1e-3, "sections", "kiloamperes"),
    ("line_fault_rate_per_km", 100, "sections", "100 km"), ("dead_time_s", 400, "sections", "milliseconds"),
    ("customers", 1000, "sections", "another count"), ("pickup_a", 1e-3, "settings", "kiloamperes"),
    ("added_time_s", 60, "settings", "cycles"), ("time_dial", 1000, "settings", "milliseconds"),
    ("time_s", 1000, "curves", "milliseconds"), ("current_a", 1e-3, "curves", "kiloamperes")])
def test_a_column_in_another_unit_is_asked_about(column, factor, table, other):
    found = notes(column, factor, table)
    assert any(other in note.partition("Is it in")[2] for note in found), found


@pytest.mark.parametrize(("column", "factor"), [
    ("system_kv", 1000), ("bil_kv", 1000), ("dead_time_s", 1000), ("years_observed", 404), ("repair_hours", 3600),
    ("line_fault_rate_per_km", 1000)])
def test_a_column_beyond_the_bounds_of_its_twin_is_a_problem(column, factor):
    with pytest.raises(StudyError, match=column):
        notes(column, factor)


@pytest.mark.parametrize(("key", "value", "other"), [
    ("repair_hours", 180, "minutes"), ("switching_hours", 60, "minutes"), ("refuse_hours", 90, "minutes"),
    ("reset_hours", 90, "minutes"), ("patrol_hours", 90, "minutes"), ("repair_crew_hours", 240, "minutes"),
    ("refuse_crew_hours", 120, "minutes"), ("fast_clearing_time_s", 5, "cycles"), ("fuse_failure", 1, "per cent"),
    ("discount_rate", 0.7, "per cent"), ("line_fault_rate_per_km", 20, "100 km"), ("memory_s", 0.5, "minutes"),
    ("repair_hours", {"low": 100, "likely": 180, "high": 300}, "minutes"), ("temporary_fraction", 0.0075, "per cent"),
    ("momentary_withstand_a", 12.5, "kiloamperes"), ("system_kv", 0.4, "volts"), ("bil_kv", 950, "volts")])
def test_an_assumption_in_another_unit_is_asked_about(key, value, other):
    found = notes(**{key: value})
    assert any(f".{key} is" in note and other in note.partition("Is it in")[2] for note in found), found


def test_customers_served_of_another_magnitude_are_asked_about():
    assert notes(history={"customers_served": {"2024": 105}}) == []
    assert "thousands" in notes(history={"customers_served": {"2024": 0.105}})[0]


def test_the_note_says_what_it_is_what_is_usual_and_what_to_do():
    assert notes("repair_hours", 60) == [
        "sections: the median of repair_hours is 210 h; usual are 0.05 to 48 h (1 to 12; the replacement of one "
        "transformer may take days). Is it in minutes? Convert it, or leave it where it is right."]


def test_every_default_is_usual():
    values = dict(defaults())
    assert [key for key, usual in RANGES.items() if isinstance(values.get(key), int | float) and values[key]
            and not usual.low <= values[key] <= usual.high] == []


def test_every_range_is_of_a_column_or_an_assumption():
    names = {c.name for columns in COLUMN_TABLES.values() for c in columns}
    assert set(RANGES) <= names | set(BY_KEY)
    assert all(usual.low < usual.high and usual.other for usual in RANGES.values())


def test_columns_have_the_bounds_of_the_assumptions_of_their_name():
    by_key = {a.key: a for a in ASSUMPTIONS if a.kind in ("number", "whole")}
    twins = [(c, by_key[c.name]) for c in COLUMN_TABLES["sections"] if c.name in by_key]
    assert len(twins) >= 9
    assert [c.name for c, a in twins if (c.low, c.high) != (a.low, a.high) and not c.above] == []
    assert [c.name for c, a in twins if c.high != a.high] == []
    column = {c.name: c for c in COLUMN_TABLES["sections"]}
    assert column["line_fault_rate_per_mi"].high == by_key["line_fault_rate_per_km"].high * KM_PER_MILE


def test_a_flat_study_is_asked_about_table_by_table():
    feeders = pd.DataFrame({"feeder_id": ["f"], "customers": [100], "main_length_km": [4.0]})
    laterals = pd.DataFrame({"lateral_id": ["a", "b"], "feeder_id": "f", "customers": 5, "length_km": [800.0, 300.0]})
    found = [n for n in Study.from_frames(feeders=feeders, laterals=laterals).notes if "median" in n]
    assert [n.partition(":")[0] for n in found] == ["laterals"]


def test_the_question_names_the_users_header():
    frame = SECTIONS.rename(columns={"repair_hours": "Mins"}).assign(Mins=200.0)
    study = Study.from_frames(sections=frame, columns={"sections": {"repair_hours": "Mins"}})
    assert any("the median of Mins is 200 h" in note for note in study.notes)


def test_more_faults_than_can_be_simulated_are_a_problem():
    with pytest.raises(StudyError, match="more than") as error:
        notes("length_km", 1e6)
    (problem,) = error.value.problems
    assert (problem.column, problem.row, problem.value) == ("length_km", 2, "2e+06")
    assert "16 000 000 faults are expected in 20 years" in problem.rule
    assert notes("length_km", 5e5)
