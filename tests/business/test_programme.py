"""The programme: what is chosen, by year, each within its limits, and one network at its end."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.business.frontier import YearlyLimits, programme
from reliability.business.limits import Limits
from reliability.business.selection import SAIDI, choose, selection_frame
from tests.business.cases import carried_out, case_of, options_of

KEYS = ["what", "section_id", "device", "counts"]


def keys(frame: pd.DataFrame) -> list[tuple[object, ...]]:
    return sorted(map(tuple, frame[KEYS].fillna(-1).to_numpy().tolist()))


@pytest.mark.parametrize("limits", [Limits(), Limits(budget=30_000.0), Limits(forced_in=("t1",)),
                                    Limits(saidi_reduction_minutes=1.0)])
def test_where_nothing_limits_a_year_the_first_does_all_that_is_chosen(limits):
    _, options = options_of(16, 2, (0,), fast_operations=2)
    choice = choose(options, limits)
    table, said = programme(options, choice.chosen, 3)
    assert set(table["year"]) == {1}
    assert keys(table) == keys(choice.selection)
    for name in ("capex", "npv", "units"):
        assert table[name].sum() == pytest.approx(choice.totals[name])
    assert "in 1 year for" in said
    assert "fit" not in said


def test_a_programme_keeps_to_every_year_and_adds_up():
    study, options = options_of(20, 6, (0,))
    choice = choose(options)
    table, said = programme(options, choice.chosen, 4, YearlyLimits(budget=15_000.0, units=6))
    assert table["year"].nunique() > 1
    assert table.index.tolist() == list(range(len(table)))
    assert table.columns[0] == "year"
    assert table["cumulative_npv"].to_numpy() == pytest.approx(np.cumsum(table["npv"].to_numpy()))
    by_year = table.groupby("year")[["capex", "units"]].sum()
    assert np.all(by_year["capex"] <= 15_000.0 + 1e-6)
    assert np.all(by_year["units"] <= 6 + 1e-9)
    assert set(keys(table)) <= set(keys(choice.selection))
    assert f"in {table['year'].max()} years for " in said
    assert "as if its year were the first" in said
    # the programme as it stands at its end is one network, and its yearly figures lead to it
    before, after = case_of(study), case_of(carried_out(study, table))
    avoided = before.expected[0].fault_customer_hours.sum() - after.expected[0].fault_customer_hours.sum()
    assert table["customer_minutes_avoided"].sum() == pytest.approx(60.0 * avoided)
    assert table["cumulative_saidi_minutes_avoided"].iloc[-1] == pytest.approx(
        60.0 * avoided / before.network.customers.sum())
    assert table["cumulative_capex"].iloc[-1] == pytest.approx(table["capex"].sum())


@pytest.mark.parametrize(("objective", "gain"), [("npv", "npv"), (SAIDI, "customer_minutes_avoided")])
def test_what_brings_most_for_its_money_comes_first_and_settings_before_laterals(objective, gain):
    _, options = options_of(14, 4, (2,), fast_operations=0, backup_settings_cost=1.0)
    choice = choose(options, objective=objective)
    assert {"lateral", "backup settings"} == set(choice.selection["what"])
    table, _ = programme(options, choice.chosen, 60, YearlyLimits(units=4), objective)
    assert keys(table) == keys(choice.selection)
    assert (table.loc[table["what"] == "backup settings", "year"] == 1).all()
    laterals = table[table["what"] == "lateral"]
    assert laterals["year"].nunique() > 2
    worth = laterals[gain] / laterals["capex"]
    assert worth.iloc[0] == worth.max()
    for year, units, own in zip(laterals["year"], laterals["units"], worth, strict=True):     # a better one had no room
        before = laterals[(laterals["year"] < year) & (worth < own)]
        for earlier in before["year"].unique():
            better = laterals[(laterals["year"] == earlier) & (worth >= own)]
            assert better["units"].sum() + units > 4


def test_a_year_has_room_left_for_what_is_cheap():
    """A dear conversion that no longer fits into a year leaves its room to the next cheaper one."""
    _, options = options_of(16, 9)
    choice = choose(options)
    costs = choice.selection["capex"]
    table, _ = programme(options, choice.chosen, 50, YearlyLimits(budget=float(costs.max())))
    for year, part in table.groupby("year"):
        later = table.loc[table["year"] > year, "capex"]
        assert (later > costs.max() - part["capex"].sum() + 1e-6).all()


def test_what_no_year_has_room_for_is_left_out_and_counted():
    _, options = options_of(16, 9)
    choice = choose(options)
    table, said = programme(options, choice.chosen, 2, YearlyLimits(units=2))
    assert table["year"].unique().tolist() == [1, 2]
    left = len(choice.selection) - len(table)
    assert left > 1
    assert f" {left} of the {len(choice.selection)} rows of the proposal fit into none of the 2 years" in said
    nothing, said = programme(options, choice.chosen, 2, YearlyLimits(budget=1.0))
    assert nothing.empty
    assert said.startswith(f"{len(choice.selection)} of the {len(choice.selection)} rows of the proposal fit into none")


def test_a_year_of_exactly_what_one_costs_has_room_for_it():
    _, options = options_of(16, 9)
    choice = choose(options)
    cheapest = float(choice.selection["capex"].min())
    assert len(programme(options, choice.chosen, 1, YearlyLimits(budget=cheapest))[0]) == 1
    assert programme(options, choice.chosen, 1, YearlyLimits(budget=cheapest - 0.5))[0].empty


def test_a_programme_of_nothing():
    _, options = options_of(6, 1, sectionalizer_cost=1e6, lateral_recloser_cost=1e6)
    table, said = programme(options, choose(options).chosen, 3, YearlyLimits(budget=1e7))
    assert table.empty
    assert said == "Nothing is proposed, so that no year has conversions."
    assert "cumulative_npv" in table.columns
    assert list(table.columns)[:2] == ["year", "what"]


def test_settings_alone_are_no_conversion_of_laterals():
    _, options = options_of(12, 4, (2,), fast_operations=0, sectionalizer_cost=1e6, lateral_recloser_cost=1e6,
                            backup_settings_cost=1.0)
    choice = choose(options, objective=SAIDI, limits=Limits(budget=100.0))
    assert set(choice.selection["what"]) == {"backup settings"}
    _, said = programme(options, choice.chosen, 3)
    assert said.startswith("Settings changed at ")
    assert "lateral" not in said


def test_rows_of_a_selection_carry_all_that_is_chosen():
    _, options = options_of(12, 4, (0,), fast_operations=2)
    choice = choose(options)
    frame = selection_frame(options, choice.chosen)
    for column, name in (("npv", "npv"), ("capex", "capex"), ("customer_minutes_avoided", "customer_minutes_avoided"),
                         ("callouts_avoided", "callouts_avoided")):
        assert frame[column].sum() == pytest.approx(choice.totals[name])
