"""CSV cells that no spreadsheet runs, with numbers as they are."""

from __future__ import annotations

import io
import re

import numpy as np
import pandas as pd
import pytest

from reliability import cells
from reliability.cells import csv_text, safe_text, write_csv

LIVE = ['=HYPERLINK("x")', "+1-1", "-2", "@SUM(A1)", "＝1", "\t1", "\r1", "\n1"]
SEPARATORS = [",", ";", "|", "\t", "\r", "\n", "\r\n"]


@pytest.mark.parametrize("text", LIVE)
def test_a_text_that_a_spreadsheet_would_run_gets_an_apostrophe(text):
    assert safe_text(text) == "'" + text


@pytest.mark.parametrize("sign", list("=+-@＝＋－＠"))
@pytest.mark.parametrize("separator", SEPARATORS)
def test_a_formula_behind_any_separator_gets_an_apostrophe(separator, sign):
    assert safe_text(f"a{separator}{sign}1{separator}b") == f"a{separator}'{sign}1{separator}b"


@pytest.mark.parametrize("text", ["a;-b;=c", '=1;"=2', "tap\r=cmd|' /c calc'!A0", "\t=1", "\n@a", ";=1", "a,\"=1"])
@pytest.mark.parametrize("separator", SEPARATORS)
def test_no_part_of_a_cell_is_a_formula_however_it_is_cut(text, separator):
    """Whatever separates cells, with quotation marks looked at or not."""
    line = csv_text(pd.DataFrame({"n": [1], "a": [text], "b": [text]})).split("\n", 1)[1]
    assert [part for part in re.split("[,;|\t\r\n]", line) if part.lstrip("\"").startswith(tuple("=+-@"))] == []


@pytest.mark.parametrize("text", ["", "tap 1", "a=b", " =1", "00123", "<script>", "'=1", "é", "🙂", "שלום", "a, -b",
                                  "Pole 7; - ", "2024-03-01", "a|b"])
def test_other_text_stays(text):
    assert safe_text(text) == text


def test_numbers_and_blanks_are_untouched():
    frame = pd.DataFrame({"id": ["=1", "b"], "amount": [-1.5, np.nan], "whole": pd.array([-3, None], dtype="Int64"),
                          "mixed": ["-x", -4.25], "kind": pd.Categorical(["+a", "+a"])})
    assert csv_text(frame) == (
        """"id","amount","whole","mixed","kind"\n"'=1",-1.5,-3,"'-x","'+a"\n"b",,,-4.25,"'+a"\n""")


@pytest.mark.parametrize("dtype", [object, "str"])
def test_text_of_either_dtype(dtype):
    frame = pd.DataFrame({"a": pd.Series(["=1", "x", "=1"], dtype=dtype)})
    assert csv_text(frame) == """"a"\n"'=1"\n"x"\n"'=1"\n"""


def test_cells_that_are_equal_and_of_different_kinds_stay_what_they_are():
    frame = pd.DataFrame({"a": pd.Series([1, True, 1.0, "1", None, float("inf")], dtype=object)})
    assert csv_text(frame).splitlines()[1:] == ["1", "True", "1.0", '"1"', '""', "inf"]


def test_headers_are_text_too_and_what_does_not_exist_is_blank():
    frame = pd.DataFrame({"=evil": [np.inf, 1.0, -np.inf]})
    assert csv_text(frame) == "\"'=evil\"\n\"\"\n1.0\n\"\"\n"
    assert pd.read_csv(io.StringIO(csv_text(frame)), skip_blank_lines=False).isna().sum().item() == 2


def test_digits_survive():
    values = [0.1 + 0.2, 1e-300, 123456789.123456789, -0.0]
    assert [float(line) for line in csv_text(pd.DataFrame({"a": values})).split()[1:]] == values


def test_what_stands_in_the_file_is_read_back():
    frame = pd.DataFrame({"id": ['a "b" c', "x,y", "z\nw", None], "n": [1.5, np.nan, 3.0, 4.0],
                          "flag": [True, False, True, True],
                          "day": pd.to_datetime(["2024-03-01", None, "2024-03-02", "2024-03-03"])})
    back = pd.read_csv(io.StringIO(csv_text(frame)), parse_dates=["day"])
    assert back["id"].tolist()[:3] == frame["id"].tolist()[:3]
    assert back["id"].isna().tolist() == [False, False, False, True]
    pd.testing.assert_frame_equal(back[["n", "flag"]], frame[["n", "flag"]])
    assert (back["day"].dropna() == frame["day"].dropna()).all()


def test_columns_of_one_name_and_no_rows_and_no_columns():
    twice = pd.DataFrame([["=a", 1.0]], columns=["x", "x"])
    assert csv_text(twice) == '"x","x"\n"\'=a",1.0\n'
    assert csv_text(pd.DataFrame({"a": [], "b": []})) == '"a","b"\n'
    assert csv_text(pd.DataFrame()).strip() == ""


def test_the_file_is_utf_8_with_plain_line_ends(tmp_path):
    path = tmp_path / "out.csv"
    write_csv(pd.DataFrame({"name": ["Ω", "=1\r\nx"]}), path)
    assert path.read_bytes() == "\"name\"\n\"Ω\"\n\"'=1\r\nx\"\n".encode()


def test_a_file_written_in_parts_is_the_table(tmp_path, monkeypatch):
    frame = pd.DataFrame({"=id": [f"-{k}" for k in range(7)], "n": np.arange(7.0)})
    whole = csv_text(frame)
    for rows in (1, 3, 7, 100):
        monkeypatch.setattr(cells, "CELL_ROWS_AT_ONCE", rows)
        write_csv(frame, tmp_path / "t.csv")
        assert (tmp_path / "t.csv").read_text(encoding="utf-8") == csv_text(frame) == whole


def by_hand(cell: object) -> str:
    """A cell by itself, by the plain rule."""
    if isinstance(cell, str):
        return '"' + str(cells.safe_text(cell)).replace('"', '""') + '"' if cell else ""
    return "" if cell is None or pd.isna(cell) or cell in (np.inf, -np.inf) else str(cell)


def test_cells_of_every_kind_of_column_are_those_of_the_plain_rule():
    rng, n = np.random.default_rng(8), 500
    mixed = np.array([None, "x", '"q"', "=1", "", 3, 2.5, np.nan, True], dtype=object)
    frame = pd.DataFrame({
        "text": pd.Series(rng.choice(["As built", "a,b", "=x", "", 'say "x"', "Ω"], n), dtype="str"),
        "unique": [f"s{k}" for k in range(n)], "mixed": rng.choice(mixed, n), "small": rng.integers(0, 255, n, "uint8"),
        "large": rng.integers(-2 ** 62, 2 ** 62, n), "flag": rng.random(n) < 0.5,
        "kind": pd.Categorical(rng.choice(["u", "=v"], n)), "whole": pd.array(rng.integers(0, 9, n), dtype="Int64"),
        "number": pd.array(rng.random(n), dtype="Float64"), "single": rng.random(n).astype("float32"),
        "double": rng.normal(size=n)})
    for k, name in enumerate(["text", "unique", "whole", "number", "double"]):
        frame.loc[k::7, name] = None
    wanted = [",".join(map(by_hand, cells_of_row)) for cells_of_row in zip(
        *(frame[name].tolist() for name in frame), strict=True)]
    assert csv_text(frame).splitlines() == [",".join(f'"{name}"' for name in frame), *wanted]
    some = frame[frame["flag"]].iloc[::-1]
    assert csv_text(some).splitlines()[1:] == [line for line, flag in zip(wanted, frame["flag"], strict=True) if flag
                                               ][::-1]


def test_numbers_are_those_that_python_writes():
    rng = np.random.default_rng(3)
    any_bits = rng.integers(0, 2 ** 64, 5000, dtype=np.uint64).view(float)
    numbers = np.concatenate([
        any_bits[~np.isnan(any_bits)], rng.normal(size=5000), rng.random(5000).round(2),
        rng.normal(size=5000) * 10.0 ** rng.integers(-9, 20, 5000), rng.integers(-9, 9_999, 500).astype(float),
        [0.0, -0.0, np.nan, np.inf, -np.inf, 1e-4, 9.999e-5, 0.1 + 0.2, 999_999_999.5, 1e9, 1e15 + 0.5, 1e16, 5e-324]])
    wanted = ["" if not np.isfinite(number) else str(number) for number in numbers.tolist()]
    assert csv_text(pd.DataFrame({"a": numbers, "b": "x"})).splitlines()[1:] == [f'{number},"x"' for number in wanted]


@pytest.mark.parametrize("odd", ['say "x"', "a,=1", "=1", ""])
def test_a_text_is_written_as_by_itself_beside_others(odd):
    lines = csv_text(pd.DataFrame({"a": ["one", odd, "two"], "b": 1})).splitlines()
    assert lines == ['"a","b"', '"one",1', csv_text(pd.DataFrame({"a": [odd], "b": 1})).splitlines()[1], '"two",1']
