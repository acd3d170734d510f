"""Page: the data of the study: its size and notes, or every problem of its files, and where its tables are edited."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from reliability import formats
from reliability.formats import count
from reliability.schema.devices import DEVICES
from reliability.study import StudyError
from reliability.ui import edit, figure, frame, lengths
from reliability.ui.opened import Opened
from reliability.ui.problem_table import problem_frame
from reliability.ui.text import plain

TABS = ("Size and notes", "Tables", "Assumptions", "Scenarios", "Earlier versions")


def show() -> None:
    """Draw the page."""
    shown = frame.begin("Study data")
    if shown.study is None:
        _problems(shown.problems)
        edit.draft_tables(shown)
        return
    tabs = st.tabs(TABS, key="study_tab", on_change="rerun")
    for tab, draw in zip(tabs, (_size, edit.tables, edit.assumptions, edit.scenarios, edit.earlier_versions),
                         strict=True):
        if tab.open:
            with tab:
                draw(shown)


def _problems(error: StudyError) -> None:
    st.error(f"{count(error.count, 'problem')} to settle before anything can be computed. Each is listed with its "
             "place and its remedy; nothing has been changed.")
    figure.table(problem_frame(error.problems), "Problems", "problems", height=min(420, 76 + 35 * len(error.problems)))
    if error.count > len(error.problems):
        st.caption(f"The first {len(error.problems)} of {error.count}: where one rule is broken in a whole column, "
                   "only its first hundred rows are listed.")


def _size(shown: Opened) -> None:
    study = shown.stated
    network = study.network
    notes, facts = st.columns([3, 2], gap="large")
    with notes:
        st.subheader("Data gaps and assumptions", anchor=False)
        st.markdown("\n".join(f"- {plain(note, 300)}" for note in study.notes) or "Nothing was noticed.")
    with facts:
        st.subheader("What is in it", anchor=False)
        device = [DEVICES[d] if d >= 0 else "" for d in network.device.tolist()]
        whole = partial(formats.shown, kind="count")
        length = lengths.shown(float(network.column["length_km"].sum()), study)
        rows = [("Feeders", whole(len(network.feeder_ids))), ("Line sections", whole(len(network))),
                (f"Length, {lengths.unit(study)}", length), ("Laterals", whole(len(network.candidates))),
                *[(f"Headed by a {d.replace('_', ' ')}", whole(device.count(d))) for d in DEVICES if d in device],
                ("Customers", whole(int(network.customers.sum()))),
                ("Outage records", whole(0 if study.outages is None else len(study.outages))),
                ("Uncertain assumptions", whole(len(study.uncertain))),
                ("… over a default range", whole(len(study.default_ranges))),
                ("Scenarios stated, beside As built", whole(len(study.scenarios) - 1))]
        st.dataframe(pd.DataFrame(rows, columns=["What", "Number"]), hide_index=True, alt="Size of the study",
                     height=35 * (len(rows) + 1) + 3)


if __name__ == "__main__":
    show()
