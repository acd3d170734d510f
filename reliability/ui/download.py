"""Downloads that are made when they are asked for, and stay until the browser has them.

The framework drops a file that no page refers to as soon as pages have run to their end twice, and one made on request
is referred to by none: while a page asks every moment whether a computation is done, a download on its way was lost.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import partial
from itertools import count
from typing import Any

import streamlit as st
from streamlit import runtime

HELD = 8            # files that stay, the latest of all tabs
_turns = count()
# files that stay belong to no tab, which the framework would warn of at every download
logging.getLogger("streamlit.runtime.scriptrunner_utils.script_run_context").setLevel(logging.ERROR)


def button(label: str, make: Callable[[], bytes], file_name: str, mime: str, **options: Any) -> None:
    """A button that downloads what `make` gives; options: those of the framework's button."""
    st.download_button(label, data=partial(made, make, file_name, mime), file_name=file_name, mime=mime,
                       on_click="ignore", **options)


def made(make: Callable[[], bytes], file_name: str, mime: str) -> bytes:
    """What `make` gives, which stays to be fetched."""
    content = make()
    if runtime.exists():
        runtime.get_instance().media_file_mgr.add(content, mime, f"download {next(_turns) % HELD}", file_name,
                                                  is_for_static_download=True)
    return content
