"""The outage records of a study, read once for every tab, and while somebody still looks at the first page."""

from __future__ import annotations

import streamlit as st

from reliability.history import read_history
from reliability.history.history import History
from reliability.history.rates import LearnedRates
from reliability.pipeline import modelled_days
from reliability.study import Study, StudyError
from reliability.ui import background
from reliability.ui.opened import Opened
from reliability.ui.scenario_results import stated_results

RECORDS_CACHED = 4
RECORDS_PREPARED_AT_MOST = 20_000       # records; more are read when they are asked for


@st.cache_resource(max_entries=RECORDS_CACHED, show_spinner=False)
def history_of(_study: Study, fingerprint: str, _ready: Study,
               _learned: LearnedRates | None) -> tuple[History | None, StudyError | None]:
    """(history, None), or (None, what stands in the way); shared between tabs and never changed."""
    try:
        return read_history(_study, modelled_days(stated_results(_ready, fingerprint).results),
                            learned=_learned), None
    except StudyError as error:
        return None, error


def prepare(shown: Opened) -> None:
    """Read them once the page that shows now has had its time."""
    study, ready, mark, learned = shown.stated, shown.rated, shown.fingerprint, shown.learned
    if study.outages is not None and 0 < len(study.outages) <= RECORDS_PREPARED_AT_MOST:
        background.prepare(f"history|{mark}", lambda: history_of(study, mark, ready, learned)[0] is not None)
