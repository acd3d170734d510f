"""Uploaded tables become a study: rows keep their numbers, letters of phases are counted, headers are mapped."""

from __future__ import annotations

import tomllib
from concurrent.futures import ThreadPoolExecutor

import pytest

from reliability.study import uploads, workspace
from reliability.study.text_tables import rows_frame
from reliability.study.uploaded_study import missing_columns, replaced_tables, study_files, with_phases_counted

NETWORK = b"Tap No,Upline,Phasing\n\n1,,ABC\n\n\n2,1,b\n3,1,\n"


@pytest.fixture(autouse=True)
def _own_workspace(tmp_path, monkeypatch):
    monkeypatch.setenv(workspace.ENVIRONMENT, str(tmp_path / "workspace"))


def test_rows_keep_the_numbers_of_their_file():
    assert rows_frame("network.csv", NETWORK).index.tolist() == [3, 6, 7]
    name, counted = with_phases_counted("network.xlsx.csv", NETWORK, {"Phasing": "phases"})
    frame = rows_frame(name, counted)
    assert frame.index.tolist() == [3, 6, 7]
    assert frame["Phasing"].tolist() == ["3", "1", ""]


@pytest.mark.parametrize("cell", [b"X", b"4", b"N", b"A1"])
def test_a_column_that_is_no_letters_of_phases_is_left_alone(cell):
    content = NETWORK.replace(b"ABC", cell)
    assert with_phases_counted("network.csv", content, {"Phasing": "phases"}) == ("network.csv", content)


def test_headers_are_mapped_and_the_others_ignored():
    maps = {"sections": {"Tap No": "section_id", "parent_id": "parent_id", "Remarks": ""}}
    content = b"Tap No,parent_id,Remarks\n1,,\n"
    files = study_files({"sections": ("any.csv", content)}, maps, b"# mine\nname = 'x'\n", "")
    assert sorted(files) == ["sections.csv", "study.toml"]
    assert tomllib.loads(files["study.toml"].decode())["columns"] == {
        "sections": {"section_id": "Tap No", "ignore": ["Remarks"]}}
    assert files["study.toml"].startswith(b"# mine")
    assert missing_columns("sections", maps["sections"]) == ["length_km", "customers"]
    assert missing_columns("sections", {"a": "length_mi", "b": "customers"}) == ["section_id", "parent_id"]
    assert replaced_tables({"laterals": ("l.csv", b"")}) == ["laterals", "sections"]


def test_uploads_are_stored_until_they_are_dropped():
    token = uploads.put({"../a b.csv": b"x,y\n", "b.xlsx": b"z"})
    assert uploads.get(token) == {"a b.csv": b"x,y\n", "b.xlsx": b"z"}
    uploads.put_plan(token, {"a b.csv": {"table": "sections"}})
    assert uploads.get_plan(token) == {"a b.csv": {"table": "sections"}}
    assert uploads.names(token) == ["a b.csv", "b.xlsx"]
    uploads.drop(token)
    assert uploads.get(token) is None
    assert uploads.get("../demo") is None


def test_files_of_one_name_are_both_kept_and_the_same_file_twice_is_one():
    pairs = [("tx.csv", b"1"), ("tx.csv", b"2"), ("tx.csv", b"1"), ("tx (1).csv", b"3"), ("tx _1_.csv", b"3"),
             ("", b"4")]
    assert uploads.named(pairs) == {
        "tx.csv": b"1", "tx 2.csv": b"2", "tx _1_.csv": b"3", "tx _1_ 2.csv": b"3", "file.csv": b"4"}
    once = uploads.named(pairs)
    assert uploads.named(once.items()) == once
    token = uploads.put(once)
    assert uploads.get(token) == once


def test_what_two_tabs_decide_at_the_same_time_stays():
    token = uploads.put({"a.csv": b"x,y\n"})

    def decide(tab: int) -> None:
        for k in range(10):
            uploads.change_plan(token, {f"{tab} {k}": k})

    with ThreadPoolExecutor(4) as tabs:
        list(tabs.map(decide, range(4)))
    assert len(uploads.get_plan(token)) == 40
    assert uploads.names(token) == ["a.csv"]
    uploads.drop(token)
    decide(1)
    assert uploads.names(token) is None
