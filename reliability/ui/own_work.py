"""What this tab has saved itself, so that its next change builds on it and not on what somebody else did meanwhile.

A quick hand changes a second cell while the first is still being checked: the page that takes the second change began
before the first was saved, and knows only the state before both.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import streamlit as st

from reliability.study.changes import Outcome
from reliability.ui.opened import SEEN

_MARKS, _LOCK = "own_marks", "own_work_lock"


def latest(mark: str, where: str) -> str:
    """The state that this tab has made of another one by changes of one place, a table for instance; else that one."""
    own = st.session_state.get(_MARKS, {})
    while (mark, where) in own:
        mark = own[mark, where]
    return mark


def one_at_a_time(name: str, mark: str, where: str, change: Callable[[str], Outcome], outcomes: dict[Any, Any],
                  key: Any, when: Callable[[], Any]) -> Outcome:
    """The outcome of a change, which gets the state that it is made of; put into `outcomes` under `key`, with its time.

    name, mark: the study and the state of it that this page was drawn of. Nothing here asks the framework for anything
    once the change has begun, so that a page which is stopped meanwhile forgets nothing.
    """
    seen = st.session_state.setdefault(SEEN, {})
    own = st.session_state.setdefault(_MARKS, {})
    with st.session_state.setdefault(_LOCK, threading.Lock()):
        while (mark, where) in own:
            mark = own[mark, where]
        outcome = change(mark)
        outcomes[key] = outcome, when()
        if outcome.fingerprint is not None:
            own.pop((outcome.fingerprint, where), None)
            if outcome.fingerprint != mark:
                own[mark, where] = outcome.fingerprint
            seen[name] = outcome.fingerprint
    return outcome
