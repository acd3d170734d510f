"""Pinned states of a meeting: compared with the current one, restored."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from reliability.report.sentences import ROUNDING
from reliability.study import Study
from reliability.study.archive import ARCHIVE
from reliability.study.pins import MAX_PINS, PINS_FILE, add_pin, read_pins, remove_pin, unreadable
from reliability.ui import figure, frame, moved, sliders, state
from reliability.ui.compare_charts import COMPARED_MEASURES, PLAIN_NAMES, value
from reliability.ui.limits import from_link, to_link
from reliability.ui.opened import Opened
from reliability.ui.pin_charts import pins_alt, pins_chart
from reliability.ui.text import label, short
from reliability.what_if import Asked, ScenarioResults

AXES = {"saifi": "SAIFI, 1/yr", "saidi_min": "SAIDI, min/yr", "maifi_e": "MAIFI<sub>E</sub>, 1/yr",
        "callouts": "Call-outs, 1/yr"}
TOLD = "pin_told"


def tell() -> None:
    """Say that a state was pinned just now, where the button was pressed from."""
    if st.session_state.pop(TOLD, False):
        st.toast("Pinned. The state stands beside the current one under “Pinned states” at the foot of this page.",
                 icon=":material/push_pin:")


def add(shown: Opened, study: Study, now: ScenarioResults, asked: Asked) -> None:
    """Pin the current state with its figures."""
    figures = {name: {key: value(now, s, key) for key, *_ in COMPARED_MEASURES} | {
        "capex": now.money[s]["capex"], "npv": now.money[s]["npv"]} for s, name in enumerate(now.names)}
    limits = {"limits": to_link(asked.limits), "perspective": asked.perspective or ""}
    add_pin(shown.folder, asked.moves, figures, study.inputs_sha256, limits)
    st.session_state[TOLD] = True


def compare(shown: Opened, study: Study, now: ScenarioResults) -> None:
    """A pinned state beside the current one."""
    pins = read_pins(shown.folder)
    st.subheader("Pinned states", anchor=False)
    if unreadable(shown.folder):
        st.warning(f"{PINS_FILE} in {ARCHIVE} of the study's folder holds what cannot be read as a pinned state. It is "
                   "put aside there when the next state is pinned.", icon=":material/help:")
    if not pins:
        st.markdown("None yet. Pin a state to keep its figures and to set the next one beside it.")
        return
    if len(pins) >= MAX_PINS:
        st.caption(f"{len(pins)} states are pinned, as many as are stored: the next takes the place of the oldest. "
                   "Remove one that is not needed to keep that.")
    names = {i: f"{p['when'][5:16].replace('T', ' ')} · {_words(p, study)} · inputs {str(p['inputs_sha256'])[:8]}"
             for i, p in enumerate(pins)}
    with st.container(horizontal=True, vertical_alignment="bottom"):
        at = st.selectbox("Pinned state", list(names)[::-1], format_func=names.__getitem__, key="pin_shown", width=520)
        pin = pins[at if at is not None and at in names else len(pins) - 1]
        st.button("Restore", key="pin_take", on_click=_restore, args=(pin,),
                  help="Set every slider, the limits and the perspective as they were pinned")
        st.button("Remove", key="pin_remove", on_click=remove_pin, args=(shown.folder, pin["when"]))
    if pin["inputs_sha256"] != study.inputs_sha256:
        st.caption("The study's files have changed since this state was pinned; its figures are those of then.")
    table = beside(pin, now)
    units = {PLAIN_NAMES[key]: title for key, title in AXES.items()}
    units["NPV"] = f"NPV, {label(now.business.currency, 12)}"
    figure.chart(pins_chart(table, units, frame.presenting()), pins_alt(table), lambda: table, "Pinned and current",
                 "pinned")


def beside(pin: dict[str, Any], now: ScenarioResults) -> pd.DataFrame:
    """Scenario, measure, pinned, now, change: now less pinned, 0 for what is rounding."""
    rows = []
    for s, name in enumerate(now.names):
        then = pin["figures"].get(name, {})
        current = {key: value(now, s, key) for key, *_ in COMPARED_MEASURES} | {"npv": now.money[s]["npv"]}
        for key, figure_now in current.items():
            before = then.get(key)
            change = None if before is None else figure_now - before
            if change is not None and abs(change) <= ROUNDING * abs(figure_now):
                change = 0.0
            rows.append({"scenario": name, "measure": PLAIN_NAMES.get(key, "NPV"), "pinned": before, "now": figure_now,
                         "change": change})
    return pd.DataFrame(rows)


def _words(pin: dict[str, Any], study: Study) -> str:
    moves = sliders.from_link(sliders.to_link(pin["moves"]), study)
    perspective = pin.get("perspective")
    asked = Asked(moves, from_link(str(pin.get("limits", "")), study),
                  perspective if perspective in moved.PERSPECTIVE_NAMES else None)
    return short("; ".join(moved.in_words(asked, study)), 90) if asked else "as the study states"


def _restore(pin: dict[str, Any]) -> None:
    sliders.set_all(pin["moves"])
    state.put(limits=str(pin.get("limits", "")), perspective=str(pin.get("perspective", "")))
