"""The cash flow of every scenario as live formulas: change the discount rate or the escalation, and every NPV follows.

Both stand on the sheet of the proposal where there is one.
"""

from __future__ import annotations

import pandas as pd
import xlsxwriter
from xlsxwriter.utility import xl_rowcol_to_cell as cell
from xlsxwriter.worksheet import Worksheet

from reliability.report.content import Content
from reliability.report.money_summary import CUSTOMERS_GAIN
from reliability.report.palette import INPUT
from reliability.report.workbook_print import print_in_blocks
from reliability.report.workbook_sheets import Formats
from reliability.schema.problems import shorten

RATE_CELL, GROWTH = "$B$3", "$B$4"
SAVING_COLUMNS = ("callout_saving", "energy_saving", "incentive", "interruption_cost_saving")
CASHFLOW_HEADERS = ("Year", "Capital", "Call-outs saved", "Energy margin saved", "Incentive", CUSTOMERS_GAIN,
                    "Inspection", "Net", "Discount factor", "Discounted")
YEAR, CAPEX, FIRST_SAVING, LAST_SAVING, INSPECTION, NET, FACTOR, DISCOUNTED = 0, 1, 2, 5, 6, 7, 8, 9
FIRST_BLOCK = 8          # row of the first scenario's NPV, counted from 0


def write_cashflow(book: xlsxwriter.Workbook, formats: Formats, content: Content, perspective: str, name: str,
                   linked: bool) -> None:
    """A sheet with the flows of every scenario under a perspective; what is not a formula is a number of the run.

    linked: whether the rates are inputs of another sheet.
    """
    sheet, case, values = book.add_worksheet(name), content.cases[perspective], content.study.values
    sheet.set_column(0, 0, 34)
    sheet.set_column(1, DISCOUNTED, 17)
    money, bold = formats.number("money"), formats.of(bold=True)
    view = "Societal perspective" if perspective == "society" else "Utility perspective"
    sheet.write_string(0, 0, f"{view}: cash flow, expected values, {shorten(content.currency, 20)}", bold)
    sheet.write_string(1, 0, "Shaded cells may be changed; every NPV follows." if not linked else
                       "The rates are those of sheet “Proposal”: change them there, and every NPV follows.")
    for row, (label, key) in enumerate((("Discount rate, per year", "discount_rate"),
                                        ("Escalation of savings, per year", "escalation_rate")), start=2):
        rate = float(values[key])  # type: ignore[literal-required]  # both keys are of the type
        sheet.write_string(row, 0, label)
        if linked:
            sheet.write_formula(row, 1, f"={key}", formats.of(num_format="0.00%"), rate)
        else:
            sheet.write_number(row, 1, rate, formats.of(num_format="0.00%", bg_color=INPUT, border=1))
    for c, header in enumerate(("Scenario", "NPV, live", "NPV of the run", "Difference")):
        sheet.write_string(FIRST_BLOCK - 2, c, header, formats.header if c == 0 else formats.number_header)
    names = [content.scenarios[i] for i in content.order]
    frames = {n: case.cashflow[case.cashflow["scenario"] == n] for n in names}
    top, places = FIRST_BLOCK + len(names) + 1, {}
    for n in names:
        places[n] = (top + 2, top + 1 + len(frames[n]))
        top += len(frames[n]) + 3
    for row, (i, n) in enumerate(zip(content.order, names, strict=True), start=FIRST_BLOCK - 1):
        first, last = places[n]
        npv = case.summaries[i]["npv"]
        sheet.write_string(row, 0, n[:32_767], formats.text(n))
        sheet.write_formula(row, 1, f"=SUM({cell(first, DISCOUNTED)}:{cell(last, DISCOUNTED)})", money, npv)
        sheet.write_number(row, 2, float(npv), money)
        sheet.write_formula(row, 3, f"={cell(row, 1)}-{cell(row, 2)}", money, 0)
    sheet.freeze_panes(FIRST_BLOCK - 1, 1)
    for n in names:
        _block(sheet, formats, n, frames[n], places[n][0], float(values["discount_rate"]))
    print_in_blocks(sheet, content, [first - 2 for first, _ in places.values()], top)


def _block(sheet: Worksheet, formats: Formats, name: str, frame: pd.DataFrame, first: int, rate: float) -> None:
    """The years of one scenario: year 1 is given, later savings grow, the rest follows."""
    money = formats.number("money")
    sheet.write_string(first - 2, 0, name[:32_767], formats.text(name, formats.of(bold=True)))
    for c, header in enumerate(CASHFLOW_HEADERS):
        sheet.write_string(first - 1, c, header, formats.number_header)
    for y, row in enumerate(frame.to_dict("records")):
        r = first + y
        sheet.write_number(r, YEAR, y, formats.number("whole"))
        if y and row["capex"]:
            sheet.write_formula(r, CAPEX, f"={cell(first, CAPEX)}*(1+{GROWTH})^{cell(r, YEAR)}", money, row["capex"])
        else:
            sheet.write_number(r, CAPEX, row["capex"], money)
        for c, saving in enumerate(SAVING_COLUMNS, start=FIRST_SAVING):
            if y < 2:
                sheet.write_number(r, c, row[saving], money)
            else:
                sheet.write_formula(r, c, f"={cell(r - 1, c)}*(1+{GROWTH})", money, row[saving])
        sheet.write_number(r, INSPECTION, row["inspection"], money)
        sheet.write_formula(r, NET, f"=SUM({cell(r, FIRST_SAVING)}:{cell(r, LAST_SAVING)})-{cell(r, CAPEX)}-"
                                    f"{cell(r, INSPECTION)}", money, row["net"])
        sheet.write_formula(r, FACTOR, f"=1/(1+{RATE_CELL})^{cell(r, YEAR)}", formats.of(num_format="0.0000"),
                            (1.0 + rate) ** -y)
        sheet.write_formula(r, DISCOUNTED, f"={cell(r, NET)}*{cell(r, FACTOR)}", money, row["discounted"])
