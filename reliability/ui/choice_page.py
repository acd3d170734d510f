"""Page: which laterals, under a budget and other limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
import streamlit as st

from reliability import formats
from reliability.business.break_even import BREAK_EVEN
from reliability.business.chosen_checks import checks_of_selection
from reliability.business.frontier import frontier
from reliability.business.proposal import converted_laterals, scenario_of
from reliability.business.selection import Choice
from reliability.formats import count, money, number, percent
from reliability.history.reporting import first_year_of
from reliability.report.frontier_mix import unproven
from reliability.report.map_classes import Benefit, Classed, by_benefit, by_verdict
from reliability.report.sections_map import at_heads, converted
from reliability.report.work_pack import work_pack_html
from reliability.report.work_pack_jobs import WorkPack, work_pack
from reliability.report.work_pack_rows import work_pack_rows
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.scenarios import proposed_position
from reliability.study.toml_scenarios import add_scenario
from reliability.ui import (
    background,
    download,
    edit,
    figure,
    frame,
    limits,
    map_panel,
    not_chosen,
    opened,
    readiness,
    state,
    tiles,
)
from reliability.ui.chosen import Selection, question_of, select
from reliability.ui.money_charts import frontier_chart, programme_chart
from reliability.ui.opened import Opened
from reliability.ui.place_table import named
from reliability.ui.scenario_results import state_results
from reliability.ui.text import plain, saidi_turn, short
from reliability.ui.tiles import TileFigure
from reliability.what_if import ScenarioResults

FRONTIER_POINTS_SHOWN = 16


def show() -> None:
    """Draw the page."""
    shown, study, asked = frame.begin_with_state("Selection")
    now = state_results(study, shown.fingerprint, asked)
    if not len(now.results.network.candidates):
        st.info("This network has no lateral to choose.")
        return
    panel, results = st.columns([2, 7], gap="large")
    with panel:
        wanted = limits.panel(shown, study, now.results.network)
        st.button("Save constraints", key="write_limits", icon=":material/save:", on_click=limits.save,
                  args=(shown, wanted))
    found = select(now, asked, question_of(now.results.study, wanted))
    with results:
        with st.container(key="choice_proposal"):
            _proposal(now, found)
        _result(now, found)
    _map(shown, now, found.choice)
    _table(shown, now, found)
    not_chosen.show(now, found)
    _programme(now, found)


def _proposal(now: ScenarioResults, found: Selection) -> None:
    """What is proposed, where the choice below is another one; room for that where it is not."""
    if found.proposed:
        st.markdown("The selection is what is **proposed**, on every page." if found.choice.feasible else
                    "**Nothing is proposed**, on any page, until the limits leave a selection.")
        return
    decision, at = now.decision, proposed_position(now.results.study.scenarios)
    by = "a scenario that the study names" if decision.named else "decided at the study's own inputs"
    text = f"**Proposed**, {by}: {plain(decision.choice.message, 400)}"
    if at is not None:
        case, currency = now.money[at], now.business.currency
        minutes = now.indices[0]["saidi_min"] - now.indices[at]["saidi_min"]
        proposed, chosen = (set(converted_laterals(c)) for c in (decision.choice, found.choice))
        both = proposed & chosen
        done = readiness.carried_out(now, at)
        carried = int((done["what"] == "lateral").sum())
        here = "At the moved inputs its" if found.moved else "Its"
        if carried < len(proposed):
            here = f"At the moved inputs, {carried} of its {count(len(proposed), 'lateral')} converted, its"
        text += (f" {here} NPV is {money(case['npv'], currency)} and it {'avoids' if minutes >= 0 else 'adds'} "
                 f"{number(abs(minutes))} minutes of SAIDI a year; "
                 f"{count(len(both), 'of its laterals is', 'of its laterals are')} also in the selection below, "
                 f"{len(proposed - both)} of them drop out, and {len(chosen - both)} others come in.")
    st.markdown(text)


def _result(now: ScenarioResults, found: Selection) -> None:
    choice, currency = found.choice, now.business.currency
    at = "Selection at the moved inputs: " if found.moved else "" if found.proposed else "Selection: "
    with st.container(key="choice_verdict"):
        st.markdown(f"#### {at}{plain(choice.message, 400)}")
    if choice.feasible:
        totals = choice.totals
        ready, held = map(str, readiness.numbers(readiness.statuses(now, choice.selection)))
        laterals = choice.selection[choice.selection["what"] == "lateral"]
        figures = (*((f"To {device.replace('_', ' ')}s", formats.shown((laterals["device"] == device).sum(), "count"))
                     for device in found.devices),
                   ("Ready for work", ready), ("On hold until checks pass", held),
                   ("Backup settings changed", formats.shown(totals["backup_settings_changed"], "count")),
                   ("Capital", money(totals["capex"], currency)), ("Net present value", money(totals["npv"], currency)),
                   _avoided("SAIDI", totals["saidi_minutes_avoided"], "min/yr"),
                   _avoided("MAIFI_E", -totals["maifi_e_added"], "1/yr"),
                   _avoided("Call-outs", totals["callouts_avoided"], "1/yr"))
        tiles.row(TileFigure(name, value) for name, value in figures)
        if turns := saidi_turn(totals, BREAK_EVEN, "The selection"):
            st.markdown(turns)
        proof = f"Within {percent(choice.gap)} of the optimum" if choice.gap else "Proven optimal"
        st.caption(f"{proof}, found in {number(choice.seconds, 2)} s.")
    st.subheader("Benefit against budget", anchor=False)
    with st.container(key="curve_place"):
        _curve(now, found)


def _avoided(name: str, avoided: float, unit: str) -> tuple[str, str]:
    """Name with its unit and figure of what is avoided, or added where it is below 0."""
    return f"{name} {'avoided' if avoided >= 0 else 'added'}, {unit}", number(abs(avoided))


def _curve(now: ScenarioResults, found: Selection) -> None:
    """What can be avoided at every budget: the budget asked for is left out of it."""
    choice, question, currency = found.choice, found.question, now.business.currency
    whole = replace(question.limits, budget=None, saidi_reduction_minutes=None)
    curve = background.result(f"frontier|{now.digest}|{question.settings}|{question.only}|{whole}", lambda: frontier(
        found.options, FRONTIER_POINTS_SHOWN, whole, seconds_per_point=1.0), "the curve")
    if curve is not None and len(curve):
        most = f"{number(curve['saidi_minutes_avoided'].max())} minutes for {money(curve['capex'].max(), currency)}"
        figure.chart(frontier_chart(curve, choice.totals or None, currency, frame.presenting()),
                     f"SAIDI avoided against capital, from nothing to {most}.", lambda: curve, "Curve", "frontier")
        st.caption(f"Numbers beside the curve are units, one a phase, not laterals. {unproven(curve)}".strip())


def _map(shown: Opened, now: ScenarioResults, choice: Choice) -> None:
    """Where the laterals chosen are, coloured by what their conversion brings."""
    chosen = choice.selection[choice.selection["what"] == "lateral"]
    if chosen.empty:
        return
    network = now.results.network
    st.subheader("Where they are", anchor=False)
    by_feeder = chosen.groupby("feeder_id").size().sort_values(ascending=False)
    look = map_panel.controls(now.results.study, st.columns([3, 3, 3, 3]), "choice", by_feeder.index.tolist(),
                              lambda f: f"{short(f)}: {count(int(by_feeder[f]), 'lateral')}")
    device, at = converted(network, now.results.table.protections[0].device, chosen)
    part = readiness.with_status(now, choice.selection).loc[chosen.index]
    part = part if look.feeder == map_panel.ALL_FEEDERS else part[part["feeder_id"] == look.feeder]
    clicked = map_panel.draw(
        now.results, look, _classed(shown, now, chosen, look.measure), device, key="choice_feeder",
        name="Chosen on all feeders" if look.feeder == map_panel.ALL_FEEDERS else f"Chosen on {look.feeder}",
        data=lambda: named(part, network, "section_id", "lateral", "backup_id"), chosen=at.tolist(),
        alt=f"One-line diagram of feeder {look.feeder} with {count(len(part), 'lateral')} converted.")
    if clicked:
        state.put(lateral=clicked)
        state.go("reliability/ui/laterals_page.py")


def _classed(shown: Opened, now: ScenarioResults, chosen: pd.DataFrame, measure: str) -> Classed:
    """The laterals chosen by what is measured; verdicts and outages of all laterals."""
    network = now.results.network
    if measure == map_panel.OUTAGES_MEASURE:
        return map_panel.by_outages(shown, network)
    if measure == map_panel.VERDICT_MEASURE:
        checks = checks_of_selection(now.results.study.model, chosen)
        return by_verdict(network, checks.proposal.head, checks.verdict)
    title, unit, column, kind = {
        map_panel.MINUTES_MEASURE: ("Customer-minutes avoided", "a year", "customer_minutes_avoided", "any"),
        map_panel.NPV_MEASURE: ("NPV of converting", now.business.currency, "npv", "money"),
        map_panel.BREAK_EVEN_MEASURE: ("", "", BREAK_EVEN, "share")}[measure]
    values = at_heads(network, chosen["section_id"], chosen[column].to_numpy(dtype=float), 0.0)
    if measure == map_panel.BREAK_EVEN_MEASURE:
        return by_benefit(network, map_panel.turns(values, "not chosen, or gain keeps its sign"))
    worse = "worse than as built" if measure == map_panel.MINUTES_MEASURE else "below 0"
    return by_benefit(network, Benefit(title, unit, values, kind, worse, "not chosen, or none"))


def _table(shown: Opened, now: ScenarioResults, found: Selection) -> None:
    choice = found.choice
    if choice.selection.empty:
        return
    st.subheader("What would be chosen at the moved inputs" if found.moved else "What is chosen", anchor=False)
    currency = short(now.business.currency, 12)
    money_columns = {"capex": f"Capital, {currency}", "npv": f"NPV, {currency}"}
    network, rows = now.results.network, readiness.with_status(now, choice.selection)
    if not found.proposed:
        proposed = rows["section_id"].astype(str).isin(converted_laterals(now.decision.choice))
        rows = rows.assign(in_the_proposal=np.where(proposed & (rows["what"] == "lateral"), "yes", "no"))
    figure.table(named(rows, network, "section_id", "lateral or backup", "backup_id"), "Selection",
                 "selection", height=360, column_config=money_columns)
    laterals = choice.selection[choice.selection["what"] == "lateral"]

    def pack() -> WorkPack:
        study, years = now.results.study, choice.selection.assign(year=1)
        if found.question.by_year:
            years, _ = background.ask(*found.programme(now)).result()
        return work_pack(checks_of_selection(study.model, choice.selection), choice.selection, years,
                         study_name=_name(now, found), view=now.results.plan_view, miles=study.in_miles,
                         first_year=first_year_of(study))

    with st.container(horizontal=True):
        if (laterals["device"] == SECTIONALIZER).any():
            download.button("Work pack, a sheet a lateral (HTML)", lambda: work_pack_html(pack()).encode(),
                            "work_pack.html", "text/html", key="pack_html", icon=":material/construction:")
            figure.csv_button("Work pack", lambda: work_pack_rows(pack()), "work_pack")
        if len(laterals):
            st.button("Make it a scenario of the study", key="make_scenario", icon=":material/add:",
                      on_click=_make_scenario, args=(shown, choice))


def _name(now: ScenarioResults, found: Selection) -> str:
    """Name of the study on paper; of one that is moved, with the mark of its inputs."""
    study = now.results.study
    return f"{study.name} (moved inputs {study.inputs_sha256[:8]})" if found.moved else study.name


def _make_scenario(shown: Opened, choice: Choice) -> None:
    """The whole choice as a scenario: each lateral its device and counts, each backup its fast operations."""
    scenario = scenario_of(choice)
    if scenario is None:
        return
    text = (shown.folder / "study.toml").read_bytes().decode("utf-8-sig")
    after, name = add_scenario(text, replace(scenario, name="Selection"))
    saved = edit.apply(shown, {"study.toml": after.encode()}, [], "choice")
    fast = scenario.fast_operations
    parts = [count(len(converted_laterals(choice)), "lateral")]
    parts += [count(len(fast), "breaker or recloser with new fast operations",
                    "breakers and reclosers with new fast operations")] if isinstance(fast, Mapping) else []
    st.session_state[opened.NOTICE] = (f"{name} is now a scenario of the study: {' and '.join(parts)}." if saved else
                                       "Not saved: the study was left as it was.")


def _programme(now: ScenarioResults, found: Selection) -> None:
    st.subheader("Programme by year", anchor=False)
    if not found.question.by_year:
        st.markdown("Give the budget or the units of a year on the left to spread the work over years.")
        return
    planned = background.result(*found.programme(now), "the programme")
    if planned is None:
        return
    table, message = planned
    st.markdown(f"**{plain(message, 300)}**")
    if len(table):
        figure.chart(programme_chart(table, now.business.currency, frame.presenting()), f"Programme by year. {message}",
                     lambda: table, "Programme", "programme")


if __name__ == "__main__":
    show()
