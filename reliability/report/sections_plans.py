"""Plans of earlier reports: what was promised, what was done, and what verification found."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.formats import count, number
from reliability.history.history import History
from reliability.report import conversions_shown
from reliability.report.blocks import Block, Column, Heading, Missing, Table
from reliability.schema.problems import shorten
from reliability.study.report_settings import ALL_LATERALS, EarlierPlan
from reliability.study.study import Study


def plans(study: Study, history: History | None) -> list[Block]:
    """A row a plan of an earlier report."""
    if not study.plans:
        return [Missing("Plans of earlier reports: not stated by the utility.")]
    frame = pd.DataFrame([{
        "name": shorten(plan.name, 200), "year": float(plan.year), "promised": plan.promised,
        "done": plan.done or "not stated (done)", "cost": plan.cost, "found": found(plan, study, history)}
        for plan in study.plans]).astype({"cost": float})
    return [Heading("Plans of earlier reports"), Table("plans", "What was promised, done and found", (
        Column("name", "Plan"), Column("year", "Year", "whole"), Column("promised", "Promised"),
        Column("done", "Done"), Column("cost", "Cost", "money", study.currency),
        Column("found", "What verification found")), frame, "Earlier plans")]


def found(plan: EarlierPlan, study: Study, history: History | None) -> str:
    """What the comparison of converted laterals says of a plan, in words."""
    if not plan.laterals:
        return "Not verified: the plan names no converted laterals."
    known = study.extra.get("conversions", {})
    named = len(known) if plan.laterals == ALL_LATERALS else len(plan.laterals)
    if history is None or history.conversions is None:
        return ("Not verified: the study has no outage records." if history is None else
                "Not verified: the records cannot be compared before and after.")
    verdicts = conversions_shown.measures_frame(history.conversions)
    ratios = history.conversions.measures[["rate_ratio", "low", "high"]].to_numpy(dtype=float)
    listed = "; ".join(f"{row['measure'].lower()}: {row['verdict']}{_ratio(ends)}" for row, ends in zip(
        verdicts.to_dict("records"), ratios, strict=True))
    of = count(named, "converted lateral") if named == len(known) else (
        f"{named} of {len(known)} converted laterals, which are verified together")
    return f"{of}, at 90 %: {listed}."


def _ratio(ends: np.ndarray) -> str:
    """The raw ratio of the change of the converted laterals to that of the others, and its interval; "" without one."""
    if not np.isfinite(ends).all():
        return ""
    ratio, low, high = map(number, ends)
    return f" (ratio {ratio} of the others, {low} to {high})"
