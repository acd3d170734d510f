"""What is moved away from the study in this tab: read for every page that shows figures, and told on it."""

from __future__ import annotations

import streamlit as st

from reliability.business.costs import SOCIETY, UTILITY
from reliability.study import Study
from reliability.ui import limits, sliders, state
from reliability.ui.text import plain
from reliability.what_if import Asked

PERSPECTIVE_NAMES = {UTILITY: "Utility", SOCIETY: "Societal"}
NOTHING_MOVED = "As the study states."
NOT_CHOSEN_AGAIN = "“Proposed” stays as it was chosen at the study's own inputs; the page Selection chooses again."
REOPENS = "The address reopens exactly this state."


def current(study: Study) -> Asked:
    """What is asked in this tab beside what the study states."""
    perspective = state.text(state.PERSPECTIVE)
    asked = perspective if perspective in PERSPECTIVE_NAMES and perspective != study.values["perspective"] else None
    return Asked(sliders.moved(study), limits.moved(study), asked)


def in_words(asked: Asked, study: Study) -> list[str]:
    """Each thing that is moved, in a few words."""
    known = sliders.sliders(study)
    said = [f"{known[key].assumption.label.lower()} {known[key].in_words(value, study.currency)} (the study: "
            f"{known[key].in_words(known[key].start)})" for key, value in asked.moves.items()]
    said += limits.in_words(asked.limits, study)
    return said + ([f"{PERSPECTIVE_NAMES[asked.perspective].lower()} perspective"] if asked.perspective else [])


def notice(asked: Asked, study: Study) -> None:
    """Tell what is moved, with a button that resets all of it. It takes the same room where nothing is."""
    with st.container(key="moved_notice", horizontal=True, vertical_alignment="center", gap="small"):
        text = f"**Moved:** {plain('; '.join(in_words(asked, study)), 400)}." if asked else NOTHING_MOVED
        if not asked.at_the_studys_inputs:
            text += f" {NOT_CHOSEN_AGAIN}"
        st.markdown(f":material/tune: {text} {REOPENS}", width="stretch")
        st.button("Reset all", key="reset_all", icon=":material/undo:", type="tertiary", disabled=not asked,
                  on_click=reset, help="Every slider, every limit and the perspective as the study states them")


def reset() -> None:
    """Nothing is moved any more."""
    state.put(sliders="", limits="", perspective="")


def mark(asked: Asked, study: Study) -> str:
    """The mark of the inputs as it is shown: that of the study, or another one where anything is moved."""
    return f"{'moved ' if asked else ''}inputs `{asked.mark(study.inputs_sha256)[:8]}`"
