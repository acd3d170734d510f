"""workbook.xlsx: the figures of summary.json and the CSV files, live cash flows, and nothing else that computes."""

from __future__ import annotations

import math
import re
import zipfile

import numpy as np
import numpy_financial as npf
import openpyxl
import pandas as pd
import pytest
from openpyxl.utils import get_column_letter

from reliability.formats import TEXT_KIND
from reliability.report.blocks import tables
from reliability.report.documents import sections
from reliability.report.figures import resolve
from reliability.report.workbook import write_workbook
from reliability.report.workbook_contents import COLOURS, OF_SECTION
from tests.report.spreadsheet import Sheets


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
        for c, (name, kind) in enumerate(names, start=1):
            cells = [sheet.cell(r, c) for r in range(2, min(sheet.max_row, 30) + 1)]
            assert {cell.data_type for cell in cells if cell.value is not None} <= (
                {"s"} if kind == TEXT_KIND and name != "year" else {"n", "s"} if kind == TEXT_KIND else {"n"})


def test_what_is_counted_has_its_margin_in_counts(book):
    sheet = book["Evidence"]
    heads = [cell.value for cell in sheet[1]]
    rows = pd.DataFrame(list(sheet.iter_rows(min_row=2, values_only=True)), columns=heads)
    counted = rows["Unit"].eq("counts")
    assert rows.loc[counted, "Margin, ×"].isna().all()
    assert rows.loc[~counted, "Counts to spare"].isna().all()
    compared = rows[counted & rows["Limit"].notna()]
    assert len(compared)
    broken = compared["Counts to spare"] < 0
    assert (compared["Counts to spare"].abs() == (compared["Value"] - compared["Limit"]).abs()).all()
    assert not compared.loc[broken, "Verdict"].eq("pass").any()


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


@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_the_live_cash_flow_gives_our_npv_and_follows_the_rate(book, content, perspective):
    name = f"Cash flow {perspective}"
    case, sheet = content.cases[perspective], book[name]
    now, dearer = Sheets(book), Sheets(book).change("discount_rate", 0.11)
    for row, i in enumerate(content.order, start=8):
        assert sheet.cell(row, 1).value == content.scenarios[i]
        assert sheet.cell(row, 2).value.startswith("=SUM(")
        assert now.at(name, f"B{row}") == pytest.approx(case.summaries[i]["npv"], rel=1e-12, abs=1e-6)
        assert sheet.cell(row, 3).value == pytest.approx(case.summaries[i]["npv"], rel=1e-14)
        flows = case.cashflow.loc[case.cashflow["scenario"] == content.scenarios[i], "net"].to_numpy()
        assert dearer.at(name, f"B{row}") == pytest.approx(npf.npv(0.11, flows), rel=1e-12, abs=1e-6)


def test_only_the_live_sheets_compute_and_only_the_contents_link(book):
    for sheet in book:
        computing = [c.coordinate for row in sheet.iter_rows() for c in row if c.data_type == "f"]
        assert bool(computing) == sheet.title.startswith(("Cash flow", "Proposal")), sheet.title
        links = [c.hyperlink for row in sheet.iter_rows() for c in row if c.hyperlink]
        assert all(link.target is None and link.location for link in links)
        assert bool(links) == (sheet.title == "Contents")


def test_the_contents_lead_to_every_sheet_by_groups_with_their_rows(book, made):
    contents = book["Contents"]
    rows = [[contents.cell(r, c).value for c in (1, 2, 3)] for r in range(6, contents.max_row + 1)]
    heads = [name for name, what, _ in rows if name and not what]
    listed = {name: (what, count) for name, what, count in rows if what}
    assert set(listed) == set(book.sheetnames) - {"Contents"}
    assert heads == list(dict.fromkeys(heads)) == list(COLOURS)
    assert book.sheetnames[:2] == ["Proposal", "Contents"]
    assert [n for n in book.sheetnames if n != "Contents"] == list(listed)
    for table in made:
        if table.sheet:
            assert listed[table.sheet] == (table.whole or table.title, len(table.frame))
            assert "worst 15" not in listed[table.sheet][0]
            assert "the first of them" not in listed[table.sheet][0]
    colours = {name: book[name].sheet_properties.tabColor.rgb for name in listed}
    assert len(set(colours.values())) == len(COLOURS)
    assert all(colour[-6:].lower() in {c.lstrip("#") for c in COLOURS.values()} for colour in colours.values())


def test_every_section_of_the_report_has_a_group(content):
    assert {s.key for s in sections(content)} <= set(OF_SECTION)


def test_years_and_assumptions_are_numbers(book, demo):
    years = [book["Years"].cell(r, 1) for r in range(2, book["Years"].max_row + 1)]
    assert [c.value for c in years[:4]] == [2020, 2020, 2021, 2021]
    assert {c.data_type for c in years if str(c.value)[:4] != "mean"} == {"n"}
    heads = {cell.value: cell.column - 1 for cell in book["Assumptions"][1]}
    rows = {row[heads["Key"]]: row for row in book["Assumptions"].iter_rows(min_row=2, values_only=True)}
    crew = demo.uncertain["crew_rate_per_hour"]
    assert [rows["crew_rate_per_hour"][heads[h]] for h in ("Value", "Low", "Likely", "High", "In words")] == [
        pytest.approx(crew.mean), crew.low, crew.likely, crew.high, None]
    assert rows["perspective"][heads["In words"]] == "utility"
    assert rows["perspective"][heads["Value"]] is None
    assert [rows[f"phases_involved.{k}"][heads["Value"]] for k in range(3)] == [0.75, 0.2, 0.05]


def test_heads_of_two_lines_have_the_height_of_two(book, made):
    for table in made:
        if table.sheet:
            sheet = book[table.sheet]
            for cell in sheet[1]:
                room = next(d.width for d in sheet.column_dimensions.values() if d.min <= cell.column <= d.max)
                assert (sheet.row_dimensions[1].height or 15) >= 15 * math.ceil(len(cell.value) / room), cell.value
                assert max(map(len, cell.value.split())) < room


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
