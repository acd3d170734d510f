"""A study folder opened as a whole."""

from __future__ import annotations

import io
import os
import shutil
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.schema.problems import PROBLEMS_SHOWN, Problems
from reliability.study import AS_BUILT, Problem, Study, StudyError, open_study
from tests.study.conftest import NAME, SECTIONS

REFERENCES = sorted(p.parent for p in (Path(__file__).parents[1] / "data" / "references").rglob("study.toml"))


def refused(path) -> list[str]:
    with pytest.raises(StudyError) as caught:
        open_study(path)
    return caught.value.lines()


def as_workbook(text: str) -> bytes:
    book = openpyxl.Workbook()
    for line in text.splitlines():
        cells = line.split(",")
        book.active.append([None if not c else float(c) if c.replace(".", "").isdigit() else c for c in cells])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


@pytest.mark.parametrize("path", REFERENCES, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_every_reference_study_opens(path):
    study = open_study(path)
    assert len(study.sections) == len((path / "sections.csv").read_text().split()) - 1
    assert study.scenarios[0].name == AS_BUILT


def test_there_are_reference_studies():
    assert len(REFERENCES) == 10


def test_a_study_carries_what_its_files_say(folder):
    path = folder(study__toml='name = "n"\ncurrency = "EUR"\n[history.causes]\nTree = "temporary"\n')
    study = open_study(str(path))
    assert (study.name, study.currency, study.folder) == ("n", "EUR", path)
    assert study.extra["causes"] == {"Tree": "temporary"}
    assert study.outages is None


def test_a_workbook_gives_the_same_study(study):
    text, book = study(), study(sections__csv=None, sections__xlsx=as_workbook(SECTIONS))
    assert book.sections["section_id"].tolist() == ["main", "tap"]
    assert (book.sections["length_km"] == text.sections["length_km"]).all()


def test_two_files_of_one_table_are_refused(problems):
    found = problems(sections__xlsx=as_workbook(SECTIONS))
    assert [(p.file, p.rule) for p in found] == [("sections.xlsx", "there is sections.csv too")]


def test_outages_are_text_with_their_row(study):
    outages = study(outages__csv="event_id,section_id,started,restored,customers\n"
                                 "007,tap,2024-01-02,x,1\n\n8,,,,\n").outages
    assert outages.columns.tolist() == ["event_id", "section_id", "started", "restored", "customers", "cause",
                                        "fault_kind", "planned", "row"]
    assert outages.iloc[0].tolist() == ["007", "tap", "2024-01-02", "x", "1", "", "", "", 2]
    assert outages["row"].tolist() == [2, 4]


def test_outages_in_a_workbook_under_foreign_headers(study):
    found = study(outages__xlsx=as_workbook("No,started,restored,customers\na,b,c,7\n"),
                  study__toml=NAME + '[columns.outages]\nevent_id = "No"')
    assert found.outages_file == "outages.xlsx"
    assert found.outages["customers"].tolist() == ["7"]


def test_times_of_outages_are_told_beside_other_problems(problems):
    outages = "event_id,started,restored,customers\n1,03/04/2024 10:00,03/04/2024 11:00,4\n"
    both = [(p.file, p.column) for p in problems(outages__csv=outages, study__toml="name = 'x'\nzz = 1\n")]
    assert both == [("study.toml", "zz"), ("outages.csv", "started")]
    assert problems(outages__csv=outages) == []     # whoever reads the records tells of them
    order = "name = 'x'\nzz = 1\n[history]\ndate_order = 'day_first'\n"
    assert [p.file for p in problems(outages__csv=outages, study__toml=order)] == ["study.toml"]


@pytest.mark.parametrize("sections", [None, "", "section_id\n\"a"])
def test_cells_of_settings_are_checked_without_sections(sections, problems):
    settings = "section_id,element,operation,pickup_a,curve,time_dial\nb,phase,fast,-4,nocurve,1\n"
    found = problems(sections__csv=sections, settings__csv=settings)
    assert {p.column for p in found if p.file == "settings.csv"} == {"pickup_a", "curve"}


@pytest.mark.parametrize("sections", [SECTIONS, None])
def test_curves_that_cannot_be_read_make_no_curve_or_link_unknown(sections, problems):
    settings = "section_id,element,operation,pickup_a,curve,time_dial\nmain,phase,fast,-4,own curve,1\n"
    links = sections and sections.replace("customers", "customers,fuse_link").replace("10", "10,").replace(
        ",20", ",20,own 65")
    found = problems(sections__csv=links, settings__csv=settings, curves__csv=b"\x81\x8d")
    assert {(p.file, p.column) for p in found} - {("sections.csv", None)} == {
        ("curves.csv", None), ("settings.csv", "pickup_a")}


def test_cells_separated_by_bars_are_one_problem(problems):
    found = problems(sections__csv=SECTIONS.replace(",", "|"))
    assert [str(p) for p in found] == ["sections.csv: the cells of a row are separated by |; save it with commas, "
                                       "semicolons or tabs between cells"]


def test_columns_of_outages_are_checked(problems):
    found = problems(outages__csv="event_id,started,restord,customers\n1,2024-05-01 10:00,3,4\n")
    assert [(p.file, p.column) for p in found] == [("outages.csv", "restord"), ("outages.csv", "restored")]
    assert problems(outages__csv="event_id,started,restored,customers\n") == []


def test_problems_of_every_file_come_together_in_order(problems):
    found = problems(study__toml="zz = 1\n", sections__csv=SECTIONS.replace("1.5", "x"), outages__csv="")
    assert [p.file for p in found] == ["study.toml", "study.toml", "sections.csv", "outages.csv"]


def test_the_digest_follows_names_and_bytes(folder):
    first = open_study(folder()).inputs_sha256
    assert len(first) == 64
    assert open_study(folder()).inputs_sha256 == first
    assert open_study(folder(notes__txt="not an input")).inputs_sha256 == first
    changed = {open_study(folder(sections__csv=SECTIONS.replace("1.5", "1.6"))).inputs_sha256,
               open_study(folder(study__toml=NAME + "\n")).inputs_sha256,
               open_study(folder(outages__csv="event_id,started,restored,customers\n")).inputs_sha256}
    assert len(changed | {first}) == 4


COSTS = ("customer_class,momentary,min_30,h_1,h_4,h_8,h_16\nresidential,1,2,3,4,5,6\nsmall_ci,1,2,3,4,5,6\n"
         "large_ci,1,2,3,4,5,9\n")


def test_a_table_of_interruption_costs_is_an_input(folder, problems):
    text = NAME + '[costs]\ninterruption_costs = "costs.csv"'
    (problem,) = problems(study__toml=text)
    assert (problem.column, problem.value) == ("costs.interruption_costs", "costs.csv")
    first = open_study(folder(study__toml=text, costs__csv=COSTS)).inputs_sha256
    assert open_study(folder(study__toml=text, costs__csv=COSTS.replace("9", "8"))).inputs_sha256 != first
    outside = problems(study__toml=text.replace("costs.csv", "../costs.csv"))[0]
    assert "must lie in the study folder" in outside.rule


def test_no_folder(tmp_path):
    assert "there is no such folder" in refused(tmp_path / "none")[0]
    (tmp_path / "file").write_text("x")
    assert "this is a file, not a study folder" in refused(tmp_path / "file")[0]
    assert refused("a\0b")


def test_an_empty_folder_names_both_files(tmp_path):
    assert refused(tmp_path) == [
        'study.toml: the file is missing; add it; name = "…" is all it needs',
        "sections.csv: the file is missing; add it, or sections.xlsx, or feeders.csv and laterals.csv, "
        "or give your table such a name"]


def test_a_misspelt_file_is_named(folder):
    path = folder(sections__csv=None, section__csv=SECTIONS)
    assert "rename 'section.csv' to sections.csv" in refused(path)[0]


@pytest.mark.parametrize(("name", "advice"), [
    ("OMS.csv", "give your table such a name"), ("GIS_export_2024.csv", "give your table such a name"),
    ("fuse_links.csv", "give your table such a name"), ("settings.csv", "give your table such a name"),
    ("Section.xlsx", "rename 'Section.xlsx' to sections.xlsx"),
    ("sections.xls", "save 'sections.xls' as sections.xlsx")])
def test_only_a_misspelt_file_of_the_same_kind_is_to_be_renamed(name, advice, folder):
    path = folder(sections__csv=None)
    (path / name).write_text(SECTIONS, encoding="utf-8")
    assert refused(path)[0].endswith(advice)


def test_settings_of_another_program_are_not_to_be_renamed(folder):
    path = folder(study__toml=None)
    (path / ".ruff.toml").write_text("", encoding="utf-8")
    assert refused(path)[0].startswith("study.toml: the file is missing; add it")


def test_folders_and_pipes_in_place_of_files(folder):
    path = folder(sections__csv=None, study__toml=None)
    (path / "sections.csv").mkdir()
    os.mkfifo(path / "study.toml")
    assert refused(path) == ["study.toml: not a file; put a file of this name here",
                             "sections.csv: not a file; put a file of this name here"]


def test_what_may_not_be_read(folder, monkeypatch):
    def closed(self, *_, **__):
        raise PermissionError(13, "Permission denied")
    path = folder()
    monkeypatch.setattr(Path, "open", closed)
    assert "study.toml: cannot be read (Permission denied); check the file and its permissions" in refused(path)


def test_a_file_larger_than_the_cap(folder, monkeypatch):
    monkeypatch.setattr("reliability.study.files.MOST_TOML_BYTES", 2**20)
    assert "study.toml: larger than 1 MB" in refused(folder(study__toml=b"#" * (2**20 + 1)))[0]


def test_mapped_headers_of_a_broken_settings_file_are_not_called_unknown(problems):
    found = problems(study__toml='name = x\n[columns.sections]\nsection_id = "Tap"',
                     sections__csv=SECTIONS.replace("section_id", "Tap"))
    assert [p.file for p in found] == ["study.toml"]
    found = problems(study__toml="name = x", sections__csv=SECTIONS.replace("1.5", "x"))
    assert [p.file for p in found] == ["study.toml", "sections.csv"]


def test_the_first_hundred_problems_and_their_number(folder):
    lines = [f"s{i},main,,x,1" for i in range(250)]
    path = folder(sections__csv="\n".join([*SECTIONS.splitlines()[:2], *lines]))
    with pytest.raises(StudyError) as caught:
        open_study(path)
    lines = caught.value.lines()
    assert caught.value.count == 250
    assert len(lines) == PROBLEMS_SHOWN + 1
    assert lines[0].startswith("sections.csv: row 3, column length_km: 'x': ")
    assert lines[99].startswith("sections.csv: row 102,")
    assert lines[100] == "… the first 100 of 250 problems"


def test_a_hundred_problems_need_no_count():
    problems = Problems()
    problems.each(range(100), lambda i: Problem("f", "r", "m", i))
    with pytest.raises(StudyError) as caught:
        problems.raise_if_any()
    assert len(caught.value.lines()) == caught.value.count == 100


def test_a_problem_is_one_printable_line():
    line = str(Problem("f.csv", "rule", "remedy", 3, "a\nb", "x\x1b[31m\n" + "y" * 200))
    assert line.startswith("f.csv: row 3, column a b: 'x·[31m yyy")
    assert line.isprintable()
    assert len(line) < 160


@given(st.binary(max_size=40), st.binary(max_size=120), st.sampled_from(["sections.csv", "sections.xlsx"]))
def test_any_bytes_are_a_study_or_problems(tmp_path_factory, settings, content, name):
    path = tmp_path_factory.mktemp("any")
    (path / "study.toml").write_bytes(NAME.encode() + settings)
    (path / name).write_bytes(content)
    _open_or_refuse(path)


CELLS = ["", "a", "b", "c", "fuse", "breaker", "sectionalizer", "1", "2.5", "-1", "x", "65K", "0"]
ROW = st.lists(st.sampled_from(CELLS), min_size=8, max_size=8).map(",".join)


@given(st.lists(ROW, max_size=6))
def test_any_rows_are_a_study_or_problems(tmp_path_factory, rows):
    path = tmp_path_factory.mktemp("any")
    (path / "study.toml").write_text(NAME + '[[scenarios]]\nname = "n"\ncounts = 3\nlaterals = ["a"]')
    (path / "sections.csv").write_text("section_id,parent_id,device,length_km,customers,phases,counts,"
                                       "operations_to_lockout\n" + "\n".join(rows))
    _open_or_refuse(path)


def _open_or_refuse(path: Path) -> None:
    try:
        assert isinstance(open_study(path), Study)
    except StudyError as error:
        assert error.count > 0  # noqa: PT017 - either outcome is right
    finally:
        shutil.rmtree(path)
