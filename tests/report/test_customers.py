"""The impact by customer group, what customers pay, and the effect on the recorded basis: in figures that agree."""

from __future__ import annotations

from types import MappingProxyType

import pytest

from reliability.business.costs import SOCIETY
from reliability.formats import money, number, shown
from reliability.indices.customer_groups import CONVERTED, EVERYBODY
from reliability.report.blocks import Table, Text
from reliability.report.figures import plain, resolve
from reliability.report.recorded_basis import WITHOUT_MAJOR_KEY, recorded_base
from reliability.report.sections_business import business
from reliability.report.sections_customers import tables_of
from reliability.report.sections_laterals import selection
from reliability.report.sections_summary import summary
from reliability.report.sentences_customers import (
    customers_change,
    groups,
    mean_length,
    society_view,
    without_major_events,
)


def test_customers_costs_saved_are_the_sum_of_sustained_and_momentary(summary_json):
    for scenario in summary_json["scenarios"]:
        seen = scenario["business"]["society"]
        parts = seen["interruption_cost_saving_parts"]
        assert parts["sustained"] + parts["momentary"] == pytest.approx(
            seen["savings_per_year"]["interruption_cost_saving"], rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(("sustained", "momentary", "told"), [
    (146e3, -191e3, "Customers lose on balance: in the first year sustained interruptions cost them 146\u202f000 USD "
                    "less and momentary ones 191\u202f000 USD more, together 45\u202f000 USD more."),
    (146e3, -91e3, "Customers gain on balance"), (0.0, 0.0, "Customers neither gain nor lose on balance")])
def test_who_pays_says_what_customers_lose(changed, content, sustained, momentary, told):
    place = ("scenarios", content.proposed, "business", SOCIETY)
    now = changed({(*place, "interruption_cost_saving_parts"): {"sustained": sustained, "momentary": momentary},
                   (*place, "savings_per_year", "interruption_cost_saving"): sustained + momentary,
                   (*place, "probability_npv_positive"): 0.6925})
    assert told in plain(customers_change(now, content.proposed))
    texts = {b.label: plain(b.sentence) for b in summary(now).blocks if isinstance(b, Text)}
    assert told in texts["Who pays"]
    assert "above 0 with a probability of 69.2 %" in texts["Who pays"]
    assert any(told in plain(b.sentence) for b in business(now).blocks if isinstance(b, Text))


def test_a_view_that_was_not_simulated_has_no_probability(changed, content):
    place = ("scenarios", content.proposed, "business", SOCIETY, "npv_p10")
    assert "probability" not in plain(society_view(changed({place: None}), content.proposed))


def test_groups_of_customers_add_up_to_the_indices(summary_json):
    base = summary_json["scenarios"][0]["expected"]
    for scenario in summary_json["scenarios"][1:]:
        rows = {row["group"]: row for row in scenario["customer_groups"]}
        everybody = rows.pop(EVERYBODY)
        assert sum(row["customers"] for row in rows.values()) == everybody["customers"]
        for key, index in (("sustained", "saifi"), ("minutes", "saidi_min"), ("momentary", "maifi_e")):
            assert everybody[key] == pytest.approx(scenario["expected"][index] - base[index], rel=1e-9, abs=1e-9)
    proposed = next(s for s in summary_json["scenarios"] if s["name"] == "Proposed")
    converted = next(row for row in proposed["customer_groups"] if row["group"] == CONVERTED)
    assert converted["sustained"] < min(row["sustained"] for row in proposed["customer_groups"]
                                        if row["group"] not in (CONVERTED, EVERYBODY))


def test_report_and_workbook_show_the_groups_and_the_recorded_basis(content):
    found = {table.key: table for table in tables_of(content) if isinstance(table, Table)}
    assert {table.sheet for table in found.values()} == {"Customer groups", "Without major events"}
    for table in found.values():
        for column in table.paths.columns[1:]:
            for value, path in zip(table.frame[column], table.paths[column], strict=True):
                assert not path or resolve(content.summary, path) == pytest.approx(value)
    rows = content.at("scenarios", content.proposed, "customer_groups")
    text = plain(groups(content, content.proposed))
    first = next(row for row in rows if row["group"] == CONVERTED)
    assert (f"the {shown(first['customers'], 'count')} customers on converted laterals have "
            f"{number(-first['sustained'])} fewer sustained interruptions and "
            f"{number(first['momentary'])} more momentary events") in text


def test_nobody_is_told_a_change_that_rounds_to_none(changed, content):
    at = content.proposed
    row = {"group": "Customers on the mains", "customers": 10, "sustained": 0.0004, "minutes": 0.0, "momentary": -1.0}
    text = plain(groups(changed({("scenarios", at, "customer_groups"): [row]}), at))
    assert ("the 10 customers on the mains have about as many sustained interruptions and 1.00 fewer momentary events"
            in text)


def test_the_effect_without_major_event_days_is_the_recorded_mean_times_the_modelled_share(content):
    years, base = recorded_base(content.history)
    reported = content.history.reported
    assert years == tuple(range(reported.shown - len(years) + 1, reported.shown + 1))
    frame = {5: reported.five_years, 3: reported.three_years}[len(years)].without
    for i, scenario in enumerate(content.summary["scenarios"]):
        for index in ("saidi_min", "saifi"):
            of = scenario[WITHOUT_MAJOR_KEY][index]
            share = scenario["expected"][index] / content.at("scenarios", 0, "expected", index) - 1.0
            assert of["recorded"] == pytest.approx(base[index]) == pytest.approx(frame.loc[reported.shown, index])
            assert of["change"] == pytest.approx(base[index] * share), (i, index)
            assert of["after"] == pytest.approx(of["recorded"] + of["change"])
    of = content.at("scenarios", content.proposed, WITHOUT_MAJOR_KEY, "saidi_min")
    text = plain(without_major_events(content, content.proposed))
    assert f"a mean SAIDI of {number(of['recorded'])} min" in text
    assert f"they become {number(of['after'])} min ({number(-of['change'])} less)" in text


def test_without_records_there_is_no_recorded_basis(changed, content):
    figures = {("scenarios", i, WITHOUT_MAJOR_KEY): None for i in range(len(content.scenarios))}
    assert without_major_events(changed(figures), content.proposed) == ()
    assert [table.key for table in tables_of(changed(figures))] == ["customer-groups"]


def test_a_longer_mean_interruption_is_told_and_a_shorter_is_not(changed, content):
    at = content.proposed

    def text(before, after, more=MappingProxyType({})):
        return plain(mean_length(changed({("scenarios", 0, "expected", "caidi_min"): before,
                                          ("scenarios", at, "expected", "caidi_min"): after, **more}), at))

    assert "rises from 135 to 154 min (14.1 % more)" in text(135.0, 154.0)
    assert text(135.0, 134.0) == text(135.0, None) == ""
    # with more interruptions nothing is avoided that could be shorter than the mean
    assert text(135.0, 154.0, {("scenarios", at, "expected", "saifi"): 99.0}) == ""


def test_what_is_ready_and_what_is_on_hold_add_up_to_the_totals(content):
    choice, rows = content.at("choice"), content.selected.frame
    for key in ("laterals", "units", "capex", "npv", "saidi_minutes_avoided", "saifi_avoided", "maifi_e_added",
                "callouts_avoided"):
        assert sum(part[key] for part in choice["by_status"].values()) == pytest.approx(choice["totals"][key]), key
    held = rows["section_id"].map(content.selected.verdicts) != "pass"
    assert choice["by_status"]["hold"]["capex"] == pytest.approx(rows.loc[held, "capex"].sum())
    table = next(b for b in selection(content).blocks if isinstance(b, Table) and b.key == "selection-status")
    assert table.frame["status"].tolist()[-1] == "Total"
    assert len(table.frame) == len(choice["by_status"]) + 1
    text = next(plain(b.sentence) for b in summary(content).blocks if isinstance(b, Text))
    assert f"of the figures here {money(choice['by_status']['hold']['capex'], 'USD')} of the capital" in text
