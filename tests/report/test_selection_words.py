"""The rules of a selection in the summary, what the other perspective says on the cover, and checks as proposed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reliability.business.verdict import verdict
from reliability.formats import money, probability
from reliability.pipeline import analyse
from reliability.report.content import content_of
from reliability.report.figures import plain
from reliability.report.sections_coordination import coordination
from reliability.report.sections_laterals import application
from reliability.report.sections_model import reproducibility
from reliability.report.sections_summary import key_figures
from reliability.report.sentences_money import other_money
from reliability.report.sentences_selection import beyond_limits, rule, settings_part
from reliability.report.sentences_summary import decision
from reliability.report.work_pack_of_results import work_pack_of
from reliability.schema.scenarios import Scenario
from reliability.study import Study
from tests.networks import study_of
from tests.report.test_proposal_words import a_setting, with_selected


def stating(content, **values):
    """The content of a study that states other values, its results as they are."""
    return replace(content, study=replace(content.study, values=content.study.values | values))


def test_a_selection_says_what_it_looks_for_within_which_limits(content):
    assert rule(content) == ()
    bound = stating(content, budget=60_000.0, yearly_units=12, added_maifi_e_feeder=3.0, saidi_reduction_minutes=1.5)
    assert plain(rule(bound)) == (
        "The selection looks for the highest net present value to the utility within the limits of the study: a budget "
        "of 60\u202f000 USD; at most 12 units a year; at most 3.00 more momentary events a customer and year on any "
        "feeder; at least 1.50 minutes of SAIDI avoided.")
    assert plain(rule(stating(content, objective="saidi"))) == (
        "The selection looks for the largest reduction of SAIDI, whatever that costs.")
    assert "nothing was chosen within limits" in plain(rule(stating(content, proposed="Pilot of five laterals")))


def test_an_alternative_beyond_a_limit_is_told_as_such(content):
    at = content.scenarios.index("Fast tripping everywhere")
    assert beyond_limits(content, at) == ()
    system = plain(beyond_limits(stating(content, added_maifi_e=3.0), at))
    assert system == ", but adds 4.00 momentary events a customer and year, for at most 3.00 within the limits"
    feeder = plain(beyond_limits(stating(content, added_maifi_e_feeder=3.0), at))
    assert "on feeder " in feeder
    assert "for at most 3.00 within the limits" in feeder


def test_the_npv_is_divided_between_settings_and_laterals(content):
    assert settings_part(content) == ()
    divided = plain(settings_part(with_selected(content, a_setting(content, "AC1"))))
    assert "falls to the changed settings" in divided
    assert "to faults on the laterals converted" in divided


def test_the_cover_says_what_the_utility_loses_and_what_gets_worse(content, changed):
    """Of a study of society's perspective, where society gains and the utility loses."""
    at = content.proposed
    figures = {("scenarios", at, "business", "npv"): 5e6, ("scenarios", at, "business", "utility", "npv"): -4e5,
               ("scenarios", at, "expected", "saidi_min"): 160.0,
               ("scenarios", at, "difference_to_as_built", "saidi_min", "expected"): 9.1}
    other = changed(figures)
    text = plain(decision(stating(other, perspective="society")))
    assert "To the utility alone it loses 400\u202f000 USD." in text
    assert "The average customer has 9.10 more minutes without power" in text
    assert "To the utility alone" not in plain(decision(content))
    assert "more minutes" not in plain(decision(content))


@pytest.mark.parametrize(("benefit", "words"), [
    (-5e4, "what it costs a year is more than it saves"), (0.0, "it saves nothing"), (40.0, "its savings cover 40")])
def test_a_scenario_that_loses_says_why(benefit, words):
    assert words in verdict("S", benefit - 100.0, benefit, 100.0, "USD", "over 20 years")


def test_customers_costs_in_other_money_are_told_in_the_summary(content):
    assert other_money(content.summary, "USD") == ()
    assert "in US dollars, and the study in EUR" in plain(other_money(content.summary, "EUR"))
    abroad = stating(replace(content, summary=content.summary | {"currency": "EUR"}), perspective="society")
    assert "in US dollars" in plain(decision(abroad))


def test_units_of_several_years_are_not_all_in_year_0(content):
    planned = content.selected.programme
    one, = [f for f in key_figures(with_selected(content, content.selected.frame, programme=planned.assign(year=1)))
            if f.label == "Capital"]
    assert "27 units in year 0" in plain(one.note)
    two, = [f for f in key_figures(with_selected(content, content.selected.frame, programme=planned.assign(
        year=[1, *[2] * (len(planned) - 1)]))) if f.label == "Capital"]
    assert "27 units over 2 years, valued as if all in year 0" in plain(two.note)


ROWS = [{"section_id": "m", "device": "breaker", "length_km": 2.0, "customers": 500.0, "operations_to_lockout": 4.0,
         "fast_operations": 2.0, "phases": 3.0},
        {"section_id": "t", "parent_id": "m", "device": "fuse", "length_km": 5.0, "customers": 90.0, "phases": 1.0,
         "saving_ceiling_a": 300.0, "peak_load_a": 20.0, "fault_current_source_a": 900.0, "fault_current_end_a": 500.0},
        {"section_id": "u", "parent_id": "m", "device": "fuse", "length_km": 0.1, "customers": 1.0, "phases": 1.0}]


def test_checks_in_every_document_are_those_of_what_is_proposed():
    """The first scenario has two counts, what is chosen three: both say three of what is chosen, two of the others."""
    study = study_of(ROWS, [Scenario("two", None, "sectionalizer", 2)], sectionalizer_cost=100.0)
    results = analyse(study, trials=5)
    chosen = results.selection.set_index("section_id")["counts"]
    assert len(chosen)
    assert (chosen == 3).all()
    counts = results.application.set_index("lateral_id")["counts"]
    assert counts.to_dict() == {name: 3 if name in chosen.index else 2 for name in ("t", "u")}
    text = " ".join(plain(b.sentence) for b in application(content_of(results)).blocks if hasattr(b, "sentence"))
    assert "Laterals that are proposed are judged as they are to be set there, the others with 2 counts" in text


def test_lengths_of_coordination_are_in_miles_where_they_were_brought(content, monkeypatch):
    def lengths(of):
        table, = [b for b in coordination(of).blocks if getattr(b, "key", "") == "coordination-km"]
        return table.columns[2].unit, table.frame.drop(columns=["feeder_id", "operation"]).to_numpy(float).sum()

    unit, km = lengths(content)
    monkeypatch.setattr(Study, "in_miles", True)
    miles = lengths(content)
    assert (unit, *miles) == ("km", "mi", pytest.approx(km / 1.609344))


def test_the_pack_has_the_years_of_the_report(results):
    pack = work_pack_of(results)
    assert pack.year_name(1) == "2026 (year 1)"
    assert replace(pack, first_year=None).year_name(1) == "Year 1"


def test_what_a_search_found_in_its_time_is_no_promise_of_the_same_digits(content):
    def words_of(of):
        return plain(reproducibility(of).blocks[0].sentences[0])

    assert words_of(content).endswith("whatever the number of workers.")
    frontier = content.selected.frontier.assign(gap=[*[0.0] * (len(content.selected.frontier) - 1), 0.3])
    late = with_selected(content, content.selected.frame, frontier=frontier)
    assert words_of(late).endswith("budgets at which the frontier says that more may be avoided.")


def test_the_cover_has_the_npv_at_the_level_of_the_records(content):
    found = content.at("choice", "calibrated")
    text = plain(decision(content))
    assert found["offered"] is False
    assert ("At the level of the outage records, within chance of the model's, its NPV would be "
            f"{money(found['totals']['npv'], 'USD')}") in text
    assert f"above 0 with a probability of {probability(found['probability_npv_positive'])}." in text
