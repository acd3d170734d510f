"""The import of tables that are a study's own: headers matched, problems corrected in place, saved as a study."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from reliability.formats import count
from reliability.schema.columns import COLUMN_TABLES
from reliability.study import StudyError, text_tables, workspace
from reliability.study.files import COMPANIONS
from reliability.study.header_names import exact_name, guess_table, match_names
from reliability.study.routes import ROUTES_FILE as ROUTES_FILE
from reliability.study.save import ChangedElsewhere, save, try_change
from reliability.study.uploaded_study import (
    NETWORK_TABLES,
    has_phase_letters,
    missing_columns,
    replaced_tables,
    study_files,
    unmatched_outages,
)
from reliability.ui import figure, import_draft, opened, state
from reliability.ui.import_blank import open_new
from reliability.ui.import_draft import Draft
from reliability.ui.import_kinds import KIND_NAMES, OWN_NAMES, own_kind
from reliability.ui.opened import Opened
from reliability.ui.problem_table import problem_frame
from reliability.ui.text import bare, plain

NEW = "a new study"
IGNORED = "– ignore –"
TABLE_FILES = (".csv", ".xlsx")
EXPORT = "export"               # what leads from a study's own tables to kinds of exports
FILE_NAMES = {**OWN_NAMES, **{k: KIND_NAMES[k] for k in COLUMN_TABLES if k in KIND_NAMES},
              EXPORT: "an export: segments, devices, customers, sources"}


def own_tables(shown: Opened, draft: Draft) -> None:
    """Match the headers of a study's own tables, list what is wrong, and save."""
    st.caption("These files are tables of a study: a row a line section, or records of one.")
    tables, maps, settings, reasons = _matched(draft)
    _check_and_save(shown, draft, tables, maps, settings, reasons)


def _matched(draft: Draft) -> tuple[dict[str, tuple[str, bytes]], dict[str, dict[str, str]], bytes | None, list[str]]:
    """What each file is, which of its headers is what, the settings, and what keeps them from being saved."""
    tables: dict[str, tuple[str, bytes]] = {}
    maps: dict[str, dict[str, str]] = {}
    reasons: list[str] = []
    decided = draft.own
    other = [n for n in draft.tables if n not in COMPANIONS]
    lost = [n for n in other if not n.casefold().endswith(TABLE_FILES)]
    if lost:
        st.error(f"Not read: {', '.join(map(plain, lost))}. Routes of the sections are called {ROUTES_FILE}.")
    for name in (n for n in other if n not in lost):
        content = draft.path(name).read_bytes()
        try:
            rows = text_tables.rows_frame(name, content)
        except StudyError as error:
            st.error(plain(error.lines()[0], 300))
            reasons.append(f"{name} cannot be read")
            continue
        with st.container(border=True):
            table, chosen = _match_one(draft, name, rows, decided)
        if table in tables:
            reasons.append(f"{tables[table][0]} and {name} are both taken for {table}; choose another for one")
        tables[table], maps[table] = (name, content), chosen
    if decided != draft.own:
        draft.decide(own=decided)
    settings = draft.path("study.toml").read_bytes() if "study.toml" in draft.files else None
    return tables, maps, settings, reasons


def _beside(draft: Draft) -> dict[str, bytes]:
    """Files that go with a study as they are."""
    return {name: draft.path(name).read_bytes() for name in COMPANIONS if name in draft.files}


def _match_one(draft: Draft, name: str, rows: pd.DataFrame, decided: dict[str, Any]) -> tuple[str, dict[str, str]]:
    headers = [h for h in rows.columns if h]
    before = decided.get(name, {})
    kinds = [*COLUMN_TABLES, EXPORT]
    first: str = before.get("table") or own_kind(draft, name) or guess_table(name, headers)
    left, right = st.columns([2, 3], vertical_alignment="bottom")
    left.markdown(f"**{plain(name)}**, {count(len(rows), 'row')}")
    table = right.selectbox("This is", kinds, index=kinds.index(first), format_func=FILE_NAMES.__getitem__,
                            key=f"is_{name}")
    if table == EXPORT:
        draft.decide(own={n: {"table": ""} for n in draft.tables})
        st.rerun()
    chosen = before.get("map") if before.get("table") == table else None
    suggested = match_names(headers, COLUMN_TABLES[table])
    chosen = {h: (chosen or {}).get(h, suggested.get(h, "")) for h in headers}
    known = [c.name for c in COLUMN_TABLES[table]]
    foreign = [h for h in headers if exact_name(h) != chosen[h]]
    missing = missing_columns(table, chosen)
    summary = (f"Headers: {len(headers) - len(foreign)} recognized, {count(len(foreign), 'other')} matched or "
               "ignored")
    if missing:
        summary += f"; required, missing: {', '.join(missing)}"
    with st.expander(summary, expanded=bool(foreign or missing)):
        for start in range(0, len(foreign), 3):
            for header, place in zip(foreign[start:start + 3], st.columns(3), strict=False):
                sample = next((v for v in rows[header] if v), "")
                options = ["", *known]
                chosen[header] = place.selectbox(
                    f"{bare(header, 30)} (as {bare(sample, 18)})" if sample else bare(header, 30), options,
                    index=options.index(chosen[header]), format_func=lambda o: o or IGNORED,
                    key=f"map_{name}_{table}_{header}")
    phases = next((h for h, column in chosen.items() if column == "phases"), None)
    if phases and has_phase_letters(rows[phases].str.strip()):
        st.caption(f"{plain(phases)}: the letters are counted, ABC is 3 phases.")
    decided[name] = {"table": table, "map": chosen}
    return table, chosen


def _check_and_save(shown: Opened, draft: Draft, tables: dict[str, tuple[str, bytes]],
                    maps: dict[str, dict[str, str]], settings: bytes | None, reasons: list[str]) -> None:
    places = st.columns([2, 2, 3], vertical_alignment="bottom")
    target = places[0].selectbox("Save into", [NEW, shown.name], key=f"target_{draft.token}")
    title = places[1].text_input("Name of the new study", "My study", key="new_name", max_chars=80,
                                 disabled=target != NEW)
    if target == NEW and not set(tables) & set(NETWORK_TABLES):
        reasons = [*reasons, "no table holds the network, which a new study needs; to add records to a study that is "
                             "there, choose it under Save into"]
    files, remove = _change(shown, target, tables, maps, settings, title)
    beside = _beside(draft)
    if beside:
        st.caption(f"Taken along as {'it is' if len(beside) == 1 else 'they are'}: {', '.join(beside)}.")
        files = files | beside
    if not reasons:
        reasons = _checked(shown, draft, target, tables, files, remove)
    for reason in reasons:
        st.error(f"Not to be saved yet: {plain(reason, 300)}.")
    if places[2].button("Save and open", type="primary", key="save_import", icon=":material/save:",
                        disabled=bool(reasons)):
        _save(shown, draft, target, title, files, remove)


def _change(shown: Opened, target: str, tables: dict[str, tuple[str, bytes]], maps: dict[str, dict[str, str]],
            settings: bytes | None, title: str) -> tuple[dict[str, bytes], list[str]]:
    """Files to be written, and those that they replace."""
    base = settings
    if target != NEW and settings is None:
        base = (shown.folder / "study.toml").read_bytes()
    files = study_files(tables, maps, base, title)
    remove = [] if target == NEW else [f"{t}.{k}" for t in replaced_tables(tables) for k in ("csv", "xlsx")
                                       if f"{t}.{k}" not in files and (shown.folder / f"{t}.{k}").exists()]
    return files, remove


def _checked(shown: Opened, draft: Draft, target: str, tables: dict[str, tuple[str, bytes]], files: dict[str, bytes],
             remove: list[str]) -> list[str]:
    """Show what the study would be, or what is wrong with it; returns why it cannot be saved."""
    try:
        study = try_change(workspace.root() / ".none" if target == NEW else shown.folder, files, remove)
    except StudyError as error:
        _problems(draft, tables, error)
        return [f"{count(error.count, 'problem')} in the files"]
    matched = unmatched_outages(study)
    if matched:
        return [matched]
    st.success(f"No problem found: {count(len(study.sections), 'section')}, "
               f"{count(int(study.sections['customers'].sum()), 'customer')}"
               + (f", {count(len(study.outages), 'outage record')}" if study.outages is not None else "") + ".")
    for note in study.notes:
        st.caption(plain(note, 300))
    return []


def _save(shown: Opened, draft: Draft, target: str, title: str, files: dict[str, bytes], remove: list[str]) -> None:
    if target == NEW:
        import_draft.forget(draft)
        open_new(title, files, "Saved as a new study.")
        return
    try:
        mark = save(shown.folder, files, remove, seen=shown.fingerprint)
    except ChangedElsewhere:
        st.error("Not saved: the study was changed in another tab or program in the meantime. Look at its new state "
                 "first.")
        return
    except OSError as error:
        st.error(f"Not saved: {plain(error.strerror or error, 200)}.")
        return
    opened.mine(shown.name, mark)
    import_draft.forget(draft)
    st.session_state[opened.NOTICE] = "Saved into the study; the previous version is stored."
    state.go("reliability/ui/study_page.py")


def _problems(draft: Draft, tables: dict[str, tuple[str, bytes]], error: StudyError) -> None:
    """What stands in the way, beside the cells that it concerns, which can be corrected here."""
    st.markdown(f"**{count(error.count, 'problem')} before this can be saved.** Nothing has been changed.")
    brought = {f"{table}{Path(name).suffix.casefold()}": name for table, (name, _) in tables.items()}
    figure.table(problem_frame(error.problems).replace({"file": brought}), "Problems", "brought_problems",
                 height=min(380, 76 + 35 * len(error.problems)))
    for table, (name, content) in tables.items():
        rows = sorted({p.row for p in error.problems if p.row and p.row > 1 and p.file.rpartition(".")[0] == table})
        if not rows:
            continue
        whole = text_tables.rows_frame(name, content)
        rows = [r for r in rows if r in whole.index]
        with st.form(f"correct_{table}_{draft.token}", border=True):
            st.markdown(f"**Correct {count(len(rows), 'row')} of {plain(name)}**, or correct the file and bring it "
                        "again.")
            part = whole.loc[rows].copy()
            part.insert(0, "problem", ["; ".join(f"{p.column}: {p.rule}" for p in error.problems
                                                 if p.row == r and p.file.rpartition(".")[0] == table) for r in rows])
            edited = st.data_editor(part, key=f"rows_{table}_{draft.token}_{len(content)}_{error.count}",
                                    disabled=["problem"],
                                    alt=f"Rows of {name} with problems, to be corrected",
                                    column_config={"problem": st.column_config.TextColumn(width="large")})
            if st.form_submit_button("Apply the corrections", type="primary"):
                whole.loc[rows] = edited.drop(columns="problem").fillna("").astype(str)
                import_draft.replace_table(draft, name, text_tables.frame_bytes(whole))
                st.rerun()


