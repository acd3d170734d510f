"""The first sheet: the proposal's result in both perspectives beside the run's, and the inputs from which it follows.

Inputs are cells with names (an assumption's is its key), so that a formula reads like what it computes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import xlsxwriter
from xlsxwriter.utility import xl_rowcol_to_cell
from xlsxwriter.worksheet import Worksheet

from reliability.business.costs import SOCIETY, UTILITY
from reliability.cautions import CAUTION
from reliability.formats import DASH
from reliability.report import workbook_bills as bills
from reliability.report import workbook_years as by_year
from reliability.report.blocks import LONGEST_PRINTED
from reliability.report.content import Content, leading
from reliability.report.palette import DARK_ORANGE, INPUT
from reliability.report.workbook_inputs import CALLOUT, PRICE_INPUTS, QUANTITY, Input, inputs, values_of
from reliability.report.workbook_print import print_in_blocks
from reliability.report.workbook_sheets import CellBuffer, Formats, Formula
from reliability.schema.devices import BY_NAME, LATERAL_DEVICES
from reliability.schema.problems import shorten

PROPOSAL_SHEET = "Proposal"
RESULTS_ROW = 4              # row of the results' header, counted from 0
VIEWS = (UTILITY, SOCIETY)
PROPOSAL_HEADERS = ("Result", "Utility", "Utility, of the run", "Society", "Society, of the run", "Unit")
EXPLAINED = ("Shaded cells are inputs: change one, and all else here and on "
             f"“{by_year.YEARS_SHEET}” and “{bills.BILLS_SHEET}” follows; with other units, change what they avoid "
             "too. What differs from the run is set in bold.")
UNITS_FORMULA = "+".join(f"units_{d}" for d in LATERAL_DEVICES)
CAPITAL = (f"({'+'.join(f'units_{d}*{BY_NAME[d].price}' for d in LATERAL_DEVICES)})*(1+spare_units_share)"
           f"+settings_changed*{PRICE_INPUTS[0]}")
OVERTIME = "(1+overtime_share*(overtime_multiplier-1))"
MATERIAL = {"refuse": "+fuse_link_cost", "repair": "+repair_material_cost"}

Line = tuple[str, Sequence[tuple[str, float | None] | None], str, str]


def live(content: Content) -> int | None:
    """The scenario that the sheet is about: what is proposed, else the one shown first; None where there is none."""
    at = leading(content)
    known = content.business and len(content.quantities) == len(content.scenarios) and len(content.cases) == len(VIEWS)
    return at if known else None


def write_proposal(book: xlsxwriter.Workbook, formats: Formats, content: Content, scenario: int) -> None:
    """The sheet, with a name in the workbook for every input and for what the other sheets ask it for."""
    sheet, draft = book.add_worksheet(PROPOSAL_SHEET), CellBuffer()
    for first, last, width in ((0, 0, 48), (1, 4, 17), (5, 5, 27)):
        sheet.set_column(first, last, width)
    name = shorten(content.scenarios[scenario], LONGEST_PRINTED)
    draft.put(0, 0, f"The proposal, with live formulas: {shorten(content.study.name, LONGEST_PRINTED)}" if
              scenario == content.proposed else f"“{name}”, with live formulas (the study proposes nothing)",
              formats.of(bold=True, font_size=14))
    draft.put(1, 0, EXPLAINED)
    draft.put(2, 0, CAUTION, formats.of(bold=True))
    lines = list(_results(content, scenario))
    _header(draft, formats, RESULTS_ROW, PROPOSAL_HEADERS)
    _lines(draft, formats, lines, RESULTS_ROW + 1)
    groups = inputs(content, scenario, by_year.years_of(content))
    top = RESULTS_ROW + len(lines) + 2
    savings = list(_savings(content, values_of(groups)))
    _header(draft, formats, top, ("First year", "Cost of one", "Avoided a year",
                                  f"Saved, {shorten(content.currency, 12)}", "", "Unit of what is avoided"))
    _savings_lines(book, draft, formats, savings, top + 1)
    heads, end = _inputs(book, sheet, draft, formats, groups, top + len(savings) + 2)
    draft.write(sheet, formats)
    _names(book)
    sheet.freeze_panes(RESULTS_ROW + 1 + len(lines), 1)
    sheet.print_area(0, 0, end, len(PROPOSAL_HEADERS) - 1)
    print_in_blocks(sheet, content, [0, top, *heads], end)


def _header(draft: CellBuffer, formats: Formats, row: int, texts: Sequence[str]) -> None:
    """Heads of a block: the first and the last stand over texts."""
    for column, text in enumerate(texts):
        draft.put(row, column, text, formats.header if not column else formats.number_header if column < len(texts) - 1
                  else formats.unit_header)


def _names(book: xlsxwriter.Workbook) -> None:
    """Names of what other sheets ask this one for."""
    first = f"'{PROPOSAL_SHEET}'!{xl_rowcol_to_cell(RESULTS_ROW + 1, 1, True, True)}"
    book.define_name("capital", f"={first}")
    book.define_name("inspection_a_year", f"='{PROPOSAL_SHEET}'!{xl_rowcol_to_cell(RESULTS_ROW + 2, 1, True, True)}")


def _lines(draft: CellBuffer, formats: Formats, lines: Sequence[Line], top: int) -> None:
    """Results: live and of the run, for each perspective; nothing where a perspective has none."""
    for row, (label, found, kind, unit) in enumerate(lines, start=top):
        draft.put(row, 0, label, formats.of(bold=label.startswith("Net present")))
        draft.put(row, 5, unit, formats.of(indent=1))
        for at, one in enumerate(found):
            if one is not None:
                formula, value = one
                shown: float | str = DASH if value is None else value
                look = formats.number(kind, align="right")
                draft.put(row, 1 + 2 * at, Formula(f"={formula}", shown),
                          formats.number(kind, align="right", bold=True))
                draft.put(row, 2 + 2 * at, shown, look)


def _results(content: Content, scenario: int) -> Iterator[Line]:
    """Label, (formula, value of the run) by perspective, kind of number and unit of every result."""
    cases = {view: content.cases[view].summaries[scenario] for view in VIEWS}
    money = content.currency

    def both(formulas: Mapping[str, str], key: str) -> list[tuple[str, float | None]]:
        return [(formulas[view], cases[view][key]) for view in VIEWS]

    yield "Capital, spares included", [(CAPITAL, cases[UTILITY]["capex"])], "money", money
    yield ("Inspection, a year",
           [(f"({UNITS_FORMULA})*inspection_cost_per_year", cases[UTILITY]["inspection_per_year"])],
           "money", f"{money}/yr")
    saved = {UTILITY: "saved_callouts+saved_energy+saved_incentive", SOCIETY: "saved_callouts+saved_customers"}
    yield ("Saved in the first year", [(saved[v], float(sum(cases[v]["savings_per_year"].values()))) for v in VIEWS],
           "money", f"{money}/yr")
    years = {view: {name: by_year.cells(content, f"{name}_{view}") for name in (
        "net", "present", "paid", "paid_present")} for view in VIEWS}
    yield "Net present value (NPV)", both({v: f"SUM({years[v]['present']})" for v in VIEWS}, "npv"), "money", money
    yield ("Internal rate of return", both({v: f'IFERROR(IRR({years[v]["net"]},{_guess(cases[v]["irr"])}),"{DASH}")'
                                            for v in VIEWS}, "irr"), "irr", "per year")
    yield "Benefit-cost ratio", both({v: _ratio(content, v) for v in VIEWS}, "bcr"), "bcr", ""
    for label, paid, key in (("Payback", "paid", "payback_years"),
                             ("Discounted payback", "paid_present", "discounted_payback_years")):
        yield label, both({v: f'IF(OR({by_year.cells(content, f"net_{v}", 0)}>=0,COUNT({years[v][paid]})=0),"{DASH}",'
                              f"MIN({years[v][paid]}))" for v in VIEWS}, key), "payback", "yr"
    yield from _bill(content, scenario)


def _guess(rate: float | None) -> str:
    """Where a spreadsheet begins to look for the rate of return."""
    return "0.1" if rate is None else f"{rate:.3f}"


def _ratio(content: Content, view: str) -> str:
    """Benefit-cost ratio as a formula."""
    factor = by_year.cells(content, "factor")

    def worth(names: Sequence[str]) -> str:
        return "+".join(f"SUMPRODUCT({by_year.cells(content, name)},{factor})" for name in names)

    costs = worth(("capital", "inspection"))
    return f'IF({costs}>0,({worth(by_year.COUNTED_BENEFITS[view])})/({costs}),"{DASH}")'


def _bill(content: Content, scenario: int) -> Iterator[Line]:
    """Effect on customers' bills."""
    run = content.at("scenarios", scenario, "business", "revenue_requirement")
    total, factor = bills.cells(content, scenario, "total"), bills.cells(content, scenario, "factor")
    room = bills.years_of(content, scenario)
    even = f"SUMPRODUCT({total},{factor})/SUM({factor})"
    month = f"{even}/customers_served/12"

    def within(formula: str, needed: str = "") -> str:
        asked = f"OR(years_on_books>{room}{needed})" if needed else f"years_on_books>{room}"
        return f'IF({asked},"{DASH}",{formula})'

    yield ("Revenue requirement, levelised", [(within(even), run["levelised"])], "money", f"{content.currency}/yr")
    yield ("Effect on a customer's bill", [(within(month, ",customers_served=0"),
                                            run["bill_effect_per_customer_month"])], "three_digits",
           f"{content.currency} per customer and month")
    yield ("Effect on the average bill", [(
        f'IF(OR(years_on_books>{room},customers_served=0,average_bill_per_month=0),"{DASH}",'
        f"{month}/average_bill_per_month)", run["bill_effect_share"])], "share_of_three_digits", "")


def _savings(content: Content, values: Mapping[str, float]) -> Iterator[tuple[str, str, str, str, float, float, str]]:
    """Label, formulas of the cost of one and of how many, part it belongs to, values of both, and unit."""
    overtime = 1.0 + values["overtime_share"] * (values["overtime_multiplier"] - 1.0)
    for kind, label in CALLOUT.items():
        cost = values[f"{kind}_crew_hours"] * values["crew_rate_per_hour"] * overtime + values["vehicle_per_callout"]
        cost += values[MATERIAL[kind][1:]] if kind in MATERIAL else 0.0
        yield (label, f"{kind}_crew_hours*crew_rate_per_hour*{OVERTIME}+vehicle_per_callout{MATERIAL.get(kind, '')}",
               f"avoided_{kind}", "callouts", cost, values[f"avoided_{kind}"], "1/yr")
    for label, price, amount, part, unit in (
            ("Actuators spent", "actuator_cost", "avoided_actuators", "callouts", "1/yr"),
            ("Energy margin", "energy_margin_per_kwh", "avoided_energy_kwh", "energy", "kWh/yr"),
            ("Incentive on SAIDI", "incentive_per_saidi_minute", "avoided_saidi_min", "incentive", "min/yr"),
            ("Incentive on SAIFI", "incentive_per_saifi", "avoided_saifi", "incentive", "1/yr")):
        yield label, price, amount, part, values[price], values[amount], unit
    level = values["interruption_cost_factor"] * values["price_index"]
    money = f"{content.currency} of the cost table/yr"
    yield ("Customers' cost, sustained", "interruption_cost_factor*price_index", "avoided_sustained_cost", "customers",
           level, values["avoided_sustained_cost"], money)
    yield ("Customers' cost, momentary", "interruption_cost_factor*price_index*momentary_cost_factor",
           "avoided_momentary_cost", "customers", level * values["momentary_cost_factor"],
           values["avoided_momentary_cost"], money)


def _savings_lines(book: xlsxwriter.Workbook, draft: CellBuffer, formats: Formats,
                   savings: Sequence[tuple[str, str, str, str, float, float, str]], top: int) -> None:
    """The first year's savings line by line, and a name for the sum of each part."""
    parts: dict[str, list[str]] = {}
    for row, (label, price, amount, part, cost, many, unit) in enumerate(savings, start=top):
        draft.put(row, 0, label)
        draft.put(row, 1, Formula(f"={price}", cost), formats.number("price"))
        draft.put(row, 2, Formula(f"={amount}", many), formats.of(num_format=QUANTITY))
        draft.put(row, 3, Formula(f"={xl_rowcol_to_cell(row, 1)}*{xl_rowcol_to_cell(row, 2)}", cost * many),
                  formats.number("money"))
        draft.put(row, 5, unit, formats.of(indent=1))
        parts.setdefault(part, []).append(f"'{PROPOSAL_SHEET}'!{xl_rowcol_to_cell(row, 3, True, True)}")
    for part, found in parts.items():
        first, last = found[0], found[-1].rpartition("!")[2]
        book.define_name(f"saved_{part}", f"=SUM({first}:{last})")


def _inputs(book: xlsxwriter.Workbook, sheet: Worksheet, draft: CellBuffer, formats: Formats,
            groups: Sequence[tuple[str, Sequence[Input]]], top: int) -> tuple[list[int], int]:
    """The inputs under their headings; first row of each group, and the row after the last."""
    _header(draft, formats, top, ("Input", "Value", "Of the run", "Lowest tried", "Highest tried", "Unit"))
    row, heads = top + 1, [top]
    for heading, group in groups:
        heads.append(row)
        draft.put(row, 0, heading, formats.of(bold=True, top=1))
        for one in group:
            row += 1
            _input(book, sheet, draft, formats, one, row)
        row += 1
    sheet.conditional_format(top + 1, 1, row, 1, {
        "type": "formula", "criteria": f"=${xl_rowcol_to_cell(top + 1, 1)}<>${xl_rowcol_to_cell(top + 1, 2)}",
        "format": formats.of(bold=True, font_color=DARK_ORANGE)})
    return [top, *heads[2:]], row


def _input(book: xlsxwriter.Workbook, sheet: Worksheet, draft: CellBuffer, formats: Formats, one: Input,
           row: int) -> None:
    """One input: its cell, what the run has, the range tried and the unit."""
    draft.put(row, 0, one.label)
    draft.put(row, 1, one.value, formats.of(num_format=one.form, bg_color=INPUT, border=1))
    plain = formats.of(num_format=one.form)
    if one.value is not None:
        draft.put(row, 2, one.value, plain)
    for column, end in enumerate(one.tested or (), start=3):
        draft.put(row, column, end, plain)
    draft.put(row, 5, one.unit, formats.of(indent=1))
    book.define_name(one.name, f"='{PROPOSAL_SHEET}'!{xl_rowcol_to_cell(row, 1, True, True)}")
    if one.bounds is not None:
        low, high = one.bounds
        sheet.data_validation(row, 1, row, 1, {
            "validate": "integer" if one.whole else "decimal", "criteria": "between", "minimum": low, "maximum": high,
            "error_title": "Out of bounds", "error_message": f"A number from {low:g} to {high:g}."})
