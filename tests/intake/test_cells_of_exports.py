"""Cells of exports: times with an offset from UTC, and what a spreadsheet has lost or changed."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from reliability.intake import Recipe, import_exports, read_exports, read_recipe
from reliability.schema.problems import StudyError
from tests.intake.small import SEGMENTS, take, write
from tests.workbooks import Sheet, raw_workbook, rows

HEAD = "event_id,device_id,started,restored,customers\n"
ZONED = replace(Recipe(stated=False), time_zone="America/Chicago")


def noted(imported, code: str) -> tuple[str, ...]:
    return tuple(imported.report.findings.ids(code))


def times(imported) -> list[str]:
    return imported.tables["outages"][["started", "restored"]].iloc[0].tolist()


def test_offsets_are_converted_to_the_recipes_zone(tmp_path):
    imported = take(tmp_path, ZONED, outages=HEAD + "E1,FU1,20240501T1500Z,2024-05-01T13:30-03,5\n")
    assert times(imported) == ["2024-05-01T10:00:00", "2024-05-01T11:30:00"]
    assert noted(imported, "time_offset") == ("E1",)


def test_offsets_stay_where_no_zone_is_known_in_whatever_form_they_are_written(tmp_path):
    imported = take(tmp_path, outages=HEAD + "E1,FU1,20240501T1000-0500,2024-05-01 11:30 +5:30,5\n")
    assert times(imported) == ["2024-05-01T10:00:00-05:00", "2024-05-01T11:30:00+05:30"]


def test_offsets_beside_none_ask_for_the_zone(tmp_path):
    text = HEAD + "E1,FU1,20240501T1500Z,20240501T1600Z,5\nE2,FU1,2024-06-01T10:00,2024-06-01T11:00,5\n"
    with pytest.raises(StudyError, match=r"not all times state.*\[time\] zone"):
        take(tmp_path, outages=text)
    assert times(take(tmp_path, ZONED, outages=text)) == ["2024-05-01T10:00:00", "2024-05-01T11:00:00"]


def test_dates_of_two_forms_are_listed(tmp_path):
    text = HEAD + "".join(f"E{k},FU1,{day} 10:00,{day} 11:00,5\n" for k, day in enumerate(
        ("2024-04-03", "25/03/2024", "26/03/2024")))
    assert noted(take(tmp_path, outages=text), "date_forms") == ("E0",)


def test_times_without_am_or_pm_are_listed_where_the_clock_has_twelve_hours(tmp_path):
    text = HEAD + ("E0,FU1,2024-05-01 11:30,2024-05-01 1:30 PM,5\nE1,FU1,2024-05-01 11:30 AM,2024-05-01 01:30 PM,5\n"
                   "E2,FU1,2024-05-01 13:30,2024-05-01 14:30,5\nE3,FU1,2024-05-02,2024-05-02,5\n")
    assert noted(take(tmp_path / "12", replace(ZONED, clock=12), outages=text), "half_of_day") == ("E0",)
    assert not noted(take(tmp_path / "24", replace(ZONED, clock=24), outages=text), "half_of_day")


@pytest.mark.parametrize(("cell", "rule"), [
    ('<c r="A3" t="e"><v>#N/A</v></c>', "an error of a spreadsheet"), ('<c r="A3"><f>B1</f></c>', "formula whose"),
    ('<c r="A3"><v>12.1</v></c>', "held as a number"), ('<c r="A3" s="1"><v>45363</v></c>', "day or time"),
    ('<c r="A3"><v>1234567890123456</v></c>', "more than fifteen digits")])
def test_an_id_that_a_spreadsheet_has_lost_is_a_problem(tmp_path, cell, rule):
    folder = write(tmp_path, segments=None)
    table = [line.split(",") for line in SEGMENTS.splitlines()]
    table[2][0] = cell
    (folder / "segments.xlsx").write_bytes(raw_workbook(Sheet(rows(*table)), formats=("d\\-m",)))
    with pytest.raises(StudyError, match=rule) as error:
        import_exports(folder)
    assert error.value.problems[0].row == 3


def test_an_id_shortened_in_csv_is_a_problem(tmp_path):
    with pytest.raises(StudyError, match="power of ten"):
        take(tmp_path, segments=SEGMENTS.replace("T2,", "1.23457E+15,"))


def test_a_hidden_sheet_is_left_aside_and_named(tmp_path):
    folder = write(tmp_path, segments=None)
    table = rows(*(line.split(",") for line in SEGMENTS.splitlines()))
    content = raw_workbook(Sheet(table, "Old", "hidden"), Sheet(table, "Now"))
    (folder / "segments.xlsx").write_bytes(content)
    exports = read_exports(folder)
    assert [t.name for t in exports.tables if t.file == "segments.xlsx"] == ["segments.xlsx"]
    assert exports.ignored == ("segments.xlsx, Old (hidden)",)


def test_a_short_row_is_a_problem(tmp_path):
    with pytest.raises(StudyError, match=r"row 3.*fewer cells than headers"):
        take(tmp_path, segments=SEGMENTS.replace("M2,N1,N2,2000,ABC,,F1", "M2,N1,2000,ABC,,F1"))


def test_numbers_and_days_of_frames_and_layers_are_told_from_text():
    from reliability.study.text_cells import column_kinds
    assert column_kinds(pd.Series([1.0, 2.0, None])) is None
    assert column_kinds(pd.Series([1.0, 2.5, None])) == ["w", "n", "w"]
    assert column_kinds(pd.Series([2.0 ** 53, 1.0])) == ["n", "w"]
    assert column_kinds(pd.Series(["a", 12.1, 3], dtype=object)) == ["t", "n", "t"]
    assert column_kinds(pd.to_datetime(pd.Series(["2024-03-12", None]))) == ["d", "t"]


def test_years_of_two_digits_ask_for_the_century_however_few_they_are(tmp_path):
    text = HEAD + "".join(f"E{k},FU1,{day} 10:00,{day} 11:00,5\n" for k, day in enumerate(
        ("3-Apr-2024", "4-Apr-2024", "5-Apr-24")))
    with pytest.raises(StudyError, match=r"its year has two digits \(row 4\); state it in .*\[time\] century"):
        take(tmp_path, outages=text)
    recipe = replace(Recipe(stated=False), century=2000)
    assert read_recipe(recipe.text.encode()).century == 2000
    assert take(tmp_path, recipe, outages=text).tables["outages"]["started"].tolist()[2] == "2024-04-05T10:00:00"


def test_times_that_cannot_be_read_are_refused_with_the_forms_and_few_of_them_are_listed_with_the_reason(tmp_path):
    said = r"a spreadsheet's number of a day: have the column .* \(row 2\); read are 2024-04-03 10:05 \("
    with pytest.raises(StudyError, match=said):
        take(tmp_path, outages=HEAD + "E1,FU1,45385,,5\n")
    text = HEAD + "".join(f"E{k},FU1,{day},,5\n" for k, day in enumerate(("2024-04-03", "2024-04-04", "45385")))
    imported = take(tmp_path, outages=text)
    assert noted(imported, "time_unreadable") == ("E2",)
    assert any("such as 45385 (not readable as a date and time: a spreadsheet's number of a day: " in n.title
               for n in imported.report.findings.noted)


@pytest.mark.parametrize("text", ['[time]\ncentury = 20\n', '[time]\ncentury = "2000"\n', '[time]\ncentury = 24\n'])
def test_another_century_is_a_problem(text):
    with pytest.raises(StudyError, match=r"time\.century.*write 1900 or 2000"):
        read_recipe(text.encode())
