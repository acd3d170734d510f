"""Page: what the outage records say."""

from __future__ import annotations

import numpy as np
import pandas as pd
import streamlit as st

from reliability.cautions import CAUTION
from reliability.pipeline import modelled_by_feeder
from reliability.study import StudyError, toml_edit
from reliability.ui import edit, figure, frame, opened, sliders
from reliability.ui.opened import Opened
from reliability.ui.palette import BLUE, FONT, GREY, INK, ORANGE, axis, layout, picture
from reliability.ui.problem_table import problem_frame
from reliability.ui.scenario_results import stated_results
from reliability.ui.text import count, label, number, percent, plain

INDICES = {"saidi_min": "SAIDI, minutes", "saifi": "SAIFI", "caidi_min": "CAIDI, minutes", "maifi": "MAIFI",
           "maifi_e": "MAIFI_E"}
TIMES = ("repair_hours", "switching_hours", "refuse_hours", "reset_hours", "patrol_hours")
MAX_CACHED = 4


def show() -> None:
    """Draw the page."""
    shown, study = frame.begin_with_study("History")
    if study.outages is None or not len(study.outages):
        st.info("This study has no outage records. Bring them as outages.csv or outages.xlsx.")
        st.page_link("reliability/ui/bring_page.py", label="Bring outage records", icon=":material/upload_file:")
        return
    history, error = _history(shown.study, shown.fingerprint, study)
    if error is not None:
        _settle(shown, error)
        return
    records, rates, data, effect = st.tabs(
        ["Years and days", "Laterals and rates", "The data itself", "Against the model"], key="history_tab",
        on_change="rerun")
    for tab, draw in ((records, _years), (rates, _rates), (data, _data)):
        if tab.open:
            with tab:
                draw(history)
    if effect.open:
        with effect:
            _against_model(shown, history)


@st.cache_resource(max_entries=MAX_CACHED, show_spinner="Reading the outage records …")
def _history(_study, fingerprint: str, _ready):
    """(history, None), or (None, what stands in the way); shared between tabs and never changed."""
    from reliability.history import read_history
    try:
        return read_history(_study, modelled_by_feeder(stated_results(_ready, fingerprint).results)), None
    except StudyError as error:
        return None, error


def _settle(shown: Opened, error: StudyError) -> None:
    """What a reader of the records must decide, with the key that decides it."""
    st.error(f"{count(error.count, 'question')} to settle before the records can be read.")
    figure.table(problem_frame(error.problems), "Questions", "history_problems")
    if any("date_order" in f"{p.rule} {p.remedy} {p.column}" for p in error.problems):
        order = st.radio("How is 03/04/2024 to be read?", ("day_first", "month_first"), index=None, key="date_order",
                         format_func={"day_first": "3 April 2024 (day first)",
                                      "month_first": "March 4, 2024 (month first)"}.get)
        if order:
            text = (shown.folder / "study.toml").read_bytes().decode("utf-8-sig")
            if edit.apply(shown, {"study.toml": toml_edit.set_values(text, {"date_order": order}).encode()}, [],
                          "dates"):
                st.rerun()


def _draw(chart, alt: str, data, name: str, key: str) -> None:
    """A chart of the history room in the app's type."""
    from reliability.history import charts
    size = 19 if frame.presenting() else 14
    for trace in chart.data:
        ours = {charts.BLUE: BLUE, charts.ORANGE: ORANGE}.get(getattr(trace.marker, "color", None))
        if ours:
            trace.marker.color = ours
    chart.update_layout(font={"family": FONT, "size": size, "color": INK}, title=None, height=370,
                        margin={"l": 10, "r": 10, "t": 36, "b": 10},
                        legend={"yanchor": "bottom", "y": 1.02})
    figure.chart(chart, alt, data, name, key)


def _years(history) -> None:
    from reliability.history import charts
    index = st.segmented_control("Index", list(INDICES), format_func=INDICES.get, default="saidi_min",
                                 key="history_index",
                                 required=True)
    left, right = st.columns(2, gap="large")
    both = pd.DataFrame({index: history.all.years[index],
                         f"{index}_without_major_events": history.without_major_events.years[index]})
    days = history.major_events.days
    with left:
        st.subheader("By year, with and without major event days", anchor=False)
        _draw(charts.yearly_chart(history, index), f"{INDICES[index]} by year: " + "; ".join(
            f"{y} {number(v)}" for y, v in both[index].items()), lambda: both.reset_index(), "Years", "years")
    with right:
        st.subheader("By day, with the threshold", anchor=False)
        _draw(charts.daily_chart(history),
              f"Daily SAIDI with the threshold of each year; {count(len(days), 'day')} above it.",
              lambda: history.daily.reset_index(), "Days", "days")
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("Causes by customer-minutes", anchor=False)
        causes = history.all.causes.groupby("cause")["customer_minutes"].sum().sort_values(ascending=False)
        _draw(charts.causes_chart(history), "Causes by customer-minutes; the largest is " + str(
            causes.index[0] if len(causes) else "none"), lambda: causes.reset_index(), "Causes", "causes")
    with right:
        st.subheader("Thresholds and major event days", anchor=False)
        thresholds = history.major_events.thresholds.reset_index()
        figure.table(thresholds, "Thresholds", "thresholds", column_config={
            "year": st.column_config.NumberColumn(format="%d"), "note": st.column_config.TextColumn(width="large"),
            **{k: st.column_config.NumberColumn(name, format="%.3f")
               for k, name in (("t_med", "T_MED, min"), ("alpha", "α"), ("beta", "β"))},
            "days_used": "days used", "years_used": "years used"})
        if len(days):
            figure.table(days.reset_index().assign(day=lambda d: d["day"].astype(str).str[:10]), "Major event days",
                         "meds", height=190, column_config={
                             "year": st.column_config.NumberColumn(format="%d"),
                             "interruptions": "customer interruptions", "customer_minutes": "customer-minutes",
                             "saidi_min": st.column_config.NumberColumn("SAIDI, min", format="%.1f")})
    for caution in history.cautions:
        if caution != CAUTION:         # it stands at the head of every page
            st.caption(plain(caution, 400))


def _rates(history) -> None:
    from reliability.history import charts
    units = history.learned.units
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("Observed and learned fault rates", anchor=False)
        st.caption("A lateral with few years and little line says little by itself; it is pulled towards the others.")
        chart = charts.shrinkage_chart(history)
        chart.update_yaxes(title="Learned, faults/(km·yr)")     # the longer title does not fit beside a second chart
        _draw(chart, f"Observed against learned fault rates of {count(len(units), 'unit')}.",
              lambda: units, "Learned rates", "rates")
    with right:
        st.subheader("Worst-performing laterals", anchor=False)
        st.caption("Laterals with the most sustained events a year in the records.")
        _draw(charts.offenders_chart(history), "Laterals with the most sustained events; the first is " + str(
            history.offenders.index[0] if len(history.offenders) else "none"),
            lambda: history.offenders.reset_index(), "Worst-performing laterals", "worst_laterals")
    for note in history.learned.notes:
        st.markdown(f"- {plain(note, 400)}")
    st.caption('To compute with the learned rates, set "Fault rates from" to learned among the assumptions of the '
               "study.")


def _data(history) -> None:
    findings = history.records.findings
    st.subheader("Findings in the records", anchor=False)
    if not findings:
        st.success("Nothing odd was found in the records.")
        return
    table = pd.DataFrame([{"finding": f.title, "records": f.count, "treatment": f.treatment,
                           "rows": ", ".join(map(str, np.asarray(f.rows)[:20])) + (" …" if f.count > 20 else "")}
                          for f in findings])
    figure.table(table, "Findings", "findings", column_config={"treatment": st.column_config.TextColumn(width="large")})
    st.subheader("Restoration times from the records", anchor=False)
    figure.table(history.times.reset_index(), "Restoration times", "times")


def _against_model(shown: Opened, history) -> None:
    found = history.calibration
    if found is not None:
        st.subheader("Modelled against observed", anchor=False)
        st.markdown(f"One factor of **{number(found.rate_factor)}** on all fault rates and one of "
                    f"**{number(found.time_factor)}** on all restoration times would close the gap of the system. "
                    "Offered, never applied by itself. Observed: without major event days and planned work.")
        if np.isfinite(found.rate_factor) and st.button("Try both factors on the page Compare", key="try_factors"):
            _try_factors(shown, found)
        _feeders_chart(found)
        if found.note:
            st.caption(plain(found.note, 300))
    before_after = history.conversions
    st.subheader("Did earlier conversions help", anchor=False)
    if before_after is None:
        st.markdown("The study names no converted lateral with its day under history.conversions in study.toml.")
        return
    st.markdown(f"{count(before_after.converted, 'converted lateral')} against {before_after.others} others, "
                f"{number(before_after.years_before)} years before and {number(before_after.years_after)} after.")
    figure.table(before_after.measures.reset_index(), "Before and after", "before_after")
    for note in before_after.notes:
        st.caption(plain(note, 400))


def _feeders_chart(found) -> None:
    feeders = found.feeders.drop(index="")
    top = float(np.nanmax([1.0, *feeders["observed_saidi_min"], *feeders["modelled_saidi_min"]]))
    chart = picture(
        [{"type": "scatter", "x": [0, top], "y": [0, top], "mode": "lines", "name": "1 : 1 line",
          "line": {"color": GREY, "dash": "dot"}},
         {"type": "scatter", "x": feeders["modelled_saidi_min"].tolist(), "y": feeders["observed_saidi_min"].tolist(),
          "mode": "markers+text", "name": "Feeder", "text": [label(i, 14) for i in feeders.index],
          "textposition": "top center", "marker": {"size": 11, "color": BLUE}}],
        layout(400, frame.presenting(), xaxis=axis("SAIDI modelled, minutes a year"),
               yaxis=axis("SAIDI observed, minutes a year")))
    figure.chart(chart, f"Observed against modelled SAIDI of {count(len(feeders), 'feeder')}.",
                 lambda: found.feeders.reset_index(), "Modelled and observed", "calibration")


def _try_factors(shown: Opened, found) -> None:
    """Move the sliders by the factors, within their bounds."""
    study = shown.ready
    known, moves = sliders.sliders(study), dict(sliders.moved(study))
    wanted = {"fault_rate_factor": found.rate_factor}
    if np.isfinite(found.time_factor):
        wanted |= {key: study.values[key] * found.time_factor for key in TIMES}
    moves |= {key: round(float(np.clip(value, known[key].low, known[key].high)), 4) for key, value in wanted.items()}
    sliders.set_all(moves, study, shown.name)
    st.session_state[opened.NOTICE] = (f"Fault rates times {number(found.rate_factor)}, restoration times "
                                       f"{percent(found.time_factor)} of the study's.")
    st.switch_page("reliability/ui/compare_page.py")


if __name__ == "__main__":
    show()
