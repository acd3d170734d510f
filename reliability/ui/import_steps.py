"""The steps of an import: each says what is open in it, and going back loses nothing."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from reliability.formats import count
from reliability.intake import Prepared
from reliability.intake.deciding import accepted_as_shown, open_by_step, suggested
from reliability.ui import import_columns, import_report_panel, import_units, import_words
from reliability.ui.import_answers import questions
from reliability.ui.import_draft import STEP_KEY, Draft
from reliability.ui.import_save import save_step

FILES_STEP, UNITS_STEP, WORDS_STEP = "files", "units", "words"
REPORT_STEP, QUESTIONS_STEP, SAVE_STEP = "report", "questions", "save"
IMPORT_STEPS: dict[str, tuple[str, Callable[[Draft, Prepared], None]]] = {
    FILES_STEP: ("Files and columns", import_columns.files), UNITS_STEP: ("Units and times", import_units.units),
    WORDS_STEP: ("Words", import_words.words), REPORT_STEP: ("Report", import_report_panel.report),
    QUESTIONS_STEP: ("Questions", questions), SAVE_STEP: ("Save", save_step)}


def steps(draft: Draft, prepared: Prepared) -> None:
    """The row of steps with what is open in each, and the one that is chosen."""
    if st.session_state.get(STEP_KEY) not in IMPORT_STEPS:
        st.session_state[STEP_KEY] = draft.plan.get("step", FILES_STEP)
    open_ = open_by_step(prepared, draft.confirmed)
    numbers = {FILES_STEP: open_["columns"], UNITS_STEP: open_["units"], WORDS_STEP: open_["words"]}

    def label(step: str) -> str:
        n = numbers.get(step, 0)
        return f"{list(IMPORT_STEPS).index(step) + 1} {IMPORT_STEPS[step][0]}" + (f" · {n} open" if n else "")

    left, right = st.columns([3, 2], vertical_alignment="center")
    step = str(left.segmented_control("Step", list(IMPORT_STEPS), key=STEP_KEY, format_func=label, required=True,
                                           label_visibility="collapsed"))
    if step != draft.plan.get("step", FILES_STEP):
        draft.decide(step=step)
    following = list(IMPORT_STEPS)[list(IMPORT_STEPS).index(step) + 1:][:1]
    with right.container(horizontal=True, horizontal_alignment="right"):
        _accept(draft, prepared)
        for after in following:
            st.button("Continue", key="continue_import",
                      help=f"To the next step: {IMPORT_STEPS[after][0]}.", on_click=_go, args=(after,),
                      type="secondary" if suggested(prepared) else "primary", icon=":material/arrow_forward:")
    IMPORT_STEPS[step][1](draft, prepared)


def _go(step: str) -> None:
    st.session_state[STEP_KEY] = step


def _accept(draft: Draft, prepared: Prepared) -> None:
    guesses = suggested(prepared)
    if guesses:
        st.button(f"Accept all {count(len(guesses), 'suggestion')}", key="accept_all", type="primary",
                  icon=":material/done_all:", on_click=_accept_all, args=(draft,),
                  help="Takes every guess of kinds, columns and words as it is shown. What has no suggestion stays "
                       "open, and words of a column that is decided by this come next. Each can be changed afterwards.")


def _accept_all(draft: Draft) -> None:
    draft.change_recipe(accepted_as_shown)
