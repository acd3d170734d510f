"""operations.csv: counter readings, events and ignored spans, typed and checked."""

from __future__ import annotations

import io

import numpy as np
import openpyxl
import pandas as pd
import pytest

from reliability.schema.columns import OPERATIONS
from reliability.schema.problems import Problem, Problems
from reliability.study import Study, open_study
from reliability.study.header_names import guess_table
from reliability.study.headers import ColumnMap, match_headers
from reliability.study.operations import read_operation_rows
from reliability.study.tables import read_rows

HEAD = "section_id,from,to,operations,kind"
SECTIONS = pd.DataFrame({"section_id": ["main", "tap", "lr"], "device": ["breaker", "fuse", "lateral_recloser"]})


def read(*lines: str, head: str = HEAD, order: str = "",
         mapped: ColumnMap | None = None) -> tuple[pd.DataFrame, list[Problem]]:
    """The frame and the problems of operations.csv."""
    problems = Problems()
    rows = read_rows("operations.csv", "\n".join((head, *lines)).encode())
    table = match_headers(rows, OPERATIONS, "operations", mapped or ColumnMap(), problems)
    return read_operation_rows(table, order, SECTIONS, problems)[0], problems.listed


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "s")


def test_kinds_times_and_openings_are_filled_in():
    frame, problems = read("main,2023-01-01,2024-01-01,12,", "lr,2023-05-03T14:05:10,,,",
                           "lr,2023-05-04T01:00,,3,Event",
                           "main,2023-06-01T10:00,2023-06-01T11:00,,ignore", "main,2023-07-01,,4,ignore",
                           "main,2023-08-01,2023-08-01,,ignore")
    assert not problems
    assert frame["kind"].tolist() == ["counter", "event", "event", "ignore", "ignore", "ignore"]
    assert frame["from"].tolist()[:2] == [pd.Timestamp("2023-01-01"), pd.Timestamp("2023-05-03T14:05:10")]
    assert frame["to"].to_numpy()[[0, 3, 4, 5]].tolist() == np.array(
        ["2024-01-01", "2023-06-01T11:00", "2023-07-02", "2023-08-02"], "datetime64[s]").tolist()
    assert np.isnat(frame["to"].to_numpy()[[1, 2]]).all()
    np.testing.assert_array_equal(frame["operations"], [12, 1, 3, np.nan, 4, np.nan])
    assert frame["row"].tolist() == [2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize(("line", "column", "value", "rule"), [
    ("mian,2023-01-01,2024-01-01,1,", "section_id", "mian", "no section has this section_id"),
    ("tap,2023-01-01,2024-01-01,1,", "section_id", "tap", "does not reclose"),
    (",2023-01-01,2024-01-01,1,", "section_id", "", "a value is required"),
    ("main,,2024-01-01,1,", "from", "", "a value is required"),
    ("main,soon,2024-01-01,1,", "from", "soon", "not readable as a date and time: no such form"),
    ("main,2023-01-01,1900-01-01,1,", "to", "1900-01-01", "before 1950"),
    ("main,2023-01-01,2024-01-01,-3,", "operations", "-3", "must lie between 0 and 1 000 000"),
    ("main,2023-01-01,2024-01-01,1000001,", "operations", "1000001", "must lie between 0"),
    ("main,2023-01-01,2024-01-01,,", "operations", "", "needs its steps"),
    ("main,2023-01-01,2024-01-01,1.5,", "operations", "1.5", "whole number"),
    ("main,2023-01-01,2024-01-01,many,", "operations", "many", "not a number"),
    ("main,2024-01-01,2023-01-01,3,", "to", "2023-01-01", "does not go forward"),
    ("main,2024-01-01,2024-01-01,3,counter", "to", "2024-01-01", "does not go forward"),
    ("main,2024-01-01,,3,counter", "to", "", "needs the end of its span"),
    ("main,2024-01-01,2024-02-01,3,event", "to", "2024-02-01", "an event has no end"),
    ("main,2024-01-01T10:00,,0,", "operations", "0", "one opening or more"),
    ("main,2024-01-01T10:00,,,ignore", "to", "", "needs its end"),
    ("main,2024-01-01,2024-02-01,3,reading", "kind", "reading", "unknown kind"),
])
def test_a_bad_cell_is_a_problem_with_its_place(line, column, value, rule):
    frame, problems = read("main,2022-01-01,2022-02-01,1,", line)
    assert len(problems) == 1, [str(p) for p in problems]
    found = problems[0]
    assert (found.file, found.row, found.column, found.value) == ("operations.csv", 3, column, value)
    assert rule in found.rule
    assert found.remedy
    assert frame["row"].tolist() == [2]


def test_a_counter_that_went_back_is_told_what_to_write():
    _, (problem,) = read("main,2023-01-01,2024-01-01,-980,")
    assert "rolled over" in problem.remedy
    assert "replaced" in problem.remedy


def test_every_problem_is_told_at_once():
    _, problems = read("main,soon,later,many,what", "mian,2024-02-01,2024-01-01,1,")
    assert sorted((p.row, p.column) for p in problems) == [
        (2, "from"), (2, "kind"), (2, "operations"), (2, "to"), (3, "section_id"), (3, "to")]


def test_dates_follow_the_rules_of_the_outage_records():
    _, (problem,) = read("main,03/04/2023,05/04/2024,1,")
    assert "day first or month first" in problem.rule
    frame, problems = read("main,03/04/2023,05/04/2024,1,", order="day_first")
    assert not problems
    assert frame["from"].to_numpy()[0] == day("2023-04-03")
    frame, problems = read("main,03/04/2023,25/04/2024,1,")     # the second date shows the order
    assert not problems
    assert frame["from"].to_numpy()[0] == day("2023-04-03")


def test_headers_may_be_mapped_and_are_recognized():
    frame, problems = read("main,2023-01-01,2024-01-01,7", head="Recloser,Last read,This read,Moved",
                           mapped=ColumnMap({"section_id": "Recloser", "from": "Last read", "to": "This read",
                                             "operations": "Moved"}))
    assert not problems
    assert frame["operations"].tolist() == [7]
    assert guess_table("recloser operations.csv", ["a"]) == "operations"
    assert guess_table("log.csv", HEAD.split(",")) == "operations"


def workbook() -> bytes:
    book = openpyxl.Workbook()
    for row in (HEAD.split(","), ["main", "2023-01-01", "2024-01-01", 5, ""]):
        book.active.append(row)
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


@pytest.mark.parametrize("files", [{"operations__csv": f"{HEAD}\nmain,2023-01-01,2024-01-01,5,\n"},
                                   {"operations__xlsx": workbook()}])
def test_a_study_of_files_or_frames_has_its_operations(folder, files):
    study = open_study(folder(**files))
    assert study.operations is not None
    assert study.operations["operations"].tolist() == [5]
    assert study.operations_file == next(iter(files)).replace("__", ".")
    frames = Study.from_frames(pd.DataFrame({"section_id": ["main"], "parent_id": [""], "device": ["breaker"],
                                             "length_km": [1], "customers": [1]}),
                               operations=pd.DataFrame({"section_id": ["main"], "from": [pd.Timestamp("2023-01-01")],
                                                        "to": [pd.Timestamp("2024-01-01")], "operations": [5]}))
    assert frames.operations is not None
    pd.testing.assert_frame_equal(frames.operations, study.operations)


def test_a_study_tells_problems_of_its_operations_with_the_others(problems):
    found = problems(operations__csv=f"{HEAD}\ntap,2023-01-01,2024-01-01,5,\n",
                     study__toml='name = "a"\n[faults]\ncv = 1\n')
    assert {p.file for p in found} == {"operations.csv", "study.toml"}


def test_the_digest_of_a_study_knows_its_operations(study):
    one, other = (study(operations__csv=f"{HEAD}\nmain,2023-01-01,2024-01-01,{n},\n").inputs_sha256 for n in (5, 6))
    assert one != other
