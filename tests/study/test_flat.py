"""Feeders and laterals in place of sections."""

from __future__ import annotations

import pytest

from reliability.schema.columns import KM_PER_MILE
from reliability.study import open_study

FEEDERS = "feeder_id,customers,main_length_km,load_kw,operations_to_lockout\nA,100,5,300,4\nB,40,2,90,3\n"
LATERALS = """\
lateral_id,feeder_id,customers,length_km,device
A-1,A,30,1,
A-2,A,20,1.5,sectionalizer
B-1,B,40,1,switch
"""


@pytest.fixture
def flat(problems):
    """Problems of a study in the flat form."""
    return lambda feeders=FEEDERS, laterals=LATERALS, **files: problems(
        sections__csv=None, feeders__csv=feeders, laterals__csv=laterals, **files)


def test_each_feeder_is_a_main_and_each_lateral_a_section_below_it(study):
    sections = study(sections__csv=None, feeders__csv=FEEDERS, laterals__csv=LATERALS).sections
    assert sections["section_id"].tolist() == ["A", "B", "A-1", "A-2", "B-1"]
    assert sections["parent_id"].tolist() == ["", "", "A", "A", "B"]
    assert sections["device"].tolist() == ["breaker", "breaker", "fuse", "sectionalizer", "switch"]
    assert sections["feeder_id"].tolist() == ["A", "B", "A", "A", "B"]
    assert sections["length_km"].tolist() == [5, 2, 1, 1.5, 1]
    assert sections["customers"].tolist() == [50, 0, 30, 20, 40]
    assert sections["customers_residential"].tolist() == [50, 0, 30, 20, 40]
    assert sections["load_kw"].tolist() == [300, 90, 0, 0, 0]
    assert sections["operations_to_lockout"].tolist()[:2] == [4, 3]
    assert sections["phases"].tolist() == [3, 3, 1, 1, 3]


def test_it_is_the_study_that_sections_would_be(folder, tmp_path_factory):
    there = tmp_path_factory.mktemp("sections")
    (there / "study.toml").write_text('name = "a study"')
    (there / "sections.csv").write_text(
        "section_id,parent_id,device,feeder_id,length_km,customers,load_kw,operations_to_lockout\n"
        "A,,breaker,A,5,50,300,4\nB,,breaker,B,2,0,90,3\n"
        "A-1,A,fuse,A,1,30,,\nA-2,A,sectionalizer,A,1.5,20,,\nB-1,B,switch,B,1,40,,\n")
    flat = open_study(folder(sections__csv=None, feeders__csv=FEEDERS, laterals__csv=LATERALS))
    assert flat.sections.equals(open_study(there).sections)


def test_miles(study):
    sections = study(sections__csv=None, feeders__csv="feeder_id,customers,main_length_mi\nA,9,2\n",
                     laterals__csv="lateral_id,feeder_id,customers,length_mi\nx,A,4,1\n").sections
    assert sections["length_km"].tolist() == pytest.approx([2 * KM_PER_MILE, KM_PER_MILE])


def test_classes_of_a_feeder_count_its_laterals_too(study):
    sections = study(
        sections__csv=None, feeders__csv="feeder_id,customers,customers_residential,customers_small_ci,main_length_km\n"
                                         "A,100,90,10,1\nB,50,,,1\n",
        laterals__csv="lateral_id,feeder_id,customers,customers_residential,customers_small_ci,length_km\n"
                      "a,A,30,26,4,1\nb,B,20,15,5,1\n").sections
    assert sections["customers_residential"].tolist() == [64, 30, 26, 15]  # B states none: its main is residential
    assert sections["customers_small_ci"].tolist() == [6, 0, 4, 5]


@pytest.mark.parametrize(("files", "file", "row", "column", "value", "rule", "remedy"), [
    ({"laterals": LATERALS.replace("B-1,B", "B-1,BB")}, "laterals.csv", 4, "feeder_id", "BB",
     "no feeder has this feeder_id", "did you mean 'B'?"),
    ({"laterals": LATERALS.replace("B-1,B", "B-1,A-1")}, "laterals.csv", 4, "feeder_id", "A-1",
     "no feeder has this feeder_id", ""),
    ({"laterals": LATERALS.replace("B-1,B", "B-1,")}, "laterals.csv", 4, "feeder_id", "", "a value is required",
     "fill in"),
    ({"laterals": LATERALS.replace("B-1,", "B,")}, "laterals.csv", 4, "lateral_id", "B",
     "this id is used already in row 3 of feeders.csv", "its own id"),
    ({"laterals": LATERALS.replace("A-2", "A-1")}, "laterals.csv", 3, "lateral_id", "A-1",
     "this id is used already in row 2", "its own id"),
    ({"laterals": LATERALS.replace("20,1.5", "71,1.5")}, "feeders.csv", 2, "customers", "100",
     "its laterals have 101 customers, more than the whole feeder", "includes those of its laterals"),
    ({"laterals": LATERALS.replace("1.5", "-1")}, "laterals.csv", 3, "length_km", "-1", "must not be negative", ""),
    ({"laterals": LATERALS.replace("1.5", "")}, "laterals.csv", 3, "length_km", "", "a value is required",
     "fill in"),
    ({"laterals": LATERALS.replace("switch", "swich")}, "laterals.csv", 4, "device", "swich", "unknown device",
     "did you mean 'switch'?"),
    ({"feeders": FEEDERS.replace("40,2", "40,two")}, "feeders.csv", 3, "main_length_km", "two", "not a number",
     "in km"),
    ({"feeders": FEEDERS.replace("90,3", "90,2")}, "feeders.csv", 3, "fast_operations", "", "must be below",
     "write 1"),
    ({"feeders": FEEDERS.replace("lockout", "lockout,fast_operations").replace("300,4", "300,1,0")
      .replace("90,3", "90,3,")}, "laterals.csv", 3, "counts", "", "of the device above it, A (1)", "that recloses"),
    ({"feeders": FEEDERS.replace("main_length_km", "length_km")}, None, None, None, None, None, None),
    ({"feeders": None}, "feeders.csv", None, None, None, "the file is missing", "laterals alone are no network"),
    ({"laterals": None}, "laterals.csv", None, None, None, "the file is missing", "feeders alone are no network"),
    ({"feeders": "feeder_id,customers,main_length_km\n", "laterals": "lateral_id,feeder_id,customers,length_km\n"},
     None, None, None, None, None, None),
])
def test_a_broken_flat_study_says_where(flat, files, file, row, column, value, rule, remedy):
    found = flat(**files)
    if file is None:
        assert found
        assert all(p.file == "feeders.csv" for p in found)
        return
    first = next(p for p in found if rule in p.rule)
    assert (first.file, first.row, first.column, first.value) == (file, row, column, value)
    assert remedy in first.remedy
    assert len(found) == 1


def test_laterals_without_rows_are_a_study_of_mains(flat):
    assert flat(laterals="lateral_id,feeder_id,customers,length_km\n") == []


def test_sections_and_the_flat_form_together_are_refused(problems):
    found = problems(feeders__csv=FEEDERS, laterals__csv=LATERALS)
    assert [p.rule for p in found] == ["there are both sections and feeders or laterals"]


def test_foreign_headers_of_both_files(study):
    found = study(
        sections__csv=None, feeders__csv="Circuit,Meters,Main\nA,9,2\n",
        laterals__csv="Tap,Circuit,Meters,km\nx,A,4,1\n",
        study__toml='name = "x"\n[columns.feeders]\nfeeder_id = "Circuit"\ncustomers = "Meters"\n'
                    'main_length_km = "Main"\n[columns.laterals]\nlateral_id = "Tap"\n'
                    'feeder_id = "Circuit"\ncustomers = "Meters"\nlength_km = "km"\n')
    assert found.sections["customers"].tolist() == [5, 4]


def test_a_problem_stands_under_the_users_header(flat):
    (problem,) = flat(laterals="Tap,feeder_id,customers,length_km\nA,A,1,1\n",
                      study__toml='name = "x"\n[columns.laterals]\nlateral_id = "Tap"')
    assert str(problem) == ("laterals.csv: row 2, column Tap: 'A': this id is used already in row 2 of feeders.csv; "
                            "give each its own id")


def test_rows_of_totals_are_neither_feeders_nor_laterals(flat):
    found = flat(feeders=f"{FEEDERS}Grand total,140,7,390,\n", laterals=f"{LATERALS}Total,A,90,3.5,\n")
    assert [(problem.file, problem.row, problem.value) for problem in found] == [
        ("feeders.csv", 4, "Grand total"), ("laterals.csv", 5, "Total")]
