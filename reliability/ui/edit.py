"""Editing a study in tables: every change is checked and saved at once, previous versions stored."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial

import pandas as pd
import streamlit as st

from reliability.formats import count
from reliability.schema.columns import COLUMN_TABLES
from reliability.schema.devices import LATERAL_DEVICES
from reliability.study import StudyError, text_tables, toml_edit
from reliability.study.changes import apply_change, drafts
from reliability.study.ranges import LEARNED
from reliability.study.save import (
    SETTINGS_FILE,
    ChangedElsewhere,
    fingerprint,
    input_files,
    strange_versions,
    versions,
)
from reliability.ui import long_cells, own_work
from reliability.ui.figure import csv_button
from reliability.ui.opened import Opened
from reliability.ui.problem_table import problem_frame
from reliability.ui.text import plain

OUTCOMES_KEY = "edit_outcomes"
WANTED = "assumption_wanted"        # key of the assumption that somebody came for; it and its group stand first
CHANGES_SHOWN, DRAFTS_SHOWN = 3, 5
EDITOR_PX = 380                     # so that what a change would leave is in sight below
MARK = ":material/error:"           # as high as the sentence that stands there before
DRAFTS = "drafts"                   # where on the page the outcome of taking one up is shown
SCENARIO_HEADS = {"name": "Name", "laterals": "Laterals", "fast_operations": "Fast operations"}


def tables(shown: Opened) -> None:
    """Edit the tables that the study has: the network, its settings and curves, and the outage records."""
    stated = [t for t in COLUMN_TABLES if text_tables.table_file(shown.folder, t)]
    table = st.segmented_control("Table", stated, default=stated[0], key="edit_table", required=True)
    _table(shown, table)


def _table(shown: Opened, table: str) -> None:
    file = text_tables.table_file(shown.folder, table)
    if file is None:
        return
    original = st.session_state.setdefault("edited_originals", {})      # as it was when the editor's rows were read
    known = {c.name: f"{c.help} {f'({c.unit})' if c.unit else ''}" for c in COLUMN_TABLES[table]}

    def read() -> pd.DataFrame:
        frame = text_tables.rows_frame(file, (shown.folder / file).read_bytes())
        # an index that rows can be added to
        frame = original[shown.name, file] = frame.set_axis(pd.RangeIndex(2, len(frame) + 2, name="row"))
        return long_cells.shortened(frame, table)

    def draw(base: pd.DataFrame, key: str) -> pd.DataFrame:
        columns = {name: st.column_config.TextColumn(help=known.get(name), pinned=k == 0 or None)
                   for k, name in enumerate(base.columns)}
        return st.data_editor(base, key=key, num_rows="dynamic", column_config=columns, height=EDITOR_PX,
                              alt=f"The rows of {file}, to be edited")

    def change(edited: pd.DataFrame) -> tuple[dict[str, bytes], list[str]]:
        whole = long_cells.whole(edited, original[shown.name, file], table)
        return {f"{table}.csv": text_tables.frame_bytes(whole)}, [file] if file != f"{table}.csv" else []

    st.caption("Long numbers are shown with three significant digits; a cell that is not edited keeps all of its own.")
    try:
        _editor(shown, file, read, draw, change)
    except StudyError as error:
        st.error(plain(error.lines()[0], 400))


def assumptions(shown: Opened) -> None:
    """Edit study.toml's assumptions; low and high make one uncertain."""
    st.caption("Blank: the default stands. Low and high beside a value make it uncertain (PERT), which the simulation "
               "draws once a trial; where both are blank it draws over the default range, if there is one. Low and "
               "high equal to the value: known exactly. The row “Default ranges” with false: none of them holds.")

    def draw(base: pd.DataFrame, key: str) -> pd.DataFrame:
        fixed = [c for c in base.columns if c not in (toml_edit.LOW, toml_edit.VALUE, toml_edit.HIGH)]
        return st.data_editor(base, key=key, disabled=fixed, height=EDITOR_PX, hide_index=True,
                              alt="The assumptions of the study, to be edited")

    text = _settings_text(shown)
    before = toml_edit.assumptions_frame(toml_edit.parse_settings(text.encode()))
    wanted = str(st.session_state.get(WANTED, "")).partition(".")[0]
    if wanted in before.index:
        st.markdown(f":material/arrow_downward: **{plain(before.loc[wanted, 'assumption'])}** is the first row.")
        group = before.index[before["group"] == before.loc[wanted, "group"]].drop(wanted)
        before = before.loc[[wanted, *group, *before.index.drop([wanted, *group])]]
    if shown.stated.values["rates"] == LEARNED:
        st.caption("Fault rates and temporary fractions are learned from the records (“Source of fault rates”): what "
                   "stands here of them is where learning begins, and hardly moves a result. The page Outage history "
                   "has what was learned.")
    _editor(shown, SETTINGS_FILE, lambda: before, draw,
            lambda edited: ({SETTINGS_FILE: toml_edit.with_assumptions(text, before, edited).encode()}, []))


def scenarios(shown: Opened) -> None:
    """Edit the scenarios; "As built" is always there and not in the table."""
    st.caption("Laterals: all, section ids separated by semicolons, or a device each, as in “tap-1: sectionalizer, 2 "
               "counts; tap-2: lateral recloser”. Fast operations: a number for every breaker and recloser, or for "
               "single ones, as in “recloser-1: 0; recloser-2: 1”. As built is always the first scenario.")
    columns = {
        **{name: st.column_config.TextColumn(words) for name, words in SCENARIO_HEADS.items()},
        "device": st.column_config.SelectboxColumn("Device", options=["", *LATERAL_DEVICES]),
        "counts": st.column_config.SelectboxColumn("Counts", options=["", "1", "2", "3"]),
        "applicable_only": st.column_config.SelectboxColumn(
            "Only where the checks pass", options=["", "true", "false"],
            help="true: laterals that fail the application checks stay as they are"),
    }
    text = _settings_text(shown)
    _editor(shown, SETTINGS_FILE + " scenarios",
            lambda: toml_edit.scenarios_frame(toml_edit.parse_settings(text.encode())),
            lambda base, key: st.data_editor(base, key=key, num_rows="dynamic", column_config=columns, hide_index=True,
                                             placeholder="", alt="The scenarios of the study, to be edited"),
            lambda edited: ({SETTINGS_FILE: toml_edit.with_scenarios(text, edited).encode()}, []))


def earlier_versions(shown: Opened) -> None:
    """List what the study was before each change, and restore one."""
    _drafts(shown)
    found = versions(shown.folder)
    if strange := strange_versions(shown.folder):
        st.warning(f"Among the earlier versions {'lies' if len(strange) == 1 else 'lie'} what no change has stored: "
                   f"{plain(', '.join(strange), 300)}. It is left as it is.", icon=":material/help:")
    if not found:
        st.info("No change has been made to this study in this workspace yet.")
        return
    later = {f.name: f.read_bytes() for f in input_files(shown.folder)}
    for version in found[:50]:
        files = version.files
        changed = written_since(files, later)
        later |= files
        with st.container(horizontal=True, vertical_alignment="center", border=True):
            st.markdown(f"Before the change of **{version.saved:%Y-%m-%d %H:%M:%S}** UTC: "
                        + ", ".join(map(plain, files)) + (f" ({plain(changed, 200)})" if changed else ""))
            if st.button("Restore", key=f"restore_{version.folder.name}"):
                apply(shown, files, [])
                st.rerun()


def _drafts(shown: Opened) -> None:
    """List what was typed and could not be saved: to be taken up, or thrown away."""
    found = drafts(shown.folder)
    _headline(shown, DRAFTS)
    _problems(shown, DRAFTS)
    if found:
        st.markdown("**Not saved so far**: what was typed and would have left problems, or while somebody else changed "
                    "the study. Taken up, it takes the place of the whole table.")
    for draft in found[:DRAFTS_SHOWN]:
        with st.container(horizontal=True, vertical_alignment="center", border=True):
            st.markdown(f"{plain(draft.file)} of **{draft.when:%Y-%m-%d %H:%M:%S}**")
            if st.button("Take it up", key=f"take_{draft.path.name}"):
                saved = apply(shown, {draft.file: draft.path.read_bytes()}, [], DRAFTS)
                if saved is not None or len(drafts(shown.folder)) > len(found):     # else it is stored again
                    draft.path.unlink(missing_ok=True)
                st.rerun()
            if st.button("Throw it away", key=f"drop_{draft.path.name}"):
                draft.path.unlink(missing_ok=True)
                st.rerun()


def written_since(before: Mapping[str, bytes], after: Mapping[str, bytes]) -> str:
    """What a change wrote into study.toml, the first of it; files are as they were before and after it."""
    if SETTINGS_FILE not in before or SETTINGS_FILE not in after or before[SETTINGS_FILE] == after[SETTINGS_FILE]:
        return ""
    try:
        old, new = (toml_edit.parse_settings(files[SETTINGS_FILE]) for files in (before, after))
    except StudyError:
        return "then written: a study.toml that could not be read before or after"
    written = toml_edit.differences(old, new) or ["other settings"]
    more = f" and {len(written) - CHANGES_SHOWN} more" if len(written) > CHANGES_SHOWN else ""
    return f"then written: {'; '.join(written[:CHANGES_SHOWN])}{more}"


def draft_tables(shown: Opened) -> None:
    """Correct a study with problems where it stands."""
    st.subheader("Correct them here", anchor=False)
    st.caption("Or in your own program: the files are in the workspace, and this page shows their state at once.")
    files = [f.name for f in input_files(shown.folder)]
    choices = [*(f for f in files if f.rpartition(".")[0] in COLUMN_TABLES), SETTINGS_FILE]
    with_problem = next((p.file for p in shown.problems.problems if p.file in choices), choices[0])
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


def _editor(shown: Opened, table: str, read: Callable[[], pd.DataFrame],
            draw: Callable[[pd.DataFrame, str], pd.DataFrame],
            change: Callable[[pd.DataFrame], tuple[dict[str, bytes], list[str]]]) -> None:
    """A table on a base that stays the same while this tab edits it; each new content is handled once.

    Where somebody else changed the study, what stands here and was not handled yet becomes a draft, and a new base is
    read.
    """
    store = st.session_state.setdefault("editors", {})
    state = store.get((shown.name, table))
    if state is None or state["key"] not in st.session_state:
        number = (state or {}).get("number", 0) + 1
        state = {"base": read(), "key": f"editor_{shown.name}_{table}_{number}", "number": number,
                 "fingerprint": shown.fingerprint, "digest": None}
        store[shown.name, table] = state
    elsewhere = own_work.elsewhere(state["fingerprint"], shown.fingerprint, table)
    headline = st.empty()          # above the table, in sight of whoever types
    edited = draw(state["base"], state["key"])
    digest = hashlib.sha256(text_tables.frame_bytes(edited.reset_index())).hexdigest()
    new = digest != state["digest"] and not (state["digest"] is None and edited.equals(state["base"]))
    if new:
        files, remove = change(edited)
        saved = apply(shown, files, remove, table, state["fingerprint"] if elsewhere else "")
        state["digest"], state["fingerprint"] = digest, saved or state["fingerprint"]
    if elsewhere:
        _forget(shown, table)
        del st.session_state[state["key"]]
        st.rerun()
    if new and state["fingerprint"] != shown.fingerprint:
        st.rerun()
    with headline:
        if not _headline(shown, table):
            st.info("Every change is checked and saved at once.", icon=":material/save:")
    _problems(shown, table)


def apply(shown: Opened, files: dict[str, bytes], remove: list[str], table: str = "", made_of: str = "") -> str | None:
    """Check a change and save it; one that would break a sound study is stored as a draft, with its problems listed.

    table: where on the page the outcome is shown. made_of: the state that was changed, where it is not the one shown.
    Returns the new fingerprint, or None where nothing was saved.
    """
    sound = shown.study is not None
    return own_work.one_at_a_time(
        shown.name, made_of or shown.fingerprint, table, partial(_mark, shown),
        lambda mark: apply_change(shown.folder, files, remove, mark, sound),
        st.session_state.setdefault(OUTCOMES_KEY, {}), (shown.name, table), datetime.now).fingerprint


def _mark(shown: Opened) -> str:
    """The state of the study on the disk; "" where it is being changed, which the change itself finds out."""
    try:
        return fingerprint(shown.folder)
    except (ChangedElsewhere, StudyError, OSError):
        return ""


def unsaved(shown: Opened) -> bool:
    """Whether this tab holds a change of the study that could not be saved."""
    return any(name == shown.name and outcome.fingerprint is None
               for (name, _), (outcome, _) in st.session_state.get(OUTCOMES_KEY, {}).items())


def _forget(shown: Opened, table: str) -> None:
    """Take back what is said of an earlier state of a table, but that a change of it has become a draft."""
    outcomes = st.session_state.get(OUTCOMES_KEY, {})
    outcome, _ = outcomes.get((shown.name, table), (None, None))
    if outcome is not None and not outcome.elsewhere:
        del outcomes[shown.name, table]


def _headline(shown: Opened, table: str) -> bool:
    """What became of the last change, in a sentence; whether there was one."""
    outcome, when = st.session_state.get(OUTCOMES_KEY, {}).get((shown.name, table), (None, None))
    if outcome is None:
        return False
    if outcome.problems:
        st.error(f"Not saved: the change would leave {count(outcome.problems.count, 'problem')}, listed below. It is a "
                 "draft; correct the cells and it is saved.", icon=MARK)
    elif outcome.elsewhere:
        st.error("Not saved: the study was changed in another tab or program in the meantime. Your edits are stored as "
                 "a draft, under Earlier versions; what stands here is the new state, to repeat them in.", icon=MARK)
    elif outcome.disk:
        st.error(f"Not saved: {plain(outcome.disk.strerror or outcome.disk, 200)}.", icon=MARK)
    else:
        st.success(f"Saved at {when:%H:%M:%S}; the previous version is stored.", icon=":material/check:")
    return True


def _problems(shown: Opened, table: str) -> None:
    """What the last change would have left, in a table."""
    outcome, _ = st.session_state.get(OUTCOMES_KEY, {}).get((shown.name, table), (None, None))
    if outcome is None or not outcome.problems:
        return
    frame = problem_frame(outcome.problems.problems)
    st.dataframe(frame, hide_index=True, alt="Problems of the change")
    csv_button("Problems", lambda: frame, f"edit_problems_{table.split('.')[0]}")
    st.caption("It may also be taken up later, under Earlier versions.")
