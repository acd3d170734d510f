"""The step of the report: totals by feeder, what matched, what was noticed with its ids, and the map."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from reliability.formats import count, shown
from reliability.intake import Imported, Prepared
from reliability.intake.deciding import not_ready
from reliability.intake.decisions import Undecided
from reliability.intake.findings import AMBER, GREEN, RED, Noted
from reliability.intake.outcome import REPORT_TABLE
from reliability.report.charts_import import import_map
from reliability.report.import_report import REPORT_PARTS, STATE_WORDS, report_table
from reliability.report.palette import DARK_ORANGE, DARK_TEAL, PLUM
from reliability.study import StudyError
from reliability.ui import described, figure, frame, import_draft
from reliability.ui.import_draft import Draft
from reliability.ui.import_network import still_open
from reliability.ui.import_totals import totals
from reliability.ui.problem_table import show_problems
from reliability.ui.text import plain

BADGES = {GREEN: ":green-badge[green]", AMBER: ":orange-badge[amber]", RED: ":red-badge[red]"}
COLOUR_WORDS = {GREEN: "green", AMBER: "amber", RED: "red"}
MAP_HEIGHT = 420
ALL_FINDINGS = "all amber and red"


def study_of(draft: Draft, prepared: Prepared) -> Imported | None:
    """The import so far; None, having said why, where it is open, refused or being computed."""
    reasons = not_ready(prepared, draft.confirmed)
    if reasons:
        st.markdown("**Not computed yet.** What is still open:")
        for reason in reasons[:20]:
            st.markdown(f"- {plain(reason, 300)}")
        if len(reasons) > 20:
            st.markdown(f"- … {len(reasons) - 20} more")
        return None
    found = import_draft.imported_of(draft, prepared)
    if isinstance(found, Undecided):
        still_open(draft, prepared, found.decisions)
        return None
    if isinstance(found, StudyError):
        st.error(f"{count(found.count, 'problem')} in the exports, which is why they cannot become a study.")
        show_problems(found.problems, "import_refused")
        return None
    return found


def report(draft: Draft, prepared: Prepared) -> None:
    """Draw the report of the import."""
    imported = study_of(draft, prepared)
    if imported is None:
        return
    words = STATE_WORDS[imported.report.state].partition(": ")[2].capitalize()
    st.markdown(f"{BADGES[imported.report.state]} {plain(words, 200)}")
    totals(draft, imported)
    left, right = st.columns(2)
    with left:
        _matched(imported)
        _noted(imported)
    with right:
        _map(imported)
    figure.csv_button("Report with every id", lambda: report_table(imported), REPORT_TABLE.removesuffix(".csv"))


def _matched(imported: Imported) -> None:
    rows = imported.report.matched
    rows = rows[rows["of"] > 0]
    table = pd.DataFrame({"state": [COLOUR_WORDS[s] for s in rows["state"]], "what": rows["what"],
                          "share": [shown(s, "share") for s in rows["share"]],
                          "matched": [shown(m, "count") for m in rows["matched"]],
                          "of": [shown(o, "count") for o in rows["of"]]})
    st.markdown("**What matched** (under 95 % amber, under 80 % red)")
    st.dataframe(table.style.map(_coloured, subset=["state"]), hide_index=True, key="import_matched",
                 alt="Shares of the exports that became part of the study", height="content")


def _coloured(state: object) -> str:
    colour = {"green": DARK_TEAL, "amber": DARK_ORANGE, "red": PLUM}.get(str(state))
    return "" if colour is None else f"color: {colour}; font-weight: 600"


def _noted(imported: Imported) -> None:
    order = {RED: 0, AMBER: 1, GREEN: 2}
    noted = sorted(imported.report.findings.noted, key=lambda n: order[n.state])
    st.markdown("**What was noticed**")
    if not noted:
        st.markdown("Nothing.")
        return
    frame_ = pd.DataFrame({"state": [COLOUR_WORDS[n.state] for n in noted], "number": [n.count for n in noted],
                           "what": [n.title for n in noted], "ids": [_ids(n) for n in noted],
                           "part": [REPORT_PARTS.get(n.part, n.part) for n in noted]})
    st.dataframe(frame_.style.map(_coloured, subset=["state"]), hide_index=True, key="import_noted",
                 alt="What the import noticed, with ids", height=min(38 + 35 * len(noted), 400),
                 column_config={"what": st.column_config.TextColumn(width="large"),
                                "ids": st.column_config.TextColumn(width="medium")})


def _ids(noted: Noted) -> str:
    return ", ".join(noted.ids[:40]) + (f" … {noted.count - 40} more" if noted.count > 40 else "")


def _map(imported: Imported) -> None:
    if not imported.segment_routes:
        st.info("These exports have no geometry: there is no map.")
        return
    keys = {n.key: n.title for n in imported.report.findings.noted}
    marked = st.selectbox("Marked on the map", [ALL_FINDINGS, *keys], key="import_marked",
                          format_func=lambda k: k if k == ALL_FINDINGS else keys[k])
    chart = import_map(imported, None if marked == ALL_FINDINGS else (marked,))
    if chart is not None:
        figure.chart(described.figure(chart, frame.presenting(), MAP_HEIGHT), f"Map: {chart.description}",
                     lambda: report_table(imported), "Report", "import_map", csv=False, zoom=True)
