"""Page: does it pay, how sure is that, and what does it depend on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from reliability.business.cashflow import cashflow_frame
from reliability.business.costs import SOCIETY
from reliability.formats import (
    NOT_MEANINGFUL,
    count,
    meaningful,
    money,
    money_range,
    number,
    percent,
    probability,
    spoken,
)
from reliability.report.figures import plain as words
from reliability.report.money_summary import MOMENTARY_FACTORS, price_level_summary
from reliability.report.ranges import ranges_sentence
from reliability.report.sentences_money import price_level
from reliability.schema.units import unit_of
from reliability.ui import background, decisive, figure, frame, overview_words, state, tiles, trials
from reliability.ui.headers import Header
from reliability.ui.money_charts import cashflow_chart, drivers_chart, npv_chart
from reliability.ui.moved import PERSPECTIVE_NAMES
from reliability.ui.scenario_results import base_results, in_perspective, pick_scenario, state_results
from reliability.ui.slots import Slot
from reliability.ui.text import plain, short
from reliability.ui.tiles import TileFigure
from reliability.what_if import ScenarioResults

MOST_DRIVERS = 12
PERSPECTIVE_HELP = ("The utility counts crews, material, energy margin and the regulator's incentive; society counts "
                    "crews, material and what interruptions cost customers. Margin and customers' cost are never "
                    "added. What is proposed stays as it was chosen.")


def show() -> None:
    """Draw the page."""
    shown, study, asked = frame.begin_with_state("Business case")
    columns = st.columns([2, 3, 5])
    state.hold("view", asked.perspective or study.values["perspective"])
    columns[0].segmented_control("Perspective", list(PERSPECTIVE_NAMES), key="view",
                                 format_func=PERSPECTIVE_NAMES.__getitem__,
                                 required=True, help=PERSPECTIVE_HELP,
                                 on_change=_perspective, args=(study.values["perspective"],))
    now = state_results(study, shown.fingerprint, asked)
    if len(now.names) < 2:
        st.info("There is nothing to compare: add a scenario on the page Study data.")
        return
    with columns[1]:
        scenario = pick_scenario(now, "Scenario", "case_scenario")
    case, currency, large = now.money[scenario], now.business.currency, frame.presenting()
    have = trials.known(now.digest)
    with st.container(key="case_verdict"):
        st.markdown(f"#### {plain(case['verdict'], 300)}")
    other = Slot("case_other_view")
    other.again().markdown(overview_words.other_view(now, scenario, have))
    figures = _tiles(case, currency, None if have is None else have.npv[scenario])
    room, base = decisive.place(), base_results(study, shown.fingerprint, asked)
    told = decisive.tell(room, base, asked.moves)
    left, right = st.columns(2, gap="large")
    flow = cashflow_frame(now.business)
    flow = flow[flow["scenario"] == now.names[scenario]].drop(columns="scenario")
    with left:
        st.subheader("Cash flow", anchor=False)
        figure.chart(cashflow_chart(flow, currency, large), f"Cash flow of {now.names[scenario]} by year: capital "
                     f"{money(case['capex'], currency)}, net present value {money(case['npv'], currency)}.",
                     lambda: flow, "Cash flow", "cashflow")
    with right:
        st.subheader("Probability that NPV is above 0", anchor=False)
        sure = Slot("sure_place")
        figure.csv_button("Net present value by trial", lambda: _by_trial(now, scenario), "npv")
        progress = Slot("simulation_line")
    with st.container(key="drivers_place"):
        _drivers(now, scenario, large)
    _society(in_perspective(now, SOCIETY), scenario)
    _all(now)
    for spread in trials.follow(now, lambda done, total: progress.again().progress(
            min(done / total, 1.0), f"Simulating: {done} trials of at most {total}")):
        npv = spread.npv[scenario]
        sure.chart(npv_chart(npv, currency, large), f"Net present value over {len(npv)} trials; above 0 in "
                   f"{probability(trials.odds_of_gain(npv))} of them.", "", "npv")
        _tiles(case, currency, npv, figures)
        other.again().markdown(overview_words.other_view(now, scenario, spread))
        progress.again().markdown(f"{count(spread.trials, 'trial')} of {spread.years} years, seed {spread.seed}.")
    if not told:
        decisive.tell(room, base, asked.moves, wait=True)


def _by_trial(now: ScenarioResults, scenario: int) -> pd.DataFrame:
    """Net present value by trial, of as many trials as there are by now."""
    spread = trials.known(now.digest)
    npv = np.empty(0) if spread is None else spread.npv[scenario]
    return pd.DataFrame({"trial": np.arange(len(npv)), "npv": npv})


def _perspective(stated: str) -> None:
    view = st.session_state["view"]
    state.put(perspective="" if view == stated else view)


def _tiles(case: dict[str, Any], currency: str, npv: np.ndarray | None,
           place: DeltaGenerator | None = None) -> DeltaGenerator:
    """Draw the figures of a case, in the place of those drawn before; returns where they stand."""
    spread = "–" if npv is None else money_range(np.percentile(npv, 10), np.percentile(npv, 90), currency)
    payback = case["discounted_payback_years"]
    figures = (("Net present value", money(case["npv"], currency)), ("NPV, P10 to P90", spread),
               ("Probability that NPV is above 0", probability(None if npv is None else trials.odds_of_gain(npv))),
               ("Capital", money(case["capex"], currency)), ("Internal rate of return", spoken(case["irr"], "irr")),
               ("Benefit over cost", spoken(case["bcr"], "bcr")),
               ("Discounted payback", _payback(payback)),
               ("Per interruption and minute avoided", tiles.per_avoided(case, currency)))
    return tiles.row((TileFigure(name, value) for name, value in figures), wide=True, place=place)


def _payback(years: float | None) -> str:
    if years is None:
        return "never"
    return f"{number(years)} years" if meaningful(years, "payback") else NOT_MEANINGFUL


def _drivers(now: ScenarioResults, scenario: int, large: bool) -> None:
    st.subheader("Sensitivity", anchor=False)
    table = background.result(*_drivers_work(now), "the sensitivity")
    if table is None:
        return
    part = table[table["scenario"] == now.names[scenario]]
    if part.empty:
        st.info("No assumption moves this scenario's net present value.")
        return
    left, right = st.columns([3, 2], gap="large")
    first = part.iloc[0]
    with left:
        figure.chart(drivers_chart(part, now.business.currency, large),
                     f"Assumptions by how far they move the net present value; the first is {first['label']}.",
                     lambda: part, "Drivers", "drivers")
    with right:
        turning = part[np.isfinite(part["break_even"])]
        if turning.empty:
            st.markdown("**No single assumption has a break-even value** within its bounds.")
        else:
            st.markdown("**Break-even values**, if one assumption alone changes:")
        # those with a break-even value are listed, however little they move the value where the study stands
        rows = part[np.isfinite(part["break_even"]) | (np.arange(len(part)) < MOST_DRIVERS)]
        shown = pd.DataFrame({
            "Assumption": rows["label"], "Now": [number(v) for v in rows["value"]],
            "Break-even": [number(v) for v in rows["break_even"]], "Share": [percent(v) for v in rows["total"]],
            "Unit": [unit_of(key, now.business.currency) for key in rows["assumption"]]})
        st.dataframe(shown, hide_index=True, alt="Break-even values and shares of the variance", column_config={
            name: st.column_config.TextColumn(width=width) for name, width in (
                ("Assumption", 182), ("Now", 58), ("Break-even", 82), ("Share", 58), ("Unit", 132))})
        st.caption("At its break-even value this scenario's NPV is 0; a selection may prefer other devices or "
                   "laterals well before (page Selection). –: there is none within the assumption's bounds. Share: of "
                   "what is unknown about the net present value, the total Sobol' index over the ranges. "
                   + words(ranges_sentence(now.results.study)))


def _drivers_work(now: ScenarioResults) -> tuple[str, Callable[[], pd.DataFrame]]:
    results = now.results

    def work() -> pd.DataFrame:
        from reliability.business.drivers import drivers_frame
        return drivers_frame(results.study, results.network, results.costs)

    return f"drivers|{now.digest}", work


def prepare(now: ScenarioResults) -> None:
    """Begin with what takes longest on this page."""
    background.prepare(*_drivers_work(now))


def _society(now: ScenarioResults, scenario: int) -> None:
    """Society's NPV over the value of a momentary event, and the price level of customers' costs."""
    st.subheader("Society's NPV and the value of a momentary event", anchor=False)
    found, currency = now.results.momentary_value, now.business.currency
    turn = float(found.turn[scenario])
    with st.container():
        tiles.row([*(TileFigure(f"Momentary events at {name}", money(found.npv(scenario, factor), currency))
                     for factor, name in zip(MOMENTARY_FACTORS, ("no cost", "half", "full survey value"), strict=True)),
                   TileFigure("Sign turns at, × survey value", number(turn) if np.isfinite(turn) else "nowhere")])
    levels = {"interruption_costs": price_level_summary(now.results)}
    st.caption(plain(words(price_level(levels, currency)), 2000))


def _all(now: ScenarioResults) -> None:
    st.subheader("Every scenario, in both perspectives", anchor=False)
    rows = []
    for view in PERSPECTIVE_NAMES:
        of = in_perspective(now, view)
        for s, name in enumerate(of.names):
            if s:
                case = of.money[s]
                rows.append({"perspective": PERSPECTIVE_NAMES[view], "scenario": name,
                             **{k: _usable(k, case[k]) for k in (
                    "capex", "npv", "irr", "bcr", "payback_years", "discounted_payback_years", "cost_per_ci_avoided",
                    "cost_per_cmi_avoided", "cost_per_callout_avoided")}})
    unit = short(now.business.currency, 12)
    columns: dict[str, Header | str] = {"capex": f"Capital, {unit}", "npv": f"NPV, {unit}"}
    columns |= {k: Header(f"{unit} per {what} avoided", "price") for k, what in (
        ("cost_per_ci_avoided", "customer interruption"), ("cost_per_cmi_avoided", "customer-minute"),
        ("cost_per_callout_avoided", "call-out"))}
    figure.table(pd.DataFrame(rows), "Business case of every scenario", "cases", column_config=columns)
    years = int(now.results.study.values["horizon_years"])
    st.caption(f"Money in {plain(now.business.currency)}; {count(years, 'year')}. "
               "–: there is no such figure, as a payback that is never reached, or none that means anything, as the "
               "internal rate of return of what needs almost no capital.")


def _usable(key: str, value: float | None) -> float | None:
    """A figure of merit, None where it means nothing."""
    kind = {"irr": "irr", "bcr": "bcr", "payback_years": "payback", "discounted_payback_years": "payback"}.get(key)
    return value if kind is None or value is None or meaningful(value, kind) else None


if __name__ == "__main__":
    show()
