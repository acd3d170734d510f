"""Page: the study, its size and notes, or every problem of its files; and where its tables are edited."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from reliability import formats
from reliability.formats import count, number
from reliability.schema.devices import DEVICES
from reliability.study import StudyError, workspace
from reliability.ui import business_page, decisive, edit, figure, frame, opened, trials
from reliability.ui.compare_charts import bars, bars_alt, bars_data, indices_of
from reliability.ui.opened import Opened
from reliability.ui.problem_table import problem_frame
from reliability.ui.scenario_results import stated_results
from reliability.ui.text import plain


def show() -> None:
    """Draw the page."""
    shown = frame.begin("Study")
    _choose(shown)
    if shown.study is None:
        _problems(shown.problems)
        edit.draft_tables(shown)
        return
    glance, tables, assumptions, scenarios, earlier = st.tabs(
        ["At a glance", "Tables", "Assumptions", "Scenarios", "Earlier versions"], key="study_tab", on_change="rerun")
    if glance.open:
        with glance:
            _glance(shown)
    for tab, draw in ((tables, edit.tables), (assumptions, edit.assumptions), (scenarios, edit.scenarios),
                      (earlier, edit.earlier_versions)):
        if tab.open:
            with tab:
                draw(shown)


def _choose(shown: Opened) -> None:
    names = workspace.studies()
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.session_state["study_choice"] = shown.name
        st.selectbox("Study of the workspace", names, key="study_choice", width=360, on_change=_chosen,
                     format_func=lambda n: f"{n} (invented example)" if n in workspace.DEMOS else n)
        st.page_link("reliability/ui/import_page.py", label="Import your own data", icon=":material/upload_file:")
        if shown.study is not None:
            st.page_link("reliability/ui/compare_page.py", label="Compare its scenarios", icon=":material/balance:")
    if shown.name in workspace.DEMOS:
        st.caption(workspace.DEMOS[shown.name].shows)


def _chosen() -> None:
    opened.choose(st.session_state["study_choice"])


def _problems(error: StudyError) -> None:
    st.error(f"{count(error.count, 'problem')} to settle before anything can be computed. Each is listed with its "
             "place and its remedy; nothing has been changed.")
    figure.table(problem_frame(error.problems), "Problems", "problems", height=min(420, 76 + 35 * len(error.problems)))
    if error.count > len(error.problems):
        st.caption(f"The first {len(error.problems)} of {error.count}: where one rule is broken in a whole column, "
                   "only its first hundred rows are listed.")


def _glance(shown: Opened) -> None:
    study = shown.stated
    now = stated_results(shown.rated, shown.fingerprint)
    network = now.results.network
    served = int(network.customers.sum())
    picture, facts = st.columns([3, 2], gap="large")
    with picture:
        st.subheader("What each scenario is expected to bring", anchor=False)
        indices = indices_of(now, None)
        figure.chart(bars(indices, frame.presenting(), columns=2), bars_alt(indices), lambda: bars_data(indices),
                     "Expected indices", "glance_bars")
    with facts:
        st.subheader("What is in it", anchor=False)
        device = [DEVICES[d] if d >= 0 else "" for d in network.device.tolist()]
        whole = partial(formats.shown, kind="count")
        rows = [("Feeders", whole(len(network.feeder_ids))), ("Line sections", whole(len(network))),
                ("Length, km", number(network.column["length_km"].sum(), 4)),
                ("Laterals", whole(len(network.candidates))),
                *[(f"Headed by a {d.replace('_', ' ')}", whole(device.count(d))) for d in DEVICES if d in device],
                ("Customers", whole(served)),
                ("Outage records", whole(0 if study.outages is None else len(study.outages))),
                ("Uncertain assumptions", whole(len(study.uncertain))),
                ("Scenarios of the study", whole(len(study.scenarios)))]
        st.dataframe(pd.DataFrame(rows, columns=["", "Number"]), hide_index=True, alt="Size of the study",
                     height=35 * (len(rows) + 1) + 3)
    trials.prepare(now)             # while somebody reads this page
    business_page.prepare(now)
    decisive.prepare(now)
    if study.notes:
        st.subheader("Data gaps and assumptions", anchor=False)
        st.markdown("\n".join(f"- {plain(note, 300)}" for note in study.notes))


if __name__ == "__main__":
    show()
