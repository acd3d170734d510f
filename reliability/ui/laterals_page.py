"""Page: where the laterals are, what a scenario brings each, and whether the device can work there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from reliability import formats
from reliability.business.break_even import BREAK_EVEN
from reliability.formats import DASH, count, number
from reliability.network.application import (
    ApplicationChecks,
    application_frame,
    check_laterals,
    evidence_frame,
    spare_counts,
    verdicts_said,
    wrong_links,
    wrong_links_said,
)
from reliability.network.application_catalogue import PASS, VERDICTS, WHOLE_NUMBERS
from reliability.network.place_names import SEPARATOR
from reliability.network.tree import Network
from reliability.report.map_classes import Benefit, Classed, by_benefit, by_verdict
from reliability.report.sections_map import at_heads
from reliability.schema.devices import DEVICES, SECTIONALIZER
from reliability.ui import coordination_panel, figure, frame, lengths, map_panel, state, trips_panel
from reliability.ui.lateral_charts import profile, profile_chart, verdicts_chart
from reliability.ui.opened import Opened
from reliability.ui.place_table import named
from reliability.ui.scenario_results import pick_scenario, state_results
from reliability.ui.text import plain, short
from reliability.what_if import ScenarioResults, by_lateral


def show() -> None:
    """Draw the page."""
    shown, study, asked = frame.begin_with_state("Laterals")
    now = state_results(study, shown.fingerprint, asked)
    network = now.results.network
    if not len(network.candidates):
        st.info("This network has no lateral: no section is headed by a fuse, sectionalizer or lateral recloser.")
        return
    places = st.columns([3, 2, 3, 3])
    with places[0]:
        scenario = pick_scenario(now, "Scenario, against as built", "laterals_scenario") if len(now.names) > 1 else 0
    trips_panel.begin(now, scenario)
    checks = checked(now, scenario)
    rows = laterals_table(now, scenario, checks)
    chosen = _chosen(rows)
    feeder = _draw(shown, now, scenario, checks, rows, chosen, places[1:])
    coordination_panel.feeder(now, feeder, coordination_panel.followed(now, scenario))
    chosen = _pick(rows, chosen, network)
    _lateral(now, scenario, checks, rows, chosen)
    _all(rows, checks, network)


def checked(now: ScenarioResults, scenario: int) -> ApplicationChecks:
    """Application checks of a state, the last one cached in the session."""
    cached = st.session_state.get("checks")
    if cached is None or cached[0] != (now.digest, scenario):
        found = check_laterals(now.results.study.model, now.results.study.scenarios[scenario])
        cached = st.session_state["checks"] = ((now.digest, scenario), found)
    return cached[1]


def laterals_table(now: ScenarioResults, scenario: int, checks: ApplicationChecks) -> pd.DataFrame:
    """A row a lateral, best first: what the scenario brings a year, and the verdict of the checks."""
    network = now.results.network
    heads = network.candidates
    before, after = now.results.expected[0], now.results.expected[scenario]

    def less(name: str) -> np.ndarray:
        return (by_lateral(now, getattr(before, name)) - by_lateral(now, getattr(after, name)))[heads]

    device = now.results.table.protections[scenario].device[heads]
    table = pd.DataFrame({
        "lateral_id": network.ids[heads].astype(str),
        "feeder_id": network.feeder_ids[network.feeder[heads]].astype(str),
        "device": [DEVICES[d] for d in device], "phases": network.phases[heads].astype(int),
        "customers": network.customers_below[heads].astype(int),
        "customer_minutes_avoided": 60.0 * less("fault_customer_hours"),
        "customer_interruptions_avoided": less("fault_ci"),
        "momentary_events_added": -less("fault_momentary_events"),
        "callouts_avoided": (by_lateral(now, before.fault_callouts.sum(axis=1))
                             - by_lateral(now, after.fault_callouts.sum(axis=1)))[heads],
        BREAK_EVEN: now.results.break_even.by_lateral[scenario],
        "verdict": np.array(VERDICTS, dtype=object)[checks.verdict],
        "not_passed": application_frame(checks)["not_passed"].to_numpy(),
        "head": heads,
    })
    return table.sort_values("customer_minutes_avoided", ascending=False, kind="stable", ignore_index=True)


def _chosen(rows: pd.DataFrame) -> str:
    """The lateral that is looked at: picked before, or in the link, else the one that gains most."""
    wanted = state.text(state.LATERAL)
    return wanted if wanted in set(rows["lateral_id"]) else str(rows["lateral_id"].iloc[0])


def _draw(shown: Opened, now: ScenarioResults, scenario: int, checks: ApplicationChecks, rows: pd.DataFrame,
          chosen: str, places: Sequence[DeltaGenerator]) -> str:
    """The network as a map or in one line, coloured by what is chosen; returns the feeder looked at."""
    network = now.results.network
    of_chosen = str(rows.loc[rows["lateral_id"] == chosen, "feeder_id"].iloc[0])
    if st.session_state.get("map_follows") != chosen:
        if st.session_state.get("map_feeder") != map_panel.ALL_FEEDERS:
            st.session_state["map_feeder"] = of_chosen
        st.session_state["map_follows"] = chosen
    look = map_panel.controls(now.results.study, places, "map", [str(f) for f in network.feeder_ids])
    part = rows if look.feeder == map_panel.ALL_FEEDERS else rows[rows["feeder_id"] == look.feeder]
    if look.feeder not in (map_panel.ALL_FEEDERS, of_chosen) and len(part):
        _look_at(str(part["lateral_id"].iloc[0]))      # another feeder was asked for: its best lateral
        st.rerun()
    classed = _classed(shown, now, scenario, checks, rows, look.measure)
    total = number(part["customer_minutes_avoided"].sum())
    alt = (f"One-line diagram of feeder {look.feeder}: {count(len(part), 'lateral')}, coloured by {classed.legend}, "
           f"under {now.names[scenario]}; customer-minutes avoided in total {total}.")
    clicked = map_panel.draw(
        now.results, look, classed, now.results.table.protections[scenario].device, key="feeder",
        name="Laterals of all feeders" if look.feeder == map_panel.ALL_FEEDERS else f"Laterals of {look.feeder}",
                             alt=alt,
        data=lambda: named(part.drop(columns="head"), network, "lateral_id", "lateral"),
        looked_at=map_panel.positions(network, [chosen])[0])
    if clicked:
        _look_at(clicked)
        st.rerun()
    return of_chosen if look.feeder == map_panel.ALL_FEEDERS else look.feeder


def _classed(shown: Opened, now: ScenarioResults, scenario: int, checks: ApplicationChecks, rows: pd.DataFrame,
             measure: str) -> Classed:
    """Laterals by the measure that is chosen, under the scenario."""
    network = now.results.network
    if measure == map_panel.VERDICT_MEASURE:
        return by_verdict(network, checks.proposal.head, checks.verdict)
    if measure == map_panel.OUTAGES_MEASURE:
        return map_panel.by_outages(shown, network)
    if measure == map_panel.BREAK_EVEN_MEASURE:
        benefit = map_panel.turns(_of_heads(rows, network, BREAK_EVEN), "gain keeps its sign")
    elif measure == map_panel.NPV_MEASURE:
        npv = now.results.laterals
        npv = npv.loc[npv["scenario"] == now.names[scenario], ["lateral_id", "npv"]]
        benefit = Benefit("NPV of converting", now.business.currency, at_heads(network, npv["lateral_id"],
                          npv["npv"].to_numpy(dtype=float)), "money", "below 0", "not converted")
    else:
        benefit = Benefit("Customer-minutes avoided", "a year", _of_heads(rows, network, "customer_minutes_avoided"))
    return by_benefit(network, benefit)


def _of_heads(rows: pd.DataFrame, network: Network, column: str) -> np.ndarray:
    values = np.full(len(network), np.nan)
    values[rows["head"].to_numpy()] = rows[column].to_numpy(dtype=float)
    return values


def _look_at(lateral: str) -> None:
    state.put(lateral=lateral)
    st.session_state["map_follows"] = None


def _pick(rows: pd.DataFrame, chosen: str, network: Network) -> str:
    """A list that is searched by the device's number, the location or the section's id."""
    words = dict(zip(rows["lateral_id"], network.described[rows["head"]], strict=True))
    state.hold("lateral_pick", chosen)
    st.subheader("One lateral", anchor=False)
    return str(st.selectbox("Lateral (or click one above)", rows["lateral_id"].tolist(), key="lateral_pick", width=560,
                            format_func=lambda i: short(words[i], 90),
                            on_change=lambda: _look_at(st.session_state["lateral_pick"])))


def _lateral(now: ScenarioResults, scenario: int, checks: ApplicationChecks, rows: pd.DataFrame, chosen: str) -> None:
    row = rows[rows["lateral_id"] == chosen].iloc[0]
    place = int(np.flatnonzero(checks.proposal.head == row["head"])[0])
    network, name = now.results.network, str(now.results.network.names[row["head"]])
    left, right = st.columns(2, gap="large")
    right.markdown(f"**{plain(name)}**{_where(network, int(row['head']))} on {plain(row['feeder_id'])}: "
                   f"{count(int(row['customers']), 'customer')}, {count(int(row['phases']), 'phase')}. "
                   f"Under {plain(now.names[scenario])} its faults cause "
                   f"{_less(row['customer_interruptions_avoided'])} sustained interruptions, "
                   f"{_less(row['customer_minutes_avoided'])} customer-minutes, "
                   f"{_less(-row['momentary_events_added'])} momentary events and "
                   f"{_less(row['callouts_avoided'])} call-outs a year.{_turn(row[BREAK_EVEN])} A "
                   f"sectionalizer here: **{row['verdict']}**.")
    curve = profile(network, int(row["head"]), checks.values)
    actuating, ceiling = float(checks.proposal.actuating_a[place]), float(checks.ceiling_a[place])
    with left:
        if len(curve):
            alt = (f"Fault current along {name} falls from {number(curve['current_a'].max())} to "
                   f"{number(curve['current_a'].min())} A; actuating current {number(actuating)} A.")
            figure.chart(profile_chart(curve, actuating, ceiling, frame.presenting(),
                                       lengths.unit_and_scale(now.results.study)), alt, lambda: curve,
                         "Current profile", "profile")
        else:
            st.info("The study gives no fault currents here: a picture of them needs both ends of a section.")
    trips_panel.show(now, int(row["head"]), scenario)
    _evidence(checks, chosen, right)
    coordination_panel.lateral(now, int(row["head"]), actuating, coordination_panel.followed(now, scenario))


def _evidence(checks: ApplicationChecks, chosen: str, place: DeltaGenerator) -> None:
    """The checks of a lateral: in a place the reasons of those not passed, then every one with its figures."""
    found = evidence_frame(checks, [chosen])
    evidence = found[["label", "value", "limit", "unit", "margin", "verdict", "reason"]]
    with place:
        for row in found[found["verdict"] != VERDICTS[PASS]].itertuples():
            reason, verdict = str(row.reason), f"{row.verdict}{'' if row.decides else ', beside the verdict'}"
            st.markdown(f"**{plain(row.label)} ({verdict}).** {plain(reason[:1].upper() + reason[1:], 400)}.")
    figure.table(evidence_in_words(evidence), "Evidence of the checks", "evidence", height=365, data=lambda: evidence,
                 column_config={
        "label": st.column_config.TextColumn("Check", width=340),
        "margin": st.column_config.TextColumn("Margin", width=110),
        "reason": st.column_config.TextColumn("Reason", width=600)})


def evidence_in_words(evidence: pd.DataFrame) -> pd.DataFrame:
    """Evidence as it is shown: counts as whole numbers, and how many there are to spare of them."""
    counted, spare = evidence["unit"].eq(WHOLE_NUMBERS).to_numpy(), spare_counts(evidence)

    def written(column: str) -> list[str]:
        return [formats.shown(v, "count" if whole else "three_digits")
                for v, whole in zip(evidence[column], counted, strict=True)]

    margin = [DASH if np.isnan(m) else f"{number(m)} ×" if not whole else "just met" if not s else
              f"{count(int(abs(s)), 'count')} {'to spare' if s > 0 else 'short'}" for m, whole, s in
              zip(evidence["margin"], counted, spare, strict=True)]
    return evidence.assign(value=written("value"), limit=written("limit"), margin=margin)


def _where(network: Network, head: int) -> str:
    """Location and section of a lateral, where its name is another one."""
    described = str(network.described[head]).split(SEPARATOR)
    others = [part for part in described if part != network.names[head]]
    return f" ({plain(', '.join(others), 120)})" if others else ""


def _less(avoided: float) -> str:
    """What is avoided, as how many fewer; what is added, as how many more."""
    return f"{number(abs(avoided))} {'fewer' if avoided >= 0 else 'more'}"


def _turn(share: float) -> str:
    if np.isnan(share):
        return ""
    return f" That change in customer-minutes is nil where {number(100.0 * share)} % of faults find reclosing off."


def _all(rows: pd.DataFrame, checks: ApplicationChecks, network: Network) -> None:
    st.subheader("All laterals", anchor=False)
    left, right = st.columns([2, 3], gap="large")
    with left:
        verdicts = verdicts_said(checks)
        st.markdown(f"Application checks of a {SECTIONALIZER}: {verdicts}.")
        figure.chart(verdicts_chart(checks, frame.presenting()),
                     f"Checks that laterals do not pass. Of {len(checks)} laterals: {verdicts}.",
                     lambda: application_frame(checks), "Checks of every lateral", "verdicts")
        st.caption(f"{wrong_links_said(checks)}.")
        figure.csv_button("Wrong links", lambda: wrong_links(checks), "wrong_links")
    with right:
        wanted = st.pills("Show verdicts", VERDICTS, selection_mode="multi", default=list(VERDICTS),
                          key="verdicts_shown",
                          persist_state="session")
        part = rows[rows["verdict"].isin(wanted)].drop(columns="head")
        found = named(part, network, "lateral_id", "lateral")
        figure.table(found.assign(device=found["device"].str.replace("_", " ")), "Laterals, best first", "laterals",
                     height=430, data=lambda: found)


if __name__ == "__main__":
    show()
