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
from reliability.ui.opened import FINGERPRINTS_SEEN

_MARKS, _LOCK = "own_marks", "own_work_lock"


def since(mark: str, where: str, own: dict[tuple[str, str], str] | None = None) -> list[str]:
    """A state, and those that this tab has made of it one after another by changes of one place, a table for
    instance."""
    own = st.session_state.get(_MARKS, {}) if own is None else own
    found = [mark]
    while (next_ := own.get((found[-1], where))) is not None and next_ not in found:
        found.append(next_)
    return found


def elsewhere(known: str, shown: str, where: str) -> bool:
    """Whether the state that a page was drawn of comes from somebody else than the changes of one place here."""
    return shown not in since(known, where) and known not in since(shown, where)


def one_at_a_time(name: str, mark: str, where: str, now: Callable[[], str], change: Callable[[str], Outcome],
                  outcomes: dict[Any, Any], key: Any, when: Callable[[], Any]) -> Outcome:
    """The outcome of a change, which gets the state that it is made of; put into `outcomes` under `key`, with its time.

    name, mark: the study and the state of it that this page was drawn of. now: the state on the disk; where this tab
    has made that of `mark`, the change is made of it. Nothing here asks the framework for anything once the change has
    begun, so that a page which is stopped meanwhile forgets nothing.
    """
    seen = st.session_state.setdefault(FINGERPRINTS_SEEN, {})
    own = st.session_state.setdefault(_MARKS, {})
    with st.session_state.setdefault(_LOCK, threading.Lock()):
        current = now()
        if current in since(mark, where, own):
            mark = current
        outcome = change(mark)
        outcomes[key] = outcome, when()
        if outcome.fingerprint is not None:
            own.pop((outcome.fingerprint, where), None)
            if outcome.fingerprint != mark:
                own[mark, where] = outcome.fingerprint
            seen[name] = outcome.fingerprint
    return outcome
