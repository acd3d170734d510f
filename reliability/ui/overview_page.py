"""First page: what is proposed and whether it pays, where it is, what is not known, and the way on."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd
import streamlit as st

from reliability.data_gaps import (
    IMPORT,
    IN_ASSUMPTIONS,
    IN_HISTORY,
    IN_LATERALS,
    IN_TABLES,
    Gap,
    Nearest,
    data_gaps,
    in_words,
)
from reliability.data_gaps import needed_for_a_proposal as nearest
from reliability.formats import count, money, number, probability
from reliability.formats import shown as cell
from reliability.report.map_classes import Benefit, Classed, by_benefit
from reliability.report.sections_map import converted
from reliability.report.sentences_break_even import SHARE_KIND
from reliability.schema.scenarios import proposed_position
from reliability.study import Study, workspace
from reliability.ui import (
    background,
    business_page,
    cores,
    decisive,
    edit,
    frame,
    lengths,
    limits,
    map_panel,
    opened,
    overview_words,
    readiness,
    records_read,
    state,
    tiles,
    trials,
    trips_panel,
    warm,
)
from reliability.ui.background import POLL_SECONDS
from reliability.ui.chosen import chosen_again, question_of
from reliability.ui.opened import Opened
from reliability.ui.place_table import named
from reliability.ui.scenario_results import base_results, looked_at, state_results
from reliability.ui.text import plain
from reliability.ui.tiles import TileFigure
from reliability.what_if import Asked, ScenarioResults, by_lateral

FILLED_AT = {IN_ASSUMPTIONS: "study_page", IN_TABLES: "study_page", IMPORT: "import_page", IN_HISTORY: "history_page",
             IN_LATERALS: "laterals_page"}
STUDY_TAB = {IN_ASSUMPTIONS: "Assumptions", IN_TABLES: "Tables"}
WAY_ON = (("laterals_page", "Which laterals, and do the checks pass", ":material/account_tree:"),
          ("choice_page", "Change the budget and the limits", ":material/checklist:"),
          ("compare_page", "Move the assumptions", ":material/balance:"),
          ("business_page", "See what it depends on", ":material/payments:"),
          ("report_page", "Write the report", ":material/description:"),
          ("import_page", "Import your own data", ":material/upload_file:"))
Unknown = tuple[list[Gap], Nearest | None, tuple[float, float, float] | None]


def show() -> None:
    """Draw the page."""
    shown = frame.begin("Overview", with_state=True)
    _choose(shown)
    if shown.study is None:
        st.error(f"{count(shown.problems.count, 'problem')} in the files of this study stand in the way.")
        st.page_link("reliability/ui/study_page.py", label="See every problem with its remedy", icon=":material/rule:")
        return
    study, asked = shown.rated, frame.asked(shown)
    now = state_results(study, shown.fingerprint, asked)
    base = base_results(study, shown.fingerprint, asked)
    at = proposed_position(now.results.study.scenarios)
    gaps_key, unknown = _unknown(now, frozenset(asked.moves))
    gaps = background.ask(gaps_key, unknown, waits=at is None)
    spread = trials.asked(now)
    _, needed, npv_turn = gaps.result() if at is None or gaps.done() else (None, None, None)
    _verdict(now, at, spread, needed, npv_turn)
    picture, side = st.columns([3, 2], gap="large")
    with picture:
        _drawing(now, at)
    with side:
        with st.container(key="overview_words"):     # room for all of them, whatever they say
            _effect(now, at, spread, npv_turn)
            other = _chosen_again(now, base, study, asked)
            known = decisive.tell(decisive.place(), base, asked.moves)
        with st.container(key="overview_gaps"):
            _gaps(gaps.result()[0] if gaps.done() else None, now.business.currency, at)
        _way_on()
    trips_panel.prepare(now, looked_at(now))
    trials.prepare(now)             # two pages show what it gives
    business_page.prepare(now)
    records_read.prepare(shown)
    _prepare_demos(shown)
    waiting = tuple(key for key, done in ((gaps_key, gaps.done()), (other or "", other is None),
                                          (decisive.key_of(base), known)) if not done)
    if waiting or (trials.is_waited_for(now) and not (spread and spread.final)):
        _poll(now.digest, spread.trials if spread else 0, waiting)


def _unknown(now: ScenarioResults, moved: frozenset[str]) -> tuple[str, Callable[[], Unknown]]:
    """Key and work of what is not known of a state, what a proposal would need, and where the proposal turns.

    moved: keys of the sliders that are moved.
    """
    at = proposed_position(now.results.study.scenarios)
    workers = cores.workers(len(now.results.network))
    return f"gaps|{now.digest}", lambda: (data_gaps(now, moved=moved),
                                          nearest(now, workers=workers) if at is None else None,
                                          None if at is None else overview_words.npv_turns(now, at))


def _prepare_demos(shown: Opened) -> None:
    """Have at hand what the buttons of this page lead to, where it shows an example."""
    for name in workspace.DEMOS if shown.name in workspace.DEMOS else ():
        if name != shown.name:
            background.prepare(f"demo|{name}", partial(_prepare_demo, name))


def _prepare_demo(name: str) -> None:
    now = warm.open_study(name)
    if now is not None:
        background.prepare(*_unknown(now, frozenset()))
        decisive.prepare(now)
        trials.prepare(now)


def _choose(shown: Opened) -> None:
    names, example = workspace.studies(), workspace.DEMOS.get(shown.name)
    with st.container(horizontal=True, vertical_alignment="center", key="overview_study"):
        state.hold("study_choice", shown.name)
        st.selectbox("Study", names, key="study_choice", width=260, format_func=_called, label_visibility="collapsed",
                     on_change=lambda: opened.choose(st.session_state["study_choice"]))
        st.markdown(f"**Invented example.** {example.shows}" if example else "", width="stretch")
        for name, demo in workspace.DEMOS.items():
            if name != shown.name:
                st.button(f"{demo.title} instead" if example else demo.title, key=f"demo_{name}", help=demo.shows,
                          on_click=opened.choose, args=(name,))


def _called(name: str) -> str:
    return f"{workspace.DEMOS[name].title} (example)" if name in workspace.DEMOS else name


def _verdict(now: ScenarioResults, at: int | None, spread: trials.SimulatedSpread | None,
             needed: Nearest | None, npv_turn: tuple[float, float, float] | None) -> None:
    """The proposal in a sentence, and its figures in large type."""
    currency = now.business.currency
    with st.container(key="overview_verdict"):
        if at is None:
            st.markdown(f"#### No conversion is proposed. {plain(now.decision.choice.message, 400)}")
            if needed is not None and len(now.results.network.candidates):
                st.markdown(plain(overview_words.needed(needed, currency), 700))
        else:
            st.markdown(f"#### {plain(overview_words.proposal(now, at, spread), 500)}")
    with st.container(key="overview_figures"):
        tiles.row(_figures(now, at, spread, npv_turn))


def _effect(now: ScenarioResults, at: int | None, spread: trials.SimulatedSpread | None,
            npv_turn: tuple[float, float, float] | None) -> None:
    """What the proposal does to the average customer, what it is to the other perspective, and where it turns."""
    if at is not None:
        trip = str(now.results.study.values["reclosing_off_trip"])
        effect = f"{overview_words.effect(now, at)} {overview_words.npv_turn(npv_turn, trip)}"
        st.markdown(f"{plain(effect, 700)}\n\n{overview_words.other_view(now, at, spread)}")


def _chosen_again(now: ScenarioResults, base: ScenarioResults, study: Study, asked: Asked) -> str | None:
    """What would be chosen at the moved inputs, beside the proposal; returns the key of that while it is computed."""
    if asked.at_the_studys_inputs:
        with st.container(key="overview_chosen_again"):
            st.markdown("The proposal is a scenario that the study names." if now.decision.named else
                        "Nothing is chosen at these inputs, under the limits of the page Selection."
                        if now.decision.choice.selection.empty else
                        "The proposal is the best selection at these inputs, under the limits of the page Selection.")
        return None
    question = question_of(now.results.study, limits.stated(study) | limits.moved(study))
    key = f"chosen|{now.digest}"
    found = background.ask(key, lambda: chosen_again(now, base, question), waits=False)
    with st.container(key="overview_chosen_again"):
        if not found.done():
            st.markdown("Choosing again at the moved inputs …")
            return key
        st.markdown(plain(overview_words.chosen_again(now, found.result()), 700))
    return None


def _figures(now: ScenarioResults, at: int | None, spread: trials.SimulatedSpread | None,
             npv_turn: tuple[float, float, float] | None) -> list[TileFigure]:
    shown = [("SAIDI, min/yr", "saidi_min"), ("SAIFI, 1/yr", "saifi"), ("Momentary events, MAIFI_E, 1/yr", "maifi_e")]
    if at is None:
        return [TileFigure(name, number(now.indices[0][key])) for name, key in shown]
    case, currency = now.money[at], now.business.currency
    sure = None if spread is None else trials.odds_of_gain(spread.npv[at])
    figures = [TileFigure("Capital", money(case["capex"], currency)),
               TileFigure("Net present value", money(case["npv"], currency)),
               TileFigure("Probability that NPV is above 0", probability(sure), overview_words.so_far(spread).strip())]
    for name, key in shown:
        before, after = now.indices[0][key], now.indices[at][key]
        change = None if before is None or after is None else after - before
        way = 0 if change is None else tiles.direction(change, after)
        figures.append(TileFigure(name, number(after), "no change" if not way else number(change, signed=True), way))
    turn = now.results.break_even.reclosing_off_share[at]
    npv = ("at …" if npv_turn is None else f"at {cell(npv_turn[0], SHARE_KIND)}" if np.isfinite(npv_turn[0]) else
           "keeps its sign")
    return [*figures, TileFigure("Reclosing off at which SAIDI turns", cell(turn, SHARE_KIND),
                                 f"NPV {npv}")]


def _drawing(now: ScenarioResults, at: int | None) -> None:
    """The network with the proposal: on the map, or the feeder with most conversions in one line."""
    network = now.results.network
    if not len(network.candidates):
        st.info("This network has no lateral: no section is headed by a fuse, sectionalizer or lateral recloser.")
        return
    chosen = readiness.with_status(now, readiness.carried_out(now, at))
    chosen = chosen[chosen["what"] == "lateral"]
    device = now.results.table.protections[at or 0].device
    heads: list[int] = []
    if at is not None and len(chosen):
        device, places = converted(network, device, chosen)
        heads = places.tolist()
    feeders = [str(f) for f in network.feeder_ids]
    of_feeder = chosen.groupby("feeder_id").size() if len(chosen) else pd.Series(dtype=int)
    on_map = now.results.study.routes is not None
    lost = np.bincount(network.feeder, now.results.expected[0].fault_customer_hours, len(feeders))
    feeder = (map_panel.ALL_FEEDERS if on_map else
              str(of_feeder.idxmax()) if len(of_feeder) else feeders[int(lost.argmax())])
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        title = "Where it is" if at is not None else "Where the customer-minutes are lost"
        one = "" if on_map or len(feeders) == 1 else f": feeder {plain(feeder, 40)}, 1 of {len(feeders)}"
        st.subheader(f"{title}{one}", anchor=False)
        lengths.switch(now.results.study)
    clicked = map_panel.draw(
        now.results, map_panel.Look(feeder, map_panel.MINUTES_MEASURE, on_map), _classed(now, at), device,
                             key="overview",
        name="Laterals proposed", alt=f"One-line diagram of feeder {feeder}, {count(len(heads), 'lateral')} converted.",
        data=lambda: named(chosen, network, "section_id", "lateral or backup", "backup_id"), chosen=heads,
        chosen_name="proposed", height=map_panel.MAP_PIXELS)
    if clicked:
        state.put(lateral=clicked)
        state.go("reliability/ui/laterals_page.py")


def _classed(now: ScenarioResults, at: int | None) -> Classed:
    """Laterals by the customer-minutes that the proposal avoids; without one by those that their faults cost."""
    network = now.results.network
    lost = by_lateral(now, now.results.expected[0].fault_customer_hours)
    if at is not None:
        lost = lost - by_lateral(now, now.results.expected[at].fault_customer_hours)
    values = np.full(len(network), np.nan)
    values[network.candidates] = 60.0 * lost[network.candidates]
    return by_benefit(network, Benefit("Customer-minutes avoided" if at is not None else "Customer-minutes lost",
                                       "a year", values))


def _gaps(gaps: list[Gap] | None, currency: str, at: int | None) -> None:
    st.subheader("What is not known, and how far each alone moves NPV", anchor=False)
    if gaps is None:
        st.markdown("Computing the data gaps …")
        return
    if not gaps:
        st.markdown("Without a proposal no gap can be weighed." if at is None else
                    "Every assumption that matters is stated as certain.")
    for k, gap in enumerate(gaps):
        st.markdown(f"**{k + 1}. {plain(gap.name)}** {plain(in_words(gap, currency), 400)}")
        if st.button(gap.filled_by, key=f"gap_{k}", type="tertiary", icon=":material/arrow_forward:"):
            if gap.place in STUDY_TAB:
                st.session_state["study_tab"], st.session_state[edit.WANTED] = STUDY_TAB[gap.place], gap.key
            state.go(f"reliability/ui/{FILLED_AT[gap.place]}.py")


def _way_on() -> None:
    st.subheader("The way on", anchor=False)
    for page, words, icon in WAY_ON:
        st.page_link(f"reliability/ui/{page}.py", label=words, icon=icon)


@st.fragment(run_every=POLL_SECONDS)
def _poll(digest: str, have: int, waiting: tuple[str, ...]) -> None:
    """Draw the page again once more trials than it has, or any result that it waits for, are there."""
    spread = trials.known(digest)
    if (spread is not None and (spread.trials > have or spread.final)) or any(map(background.is_done, waiting)):
        st.rerun()


if __name__ == "__main__":
    show()
