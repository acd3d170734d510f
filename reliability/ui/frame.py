"""What every page has: its name, the study it is about, and the caution."""

from __future__ import annotations

import time
from pathlib import Path

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from reliability.cautions import CAUTION
from reliability.formats import count
from reliability.report.palette import css
from reliability.study import Study
from reliability.ui import figure, moved, opened, state
from reliability.ui.opened import Opened
from reliability.ui.plotting import layout, picture
from reliability.ui.text import plain
from reliability.what_if import Asked

LOOK = Path(__file__).with_name("look.css")
LARGE_LOOK = Path(__file__).with_name("look_large.css")
READ_SECONDS = 10.0
LEARNING = "Learning the fault rates from the outage records …"


def presenting() -> bool:
    """Whether type is large, for a room."""
    return state.text(state.LARGE_TYPE_KEY) == "1"


def begin(title: str, lead: str = "", with_state: bool = False) -> Opened:
    """Head of a page: what it is called, which study it shows, and what figures are not.

    with_state: whether the page shows figures of what is moved in this tab, which its head then tells.
    """
    st.html(f"<style>{css()}{LOOK.read_text(encoding='utf-8')}</style>")
    if presenting():
        st.html(LARGE_LOOK)
    with st.container(key="page_head", horizontal=True, vertical_alignment="bottom", gap="medium"):
        st.title(title, anchor=False, width="content")
        about = st.empty()
    with st.container(key="page_caution"):
        st.markdown(f":material/info: {CAUTION}")
    shown = opened.current(_Wait(about).tell)
    about.markdown(_about(shown, with_state), width="content")
    elsewhere = opened.changed_elsewhere(shown)
    if with_state and shown.study is not None:
        moved.notice(moved.current(shown.rated), shown.rated)
    if lead and not presenting():
        st.markdown(lead)
    _notice()
    if elsewhere:
        st.warning("The study was changed in another tab or program since you last looked; this is its new state.",
                   icon=":material/sync_problem:")
    opened.watch(shown.name, shown.fingerprint)
    return shown


class _Wait:
    """Where a page tells how far the rates are that it waits for; the browser loads what draws pictures meanwhile."""

    def __init__(self, place: DeltaGenerator) -> None:
        self._place = place
        self._bar: DeltaGenerator | None = None

    def tell(self, share: float) -> None:
        """Tell the share that is done."""
        if self._bar is not None:
            self._bar.progress(share, LEARNING)
            return
        with self._place.container():
            self._bar = st.progress(share, LEARNING)
            with st.container(key="picture_ahead"):
                st.plotly_chart(picture([], layout(1)), key="chart_ahead", config=figure.CONFIG, alt="Nothing yet")


def _notice() -> None:
    """What was done, as long as it takes to read it: a page also runs again by itself, when figures come in."""
    said = st.session_state.pop(opened.NOTICE, None)
    text, since = (said, time.monotonic()) if isinstance(said, str) else said or ("", 0.0)
    if text and time.monotonic() - since < READ_SECONDS:
        st.session_state[opened.NOTICE] = text, since
        st.info(plain(text, 300))


def begin_with_state(title: str, lead: str = "") -> tuple[Opened, Study, Asked]:
    """As `begin_with_study`, and what is moved in this tab, which the head of the page tells."""
    shown, study = begin_with_study(title, lead, with_state=True)
    return shown, study, asked(shown)


def asked(shown: Opened) -> Asked:
    """What is moved in this tab beside what the study states."""
    return moved.current(shown.rated)


def begin_with_study(title: str, lead: str = "", with_state: bool = False) -> tuple[Opened, Study]:
    """Head of a page that needs a study without problems; says what to do and stops where it has some.

    The study comes with the fault rates that it asks for; `Opened.study` is as its files state it. with_state: see
    `begin`.
    """
    shown = begin(title, lead, with_state)
    if shown.study is None:
        st.error(f"{count(shown.problems.count, 'problem')} in the files of this study stand in the way.")
        st.page_link("reliability/ui/study_page.py", label="See every problem with its remedy", icon=":material/rule:")
        st.stop()
    return shown, shown.rated


def _about(shown: Opened, with_state: bool) -> str:
    if shown.study is None:
        return f"{plain(shown.name)} · {count(shown.problems.count, 'problem')}"
    study = shown.study
    customers = int(study.sections["customers"].sum())
    inputs = moved.mark(moved.current(shown.rated) if with_state else Asked(), study)
    return (f"{plain(study.name, 60)} · {count(len(study.sections), 'section')} · {count(customers, 'customer')} · "
            f"{inputs}")
