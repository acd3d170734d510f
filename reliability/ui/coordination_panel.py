"""On the page of laterals: the coordination of the lateral and of the feeder looked at.

Under the scenario where it changes fast operations, else as built.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import streamlit as st

from reliability.faults.coordination_view import (
    GROWTH_FACTORS,
    OPERATION_NAMES,
    OUTCOME_KEYS,
    OUTCOME_WORDS,
    OutcomeSplit,
    feeders_frame,
    growth_frame,
    splits_by_factor,
)
from reliability.formats import number
from reliability.network.coordination import Coordination, coordination
from reliability.network.coordination_curves import lateral_curves
from reliability.network.model import Model
from reliability.report import charts_coordination
from reliability.schema.assumptions import FAST
from reliability.schema.devices import FUSE
from reliability.ui import described, figure, frame, lengths
from reliability.ui.text import plain
from reliability.what_if import ScenarioResults


@dataclass(frozen=True)
class _State:
    """Coordination of one scenario in one state of the sliders; splits by factor on the fault currents."""

    digest: str
    scenario: int
    races: Coordination
    splits: dict[float, OutcomeSplit]
    feeders: pd.DataFrame


def followed(now: ScenarioResults, scenario: int) -> int:
    """The scenario whose coordination is shown: one that changes fast operations, else as built (0)."""
    plans = now.results.table.protections
    return scenario if np.any(plans[scenario].fast != plans[0].fast) else 0


def _state(now: ScenarioResults, scenario: int) -> _State:
    """That of a state of the sliders, the last one kept in the session."""
    kept = st.session_state.get("coordination")
    if kept is None or (kept.digest, kept.scenario) != (now.digest, scenario):
        network, values = now.results.network, now.results.study.values
        found = now.results.table.protections[scenario]
        splits = splits_by_factor(Model(network, values), found)
        kept = st.session_state["coordination"] = _State(
            now.digest, scenario, coordination(Model(network, values), (found,)), splits,
            feeders_frame(network, splits[float(values["fault_current_factor"])]))
    return kept


def _under(now: ScenarioResults, scenario: int) -> str:
    return f"under {plain(now.names[scenario])}" if scenario else "as built"


def _reclosing_off(now: ScenarioResults) -> str:
    """That the picture is for reclosing on, and what a trip is while it is off."""
    fast = now.results.study.values["reclosing_off_trip"] == FAST
    return ("With reclosing on. While it is off the device trips once, "
            + ("fast where it has a fast curve." if fast else "on its delayed curve."))


def feeder(now: ScenarioResults, name: str, scenario: int) -> None:
    """Line and faults of a feeder by what an operation does. scenario: see `followed`."""
    rows = _state(now, scenario).feeders
    rows = rows[rows["feeder_id"] == name]
    chart = charts_coordination.feeder(rows)
    st.subheader(f"Fuse or recloser (fuse saving), on {plain(name)} {_under(now, scenario)}", anchor=False)
    left, right = st.columns(2, gap="large")
    with left:
        figure.chart(described.figure(chart, frame.presenting(), 300), chart.description or chart.title, lambda: rows,
                     "Faults by outcome", "coordination_feeder")
    with right:
        sums = rows.groupby(["outcome", "operation"], sort=False)[["km", "faults_per_year"]].sum().unstack("operation")
        sums = sums[np.any(sums.to_numpy() > 0, axis=1)]
        unit, km = lengths.unit_and_scale(now.results.study)
        sums["km"] = sums["km"] / km
        shown = pd.DataFrame({"outcome": sums.index, **{
            f"{what}, {operation}, {unit}": [number(v) for v in sums[column, operation]] for column, what, unit in (
                ("km", "line", unit), ("faults_per_year", "faults", "1/yr")) for operation in OPERATION_NAMES}})
        figure.table(shown, "Line and faults by outcome", "coordination_km")
        st.caption("Every device working, links as recorded. The fuse nearest the fault counts. "
                   f"{_reclosing_off(now)}")


def lateral(now: ScenarioResults, head: int, actuating_a: float, scenario: int) -> None:
    """Curves at a lateral's head, shares of its faults by outcome, and what is lost as fault currents grow.

    actuating_a: of the sectionalizer proposed there. scenario: see `followed`.
    """
    state, network = _state(now, scenario), now.results.network
    values, found = now.results.study.values, now.results.table.protections[scenario]
    curves = lateral_curves(Model(network, values), found, state.races, head, actuating_a)
    chart, sections = charts_coordination.curves(curves), network.unit == head
    st.markdown(f"**Coordination of {plain(curves.lateral)} with {plain(curves.recloser)}, "
                f"{_under(now, scenario)}**")
    left, right = st.columns([3, 2], gap="large")
    with left:
        figure.chart(described.figure(chart, frame.presenting(), 520), chart.description,
                     lambda: charts_coordination.curves_frame(curves), "Curves", "coordination")
    with right:
        _shares(state.splits, float(values["fault_current_factor"]), sections)
        if curves.device == FUSE and not curves.device_s:
            st.caption(f"The study has no settings of {plain(curves.recloser)}: its fast operations are taken to "
                       f"clear in {number(values['fast_clearing_time_s'])} s.")
        st.caption(_reclosing_off(now))
        if not np.isfinite(curves.low_a):
            st.caption("The study gives no fault currents here. Results take every fast operation to save a fuse, and "
                       "every sectionalizer to count.")


def _shares(splits: dict[float, OutcomeSplit], own: float, sections: np.ndarray) -> None:
    """Two tables: the shares now, and on a fast and a delayed operation as the source grows."""
    growth = growth_frame(splits, sections)
    occurring = [(key, name) for key, name in OUTCOME_WORDS.values() if (growth[key] > 0).any()]
    if not occurring:
        st.info("No fault falls on this lateral: it has neither a length nor a rate of its own.")
        return
    now = growth[growth["fault_current_factor"] == own].set_index("operation").loc[list(OPERATION_NAMES)]
    table = pd.DataFrame({"outcome": [name for _, name in occurring], **{
        f"{operation}, % of faults": [number(100.0 * now[key].to_numpy()[k]) for key, _ in occurring]
        for k, operation in enumerate(OPERATION_NAMES)}})
    figure.table(table, "Share of the lateral's faults by outcome", "coordination_shares")
    st.caption("Both: the device opens and the fuse melts as well. Shares count every fault current along the lateral; "
               "the check of the link looks at the tap alone, so that both may occur where no link is wrong.")
    st.markdown("**As the source grows**: fault currents times a factor, % of faults")
    rows = growth[growth["fault_current_factor"].isin([*GROWTH_FACTORS, own])]
    factors = [number(f) for f in rows["fault_current_factor"]]
    more = pd.DataFrame({"factor, ×": factors, "operation": rows["operation"], **{
        name: [number(100.0 * v) for v in rows[key]] for key, name in occurring if key in OUTCOME_KEYS}})
    figure.table(more, "Coordination as the source grows", "coordination_growth")
