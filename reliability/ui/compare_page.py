"""Page of the meeting: scenarios side by side while somebody moves the sliders."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from reliability.formats import DASH, count, money, number, probability, signed_number
from reliability.indices.definitions import INDICES
from reliability.study import Study
from reliability.ui import background, decisive, figure, frame, into_study, moved, pins, sliders, state, tiles, trials
from reliability.ui import compare_charts as charts
from reliability.ui.difference_charts import difference_chart, difference_data, difference_words
from reliability.ui.opened import Opened
from reliability.ui.scenario_results import base_results, pick_scenario, state_results
from reliability.ui.slots import Slot
from reliability.ui.text import plain, saidi_turn, short
from reliability.ui.tiles import Tile, TileFigure
from reliability.ui.trials import SimulatedSpread
from reliability.what_if import Asked, ScenarioResults, lowered_counts

Moves = dict[str, float | int]      # what is moved, by key
TILE_NAMES = {**{i.key: i.heading for i in INDICES if i.tile}, "callouts": "Call-outs, 1/yr"}
OVERRULED_BY_SECTIONS = ("temporary_fraction", "repair_hours",
                         "reclosing_off_share")      # sliders that a section may overrule
HEAD_START_SECONDS = 0.02
TURNS = "turns_shown"
ODDS = "Probability that NPV is above 0"
YEAR_VIEWS = ("Difference", SINGLE_YEARS := "Single years")


def show() -> None:
    """Draw the page: expected figures at once, simulated ones as they come."""
    shown, study, asked = frame.begin_with_state("Compare")
    side = st.sidebar.container()       # there from the start, as it makes the page narrower
    now = state_results(study, shown.fingerprint, asked)
    toolbar = st.container(key="compare_toolbar", horizontal=True, vertical_alignment="center", gap="small")
    have = trials.known(now.digest)
    parts = _tiles(now)
    drawn = st.html(tiles.tiles_html(parts))
    time.sleep(HEAD_START_SECONDS)      # the figures are on their way before anything else is drawn
    with toolbar:
        _toolbar(shown, study, asked, now)
    with side:
        moves = sliders.panel(study, shown.name)
    pins.tell()
    room, base = decisive.place(), base_results(study, shown.fingerprint, asked)
    told = decisive.tell(room, base, moves)
    parts = _with_turns(parts, now)
    _draw_odds(drawn, parts, have)
    _warnings(now, study, moves)
    large = frame.presenting()
    st.subheader("Expected a year, and how far single years reach", anchor=False)
    place: dict[str, Any] = {"bars": Slot("bars_place"), "spread": have, "tiles": (drawn, parts)}
    _draw_bars(now, have, place, large)
    place["progress"] = Slot("simulation_line")
    figure.csv_button("Indices with their spread", lambda: charts.bars_data(charts.indices_of(now, place["spread"])),
                      "compare_bars")
    left, right = (st.container(), st.container()) if large else st.columns(2, gap="large")
    with left:
        _bad_year_place(now, place)
    with right:
        _gains(now, large)
    pins.compare(shown, study, now)
    _follow(now, place, large)
    if not told:
        decisive.tell(room, base, moves, wait=True)
    # what the next move needs, while somebody looks at this one
    background.prepare(f"matrices|{base.digest}", lambda: (base.results.matrices, base.results.both_states))


def _toolbar(shown: Opened, study: Study, asked: Asked, now: ScenarioResults) -> None:
    state.hold("presenter_toggle", frame.presenting())
    st.toggle("Large type", key="presenter_toggle", help="For a room with a projector",
              on_change=lambda: state.put(large="1" if st.session_state["presenter_toggle"] else ""))
    if st.button("Pin this state", icon=":material/push_pin:", key="pin"):
        pins.add(shown, study, now, asked)
        st.rerun()
    writable = into_study.writable(shown.stated, asked.moves)
    st.button("Write these values into the study", icon=":material/save:", key="write_sliders",
              disabled=not writable, on_click=into_study.write, args=(shown, asked.moves),
              help="; ".join(moved.in_words(Asked(writable), study)) or "Moved assumptions become the study's own")


def _tiles(now: ScenarioResults) -> list[Tile]:
    """A tile a scenario: its change against as built. Where its gain turns is that of the state before."""
    turns = st.session_state.get(TURNS, {})
    return [_tile(now, s, turns.get(now.names[s], "")) for s in range(len(now.names))]


def _tile(now: ScenarioResults, s: int, turn: str) -> Tile:
    figures = []
    for key, name in TILE_NAMES.items():
        value = charts.value(now, s, key)
        change = value - charts.value(now, 0, key)
        way = tiles.direction(change, value)
        text = "" if s == 0 else signed_number(change) if way else "no change"
        figures.append(TileFigure(name, number(value), text, way))
    title = short(now.names[s], 44)
    if s == 0:
        return Tile(title, "existing network", figures)
    case, currency = now.money[s], now.business.currency
    return Tile(title, _converted(now, s), figures, [
        TileFigure("Capital", money(case["capex"], currency)),
                                                     TileFigure("Net present value", money(case["npv"], currency)),
        TileFigure("Per interruption and minute avoided", tiles.per_avoided(case, currency))], turn, (f"{ODDS}:", "…"))


def _converted(now: ScenarioResults, s: int) -> str:
    """How many laterals a scenario gives another device, and what its figures are set against."""
    heads, plans = now.results.network.candidates, now.results.table.protections
    changed = int((plans[s].device[heads] != plans[0].device[heads]).sum())
    return f"{changed} of {count(len(heads), 'lateral')}, against as built" if changed else "against as built"


def _with_turns(parts: list[Tile], now: ScenarioResults) -> list[Tile]:
    """The tiles with up to which share of faults while reclosing is off each scenario is a gain."""
    turns = [saidi_turn(now.results.break_even.summary(s)) for s in range(1, len(parts))]
    st.session_state[TURNS] = dict(zip(now.names[1:], turns, strict=True))
    return parts[:1] + [replace(part, turn=turn) for part, turn in zip(parts[1:], turns, strict=True)]


def _warnings(now: ScenarioResults, study: Study, moves: Moves) -> None:
    for s, name in enumerate(now.names):
        if lowered := lowered_counts(now, s):
            st.warning(f"{plain(name)}: the counts of {count(lowered, 'sectionalizer')} are lowered to one less than "
                       "the operations to lockout of the device above.")
    stated = [sliders.sliders(study)[k].assumption.label.lower() for k in OVERRULED_BY_SECTIONS
              if k in moves and study.sections[k].notna().any()]
    if stated:
        st.caption(f"Sections that state their own {' or '.join(stated)} keep it.")


def _bad_year_place(now: ScenarioResults, place: dict[str, Any]) -> None:
    st.subheader("Year-to-year variation", anchor=False)
    names = now.names
    columns = st.columns([3, 3, 2], vertical_alignment="bottom")
    first = columns[0].selectbox("Scenario", range(len(names)), format_func=lambda i: short(names[i]), key="year_first",
                                 persist_state="session")
    with columns[1]:
        second = pick_scenario(now, "Compared with", "year_second") if len(names) > 1 else 0
    worse = columns[2].number_input("Worse than, min", min_value=0.0, max_value=1e6, key="worse_than",
                                    value=float(np.nan_to_num(np.round(1.25 * charts.value(now, 0, "saidi_min")))),
                                    step=5.0, format="%.6g")
    first = min(first, len(names) - 1)
    view = st.segmented_control("Picture", YEAR_VIEWS, default=YEAR_VIEWS[0], key="year_view", required=True,
                                persist_state="session")
    place |= {"worse_text": Slot("worse_text"), "year": Slot("year_place"), "asked": (first, second, worse),
              "year_view": view}
    if place["spread"] is None:
        _draw_year(trials.latest(), now, place, frame.presenting(), stale=True)
    # made when it is asked for, out of the trials that are there by then
    table = charts.yearly_spread_data if view == SINGLE_YEARS else difference_data
    figure.csv_button("Spread of years", lambda: table(place["spread"], first, second)
                      if place["spread"] else pd.DataFrame(), "year")


def _gains(now: ScenarioResults, large: bool) -> None:
    st.subheader("Impact by customer group, per customer", anchor=False)
    names = now.names
    if len(names) < 2:
        st.info("There is only the network as built. Add a scenario on the page Study data.")
        return
    table = charts.gains(now, pick_scenario(now, "Scenario, against as built", "gains_of"))
    alt = "Change a year by group of customers. " + "; ".join(
        f"{r.group}: {signed_number(r.sustained)} sustained interruptions, {signed_number(r.momentary)} momentary "
        f"events, {signed_number(r.minutes)} minutes" for r in table.itertuples())
    figure.chart(charts.gains_chart(table, large), alt, lambda: table, "Impact by customer group", "gains")


def _follow(now: ScenarioResults, place: dict[str, Any], large: bool) -> None:
    """Draw what is simulated again with each stage of the simulation."""
    spread = drawn = place["spread"]
    shown, parts = place["tiles"]
    line = place["progress"]
    if spread is None or not spread.final:
        line.again().progress(0.0, "Simulating …")

    def progress(done: int, total: int) -> None:
        line.again().progress(min(done / total, 1.0),
                              f"Simulating: {done} trials of at most {total}; figures refine meanwhile")

    for spread in trials.follow(now, progress):
        if spread is not drawn:         # one picture is not drawn twice in a run
            _draw_bars(now, spread, place, large)
            drawn = spread
        place["spread"] = spread
        _draw_year(spread, now, place, large, stale=False)
        _draw_odds(shown, parts, spread)
    if spread is None:
        return
    line.again().markdown(
        f"Whiskers: P10 to P90 of a single year over {count(spread.trials, 'trial')} of {spread.years} years, seed "
        f"{spread.seed}. All scenarios see the same faults.")


def _draw_bars(now: ScenarioResults, spread: SimulatedSpread | None, place: dict[str, Any], large: bool) -> None:
    indices = charts.indices_of(now, spread)
    place["bars"].chart(charts.bars(indices, large, 2 if large else 4), charts.bars_alt(indices), "Indices", "bars")


def _draw_year(spread: SimulatedSpread | None, now: ScenarioResults, place: dict[str, Any], large: bool,
               stale: bool) -> None:
    if spread is None or spread.names != tuple(now.names):
        place["year"].again().info("The spread of years appears with the first trials.")
        return
    first, second, worse = place["asked"]
    shares = {now.names[s]: probability(charts.share_worse(spread, s, worse))
              for s in dict.fromkeys((first, second))}
    said = ", ".join(f"{name} {share}" for name, share in shares.items())
    if stale:
        place["worse_text"].again().markdown(":material/hourglass_top: *Figures of the state before, being replaced …*")
    else:
        odds = ", ".join(f"{plain(name)} **{share}**" for name, share in shares.items())
        more = "" if place["year_view"] == SINGLE_YEARS else plain(difference_words(spread, first, second), 400)
        place["worse_text"].again().markdown(
            f"Probability that a year has more than {number(worse)} minutes: {odds}. {more}")
    if place["year_view"] == SINGLE_YEARS:
        picture = charts.yearly_spread(spread, first, second, worse, large, stale)
        alt = "Share of simulated years by SAIDI. " + ("" if stale else "Worse than the typed value: " + said)
    else:
        picture, alt = difference_chart(spread, first, second, large, stale), difference_words(spread, first, second)
    place["year"].chart(picture, f"Of the state before. {alt}" if stale else alt, "Spread of years", "year")


def _draw_odds(drawn: DeltaGenerator, parts: list[Tile], spread: SimulatedSpread | None) -> None:
    """The tiles again, with how sure each gain is; no figure before there are trials."""
    drawn.html(tiles.tiles_html(parts[:1] + [replace(part, odds=_odds(spread, s))
                                             for s, part in enumerate(parts[1:], 1)]))


def _odds(spread: SimulatedSpread | None, s: int) -> tuple[str, str]:
    """How sure the gain of a scenario is, in words, and the figure."""
    if spread is None:
        return f"{ODDS}:", "…"
    if spread.npv.shape[1] < 2:
        return f"{ODDS}:", DASH
    odds = trials.odds_of_gain(spread.npv[s])
    return ("Spends nothing and saves nothing.", "") if odds is None else (f"{ODDS}:", probability(odds))


if __name__ == "__main__":
    show()
