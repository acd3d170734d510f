"""Sections on money: the business case in both perspectives, drivers and break-evens."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from reliability.business.costs import SOCIETY
from reliability.formats import NOT_MEANINGFUL, meaningful
from reliability.report import charts
from reliability.report.blocks import Block, Column, Heading, Missing, Section, Table, Text
from reliability.report.content import Case, Content, leading
from reliability.report.definitions import AT_THE_MEANS
from reliability.report.figures import Figure, Name, Sentence, joined, pointer, resolve, say
from reliability.report.money_summary import CUSTOMERS_GAIN
from reliability.report.sections_finance import revenue, society_values
from reliability.report.sentences import worth
from reliability.report.sentences_customers import customers_change
from reliability.report.sentences_money import downside
from reliability.schema.assumptions import label_of
from reliability.schema.problems import shorten
from reliability.schema.units import spoken_unit, unit_of

PERSPECTIVE_TITLES = {"utility": "Utility perspective", "society": "Societal perspective"}
NOT_MEANINGFUL_WORDS = (f"{NOT_MEANINGFUL}: an IRR above 100 %, a payback under 0.1 years or a benefit-cost ratio "
                        "beyond ±100, as the capital is small against what is gained or lost.")
BOUNDED = ("irr", "bcr", "payback")         # kinds that "not meaningful" may stand for
FLOWS = (("capex", "Capital"), ("callout_saving", "Call-outs saved"), ("energy_saving", "Energy margin saved"),
         ("incentive", "Incentive"), ("interruption_cost_saving", CUSTOMERS_GAIN),
         ("inspection", "Inspection"),
         ("net", "Net"), ("discounted", "Discounted"))


def figures_of_merit(content: Content) -> tuple[Column, ...]:
    """Columns of a table of business figures."""
    money = content.currency
    return (
        Column("capex", "Capital", "money", money), Column("npv", "NPV", "money", money), Column("irr", "IRR", "irr"),
        Column("bcr", "Benefit-cost ratio", "bcr"),
        Column("discounted_payback_years", "Discounted payback", "payback", "yr"),
        Column("cost_per_ci_avoided", "Annualised capital per customer interruption avoided", "price", money),
        Column("cost_per_cmi_avoided", "Annualised capital per customer-minute avoided", "price", money),
        Column("npv_p10", "NPV, 80 % range", "money", money, high="npv_p90"),
        Column("npv_p50", "NPV, median", "money", money, where="sheet"),
        Column("probability_npv_positive", "Probability that NPV is above 0", "probability"))


def business(content: Content) -> Section:
    """The business case in both perspectives."""
    title = "Business case"
    if not content.cases and not content.business:
        return Section("business", title, (Missing("The business case: it was not computed in this run."),))
    own = str(content.study.values["perspective"])
    blocks: list[Block] = []
    if content.business and (at := leading(content)) is not None:
        blocks += [Text(said) for said in (worth(content, at), customers_change(content, at), downside(content, at))
                   if said]
    for perspective in (own, *(p for p in PERSPECTIVE_TITLES if p != own)):
        blocks += _case(content, perspective, perspective == own)
    blocks += revenue(content)
    return Section("business", title, tuple(blocks))


def _case(content: Content, perspective: str, own: bool) -> list[Block]:
    view = PERSPECTIVE_TITLES[perspective]
    blocks: list[Block] = [Heading(view + (" (the study's)" if own else ""))]
    case = content.cases.get(perspective)
    if case is None and not (own and content.business):
        return [*blocks, Missing(f"{view}: the business case was not computed in this run.")]
    known = case.summaries if case else [content.at("scenarios", i, "business") for i in range(len(content.scenarios))]
    rows = [known[i] for i in content.order]
    if perspective == SOCIETY:
        blocks += society_values(content)
    blocks.append(_merit(content, perspective, own, rows))
    if case is not None and len(case.cashflow):
        scenario = leading(content)
        if scenario is not None:
            blocks.append(charts.cashflow(content, case, scenario, perspective))
        blocks.append(_flows(content, case, perspective))
    return blocks


def _merit(content: Content, perspective: str, own: bool, rows: Sequence[Mapping[str, Any]]) -> Table:
    """Figures of merit by scenario; marked with their place in summary.json where they stand there."""
    columns = figures_of_merit(content)
    names = [n for c in columns for n in ((c.key, c.high) if c.high else (c.key,))]
    part = ("business",) if own else ("business", perspective)
    values = {n: [np.nan if row.get(n) is None else float(row[n]) for row in rows] for n in names}
    frame = pd.DataFrame(values, dtype=float)
    paths = pd.DataFrame({n: [_known(content, i, part, n) for i in content.order] for n in names})
    kept = tuple(c for c in columns if frame[c.key].notna().any())
    frame.insert(0, "scenario", [content.scenarios[i] for i in content.order])
    paths.insert(0, "scenario", "")
    marked = any(not meaningful(value, c.kind) for c in kept if c.kind in BOUNDED for value in frame[c.key].dropna())
    note = f"{NOT_MEANINGFUL_WORDS} {AT_THE_MEANS}." if marked else f"{AT_THE_MEANS}."
    return Table(f"merit-{perspective}", f"Figures of merit, {PERSPECTIVE_TITLES[perspective].lower()}",
                 (Column("scenario", "Scenario"), *kept), frame, f"Business {perspective}", note=note, paths=paths)


def _known(content: Content, scenario: int, part: tuple[str, ...], name: str) -> str:
    path = pointer("scenarios", scenario, *part, name)
    return path if resolve(content.summary, path) is not None else ""


def _flows(content: Content, case: Case, perspective: str) -> Table:
    """cashflow.csv, the scenario that the report speaks of first on top."""
    scenario = leading(content)
    frame = case.cashflow
    if scenario is not None:
        first = frame["scenario"] == content.scenarios[scenario]
        frame = pd.concat([frame[first], frame[~first]])
    frame = frame.assign(year=frame["year"].astype(float)).reset_index(drop=True)
    horizon = int(frame["year"].max()) + 1
    kept = [(k, label) for k, label in FLOWS if k in ("capex", "net", "discounted") or frame[k].any()]
    columns = (Column("scenario", "Scenario", where="sheet"), Column("year", "Year", "whole"),
               *(Column(k, label, "money", content.currency) for k, label in kept))
    name = shorten(str(frame["scenario"].iloc[0]), 40)
    return Table(f"cashflow-{perspective}", f"Expected cash flow of {name}, {PERSPECTIVE_TITLES[perspective].lower()}",
                 columns,
                 frame, f"Flows {perspective}", min(horizon, 41),
                 whole=f"Expected cash flow of every scenario, {PERSPECTIVE_TITLES[perspective].lower()}")


def drivers(content: Content) -> Section:
    """Sensitivity of the NPV to each assumption, and its break-even values."""
    title, frame = "Sensitivity and break-even values", content.drivers
    if frame is None or not len(frame):
        return Section("drivers", title, (Missing(f"{title}: they were not computed in this run."),))
    scenario = leading(content)
    names = list(dict.fromkeys(frame["scenario"]))
    name = content.scenarios[scenario] if scenario is not None and content.scenarios[scenario] in names else names[0]
    keys = frame["assumption"].astype(str)
    frame = frame.assign(label=keys.map(label_of), unit=[unit_of(k, content.currency) for k in keys])
    mine = frame[frame["scenario"] == name]
    rest = frame[frame["scenario"] != name]
    ordered = pd.concat([mine, rest], ignore_index=True)
    blocks: list[Block] = [
        Text(joined([say("Each assumption is moved alone from its low to its high, in the study's range, else "
                         "in its default one, else by ±20 %."), *_precision(mine)])),
        Text(_turning(content, name, mine)), *_not_moved(mine), charts.drivers(content, name, mine)]
    money = content.currency
    blocks.append(Table("drivers", f"Sensitivity of the NPV of {shorten(name, 40)}", (
        Column("scenario", "Scenario", where="sheet"), Column("label", "Assumption"), Column("unit", "Unit"),
        Column("value", "Value", "any"),
        Column("low", "Range tried", "any", high="high"), Column("range", "Range"),
        Column("npv_low", "NPV at low", "money", money),
        Column("npv_high", "NPV at high", "money", money), Column("swing", "Swing", "money", money),
        Column("first_order", "First order", "share"),
        Column("first_order_error", "Standard error of first order", "share", where="sheet"),
        Column("total", "Total", "share"), Column("total_error", "Standard error of total", "share", where="sheet"),
        Column("break_even", "Break-even", "any")), ordered, "Drivers", min(len(mine), 15),
        whole="Sensitivity of the NPV of every scenario"))
    return Section("drivers", title, tuple(blocks))


def _precision(rows: pd.DataFrame) -> list[Sentence]:
    """What the Sobol' indices are and how far they are known; nothing where there are no ranges."""
    errors = rows[["first_order_error", "total_error"]].to_numpy(dtype=float)
    if np.isnan(errors).all():
        return []
    return [say("First-order and total indices are the shares of the variance of the expected NPV over the "
                "ranges that an assumption explains alone, and with others (Sobol' indices). They are estimated from "
                "samples, with a standard error of at most {error}; an estimate below 0, or of a first order above "
                "its total, is set to that bound.", error=Figure(float(np.nanmax(errors)), "share"))]


def _not_moved(rows: pd.DataFrame) -> list[Block]:
    """Which assumptions stand at 0, of which ±20 % is nothing."""
    still = rows[(rows["value"] == 0.0) & (rows["low"] == rows["high"])]
    if not len(still):
        return []
    names = joined([(Name(label_of(str(key))),) for key in still["assumption"]], ", ")
    return [Text(say("Not moved, as they stand at 0 without a range: {names}. Their break-even values are looked for "
                     "all the same.", names=names))]


def _turning(content: Content, name: str, rows: pd.DataFrame) -> Sentence:
    """Which assumptions change the sign of the NPV within their range."""
    turning = rows[rows["break_even_in_range"].astype(bool)]
    if not len(turning):
        return say("No assumption moved alone within its range changes whether {s} pays.", s=Name(name))
    parts = [say("{label} at {x}{unit}", label=Name(label_of(str(row["assumption"]))),
                 x=Figure(float(row["break_even"])), unit=spoken_unit(str(row["assumption"]), content.currency))
             for row in turning.head(6).to_dict("records")]
    return say("Break-even values of {s} within the ranges: {what}.", s=Name(name), what=joined(parts, "; "))
