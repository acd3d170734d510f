"""The tab of feeders, laterals and areas of the page on the outage records."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from reliability.formats import percent
from reliability.history.history import History
from reliability.history.panels import EVENTS
from reliability.history.worst_circuits import WORST_SHARE, Circuits
from reliability.report import charts_history as charts
from reliability.report.records import ALL_EVENTS, WITHOUT
from reliability.report.records_reported import areas_frame, circuits_frame, index_frame
from reliability.report.sections_areas import NO_AREAS
from reliability.ui import described, figure, frame
from reliability.ui.headers import Header

CIRCUIT_INDICES = {"saifi": ("SAIFI", "index"), "saidi_min": ("SAIDI, min", "minutes"),
                   "caidi_min": ("CAIDI, min", "minutes"),
                   "maifi_e": ("MAIFI_E", "index"), EVENTS: ("interruptions a year", "ratio")}
TEXTS = {"worst_by": f"among the worst {percent(WORST_SHARE)} by", "years_worst": "years among the worst"}


def show(history: History) -> None:
    """Worst feeders and laterals by the records, areas, and the reporting year against its means and benchmarks."""
    reported = history.reported
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader(f"{reported.shown} against means and benchmarks", anchor=False)
        figure.table(index_frame(history).drop(columns="key"), "Trend and benchmark", "against", column_config={
            "year": Header(str(reported.shown), "three_digits"), "three": Header("three-year mean", "three_digits"),
            "five": Header("five-year mean", "three_digits"),
            "change": Header("against five years", "share"),
            "benchmark": Header("benchmark", "three_digits"),
            "against": Header("against benchmark", "share"), "standard": Header("standard", "three_digits"),
            "standard_three": Header("standard of three years", "three_digits")})
    with right:
        st.subheader("Twelve months that end with each month", anchor=False)
        if len(reported.months.every_event):
            chart = charts.rolling(history)
            both = reported.months.without.join(reported.months.every_event.add_suffix("_all")).reset_index()
            figure.chart(described.figure(chart, frame.presenting(), 330), f"{chart.title}: {chart.description}",
                         lambda: both, "Rolling twelve months", "rolling")
        else:
            st.info("The records cover less than twelve months in full.")
    st.subheader("Worst feeders", anchor=False)
    _circuits(reported.feeders, "feeder", "worst_feeders")
    st.subheader("Worst laterals", anchor=False)
    _circuits(reported.laterals, "lateral", "worst_laterals_by_records", history.records.network.name_by_id)
    st.subheader("Operating areas", anchor=False)
    areas = areas_frame(history)
    if len(areas):
        figure.table(areas, "Areas", "areas", column_config=_configuration(""))
    else:
        st.info(f"{NO_AREAS.what} {NO_AREAS.remedy}")


def _circuits(circuits: Circuits, kind: str, key: str, names: dict[str, str] | None = None) -> None:
    years = circuits.years
    span = str(years[0]) if len(years) == 1 else f"{years[0]} to {years[-1]}"
    st.caption(f"By the records of {span}, the worst first: {WITHOUT}, then {ALL_EVENTS}.")
    table = circuits_frame(circuits, kind)
    if names is not None:
        table = table[(table["worst_by"] != "") | (table["worst_by_all"] != "")]
        table = table.assign(**{kind: [names.get(str(i), str(i)) for i in table[kind]]})
    figure.table(pd.DataFrame(table[[kind, *TEXTS, *CIRCUIT_INDICES, *(f"{k}_all" for k in CIRCUIT_INDICES)]]),
                 f"Worst {kind}s", key,
                 column_config=TEXTS | _configuration("") | _configuration("_all"))


def _configuration(end: str) -> dict[str, object]:
    label = f", {ALL_EVENTS}" if end else ""
    return {f"{key}{end}": Header(f"{name}{label}", kind)
            for key, (name, kind) in CIRCUIT_INDICES.items()}
