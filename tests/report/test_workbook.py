"""workbook.xlsx: the figures of summary.json and the CSV files, live cash flows, and nothing else that computes."""

from __future__ import annotations

import re
import zipfile

import numpy as np
import numpy_financial as npf
import openpyxl
import pandas as pd
import pytest
from openpyxl.utils import get_column_letter

from reliability.formats import TEXT
from reliability.report.blocks import tables
from reliability.report.documents import sections
from reliability.report.figures import resolve
from reliability.report.workbook import write_workbook


@pytest.fixture(scope="module")
def book(written):
    return openpyxl.load_workbook(written / "workbook.xlsx")


@pytest.fixture(scope="module")
def made(content):
    return tables(sections(content))


def test_every_figure_that_mirrors_summary_json_equals_it(book, made, summary_json):
    compared = 0
    for table in made:
        if table.paths is None or not table.sheet:
            continue
        sheet, columns = book[table.sheet], []
        for column in table.on_sheet:
            columns += [column.key, column.high] if column.high else [column.key]
        for c, name in enumerate(columns, start=1):
            for r, path in enumerate(table.paths[name], start=2):
                if path:
                    value, wanted = sheet.cell(r, c).value, resolve(summary_json, path)
                    assert value == pytest.approx(wanted, rel=1e-14) if wanted is not None else value is None, path
                    compared += value is not None
    assert compared > 400


def test_every_sheet_of_a_table_holds_all_its_rows_as_numbers(book, made):
    for table in made:
        if not table.sheet:
            continue
        sheet = book[table.sheet]
        assert sheet.max_row - 1 == len(table.frame), table.sheet
        assert sheet.freeze_panes == "B2"
        assert sheet.auto_filter.ref or not len(table.frame)
        names = [(c.key, c.kind) for c in table.on_sheet for _ in range(2 if c.high else 1)]
        for c, (_, kind) in enumerate(names, start=1):
            cells = [sheet.cell(r, c) for r in range(2, min(sheet.max_row, 30) + 1)]
            assert {cell.data_type for cell in cells if cell.value is not None} <= ({"s"} if kind == TEXT else {"n"})


def test_laterals_and_sections_are_those_of_the_csv_files(book, written):
    for file, sheet in (("laterals.csv", "Laterals by scenario"), ("sections.csv", "Sections by scenario")):
        wanted = pd.read_csv(written / file)
        found = pd.DataFrame(list(book[sheet].iter_rows(min_row=2, values_only=True)), columns=wanted.columns)
        for name in wanted:
            if pd.api.types.is_numeric_dtype(wanted[name]):
                np.testing.assert_allclose(found[name].astype(float), wanted[name], rtol=1e-12)
            else:
                assert found[name].tolist() == wanted[name].tolist()


def test_units_stand_in_the_heads_and_formats_on_the_numbers(book):
    heads = {cell.value: cell.column for cell in book["Expected"][1]}
    assert {"SAIFI, 1/yr", "SAIDI, min/yr", "ENS, MWh/yr"} <= set(heads)
    assert book["Expected"].cell(2, heads["SAIFI, 1/yr"]).number_format == "0.000"
    assert book["Simulated"].cell(1, 3).value == "SAIFI, 1/yr, standard error"
    assert "Capital, USD" in [cell.value for cell in book["Business utility"][1]]


class Sheet:
    """Evaluates the few kinds of formula that the cash flow is made of."""

    def __init__(self, sheet):
        self.sheet, self.kept = sheet, {}

    def value(self, address: str) -> float:
        address = address.replace("$", "")
        if address not in self.kept:
            raw = self.sheet[address].value
            self.kept[address] = self.formula(raw) if isinstance(raw, str) and raw.startswith("=") else float(raw or 0)
        return self.kept[address]

    def formula(self, text: str) -> float:
        def total(match: re.Match) -> str:
            cells = [c for row in self.sheet[match[1]] for c in row]
            return repr(sum(self.value(c.coordinate) for c in cells))

        text = re.sub(r"SUM\(([A-Z]+\d+:[A-Z]+\d+)\)", total, text[1:])
        text = re.sub(r"\$?[A-Z]+\$?\d+", lambda m: repr(self.value(m[0])), text).replace("^", "**")
        assert re.fullmatch(r"[\d.e+*/() -]+", text), text
        return float(eval(text))


@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_the_live_cash_flow_gives_our_npv_and_follows_the_rate(book, content, perspective):
    sheet = book[f"Cash flow {perspective}"]
    case = content.cases[perspective]
    for i, name in enumerate(content.scenarios):
        row = 8 + i
        assert sheet.cell(row, 1).value == name
        assert sheet.cell(row, 2).value.startswith("=SUM(")
        assert Sheet(sheet).value(f"B{row}") == pytest.approx(case.summaries[i]["npv"], rel=1e-12, abs=1e-6)
        assert sheet.cell(row, 3).value == pytest.approx(case.summaries[i]["npv"], rel=1e-14)
    was = sheet["B3"].value
    try:
        sheet["B3"].value = 0.11
        for i, name in enumerate(content.scenarios):
            flows = case.cashflow.loc[case.cashflow["scenario"] == name, "net"].to_numpy()
            assert Sheet(sheet).value(f"B{8 + i}") == pytest.approx(npf.npv(0.11, flows), rel=1e-12, abs=1e-6)
    finally:
        sheet["B3"].value = was


def test_the_values_kept_beside_the_formulas_are_ours(written, content):
    kept = openpyxl.load_workbook(written / "workbook.xlsx", data_only=True)["Cash flow utility"]
    for i in range(len(content.scenarios)):
        assert kept.cell(8 + i, 2).value == pytest.approx(content.at("scenarios", i, "business", "npv"), rel=1e-12)


def test_only_the_cash_flow_computes_and_only_the_contents_link(book):
    for sheet in book:
        computing = [c.coordinate for row in sheet.iter_rows() for c in row if c.data_type == "f"]
        assert bool(computing) == sheet.title.startswith("Cash flow"), sheet.title
        links = [c.hyperlink for row in sheet.iter_rows() for c in row if c.hyperlink]
        assert all(link.target is None and link.location for link in links)
        assert bool(links) == (sheet.title == "Contents")


def test_the_contents_lead_to_every_sheet(book):
    named = [book["Contents"].cell(r, 1).value for r in range(6, book["Contents"].max_row + 1)]
    assert set(named) == set(book.sheetnames) - {"Contents"}


def test_native_charts_read_cells_that_hold_numbers(written, book):
    with zipfile.ZipFile(written / "workbook.xlsx") as archive:
        charts = [archive.read(n).decode() for n in archive.namelist() if re.fullmatch(r"xl/charts/chart\d+\.xml", n)]
    assert len(charts) >= 9
    for chart in charts:
        for reference in re.findall(r"<c:val>.*?<c:f>(.*?)</c:f>", chart):
            for part in reference.strip("()").split(","):
                name, _, area = part.rpartition("!")
                cells = book[name.strip("'")][area.replace("$", "")]
                rows = cells if isinstance(cells, tuple) else ((cells,),)
                assert any(c.value is not None for row in rows for c in row), reference


def test_equal_runs_give_equal_bytes(content, tmp_path):
    for name in ("one.xlsx", "other.xlsx"):
        write_workbook(content, tmp_path / name)
    assert (tmp_path / "one.xlsx").read_bytes() == (tmp_path / "other.xlsx").read_bytes()


def test_a_frame_too_long_for_a_sheet_is_pointed_to(content, tmp_path, monkeypatch):
    monkeypatch.setattr("reliability.report.workbook.ROWS_MOST", 1000)
    write_workbook(content, tmp_path / "short.xlsx")
    found = openpyxl.load_workbook(tmp_path / "short.xlsx")
    assert "Sections by scenario" not in found.sheetnames
    column = get_column_letter(2)
    said = [found["Contents"][f"{column}{r}"].value for r in range(6, found["Contents"].max_row + 1)]
    assert [s for s in said if s and s.endswith("too long for a sheet here, see the CSV file")]
    assert found["Laterals"].max_row - 1 == content.laterals["lateral_id"].nunique()
