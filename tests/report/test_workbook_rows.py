"""Columns written at once make the same sheet as their cells written one by one."""

from __future__ import annotations

import re
import zipfile

import numpy as np
import pytest
import xlsxwriter

from reliability.report import workbook_rows
from reliability.report.workbook import OPTIONS
from reliability.report.workbook_rows import RowSheet

COLUMNS = [
    ["a & b", None, "<r>bold</r>", " led", "trailed ", "two\nlines", "=1+1", "\x01_x0002_", "ö \uffff", "", "a & b"],
    [1.0, None, 2.5, -0.0, 1e300, 1 / 3, 3.0, None, 12345678901234567.0, 0.1 + 0.2, 7.0],
    [None, None, None, "x", 4.0, None, None, None, 2024.0, "y", None],
    [None] * 11,
    np.array([np.nan, np.nan, np.inf, -0.0, 1e300, 1 / 3, 1e-7, 0.1 + 0.2, -np.inf, 1e15, np.nan]),
]
_NUMBER = re.compile("(?<=<v>)[^<]+")


def _sheets(path) -> list[str]:
    with zipfile.ZipFile(path) as book:
        return [book.read(f"xl/{name}.xml").decode() for name in ("worksheets/sheet1", "styles")]


def _by_cells(path) -> None:
    with xlsxwriter.Workbook(path, OPTIONS) as book:
        sheet, looks, quoted = _begun(book)
        for r, row in enumerate(zip(*COLUMNS, strict=True), start=1):
            for c, value in enumerate(row):
                if isinstance(value, str):
                    sheet.write_string(r, c, value, quoted if value.startswith("=") else None)
                elif value is not None and np.isfinite(value):
                    sheet.write_number(r, c, value, looks[c])


def _by_columns(path) -> None:
    with xlsxwriter.Workbook(path, OPTIONS) as book:
        sheet, looks, quoted = _begun(book)
        sheet.write_columns(1, COLUMNS, looks, lambda text: quoted if text.startswith("=") else None)


def _begun(book):
    sheet = book.add_worksheet("Sheet", RowSheet)
    looks = [book.add_format({"num_format": "0." + "0" * c}) for c in range(len(COLUMNS))]
    sheet.set_column(0, 3, 12.0)
    sheet.set_row(0, 30.0)
    for c in range(len(COLUMNS)):
        sheet.write_string(0, c, f"head {c}", looks[3])
    return sheet, looks, book.add_format({"quote_prefix": True})


@pytest.mark.parametrize("at_once", [3, 10_000])
def test_the_file_is_the_same(tmp_path, monkeypatch, at_once):
    monkeypatch.setattr(workbook_rows, "SHEET_ROWS_AT_ONCE", at_once)
    _by_cells(tmp_path / "cells.xlsx")
    _by_columns(tmp_path / "columns.xlsx")
    cells, columns = _sheets(tmp_path / "cells.xlsx"), _sheets(tmp_path / "columns.xlsx")
    # the writer takes a text that looks like its own mark-up for that; here it stays a text
    cells[0] = cells[0].replace("<is><r>bold</r></is>", "<is><t>&lt;r&gt;bold&lt;/r&gt;</t></is>")
    # and rounds to 16 digits
    assert [float(n) for n in _NUMBER.findall(columns[0])] == pytest.approx(
        [float(n) for n in _NUMBER.findall(cells[0])], rel=1e-15, abs=0)
    assert [_NUMBER.sub("n", text) for text in columns] == [_NUMBER.sub("n", text) for text in cells]


def test_numbers_keep_all_their_digits(tmp_path):
    numbers = [0.1 + 0.2, 1 / 3, 1e-300, 123456789.123456789]
    with xlsxwriter.Workbook(tmp_path / "digits.xlsx", OPTIONS) as book:
        sheet, looks, _ = _begun(book)
        sheet.write_columns(1, [np.array(numbers), numbers], looks[:2], lambda _: None)
    found = [float(n) for n in _NUMBER.findall(_sheets(tmp_path / "digits.xlsx")[0])]
    assert found == [n for n in numbers for _ in range(2)]


def test_no_rows_are_an_empty_table(tmp_path):
    with xlsxwriter.Workbook(tmp_path / "empty.xlsx", OPTIONS) as book:
        sheet, looks, _ = _begun(book)
        sheet.write_columns(1, [[], []], looks[:2], lambda _: None)
    assert _sheets(tmp_path / "empty.xlsx")[0].count("<row") == 1
