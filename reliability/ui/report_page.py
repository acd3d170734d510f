"""Page: a run for the record, and its downloads."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pandas as pd
import streamlit as st

from reliability.formats import DASH, count
from reliability.indices.definitions import INDICES
from reliability.report import runs
from reliability.report.reporting import day_of
from reliability.report.result_files import FILES, LIST, about
from reliability.report.runs import Run
from reliability.schema.scenarios import PROPOSED
from reliability.study import Study, StudyError, workspace
from reliability.study.save import ChangedElsewhere, create
from reliability.ui import download, edit, figure, frame, into_study, opened, state
from reliability.ui.compare_charts import Indices, bars, bars_alt, bars_data
from reliability.ui.headers import COLUMN_HEADERS, Header, header
from reliability.ui.opened import Opened
from reliability.ui.text import plain, short
from reliability.what_if import Asked

MIME_TYPES = {".html": "text/html", ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
              ".docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
              ".json": "application/json", ".csv": "text/csv"}
DOWNLOAD_ORDER = list(FILES)
UNSAVED = ("This tab holds a change of the study that could not be saved: it is a draft, and no part of a run. The "
           "page Study data says what is missing.")
SIMULATION_FROM, SIMULATION_TO = 0.02, 0.62
# how far a run is when a stage begins
RUN_STAGES = {"outage records": 0.0, "fault rates from records": 0.005, "choice of laterals": 0.01,
              "expected values": 0.015, "simulation": SIMULATION_FROM, "history": SIMULATION_TO,
              "frontier and drivers": 0.66,
              "report and workbook": 0.92}


def show() -> None:
    """Draw the page."""
    shown, study, asked = frame.begin_with_state("Report")
    with st.container(horizontal=True, vertical_alignment="center"):
        whole = st.button("Run the study and record it", type="secondary" if asked else "primary", key="run",
                          icon=":material/play_arrow:", help="The study as its files stand, nothing moved")
        kept = asked and into_study.kept_out(shown.stated, asked.moves)
        moved_one = bool(asked) and st.button(
            "Run what is moved and record it", type="primary", key="run_moved", icon=":material/play_arrow:",
            disabled=bool(kept), help="A copy of the inputs with everything that is moved written in, under a mark of "
            "its own; the study's files stay as they are. What is proposed stays as it is decided at the study's own "
            "inputs.")
        if kept:
            st.markdown(f"What is moved cannot be run by itself: no file can say {plain(kept, 200)}.")
    _face(shown, study)
    if whole or moved_one:
        _run(shown, study, asked if moved_one else Asked())
    found = runs.runs(shown.folder)
    if strange := runs.unreadable(shown.folder):
        st.warning(f"Among the runs on record {'lies' if len(strange) == 1 else 'lie'} what cannot be read as one: "
                   f"{plain(', '.join(strange), 300)}. It is left as it is.", icon=":material/help:")
    if not found:
        st.markdown("No run is on record yet. A run keeps the inputs, the seed, the version and every result, so that "
                    "a figure in a filing can be reproduced years later.")
        return
    names = {r.name: f"{r.made} · {'moved ' if r.changes else ''}inputs {str(r.summary.get('inputs_sha256'))[:8]}"
             for r in found}
    if st.session_state.get("run_shown") not in names:
        st.session_state["run_shown"] = found[0].name
    picked = st.selectbox("Run on record", list(names), format_func=names.__getitem__, key="run_shown", width=420)
    run = next(r for r in found if r.name == picked)
    _downloads(run)
    _summary(run)
    _figures(run)
    _about(shown, run)


def _face(shown: Opened, study: Study) -> None:
    """What stands on the report's cover and where it is stated; what a run would leave out or call by a past year."""
    values = study.values
    face = (("date", values["date"]), ("prepared by", values["prepared_by"]), ("approved by", values["approved_by"]))
    stated = ", ".join(f"{label} {plain(value, 60) if value else DASH}" for label, value in face)
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(f"On the cover: {stated}.")
        if st.button("State date, names and years", key="state_face", type="tertiary", icon=":material/edit:",
                     help="Opens the assumptions of the study"):
            st.session_state["study_tab"], st.session_state[edit.WANTED] = "Assumptions", "date"
            state.go("reliability/ui/study_page.py")
    first, day = _first_year(shown, study), day_of(values["date"]) or datetime.now()
    if first is not None and first < day.year:
        st.warning(f"The programme would begin in {first}, before the date of the report ({day.year}). "
                   "“First year of the programme” among the assumptions sets another year.",
                   icon=":material/event_busy:")
    if edit.unsaved(shown):
        st.warning(UNSAVED, icon=":material/edit_off:")


def _first_year(shown: Opened, study: Study) -> int | None:
    """First year of the programme: as stated, else after the reporting year, else that of the last run."""
    values = study.values
    if values["first_year"] is not None:
        return values["first_year"]
    if values["reporting_year"] is not None:
        return values["reporting_year"] + 1
    last = next(iter(runs.runs(shown.folder)), None)
    found = None if last is None else (last.summary.get("report") or {}).get("first_year")
    return found if isinstance(found, int) else None


def _run(shown: Opened, study: Study, asked: Asked) -> None:
    """A run with its progress; whatever is clicked in the meantime stops it, and nothing is left of it."""
    bar = st.progress(0.0, "Running …")

    def step(done: int, total: int, seconds_left: float) -> None:
        share = min(done / total, 1.0)
        bar.progress(SIMULATION_FROM + (SIMULATION_TO - SIMULATION_FROM) * share,
                     f"Simulating: {done} trials of at most {total}")

    def stage(what: str) -> None:
        bar.progress(RUN_STAGES[what], f"{what.capitalize()} …")

    try:
        run = runs.record(shown.stated, step, stage, into_study.change(shown, study, asked))
    except StudyError as error:
        from reliability.ui.problem_table import problem_frame
        st.error(f"{count(error.count, 'problem')} stand in the way of the run. Nothing was recorded.")
        figure.table(problem_frame(error.problems), "Problems of the run", "run_problems")
        return
    except ChangedElsewhere:
        st.error("Nothing was recorded: the study was just changed in another tab or program. Look at its new state "
                 "first.")
        return
    except OSError as error:
        st.error(f"The run could not be recorded: {plain(error.strerror or error, 200)}.")
        return
    bar.empty()
    st.session_state["run_shown"] = run.name


def _summary(run: Run) -> None:
    """The summary of the report, in its words."""
    if run.paragraphs:
        st.subheader("Summary of the report", anchor=False)
        st.html(f'<div class="report-summary">{run.paragraphs}</div>')


def in_order(run: Run) -> list[dict[str, Any]]:
    """Scenarios of a run in the order and colours of every page: what is proposed after "As built"."""
    scenarios = list(run.summary.get("scenarios", []))
    proposed = [s for s in scenarios[1:] if s["name"].casefold() == PROPOSED.casefold()]
    return [*scenarios[:1], *proposed, *(s for s in scenarios[1:] if s not in proposed)]


def _picture(run: Run) -> None:
    scenarios = in_order(run)
    expected = [{**s["expected"], "callouts": sum(s["expected"]["callouts"].values())} for s in scenarios]
    simulated = [s["simulated"] for s in scenarios if s.get("simulated")]
    shown = Indices([s["name"] for s in scenarios], expected, simulated if len(simulated) == len(scenarios) else None)
    figure.chart(bars(shown, frame.presenting()), bars_alt(shown), lambda: bars_data(shown), "Indices of the run",
                 "run_bars")


def _figures(run: Run) -> None:
    _picture(run)
    rows = []
    for scenario in in_order(run):
        expected, simulated = scenario["expected"], scenario.get("simulated") or {}
        spread = simulated.get("saidi_min") or {}
        rows.append({"scenario": scenario["name"], **{i.key: expected.get(i.key) for i in INDICES if i.simulated},
                     "callouts": sum(expected["callouts"].values()), "saidi_p10": spread.get("p10"),
                     "saidi_p90": spread.get("p90"), "npv": (scenario.get("business") or {}).get("npv")})
    names = {i.key: i.heading for i in INDICES if i.simulated} | {
        "callouts": "call-outs, 1/yr", "saidi_p10": "SAIDI of a year, P10", "saidi_p90": "and P90, min"}
    formats = {c: Header(name, header(c).kind if c in COLUMN_HEADERS else "minutes") for c, name in names.items()}
    currency = short(run.summary.get("currency", ""), 12)
    formats["npv"] = Header(f"NPV, {currency}", "money")
    figure.table(pd.DataFrame(rows), "Figures of the run", "run_figures", column_config=formats)


def _downloads(run: Run) -> None:
    st.subheader("Downloads", anchor=False)
    place = {name: k for k, name in enumerate(DOWNLOAD_ORDER)}
    files = sorted(run.results, key=lambda f: (place.get(f.name, len(place)), f.name))
    with st.container(horizontal=True):
        for file in files:
            download.button(file.name, file.read_bytes, file.name,
                            MIME_TYPES.get(file.suffix, "application/octet-stream"), help=about(file.name) or "File",
                            key=f"get_{file.name}", icon=":material/download:",
                            type="primary" if file.name == "report.html" else "secondary")
        download.button("All of it, with the inputs (ZIP)", lambda: runs.zipped(run), f"{run.name}.zip",
                        "application/zip", key="get_zip", icon=":material/folder_zip:",
                        help=f"With {LIST}: what each file is, and its checksum")
    with st.expander("What each file is"):
        st.markdown("\n".join(f"- **{file.name}**: {about(file.name)}" for file in files if about(file.name)))


def _about(shown: Opened, run: Run) -> None:
    summary = run.summary
    st.subheader("Reproduce this run", anchor=False)
    trials, years = summary.get("trials"), summary.get("trial_years")
    horizon = round(years / trials) if trials and years else "–"
    st.markdown(
        f"Inputs `{summary.get('inputs_sha256')}`  \nVersion {plain(summary.get('version'))}, seed "
        f"{summary.get('seed')}, "
        f"{count(trials, 'trial') if trials else 'no trials'} of {horizon} years.")
    if run.changes:
        st.markdown(f"Made from the study of inputs `{run.changes_of}` with this moved: "
                    f"{plain('; '.join(run.changes), 600)}. The ZIP has the inputs as they were run.")
    st.code(f"python -m reliability run STUDY --out DIR --seed {summary.get('seed')}"
            + (f" --trials {trials}" if trials else ""), language="bash")
    if summary.get("inputs_sha256") == shown.stated.inputs_sha256:
        st.markdown("The study's files are still those of this run.")
    else:
        st.markdown("The inputs of this run can be opened as a study of their own:" if run.changes else
                    "The study has changed since. Its files as they were can be opened as a study of their own:")
        if st.button("Reopen the inputs of this run", key="reopen"):
            name = workspace.free_name(f"{shown.name} as of {run.name[:15]}")
            create(workspace.root() / name, run.inputs)
            opened.choose(name)
            st.session_state[opened.NOTICE] = "These are the inputs of the run, as a study of their own."
            st.rerun()


if __name__ == "__main__":
    show()
