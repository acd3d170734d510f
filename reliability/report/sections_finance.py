"""Parts of the business case: society's view over the value of a momentary event, and the revenue requirement."""

from __future__ import annotations

import pandas as pd

from reliability.report.blocks import Block, Bullets, Column, Heading, Table, Text, summary_table
from reliability.report.content import Content, leading
from reliability.report.figures import Sentence, pointer
from reliability.report.money_summary import MOMENTARY_FACTORS
from reliability.report.sentences_break_even import FACTOR_KIND, momentary_value
from reliability.report.sentences_money import bill, price_level, two_rates, upkeep
from reliability.schema.problems import shorten

NPV_LABELS = {0.0: "NPV, momentary events at no cost", 0.5: "NPV, at half their survey value",
              1.0: "NPV, at their full survey value"}
BY_YEAR = (("rate_base", "Rate base"), ("interest", "Interest"), ("equity_return", "Return on equity"),
           ("tax", "Income tax"), ("depreciation", "Depreciation"), ("inspection", "Inspection"),
           ("saved", "Crew work saved"), ("total", "Revenue requirement"))


def society_values(content: Content) -> list[Block]:
    """Price level, and society's NPV where momentary events cost nothing, half and all of their survey value."""
    if not content.business:
        return []
    rows = [(content.scenarios[i], pointer("scenarios", i, "business")) for i in content.order[1:]]
    if not rows:
        return []
    columns = [(Column(f"npv_{k}", NPV_LABELS[factor], "money", content.currency), f"/society/momentary_values/{k}/npv")
               for k, factor in enumerate(MOMENTARY_FACTORS)]
    turn = Column("turn", "Times the survey value at which the sign turns", FACTOR_KIND)
    blocks: list[Block] = [Text(said)] if (said := price_level(content.summary, content.currency)) else []
    blocks.append(summary_table(
        "momentary-values", "Society's NPV over what a momentary event is taken to cost", content.summary,
        Column("scenario", "Scenario"), rows, [*columns, (turn, "/break_even/momentary_cost_factor")],
        sheet="Momentary values"))
    turns = [momentary_value(content, i) for i in content.order[1:]]
    return [*blocks, Bullets(tuple(filter(None, turns)))] if any(turns) else blocks


def revenue(content: Content) -> list[Block]:
    """Revenue requirement and effect on a bill, of all scenarios and by year of the one shown first."""
    at = leading(content)
    if at is None or content.at("scenarios", at, "business", "revenue_requirement") is None:
        return []
    money = content.currency
    rows = [(content.scenarios[i], pointer("scenarios", i, "business", "revenue_requirement"))
            for i in content.order[1:]]
    said: list[Sentence] = [s for s in (bill(content, at), two_rates(content, at), upkeep(content, at)) if s]
    return [
        Heading("Revenue requirement and bills"), *(Text(s) for s in said),
        Text(("A year's requirement is the return on what is not yet depreciated (interest and return on equity), "
              "straight-line depreciation, income tax and inspection, less the crew work saved. Energy margin and "
              "incentives are no cost of service and are left out.",)),
        summary_table("revenue", "Revenue requirement", content.summary, Column("scenario", "Scenario"), rows, (
            (Column("first_year", "First year", "money", money), "/first_year"),
            (Column("levelised", "Levelised", "money", f"{money}/yr"), "/levelised"),
            (Column("levelised_capital", "of it capital and tax", "money", f"{money}/yr"), "/levelised_capital"),
            (Column("levelised_inspection", "inspection", "money", f"{money}/yr"), "/levelised_inspection"),
            (Column("levelised_saved", "less crew work", "money", f"{money}/yr"), "/levelised_saved"),
            (Column("bill", "A customer and month", "three_digits", money), "/bill_effect_per_customer_month"),
            (Column("share", "Of the average bill", "share_of_three_digits"), "/bill_effect_share")),
            sheet="Revenue requirement"), _by_year(content, at)]


def _by_year(content: Content, at: int) -> Table:
    place = ("scenarios", at, "business", "revenue_requirement", "by_year")
    years = range(len(content.at(*place, "total")))
    frame = pd.DataFrame({"year": [float(y + 1) for y in years]} | {k: content.at(*place, k) for k, _ in BY_YEAR})
    paths = pd.DataFrame({"year": [""] * len(frame)} | {
        k: [pointer(*place, k, y) for y in years] for k, _ in BY_YEAR})
    columns = (Column("year", "Year", "whole"), *(Column(k, label, "money", content.currency) for k, label in BY_YEAR))
    return Table("revenue-years", f"Revenue requirement by year, {shorten(content.scenarios[at], 40)}", columns, frame,
                 "Revenue by year", 41, paths=paths)
