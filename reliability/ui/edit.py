"""Editing a study in tables: every change is checked and saved at once, the versions before it kept."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime

import pandas as pd
import streamlit as st

from reliability.schema.columns import TABLES
from reliability.schema.devices import LATERAL_DEVICES
from reliability.study import StudyError, text_tables, toml_edit
from reliability.study.save import (
    KEPT,
    SETTINGS_FILE,
    ChangedElsewhere,
    input_files,
    save,
    try_change,
    versions,
    write_kept,
)
from reliability.ui import opened
from reliability.ui.figure import csv_button
from reliability.ui.opened import Opened
from reliability.ui.text import count, plain

SAID = "edit_said"


def sections(shown: Opened) -> None:
    """Edit the network's tables, and the outage records."""
    there = [t for t in TABLES if text_tables.table_file(shown.folder, t)]
    table = st.segmented_control("Table", there, default=there[0], key="edit_table", required=True)
    _table(shown, table)


def _table(shown: Opened, table: str) -> None:
    file = text_tables.table_file(shown.folder, table)
    known = {c.name: f"{c.help} {f'({c.unit})' if c.unit else ''}" for c in TABLES[table]}

    def read() -> pd.DataFrame:
        frame = text_tables.rows_frame(file, (shown.folder / file).read_bytes())
        return frame.set_axis(pd.RangeIndex(2, len(frame) + 2, name="row"))    # an index that rows can be added to

    def draw(base: pd.DataFrame, key: str) -> pd.DataFrame:
        columns = {name: st.column_config.TextColumn(help=known.get(name)) for name in base.columns}
        return st.data_editor(base, key=key, num_rows="dynamic", column_config=columns, height=430,
                              alt=f"The rows of {file}, to be edited")

    def change(edited: pd.DataFrame) -> tuple[dict[str, bytes], list[str]]:
        return {f"{table}.csv": text_tables.frame_bytes(edited)}, [file] if file != f"{table}.csv" else []

    try:
        _editor(shown, file, read, draw, change)
    except StudyError as error:
        st.error(plain(error.lines()[0], 400))


def assumptions(shown: Opened) -> None:
    """Edit study.toml's assumptions; low and high make one uncertain."""
    st.caption("Blank: the default stands. Low and high beside a value make it uncertain (PERT), which the simulation "
               "draws once a trial.")

    def draw(base: pd.DataFrame, key: str) -> pd.DataFrame:
        fixed = [c for c in base.columns if c not in (toml_edit.LOW, toml_edit.VALUE, toml_edit.HIGH)]
        return st.data_editor(base, key=key, disabled=fixed, height=460, hide_index=True,
                              alt="The assumptions of the study, to be edited")

    text = _settings_text(shown)
    before = toml_edit.assumptions_frame(toml_edit.parse_settings(text.encode()))
    _editor(shown, SETTINGS_FILE, lambda: before, draw,
            lambda edited: ({SETTINGS_FILE: toml_edit.with_assumptions(text, before, edited).encode()}, []))


def scenarios(shown: Opened) -> None:
    """Edit the scenarios; "As built" is always there and not in the table."""
    st.caption("Laterals: all, or section ids parted by semicolons. Device: " + ", ".join(LATERAL_DEVICES) +
               ". Fast operations are set on every breaker and recloser. As built is always the first scenario.")
    columns = {
        "device": st.column_config.SelectboxColumn(options=["", *LATERAL_DEVICES]),
        "counts": st.column_config.SelectboxColumn(options=["", "1", "2", "3"]),
        "applicable_only": st.column_config.SelectboxColumn(
            options=["", "true", "false"], help="true: laterals that fail the application checks stay as they are"),
    }
    text = _settings_text(shown)
    _editor(shown, SETTINGS_FILE + " scenarios",
            lambda: toml_edit.scenarios_frame(toml_edit.parse_settings(text.encode())),
            lambda base, key: st.data_editor(base, key=key, num_rows="dynamic", column_config=columns, hide_index=True,
                                             alt="The scenarios of the study, to be edited"),
            lambda edited: ({SETTINGS_FILE: toml_edit.with_scenarios(text, edited).encode()}, []))


def earlier_versions(shown: Opened) -> None:
    """List what the study was before each change, and bring one back."""
    found = versions(shown.folder)
    if not found:
        st.info("No change has been made to this study in this workspace yet.")
        return
    for folder in found[:50]:
        files = sorted(f for f in folder.iterdir() if f.is_file())
        when = datetime.strptime(folder.name, "%Y%m%dT%H%M%S.%fZ")
        with st.container(horizontal=True, vertical_alignment="center", border=True):
            st.markdown(f"Before the change of **{when:%Y-%m-%d %H:%M:%S}** UTC: "
                        + ", ".join(plain(f.name) for f in files))
            if st.button("Bring back", key=f"bring_back_{folder.name}"):
                apply(shown, {f.name: f.read_bytes() for f in files}, [])
                st.rerun()


def draft_tables(shown: Opened) -> None:
    """Correct a study with problems where it stands."""
    st.subheader("Correct them here", anchor=False)
    st.caption("Or in your own program: the files are in the workspace, and this page shows their state at once.")
    files = [f.name for f in input_files(shown.folder)]
    there = [f for f in files if f.rpartition(".")[0] in TABLES]
    choices = [*there, SETTINGS_FILE]
    with_problem = next((p.file for p in shown.error.problems if p.file in choices), choices[0])
    file = st.segmented_control("File", choices, default=with_problem, key="draft_file", required=True)
    if file == SETTINGS_FILE:
        _settings_editor(shown)
    else:
        _table(shown, file.rpartition(".")[0])


def _settings_editor(shown: Opened) -> None:
    path = shown.folder / SETTINGS_FILE
    text = path.read_bytes().decode("utf-8", "replace") if path.is_file() else f'name = "{shown.name}"\n'
    with st.form("settings_form"):
        edited = st.text_area(SETTINGS_FILE, text, height=380, key=f"settings_text_{shown.fingerprint[:8]}")
        if st.form_submit_button("Save and check", type="primary"):
            apply(shown, {SETTINGS_FILE: edited.encode()}, [])
            st.rerun()


def _settings_text(shown: Opened) -> str:
    return (shown.folder / SETTINGS_FILE).read_bytes().decode("utf-8-sig")


def _editor(shown: Opened, what: str, read: Callable[[], pd.DataFrame],
            draw: Callable[[pd.DataFrame, str], pd.DataFrame],
            change: Callable[[pd.DataFrame], tuple[dict[str, bytes], list[str]]]) -> None:
    """A table on a base that stays the same while this tab edits it; each new content is handled once."""
    store = st.session_state.setdefault("editors", {})
    state = store.get((shown.name, what))
    if state is None or state["key"] not in st.session_state or state["mark"] != shown.fingerprint:
        serial = (state or {}).get("serial", 0) + 1
        state = {"base": read(), "key": f"editor_{shown.name}_{what}_{serial}", "serial": serial,
                 "mark": shown.fingerprint, "handled": None}
        store[shown.name, what] = state
    edited = draw(state["base"], state["key"])
    if edited.equals(state["base"]) and state["handled"] is None:
        _say(shown, what)
        return
    mark = hashlib.sha256(text_tables.frame_bytes(edited.reset_index())).hexdigest()
    if mark != state["handled"]:
        state["handled"] = mark
        files, remove = change(edited)
        state["mark"] = apply(shown, files, remove, what) or shown.fingerprint
        if state["mark"] != shown.fingerprint:
            st.rerun()
    _say(shown, what)


def apply(shown: Opened, files: dict[str, bytes], remove: list[str], what: str = "") -> str | None:
    """Check a change and save it; one that would break a sound study is kept as a draft, with its problems told.

    Returns the new fingerprint, or None where nothing was saved.
    """
    said = st.session_state.setdefault(SAID, {})
    said.pop((shown.name, what), None)
    try:
        try_change(shown.folder, files, remove)
    except StudyError as error:
        if shown.study is not None:
            for name, content in files.items():
                write_kept(shown.folder, f"draft-{name}", content)
            said[shown.name, what] = ("problems", error)
            return None
    try:
        mark = save(shown.folder, files, remove, seen=shown.fingerprint)
    except ChangedElsewhere:
        for name, content in files.items():
            write_kept(shown.folder, f"draft-{name}", content)
        said[shown.name, what] = ("elsewhere", None)
        return None
    except OSError as error:
        said[shown.name, what] = ("disk", error)
        return None
    opened.mine(shown.name, mark)
    said[shown.name, what] = ("saved", datetime.now())
    return mark


def _say(shown: Opened, what: str) -> None:
    kind, about = st.session_state.get(SAID, {}).get((shown.name, what), (None, None))
    if kind == "saved":
        st.success(f"Saved at {about:%H:%M:%S}; the version before is kept.", icon=":material/check:")
    elif kind == "elsewhere":
        st.error("Not saved: the study was changed in another tab or program in the meantime. Your edits are kept as a "
                 f"draft in {KEPT} of the study's folder; show the new state and repeat them there.")
    elif kind == "disk":
        st.error(f"Not saved: {plain(about.strerror or about, 200)}.")
    elif kind == "problems":
        from reliability.ui.problem_table import problem_frame
        st.error(f"Not saved: the change would leave {count(about.count, 'problem')}. It is kept as a draft; correct "
                 "the cells and it is saved.")
        frame = problem_frame(about.problems)
        st.dataframe(frame, hide_index=True, alt="Problems of the change")
        csv_button("Problems", lambda: frame, f"edit_problems_{what.split('.')[0]}")
