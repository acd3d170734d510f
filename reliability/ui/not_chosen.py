"""On the page Selection: laterals that are not chosen with the reason, and what is chosen by feeder and readiness."""

from __future__ import annotations

import numpy as np
import pandas as pd
import streamlit as st

from reliability.business.options import AS_IT_IS
from reliability.business.proposal import converted_laterals
from reliability.business.selection import NPV
from reliability.network.application import ApplicationChecks, check_laterals
from reliability.network.application_catalogue import FAIL, PASS
from reliability.network.devices import CODE
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.scenarios import Scenario
from reliability.ui import figure, readiness
from reliability.ui.chosen import Selection
from reliability.ui.place_table import named
from reliability.ui.text import short
from reliability.what_if import ScenarioResults

TOTALLED_COLUMNS = ("capex", "npv", "customer_minutes_avoided")


def not_chosen(now: ScenarioResults, found: Selection) -> pd.DataFrame:
    """A row a lateral that stays as it is, the nearest to paying first: why, and its best conversion alone.

    Columns section_id, feeder_id, why, device (of that conversion, "" where none is open), capex, npv and
    customer_minutes_avoided (of it, its backup set as built; NaN without one), not_passed (checks of a sectionalizer).
    """
    options, network = found.options, found.options.network
    rows = options.rows
    open_to = rows[(rows["device"] != "") & (rows["setting"] == AS_IT_IS) & (rows["lateral"] >= 0)]
    goal = "npv" if found.question.goal == NPV else "customer_hours_avoided"
    best = open_to.loc[open_to.groupby("lateral")[goal].idxmax()].set_index("lateral")
    best = best.reindex(np.arange(len(options.heads)))
    checks = check_laterals(now.results.study.model, Scenario("", None, SECTIONALIZER))
    table = pd.DataFrame({
        "section_id": network.ids[options.heads].astype(str),
        "feeder_id": network.feeder_ids[network.feeder[options.heads]].astype(str),
        "why": "", "device": best["device"].fillna("").to_numpy(),
        **{name: best[name].to_numpy(dtype=float) for name in ("capex", "npv")},
        "customer_minutes_avoided": 60.0 * best["customer_hours_avoided"].to_numpy(dtype=float),
        "not_passed": _open(checks)})
    has_one = now.results.table.protections[0].device[options.heads] == CODE[SECTIONALIZER]
    table["why"] = _why(table, found, checks.verdict == FAIL, has_one)
    # it stands there: to set its counts otherwise converts nothing, and has no price
    table.loc[has_one & (table["device"] == SECTIONALIZER), ["capex", "npv", "customer_minutes_avoided"]] = np.nan
    if not found.proposed:
        proposed = table["section_id"].isin(converted_laterals(now.decision.choice))
        table.insert(3, "in_the_proposal", np.where(proposed, "yes", "no"))
    rest = table[~table["section_id"].isin(converted_laterals(found.choice))]
    return rest.sort_values(goal if goal == "npv" else "customer_minutes_avoided", ascending=False, kind="stable",
                            ignore_index=True)


def _open(checks: ApplicationChecks) -> list[str]:
    """Labels of the checks that decide and are not passed, by lateral."""
    deciding = [check for check in checks.checks if check.kind.decides]
    return ["; ".join(c.kind.label for c in deciding if c.verdict[k] != PASS) for k in range(len(checks))]


def _why(table: pd.DataFrame, found: Selection, fails: np.ndarray, has_one: np.ndarray) -> np.ndarray:
    """Why each lateral is not chosen, if it is not."""
    brings = table["npv" if found.question.goal == NPV else "customer_minutes_avoided"].to_numpy(dtype=float)
    nothing_open = (table["device"] == "").to_numpy()
    excluded = table["section_id"].isin(found.question.limits.forced_out).to_numpy()
    failing = fails & found.question.only
    nothing = "costs more than it saves" if found.question.goal == NPV else "avoids no customer-minutes"
    return np.select(
        [excluded, has_one, nothing_open & failing, nothing_open, failing & (brings <= 0.0), brings <= 0.0],
        ["never convert: a limit", "has a sectionalizer", "an application check fails", "no conversion is open to it",
         f"a sectionalizer's check fails; another device {nothing}", nothing], "not within the limits")


def changes(now: ScenarioResults, found: Selection, rest: pd.DataFrame) -> pd.DataFrame:
    """A row a lateral that the selection leaves, takes or converts otherwise than the proposal does.

    rest: of `not_chosen`. Columns section_id, feeder_id, change (in words), why (it drops out, "" for others), device
    and npv, at the inputs of the state.
    """
    proposed, chosen = (c.selection[c.selection["what"] == "lateral"] for c in (now.decision.choice, found.choice))
    before = proposed.set_index(proposed["section_id"].astype(str))["device"]
    was = chosen["section_id"].astype(str).map(before)
    comes, differs = chosen[was.isna()], chosen[was.notna() & (was != chosen["device"])]
    out = rest[rest["section_id"].isin(before.index)]
    parts = [out.assign(change="drops out"), comes.assign(change="comes in", why=""),
             differs.assign(change="another device than proposed", why="")]
    return pd.concat([p[["section_id", "feeder_id", "change", "why", "device", "npv"]] for p in parts],
                     ignore_index=True)


def sums(now: ScenarioResults, selection: pd.DataFrame) -> pd.DataFrame:
    """What is chosen by readiness, by feeder and in all: rows part, laterals, capex, npv, customer_minutes_avoided."""
    rows = readiness.with_status(now, selection).assign(laterals=(selection["what"] == "lateral").astype(int))
    parts = [("Status: ", rows.groupby("status")), ("Feeder ", rows.groupby("feeder_id"))]
    made = [pd.DataFrame({"part": word + (str(name) or "backup settings"),
                          **part[["laterals", *TOTALLED_COLUMNS]].sum()},
                         index=[0]) for word, groups in parts for name, part in groups]
    return pd.concat([*made, pd.DataFrame({"part": "All", **rows[["laterals", *TOTALLED_COLUMNS]].sum()}, index=[0])],
                     ignore_index=True)


def show(now: ScenarioResults, found: Selection) -> None:
    """What differs from the proposal, then both tables, side by side."""
    rest = not_chosen(now, found)
    money = {name: f"{words}, {short(now.business.currency, 12)}" for name, words in (
        ("capex", "Capital"), ("npv", "NPV"))}
    if not found.proposed and len(differing := changes(now, found, rest)):
        st.subheader("Against the proposal: what comes in and what drops out", anchor=False)
        figure.table(named(differing, now.results.network, "section_id", "lateral"), "Against the proposal", "changes",
                     height=min(36 * (len(differing) + 1) + 3, 250), column_config=money)
    left, right = st.columns([5, 3], gap="large")
    with left:
        st.subheader("What is not chosen, and why", anchor=False)
        figure.table(named(rest, now.results.network, "section_id", "lateral"), "Not chosen",
                     "not_chosen", height=320, column_config=money)
        st.caption("Device, capital, NPV and minutes are those of the best conversion of the lateral by itself.")
    with right:
        st.subheader("What is chosen, totals", anchor=False)
        if len(found.choice.selection):
            figure.table(sums(now, found.choice.selection), "Totals of the selection", "selection_sums", height=320,
                         column_config=money)
