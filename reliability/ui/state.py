"""What is asked in this tab: texts by parameter, the same in the session and in the address of every page.

A step changes the texts before the page runs: in a callback, or followed by a rerun. `follow` then brings the address
up to date before the navigation is drawn, and the browser makes one entry of its history of it, of a change of page
too. Where a tab begins, or the browser went back or forward, the address is what counts and is read instead. A run that
the browser asked for before it had the newest address sends an older one; it is no step back, and nothing is read.
"""

from __future__ import annotations

from typing import Any

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

STUDY_KEY, SLIDERS, LIMITS_KEY, SCENARIO_KEY, PERSPECTIVE, LATERAL, LENGTHS, LARGE_TYPE_KEY, DRAFT_KEY = (
    "study", "sliders", "limits", "scenario", "perspective", "lateral", "lengths", "large", "draft")
PARAMETERS = (STUDY_KEY, SLIDERS, LIMITS_KEY, SCENARIO_KEY, PERSPECTIVE, LATERAL, LENGTHS, LARGE_TYPE_KEY, DRAFT_KEY)
OF_ONE_STUDY = (SLIDERS, LIMITS_KEY, SCENARIO_KEY, PERSPECTIVE, LATERAL)
ASKED_KEY = "asked"
SHAPES_KEY = "shapes_of_widgets"


def follow() -> None:
    """Read the address where a tab begins or the browser went back or forward; else write it. Before the navigation."""
    held = st.session_state.get(ASKED_KEY)
    if held is None or _went_through_history():
        read = {name: st.query_params[name] for name in PARAMETERS if name in st.query_params}
        # an import goes on, whatever page somebody went back to
        st.session_state[ASKED_KEY] = {DRAFT_KEY: held[DRAFT_KEY], **read} if held and DRAFT_KEY in held else read
    else:
        note()


def _went_through_history() -> bool:
    context = get_script_run_ctx()
    return context is not None and context.is_history_navigation


def note() -> None:
    """Have the address say what is asked now, where it says anything else."""
    wanted = address()
    if st.query_params.to_dict() != wanted:
        st.query_params.from_dict(wanted)


def address() -> dict[str, str]:
    """What the address says: parameters with a text, in one order."""
    asked = _asked()
    return {name: asked[name] for name in PARAMETERS if asked.get(name)}


def text(parameter: str) -> str:
    """What is asked under a parameter, "" for nothing."""
    return str(_asked().get(parameter, ""))


def put(**texts: str) -> None:
    """Ask something else, by parameter; "" for nothing. The address follows with the next run."""
    st.session_state[ASKED_KEY] = {**_asked(), **texts}


def of_another_study(name: str) -> None:
    """Ask for a study, and for nothing else of it; name: "" for the one that is shown by itself."""
    put(**{STUDY_KEY: name}, **dict.fromkeys(OF_ONE_STUDY, ""))


def go(page: str) -> None:
    """Switch to another page, the address being taken along."""
    st.switch_page(page, query_params=address())


def hold(widget: str, value: Any, shape: object = None) -> None:
    """Have a widget show a value of what is asked; called before it is drawn.

    Set only where it differs, so that a slider is not put back while somebody is still dragging it; and where its
    `shape` differs, such as its ends: for the framework it is another widget then, which shows nothing of the old one.
    """
    shapes = st.session_state.setdefault(SHAPES_KEY, {})
    if widget not in st.session_state or st.session_state[widget] != value or shapes.get(widget) != shape:
        st.session_state[widget] = value
        shapes[widget] = shape


def _asked() -> dict[str, str]:
    return st.session_state.setdefault(ASKED_KEY, {})
