"""Sentences change with the results: what does not pay reads so, and a difference is the expected one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reliability.business.break_even import BREAK_EVEN
from reliability.formats import money, number, percent, shown
from reliability.report.blocks import KeyFigures, Text, tables
from reliability.report.content import leading
from reliability.report.documents import sections
from reliability.report.figures import plain
from reliability.report.records_reported import NO_TREND, index_frame
from reliability.report.sections_business import drivers
from reliability.report.sections_summary import summary
from reliability.report.sentences import (
    change,
    effect,
    scenario_sentences,
    trials_cut,
    verdict,
    worth,
)
from reliability.report.sentences_break_even import momentary_value, scenario_saidi_gain
from reliability.report.sentences_confidence import confidence
from reliability.report.sentences_money import price_level, two_rates
from reliability.report.sentences_summary import alternatives, decision, turning_points
from reliability.schema.assumptions import ASSUMPTIONS, label_of
from tests.networks import certain

CASE = ("scenarios", 1, "business")


def case(npv, bcr, low, high, chance):
    return {(*CASE, "npv"): npv, (*CASE, "bcr"): bcr, (*CASE, "npv_p10"): low, (*CASE, "npv_p90"): high,
            (*CASE, "probability_npv_positive"): chance}


@pytest.mark.parametrize(("figures", "said", "unsaid"), [
    ((5e4, 1.4, 2e4, 8e4, 1.0), ["pays over 20 years",
                                 "NPV) 50\u202f000 USD, 80 % range 20\u202f000 to 80\u202f000 USD",
                                 "above 0 in over 99 % of 40 simulated horizons"],
     ["does not", "cover"]),
    ((5e4, 1.4, -2e4, 8e4, 0.8), ["pays over", "above 0 in 80.0 % of 40 simulated horizons"], ["not pay"]),
    ((-5e4, 0.4, -8e4, -2e4, 0.0), ["does not pay over", "−50\u202f000 USD",
                                    "above 0 in under 1 % of 40 simulated horizons",
                                    "Its savings cover 40.0 % of its costs"], [" pays "]),
    ((-5e4, -0.4, -8e4, -2e4, 0.0), [
        "does not pay", "What it costs a year is more than it saves, and adds to its capital"], ["cover"]),
    ((-5e4, 0.0, -8e4, -2e4, 0.0), ["It saves nothing."], ["cover", "yearly costs"]),
    ((0.0, 1.0, -1e3, 1e3, 0.5), ["neither pays nor costs"], ["does not pay"]),
    ((-5e4, 0.4, None, None, None), ["does not pay", "−50\u202f000 USD."], ["horizons"]),
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


@pytest.mark.parametrize(("after", "told", "said"), [
    (0.8, "less", "0.800 sustained interruptions a year (SAIFI) instead of 1.00 (20.0 % less)"),
    (2.0, "more", "2.00 sustained interruptions a year (SAIFI) instead of 1.00 (100 % more)"),
    (0.99, "less", "1.0 % less"),
    (1.0, "same", "1.00 sustained interruptions a year (SAIFI) as today"),
    (1.0 + 1e-13, "same", "as today"),
    (None, "none", "an unknown number of"),
])
def test_a_difference_is_told_by_its_expected_size(changed, after, told, said):
    now = changed({("scenarios", 0, "expected", "saifi"): 1.0, ("scenarios", 1, "expected", "saifi"): after})
    assert verdict(now, 1, "saifi") == told
    assert said in plain(change(now, 1, "saifi"))


def test_more_from_nothing_has_no_per_cent(changed):
    now = changed({("scenarios", 0, "expected", "saifi"): 0.0, ("scenarios", 1, "expected", "saifi"): 0.1})
    assert plain(change(now, 1, "saifi")) == "0.100 sustained interruptions a year (SAIFI) instead of 0"


def rows_of(content):
    """The summary: text by label, and the box of numbers by label."""
    blocks = summary(content).blocks
    texts = {b.label: plain(b.sentence) for b in blocks if isinstance(b, Text)}
    return texts, {k.label: (plain(k.value), plain(k.note)) for b in blocks if isinstance(b, KeyFigures)
                   for k in b.figures}


def test_the_summary_begins_with_the_proposal_and_four_numbers(content):
    texts, box = rows_of(content)
    at, totals = content.proposed, content.selected.totals
    assert next(iter(texts)) == "Proposal"
    assert texts["Proposal"].startswith(
        f"Convert {totals['laterals']:.0f} of {content.laterals['lateral_id'].nunique()} laterals to sectionalizers "
        f"for {money(totals['capex'], 'USD')}. This pays over 20 years")
    case_ = content.at("scenarios", at, "business")
    assert box["Capital"][0] == money(case_["capex"], "USD")
    assert box["Net present value, 20 years"][0] == money(case_["npv"], "USD")
    assert money(case_["npv_p10"]) in box["Net present value, 20 years"][1]
    before, after = (content.at("scenarios", i, "expected") for i in (0, at))
    assert box["SAIDI"][0] == f"{number(after['saidi_min'] - before['saidi_min'], signed=True)} min/yr"
    assert len(box) == 4
    gains = texts["Effect on customers"]
    assert f"has {number(before['saidi_min'] - after['saidi_min'])} fewer minutes without power" in gains
    assert f"{number(before['saifi'] - after['saifi'])} fewer sustained interruptions" in gains
    assert f"{number(after['maifi_e'] - before['maifi_e'])} more momentary interruption events" in gains
    assert "40 simulated horizons (800 years)" in texts["How sure"]


def test_the_figures_of_the_proposal_are_those_of_the_selection(content):
    case_ = content.at("scenarios", content.proposed, "business")
    for key in ("capex", "npv", "units"):
        assert content.selected.totals[key] == pytest.approx(case_[key], rel=1e-9)


def test_the_proposal_says_how_many_laterals_are_on_hold(content):
    verdicts = content.selected.verdicts
    assert set(verdicts) == set(content.selected.frame["section_id"])
    held = sum(v != "pass" for v in verdicts.values())
    assert f"{held} of the laterals are on hold" in plain(decision(content))
    passed = replace(content.selected, verdicts=dict.fromkeys(verdicts, "pass"))
    assert "on hold" not in plain(decision(replace(content, selected=passed)))


def test_nothing_worth_converting_is_said_with_its_reason(content):
    without = {**content.summary, "scenarios": [s for s in content.summary["scenarios"] if s["name"] != "Proposed"]}
    empty = replace(content, summary=without, selected=replace(
        content.selected, frame=content.selected.frame.iloc[:0], message="Nothing to convert."))
    texts, box = rows_of(empty)
    assert "No conversion is proposed for any of the" in texts["No proposal"]
    assert "Nothing to convert." in texts["No proposal"]
    assert set(box) == {"SAIFI", "SAIDI", "MAIFI_E", "Call-outs"}
    assert "Who pays" not in texts
    assert empty.order[0] == 0


def test_a_proposal_that_does_not_pay_is_no_request(content):
    scenarios = [s | {"business": s["business"] | {"npv": -5000.0}} if k == content.proposed else s
                 for k, s in enumerate(content.summary["scenarios"])]
    text = plain(decision(replace(content, summary={**content.summary, "scenarios": scenarios})))
    assert text.startswith(f"The proposal, to convert {content.selected.totals['laterals']:.0f} of ")
    assert "USD, does not pay over 20 years" in text


def test_one_lateral_is_singular(content):
    one = content.laterals[content.laterals["lateral_id"] == content.laterals["lateral_id"].iloc[0]]
    text = decision(replace(content, laterals=one, selected=replace(
        content.selected, frame=content.selected.frame.iloc[:1])))
    assert plain(text).startswith("Convert 1 of 1 lateral to sectionalizers")


def test_an_alternative_without_devices_that_is_worth_more_is_named(content):
    text = plain(alternatives(content))
    said = ("“Fast tripping everywhere” changes settings only and is worth more than the proposal to the utility: NPV "
            "231")
    assert said in plain(decision(content))
    assert said not in text
    at = content.scenarios.index("Fast tripping everywhere")
    views = [content.at("scenarios", at, "business", v, "npv") for v in ("utility", "society")]
    assert f"{money(views[0])} and {money(views[1], 'USD')} (settings only)" in text


def test_an_alternative_that_is_worth_less_is_not(changed, content):
    better = {("scenarios", i, "business", "npv"): (9e6 if i == content.proposed else 1.0)
              for i in range(1, len(content.scenarios))}
    assert "worth more" not in plain(alternatives(changed(better)))
    assert "worth more" not in plain(decision(changed(better)))


def test_every_scenario_has_its_sentence(content):
    told = [plain(s) for s in scenario_sentences(content)]
    names = [content.scenarios[i] for i in content.order[1:]]
    assert told[0].startswith("The proposal pays")
    assert all(name in text for name, text in zip(names[1:], told[1:], strict=True))
    assert told[names.index("Fast tripping blocked")].startswith("Without new devices: ")


def test_without_money_a_scenario_is_told_by_what_it_changes(changed, content):
    bare = changed({("scenarios", i, "business"): None for i in range(len(content.scenarios))})
    told = plain(scenario_sentences(bare)[0])
    assert told == plain(effect(bare, bare.proposed))
    assert "crews are called out" in told


def test_ranges_that_are_not_given_and_records_that_are_not_there(content):
    bare = replace(content, study=certain(content.study), history=None)
    text = plain(confidence(bare))
    assert "No assumption is given as a range" in text
    assert "no outage records to compare with" in text


def test_the_main_driver_is_named_and_what_would_turn_the_decision(content):
    rows = content.drivers[content.drivers["scenario"] == content.scenarios[leading(content)]]
    widest, most = rows.loc[rows["swing"].idxmax()], rows.loc[rows["total"].idxmax()]
    text = plain(confidence(content))
    assert f"Moved alone, “{widest['label']}” moves the NPV most: from" in text
    assert f"it explains the largest part of its variance too, {percent(most['total'])}." in text
    assert widest["assumption"] == most["assumption"]
    other = rows[rows["total"].notna()]["total"].nsmallest(1).index
    turned = content.drivers.assign(total=content.drivers["total"].where(~content.drivers.index.isin(other), 0.9))
    assert (f"the largest part of its variance over the ranges, 90.0 %, comes from “{rows.loc[other[0], 'label']}”"
            in plain(confidence(replace(content, drivers=turned))))
    price = rows.set_index("assumption").loc["sectionalizer_cost"]
    turn = shown(price["break_even"], "three_digits")
    assert f"an installed price of a sectionalizer of {turn} USD per unit (now" in plain(turning_points(content))


@pytest.mark.parametrize(("own", "other", "told"), [
    (5e4, -7e4, True), (-5e4, 7e4, True), (5e4, 7e4, False), (-5e4, -7e4, False), (5e4, None, False)])
def test_the_other_perspective_is_told_where_it_turns_the_sign(changed, own, other, told):
    now = changed({**case(own, 0.4, None, None, None), ("scenarios", 1, "business", "society", "npv"): other})
    text = plain(worth(now, 1))
    assert ("From the perspective of society the result is the opposite" in text) == told
    assert not told or f"opposite: NPV {'−' if other < 0 else ''}70\u202f000 USD" in text


def test_trials_cut_for_want_of_memory_are_told(changed):
    assert trials_cut(changed({("trials_limited_by_memory",): False}).summary) == ()
    assert trials_cut(changed({("trials_limited_by_memory",): None}).summary) == ()
    cut = changed({("trials_limited_by_memory",): True, ("trials",): 1})
    assert plain(trials_cut(cut.summary)).startswith("Only 1 trial was simulated, fewer than asked for")
    assert plain(trials_cut(cut.summary)) in plain(confidence(cut))
    many = changed({("trials_limited_by_memory",): True, ("trials",): 1234})
    assert plain(trials_cut(many.summary)).startswith("Only 1\u202f234 trials were simulated")


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
        "It is a gain in SAIDI only where less than 0.600 % of faults happen while reclosing is off.")
    assert turned(changed, -2.0, 4.0, 1 / 3) == (
        "It is a gain in SAIDI only where more than 33.3 % of faults happen while reclosing is off.")
    assert turned(changed, 2.0, 0.0, None) == (
        "It is a gain in SAIDI whatever share of faults happens while reclosing is off.")
    assert turned(changed, -2.0, 0.0, None) == (
        "It is no gain in SAIDI, whatever share of faults happens while reclosing is off.")
    assert turned(changed, 0.0, 0.0, None) == ""


def test_summary_and_points_say_where_the_proposal_turns(content):
    share = content.at("scenarios", content.proposed, "business", "break_even", "reclosing_off_share")
    assert share == pytest.approx(content.selected.totals[BREAK_EVEN])
    told = f"less than {shown(share, 'share_of_three_digits')} of faults happen while reclosing is off."
    assert told in plain(turning_points(content))
    assert told in plain(scenario_sentences(content)[0])


@pytest.mark.parametrize(("npv", "factor", "than"), [(5.0, 1.0, "less"), (-5.0, 3.0, "less"), (-5.0, 1.0, "more"),
                                                     (5.0, 3.0, "more")])
def test_the_value_of_a_momentary_event_up_to_which_a_scenario_pays(changed, content, npv, factor, than):
    study = replace(content.study, values={**content.study.values, "momentary_cost_factor": factor})
    told = changed({(*PLACE, "momentary_cost_factor"): 2.0, ("scenarios", 1, "business", "society", "npv"): npv},
                   study=study)
    assert f"costs them {than} than 2.00 times its survey value" in plain(momentary_value(told, 1))
    assert momentary_value(changed({(*PLACE, "momentary_cost_factor"): None}), 1) == ()


def test_the_case_at_the_level_of_the_records_stands_beside_the_case_as_stated(content):
    found = content.at("choice", "calibrated")
    assert found["offered"] is False
    text = plain(confidence(content))
    assert f"× {shown(found['rate_factor'], 'three_digits')}, times" in text
    assert f"its NPV would be {money(found['totals']['npv'], 'USD')}" in text
    assert f"the best selection {found['selection']['totals']['laterals']:.0f} laterals" in text
    assert "On all days the records show" in text
    assert "On days without major events the records show" in text


def test_what_the_ranges_leave_out_is_named(content):
    rows = content.drivers[content.drivers["scenario"] == "Proposed"]
    fixed = rows[rows["range"] == "±20%"].sort_values("swing", ascending=False)
    assert f"They leave out what has no range, first of all “{fixed.iloc[0]['label']}”" in plain(confidence(content))


def test_feeders_and_times_beyond_their_interval_are_named(content):
    found = content.history.calibration
    text = plain(confidence(content))
    for comparison in (found.every_day, found.ordinary):
        for index, label in (("saifi", "SAIFI"), ("saidi", "SAIDI")):
            rows = comparison.feeders.iloc[1:]
            outside = (rows[f"{index}_low"] > 1.0) | (rows[f"{index}_high"] < 1.0)
            few = outside.sum() <= 2
            for name in rows.index:
                assert (f"{label} of “{name}” on {comparison.days} " in text) == bool(outside[name] and few), name
            assert (f"{label} of {outside.sum()} of the 12 feeders on {comparison.days}" in text) == (not few)
    feeders = found.every_day.feeders.copy()
    feeders[["saidi_low", "saidi_high"]] = 0.9, 1.1
    feeders.iloc[1, feeders.columns.get_indexer(["saidi_ratio", "saidi_low", "saidi_high"])] = 0.535, 0.327, 0.938
    changed_ = replace(found, every_day=replace(found.every_day, feeders=feeders))
    seen = plain(confidence(replace(content, history=replace(content.history, calibration=changed_))))
    assert f"SAIDI of “{feeders.index[1]}” on all days 0.535 (0.327 to 0.938)" in seen
    assert "for the whole system within chance" in seen


@pytest.mark.parametrize(("capital", "told"), [(0.075, True), (0.06, False)])
def test_two_rates_are_told_in_one_sentence(changed, content, capital, told):
    at = content.proposed
    now = changed({("scenarios", at, "business", "revenue_requirement", "cost_of_capital"): capital})
    now = replace(now, study=replace(content.study, values={**content.study.values, "discount_rate": 0.06}))
    text = plain(two_rates(now, at))
    assert ("discounted at 6.0 %" in text and "levelised at 7.5 %" in text) == told
    assert told or not text


def test_the_study_s_price_year_is_told_where_the_index_ends_before_it(changed):
    year = ("interruption_costs", "study_year")
    assert "the last year of the index (the study's other prices are of 2025; the years between are left out)" in plain(
        price_level(changed({year: 2025}).summary, "USD"))
    assert "other prices" not in plain(price_level(changed({year: 2024}).summary, "USD"))


def test_the_trend_of_what_is_recorded_in_part_is_not_tested(content):
    assert content.history.records.settings.momentary_complete is False
    rows = index_frame(content.history).set_index("key").loc["maifi_e"]
    assert set(rows["trend"]) == {NO_TREND}
    assert rows["change"].isna().all()
    settings = replace(content.history.records.settings, momentary_complete=True)
    whole = replace(content.history, records=replace(content.history.records, settings=settings))
    assert NO_TREND not in set(index_frame(whole)["trend"])
    notes = [t.note for t in tables(sections(content)) if any(c.key == "maifi_e" for c in t.columns)
             and t.key in ("years", "rolling", "three-years", "areas", "feeders", "recorded-feeders")]
    assert len(notes) >= 4
    assert all("no rank and no trend is made of them" in note for note in notes)
