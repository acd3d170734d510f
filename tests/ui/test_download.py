"""Files made when they are asked for stay until the browser has them."""

from __future__ import annotations

from functools import partial

import pytest
from streamlit import runtime
from streamlit.runtime.media_file_manager import MediaFileManager
from streamlit.runtime.memory_media_file_storage import MemoryMediaFileStorage

from reliability.ui import download


@pytest.fixture
def files(monkeypatch):
    class Running:
        media_file_mgr = MediaFileManager(MemoryMediaFileStorage("/media"))

    monkeypatch.setattr(runtime, "exists", lambda: True)
    monkeypatch.setattr(runtime, "get_instance", Running)
    return Running.media_file_mgr


def asked(files: MediaFileManager, content: bytes) -> str:
    """Name of the file made of one press."""
    make = partial(download.made, lambda: content, "table.csv", "text/csv")
    press = files.add_deferred(make, "text/csv", "1.2", file_name="table.csv")
    return files.execute_deferred(press).rpartition("/")[2]


def test_a_file_stays_though_pages_run_to_their_end_meanwhile(files):
    name = asked(files, b"a,b")
    for _ in range(5):
        files.clear_session_refs("a tab")
        files.remove_orphaned_files()
    assert files.read_file(name).content == b"a,b"


def test_only_the_latest_files_stay(files):
    names = [asked(files, b"%d" % i) for i in range(download.HELD + 1)]
    for _ in range(2):
        files.remove_orphaned_files()
    assert files.read_file(names[0]) is None
    assert files.read_file(names[1]).content == b"1"
