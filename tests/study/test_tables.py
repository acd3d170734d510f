"""CSV and XLSX read as rows of text, and their headers."""

from __future__ import annotations

import datetime as dt
import io
import zipfile

import openpyxl
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from reliability.schema.columns import SECTIONS, ColumnRule
from reliability.schema.problems import Problems
from reliability.study import StudyError
from reliability.study.headers import ColumnMap, match_headers
from reliability.study.records import type_table
from reliability.study.tables import Rows, read_bytes, read_rows
from reliability.study.workbook import MOST_UNPACKED

COLUMNS = (ColumnRule("section_id", "text", required=True), ColumnRule("length_km", required=True),
           ColumnRule("length_mi"),
           ColumnRule("customers", "whole"))


def records(content: bytes, name: str = "t.csv") -> list[list[str]]:
    return read_rows(name, content).records


def refused(content: bytes, name: str = "t.csv") -> str:
    with pytest.raises(StudyError) as caught:
        read_rows(name, content)
    assert len(caught.value.problems) == 1
    return str(caught.value.problems[0])


def workbook(*rows: list) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def zipped(name: str, content: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, content)
    return stream.getvalue()


def test_cells_are_stripped_text_and_keep_leading_zeros():
    assert records(b"id , n\n 007 , 1.50\n") == [["id", "n"], ["007", "1.50"]]


@pytest.mark.parametrize("content", ["id\nÄther\n".encode(), "id\nÄther\n".encode("utf-8-sig"),
                                     "id\nÄther\n".encode("cp1252")])
def test_utf8_with_and_without_mark_and_windows_1252_are_read(content):
    assert records(content) == [["id"], ["Äther"]]


def test_a_windows_1252_file_is_noted_and_a_utf8_file_is_not():
    assert "Windows-1252" in read_rows("t.csv", b"id\n\xc4\n").notes[0]
    assert read_rows("t.csv", "id\nÄ\n".encode()).notes == ()


@pytest.mark.parametrize("content", ["id\na\n".encode("utf-16"), "id\na\n".encode("utf-16-le"),
                                     "id\na\n".encode("utf-32"), b"id\n\x81\xff\n", b"id\na\0b\n"])
def test_other_encodings_are_refused(content):
    assert "neither UTF-8 nor Windows-1252" in refused(content)


@pytest.mark.parametrize("content", [b"", b"  \n\n", b"\xef\xbb\xbf\n", b",,,\n,,\n"])
def test_an_empty_file_is_refused(content):
    assert "the file is empty" in refused(content)


def test_blank_lines_are_skipped_but_counted():
    rows = read_rows("t.csv", b"\nid,n\n\na,1\n,,\nb,2\n")
    assert rows.records == [["id", "n"], ["a", "1"], ["b", "2"]]
    assert rows.numbers == [2, 4, 6]


def test_a_line_break_inside_a_quoted_cell_begins_no_row():
    rows = read_rows("t.csv", b'id,n\n"a\r\nb",1\n"c,""d""",2\n')
    assert rows.records[1:] == [["a\r\nb", "1"], ['c,"d"', "2"]]
    assert rows.numbers == [1, 2, 3]


@pytest.mark.parametrize(("content", "decimal_comma"), [
    (b"id;n\na;1,5\n", True), (b"id\tn\na\t1,5\n", False), (b"id,n\na,1\n", False), (b"id\na\n", False)])
def test_the_separator_is_read_from_the_header(content, decimal_comma):
    rows = read_rows("t.csv", content)
    assert rows.decimal_comma is decimal_comma
    assert [r[0] for r in rows.records] == ["id", "a"]


@given(st.lists(st.sampled_from(["a", " b ", "", ",", "\n", "\r\n", "\r", "\t", "c\u00a0", "\x1c", "1.5"]), max_size=25)
       .map("".join))
@example("a,b\r\n 1,\u00a02 \r\n,4\n\n")
@example("\x1c")
def test_the_usual_file_is_read_as_any_other(text):
    """The fast way of a plain file against the CSV reader, which a quotation mark in a last row calls in."""
    fast, slow = (_read(text + end) for end in ("\nz", '\n"z"'))
    assert fast == slow


def _read(text: str):
    rows = read_rows("t.csv", text.encode())
    return rows.headers, rows.columns, rows.numbers, rows.too_long, rows.records


@pytest.mark.parametrize(("content", "rule"), [
    (b'id\n"a\nb\n', "never closed"),
    (b'id\n"a"b\n', "inside a quoted cell"),
    (b"id\n" + b"a" * 200_000, "more than 131072 characters"),
    (b"a," * 600, "more than 500 columns"),
    (b"PK\x03\x04", "no text but a workbook"),
])
def test_what_is_no_csv_is_refused(content, rule):
    assert rule in refused(content)


def test_a_broken_quotation_names_its_row():
    assert "t.csv: row 3:" in refused(b'id\nx\n"a"b\n')


def test_too_many_cells_are_refused(monkeypatch):
    monkeypatch.setattr("reliability.study.tables.MOST_CELLS", 5)
    assert "more than 5 cells" in refused(b"a,b\n1,2\n3,4\n")
    assert records(b"a,b\n1,2\n") == [["a", "b"], ["1", "2"]]


def test_cells_of_a_workbook_become_text():
    rows = read_rows("t.xlsx", workbook(
        [None], ["id", "n", "x", "day", "time", "flag", "blank"],
        ["007", 7.0, 0.1, dt.date(2024, 3, 5), dt.datetime(2024, 3, 5, 6, 7, 8), True, None],
        [], [12, 1e20, -2, " b ", None, False, None]))
    assert rows.records == [
        ["id", "n", "x", "day", "time", "flag", "blank"],
        ["007", "7", "0.1", "2024-03-05", "2024-03-05T06:07:08", "true", ""],
        ["12", "1e+20", "-2", "b", "", "false", ""]]
    assert rows.numbers == [2, 3, 5]


@pytest.mark.parametrize("content", [b"id,n\na,1\n", b"PK\x03\x04 and no more", zipped("a.txt", b"text"),
                                     zipped("xl/workbook.xml", b"<workbook/>"), workbook(["id"])[:900]])
def test_an_xlsx_that_is_not_one_is_refused(content):
    assert "not an .xlsx workbook" in refused(content, "t.xlsx")


def test_a_workbook_that_unpacks_into_too_much_is_refused(monkeypatch):
    monkeypatch.setattr("reliability.study.workbook.MOST_UNPACKED", 10**6)
    assert "unpacks into far too much" in refused(zipped("xl/worksheets/sheet1.xml", b" " * 10**7), "t.xlsx")
    assert MOST_UNPACKED > 10**8


def test_a_workbook_that_declares_a_small_size_is_measured_as_it_unpacks(monkeypatch):
    """The sizes an archive declares may lie."""
    monkeypatch.setattr("reliability.study.workbook.MOST_UNPACKED", 10**6)
    content = zipped("xl/worksheets/sheet1.xml", b" " * 10**7)
    lying = content.replace((10**7).to_bytes(4, "little"), (99).to_bytes(4, "little"))
    assert lying != content
    assert "unpacks into far too much" in refused(lying, "t.xlsx")


def test_two_cells_far_apart_are_refused():
    """The reader would lay out the whole rectangle between them."""
    book = openpyxl.Workbook()
    book.active["A1"], book.active["XFD1048576"] = "id", 1
    stream = io.BytesIO()
    book.save(stream)
    assert "unpacks into far too much" in refused(stream.getvalue(), "t.xlsx")


def match(*rows: list[str], mapped: ColumnMap | None = None):
    problems = Problems()
    text = "\n".join(",".join(r) for r in rows)
    found = read_rows("t.csv", text.encode())
    table = match_headers(found, COLUMNS, "sections", mapped or ColumnMap(), problems)
    return table, [str(p) for p in problems.listed]


def test_headers_match_without_case_and_with_spaces_or_hyphens():
    table, problems = match(["Section ID", " LENGTH-KM "], ["a", "1"])
    assert table.cells == {"section_id": ["a"], "length_km": ["1"]}
    assert table.headers == {"section_id": "Section ID", "length_km": "LENGTH-KM"}
    assert problems == []


def test_foreign_headers_are_mapped_and_others_left_aside():
    table, problems = match(["Tap No", "km", "Remarks"], ["a", "1", "x"],
                            mapped=ColumnMap({"section_id": "tap no", "length_km": "km"}, ("remarks",)))
    assert table.cells == {"section_id": ["a"], "length_km": ["1"]}
    assert problems == []


def test_a_mapped_header_must_be_there():
    _, problems = match(["Tap No", "length_km"], ["a", "1"], mapped=ColumnMap({"section_id": "Tap Nr"}))
    assert ("t.csv: row 1, column Tap Nr: the header mapped to section_id in [columns.sections] is not in the file; "
            "did you mean 'Tap No'?") in problems


def test_one_of_our_names_may_be_the_users_header_of_something_else():
    table, problems = match(["Tap No", "section_id", "length_km"], ["a", "5", "1"],
                            mapped=ColumnMap({"section_id": "Tap No", "customers": "section_id"}))
    assert table.cells == {"section_id": ["a"], "customers": ["5"], "length_km": ["1"]}
    assert problems == []


def test_a_mapped_column_may_not_be_there_under_our_name_too():
    _, problems = match(["Tap No", "section_id", "length_km"], ["a", "b", "1"],
                        mapped=ColumnMap({"section_id": "Tap No"}))
    assert problems == ["t.csv: row 1, column section_id: the column is there twice, also as 'Tap No'; "
                        "remove or rename one of the two"]


def test_missing_and_unknown_columns_name_the_nearest():
    _, problems = match(["sectionid", "length_km", "shoe"], ["a", "1", "7"])
    assert any("column sectionid: unknown column; did you mean 'section_id'?" in p for p in problems)
    assert any("column shoe: unknown column; rename it to the column it stands for, or map it or list it in ignore "
               "under [columns." in p for p in problems)
    assert any("column section_id: the required column section_id is missing; did you mean 'sectionid'?" in p
               for p in problems)
    assert len(problems) == 3


def test_a_header_is_offered_the_required_column_that_it_seems_to_stand_for():
    rows, problems = read_rows("t.csv", b"section_id,parent_id,length_km,Cust Served\na,,1,7\n"), Problems()
    match_headers(rows, SECTIONS, "sections", ColumnMap(), problems)
    assert [p.remedy.partition("?")[0] for p in problems.listed] == ["did you mean 'customers'",
                                                                   "did you mean 'Cust Served'"]


@pytest.mark.parametrize("title", [["Export of sections"], ["Export of sections", "", ""], ["", "Export", "2024"]])
def test_a_title_above_the_header_is_one_problem(title):
    lines = ",".join(title), "", "section_id,parent_id,length_km,customers", "a,,1,7"
    rows = read_rows("t.csv", "\n".join(lines).encode())
    problems = Problems()
    match_headers(rows, SECTIONS, "sections", ColumnMap(), problems)
    assert [p.remedy for p in problems.listed] == ["remove the rows above row 3, which seems to hold the headers"]


def test_a_length_in_either_unit_is_enough():
    assert match(["section_id", "length_mi"], ["a", "1"])[1] == []
    assert "the required column length_km or length_mi is missing" in match(["section_id"], ["a"])[1][0]


def test_repeated_headers_are_reported():
    _, problems = match(["section_id", "length_km", "Length km"], ["a", "1", "2"])
    assert problems == ["t.csv: row 1, column Length km: the column is there twice, also as 'length_km'; remove or "
                        "rename one of the two"]


def test_more_cells_than_headers_are_reported_and_fewer_too():
    table, problems = match(["section_id", "length_km"], ["a", "1", "x"], ["b"], ["c", "2", "", ""])
    assert problems == ["t.csv: row 2: 'x': more cells than the 2 headers; put a cell that holds the separator into "
                        "quotation marks",
                        "t.csv: row 3: 'b': fewer cells than headers, so that cells may stand under a wrong one; write "
                        "the separator for each blank cell as well"]
    assert table.cells == {"section_id": ["a", "b", "c"], "length_km": ["1", "", "2"]}


def test_cells_below_a_blank_header_may_be_left_away():
    assert match(["section_id", "length_km", "", ""], ["a", "1"], ["b", "2", ""])[1] == []


def test_a_blank_header_is_reported_only_above_cells():
    assert match(["section_id", "length_km", ""], ["a", "1", ""])[1] == []
    assert "column 3 has cells but no header" in match(["section_id", "length_km", ""], ["a", "1", "x"])[1][0]


HEADERS = st.lists(st.sampled_from([c.name for c in SECTIONS]), min_size=1, max_size=6)
CELLS = st.text(alphabet=st.sampled_from('0123456789.,;-+eE "\n\r\t\'%abcnifkm→\x00\x1b'), max_size=8)


@given(st.binary(max_size=60), st.sampled_from(["t.csv", "t.xlsx"]))
@example(b"PK\x05\x06" + bytes(18), "t.xlsx")
def test_any_bytes_are_rows_or_problems(content, name):
    try:
        rows = read_rows(name, content)
    except StudyError:
        return
    assert len(rows.records) == len(rows.numbers) > 0


@given(HEADERS, st.lists(st.lists(CELLS, max_size=7), max_size=4))
def test_any_cells_are_typed_or_problems(headers, cells):
    problems = Problems()
    columns = [[r[k] if k < len(r) else "" for r in cells] for k in range(len(headers))]
    found = Rows("t.csv", headers, columns, list(range(1, len(cells) + 2)))
    table = match_headers(found, SECTIONS, "sections", ColumnMap(), problems)
    typed = type_table(table, SECTIONS, problems)
    assert {len(column) for column in typed.columns.values()} == {len(cells)}
    assert all(isinstance(str(p), str) for p in problems.listed)


def test_a_link_out_of_the_folder_is_not_followed(tmp_path):
    outside = tmp_path / "secret.csv"
    outside.write_text("a\n1\n", encoding="utf-8")
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "sections.csv").symlink_to(outside)
    with pytest.raises(StudyError) as caught:
        read_bytes(folder / "sections.csv")
    assert caught.value.problems[0].rule == "a link that leads out of the folder"
    (folder / "real.csv").write_text("a\n1\n", encoding="utf-8")
    (folder / "near.csv").symlink_to("real.csv")
    assert read_bytes(folder / "near.csv") == b"a\n1\n"
