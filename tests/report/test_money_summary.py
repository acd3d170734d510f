"""Both perspectives of every scenario in summary.json, and how they are told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reliability.formats import KINDS, NOT_MEANINGFUL, shown, spoken
from reliability.indices.simulation import simulate
from reliability.pipeline import expect, simulation_input
from reliability.report.blocks import Table, tables
from reliability.report.content import content_of
from reliability.report.figures import plain
from reliability.report.sections_business import business
from reliability.report.sections_finance import revenue
from reliability.report.sentences_break_even import momentary_side_by_side
from reliability.report.sentences_money import bill, downside, price_level, upkeep
from reliability.report.summary import summary


def test_the_views_are_those_of_a_study_that_takes_each(results, summary_json):
    """The same figures, ranges included, as when the study's perspective is the other one."""
    assert results.study.values["perspective"] == "utility"
    seen_by = expect(replace(results.study, values={**results.study.values, "perspective": "society"}))
    simulated = simulate(simulation_input(seen_by), seed=results.study.values["seed"], trials=40)
    other = summary(replace(seen_by, simulated=simulated))
    for scenario, theirs in list(zip(summary_json["scenarios"], other["scenarios"], strict=True))[1:]:
        case, seen = scenario["business"], theirs["business"]
        for name in ("npv", "irr", "bcr", "npv_p10", "npv_p90", "probability_npv_positive", "savings_per_year"):
            assert case["utility"][name] == case[name]
            assert seen["society"][name] == seen[name]
            assert case["society"][name] == pytest.approx(seen[name]), name
            assert seen["utility"][name] == pytest.approx(case[name]), name
        assert case["society"]["perspective"] == "society"
        assert case["society"]["npv_p10"] < case["society"]["npv"] < case["society"]["npv_p90"]
        assert seen["revenue_requirement"]["levelised"] == pytest.approx(case["revenue_requirement"]["levelised"])


def test_momentary_events_at_none_half_and_all_of_their_survey_value(summary_json):
    for scenario in summary_json["scenarios"][1:]:
        case = scenario["business"]
        none, half, full = (value["npv"] for value in case["society"]["momentary_values"])
        assert [value["factor"] for value in case["society"]["momentary_values"]] == [0.0, 0.5, 1.0]
        assert full == pytest.approx(case["society"]["npv"])      # the study's factor is 1
        assert half == pytest.approx((none + full) / 2.0)
        turn = case["break_even"]["momentary_cost_factor"]
        if turn is not None:
            assert none + turn * (full - none) == pytest.approx(0.0, abs=1e-6 * abs(full))


def test_societys_npv_never_stands_without_its_price_level(content):
    made = business(content)
    text = [plain(b.sentence) for b in made.blocks if hasattr(b, "sentence")]
    level = ("escalated from 2013 to 2024, the last year of the index (the study's other prices are of 2025; the years "
             "between are left out), by consumer prices")
    assert any(level in t and "a factor of 1.35" in t for t in text)
    keys = [b.key for b in made.blocks if isinstance(b, Table)]
    assert keys.index("momentary-values") < keys.index("merit-society")
    assert "in prices of 2024" in plain(momentary_side_by_side(content, content.proposed))


@pytest.mark.parametrize(("stated", "said"), [
    ({"study_year": None, "escalated_to": None}, "in prices of 2013 and not escalated, since the study does not state"),
    ({"table_year": None, "escalated_to": None, "default_table": False}, "the price year of the table is not stated"),
    ({"study_year": 2024}, "escalated from 2013 to 2024 by consumer prices"),
    ({"factor": 1.4}, "The study multiplies them by 1.40."),
    ({"momentary_cost_factor": 0.5}, "a momentary event counts 0.500 times its survey value")])
def test_the_price_level_in_words(changed, stated, said):
    found = changed({("interruption_costs", key): value for key, value in stated.items()})
    assert said in plain(price_level(found.summary, "USD"))
    assert "The table is in US dollars" not in plain(price_level(found.summary, "USD"))
    abroad = plain(price_level(found.summary, "SEK"))
    assert ("in US dollars, and the study in SEK" in abroad) == stated.get("default_table", True)


def test_the_downside_is_told_with_its_floor(changed, content):
    place = ("scenarios", content.proposed, "business")
    bad = changed({(*place, "npv_p10"): -7000.0, (*place, "npv_without_savings"): -60_000.0})
    assert plain(downside(bad, content.proposed)) == (
        "Downside: there is one chance in ten of the utility losing more than 7\u202f000 USD. If it saved nothing at "
        "all, it would lose its capital and inspection, 60\u202f000 USD at present value.")
    good = changed({(*place, "npv_p10"): 7000.0, (*place, "probability_npv_positive"): 0.94})
    assert "of the utility gaining less than 7\u202f000 USD, and 6.0 % of losing at all." in plain(
        downside(good, content.proposed))
    worse = changed({(*place, "npv_p10"): -70_000.0, (*place, "npv_without_savings"): -60_000.0})
    assert "more call-outs than today would add to that" in plain(downside(worse, content.proposed))
    assert downside(content, 0) == ()


def test_what_bills_bear(content, changed):
    at = content.proposed
    found = content.at("scenarios", at, "business", "revenue_requirement")
    text = plain(bill(content, at))
    assert ("lowers" in text) == (found["levelised"] < 0)
    assert f"{spoken(abs(found['bill_effect_per_customer_month']), 'three_digits')} USD a customer and month" in text
    assert "of the average bill" in text
    plainer = changed({("scenarios", at, "business", "revenue_requirement", "bill_effect_share"): None})
    assert "of the average bill" not in plain(bill(plainer, at))
    assert {t.key for t in revenue(content) if isinstance(t, Table)} == {"revenue", "revenue-years"}


def test_spares_and_replacement_are_told(content, changed):
    at = content.proposed
    assert "no spare units are counted" in plain(upkeep(content, at))
    assert "taken to last through the 20 years" in plain(upkeep(content, at))
    spared = changed({("scenarios", at, "business", "spare_units"): 3.0},
                     study=replace(content.study, values={**content.study.values, "device_life_years": 15}))
    assert "3.00 spare units are bought with it" in plain(upkeep(spared, at))
    assert "is replaced after 15 years" in plain(upkeep(spared, at))


def test_a_return_on_almost_no_capital_is_words_on_paper_and_a_number_in_the_file(changed, content):
    assert shown(488.21, "irr") == spoken(488.21, "irr") == shown(0.0022, "payback") == NOT_MEANINGFUL
    assert (shown(0.107, "irr"), shown(1.0, "irr"), shown(0.1, "payback")) == ("10.7 %", "100.0 %", "0.1")
    at = ("scenarios", 1, "business")
    odd = changed({(*at, "irr"): 488.21, (*at, "discounted_payback_years"): 0.0022})
    merit = next(t for t in tables([business(odd)]) if t.key == "merit-utility")
    assert NOT_MEANINGFUL in merit.note


def test_a_simulation_without_customers_costs_gives_society_no_range(results):
    thin = replace(results.simulated, totals={k: v for k, v in results.simulated.totals.items()
                                              if k != "interruption_cost"})
    case = content_of(replace(results, simulated=thin)).at("scenarios", 1, "business")
    assert case["society"]["npv_p10"] is None
    assert case["society"]["npv"] is not None
    assert case["utility"]["npv_p10"] is not None


@pytest.mark.parametrize(("kind", "end", "where"), [("irr", KINDS["irr"].high, ">"),
                                                    ("payback", KINDS["payback"].low, "<")])
def test_a_sheet_shows_words_beyond_the_same_ends(kind, end, where):
    assert KINDS[kind].excel.startswith(f'[{where}{end:g}]"{NOT_MEANINGFUL}";')
