"""What is moved in this tab, written into the study, or into the inputs of one run."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from reliability.formats import count
from reliability.report.runs import Change
from reliability.state_files import not_reproduced, not_written, with_moves, with_state
from reliability.study import Study
from reliability.study.save import read_inputs
from reliability.ui import edit, moved, opened, sliders
from reliability.ui.opened import Opened
from reliability.ui.scenario_results import state_results
from reliability.what_if import Asked

Moves = Mapping[str, float | int]


def writable(study: Study, moves: Moves) -> dict[str, float | int]:
    """Those of the moves that the study's files can say. study: as its files state it."""
    out = not_written(study, moves)
    return {key: value for key, value in moves.items() if key not in out}


def kept_out(study: Study, moves: Moves) -> str:
    """What of the moves the inputs of a run cannot say, in words; "" for nothing."""
    known = sliders.sliders(study)
    return ", ".join(known[key].assumption.label.lower() for key in not_reproduced(study, moves))


def write(shown: Opened, moves: Moves) -> None:
    """Make moves the study's own; what no file of it can say stays a slider."""
    own = writable(shown.stated, moves)
    files, gone = with_moves(shown.stated, read_inputs(shown.folder), own)
    if edit.apply(shown, files, gone, "sliders"):
        sliders.set_all({key: value for key, value in moves.items() if key not in own})
        st.session_state[opened.NOTICE] = (f"{count(len(own), 'value')} written into the study; the previous version "
                                           "is stored.")
    else:
        st.session_state[opened.NOTICE] = "Not written: the study would have problems, or was changed elsewhere."


def change(shown: Opened, study: Study, asked: Asked) -> Change | None:
    """The inputs of a run of what is asked, None where that is the study as it stands."""
    if not asked:
        return None
    words = moved.in_words(asked, study)
    now = state_results(study, shown.fingerprint, asked)
    files, gone = with_state(shown.stated, read_inputs(shown.folder), asked, now, words)
    return Change(files, gone, words)
