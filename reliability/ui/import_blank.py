"""A blank study to write over, and how any new study is opened."""

from __future__ import annotations

import time
from collections.abc import Mapping
from pathlib import Path

import streamlit as st

from reliability.study import toml_edit, workspace
from reliability.study.save import create
from reliability.study.template import SECTIONS_TEMPLATE, settings_text
from reliability.study.uploaded_study import study_files
from reliability.ui import opened, state

DOUBLE_CLICK_S = 3.0    # within which the same study made again is a second click on the same button
# An invented start for the flat form.
FEEDERS_CSV = "feeder_id,customers,main_length_km,operations_to_lockout,fast_operations\nfeeder-1,320,9.5,4,2\n"
LATERALS_CSV = ("lateral_id,feeder_id,customers,length_km,phases,fuse_link,peak_load_a\n"
                "tap-01,feeder-1,64,1.9,1,65K,24\ntap-02,feeder-1,41,2.6,1,40K,15\ntap-03,feeder-1,58,4.3,2,40K,11\n")


def blank() -> None:
    """Ask for the name and the form of a blank study, and make it."""
    title = st.text_input("Name of the study", "My study", key="blank_name", max_chars=80)
    kind = st.radio("Network in", ("sections", "flat"), key="blank_kind", format_func={
        "sections": "one table: a row a line section, each naming the one before it",
        "flat": "two tables: feeders, and laterals that name their feeder"}.get)
    if st.button("Make it", type="primary", key="blank_make"):
        files = {"sections.csv": SECTIONS_TEMPLATE.encode()} if kind == "sections" else {
            "feeders.csv": FEEDERS_CSV.encode(), "laterals.csv": LATERALS_CSV.encode()}
        files = study_files({}, {}, settings_text().encode(), title) | files
        open_new(title, files, "A small invented network to write over: see Sections and Assumptions below.")


def just_made(folder: Path, files: Mapping[str, bytes]) -> bool:
    """Whether a study folder was made of these files a moment ago."""
    try:
        return (time.time() - folder.stat().st_mtime < DOUBLE_CLICK_S
                and all((folder / name).read_bytes() == content for name, content in files.items()))
    except OSError:
        return False


def open_new(title: str, files: Mapping[str, bytes], notice: str) -> None:
    """Save files as a new study under a name that no other one has, and show it; the one that the first of two quick
    clicks has just made is that study."""
    files = {**files, "study.toml": toml_edit.set_name(files["study.toml"].decode(), title).encode()}
    name = workspace.folder_name(title) or "study"
    if not just_made(workspace.root() / name, files):
        name = workspace.free_name(title)
        create(workspace.root() / name, files)
    opened.choose(name)
    st.session_state[opened.NOTICE] = notice
    state.go("reliability/ui/study_page.py")
