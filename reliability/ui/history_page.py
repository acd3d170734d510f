"""Page: what the outage records say."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd
import streamlit as st

from reliability.cautions import CAUTION
from reliability.formats import count, number, percent
from reliability.history.calibration import Calibration
from reliability.history.findings import Finding
from reliability.history.history import History
from reliability.history.pilot import POWER
from reliability.report import charts_history as charts
from reliability.report import conversions_shown
from reliability.report.chart import Chart
from reliability.report.definitions import LEARNED_INTERVALS
from reliability.report.records import causes_frame, device_fit_frame
from reliability.schema.assumptions import BY_KEY
from reliability.study import StudyError, toml_edit
from reliability.study.ranges import LEARNED
from reliability.ui import described, edit, figure, frame, history_circuits, opened, records_read, sliders, state
from reliability.ui.headers import Header
from reliability.ui.opened import Opened
from reliability.ui.problem_table import problem_frame
from reliability.ui.text import plain

FITTED_TIMES = ("repair_hours", "switching_hours", "refuse_hours", "reset_hours", "patrol_hours")

OF_FEEDERS = {f"{of}_{index}": f"{label} {word}{unit}" for index, label, unit in (
    ("saifi", "SAIFI", ", 1/yr"), ("saidi_min", "SAIDI", ", min/yr"))
              for of, word in (("observed", "recorded"), ("modelled", "modelled"))} | {
    f"{index.casefold()}_{end}": f"{index} {word}" for index in ("SAIFI", "SAIDI")
    for end, word in (("ratio", "ratio"), ("low", "ratio, low end"), ("high", "ratio, high end"))}


def show() -> None:
    """Draw the page."""
    shown, study = frame.begin_with_study("Outage history")
    if study.outages is None or not len(study.outages):
        st.info("This study has no outage records. Import them as outages.csv or outages.xlsx.")
        st.page_link("reliability/ui/import_page.py", label="Import outage records", icon=":material/upload_file:")
        return
    with st.spinner("Reading the outage records …"):
        history, error = records_read.history_of(shown.stated, shown.fingerprint, study, shown.learned)
    if history is None or error is not None:
        if error is not None:
            _settle(shown, error)
        return
    records, circuits, rates, data, effect = st.tabs(
        ["Years and days", "Feeders and areas", "Laterals and rates", "The data itself", "Against the model"],
        key="history_tab", on_change="rerun")
    for tab, draw in ((records, _years), (circuits, history_circuits.show), (rates, partial(_rates, shown)),
                      (data, _data)):
        if tab.open:
            with tab:
                draw(history)
    if effect.open:
        with effect:
            _against_model(shown, history)


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


def _draw(chart: Chart, data: Callable[[], pd.DataFrame], name: str, key: str, height: int = 370) -> None:
    """A described chart, its data below it."""
    drawn = described.figure(chart, frame.presenting(), height)
    figure.chart(drawn, f"{chart.title}: {chart.description}", data, name, key)


def _years(history: History) -> None:
    if history.calibration is not None:
        st.markdown(f"**Against the model**: {plain(history.calibration.verdict, 600)}")
    index = st.segmented_control("Index", list(charts.YEAR_INDICES), format_func=lambda i: charts.YEAR_INDICES[i][0],
                                 default="saidi_min", key="history_index", required=True)
    left, right = st.columns(2, gap="large")
    both = pd.DataFrame({index: history.every_event.years[index],
                         f"{index}_without_major_events": history.without_major_events.years[index]})
    with left:
        st.subheader("By year, with and without major event days", anchor=False)
        _draw(charts.years(history, index), lambda: both.reset_index(), "Years", "years")
    with right:
        st.subheader("By day, with the threshold", anchor=False)
        _draw(charts.daily(history), lambda: history.daily.reset_index(), "Days", "days")
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("Causes by customer-minutes", anchor=False)
        _draw(charts.causes(history), lambda: causes_frame(history), "Causes", "causes")
    with right:
        if (found := history.calibration) is not None:
            st.subheader("Modelled against recorded", anchor=False)
            _draw(charts.against_model(found), lambda: found.feeders.reset_index(),
                  "Modelled and recorded", "calibration")
    _thresholds(history)
    for caution in history.cautions:
        if caution != CAUTION:         # it stands at the head of every page
            st.caption(plain(caution, 400))


def _thresholds(history: History) -> None:
    """The thresholds of major event days, and the days above them."""
    days = history.major_events.days
    st.subheader("Thresholds and major event days", anchor=False)
    left, right = st.columns([3, 2], gap="large")
    with left:
        thresholds = history.major_events.thresholds.reset_index()
        figure.table(thresholds, "Thresholds", "thresholds", column_config={
            "note": st.column_config.TextColumn(width="large")})
    with right:
        if len(days):
            figure.table(days.reset_index().assign(day=lambda d: d["day"].astype(str).str[:10]), "Major event days",
                         "meds", height=250, column_config={"saidi_min": "SAIDI of the day, min"})


def _rates(shown: Opened, history: History) -> None:
    with st.spinner("Estimating fault rates from the records …"):
        units = history.learned.units
    st.subheader("Learned rates and temporary fractions by group", anchor=False)
    figure.table(history.learned.priors.rename_axis("group").reset_index(), "Learned by group", "priors",
                 column_config={"units": "Laterals or mains", "mean_per_km": Header("Mean, faults/(km·yr)", "index"),
                                "exposure_km_years": Header("Exposure, km·years", "amount"),
                                "mean_fraction": Header("Temporary fraction", "index"),
                                "fraction_low": Header("… 90 % interval from", "index"),
                                "fraction_high": Header("to", "index")})
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("Observed and learned fault rates", anchor=False)
        st.caption("A lateral with few years and little line says little by itself; it is pulled towards the others. "
                   f"Learned rates include the faults that leave no record. {LEARNED_INTERVALS}")
        _draw(charts.learned_rates(history), lambda: units, "Learned rates", "rates")
    with right:
        st.subheader("Worst-performing laterals", anchor=False)
        st.caption("Laterals with the most sustained events a year in the records.")
        _draw(charts.worst_laterals(history), lambda: history.worst_laterals.reset_index(), "Worst-performing laterals",
              "worst_laterals")
    if len(history.learned.fit.table):
        st.subheader("Do the devices' records fit?", anchor=False)
        st.caption("The faults that a reclosing device rode through, predicted from the sustained records behind it "
                   "and from all other devices. One far from its prediction is left out of the learned rates.")
        _draw(charts.device_fit(history), lambda: device_fit_frame(history), "Fit of the devices", "device_fit")
    for note in history.learned.notes:
        st.markdown(f"- {plain(note, 400)}")
    learned = shown.stated.values["rates"] == LEARNED
    st.caption(f"“{BY_KEY['rates'].label}” among the assumptions of the study is "
               + ("learned: every figure is computed with these rates and fractions." if learned else
                  "not learned: set it so to compute with these rates and fractions."))


def _data(history: History) -> None:
    findings, of_devices = history.records.findings, history.operations.findings
    st.subheader("Findings in the records", anchor=False)
    if not findings and not of_devices:
        st.success("No finding in the records.")
        return
    table = pd.DataFrame([{"finding": f.title, "records": f.count, "treatment": f.treatment,
                           "rows": _where(f)} for f in findings] + [
        {"finding": "Momentary outage record" if f.in_outages else "Counter or log of a device", "records": len(f.rows),
         "treatment": f.sentence, "rows": ", ".join(map(str, f.rows[:20]))} for f in of_devices])
    figure.table(table, "Findings", "findings", column_config={"treatment": st.column_config.TextColumn(width="large")})
    st.subheader("Restoration times from the records", anchor=False)
    figure.table(history.times.reset_index().replace({"kind": {"refuse": "fuse replacement"}}), "Restoration times",
                 "times")


def _where(finding: Finding) -> str:
    """Rows of a finding, with a text that is no date; or the pairs of outages found twice."""
    places = finding.pairs or tuple(map(str, finding.rows))
    return ("; " if finding.pairs else ", ").join(places[:20]) + (" …" if len(places) > 20 else "") + (
        finding.example and f"; such as {finding.example}")


def _against_model(shown: Opened, history: History) -> None:
    if history.calibration is not None:
        _compared(shown, history.calibration)
    _conversions(history)
    _pilot(history)


def _conversions(history: History) -> None:
    """What earlier conversions achieved, raw and predictive side by side."""
    found = history.conversions
    st.subheader("Effect of earlier conversions", anchor=False)
    if found is None:
        st.markdown("The study names no converted lateral with its day under history.conversions in study.toml.")
        return
    st.markdown(f"{count(found.converted, 'converted lateral')} against {found.others} others, "
                f"{number(found.years_before)} years before and {number(found.years_after)} after. "
                + plain(found.basis.sentence, 400))
    measures = conversions_shown.measures_frame(found)
    for row in measures.to_dict("records"):
        st.markdown(f"- {row['measure']}: **{row['verdict']}**")
    comparisons = conversions_shown.comparisons_frame(found)
    chart = conversions_shown.conversions(found)
    if len(chart.categories):
        _draw(chart, lambda: comparisons, "Raw and predictive comparison", "conversions")
    left, right = st.columns(2, gap="large")
    with left:
        figure.table(measures, "Before and after", "before_after", column_config={
            "expected_ratio": Header("expected ratio", "ratio"),
            "years_needed": Header("years after needed", "years"),
            "lateral_year_cv": Header("spread of lateral-years", "ratio"),
            "feeder_year_cv": Header("spread of feeder-years", "ratio")})
    with right:
        figure.table(comparisons, "Raw and predictive", "comparisons", column_config={
            "p_value": Header("p", "p"), "verdict": "by itself"})
    for note in found.notes[1:]:
        st.caption(plain(note, 600))


def _pilot(history: History) -> None:
    """How many laterals for how many years."""
    found = history.pilot
    st.subheader("Before a pilot", anchor=False)
    if found is None:
        st.markdown("No plan: it needs two laterals that are not converted, sustained interruptions recorded on them, "
                    "and an expected effect between 0 and 1.")
        return
    st.markdown(f"Until an effect of {number(found.ratio)} on sustained interruptions shows with a probability of "
                f"{percent(POWER)}, by the rates of the {count(found.fleet.laterals, 'lateral')} not converted.")
    frame_of = conversions_shown.pilot_frame(found)
    left, right = st.columns(2, gap="large")
    with left:
        _draw(conversions_shown.pilots(found), lambda: frame_of, "Power of a pilot", "pilot")
    with right:
        figure.table(frame_of, "Pilots", "pilots", column_config={
            "rollout": "Roll-out, years",
            "years_after": Header("years after the last", "years"),
            "years_total": Header("years from the first", "years")})
    for note in found.notes:
        st.caption(plain(note, 400))


def _compared(shown: Opened, found: Calibration) -> None:
    """Records against the model on the same kind of days, and the factors that are offered."""
    st.subheader("Modelled against recorded", anchor=False)
    st.markdown(plain(found.verdict, 600))
    if (np.isfinite(found.rate_factor) or np.isfinite(found.time_factor)) and st.button(
            "Try what is offered on the page Compare", key="try_factors"):
        _try_factors(shown, found)
    _draw(charts.against_model(found), lambda: found.feeders.reset_index(), "Modelled and recorded", "calibration", 480)
    for comparison in (found.every_day, found.ordinary):
        if comparison is not None:
            name = comparison.days.capitalize()
            st.markdown(f"**{name}**: years {', '.join(map(str, comparison.years))}, ratios with 90 % intervals")
            feeders = comparison.feeders.rename(index={"": "System"}).rename_axis("feeder").reset_index()
            figure.table(feeders, f"Modelled and recorded, {comparison.days}", f"compared_{comparison.days[:3]}",
                         column_config={c: Header(name, "index") for c, name in OF_FEEDERS.items()})
            figure.table(comparison.times.reset_index().replace({"kind": {"refuse": "fuse replacement"}}),
                         f"Restoration times compared, {comparison.days}", f"times_{comparison.days[:3]}")
    st.caption(plain(found.note, 800))


def _try_factors(shown: Opened, found: Calibration) -> None:
    """Move the sliders by the factors, within their bounds."""
    study = shown.rated
    known, moves = sliders.sliders(study), dict(sliders.moved(study))
    wanted = {"fault_rate_factor": found.rate_factor} if np.isfinite(found.rate_factor) else {}
    if np.isfinite(found.time_factor):
        wanted |= {key: known[key].start * found.time_factor for key in FITTED_TIMES}
    moves |= {key: round(float(np.clip(value, known[key].low, known[key].high)), 4) for key, value in wanted.items()}
    sliders.set_all(moves)
    said = [f"{what} times {number(factor)}" for what, factor in (
        ("fault rates", found.rate_factor), ("restoration times", found.time_factor)) if np.isfinite(factor)]
    st.session_state[opened.NOTICE] = f"Moved: {', '.join(said)}."
    state.go("reliability/ui/compare_page.py")


if __name__ == "__main__":
    show()
