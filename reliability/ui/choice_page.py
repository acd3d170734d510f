"""Page: which laterals, under a budget and other limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import streamlit as st

from reliability import formats
from reliability.business.break_even import BREAK_EVEN
from reliability.business.constraints import fast_settings, limits_of
from reliability.business.frontier import YearlyLimits, frontier, programme
from reliability.business.limits import Limits
from reliability.business.options import Options, build_options
from reliability.business.selection import NPV, SAIDI, Choice, choose
from reliability.formats import count, finite, grid_format, money, number, percent
from reliability.report.map_classes import Benefit, Classed, by_benefit, by_verdict
from reliability.report.sections_map import at_heads, converted
from reliability.report.work_pack import work_pack_html
from reliability.report.work_pack_jobs import WorkPack, checks_of_selection, work_pack
from reliability.report.work_pack_rows import work_pack_rows
from reliability.schema.assumptions import AS_BUILT_SETTINGS, BY_KEY, MAY_CHANGE
from reliability.schema.devices import SECTIONALIZER
from reliability.study import toml_edit
from reliability.ui import background, edit, figure, frame, map_panel, opened, sliders, tiles
from reliability.ui.money_charts import frontier_chart, programme_chart
from reliability.ui.opened import Opened
from reliability.ui.place_table import named
from reliability.ui.scenario_results import state_results
from reliability.ui.text import bare, plain, saidi_turn, short
from reliability.ui.tiles import Figure
from reliability.what_if import ScenarioResults, options_at

LATERAL = "lateral"                # of the page of laterals: the one that it shows
GOALS = {NPV: "Highest net present value", SAIDI: "Most SAIDI avoided"}
FRONTIER_POINTS = 16
SECONDS, GAP = 10.0, 1e-4


def show() -> None:
    """Draw the page."""
    shown, study = frame.begin_with_study("Selection")
    moves = sliders.moved(study)
    sliders.note_in_link(moves)
    now = state_results(study, shown.fingerprint, moves)
    if not len(now.results.network.candidates):
        st.info("This network has no lateral to choose.")
        return
    panel, results = st.columns([2, 7], gap="large")
    with panel:
        asked = _asked(shown, now)
        st.button("Save constraints", key="write_limits", icon=":material/save:",
                  on_click=_write_limits,
                  args=(shown, asked))
    options = choices(now, *asked.key)
    choice = _chosen(now, options, asked)
    with results:
        _result(now, options, choice, asked)
    _map(shown, now, choice)
    _table(shown, now, options, choice, asked)
    _programme(now, options, asked)


@dataclass(frozen=True)
class Asked:
    """What the choice is asked for: goal and limits, and what may be done."""

    goal: str
    limits: Limits
    settings: bool
    only: bool
    years: int
    yearly: float | None
    yearly_units: float | None

    @property
    def key(self) -> tuple[bool, bool]:
        """Names what may be done."""
        return self.settings, self.only

    @property
    def by_year(self) -> bool:
        """Whether the work is spread over years."""
        return self.yearly is not None or self.yearly_units is not None


def _asked(shown: Opened, now: ScenarioResults) -> Asked:
    """Goal and limits, beginning with those of the study's table [choice]."""
    study, network = now.results.study, now.results.network
    ids = network.ids[network.candidates].astype(str).tolist()
    stated, name = limits_of(study), shown.name

    def keep(key: str) -> dict[str, Any]:
        return {"key": f"{key}_{name}_{study.inputs_sha256[:8]}", "persist_state": "session"}

    def most(key: str, title: str | None = None) -> float | None:
        a = BY_KEY[key]
        value = finite(study.values.get(key))
        unit = bare(now.business.currency, 12) if a.unit.startswith("money") else a.unit
        return st.number_input(title or f"{a.label}, {unit}", min_value=0.0,
                               value=value,
                               step=float(a.step), placeholder="no limit", help=a.help, **keep(key))

    goal = st.radio("Objective", list(GOALS), format_func=GOALS.__getitem__,
                    index=list(GOALS).index(study.values["objective"]), **keep("objective"))
    budget, saidi = most("budget"), most("saidi_reduction_minutes", "Least SAIDI reduction, min")
    with st.expander("Momentary events and single laterals"):
        added, feeder = (most("added_maifi_e", "Most added MAIFI_E"),
                         most("added_maifi_e_feeder", "Most added MAIFI_E of a feeder"))
        described = dict(zip(ids, network.described[network.candidates].tolist(), strict=True))
        forced_in, forced_out = (
            st.multiselect(title, ids, default=[i for i in listed if i in described],
                           format_func=lambda i: short(described[i], 90), **keep(key))
            for title, listed, key in (("Always convert", stated.forced_in, "forced_in"),
                                       ("Never convert", stated.forced_out, "forced_out")))
    settings = st.toggle("Fast tripping may be changed", value=study.values["backup_settings"] == MAY_CHANGE,
                         help=BY_KEY["backup_settings"].help, **keep("settings"))
    only = st.toggle("Leave out laterals that fail", value=True, **keep("only"),
                     help="Laterals that fail an application check are only ever left as they are")
    with st.expander("Programme by year", expanded=True):
        years = st.number_input("Years", 1, 50, int(study.values["programme_years"]), **keep("years"))
        yearly, units = most("yearly_budget"), most("yearly_units", "Units a year")
    limits = Limits(budget, None, added, feeder, saidi, tuple(forced_in), tuple(forced_out))
    return Asked(goal, limits, settings, only, int(years), yearly, units)


def _write_limits(shown: Opened, asked: Asked) -> None:
    """Make what is asked for the study's own, so that a run and its report choose by it."""
    limits = asked.limits
    wanted = {"objective": asked.goal, "backup_settings": MAY_CHANGE if asked.settings else AS_BUILT_SETTINGS,
              "budget": limits.budget,
              "saidi_reduction_minutes": limits.saidi_reduction_minutes,
              "added_maifi_e": limits.added_maifi_e, "added_maifi_e_feeder": limits.added_maifi_e_feeder,
              "programme_years": asked.years, "yearly_budget": asked.yearly,
              "yearly_units": None if asked.yearly_units is None else int(asked.yearly_units)}
    text = (shown.folder / "study.toml").read_bytes().decode("utf-8-sig")
    changed = toml_edit.set_forced(toml_edit.set_values(text, wanted), limits.forced_in, limits.forced_out)
    saved = edit.apply(shown, {"study.toml": changed.encode()}, [], "limits")
    st.session_state[opened.NOTICE] = (
        "Written into study.toml: a run and its report now choose by these limits." if saved else
        "Not written: the study was left as it was.")


def choices(now: ScenarioResults, settings: bool, only: bool) -> Options:
    """What may be done with each lateral, the last one cached in the session and used again where it can be."""
    key, study, cached = (now.digest, settings, only), now.results.study, st.session_state.get("options")
    if cached is None or cached[0] != key:
        options = options_at(cached[1], cached[2], study) if cached and cached[0][1:] == key[1:] else None
        if options is None:
            options = build_options(study.model, now.results.costs, fast_settings(study.values, settings), only,
                                    study.currency)
        cached = st.session_state["options"] = (key, options, study)
    return cached[1]


def _chosen(now: ScenarioResults, options: Options, asked: Asked) -> Choice:
    key, cached = (now.digest, asked), st.session_state.get("choice")
    if cached is None or cached[0] != key:
        with st.spinner("Choosing …"):
            found = choose(options, asked.limits, asked.goal, gap=GAP, seconds=SECONDS)
            cached = st.session_state["choice"] = (key, found)
    return cached[1]


def _result(now: ScenarioResults, options: Options, choice: Choice, asked: Asked) -> None:
    st.markdown(f"#### {plain(choice.message, 400)}")
    currency = now.business.currency
    if choice.feasible:
        totals = choice.totals
        figures = (("Laterals", formats.shown(totals["laterals"], "count")),
                   ("Backup settings changed", formats.shown(totals["backup_settings_changed"], "count")),
                   ("Capital", money(totals["capex"], currency)), ("Net present value", money(totals["npv"], currency)),
                   ("SAIDI avoided", f"{number(totals['saidi_minutes_avoided'])} min"),
                   ("MAIFI_E added", number(totals["maifi_e_added"])),
                   ("Call-outs avoided", f"{number(totals['callouts_avoided'])} a year"))
        tiles.row(Figure(name, value) for name, value in figures)
        if turns := saidi_turn(totals, BREAK_EVEN, "The selection"):
            st.markdown(turns)
        proof = f"Within {percent(choice.gap)} of the optimum" if choice.gap else "Proven optimal"
        st.caption(f"{proof}, found in {number(choice.seconds, 2)} s.")
    st.subheader("Benefit against budget", anchor=False)
    # the curve is that of every budget, so the budget asked for is left out of it
    whole = replace(asked.limits, budget=None, saidi_reduction_minutes=None)
    curve = background.result(f"frontier|{now.digest}|{asked.key}|{whole}",
                              lambda: frontier(options, FRONTIER_POINTS, whole, seconds_per_point=1.0), "the curve")
    if curve is not None and len(curve):
        most = f"{number(curve['saidi_minutes_avoided'].max())} minutes for {money(curve['capex'].max(), currency)}"
        figure.chart(frontier_chart(curve, choice.totals or None, currency, frame.presenting()),
                     f"SAIDI avoided against capital, from nothing to {most}.", lambda: curve, "Curve", "frontier")


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
    part = chosen if look.feeder == map_panel.ALL else chosen[chosen["feeder_id"] == look.feeder]
    clicked = map_panel.draw(
        now.results, look, _classed(shown, now, chosen, look.measure), device, key="choice_feeder",
        name=f"Chosen on {look.feeder}",
        data=lambda: named(part, network, "section_id", "lateral", "backup_id"), chosen=at.tolist(),
        alt=f"One-line diagram of feeder {look.feeder} with {count(len(part), 'lateral')} converted.")
    if clicked:
        st.session_state[LATERAL] = clicked
        st.switch_page("reliability/ui/laterals_page.py")


def _classed(shown: Opened, now: ScenarioResults, chosen: pd.DataFrame, measure: str) -> Classed:
    """The laterals chosen by what is measured; verdicts and outages of all laterals."""
    network = now.results.network
    if measure == map_panel.OUTAGES:
        return map_panel.by_outages(shown, network)
    if measure == map_panel.VERDICT:
        checks = checks_of_selection(now.results.study.model, chosen)
        return by_verdict(network, checks.proposal.head, checks.verdict)
    title, unit, column, kind = {
        map_panel.MINUTES: ("Customer-minutes avoided", "a year", "customer_minutes_avoided", "any"),
        map_panel.NPV: ("NPV of converting", now.business.currency, "npv", "money"),
        map_panel.BREAK_EVEN: ("Break-even share of faults with reclosing off", "", BREAK_EVEN, "share")}[measure]
    values = at_heads(network, chosen["section_id"], chosen[column].to_numpy(dtype=float), 0.0)
    return by_benefit(network, Benefit(title, unit, values, kind, "below 0", "not chosen, or none"))


def _table(shown: Opened, now: ScenarioResults, options: Options, choice: Choice, asked: Asked) -> None:
    if choice.selection.empty:
        return
    st.subheader("What is chosen", anchor=False)
    numbers = {c: st.column_config.NumberColumn(format=grid_format("amount")) for c in (
        "customer_interruptions_avoided", "momentary_events_added", "callouts_avoided")}
    numbers["callouts_avoided"]["label"] = "call-outs avoided"
    numbers[BREAK_EVEN] = st.column_config.NumberColumn("break-even share of faults, reclosing off",
                                                        format=grid_format("share"))
    currency = short(now.business.currency, 12)
    numbers |= {c: st.column_config.NumberColumn(name, format=grid_format("money")) for c, name in (
        ("capex", f"capital, {currency}"), ("npv", f"NPV, {currency}"),
        ("customer_minutes_avoided", "customer-minutes avoided"))}
    network = now.results.network
    figure.table(named(choice.selection, network, "section_id", "lateral or backup", "backup_id"), "Selection",
                 "selection", height=360, column_config=numbers)
    laterals = choice.selection[choice.selection["what"] == "lateral"]

    def pack() -> WorkPack:
        study, years = now.results.study, None
        if asked.by_year:
            years, _ = background.ask(*_spread(now, options, asked)).result()
        return work_pack(checks_of_selection(study.model, choice.selection), choice.selection, years,
                         study_name=study.name, view=now.results.plan_view, miles=study.in_miles)

    with st.container(horizontal=True):
        if (laterals["device"] == SECTIONALIZER).any():
            st.download_button("Work pack, a sheet a lateral (HTML)", key="pack_html", on_click="ignore",
                               data=lambda: work_pack_html(pack()).encode(),
                               mime="text/html", file_name="work_pack.html", icon=":material/construction:")
            figure.csv_button("Work pack", lambda: work_pack_rows(pack()), "work_pack")
        if len(laterals):
            st.button("Make it a scenario of the study", key="make_scenario", icon=":material/add:",
                      on_click=_make_scenario, args=(shown, laterals, len(choice.selection) - len(laterals)))


def _make_scenario(shown: Opened, laterals: pd.DataFrame, backups: int) -> None:
    """A scenario has one device and one number of counts: those of most of the chosen laterals."""
    device = laterals["device"].mode().iloc[0]
    part = laterals[laterals["device"] == device]
    counts = part["counts"].dropna().mode()
    text = (shown.folder / "study.toml").read_bytes().decode("utf-8-sig")
    after, name = toml_edit.add_scenario(
        text, "Selection", laterals="; ".join(part["section_id"].astype(str)), device=device,
        counts=f"{counts.iloc[0]:.0f}" if len(counts) else "")
    saved = edit.apply(shown, {"study.toml": after.encode()}, [], "choice")
    message = f"{name} is now a scenario: {count(len(part), 'lateral')} get a {device.replace('_', ' ')}."
    if len(part) < len(laterals):
        message += f" {count(len(laterals) - len(part), 'lateral')} chosen for another device are not in it."
    if len(counts) and (part["counts"] != counts.iloc[0]).any():
        message += f" All of them count to {formats.shown(counts.iloc[0], 'whole')}, the choice of most."
    if backups:
        message += (f" {count(backups, 'backup')} with new fast operations {'is' if backups == 1 else 'are'} not in "
                    "it: a scenario sets all of them alike.")
    st.session_state[opened.NOTICE] = message if saved else "Not saved: the study was left as it was."


def _spread(now: ScenarioResults, options: Options,
            asked: Asked) -> tuple[str, Callable[[], tuple[pd.DataFrame, str]]]:
    """Key and work of the programme by year."""
    return f"programme|{now.digest}|{asked}", lambda: programme(
        options, asked.years, YearlyLimits(asked.yearly, asked.yearly_units), asked.limits, asked.goal, gap=GAP,
        seconds=SECONDS / 2)


def _programme(now: ScenarioResults, options: Options, asked: Asked) -> None:
    st.subheader("Programme by year", anchor=False)
    if not asked.by_year:
        st.markdown("Give the budget or the units of a year on the left to spread the work over years.")
        return
    found = background.result(*_spread(now, options, asked), "the programme")
    if found is None:
        return
    table, message = found
    st.markdown(f"**{plain(message, 300)}**")
    if len(table):
        figure.chart(programme_chart(table, now.business.currency, frame.presenting()), f"Programme by year. {message}",
                     lambda: table, "Programme", "programme")


if __name__ == "__main__":
    show()
