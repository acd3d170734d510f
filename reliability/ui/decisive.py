"""Beside the figures: defaults that decide whether the proposal is a gain, and the way to where they are stated."""

from __future__ import annotations

from collections.abc import Callable, Collection

import streamlit as st

from reliability.decisive_defaults import Turn, decisive_defaults, sentences
from reliability.ui import background, edit, state
from reliability.ui.slots import Slot
from reliability.ui.text import plain
from reliability.what_if import ScenarioResults

WAITED_FOR = 3000       # sections; of a larger network it is told when the page is drawn the next time
MOVED_BY = {"fast_operations": "existing_fast_operations"}      # the slider of a default, where it is not of its name


def place() -> Slot:
    """Room for the note, the same whether there is one or not."""
    return Slot("decisive")


def tell(room: Slot, base: ScenarioResults, moved: Collection[str], *, wait: bool = False) -> bool:
    """Tell which defaults decide at the study's own inputs; returns whether that is known.

    base: results there. moved: keys of the sliders that are moved; their defaults are told no more. wait: for the end
    of a page, until it is known.
    """
    waits = wait and len(base.results.network) <= WAITED_FOR
    future = background.ask(*_work(base), waits=waits)
    if not (waits or future.done()):
        return False
    turns = [t for t in future.result() if MOVED_BY.get(t.key, t.key) not in moved]
    if turns:
        with room.again().container(horizontal=True, vertical_alignment="center"):
            st.markdown(f":material/priority_high: {plain(' '.join(sentences(turns)), 700)}", width="stretch")
            if st.button("State it", key="state_default", type="tertiary", help="Opens the assumptions of the study"):
                st.session_state["study_tab"], st.session_state[edit.WANTED] = "Assumptions", turns[0].key
                state.go("reliability/ui/study_page.py")
    return True


def prepare(base: ScenarioResults) -> None:
    """Begin with it while somebody reads another page."""
    background.prepare(*_work(base))


def key_of(base: ScenarioResults) -> str:
    """Under which the defaults that decide are computed in the background."""
    return f"decisive|{base.digest}"


def _work(base: ScenarioResults) -> tuple[str, Callable[[], list[Turn]]]:
    return key_of(base), lambda: decisive_defaults(base)
