"""Every page opens, carries the caution, and shows what the core says."""

from __future__ import annotations

import json
import re
import time
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from reliability.business.break_even import BREAK_EVEN
from reliability.business.selection import choose
from reliability.cautions import CAUTION
from reliability.data_gaps import data_gaps, in_words, needed_for_a_proposal
from reliability.formats import count, money, number, shown
from reliability.history import read_history
from reliability.network.application import check_laterals
from reliability.network.model import Model
from reliability.pipeline import decide, options_of
from reliability.study import open_study, toml_edit, workspace
from reliability.study.changes import Outcome
from reliability.ui import overview_words
from reliability.ui.text import plain, saidi_turn
from reliability.what_if import compute
from tests.chains import short_chains
from tests.ui.conftest import (
    ONE_OUTAGE,
    PAGES,
    app,
    figures,
    go,
    make_small,
    metrics,
    put,
    said,
    sound,
    values_of,
)

TITLES = dict(zip(PAGES, ("Overview", "Import", "Study data", "Outage history", "Laterals", "Selection", "Compare",
                          "Business case", "Report", "Method"), strict=True))


@pytest.mark.parametrize("page", PAGES)
def test_every_page_of_the_demo_opens_with_its_name_and_the_caution(page):
    test = app(page)
    assert test.title[0].value == TITLES[page]
    assert CAUTION in said(test)


@pytest.mark.parametrize("page", PAGES)
def test_every_page_of_a_study_with_problems_says_so(page, small):
    put(small, {"sections.csv": b"section_id,parent_id,length_km,customers\na,b,1,x\n"})
    test = app(page, small)
    assert CAUTION in said(test)
    if page not in ("method", "import"):
        assert "problem" in said(test)


def test_study_page_lists_every_problem_with_its_place(small):
    put(small, {"sections.csv": b"section_id,parent_id,device,length_km,customers\na,,breaker,1,x\nb,a,fuze,-1,2\n"})
    test = app("study", small)
    shown = test.dataframe[0].value
    assert list(shown.columns) == ["file", "row", "column", "value", "rule", "remedy"]
    assert {(r.row, r.column, r.value) for r in shown.itertuples()} >= {
        (2, "customers", "x"), (3, "device", "fuze"), (3, "length_km", "-1")}


def test_study_page_tells_the_size():
    test, study = app("study"), open_study(workspace.folder_of("demo"))
    size = dict(test.dataframe[0].value.itertuples(index=False))
    assert size["Line sections"] == shown(len(study.sections), "count")
    assert size["Outage records"] == shown(len(study.outages), "count")
    assert count(int(study.sections["customers"].sum()), "customer") in said(test)


def test_a_study_that_is_not_there_is_the_demo():
    for asked in ("nobody", "../../etc", "/etc", "..", ".incoming", ""):
        test = app("overview", asked)
        assert test.selectbox("study_choice").value == workspace.DEMO


@pytest.mark.parametrize("name", list(workspace.DEMOS))
def test_each_demo_says_what_it_shows(name):
    assert workspace.DEMOS[name].shows in said(app("overview", name))


def test_another_study_is_chosen(small):
    test = app()
    test.selectbox("study_choice").set_value(small).run()
    assert "8 sections" in said(sound(test))
    assert "8 sections" in said(go(test, "method"))


def test_laterals_page_shows_effects_and_verdicts_of_the_core(small):
    test = app("laterals", small)
    results = compute(open_study(workspace.root() / small), "").results
    network = results.network
    checks = check_laterals(Model(network, results.study.values), results.study.scenarios[1])
    table = next(d.value for d in test.dataframe if "customer_minutes_avoided" in d.value)
    assert sorted(table["lateral_id"]) == sorted(network.ids[network.candidates].astype(str))
    less = 60 * (results.expected[0].fault_customer_hours - results.expected[1].fault_customer_hours)
    assert table["customer_minutes_avoided"].sum() == pytest.approx(less[network.lateral >= 0].sum(),
                                                                     abs=0.5 * len(table))      # whole minutes
    of = dict(zip(checks.lateral_ids, checks.verdict, strict=True))
    names = ("pass", "review", "unknown", "fail")
    assert all(names[of[r.lateral_id]] == r.verdict for r in table.itertuples())


def test_a_lateral_is_opened_by_the_link_and_shows_its_profile(small):
    test = app("laterals", small, lateral="tap-03")
    assert test.selectbox("lateral_pick").value == "tap-03"
    profile = next(f for f in figures(test) if "Fault current" in str(f["layout"]["yaxis"].get("title")))
    curve = profile["data"][0]
    km, current = values_of(curve["x"]), values_of(curve["y"])
    assert current[[0, -1]].tolist() == pytest.approx([1200, 680])
    assert km[-1] == pytest.approx(4.3)
    assert np.interp(4.3 / 2, km, 1 / current) == pytest.approx((1 / 1200 + 1 / 680) / 2)


def test_verdicts_are_filtered(small):
    test = app("laterals", small)
    test.button_group("verdicts_shown").set_value([]).run()
    table = next(d.value for d in sound(test).dataframe if "customer_minutes_avoided" in d.value)
    assert table.empty


def key_of(test, kind: str, start: str) -> str:
    """Key of the widget whose key begins so."""
    return next(w.key for w in getattr(test, kind) if str(w.key).startswith(start))


def test_choice_page_shows_the_choice_of_a_run(small):
    test = app("choice", small)
    study = open_study(workspace.root() / small)
    assert plain(decide(study).choice.message, 400) in said(test)
    test.radio(key_of(test, "radio", "objective")).set_value("saidi").run()
    best = choose(options_of(study), objective="saidi")
    assert (turns := saidi_turn(best.totals, BREAK_EVEN, "The selection"))
    assert turns in said(test)
    assert {label: value for label, value, _ in metrics(sound(test))}["Capital"] == money(
        best.totals["capex"], study.currency)


def test_limits_are_written_into_the_study_and_shown_again(small):
    test = app("choice", small)
    test.radio(key_of(test, "radio", "objective")).set_value("saidi").run()
    test.text_input(key_of(test, "text_input", "budget")).set_value("6000").run()
    test.multiselect(key_of(test, "multiselect", "forced_out")).set_value(["tap-01"]).run()
    test.toggle(key_of(test, "toggle", "settings")).set_value(True).run()
    capital = {label: value for label, value, _ in metrics(sound(test))}["Capital"]
    test.button("write_limits").click().run()
    study = open_study(workspace.root() / small)
    assert (study.values["objective"], study.values["budget"]) == ("saidi", 6000.0)
    assert study.values["backup_settings"] == "may_change"
    assert study.extra["laterals"] == {"tap-01": "out"}
    best = decide(study).choice
    assert money(best.totals["capex"], study.currency) == capital
    again = app("choice", small)
    assert again.text_input(key_of(again, "text_input", "budget")).value == "6\u202f000"
    assert again.toggle(key_of(again, "toggle", "settings")).value is True
    assert {label: value for label, value, _ in metrics(again)}["Capital"] == capital


def test_a_choice_becomes_a_scenario(small):
    test = app("choice", small)
    test.radio(key_of(test, "radio", "objective")).set_value("saidi").run()
    test.button("make_scenario").click().run()
    assert "is now a scenario" in said(sound(test))
    scenarios = open_study(workspace.root() / small).scenarios
    assert scenarios[-1].name == "Selection 1"
    assert scenarios[-1].laterals


def test_business_page_shows_both_perspectives(small):
    test = app("business", small)
    study = open_study(workspace.root() / small)
    case = compute(study, "").money[1]
    assert plain(case["verdict"], 300) in said(test)
    shown = {label: value for label, value, _ in metrics(test)}
    assert shown["Net present value"] == money(case["npv"], study.currency)
    test.button_group("view").set_value("society").run()
    base = compute(study, "")
    seen = replace(base.results.study, values={**study.values, "perspective": "society"})
    society = compute(seen, "", [base]).money[1]
    assert plain(society["verdict"], 300) in said(sound(test))


def test_history_page_ranks_feeders_and_laterals_by_the_records():
    test = app("history")
    test.session_state["history_tab"] = "Feeders and areas"
    tables = [d.value for d in sound(test.run()).dataframe]
    reported = read_history(open_study(workspace.folder_of("demo"))).reported
    feeders = next(t for t in tables if "feeder" in t)
    assert feeders["feeder"].tolist() == reported.feeders.table.index.tolist()
    np.testing.assert_allclose(feeders["saidi_min_all"], reported.feeders.table["saidi_min_all"])
    assert len(next(t for t in tables if "lateral" in t)) == len(reported.laterals.worst)
    assert set(next(t for t in tables if "area" in t)["area"]) == set(reported.areas[0].names)


def test_history_page_shows_the_records_indices():
    test = app("history")
    history = read_history(open_study(workspace.folder_of("demo")))
    shown = values_of(figures(test)[0]["data"][0]["y"])
    np.testing.assert_allclose(shown, history.every_event.years["saidi_min"])


def test_history_page_without_records_says_how_to_bring_them(small):
    assert "no outage records" in said(app("history", small))


def test_the_history_page_verifies_conversions_and_plans_a_pilot(small):
    laterals = [f"tap-{i:02}" for i in range(1, 4)]
    rows = "".join(f"{i}-{y}-{k},{lateral},{y}-0{k + 1}-05T10:00,{y}-0{k + 1}-05T12:00,5\n"
                   for i, lateral in enumerate(laterals) for y in range(2018, 2024)
                   for k in range(1 if i == 0 and y >= 2021 else 5))
    text = (workspace.root() / small / "study.toml").read_text(encoding="utf-8")
    put(small, {"outages.csv": f"event_id,section_id,started,restored,customers\n{rows}".encode(),
                "study.toml": toml_edit.set_values(text, {"chosen_by": "earlier_records"}).encode()
                + f'\n[history.conversions]\n"{laterals[0]}" = 2021-01-01\n'.encode()})
    test = app("history", small)
    test.session_state["history_tab"] = "Against the model"
    page = said(sound(test.run()))
    assert "Sustained interruptions: **fewer**" in page
    assert "the raw comparison decides" in page
    assert "Before a pilot" in page
    comparisons = next(d.value for d in test.dataframe if "comparison" in d.value)
    assert comparisons["comparison"].tolist() == ["Raw", "Predictive"] * 3
    assert any("years_total" in d.value for d in test.dataframe)


def test_an_ambiguous_order_of_dates_is_settled_on_the_page(small):
    put(small, {"outages.csv": b"event_id,section_id,started,restored,customers\n"
                               b"1,tap-01,03/04/2024 10:00,03/04/2024 12:00,10\n"})
    test = app("history", small)
    assert "to settle" in said(test)
    test.radio("date_order").set_value("day_first").run()
    assert open_study(workspace.root() / small).values["date_order"] == "day_first"
    assert "to settle" not in said(sound(test))


def test_a_run_is_recorded_reopened_and_reproduced(small):
    """With records, so that every stage of a run is named on the way."""
    put(small, {"outages.csv": ONE_OUTAGE})
    test = app("report", small)
    assert "No run is on record" in said(test)
    assert "On the cover: date –, prepared by –, approved by –" in said(test)
    assert "before the date of the report" not in said(test)
    assert "no part of a run" not in said(test)
    with short_chains():
        test.button("run").click().run()
    study = open_study(workspace.root() / small)
    assert study.inputs_sha256 in said(sound(test))
    assert "still those of this run" in said(test)
    results = next((workspace.root() / small / ".kept" / "runs").iterdir()) / "results"
    recorded = json.loads((results / "summary.json").read_text())
    shown = next(d.value for d in test.dataframe if "saifi" in d.value)
    assert shown["saifi"].tolist() == [s["expected"]["saifi"] for s in recorded["scenarios"]]
    summary, = (e.proto.body for e in test.get("html") if '<div class="report-summary">' in e.proto.body)
    paragraphs, report = summary.split("<p>")[1:], (results / "report.html").read_text(encoding="utf-8")
    assert len(paragraphs) > 2
    assert all(f"<p>{paragraph.removesuffix('</div>')}" in report for paragraph in paragraphs)
    put(small, {"study.toml": (workspace.root() / small / "study.toml").read_bytes() + b"\n# changed\n"})
    again = app("report", small)
    assert "changed since" in said(again)
    again.button("reopen").click().run()
    copies = [n for n in workspace.studies() if n.startswith("small-as-of")]
    assert open_study(workspace.root() / copies[0]).inputs_sha256 == study.inputs_sha256


def test_the_report_s_page_warns_of_a_past_first_year_and_of_a_change_that_is_not_saved(small):
    text = (workspace.root() / small / "study.toml").read_text(encoding="utf-8")
    text = text.replace("# first_year = …", "first_year = 2025").replace("# date = …", 'date = "2026-03-31"')
    put(small, {"study.toml": text.encode()})
    test = app("report", small)
    assert "On the cover: date 2026-03-31" in said(test).replace("\\", "")
    assert "would begin in 2025, before the date of the report (2026)" in said(test)
    test.session_state["edit_outcomes"] = {(small, "sections"): (Outcome(None), datetime.now())}
    assert "no part of a run" in said(sound(test.run()))


def test_method_page_states_the_study_s_assumptions_with_their_source():
    test, study = app("method"), open_study(workspace.folder_of("demo"))
    table = test.dataframe[1].value.set_index("key")
    assert float(table.loc["restoration.switching_hours", "value"]) == study.values["switching_hours"]
    assert table.loc["faults.temporary_fraction", "low"] == study.uncertain["temporary_fraction"].low
    assert table.loc["faults.temporary_fraction", "range_set_by"] == "study"
    assert table.loc["restoration.switching_hours", "range_set_by"] == "default"
    assert "ranges of inputs are the tool's defaults" in said(test)
    assert (table["source"] != "").all()
    assert (test.dataframe[0].value[["what", "formula", "source"]] != "").all(axis=None)


def test_the_first_page_says_what_is_proposed_and_what_is_not_known():
    test = app(study="demo")
    study = open_study(workspace.folder_of("demo"))
    now = compute(study, "")
    for _ in range(60):
        if "Computing the data gaps" not in said(test):
            break
        time.sleep(0.2)
        test.run()
    case, text = now.money[1], said(test)
    assert "Convert 27 of 610 laterals to sectionalizers" in text
    assert plain(f"for {money(case['capex'], study.currency)}. This pays") in text
    shown_figures = {label: value for label, value, _ in metrics(test)}
    assert shown_figures["Net present value"] == money(case["npv"], study.currency)
    for gap in data_gaps(now):
        assert plain(in_words(gap, study.currency), 400) in text
    test.button("gap_1").click().run()
    assert sound(test).title[0].value == "Study data"
    assert test.session_state["study_tab"] == "Assumptions"


def test_without_a_proposal_the_first_page_says_why_and_what_would_have_to_differ(small):
    name = make_small("dear", lambda t: t.replace("# sectionalizer_cost = …", "sectionalizer_cost = 9000.0"))
    test, now = app(study=name), compute(open_study(workspace.root() / name), "")
    assert now.decision.scenario is None
    text = said(test)
    assert "No conversion is proposed" in text
    needed = needed_for_a_proposal(now)
    assert needed[2]
    assert plain(overview_words.needed(needed, "USD"), 700) in text


def test_the_other_example_is_one_press_away():
    test = app(study=None)
    assert test.selectbox("study_choice").value == workspace.DEMO
    other = next(name for name in workspace.DEMOS if name != workspace.DEMO)
    test.button(f"demo_{other}").click().run()
    assert test.selectbox("study_choice").value == other
    assert workspace.DEMOS[other].shows in said(sound(test))


def test_lengths_are_in_kilometres_or_miles(small):
    test, study = app("study", small, lengths="mi"), open_study(workspace.root() / small)
    size = dict(test.dataframe[0].value.itertuples(index=False))
    assert size["Length, mi"] == number(study.network.column["length_km"].sum() / 1.609344)
    assert "Length, km" in dict(app("study", small).dataframe[0].value.itertuples(index=False))


@pytest.mark.parametrize("page", PAGES)
def test_no_column_is_headed_by_a_raw_name(page):
    test = app(page)
    history = ("Years and days", "Feeders and areas", "The data itself", "Against the model")
    tabs = history if page == "history" else ("",)
    for tab in tabs:
        if tab:
            test.session_state["history_tab"] = tab
            sound(test.run())
        for table in test.dataframe:
            layout = json.loads(table.proto.columns or "{}")
            for column in map(str, table.value.columns):
                label = layout.get(column, {}).get("label") or column
                assert not re.search("[a-z]_[a-z]", label), (page, tab, column)
