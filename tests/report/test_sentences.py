"""Sentences change with the results: what does not pay reads so, and noise is called noise."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from reliability.business.break_even import BREAK_EVEN
from reliability.formats import money, number, shown
from reliability.report.content import proposal
from reliability.report.figures import plain
from reliability.report.sections_business import drivers
from reliability.report.sentences import (
    change,
    effect,
    headline,
    scenario_sentences,
    trials_cut,
    verdict,
    worth,
)
from reliability.report.sentences_break_even import momentary_value, scenario_saidi_gain
from reliability.schema.assumptions import ASSUMPTIONS, label_of

CASE = ("scenarios", 1, "business")
APART = ("scenarios", 1, "difference_to_as_built", "saifi")


def case(npv, bcr, low, high, chance):
    return {(*CASE, "npv"): npv, (*CASE, "bcr"): bcr, (*CASE, "npv_p10"): low, (*CASE, "npv_p90"): high,
            (*CASE, "probability_npv_positive"): chance}


@pytest.mark.parametrize(("figures", "said", "unsaid"), [
    ((5e4, 1.4, 2e4, 8e4, 1.0), ["pays over 20 years",
                                 "NPV) is 50\u202f000 USD, 80 % range 20\u202f000 to 80\u202f000 USD",
                                 "above 0 in every trial"],
     ["does not", "certain", "cover"]),
    ((5e4, 1.4, -2e4, 8e4, 0.8), [
        "pays over", "above 0 in 80.0 % of the trials; the sign is not certain"], ["not pay"]),
    ((5e4, 1.4, -9e4, 8e4, 0.4), [
        "pays over", "most trials have the opposite sign, so the result is inconclusive"], []),
    ((-5e4, 0.4, -8e4, -2e4, 0.0), ["does not pay over", "−50\u202f000 USD", "above 0 in no trial",
                                    "Its savings cover 40.0 % of its costs"], [" pays "]),
    ((-5e4, -0.4, -8e4, -2e4, 0.0), [
        "does not pay", "It saves nothing; its yearly costs add to its capital"], ["cover"]),
    ((-5e4, 0.0, -8e4, -2e4, 0.0), ["It saves nothing."], ["cover", "yearly costs"]),
    ((0.0, 1.0, -1e3, 1e3, 0.5), ["neither pays nor costs"], ["does not pay"]),
    ((-5e4, 0.4, None, None, None), ["does not pay", "−50\u202f000 USD."], ["trials"]),
    ((None, None, None, None, None), ["no business case was computed"], ["pay"]),
])
def test_whether_a_scenario_pays_and_how_sure(changed, figures, said, unsaid):
    text = plain(worth(changed(case(*figures)), 1))
    assert not [s for s in said if s not in text], text
    assert not [s for s in unsaid if s in text], text


def test_one_year_is_singular(changed, content):
    study = replace(content.study, values={**content.study.values, "horizon_years": 1})
    assert "over 1 year, seen by the utility" in plain(worth(replace(changed(case(1e3, 2, 1, 2e3, 1)), study=study), 1))
    society = replace(content.study, values={**content.study.values, "perspective": "society"})
    assert "seen by society" in plain(worth(replace(content, study=society), 1))


@pytest.mark.parametrize(("after", "mean", "error", "told", "said"), [
    (0.8, -0.2, 0.01, "less", "0.800 sustained interruptions a year (SAIFI) instead of 1.00 (20.0 % less)"),
    (2.0, 1.0, 0.01, "more", "2.00 sustained interruptions a year (SAIFI) instead of 1.00 (100 % more)"),
    (1.2, 0.2, 0.01, "more", "1.20 sustained interruptions a year (SAIFI) instead of 1.00 (20.0 % more)"),
    (0.99, -0.01, 0.006, "noise", "not significant: −0.0100 ± 0.00600 as simulated"),
    (0.99, -0.01, 0.004, "less", "1.0 % less"),
    (1.0, 0.0, 0.0, "same", "1.00 sustained interruptions a year (SAIFI) as today"),
    (1.0 + 1e-13, 0.0, 0.0, "same", "as today"),
    (0.8, None, None, "less", "20.0 % less"),
    (None, None, None, "none", "an unknown number of"),
])
def test_a_difference_is_told_by_its_size_and_its_noise(changed, after, mean, error, told, said):
    now = changed({("scenarios", 0, "expected", "saifi"): 1.0, ("scenarios", 1, "expected", "saifi"): after,
                   (*APART, "mean"): mean, (*APART, "se"): error})
    assert verdict(now, 1, "saifi") == told
    assert said in plain(change(now, 1, "saifi"))


def test_more_from_nothing_has_no_per_cent(changed):
    now = changed({("scenarios", 0, "expected", "saifi"): 0.0, ("scenarios", 1, "expected", "saifi"): 0.1,
                   (*APART, "mean"): 0.1, (*APART, "se"): 0.001})
    assert plain(change(now, 1, "saifi")) == "0.100 sustained interruptions a year (SAIFI) instead of 0"


def test_the_summary_follows_the_selection(content):
    rows = {label: plain(s) for label, s in headline(content)}
    totals = content.selected.totals
    assert f"the selection would convert {totals['laterals']:.0f} to sectionalizers" in rows["Proposal"]
    assert f"{money(totals['capex'], 'USD')} to install and pays" in rows["Cost"]
    gains = rows["Effect on customers"]
    assert f"has {number(totals['saidi_minutes_avoided'])} fewer minutes without power, " in gains
    assert f"{number(totals['saifi_avoided'])} fewer sustained interruptions and " in gains
    assert f"{number(totals['maifi_e_added'])} more momentary events a year." in gains
    assert "40 simulated horizons, 800 years in total" in rows["Confidence"]


def test_the_summary_of_a_selection_that_loses_or_is_empty(content):
    loses = replace(content.selected, totals={
        **content.selected.totals, "npv": -5.0, "saidi_minutes_avoided": -1.25, "saifi_avoided": 0.0,
        "maifi_e_added": -0.25})
    rows = {label: plain(s) for label, s in headline(replace(content, selected=loses))}
    assert "to install and does not pay (expected NPV −5 USD, seen by the utility)" in rows["Cost"]
    assert ("1.25 more minutes without power, as many sustained interruptions and 0.250 fewer momentary events a year."
            in rows["Effect on customers"])
    empty = replace(content.selected, frame=content.selected.frame.iloc[:0], message="Nothing to convert.")
    rows = {label: plain(s) for label, s in headline(replace(content, selected=empty))}
    assert "The selection proposes no conversion. Nothing to convert." in rows["Proposal"]


def test_one_lateral_is_singular(content):
    one = content.laterals[content.laterals["lateral_id"] == content.laterals["lateral_id"].iloc[0]]
    text = dict(headline(replace(content, laterals=one, selected=replace(
        content.selected, frame=content.selected.frame.iloc[:1]))))["Proposal"]
    assert plain(text).startswith("Of 1 lateral in the study, the selection would convert 1 to sectionalizers")


def test_a_rival_that_is_worth_more_is_named(content):
    rival = content.scenarios.index("Fast tripping everywhere")
    npv = content.at("scenarios", rival, "business", "npv")
    assert f"“Fast tripping everywhere”, has a higher NPV: {money(npv, 'USD')}" in plain(
        dict(headline(content))["Cost"])


def test_a_rival_that_is_worth_less_is_not(changed, content):
    better = {("scenarios", i, "business", "npv"): (9e6 if i == 1 else 1.0) for i in range(1, len(content.scenarios))}
    assert "alternative" not in plain(dict(headline(changed(better)))["Cost"])


def test_every_scenario_has_its_sentence(content):
    told = [plain(s) for s in scenario_sentences(content)]
    assert len(told) == len(content.scenarios) - 1
    assert all(name in text for name, text in zip(content.scenarios[1:], told, strict=True))
    assert told[content.scenarios.index("Fast tripping blocked") - 1].startswith("Without new devices: ")


def test_without_money_a_scenario_is_told_by_what_it_changes(changed, content):
    bare = changed({("scenarios", i, "business"): None for i in range(len(content.scenarios))})
    told = plain(scenario_sentences(bare)[0])
    assert told == plain(effect(bare, 1))
    assert "crews are called out" in told


def test_ranges_that_are_not_given_and_records_that_are_not_there(content):
    bare = replace(content, study=replace(content.study, uncertain={}), history=None)
    text = plain(dict(headline(bare))["Confidence"])
    assert "No assumption is given as a range" in text
    assert "no outage records to compare with" in text


def test_the_main_driver_is_named_with_its_turning_point(content):
    named = content.scenarios[proposal(content)]
    first = content.drivers[content.drivers["scenario"] == named].iloc[0]
    text = plain(dict(headline(content))["Confidence"])
    assert f"is most sensitive to “{first['label']}”" in text
    if pd.notna(first["break_even"]):
        assert "It is 0 at" in text


@pytest.mark.parametrize(("npv", "said"), [
    ((-9e5, -2e5, -9e5), "“{second}” has the smallest loss of those that install devices"),
    ((-9e5, -9e5, 2e5), "“{third}” has the highest NPV of those that install devices"),
    ((None, None, None), "“{first}” is the first of those that install devices"),
])
def test_how_the_scenario_spoken_of_stands_among_those_that_install(installing, npv, said):
    now = installing(npv)
    first, second, third = now.scenarios[1:4]
    assert said.format(first=first, second=second, third=third) in plain(dict(headline(now))["Proposal"])


def test_one_scenario_that_installs_has_no_rank(installing):
    now = installing([-9e5])
    assert f"“{now.scenarios[1]}” is the one that installs devices." in plain(dict(headline(now))["Proposal"])


@pytest.mark.parametrize(("own", "other", "told"), [
    (5e4, -7e4, True), (-5e4, 7e4, True), (5e4, 7e4, False), (-5e4, -7e4, False), (5e4, None, False)])
def test_the_other_perspective_is_told_where_it_turns_the_sign(changed, own, other, told):
    now = changed({**case(own, 0.4, None, None, None), ("scenarios", 1, "business_society", "npv"): other})
    text = plain(worth(now, 1))
    assert ("From the perspective of society the result is the opposite" in text) == told
    assert not told or f"its NPV is {'−' if other < 0 else ''}70\u202f000 USD" in text


def test_trials_cut_for_want_of_memory_are_told(changed):
    assert trials_cut(changed({("trials_limited_by_memory",): False}).summary) == ()
    assert trials_cut(changed({("trials_limited_by_memory",): None}).summary) == ()
    cut = changed({("trials_limited_by_memory",): True, ("trials",): 1})
    assert plain(trials_cut(cut.summary)).startswith("Only 1 trial was simulated, fewer than asked for")
    assert plain(trials_cut(cut.summary)) in plain(dict(headline(cut))["Confidence"])
    many = changed({("trials_limited_by_memory",): True, ("trials",): 1234})
    assert plain(trials_cut(many.summary)).startswith("Only 1\u202f234 trials were simulated")


@pytest.fixture
def installing(changed, content):
    """A function that returns the content with devices in the first scenarios alone, one for each NPV given."""
    def install(npvs):
        scenarios = range(1, len(content.scenarios))
        units = {("scenarios", i, "business", "units"): 5 if i <= len(npvs) else 0 for i in scenarios}
        return changed(units | {("scenarios", i, "business", "npv"): v for i, v in enumerate(npvs, 1)})
    return install


def turning(content, key, break_even):
    """The sentence on what turns the answer, if only `key` did."""
    frame = content.drivers[content.drivers["scenario"] == content.scenarios[1]].head(1).assign(
        assumption=key, label="", unit="", break_even=break_even, break_even_in_range=True)
    return plain(drivers(replace(content, drivers=frame)).blocks[1].sentence)


@pytest.mark.parametrize(("key", "said"), [
    ("incentive_per_saidi_minute", "“Incentive on SAIDI” at 0.5 USD per minute and year."),
    ("phases_involved.1", "“Two phases involved” at 0.5."), ("clearing_shares.0", "“Clearing in dead time 1” at 0.5."),
    ("temporary_fraction", "“Temporary fraction” at 0.5."), ("repair_hours", "“Repair time” at 0.5 h."),
])
def test_what_turns_the_answer_keeps_its_name_and_unit(content, key, said):
    assert turning(content, key, 0.5) == f"Break-even values of “{content.scenarios[1]}” within the ranges: {said}"


def test_every_element_of_a_share_has_a_label_of_its_own():
    for a in (a for a in ASSUMPTIONS if a.kind == "shares"):
        labels = [label_of(f"{a.key}.{i}") for i in range(len(a.default))]
        assert len(set(labels)) == len(a.elements) == len(a.default)
        assert a.label not in labels


def test_nobody_is_refused():
    """Replace the fuse; the word that crews use reads as declining to others."""
    assert not [a.key for a in ASSUMPTIONS if "refuse" in f"{a.label} {a.unit} {a.help}".lower()]


PLACE = ("scenarios", 1, "business", "break_even")


def turned(changed, on, off, share):
    """The sentence on the first scenario's gain, with these figures in summary.json."""
    figures = {(*PLACE, "saidi_minutes_avoided_reclosing_on"): on, (*PLACE, "saidi_minutes_avoided_reclosing_off"): off,
               (*PLACE, "reclosing_off_share"): share}
    return plain(scenario_saidi_gain(changed(figures), 1, "It"))


def test_a_gain_is_told_with_the_share_at_which_it_turns(changed):
    assert turned(changed, 6.0, -994.0, 0.006) == (
        "It stays a gain in SAIDI as long as less than 0.600 % of faults happen while reclosing is off.")
    assert turned(changed, -2.0, 4.0, 1 / 3) == (
        "It is a gain in SAIDI only where more than 33.3 % of faults happen while reclosing is off.")
    assert turned(changed, 2.0, 0.0, None) == (
        "It is a gain in SAIDI whatever share of faults happens while reclosing is off.")
    assert turned(changed, -2.0, 0.0, None) == (
        "It is no gain in SAIDI, whatever share of faults happens while reclosing is off.")
    assert turned(changed, 0.0, 0.0, None) == ""


def test_summary_and_points_say_where_scenarios_and_selection_turn(content):
    first = proposal(content)
    share = content.at("scenarios", first, "business", "break_even", "reclosing_off_share")
    told = plain(dict(headline(content))["Effect on customers"])
    for turn in (share, content.selected.totals[BREAK_EVEN]):
        assert f"less than {shown(turn, 'share_of_three_digits')} of faults happen while reclosing is off." in told
    assert shown(share, "share_of_three_digits") in plain(scenario_sentences(content)[first - 1])


@pytest.mark.parametrize(("npv", "factor", "than"), [(5.0, 1.0, "less"), (-5.0, 3.0, "less"), (-5.0, 1.0, "more"),
                                                     (5.0, 3.0, "more")])
def test_the_value_of_a_momentary_event_up_to_which_a_scenario_pays(changed, content, npv, factor, than):
    study = replace(content.study, values={**content.study.values, "momentary_cost_factor": factor})
    told = changed({(*PLACE, "momentary_cost_factor"): 2.0, ("scenarios", 1, "business_society", "npv"): npv},
                   study=study)
    assert f"costs customers {than} than 2.00 times its value" in plain(momentary_value(told, 1))
    assert momentary_value(changed({(*PLACE, "momentary_cost_factor"): None}), 1) == ()
