"""The study on the screen: which one, as it stands on the disk now, and whether it changed elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from reliability.history.outages import records_of
from reliability.history.rates import LearnedRates
from reliability.pipeline import learned_rates, with_rates
from reliability.study import Study, StudyError, open_study, workspace
from reliability.study.ranges import LEARNED
from reliability.study.save import ChangedElsewhere, fingerprint
from reliability.ui import background, state

FINGERPRINTS_SEEN, NOTICE = "seen_fingerprints", "notice"
STUDIES_CACHED = 6
TRIES = 20                      # to read a study that somebody else keeps changing


@dataclass(frozen=True)
class Opened:
    """A study of the workspace; `study` is None where it has problems, which `error` then lists.

    ready: the study with the fault rates that it asks for, as stated or learned from its records. learned: what the
    records tell of them, where it asks for that.
    """

    name: str
    folder: Path
    fingerprint: str
    study: Study | None
    ready: Study | None
    error: StudyError | None
    learned: LearnedRates | None = None

    @property
    def problems(self) -> StudyError:
        """What is wrong with a study that cannot be opened."""
        if self.error is None:
            raise ValueError(f"nothing is wrong with the study {self.name}")
        return self.error

    @property
    def stated(self) -> Study:
        """The study as its files state it; raises its problems where it has some."""
        if self.study is None:
            raise self.problems
        return self.study

    @property
    def rated(self) -> Study:
        """As `ready`; raises its problems where it has some."""
        if self.ready is None:
            raise self.problems
        return self.ready


def current(tell: Callable[[float], None] = lambda _: None) -> Opened:
    """The study that this tab shows, read again where its files changed.

    tell: called with the share done, again and again, while its rates are learned.
    """
    return named(chosen(), tell)


def named(name: str, tell: Callable[[float], None] = lambda _: None) -> Opened:
    """A study of the workspace, as `current`."""
    folder = workspace.folder_of(name)
    for _ in range(TRIES):
        try:
            mark = fingerprint(folder)
            study, error = _read(str(folder), mark)
        except ChangedElsewhere:
            continue
        except StudyError as interrupted:      # a change that was interrupted
            return Opened(name, folder, "", None, None, interrupted)
        if study is None or study.values["rates"] != LEARNED:
            return Opened(name, folder, mark, study, study, error)
        try:
            ready, learned = _learned(study, mark, tell)
        except StudyError as nothing:          # to learn from
            return Opened(name, folder, mark, None, None, nothing)
        return Opened(name, folder, mark, study, ready, None, learned)
    raise ChangedElsewhere(name)


def chosen() -> str:
    """Name of the study of this tab: as chosen or in the address, else the demo."""
    asked = state.text(state.STUDY_KEY)
    if asked and asked not in workspace.studies():
        st.session_state[NOTICE] = "The study of this link is not in the workspace; the demo is shown."
        state.of_another_study("")
        asked = ""
    return asked or workspace.DEMO


def choose(name: str) -> None:
    """Show another study of the workspace; what is moved belongs to one study."""
    if name != chosen():
        state.of_another_study(name)


def changed_elsewhere(opened: Opened) -> bool:
    """Whether somebody else changed the study since this tab last looked; noted as seen from now on."""
    seen = st.session_state.setdefault(FINGERPRINTS_SEEN, {})
    before = seen.get(opened.name)
    seen[opened.name] = opened.fingerprint
    return before is not None and before != opened.fingerprint


def mine(name: str, mark: str) -> None:
    """Note that the state with this fingerprint is this tab's own work."""
    st.session_state.setdefault(FINGERPRINTS_SEEN, {})[name] = mark


@st.cache_resource(max_entries=STUDIES_CACHED, show_spinner=False)
def _read(folder: str, mark: str) -> tuple[Study | None, StudyError | None]:
    """The checked study, or what is wrong; shared between tabs and never changed.

    Raises ChangedElsewhere, so that nothing is stored, where the folder has another fingerprint by now.
    """
    study, problems = None, None
    try:
        study = open_study(folder)
    except StudyError as error:
        problems = error
    if fingerprint(folder) != mark:
        raise ChangedElsewhere(folder)
    return study, problems


def _learned(study: Study, mark: str, tell: Callable[[float], None]) -> tuple[Study, LearnedRates]:
    """The study with the rates of its records, and what these tell; shared between tabs and never changed."""
    key = f"rates|{mark}"

    def learn() -> tuple[Study, LearnedRates]:
        learned = learned_rates(study, records_of(study), partial(background.tell_share, key))
        return with_rates(study, learned=learned), learned

    return background.waited_for(key, learn, tell, STUDIES_CACHED)


@st.fragment(run_every=4)
def watch(name: str, mark: str) -> None:
    """Tell this tab when its study is changed by another one, without being asked."""
    context = get_script_run_ctx()
    if context is not None and not context.fragment_ids_this_run:
        return                     # the page itself runs, and has just read it
    try:
        now = fingerprint(workspace.folder_of(name))
    except StudyError:
        return                     # a change that was interrupted; the page itself tells of it
    except (KeyError, OSError):
        st.warning("This study is no longer in the workspace.", icon=":material/sync_problem:")
        return
    if now != mark:
        st.warning("This study was just changed in another tab or program. What you see is the state before; "
                   "nothing of yours was overwritten.", icon=":material/sync_problem:")
        if st.button("Show the new state", key="show_new_state", type="primary"):
            st.rerun()
