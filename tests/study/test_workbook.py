"""Workbooks read in a process of their own: what cannot end ours, and what is not lost in silence."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import reliability
from reliability.schema.problems import StudyError
from reliability.study import workbook
from reliability.study.spreadsheet_cells import trouble
from reliability.study.tables import read_rows
from reliability.study.workbook import read_sheets, read_workbook
from reliability.xlsx.notable import shown_digits
from reliability.xlsx.process import cell_text
from tests.workbooks import MAIN, OFFICE, Sheet, packed, parts_of, raw_workbook, rows

TABLE = rows(["id", "n"], ["a", 1], ["b", 2.5])
FAR = '<row r="1048576"><c r="xfd1048576"><v>1</v></c></row>'


def refused(content: bytes) -> str:
    with pytest.raises(StudyError) as caught:
        read_rows("t.xlsx", content)
    return str(caught.value)


def test_a_cell_far_away_in_lower_case_is_a_problem_and_this_process_goes_on():
    assert "unpacks into far too much" in refused(raw_workbook(Sheet(TABLE + FAR)))


def test_a_sheet_may_lie_in_any_part():
    part = "xl/tables/data.xml"
    assert read_rows("t.xlsx", raw_workbook(Sheet(TABLE, part=part))).records == [["id", "n"], ["a", "1"], ["b", "2.5"]]
    assert "unpacks into far too much" in refused(raw_workbook(Sheet(TABLE + FAR, part=part)))


@pytest.mark.parametrize("claimed", ["A1:XFD1048576", "A1", "XFD1048576", "A1:ZZZ99999999", "B2:A1", "", "?"])
def test_a_dimension_that_lies_changes_nothing_or_is_a_problem(claimed):
    content = raw_workbook(Sheet(TABLE, before=f'<dimension ref="{claimed}"/>'))
    if claimed in ("?", ""):
        assert "not an .xlsx workbook" in refused(content)
    else:
        assert read_rows("t.xlsx", content).records == [["id", "n"], ["a", "1"], ["b", "2.5"]]


def test_memory_is_bounded(monkeypatch):
    """What fits into the bound is read, and the same with less is a problem."""
    wide = rows(*([str(k) * 50] * 20 for k in range(2000)))
    content = raw_workbook(Sheet(wide))
    assert len(read_rows("t.xlsx", content).records) == 2000
    monkeypatch.setattr(workbook, "MOST_MEMORY", 50 * 2**20)
    assert "unpacks into far too much" in refused(content + b"\0")


def test_time_is_bounded(monkeypatch):
    monkeypatch.setattr(workbook, "MOST_SECONDS", 0.001)
    assert "takes more than 0.001 s to read" in refused(raw_workbook(Sheet(rows(["slow"], ["x"]))))


@pytest.mark.parametrize("end", ["os.kill(os.getpid(), 11)", "os._exit(1)", "os.abort()"])
def test_however_the_process_ends_it_is_a_problem(monkeypatch, end):
    monkeypatch.setattr(workbook, "_START", f"import os; {end}")
    assert re.search("not an .xlsx workbook|far too much", refused(raw_workbook(Sheet(rows([end])))))


def test_the_process_imports_nothing_but_the_standard_library_and_itself():
    """So that it starts quickly."""
    code = "import sys; sys.path += sys.argv[1:]; import reliability.xlsx.process; print(*sys.modules)"
    root = Path(reliability.__file__).parents[1]
    found = subprocess.run([sys.executable, "-I", "-S", "-c", code, root], capture_output=True, text=True, check=True)
    foreign = {name for name in found.stdout.split() if name.split(".")[0] not in sys.stdlib_module_names}
    assert foreign - {"__main__"} == {"reliability", *(f"reliability.xlsx{part}" for part in (
        "", ".archive", ".notable", ".process"))}


def test_the_sheet_of_the_files_name_is_read_else_the_first_visible_one_with_cells():
    first, named, hidden = (Sheet(rows([n], [1]), n) for n in ("A", " SECTIONS ", "Old"))
    hidden = hidden._replace(state="hidden")
    blank = Sheet("", "Blank")

    def chosen(*sheets: Sheet) -> tuple[str, tuple[str, ...]]:
        sheet, notes = read_workbook("sections.xlsx", raw_workbook(*sheets), 100)
        return sheet.name.strip(), notes

    assert chosen(first) == ("A", ())
    assert chosen(blank, first) == ("A", ())
    assert chosen(first, named)[0] == "SECTIONS"
    assert chosen(hidden, first) == ("A", ("sections.xlsx: the sheet 'A' was read, 1 hidden sheet not (Old).",))
    assert chosen(first, Sheet(rows(["b"]), "B"), Sheet(rows(["c"]), "C"))[1] == (
        "sections.xlsx: the sheet 'A' was read, 2 visible sheets not (B, C).",)


def test_every_visible_sheet_of_an_export_is_read():
    sheets = read_sheets("t.xlsx", raw_workbook(Sheet(TABLE, "A"), Sheet(TABLE, "B", "hidden"), Sheet("", "C")), 100)
    assert [(s.name, s.visible, s.filled, len(s.rows)) for s in sheets] == [
        ("A", True, True, 3), ("B", False, True, 0), ("C", True, False, 0)]


def test_cells_without_a_reference_follow_each_other():
    """The format allows them; an error among them is found where it stands."""
    xml = ('<row><c t="inlineStr"><is><t>id</t></is></c><c t="inlineStr"><is><t>n</t></is></c></row>'
           '<row><c t="inlineStr"><is><t>a</t></is></c><c t="e"><v>#N/A</v></c></row>')
    assert read_rows("t.xlsx", raw_workbook(Sheet(xml))).records == [["id", "n"], ["a", "#N/A"]]


def test_a_formula_with_a_value_is_its_value_also_where_that_is_empty():
    xml = rows(["id", "n"], ["a", '<c r="B2"><f>1+1</f><v>2</v></c>'],
               ["b", '<c r="B3" t="str"><f>IF(A3="b","","x")</f><v></v></c>'])
    assert read_rows("t.xlsx", raw_workbook(Sheet(xml))).records == [["id", "n"], ["a", "2"], ["b", ""]]


def test_a_formula_for_a_text_without_any_value_is_told():
    xml = rows(["id", "n"], ["a", '<c r="B2" t="str"><f>A2&amp;"x"</f></c>'])
    assert read_rows("t.xlsx", raw_workbook(Sheet(xml))).records == [["id", "n"], ["a", "#FORMULA"]]


@pytest.mark.parametrize("error", ["#GETTING_DATA", "#SPILL!", "#CALC!", "#NEWER!"])
def test_an_error_that_the_reader_does_not_know_is_a_cell_and_not_the_end(error):
    """Alone, behind a formula, and beside one that it knows."""
    xml = rows(["id", "n", "m"], ["a", f'<c r="B2" t="e"><v>{error}</v></c>', 1],
               ["b", f'<c r="B3" t="e"><f>A9</f><v>{error}</v></c>', '<c r="C3" t="e"><v>#REF!</v></c>'])
    read = read_rows("t.xlsx", raw_workbook(Sheet(xml)))
    assert read.records == [["id", "n", "m"], ["a", error, "1"], ["b", error, "#REF!"]]
    assert trouble(error) is not None


@pytest.mark.parametrize(
    "text", ["#BEZUG!", "#NV", "#¡REF!", "#¿NOMBRE?", "#N/D", "#DIV/0!", "#VALEUR!", "######", "Err:502"])
def test_errors_of_any_language_and_cells_too_narrow_are_told(text):
    assert trouble(text) is not None


@pytest.mark.parametrize("text", ["#12", "#A-7", "# 3", "Error", "#B!7", "E12", "#pole", "No!"])
def test_names_are_no_errors(text):
    assert trouble(text) is None


@pytest.mark.parametrize("index", ["-1", "one", "99"])
def test_a_shared_text_that_does_not_exist_is_no_other_text(index):
    parts = parts_of(Sheet(rows(["id", "n"], [f'<c r="A2" t="s"><v>{index}</v></c>', 1])))
    parts["xl/sharedStrings.xml"] = f'<sst xmlns="{MAIN}" count="1" uniqueCount="1"><si><t>fuse</t></si></sst>'
    parts["xl/_rels/workbook.xml.rels"] = parts["xl/_rels/workbook.xml.rels"].replace(
        "</Relationships>", f'<Relationship Id="rId77" Type="{OFFICE}/sharedStrings" Target="sharedStrings.xml"/>'
                            "</Relationships>")
    assert "not an .xlsx workbook" in refused(packed(parts))
    sound = parts | {"xl/worksheets/sheet1.xml": parts["xl/worksheets/sheet1.xml"].replace(f"<v>{index}<", "<v>0<")}
    assert read_rows("t.xlsx", packed(sound)).records == [["id", "n"], ["fuse", "1"]]


def test_an_error_in_the_last_rows_is_not_left_away():
    xml = rows(["id", "n"], ["a", 1]) + '<row r="4"><c r="C4" t="e"><v>#REF!</v></c></row>'
    rows_read = read_rows("t.xlsx", raw_workbook(Sheet(xml)))
    assert rows_read.numbers == [1, 2, 4]
    assert rows_read.columns[2] == ["", "#REF!"]


def test_merged_cells_cover_the_table_below_its_headers_alone():
    xml = rows(["Title"], ["id", "n"], ["a", 1], [None, 2])
    merged = '<mergeCells><mergeCell ref="A1:B1"/><mergeCell ref="A3:A4"/><mergeCell ref="A9:B9"/></mergeCells>'
    sheet, _ = read_workbook("t.xlsx", raw_workbook(Sheet(xml, after=merged)), 100)
    assert sheet.rows == [["Title", ""], ["id", "n"], ["a", "1"], ["#MERGED", "2"]]


def test_what_a_blank_merged_cell_hides_is_told():
    """Some programs keep it."""
    xml = rows(["id", "n"], ["a", None], ["b", 2], ["c", None])
    merged = '<mergeCells><mergeCell ref="B2:B9"/></mergeCells>'
    assert read_rows("t.xlsx", raw_workbook(Sheet(xml, after=merged))).records == [
        ["id", "n"], ["a", ""], ["b", "#MERGED"], ["c", ""]]


@pytest.mark.parametrize(("code", "digits"), [
    ("General", 0), ("0", 0), ("0.00", 0), ("#,##0", 0), ("#,##0.00", 0), ("0%", 0), ("0.00E+00", 0), ("yyyy-mm-dd", 0),
    ('"$"#,##0.00', 0), ("[$€-407] #,##0", 0), ("@", 0), ("_(* #,##0_)", 0), ("[Red]0", 0), ("h:mm", 0),
    ("000", 3), ("00000;-00000", 5), ('"T-"0', -1), ("000-000", -1), ("00\\-00", -1), ("(000) 000", -1)])
def test_number_formats_that_change_what_a_whole_number_reads(code, digits):
    assert shown_digits(code) == digits


def test_numbers_shown_with_zeros_before_are_read_so():
    xml = rows(["id", "n"], ['<c r="A2" s="1"><v>12</v></c>', '<c r="B2" s="1"><v>12</v></c>'])
    assert read_rows("t.xlsx", raw_workbook(Sheet(xml), formats=("0000",))).records[1] == ["0012", "0012"]


@pytest.mark.parametrize(("cell", "expected"), [
    (" a ", ("a", "t")), (7.0, ("7", "w")), (0.1, ("0.1", "n")), (1e20, ("1e+20", "n")), (-2.0, ("-2", "w")),
    (True, ("true", "b")), (None, ("", "t")), (1e15, ("1000000000000000.0", "n")),
    (999999999999999.0, ("999999999999999", "w"))])
def test_cells_become_text(cell, expected):
    assert cell_text(cell) == expected
