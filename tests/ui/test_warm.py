"""What the server loads beside its start, and the pages that come sooner."""

from __future__ import annotations

import gc
import threading

import pytest

from reliability.ui import warm


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
    for name, value in {"NEEDED": ("slow",), "LATER": (), "READING_SECONDS": 0.0, "_demo": lambda: None,
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
