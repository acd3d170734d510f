"""Page: a study out of one's own files, or a blank one to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from reliability.formats import count
from reliability.schema.columns import TABLES
from reliability.schema.problems import GEOMETRY
from reliability.study import StudyError, text_tables, toml_edit, uploads, workspace
from reliability.study.files import COMPANIONS
from reliability.study.header_names import exact_name, guess_table, match_names
from reliability.study.routes import FILE as ROUTES_FILE
from reliability.study.save import ChangedElsewhere, create, save, try_change
from reliability.study.template import SECTIONS, settings_text
from reliability.study.uploaded_study import has_phase_letters, missing_columns, replaced_tables, study_files
from reliability.ui import figure, frame, opened
from reliability.ui.opened import Opened
from reliability.ui.problem_table import problem_frame
from reliability.ui.text import plain

DRAFT = "draft"
NEW = "a new study"
IGNORE = "– ignore –"
KIND_NAMES = {"sections": "the network, a row a line section", "outages": "outage records",
              "feeders": "feeders (flat form)", "laterals": "laterals (flat form)",
              "settings": "overcurrent settings of reclosing devices", "curves": "time-current curves by points",
              "operations": "counter readings and momentary events of reclosing devices"}
# An invented start for the flat form.
FEEDERS_CSV = "feeder_id,customers,main_length_km,operations_to_lockout,fast_operations\nfeeder-1,320,9.5,4,2\n"
LATERALS_CSV = ("lateral_id,feeder_id,customers,length_km,phases,fuse_link,peak_load_a\n"
                "tap-01,feeder-1,64,1.9,1,65K,24\ntap-02,feeder-1,41,2.6,1,40K,15\ntap-03,feeder-1,58,4.3,2,40K,11\n")


def show() -> None:
    """Draw the page."""
    shown = frame.begin("Import")
    mine, blank = st.tabs(["Your files", "Start from a blank study"], key="bring_tab", on_change="rerun")
    if mine.open:
        with mine:
            _upload(shown)
    if blank.open:
        with blank:
            _blank()


def _blank() -> None:
    title = st.text_input("Name of the study", "My study", key="blank_name", max_chars=80)
    kind = st.radio("Network in", ("sections", "flat"), key="blank_kind", format_func={
        "sections": "one table: a row a line section, each naming the one before it",
        "flat": "two tables: feeders, and laterals that name their feeder"}.get)
    if st.button("Make it", type="primary", key="blank_make"):
        files = {"sections.csv": SECTIONS.encode()} if kind == "sections" else {
            "feeders.csv": FEEDERS_CSV.encode(), "laterals.csv": LATERALS_CSV.encode()}
        files = study_files({}, {}, settings_text().encode(), title) | files
        _open_new(title, files, "A small invented network to write over: see Sections and Assumptions below.")


def _open_new(title: str, files: dict[str, bytes], notice: str) -> None:
    files = {**files, "study.toml": toml_edit.set_name(files["study.toml"].decode(), title).encode()}
    name = workspace.free_name(title)
    create(workspace.root() / name, files)
    opened.choose(name)
    st.session_state[opened.NOTICE] = notice
    st.switch_page("reliability/ui/study_page.py")


def _upload(shown: Opened) -> None:
    brought = st.file_uploader("CSV or XLSX: the network, and outage records if there are any", key="upload",
                               type=["csv", "xlsx", "toml", "geojson"], accept_multiple_files=True)
    if brought:
        new = uploads.put({f.name: f.getvalue() for f in brought})
        if st.session_state.get("upload_seen") != new:
            st.session_state["upload_seen"] = st.session_state[DRAFT] = new
    token = st.session_state.get(DRAFT) or st.query_params.get(DRAFT)
    files = uploads.get(token) if token else None
    if not token or not files:
        st.markdown("Headers may be your own: they are matched in the next step. Nothing is changed before you save.")
        _templates()
        return
    st.session_state[DRAFT] = token
    st.query_params[DRAFT] = token
    plan = uploads.get_plan(token)
    beside = {name: content for name, content in files.items() if name in COMPANIONS}
    if beside:
        st.caption(f"Taken along as {'it is' if len(beside) == 1 else 'they are'}: {', '.join(beside)}.")
    other = [name for name in files if name.casefold().endswith(GEOMETRY) and name not in beside]
    if other:
        st.error(f"Not read: {', '.join(map(plain, other))}. Routes of the sections are called {ROUTES_FILE}.")
    tables, maps, settings = _matched(token, {n: c for n, c in files.items() if n not in (*beside, *other)}, plan)
    _check_and_save(shown, token, tables, maps, settings, beside)


def _templates() -> None:
    with st.expander("Columns that can be read, with their units", expanded=True):
        table = st.segmented_control("Table", list(TABLES), default="sections", key="columns_of", required=True)
        rows = [{"column": c.name, "required": "yes" if c.required else "", "unit": c.unit, "meaning": c.help}
                for c in TABLES[table]]
        figure.table(pd.DataFrame(rows), f"Columns of {table}", "columns", height=380,
                     column_config={"meaning": st.column_config.TextColumn(width="large")})


def _matched(token: str, files: dict[str, bytes], plan: dict[str, Any]) -> tuple[
        dict[str, tuple[str, bytes]], dict[str, dict[str, str]], bytes | None]:
    """What each file is and which of its headers is what, as decided or suggested."""
    tables: dict[str, tuple[str, bytes]] = {}
    maps: dict[str, dict[str, str]] = {}
    settings = None
    decided = dict(plan)
    for name, content in files.items():
        if name.casefold().endswith(".toml"):
            settings = content
            continue
        try:
            rows = text_tables.rows_frame(name, content)
        except StudyError as error:
            st.error(plain(error.lines()[0], 300))
            continue
        with st.container(border=True):
            table, chosen = _match_one(name, rows, decided)
        if table in tables:
            st.error(f"{plain(tables[table][0])} and {plain(name)} are both taken for {table}; choose another for one.")
        tables[table], maps[table] = (name, content), chosen
    if decided != plan:
        uploads.put_plan(token, decided)
    return tables, maps, settings


def _match_one(name: str, rows: pd.DataFrame, decided: dict[str, Any]) -> tuple[str, dict[str, str]]:
    headers = [h for h in rows.columns if h]
    before = decided.get(name, {})
    kinds = list(TABLES)
    first: str = before.get("table") or guess_table(name, headers)
    left, right = st.columns([2, 3], vertical_alignment="bottom")
    left.markdown(f"**{plain(name)}**, {count(len(rows), 'row')}")
    table = right.selectbox("This is", kinds, index=kinds.index(first), format_func=KIND_NAMES.__getitem__,
                            key=f"is_{name}")
    chosen = before.get("map") if before.get("table") == table else None
    suggested = match_names(headers, TABLES[table])
    chosen = {h: (chosen or {}).get(h, suggested.get(h, "")) for h in headers}
    known = [c.name for c in TABLES[table]]
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
                    f"{plain(header, 30)} (as {plain(sample, 18)})" if sample else plain(header, 30), options,
                    index=options.index(chosen[header]), format_func=lambda o: o or IGNORE,
                    key=f"map_{name}_{table}_{header}")
    phases = next((h for h, column in chosen.items() if column == "phases"), None)
    if phases and has_phase_letters(rows[phases].str.strip()):
        st.caption(f"{plain(phases)}: the letters are counted, ABC is 3 phases.")
    decided[name] = {"table": table, "map": chosen}
    return table, chosen


def _check_and_save(shown: Opened, token: str, tables: dict[str, tuple[str, bytes]],
                    maps: dict[str, dict[str, str]], settings: bytes | None, beside: dict[str, bytes]) -> None:
    places = st.columns([2, 2, 3], vertical_alignment="bottom")
    into_new = "sections" in tables or "feeders" in tables
    targets = [NEW, shown.name] if into_new else [shown.name, NEW]
    target = places[0].selectbox("Save into", targets, key=f"target_{token}")
    title = places[1].text_input("Name of the new study", "My study", key="new_name", max_chars=80,
                                 disabled=target != NEW)
    base = settings
    if target != NEW and settings is None:
        base = (shown.folder / "study.toml").read_bytes()
    try:
        files = study_files(tables, maps, base, title) | beside
        remove = [] if target == NEW else [f"{t}.{k}" for t in replaced_tables(tables) for k in ("csv", "xlsx")
                                           if f"{t}.{k}" not in files and (shown.folder / f"{t}.{k}").exists()]
        study = try_change(workspace.root() / ".none" if target == NEW else shown.folder, files, remove)
    except StudyError as error:
        _problems(token, tables, error)
        return
    st.success(f"No problem found: {count(len(study.sections), 'section')}, "
               f"{count(int(study.sections['customers'].sum()), 'customer')}"
               + (f", {count(len(study.outages), 'outage record')}" if study.outages is not None else "") + ".")
    for note in study.notes:
        st.caption(plain(note, 300))
    if places[2].button("Save and open", type="primary", key="save_brought", icon=":material/save:"):
        _save(shown, token, target, title, files, remove)


def _save(shown: Opened, token: str, target: str, title: str, files: dict[str, bytes], remove: list[str]) -> None:
    if target == NEW:
        uploads.drop(token)
        _forget()
        _open_new(title, files, "Saved as a new study.")
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
    uploads.drop(token)
    _forget()
    st.session_state[opened.NOTICE] = "Saved into the study; the previous version is stored."
    st.switch_page("reliability/ui/study_page.py")


def _forget() -> None:
    st.session_state.pop(DRAFT, None)
    if DRAFT in st.query_params:
        del st.query_params[DRAFT]


def _problems(token: str, tables: dict[str, tuple[str, bytes]], error: StudyError) -> None:
    """What stands in the way, beside the cells that it concerns, which can be corrected here."""
    st.error(f"{count(error.count, 'problem')} before this can be saved. Nothing has been changed.")
    brought = {f"{table}{Path(name).suffix.casefold()}": name for table, (name, _) in tables.items()}
    figure.table(problem_frame(error.problems).replace({"file": brought}), "Problems", "brought_problems",
                 height=min(380, 76 + 35 * len(error.problems)))
    for table, (name, content) in tables.items():
        rows = sorted({p.row for p in error.problems if p.row and p.row > 1 and p.file.rpartition(".")[0] == table})
        if not rows:
            continue
        whole = text_tables.rows_frame(name, content)
        rows = [r for r in rows if r in whole.index]
        with st.form(f"correct_{table}_{token}", border=True):
            st.markdown(f"**Correct {count(len(rows), 'row')} of {plain(name)}**, or correct the file and bring it "
                        "again.")
            part = whole.loc[rows].copy()
            part.insert(0, "problem", ["; ".join(f"{p.column}: {p.rule}" for p in error.problems
                                                 if p.row == r and p.file.rpartition(".")[0] == table) for r in rows])
            edited = st.data_editor(part, key=f"rows_{table}_{token}_{len(content)}_{error.count}",
                                    disabled=["problem"],
                                    alt=f"Rows of {name} with problems, to be corrected",
                                    column_config={"problem": st.column_config.TextColumn(width="large")})
            if st.form_submit_button("Apply the corrections", type="primary"):
                whole.loc[rows] = edited.drop(columns="problem").fillna("").astype(str)
                uploads.replace(token, name, text_tables.frame_bytes(whole))
                st.rerun()


if __name__ == "__main__":
    show()
