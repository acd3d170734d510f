"""CSV cells that no spreadsheet runs, with numbers as they are."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pytest

from reliability.cells import csv_text, safe_frame, safe_text, write_csv

LIVE = ['=HYPERLINK("x")', "+1-1", "-2", "@SUM(A1)", "\t=1", "\r=1", "\n=1"]


@pytest.mark.parametrize("text", LIVE)
def test_a_text_that_a_spreadsheet_would_run_gets_an_apostrophe(text):
    assert safe_text(text) == "'" + text


@pytest.mark.parametrize("text", ["", "tap 1", "a=b", " =1", "00123", "<script>", "'=1", "é", "🙂", "שלום"])
def test_other_text_stays(text):
    assert safe_text(text) == text


def test_numbers_and_blanks_are_untouched():
    frame = pd.DataFrame({"id": ["=1", "b"], "amount": [-1.5, np.nan], "whole": pd.array([-3, None], dtype="Int64"),
                          "mixed": ["-x", -4.25], "kind": pd.Categorical(["+a", "+a"])})
    assert csv_text(frame) == "id,amount,whole,mixed,kind\n'=1,-1.5,-3,'-x,'+a\nb,,,-4.25,'+a\n"


@pytest.mark.parametrize("dtype", [object, "str"])
def test_text_of_either_dtype(dtype):
    assert safe_frame(pd.DataFrame({"a": pd.Series(["=1", "x"], dtype=dtype)}))["a"].tolist() == ["'=1", "x"]


def test_headers_are_text_too_and_what_does_not_exist_is_blank():
    frame = pd.DataFrame({"=evil": [np.inf, 1.0, -np.inf]})
    assert csv_text(frame) == "'=evil\n\"\"\n1.0\n\"\"\n"
    assert pd.read_csv(io.StringIO(csv_text(frame)), skip_blank_lines=False).isna().sum().item() == 2


def test_digits_survive():
    values = [0.1 + 0.2, 1e-300, 123456789.123456789, -0.0]
    assert [float(line) for line in csv_text(pd.DataFrame({"a": values})).split()[1:]] == values


def test_columns_of_one_name_and_no_rows_and_no_columns():
    twice = pd.DataFrame([["=a", 1.0]], columns=["x", "x"])
    assert csv_text(twice) == "x,x\n'=a,1.0\n"
    assert csv_text(pd.DataFrame({"a": [], "b": []})) == "a,b\n"
    assert csv_text(pd.DataFrame()).strip() == ""


def test_the_file_is_utf_8_with_plain_line_ends(tmp_path):
    path = tmp_path / "out.csv"
    write_csv(pd.DataFrame({"name": ["Ω", "=1\r\nx"]}), path)
    assert path.read_bytes() == "name\nΩ\n\"'=1\r\nx\"\n".encode()
