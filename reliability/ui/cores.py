"""More than one processor for a result of a large network: threads, as a copy of a server's process would stand still
at what its other threads hold. What takes long there are array operations, which run beside each other."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import streamlit as st

from reliability.tasks import HERE, Workers

SMALL_NETWORK = 3000            # sections; parts of a smaller network take less time than threads lose by their turns
AT_MOST = 4             # threads: more would wait for each other


@st.cache_resource(show_spinner=False)
def _threads() -> Workers:
    many = min(os.cpu_count() or 1, AT_MOST)
    return Workers(ThreadPoolExecutor(many, thread_name_prefix="parts"), many) if many > 1 else HERE


def workers(sections: int) -> Workers:
    """Who does parts of the work on a network of so many sections."""
    return _threads() if sections > SMALL_NETWORK else HERE
