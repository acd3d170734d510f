"""What the server loads beside its start, and the pages that come sooner."""

from __future__ import annotations

import asyncio
import gc
import inspect
import threading
from unittest.mock import MagicMock

import pytest
import streamlit as st
from streamlit import delta_generator

from reliability.ui import ahead, warm
from reliability.ui.opened import named
from reliability.ui.scenario_results import stated_results


@pytest.mark.parametrize("fails", [False, True])
def test_a_page_waits_until_what_all_need_is_loaded(monkeypatch, fails):
    """Two threads that import the same in different orders may end in a deadlock."""
    held, free = threading.Event(), threading.Event()

    def load(name: str) -> None:
        held.set()
        assert free.wait(30)
        if fails:
            raise ImportError(name)

    monkeypatch.setattr(warm.importlib, "import_module", load)
    for name, value in {"NEEDED": ("slow",), "LATER": (), "READING_SECONDS": 0.0, "open_study": lambda: None,
                        "_leave_out_of_searches": gc.enable}.items():
        monkeypatch.setattr(warm, name, value)
    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    warm.wait()                         # nothing is being loaded
    loading, page = warm.begin(), threading.Thread(target=warm.wait)
    assert held.wait(30)
    page.start()
    page.join(0.2)
    waited = page.is_alive()
    free.set()
    page.join(30)
    loading.join(30)
    assert waited
    assert not page.is_alive()


def test_the_first_element_does_not_look_at_all_that_is_loaded(monkeypatch):
    """The framework warns who types into Python's prompt, and looks for that at the file of every module."""
    assert delta_generator._use_warning_has_been_displayed in (False, True)     # its name in this version
    monkeypatch.setattr(delta_generator, "_use_warning_has_been_displayed", False)
    looked = []
    monkeypatch.setattr(inspect, "stack", lambda: looked.append(1) or [(None, "page.py")])
    for name, value in {"NEEDED": (), "LATER": (), "READING_SECONDS": 0.0, "open_study": lambda: None,
                        "_leave_out_of_searches": gc.enable}.items():
        monkeypatch.setattr(warm, name, value)
    warm.begin().join(30)
    st.markdown("first")
    assert not looked
    monkeypatch.setattr(delta_generator, "_use_warning_has_been_displayed", False)
    st.markdown("first")
    assert looked                                                               # where nothing is done about it


@pytest.mark.parametrize(("method", "accept", "query", "opened"), [
    ("GET", b"text/html,application/xhtml+xml", b"study=mine&large=1", ["mine"]),
    ("GET", b"text/html", b"", [""]),
    ("GET", b"*/*", b"study=mine", []),             # a program or picture of a page
    ("HEAD", b"text/html", b"study=mine", []),
])
def test_the_study_of_a_page_is_opened_while_the_browser_loads_its_programs(monkeypatch, method, accept, query, opened):
    begun, passed, done = [], [], threading.Event()

    def open_study(name: str) -> None:
        begun.append(name)
        done.set()

    async def app(scope, receive, send):
        passed.append(scope)

    monkeypatch.setattr(warm, "open_study", open_study)
    asked = {"type": "http", "method": method, "headers": [(b"accept", accept)], "query_string": query}
    asyncio.run(ahead.OpenAhead(app)(asked, None, None))
    assert not opened or done.wait(30)
    for thread in threading.enumerate():
        if thread.name == "ahead":
            thread.join(30)
    assert begun == opened
    assert passed == [asked]


def test_a_study_that_is_opened_ahead_is_the_one_that_its_page_finds(small, monkeypatch):
    warm.open_study(small)
    read, made = (MagicMock(side_effect=AssertionError) for _ in range(2))
    monkeypatch.setattr("reliability.ui.opened.open_study", read)
    monkeypatch.setattr("reliability.ui.scenario_results.compute", made)
    shown = named(small)
    assert stated_results(shown.rated, shown.fingerprint).names[0] == "As built"
