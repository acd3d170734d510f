"""Answers that take some seconds: worked out beside the page, asked for again until they are there."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet

import streamlit as st

KEPT = 24
PATIENCE_SECONDS = 0.4             # a page waits so long before it shows itself without the answer
EVERY_SECONDS = 0.7
IDLE_SECONDS = 1.5                 # what nobody has asked for yet begins when the page of the moment stands


@st.cache_resource(show_spinner=False)
def _desk() -> tuple[ThreadPoolExecutor, OrderedDict[str, Future], threading.Lock, threading.Event]:
    return ThreadPoolExecutor(1, thread_name_prefix="later"), OrderedDict(), threading.Lock(), threading.Event()


def prepare(key: str, work: Callable[[], object]) -> None:
    """Begin an answer that is likely to be asked for, once the page that shows now has had its time."""
    hurry = _desk()[3]
    hurry.clear()

    def patient() -> object:
        hurry.wait(IDLE_SECONDS)
        return work()

    _begin(key, patient)


def ask(key: str, work: Callable[[], object]) -> Future:
    """The answer called `key`, begun if nobody has asked for it yet; shared between tabs and never changed."""
    _desk()[3].set()
    return _begin(key, work)


def _begin(key: str, work: Callable[[], object]) -> Future:
    executor, answers, lock, _ = _desk()
    with lock:
        if key in answers and answers[key].done() and answers[key].exception() is not None:
            del answers[key]
        if key not in answers:
            answers[key] = executor.submit(work)
            while len(answers) > KEPT:
                answers.popitem(last=False)[1].cancel()
        answers.move_to_end(key)
        return answers[key]


def answer(key: str, work: Callable[[], object], what: str):
    """The answer, or None with a word on the page that it is on its way."""
    future = ask(key, work)
    try:
        return future.result(timeout=PATIENCE_SECONDS)
    except NotYet:
        _wait(key, what)
        return None


def _wait(key: str, what: str) -> None:
    @st.fragment(run_every=EVERY_SECONDS)
    def poll() -> None:
        future = _desk()[1].get(key)
        if future is None or future.done():
            st.rerun()
        st.info(f"{what} is being worked out …", icon=":material/hourglass_top:")

    poll()
