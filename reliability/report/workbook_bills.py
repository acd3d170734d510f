"""What customers' bills bring in each year for the proposal, as live formulas: see `business.revenue_requirement`."""

from __future__ import annotations

import numpy as np
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell

from reliability.business.finance import discount_factors
from reliability.report import workbook_years as by_year
from reliability.report.content import Content
from reliability.report.workbook_print import print_on_pages
from reliability.report.workbook_sheets import CellBuffer, Formats, Formula, grey_where_none_counts

BILLS_SHEET = "Proposal on bills"
LEAST_BOOK_YEARS = 60         # years on the books that the sheet has room for
FIRST_BILL_ROW = 8                  # row of year 1, counted from 0
BILL_COLUMNS = {
    "year": "Year", "counts": "On the books", "spent": "Spent in the year before", "depreciation": "Depreciation",
    "rate_base": "Rate base", "interest": "Interest", "equity_return": "Return on equity", "tax": "Income tax",
    "inspection": "Inspection", "saved": "Crew work saved", "total": "Revenue requirement",
    "factor": "Factor at the cost of capital"}
BILL_COLUMN_AT = {name: column for column, name in enumerate(BILL_COLUMNS)}
MONEY_COLUMNS = ("depreciation", "rate_base", "interest", "equity_return", "tax", "inspection", "saved", "total")


def years_of(content: Content, scenario: int) -> int:
    """Years that the sheet has room for."""
    return max(LEAST_BOOK_YEARS, int(_requirement(content, scenario, "years")))


def cells(content: Content, scenario: int, name: str) -> str:
    """Reference to a column of the sheet from elsewhere."""
    last = FIRST_BILL_ROW - 1 + years_of(content, scenario)
    ends = (xl_rowcol_to_cell(row, BILL_COLUMN_AT[name], True, True) for row in (FIRST_BILL_ROW, last))
    return f"'{BILLS_SHEET}'!{':'.join(ends)}"


def write_bills(book: xlsxwriter.Workbook, formats: Formats, content: Content, scenario: int) -> None:
    """The sheet; nothing in it is to be changed."""
    sheet, draft = book.add_worksheet(BILLS_SHEET), CellBuffer()
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, len(BILL_COLUMNS) - 1, 16)
    draft.put(0, 0, "Revenue requirement by year: what customers' bills bring in", formats.of(bold=True))
    draft.put(1, 0, "Everything here follows from the inputs on sheet “Proposal”. A requirement below 0 lowers bills. "
                    "Energy margin and incentives are no cost of service.")
    for row, (name, label, formula, value, look) in enumerate(_heads(content, scenario, formats), start=3):
        draft.put(row, 0, label)
        draft.put(row, 1, Formula(f"={formula}", value), look)
        book.define_name(name, f"='{BILLS_SHEET}'!{xl_rowcol_to_cell(row, 1, True, True)}")
    draft.line(FIRST_BILL_ROW - 1, list(BILL_COLUMNS.values()), formats.header)
    sheet.set_row(FIRST_BILL_ROW - 1, 45)
    values = _values(content, scenario)
    looks = {name: formats.number("money") for name in BILL_COLUMNS} | {
        "year": formats.number("whole"), "counts": formats.number("whole"), "factor": formats.of(num_format="0.0000")}
    for at in range(years_of(content, scenario)):
        for name, formula in _formulas(content, at).items():
            draft.put(FIRST_BILL_ROW + at, BILL_COLUMN_AT[name], Formula(f"={formula}", float(values[name][at])),
                      looks[name])
    draft.write(sheet, formats)
    grey_where_none_counts(sheet, formats, (FIRST_BILL_ROW, FIRST_BILL_ROW + years_of(content, scenario) - 1),
                           len(BILL_COLUMNS))
    sheet.freeze_panes(FIRST_BILL_ROW, 1)
    print_on_pages(sheet, content, heads=(FIRST_BILL_ROW - 1, FIRST_BILL_ROW - 1))


def _heads(content: Content, scenario: int, formats: Formats) -> list[tuple[str, str, str, float, object]]:
    """Name, label, formula, value of the run and look of what holds for all years."""
    values = content.study.values
    whole = formats.number("whole")
    return [
        ("cost_of_capital", "Cost of capital, per year", "(1-equity_share)*debt_rate+equity_share*equity_rate",
         _requirement(content, scenario, "cost_of_capital"), formats.of(num_format="0.00%")),
        ("book_life", "Book life, years", "IF(book_life_years>0,book_life_years,horizon_years)",
         float(values["book_life_years"] or values["horizon_years"]), whole),
        ("years_on_books", "Years that count",
         "IF(capital>0,MAX(horizon_years,IF(device_life_years>0,device_life_years*INT((horizon_years-1)/"
         "device_life_years),0)+book_life),horizon_years)", _requirement(content, scenario, "years"), whole)]


def _formulas(content: Content, at: int) -> dict[str, str]:
    """Formula of every column in year `at` + 1."""
    here = {name: f"{xl_col_to_name(c)}{FIRST_BILL_ROW + at + 1}" for name, c in BILL_COLUMN_AT.items()}
    above = {name: f"{xl_col_to_name(c)}{FIRST_BILL_ROW + at}" for name, c in BILL_COLUMN_AT.items()}
    known = by_year.years_of(content)
    flow = {name: by_year.cells(content, name, at + 1) if at + 1 <= known else "0"
            for name in ("inspection", "callouts")}
    bought = f"{by_year.cells(content, 'capital')},{by_year.cells(content, 'year')}"
    return {
        "year": str(at + 1), "counts": f"IF({here['year']}<=years_on_books,1,0)",
        "spent": by_year.cells(content, "capital", at) if at <= known else "0",
        "depreciation": f'SUMIFS({bought},">="&({here["year"]}-book_life),{by_year.cells(content, "year")},'
                        f'"<"&{here["year"]})/book_life',
        "rate_base": f"{above['rate_base']}-{above['depreciation']}+{here['spent']}" if at else here["spent"],
        "interest": f"{here['rate_base']}*(1-equity_share)*debt_rate",
        "equity_return": f"{here['rate_base']}*equity_share*equity_rate",
        "tax": f"{here['equity_return']}*tax_rate/(1-tax_rate)",
        "inspection": flow["inspection"], "saved": flow["callouts"],
        "total": f"{here['interest']}+{here['equity_return']}+{here['tax']}+{here['depreciation']}+"
                 f"{here['inspection']}-{here['saved']}",
        "factor": f"{here['counts']}/(1+cost_of_capital)^{here['year']}"}


def _values(content: Content, scenario: int) -> dict[str, np.ndarray]:
    """What each column holds at the values of the run, (years,)."""
    years, counted = years_of(content, scenario), int(_requirement(content, scenario, "years"))
    year = np.arange(1.0, years + 1.0)
    counts = (year <= counted).astype(float)
    stated = {name: np.append(np.array(_requirement(content, scenario, "by_year", name), dtype=float),
                              np.zeros(years - counted)) for name in MONEY_COLUMNS}
    depreciated = np.append(0.0, stated["depreciation"][:-1])
    spent = np.diff(stated["rate_base"], prepend=0.0) + depreciated
    rate = _requirement(content, scenario, "cost_of_capital")
    return {"year": year, "counts": counts, "spent": spent, "factor": counts * discount_factors(rate, years), **stated}


def _requirement(content: Content, scenario: int, *keys: str) -> float:
    return content.at("scenarios", scenario, "business", "revenue_requirement", *keys)
