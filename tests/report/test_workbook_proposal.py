"""The live sheets of the proposal: equal to the run at its inputs, and to the tool at others."""

from __future__ import annotations

import math
from dataclasses import replace

import openpyxl
import pytest

from reliability.business.cashflow import business_summary
from reliability.business.costs import SOCIETY, UTILITY
from reliability.business.revenue_requirement import revenue_summary
from reliability.report import workbook_bills, workbook_proposal, workbook_years
from reliability.report.content import leading
from reliability.report.palette import INPUT
from reliability.report.workbook import write_workbook
from reliability.report.workbook_inputs import inputs
from tests.report.spreadsheet import Sheets

OTHERS = {
    "sectionalizer_cost": 900.0, "lateral_recloser_cost": 3100.0, "backup_settings_cost": 700.0,
    "spare_units_share": 0.1, "device_life_years": 7, "inspection_cost_per_year": 31.0, "crew_rate_per_hour": 205.0,
    "overtime_share": 0.35, "overtime_multiplier": 1.9, "vehicle_per_callout": 91.0, "refuse_crew_hours": 3.1,
    "reset_crew_hours": 1.1, "patrol_crew_hours": 4.0, "repair_crew_hours": 5.0, "fuse_link_cost": 17.0,
    "repair_material_cost": 410.0, "actuator_cost": 83.0, "energy_margin_per_kwh": 0.11,
    "incentive_per_saidi_minute": 800.0, "incentive_per_saifi": 31_000.0, "interruption_cost_factor": 0.8,
    "discount_rate": 0.041, "escalation_rate": 0.033, "horizon_years": 26, "equity_share": 0.4, "equity_rate": 0.093,
    "debt_rate": 0.037, "tax_rate": 0.21, "book_life_years": 15, "average_bill_per_month": 180.0,
}
ROWS = {"Capital, spares included": "capex", "Inspection, a year": "inspection_per_year",
        "Net present value (NPV)": "npv", "Internal rate of return": "irr", "Benefit-cost ratio": "bcr",
        "Payback": "payback_years", "Discounted payback": "discounted_payback_years"}
BILLS = {"Revenue requirement, levelised": "levelised", "Effect on a customer's bill": "bill_effect_per_customer_month",
         "Effect on the average bill": "bill_effect_share"}


@pytest.fixture(scope="module")
def path(content, tmp_path_factory):
    """A workbook without the sheets that have a row a lateral and scenario."""
    target = tmp_path_factory.mktemp("book") / "workbook.xlsx"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("reliability.report.workbook.ROWS_MOST", 200)
        write_workbook(content, target)
    return target


@pytest.fixture(scope="module")
def book(path):
    return openpyxl.load_workbook(path)


def results_of(sheets: Sheets) -> dict[str, list]:
    """Live results by label: utility and society."""
    sheet = sheets.book["Proposal"]
    rows = {sheet.cell(r, 1).value: r for r in range(6, 18)}
    return {label: [sheets.at("Proposal", f"{column}{row}") for column in "BD"] for label, row in rows.items() if label}


def same(value: float | str, wanted: float | None, where: str) -> None:
    if wanted is None:
        assert value == "–", where
    else:
        assert value == pytest.approx(wanted, rel=1e-9, abs=1e-7), where


def same_or_blank(value: float | None, wanted: float | None) -> None:
    assert value is None if wanted is None else value == pytest.approx(wanted, rel=1e-14)


def test_it_stands_first_and_its_inputs_are_shaded_named_and_bounded(book, content):
    sheet = book["Proposal"]
    assert book.sheetnames[0] == "Proposal"
    assert sheet["A1"].value.startswith("The proposal")
    at = content.proposed
    shaded = {c.coordinate for row in sheet.iter_rows() for c in row
              if c.fill.fgColor.rgb[-6:] == INPUT.lstrip("#").upper()}
    named = set()
    for _, group in inputs(content, at, workbook_years.years_of(content)):
        for one in group:
            where, address = Sheets(book).place(one.name)
            same_or_blank(sheet[address].value, one.value)
            assert where == "Proposal"
            assert sheet[address].data_type == "n"
            named.add(address)
    assert named == shaded
    bounded = {c for area in sheet.data_validations.dataValidation for c in str(area.sqref).split()}
    assert len(bounded) > 35
    assert bounded <= shaded
    assert not any(c.data_type == "f" for row in sheet.iter_rows() for c in row if c.coordinate in shaded)


def test_every_formula_gives_what_is_kept_beside_it(book, path):
    kept, sheets, count = openpyxl.load_workbook(path, data_only=True), Sheets(book), 0
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    live, beside = sheets.at(sheet.title, cell.coordinate), kept[sheet.title][cell.coordinate].value
                    if isinstance(live, str):
                        assert (beside or "") == live, (sheet.title, cell.coordinate)
                    else:
                        assert live == pytest.approx(beside, rel=1e-9, abs=1e-6), (sheet.title, cell.coordinate)
                    count += 1
    assert count > 2500


def test_live_results_are_those_of_summary_json(book, summary_json, content):
    found, at = results_of(Sheets(book)), content.proposed
    case = summary_json["scenarios"][at]["business"]
    for label, key in ROWS.items():
        for view, live in zip((UTILITY, SOCIETY), found[label], strict=True):
            if label not in ("Capital, spares included", "Inspection, a year") or view == UTILITY:
                same(live, case[view][key], f"{label}, {view}")
    for label, key in BILLS.items():
        same(found[label][0], case["revenue_requirement"][key], label)
    assert found["Net present value (NPV)"][0] > 0 > found["Net present value (NPV)"][1]


@pytest.mark.parametrize(("life", "years"), [(7, 21 + 15), (13, 13 + 15), (None, 26)])
def test_other_inputs_give_what_the_tool_gives(book, results, content, life, years):
    """What would end its life with the horizon (13 of 26 years) is not bought again."""
    others, sheets = {**OTHERS, "device_life_years": life}, Sheets(book)
    for key, value in others.items():
        sheets = sheets.change(key, value)
    found, at = results_of(sheets), content.proposed
    for view, column in ((UTILITY, 0), (SOCIETY, 1)):
        business = replace(results.perspectives[view], values={**results.perspectives[view].values, **others})
        wanted = business_summary(business)[at]
        for label, key in ROWS.items():
            if label not in ("Capital, spares included", "Inspection, a year") or view == UTILITY:
                same(found[label][column], wanted[key], f"{label}, {view}")
        if view == UTILITY:
            bill = revenue_summary(business, at)
            assert bill["years"] == years
            for label, key in BILLS.items():
                same(found[label][column], bill[key], label)


@pytest.mark.parametrize("name", [one for one in OTHERS if one not in ("lateral_recloser_cost", "backup_settings_cost",
                                                                      "repair_material_cost", "repair_crew_hours")])
def test_each_input_moves_a_result(book, name):
    before, after = results_of(Sheets(book)), results_of(Sheets(book).change(name, OTHERS[name]))
    assert before != after


def test_the_value_of_a_momentary_event_is_live(book, results, content):
    for factor in (0.0, 0.5, 2.0):
        found = results_of(Sheets(book).change("momentary_cost_factor", factor))["Net present value (NPV)"]
        same(found[1], results.momentary_value.npv(content.proposed, factor), f"factor {factor}")


def test_a_horizon_and_books_longer_than_the_sheets_are_not_cut_in_silence(book, content):
    sheets = Sheets(book)
    longest = workbook_years.years_of(content)
    rule = next(v for v in book["Proposal"].data_validations.dataValidation
                if sheets.place("horizon_years")[1] in str(v.sqref))
    assert float(rule.formula2) == longest == 40
    room = workbook_bills.years_of(content, content.proposed)
    assert results_of(sheets.change("book_life_years", room + 1))["Revenue requirement, levelised"][0] == "–"


def test_nothing_installed_pays_nothing_back(book):
    found = results_of(Sheets(book).change("units_sectionalizer", 0))
    assert found["Capital, spares included"][0] == 0
    assert found["Payback"] == found["Discounted payback"] == ["–", "–"]
    assert found["Internal rate of return"][0] == "–"


def test_the_second_demo_pays_in_both_perspectives(town_results, tmp_path, monkeypatch):
    from reliability.report.content import content_of
    monkeypatch.setattr("reliability.report.workbook.ROWS_MOST", 200)
    content = content_of(town_results)
    write_workbook(content, tmp_path / "town.xlsx")
    found = results_of(Sheets(openpyxl.load_workbook(tmp_path / "town.xlsx")))
    case = content.at("scenarios", content.proposed, "business")
    for label, key in ROWS.items():
        same(found[label][0], case[UTILITY][key], label)
    same(found["Net present value (NPV)"][1], case[SOCIETY]["npv"], "society")


def test_without_a_proposal_the_sheet_says_whose_it_is(content, tmp_path, monkeypatch):
    monkeypatch.setattr("reliability.report.workbook.ROWS_MOST", 200)
    kept = [i for i in range(len(content.scenarios)) if i != content.proposed]
    named = {content.scenarios[i] for i in kept}
    cases = {view: replace(case, summaries=[case.summaries[i] for i in kept],
                           cashflow=case.cashflow[case.cashflow["scenario"].isin(named)])
             for view, case in content.cases.items()}
    other = replace(content, summary={**content.summary, "scenarios": [content.summary["scenarios"][i] for i in kept]},
                    quantities=[content.quantities[i] for i in kept], cases=cases, selected=None)
    write_workbook(other, tmp_path / "none.xlsx")
    book = openpyxl.load_workbook(tmp_path / "none.xlsx")
    at = leading(other)
    assert book["Proposal"]["A1"].value == f"“{other.scenarios[at]}”, with live formulas (the study proposes nothing)"
    same(results_of(Sheets(book))["Net present value (NPV)"][0], cases[UTILITY].summaries[at]["npv"], "npv")
    bare = replace(other, cases={}, quantities=())
    write_workbook(bare, tmp_path / "bare.xlsx")
    assert workbook_proposal.live(bare) is None
    assert openpyxl.load_workbook(tmp_path / "bare.xlsx").sheetnames[0] == "Contents"


def test_the_years_within_the_horizon_count(book, content):
    sheets = Sheets(book).change("horizon_years", 5)
    assert [sheets.at("Proposal by year", f"B{5 + y}") for y in (0, 5, 6)] == [1, 1, 0]
    assert sheets.at("Proposal by year", "D11") == 0 < sheets.at("Proposal by year", "D10")
    assert not math.isclose(results_of(sheets)["Net present value (NPV)"][0],
                            content.at("scenarios", content.proposed, "business", "npv"))
