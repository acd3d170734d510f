"""Results that take some seconds: computed beside the page, asked for again until they are there."""

from __future__ import annotations

import contextlib
import re
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from functools import partial
from typing import Any, TypeVar

import streamlit as st

T = TypeVar("T")
MAX_CACHED = 24
TIMEOUT_SECONDS = 0.4              # a page waits so long before it shows itself without the result
POLL_SECONDS = 0.3
TELL_SECONDS = 0.5                 # between two reports of what a page waits for
TELL_FIRST_SECONDS = 0.1
# What a page shows itself without, what it cannot do without, and what takes longest, behind which neither queues.
RESULTS, INPUTS, LONG = "background", "inputs", "long"
IDLE_SECONDS = 1.5                 # what nobody has asked for yet begins when the page of the moment stands
LOOK_SECONDS = 0.05                # between two looks whether a page runs
HELD_SECONDS = 1.0                 # that work makes way for the page that asked for it, at most


@st.cache_resource(show_spinner=False)
def _pool(name: str) -> tuple[ThreadPoolExecutor, OrderedDict[str, Future[Any]], threading.Lock]:
    """One worker, results by key and their lock; shared between tabs."""
    return ThreadPoolExecutor(1, thread_name_prefix=name), OrderedDict(), threading.Lock()


@st.cache_resource(show_spinner=False)
def _prepared() -> tuple[ThreadPoolExecutor, dict[str, threading.Event]]:
    """The worker of what nobody has asked for yet, and of the keys of that whether somebody has by now."""
    return ThreadPoolExecutor(1, thread_name_prefix="prepared"), {}


@st.cache_resource(show_spinner=False)
def _running() -> set[object]:
    """Runs of pages that have not ended."""
    return set()


@st.cache_resource(show_spinner=False)
def _hurry() -> threading.Event:
    """Set while a page that runs waits for a result."""
    return threading.Event()


@contextlib.contextmanager
def page_runs() -> Iterator[None]:
    """A page runs meanwhile; what nobody has asked for yet waits, and what it asked for without waiting for it."""
    running, run = _running(), object()
    if not running:
        _hurry().clear()
    running.add(run)
    try:
        yield
    finally:
        running.discard(run)


@st.cache_resource(show_spinner=False)
def _told() -> dict[str, tuple[float, str]]:
    """Key → how far its work is (0 to 1), and what it is at."""
    return {}


def teller(key: str, stages: int) -> Callable[[str], None]:
    """A function that work called `key` calls at the start of each of its stages, with their name."""
    seen: list[str] = []

    def tell(stage: str) -> None:
        seen.append(stage)
        _told()[key] = (min(len(seen) / (stages + 1), 1.0), stage)

    return tell


def tell_share(key: str, done: int, total: int) -> None:
    """Tell how many of the steps of the work called `key` are done."""
    _told()[key] = (done / max(total, 1), f"{done} of {total}")


def prepare(key: str, work: Callable[[], object]) -> None:
    """Begin a result that is likely to be asked for, once the page that shows now has had its time."""
    executor, prepared = _prepared()
    _, cached, lock = _pool(RESULTS)
    begins = time.monotonic() + IDLE_SECONDS

    def after_a_pause() -> object:
        while time.monotonic() < begins and not is_awaited(key):
            time.sleep(LOOK_SECONDS)
        give_way(key)
        return work()

    with lock:
        if key not in cached:
            prepared[key] = threading.Event()
            _put(cached, key, executor.submit(after_a_pause)).add_done_callback(lambda _: prepared.pop(key, None))


def is_awaited(key: str) -> bool:
    """Whether somebody has asked for the result called `key`, which may have been begun without being asked for."""
    asked = _prepared()[1].get(key)
    return asked is None or asked.is_set()


def give_way(key: str) -> None:
    """For work on the result called `key`, between its steps: if nobody has asked for it, wait while a page runs or
    what somebody has asked for is computed."""
    while not is_awaited(key) and (_running() or _is_busy()):
        time.sleep(LOOK_SECONDS)


def _is_busy() -> bool:
    """Whether anything is computed that somebody has asked for."""
    _, cached, lock = _pool(RESULTS)
    with lock:
        return any(is_awaited(key) and future.running() for key, future in cached.items())


def ask(key: str, work: Callable[[], T], worker: str = RESULTS, *, waits: bool = True) -> Future[T]:
    """The result called `key`, begun if nobody has asked for it yet; shared between tabs and never changed.

    It does not queue behind what is only prepared. worker: RESULTS, or LONG for what takes longest. waits: whether the
    page that runs waits for it; else it begins when that page stands, which two would make slower.
    """
    _, prepared = _prepared()
    _, cached, lock = _pool(RESULTS)
    with lock:
        if key in prepared and key in cached and cached[key].cancel():        # it has not begun
            del cached[key]
    under_way(key, waits=waits)
    return _begin(key, work if waits else partial(_when_the_page_stands, work), RESULTS, worker)


def _when_the_page_stands(work: Callable[[], T]) -> T:
    until = time.monotonic() + HELD_SECONDS
    while _running() and not _hurry().is_set() and time.monotonic() < until:
        time.sleep(LOOK_SECONDS / 5)
    return work()


def under_way(key: str, *, waits: bool = False) -> Future[Any] | None:
    """The result called `key` while it is being computed; it is asked for by that. None before and afterwards. waits:
    as of `ask`."""
    if waits:
        _hurry().set()
    future, asked = _pool(RESULTS)[1].get(key), _prepared()[1].get(key)
    if future is None or not future.running():
        return None
    if asked is not None:
        asked.set()
    return future


def is_done(key: str) -> bool:
    """Whether the result called `key` is there."""
    future = _pool(RESULTS)[1].get(key)
    return future is not None and future.done()


def waited_for(key: str, work: Callable[[], T], tell: Callable[[float], None], keep: int) -> T:
    """The result that a page cannot do without; tell(share done) is called meanwhile, again and again.

    It does not queue behind the others. keep: as in `result`. Raises what the work raises.
    """
    future = _begin(key, work, INPUTS)
    _drop_older(_kind(key), keep, INPUTS)
    pause = TELL_FIRST_SECONDS
    while True:
        try:
            return future.result(timeout=pause)
        except NotYet:
            tell(_told().get(key, (0.0, ""))[0])
            pause = TELL_SECONDS


def _begin(key: str, work: Callable[[], T], pool: str, worker: str = "") -> Future[T]:
    executor, (_, cached, lock) = _pool(worker or pool)[0], _pool(pool)
    with lock:
        if key in cached and cached[key].done() and cached[key].exception() is not None:
            del cached[key]
        return _put(cached, key, cached[key] if key in cached else executor.submit(work))


def _put(cached: OrderedDict[str, Future[Any]], key: str, future: Future[Any]) -> Future[Any]:
    """Have a result stay longest; the oldest goes where there are too many."""
    cached[key] = future
    cached.move_to_end(key)
    while len(cached) > MAX_CACHED:
        cached.popitem(last=False)[1].cancel()
    return future


def result(key: str, work: Callable[[], T], name: str, keep: int = MAX_CACHED) -> T | None:
    """The result, or None and a message on the page that it is being computed. name: as in "Computing the curve".

    keep: so many results whose keys begin with the same word stay.
    """
    future = ask(key, work)
    _drop_older(_kind(key), keep)
    try:
        return future.result(timeout=TIMEOUT_SECONDS)
    except NotYet:
        _wait(key, name)
        return None


def _kind(key: str) -> str:
    """The first word of a key, what kind of result it is: of "trips|…" and of "import …"."""
    return re.split(r"[ |]", key, maxsplit=1)[0]


def _drop_older(kind: str, keep: int, pool: str = RESULTS) -> None:
    _, cached, lock = _pool(pool)
    with lock:
        alike = [k for k in cached if _kind(k) == kind]
        for k in alike[:max(len(alike) - keep, 0)]:
            cached.pop(k).cancel()
            _told().pop(k, None)


def _wait(key: str, name: str) -> None:
    @st.fragment(run_every=POLL_SECONDS)
    def poll() -> None:
        future = _pool(RESULTS)[1].get(key)
        if future is None or future.done():
            st.rerun()
        share, stage = _told().get(key, (0.0, ""))
        if stage:
            st.progress(share, f"Computing {name}: {stage} …")
        else:
            st.info(f"Computing {name} …", icon=":material/hourglass_top:")

    poll()
