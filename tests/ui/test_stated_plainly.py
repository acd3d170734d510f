"""What a reader is told without having to look for it: what is ready, both perspectives, and what is moved."""

from __future__ import annotations

import time
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from reliability.business.cashflow import business_summary
from reliability.business.chosen_checks import checks_of_selection
from reliability.business.costs import SOCIETY
from reliability.business.proposal import converted_laterals
from reliability.business.selection import choose
from reliability.data_gaps import data_gaps
from reliability.formats import count, money, percent, shown
from reliability.network.application import check_laterals
from reliability.network.application_catalogue import FAIL, PASS
from reliability.pipeline import options_of
from reliability.report.sentences_break_even import SHARE_KIND
from reliability.schema.scenarios import Scenario
from reliability.study import open_study, workspace
from reliability.ui import coordination_panel, edit, moved, overview_words, pins, readiness, report_page, sliders
from reliability.ui.chosen import Selection, question_of
from reliability.ui.laterals_page import evidence_in_words
from reliability.ui.limits import stated
from reliability.ui.money_charts import cashflow_chart
from reliability.ui.not_chosen import changes, not_chosen
from reliability.ui.text import plain
from reliability.what_if import Asked, ScenarioResults, compute, moved_study
from tests.ui.conftest import app, make_small, metrics, said, sound


@pytest.fixture(scope="module")
def demo() -> ScenarioResults:
    return compute(open_study(workspace.DEMOS["demo"].source), "")


@pytest.fixture
def pays() -> str:
    """Name of a small study with a proposal."""
    return make_small("pays", lambda t: t.replace("# sectionalizer_cost = 2200.0", "sectionalizer_cost = 900.0"))


def wait_for(test, words: str) -> str:
    """Text of the page once something that is computed beside it is there."""
    for _ in range(60):
        if words not in said(test):
            break
        time.sleep(0.2)
        test.run()
    return said(sound(test))


def test_headline_and_tables_say_what_is_ready_and_what_on_hold(demo):
    selection = demo.decision.choice.selection
    checks = checks_of_selection(demo.results.study.model, selection)
    of = dict(zip(checks.lateral_ids, checks.verdict == PASS, strict=True))
    ready = sum(of[i] for i in selection["section_id"])
    held = len(selection) - ready
    assert held > 0 < ready
    assert f"sectionalizers \\({ready} ready, {held} on hold\\) for" in said(app())
    test = app("choice")
    tiles = {name: value for name, value, _ in metrics(test)}
    assert (tiles["Ready for work"], tiles["On hold until checks pass"]) == (str(ready), str(held))
    table = next(d.value for d in test.dataframe if "status" in d.value)
    assert table["status"].value_counts().to_dict() == {"ready": ready, "on hold": held}
    assert [of[i] for i in table["section_id"]] == (table["status"] == "ready").tolist()


def test_a_lateral_recloser_has_no_checks(demo):
    selection = demo.decision.choice.selection.assign(device="lateral_recloser")
    assert set(readiness.statuses(demo, selection)) == {"no checks"}
    assert readiness.in_words(demo, selection) == ""


def test_society_stands_beside_the_utility_and_the_other_way_round(pays):
    now = compute(open_study(workspace.root() / pays), "")
    at = now.names.index("Proposed")
    case = business_summary(now.results.perspectives[SOCIETY])[at]
    society, utility = money(case["npv"], "USD"), money(now.money[at]["npv"], "USD")
    change = money(abs(case["savings_per_year"]["interruption_cost_saving"]), "USD")
    for page in ("overview", "business"):
        text = said(app(page, pays, scenario="Proposed"))
        assert f"**To society, customers' interruption costs counted:** {plain(f'NPV {society}, above 0')}" in text
        assert plain(f"by {change} a year.") in text
    assert f"**To the utility alone:** {plain(f'NPV {utility}, above 0')}" in said(
        app(study=pays, perspective=SOCIETY))


def test_gaps_are_those_of_the_moved_state():
    test, study = app(sliders="crew_rate_per_hour:200.0", perspective=SOCIETY), open_study(workspace.folder_of("demo"))
    base = compute(study, "")
    values = {"crew_rate_per_hour": 200.0}
    there = compute(moved_study(study.with_assumptions(perspective=SOCIETY), values, base), "moved", [base])
    text = wait_for(test, "Computing the data gaps")
    for gap in data_gaps(there, moved=values):
        assert plain(f"from {money(gap.low)} to {money(gap.high, 'USD')}") in text
    crew = next(g for g in data_gaps(there, 40, values) if g.key == "crew_rate_per_hour")
    assert crew.open.startswith("moved to 200 USD per h; ")


def test_laterals_that_come_in_or_drop_out_are_listed_with_why(demo):
    moves = {"crew_rate_per_hour": 120.0}
    there = compute(moved_study(demo.results.study, moves, demo), "moved", [demo])
    options = options_of(there.results.study)
    found = Selection(question_of(there.results.study, stated(demo.results.study)), options, choose(options), False,
                      True)
    was, now = (set(converted_laterals(c)) for c in (demo.decision.choice, found.choice))
    table = changes(there, found, not_chosen(there, found))
    assert set(table.loc[table["change"] == "drops out", "section_id"]) == was - now != set()
    assert set(table.loc[table["change"] == "comes in", "section_id"]) == now - was
    assert set(table.loc[table["change"] == "drops out", "why"]) == {"costs more than it saves"}
    same = replace(found, choice=demo.decision.choice)
    assert changes(there, same, not_chosen(there, same)).empty


def test_the_share_of_reclosing_off_at_which_npv_turns_stands_beside_that_of_saidi(demo):
    at = demo.names.index("Proposed")
    share, on, off = overview_words.npv_turns(demo, at)
    assert (on, off < 0.0) == (pytest.approx(demo.money[at]["npv"], rel=0.05), True)
    text = wait_for(test := app(), "being computed")
    assert plain(f"It pays only where less than {shown(share, SHARE_KIND)} of faults do", 700) in text
    figure = {name: (value, change) for name, value, change in metrics(test)}["Reclosing off at which SAIDI turns"]
    assert figure[1] == f"NPV at {shown(share, SHARE_KIND)}"
    saidi = demo.results.break_even.reclosing_off_share[at]
    assert figure[0] == shown(saidi, SHARE_KIND) != percent(saidi)
    assert plain(f"less than {figure[0]} of faults", 700) in text.replace("\u00a0", " ")
    assert overview_words.npv_turn((np.nan, -2.0, -1.0), "fast") == (
        "It does not pay, whatever share of faults happens while reclosing is off.")
    assert "more than 20.0 %" in overview_words.npv_turn((0.2, -2.0, 8.0), "fast")


def test_another_choice_at_moved_inputs_is_told_on_the_first_page(pays):
    study = open_study(workspace.root() / pays)
    base, moves = compute(study, ""), {"lateral_recloser_cost": 900.0}
    there = compute(moved_study(study, moves, base), "moved", [base])
    text = wait_for(app(study=pays, sliders="lateral_recloser_cost:900.0"), "Choosing again")
    again = choose(options_of(there.results.study))
    assert again.message != base.decision.choice.message
    assert plain(f"the selection is another one: {again.message}", 500) in text
    was, now = (c.selection.set_index("section_id")["device"].to_dict() for c in (base.decision.choice, again))
    assert set(was) == set(now)
    other = sorted(i for i in now if now[i] != was[i])
    assert plain(f"{count(len(other), 'has another device', 'have another device')}: {other[0]}") in text
    fewer = replace(again, selection=again.selection[again.selection["section_id"] != other[0]])
    assert f"1 drops out: {other[0]}." in overview_words.chosen_again(base, fewer)
    assert f"{len(now)} come in: {min(now)}" in overview_words.chosen_again(
        replace(base, decision=replace(base.decision, choice=replace(again, selection=again.selection[:0]))), again)
    assert "Chosen again" not in said(app(study=pays))
    same = wait_for(app(study=pays, sliders="sectionalizer_failure:0.021"), "Choosing again")
    assert "Chosen again at the moved inputs, the selection is the same" in same


def test_what_is_moved_has_its_unit_and_the_studys_value():
    study = open_study(workspace.DEMOS["demo"].source)
    words = moved.in_words(Asked({"sectionalizer_cost": 5000, "existing_fast_operations": 0}), study)
    assert words[0].startswith("sectionalizer, installed 5\u202f000 USD per unit (the study: ")
    assert words[1] == "fast operations of existing devices 0 (the study: as stated)"


def test_a_selection_of_several_devices_has_each_in_a_tile():
    name = make_small("dear", lambda t: t.replace("# sectionalizer_cost = 2200.0", "sectionalizer_cost = 9000.0"))
    tiles = {n: v for n, v, _ in metrics(app("choice", name, limits="objective:saidi"))}
    assert {"To sectionalizers", "To lateral reclosers"} <= set(tiles)


def test_every_lateral_left_has_its_reason_and_its_npv(demo):
    study, selection = demo.results.study, demo.decision.choice.selection
    table = next(d.value for d in app("choice").dataframe if "why" in d.value)
    network = demo.results.network
    assert len(table) == len(network.candidates) - len(selection)
    assert not set(table["section_id"]) & set(selection["section_id"])
    rows = demo.decision.options.rows
    alone = rows[(rows["device"] != "") & (rows["lateral"] >= 0)].groupby("lateral")["npv"].max()
    npv = dict(zip(network.ids[demo.decision.options.heads[alone.index]], alone, strict=True))
    dear = table[table["why"] == "costs more than it saves"]
    assert len(dear)
    assert all(npv[r.section_id] <= 0.0 and r.npv == pytest.approx(npv[r.section_id]) for r in dear.itertuples())
    failing = set(table.loc[table["why"].str.contains("check fails"), "section_id"])
    checks = check_laterals(study.model, Scenario("", None, "sectionalizer"))
    assert failing <= set(checks.lateral_ids[checks.verdict == FAIL])


def test_a_lateral_under_a_limit_is_not_chosen_within_the_limits(pays):
    test = app("choice", pays, limits="budget:1300.0")
    table = next(d.value for d in test.dataframe if "why" in d.value)
    assert (table.loc[table["npv"] > 0.0, "why"] == "not within the limits").all()
    assert (table["npv"] > 0.0).any()
    out = str(table["section_id"].iloc[0])
    test = app("choice", pays, limits=f"forced_out:{out}")
    table = next(d.value for d in test.dataframe if "why" in d.value).set_index("section_id")
    assert table.loc[out, "why"] == "never convert: a limit"


def test_a_sectionalizer_that_stands_there_has_no_price_of_its_conversion(demo):
    found = Selection(question_of(demo.results.study, stated(demo.results.study)), demo.decision.options,
                      demo.decision.choice, True, False)
    table = not_chosen(demo, found).set_index("why")
    standing = table.loc["has a sectionalizer"]
    here = standing[standing["device"] == "sectionalizer"]
    assert len(here)
    assert here[["capex", "npv", "customer_minutes_avoided"]].isna().all(axis=None)
    assert table.loc["costs more than it saves", ["capex", "npv"]].notna().all(axis=None)


def test_minutes_of_what_is_not_chosen_are_those_of_its_best_conversion(demo):
    options = demo.decision.options
    found = Selection(question_of(demo.results.study, stated(demo.results.study)), options, demo.decision.choice, True,
                      False)
    table = not_chosen(demo, found).dropna(subset="npv")
    rows = options.rows[options.rows["lateral"] >= 0]
    ids = options.network.ids[options.heads[rows["lateral"]]].astype(str)
    hours = dict(zip(zip(ids, rows["device"], rows["npv"], strict=True), rows["customer_hours_avoided"], strict=True))
    wanted = [60.0 * hours[key] for key in table[["section_id", "device", "npv"]].itertuples(index=False, name=None)]
    assert table["customer_minutes_avoided"].tolist() == pytest.approx(wanted)


def test_figures_of_the_selection_have_their_units(demo):
    names = [name for name, *_ in metrics(app("choice"))]
    assert {"SAIDI avoided, min/yr", "MAIFI_E added, 1/yr", "Call-outs avoided, 1/yr"} <= set(names)


def test_a_benefit_over_next_to_no_cost_is_no_figure_in_the_table_either(demo):
    table = next(d.value for d in app("business").dataframe if "bcr" in d.value).set_index(["perspective", "scenario"])
    found = demo.results.perspectives[SOCIETY]
    for s, case in enumerate(business_summary(found)):
        if s:
            shown_one = table.loc[("Societal", demo.names[s]), "bcr"]
            assert np.isnan(shown_one) == (abs(case["bcr"]) > 100.0)
    assert table["bcr"].isna().any()
    assert table["bcr"].notna().any()


def test_what_is_chosen_stands_in_sums_by_status_and_feeder(demo):
    table = next(d.value for d in app("choice").dataframe if "part" in d.value).set_index("part")
    assert table.loc["All", "npv"] == pytest.approx(demo.decision.choice.totals["npv"])
    for kind in ("Status", "Feeder"):
        part = table[table.index.str.startswith(kind)]
        assert part["capex"].sum() == pytest.approx(demo.decision.choice.totals["capex"])
        assert part["laterals"].sum() == demo.decision.choice.totals["laterals"]


def test_coordination_follows_a_scenario_that_changes_fast_operations(demo):
    plans = demo.results.table.protections
    for s in range(len(demo.names)):
        changes = bool((plans[s].fast != plans[0].fast).any())
        assert coordination_panel.followed(demo, s) == (s if changes else 0)
    fast = next(s for s in range(len(demo.names)) if coordination_panel.followed(demo, s))
    text = said(app("laterals", scenario=demo.names[fast]))
    assert f"under {plain(demo.names[fast])}" in text
    assert "With reclosing on" in text
    assert "as built" in said(app("laterals", scenario=demo.names[1]))


def test_a_change_that_is_rounding_is_none(demo):
    pinned = {name: {"saidi_min": demo.indices[s]["saidi_min"] + 1e-12 + s, "npv": demo.money[s]["npv"]}
              for s, name in enumerate(demo.names)}
    table = pins.beside({"figures": pinned}, demo)
    changes = table.loc[table["measure"] == "SAIDI", "change"].tolist()
    assert changes[0] == 0.0
    assert changes[1:] == pytest.approx([-s for s in range(1, len(changes))])


def test_counts_are_whole_and_their_margin_is_said(demo):
    evidence = pd.DataFrame({"label": list("abcde"), "value": [3.0, 2.0, 4.0, np.nan, 22.125],
                             "limit": [3.0, 3.0, 3.0, 3.0, 25.0], "unit": [*["counts"] * 4, "A"],
                             "margin": [1.0, 1.5, 0.75, np.nan, 1.13]})
    shown = evidence_in_words(evidence)
    assert shown["value"].tolist() == ["3", "2", "4", "–", "22.1"]
    assert shown["margin"].tolist() == ["just met", "1 count to spare", "1 count short", "–", "1.13 ×"]
    table = next(d.value for d in app("laterals").dataframe if "margin" in d.value)
    assert {v for v, u in zip(table["value"], table["unit"], strict=True) if u == "counts"} <= {"1", "2", "3", "4", "–"}


def test_what_only_loses_has_no_price(demo):
    base, moves = demo, {"reclosing_off_share": 0.2}
    there = compute(moved_study(demo.results.study, moves, base), "off", [base])
    at = demo.names.index("Proposed")
    assert ", at the price of 1.13 more momentary" in overview_words.effect(demo, at)
    text = overview_words.effect(there, at)
    assert "more minutes without power" in text
    assert " a year, and 0.907 more momentary" in text


@pytest.mark.parametrize(("npv", "begins"), [(5000.0, "Convert 27 of 610"), (-5000.0, "The proposal, to convert 27")])
def test_what_does_not_pay_is_no_request(demo, npv, begins):
    at = demo.names.index("Proposed")
    case = [m | {"npv": npv} if s == at else m for s, m in enumerate(demo.money)]
    now = replace(demo)
    vars(now)["money"] = case
    text = overview_words.proposal(now, at, None)
    assert text.startswith(begins)
    assert ("for 57\u202f200 USD, does not pay over 20 years" in text) == (npv < 0)
    assert "convert" in text.casefold()


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_the_proposal_counts_the_laterals_that_its_figures_are_of(demo, share):
    """A share of the laterals, as the page Compare has it, is what the first page says and lists."""
    moves = {"share_converted": share} if share < 1.0 else {}
    now = compute(moved_study(demo.results.study, moves, demo), f"share {share}", [demo]) if moves else demo
    at = now.names.index("Proposed")
    heads, plans = now.results.network.candidates, now.results.table.protections
    changed = int((plans[at].device[heads] != plans[0].device[heads]).sum())
    rows = readiness.carried_out(now, at)
    assert (rows["what"] == "lateral").sum() == changed == round(27 * share)
    assert rows.loc[rows["what"] == "lateral", "capex"].sum() == pytest.approx(now.money[at]["capex"])
    text = overview_words.proposal(now, at, None)
    assert (f"onvert {changed} of 610 laterals" in text) == (changed > 0)


def test_the_study_page_has_the_row_that_was_asked_for_first(pays):
    test = app("study", pays)
    test.session_state[edit.WANTED], test.session_state["study_tab"] = "discount_rate", "Assumptions"
    text = said(sound(test.run()))
    assert "**Discount rate** is the first row" in text


def test_the_report_page_leads_to_what_stands_on_its_cover(pays):
    """The day is the first of the assumptions there, and the others of the report follow it."""
    test = app("report", pays)
    test.run()
    test.button("state_face").click().run()
    assert sound(test).title[0].value == "Study data"
    assert (test.session_state["study_tab"], test.session_state[edit.WANTED]) == ("Assumptions", "date")
    assert "**Date of the report** is the first row" in said(test)


def test_an_earlier_version_says_what_was_written_then():
    before, after = (f"[costs]\ncrew_rate_per_hour = {rate}\n".encode() for rate in (160, 200))
    assert edit.written_since({"study.toml": before}, {"study.toml": after}) == "then written: Crew rate: 200"
    with_range = b'name = "x"\n[costs]\ncrew_rate_per_hour = { low = 100, likely = 160, high = 200 }\n[[scenarios]]\n'
    assert edit.written_since({"study.toml": before}, {"study.toml": with_range}) == (
        "then written: Crew rate: 160 (100 to 200); scenarios")
    assert edit.written_since({"study.toml": before}, {"study.toml": b'name = "x"\n' + before}) == (
        "then written: other settings")
    assert "could not be read" in edit.written_since({"study.toml": b"= 3"}, {"study.toml": after})
    assert edit.written_since({"study.toml": before}, {}) == ""


def test_the_tooltip_of_a_range_says_that_the_slider_stands_at_its_mean():
    study = open_study(workspace.DEMOS["wooded-town"].source)
    key = next(k for k in sliders.sliders(study) if k in study.stated_ranges)
    words = sliders.stated_in_words(study, key, sliders.sliders(study)[key])
    assert "the mean of " in words
    assert words.endswith("(low, likely, high)")


def test_what_customers_lose_is_not_called_avoided(demo):
    flow = pd.DataFrame({"year": [0, 1], "capex": [5.0, 0.0], "inspection": [0.0, 1.0], "discounted": [-5.0, -1.0],
                         "callout_saving": [0.0, 2.0], "energy_saving": [0.0, 0.0], "incentive": [0.0, 0.0],
                         "interruption_cost_saving": [0.0, -3.0]})
    assert [t.name for t in cashflow_chart(flow, "USD").data][:2] == ["Call-outs saved", "Customers' gain or loss"]


def test_scenarios_of_a_run_stand_in_the_order_of_every_page():
    run = SimpleNamespace(summary={"scenarios": [{"name": n} for n in ("As built", "All", "Proposed", "Fast")]})
    assert [s["name"] for s in report_page.in_order(run)] == ["As built", "Proposed", "All", "Fast"]


def test_another_feeder_brings_its_best_lateral(demo):
    test = app("laterals")
    first = test.selectbox("lateral_pick").value
    feeders = dict(zip(demo.results.network.ids.astype(str),
                       demo.results.network.feeder_ids[demo.results.network.feeder].astype(str), strict=True))
    other = next(f for f in test.selectbox("map_feeder").options if f in feeders.values() and f != feeders[first])
    test.selectbox("map_feeder").set_value(other).run()
    assert feeders[sound(test).selectbox("lateral_pick").value] == other
