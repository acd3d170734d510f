"""The proposal's cash flow by year as live formulas, in both perspectives."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell

from reliability.business.costs import SOCIETY, UTILITY
from reliability.business.finance import discount_factors
from reliability.report.content import Content
from reliability.report.money_summary import CUSTOMERS_GAIN
from reliability.report.workbook_print import print_on_pages
from reliability.report.workbook_sheets import CellBuffer, Formats, Formula, grey_where_none_counts

YEARS_SHEET = "Proposal by year"
LEAST_HORIZON_YEARS = 40         # years that the sheet has room for, so that a horizon may be made longer
FIRST_YEAR_ROW = 4                  # row of year 0, counted from 0
YEAR_COLUMNS = {
    "year": "Year", "counts": "Within the horizon", "capital": "Capital", "callouts": "Call-outs saved",
    "energy": "Energy margin saved", "incentive": "Incentive", "customers": CUSTOMERS_GAIN,
    "inspection": "Inspection", "net_utility": "Net, utility", "net_society": "Net, society",
    "factor": "Discount factor", "present_utility": "Discounted, utility", "present_society": "Discounted, society",
    "sum_utility": "Sum of net, utility", "sum_society": "Sum of net, society",
    "sum_present_utility": "Sum discounted, utility", "sum_present_society": "Sum discounted, society",
    "paid_utility": "Paid back, utility", "paid_society": "Paid back, society",
    "paid_present_utility": "Paid back discounted, utility", "paid_present_society": "Paid back discounted, society",
}
YEAR_COLUMN_AT = {name: column for column, name in enumerate(YEAR_COLUMNS)}
SAVED = {"callouts": "callout_saving", "energy": "energy_saving", "incentive": "incentive",
         "customers": "interruption_cost_saving"}
COUNTED_BENEFITS = {UTILITY: ("callouts", "energy", "incentive"), SOCIETY: ("callouts", "customers")}


def years_of(content: Content) -> int:
    """Years that the sheet has room for."""
    return max(LEAST_HORIZON_YEARS, int(content.study.values["horizon_years"]))


def cells(content: Content, name: str, year: int | None = None, last: int | None = None) -> str:
    """Reference to a column of the sheet from elsewhere, to one year of it, or to its years as far as `last`."""
    end = years_of(content) if last is None else last
    first, last = (FIRST_YEAR_ROW, FIRST_YEAR_ROW + end) if year is None else (FIRST_YEAR_ROW + year,
                                                                               FIRST_YEAR_ROW + year)
    ends = [xl_rowcol_to_cell(row, YEAR_COLUMN_AT[name], True, True) for row in (first, last)]
    return f"'{YEARS_SHEET}'!{ends[0]}" + ("" if year is not None else f":{ends[1]}")


def write_years(book: xlsxwriter.Workbook, formats: Formats, content: Content, scenario: int) -> None:
    """The sheet; nothing in it is to be changed."""
    sheet, draft = book.add_worksheet(YEARS_SHEET), CellBuffer()
    sheet.set_column(0, 1, 9)
    sheet.set_column(2, len(YEAR_COLUMNS) - 1, 14)
    draft.put(0, 0, "Cash flow by year, expected values", formats.of(bold=True))
    draft.put(1, 0, "All of this follows from the inputs on sheet “Proposal”. Savings grow with the escalation from "
                    "year 2 on, inspection does not.")
    draft.line(FIRST_YEAR_ROW - 1, list(YEAR_COLUMNS.values()), formats.header)
    sheet.set_row(FIRST_YEAR_ROW - 1, 45)
    values = _values(content, scenario)
    looks = {name: formats.number("money") for name in YEAR_COLUMNS} | {
        "year": formats.number("whole"), "counts": formats.number("whole"), "factor": formats.of(num_format="0.0000")}
    looks |= {name: formats.number("years") for name in YEAR_COLUMNS if name.startswith("paid")}
    for year in range(years_of(content) + 1):
        for name, formula in _formulas(year).items():
            value = values[name][year]
            draft.put(FIRST_YEAR_ROW + year, YEAR_COLUMN_AT[name],
                      Formula(f"={formula}", "" if np.isnan(value) else float(value)),
                      looks[name])
    draft.write(sheet, formats)
    grey_where_none_counts(sheet, formats, (FIRST_YEAR_ROW, FIRST_YEAR_ROW + years_of(content)), len(YEAR_COLUMNS))
    sheet.freeze_panes(FIRST_YEAR_ROW, 1)
    print_on_pages(sheet, content, heads=(FIRST_YEAR_ROW - 1, FIRST_YEAR_ROW - 1))


def _formulas(year: int) -> dict[str, str]:
    """Formula of every column in a year."""
    here = {name: f"{xl_col_to_name(c)}{FIRST_YEAR_ROW + year + 1}" for name, c in YEAR_COLUMN_AT.items()}
    above = {name: f"{xl_col_to_name(c)}{FIRST_YEAR_ROW + year}" for name, c in YEAR_COLUMN_AT.items()}
    again = (f"IF(device_life_years>0,IF(AND(MOD({here['year']},device_life_years)=0,{here['year']}<horizon_years),"
             f"capital*(1+escalation_rate)^{here['year']},0),0)")
    found = {
        "year": str(year), "counts": f"IF({here['year']}<=horizon_years,1,0)",
        "capital": "capital" if year == 0 else again,
        "inspection": f"inspection_a_year*{here['counts']}" if year else "0",
        "factor": f"1/(1+discount_rate)^{here['year']}"}
    for name in SAVED:
        found[name] = f"saved_{name}*(1+escalation_rate)^({here['year']}-1)*{here['counts']}" if year else "0"
    for view, parts in COUNTED_BENEFITS.items():
        saved = "+".join(here[part] for part in parts)
        found[f"net_{view}"] = f"{saved}-{here['capital']}-{here['inspection']}"
        found[f"present_{view}"] = f"{here[f'net_{view}']}*{here['factor']}"
        for total, single in ((f"sum_{view}", f"net_{view}"), (f"sum_present_{view}", f"present_{view}")):
            found[total] = f"{above[total]}+{here[single]}" if year else here[single]
        for paid, total, single in ((f"paid_{view}", f"sum_{view}", f"net_{view}"),
                                    (f"paid_present_{view}", f"sum_present_{view}", f"present_{view}")):
            found[paid] = (f'IF(AND({here[total]}>=0,{above[total]}<0),{here["year"]}-{here[total]}/{here[single]},"")'
                           if year else '""')
    return found


def _values(content: Content, scenario: int) -> dict[str, np.ndarray]:
    """What each column holds at the values of the run, (years + 1,); NaN for nothing."""
    years, values = years_of(content), content.study.values
    flows = {view: _flow(content, view, scenario, years) for view in COUNTED_BENEFITS}
    horizon = int(values["horizon_years"])
    year = np.arange(years + 1.0)
    found = {"year": year, "counts": (year <= horizon).astype(float), "capital": flows[UTILITY]["capex"],
             "inspection": flows[UTILITY]["inspection"],
             "factor": np.append(1.0, discount_factors(float(values["discount_rate"]), years))}
    found |= {name: flows[SOCIETY if name == "customers" else UTILITY][column] for name, column in SAVED.items()}
    for view, flow in flows.items():
        net = flow["net"]
        for name, single in ((view, net), (f"present_{view}", net * found["factor"])):
            total = np.cumsum(single)
            crossed = np.append(False, (total[1:] >= 0) & (total[:-1] < 0))
            paid = np.divide(total, single, out=np.full(len(year), np.nan), where=crossed)
            found |= {f"sum_{name}": total, f"paid_{name}": year - paid}
        found |= {f"net_{view}": net, f"present_{view}": net * found["factor"]}
    return found


def _flow(content: Content, view: str, scenario: int, years: int) -> Mapping[str, np.ndarray]:
    """Columns of a cash flow, with nothing in the years after the horizon."""
    frame = content.cases[view].cashflow
    mine: pd.DataFrame = frame[frame["scenario"] == content.scenarios[scenario]]
    return {name: np.append(mine[name].to_numpy(dtype=float), np.zeros(years + 1 - len(mine)))
            for name in ("capex", *SAVED.values(), "inspection", "net")}
