"""The programme by years: each within its limits, nothing undone, and one network at its end."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.business import frontier
from reliability.business.frontier import YearlyLimits, programme, spread_over_years
from reliability.business.limits import Limits
from reliability.business.selection import SAIDI, choose, selection_frame
from tests.business.cases import carried_out, case_of, options_of


def test_a_year_without_conversions_does_not_end_a_programme_that_has_a_goal():
    _, options = options_of(6, 1, sectionalizer_cost=1e6, lateral_recloser_cost=1e6)
    table, _ = programme(options, 3, limits=Limits(forced_in=("t1",)))
    assert table[["section_id", "year"]].to_numpy().tolist() == [["t1", 3]]
    table, _ = programme(options, 2, limits=Limits(saidi_reduction_minutes=1.0))
    assert set(table["year"]) == {2}


def test_programme_keeps_to_every_year_and_adds_up():
    study, options = options_of(20, 6, (0,))
    table, said = programme(options, 4, YearlyLimits(budget=15_000.0, units=6))
    assert table["year"].nunique() > 1
    assert table.index.tolist() == list(range(len(table)))
    assert table.columns[0] == "year"
    assert table["cumulative_npv"].to_numpy() == pytest.approx(np.cumsum(table["npv"].to_numpy()))
    by_year = table.groupby("year")[["capex", "units"]].sum()
    assert np.all(by_year["capex"] <= 15_000.0 + 1e-6)
    assert np.all(by_year["units"] <= 6 + 1e-9)
    laterals = table[table["what"] == "lateral"]
    assert not laterals["section_id"].duplicated().any()
    assert said.startswith(f"{len(laterals)} laterals converted in {table['year'].max()} years for ")
    # the programme as it stands at its end is one network, and its yearly figures lead to it
    before, after = case_of(study), case_of(carried_out(study, table))
    avoided = before.expected[0].fault_customer_hours.sum() - after.expected[0].fault_customer_hours.sum()
    assert table["customer_minutes_avoided"].sum() == pytest.approx(60.0 * avoided)
    assert table["cumulative_saidi_minutes_avoided"].iloc[-1] == pytest.approx(
        60.0 * avoided / before.network.customers.sum())
    assert table["cumulative_capex"].iloc[-1] == pytest.approx(table["capex"].sum())


def test_first_year_of_a_programme_is_the_best_choice_of_that_budget():
    _, options = options_of(16, 9)
    table, _ = programme(options, 2, YearlyLimits(budget=12_000.0), gap=0.0)
    best = choose(options, Limits(budget=12_000.0), gap=0.0)
    assert table.loc[table["year"] == 1, "npv"].sum() == pytest.approx(best.totals["npv"])


def test_a_programme_has_no_more_years_than_it_is_given():
    _, options = options_of(16, 9)
    table, _ = programme(options, 2, YearlyLimits(units=2))
    assert table["year"].unique().tolist() == [1, 2]


def test_the_first_year_starts_from_nothing():
    _, options = options_of(16, 9)
    cheapest = options.rows.loc[options.rows["capex"] > 0, "capex"].min()
    assert programme(options, 1, YearlyLimits(budget=cheapest - 0.5))[0].empty
    table, _ = programme(options, 1, YearlyLimits(units=5), gap=0.0)
    assert table["npv"].sum() == pytest.approx(choose(options, Limits(units=5), gap=0.0).totals["npv"])


def test_what_is_forced_in_or_asked_for_need_only_be_there_in_the_last_year():
    _, options = options_of(16, 9)
    first, _ = programme(options, 2, YearlyLimits(units=2))
    left = next(str(n) for n in options.network.ids[options.heads] if n not in set(first["section_id"]))
    forced, _ = programme(options, 2, YearlyLimits(units=3), limits=Limits(forced_in=(left,)))
    assert forced.loc[forced["section_id"] == left, "year"].tolist() == [2]
    enough, _ = programme(options, 2, YearlyLimits(units=4))
    least = Limits(saidi_reduction_minutes=1.01 * enough.loc[enough["year"] == 1, "customer_minutes_avoided"].sum()
                   / options.customers_served)
    both, said = programme(options, 2, YearlyLimits(units=4), limits=least)
    assert both["year"].max() == 2, said
    assert both["cumulative_saidi_minutes_avoided"].iloc[-1] >= least.saidi_reduction_minutes


def test_later_years_undo_nothing():
    """Conversions and settings of an earlier year stay, though the objective of a later one would take them out."""
    _, options = options_of(16, 5, (2,), fast_operations=0, backup_settings_cost=1e5)
    first = choose(options, objective=SAIDI)
    free, later = choose(options), choose(options, keep=first.chosen)
    keys = ["section_id", "device", "counts", "fast_operations_of_backup"]
    kept = {tuple(r) for r in first.selection[keys].fillna(-1.0).to_numpy()}
    assert (first.selection["what"] == "backup settings").any()
    assert kept - {tuple(r) for r in free.selection[keys].fillna(-1.0).to_numpy()}
    assert later.feasible
    assert later.totals["npv"] < free.totals["npv"]
    assert not kept - {tuple(r) for r in later.selection[keys].fillna(-1.0).to_numpy()}


def test_a_later_year_is_told_against_the_one_before():
    """A setting that is changed in the second year takes the place of the one as built."""
    _, options = options_of(16, 5, (2,), fast_operations=0, backup_settings_cost=20_000.0)
    first = choose(options, Limits(budget=8_000.0), SAIDI)
    later = choose(options, objective=SAIDI, keep=first.chosen)
    assert (first.chosen & ~later.chosen).any()
    told = selection_frame(options, later.chosen, first.chosen)
    for column, name in (("npv", "npv"), ("capex", "capex"), ("customer_minutes_avoided", "customer_minutes_avoided"),
                         ("callouts_avoided", "callouts_avoided")):
        assert told[column].sum() == pytest.approx(later.totals[name] - first.totals[name])


def test_the_budget_in_all_holds_for_all_years_together():
    _, options = options_of(16, 9)
    table, _ = programme(options, 3, YearlyLimits(budget=8_000.0), limits=Limits(budget=12_000.0))
    assert 8_000.0 < table["capex"].sum() <= 12_000.0
    table, _ = programme(options, 3, YearlyLimits(units=3), limits=Limits(units=5))
    assert 3 < table["units"].sum() <= 5


def test_what_is_forced_out_stays_out_in_every_year():
    _, options = options_of(16, 9)
    second, _ = programme(options, 2, YearlyLimits(units=3))
    out = str(second.loc[second["year"] == 2, "section_id"].iloc[0])
    table, _ = programme(options, 2, YearlyLimits(units=3), limits=Limits(forced_out=(out,)))
    assert out not in set(table["section_id"])
    assert table["year"].max() == 2


@pytest.mark.parametrize("limits", [Limits(), Limits(budget=30_000.0), Limits(forced_in=("t1",))])
def test_what_is_best_within_the_same_limits_is_looked_for_once(monkeypatch, limits):
    """With nothing that limits a year, all years have the limits of the whole: the first does all of it."""
    _, options = options_of(16, 2, (0,))
    whole, searched = choose(options, limits), []

    def counted(*args, **kwargs):
        searched.append(args[1])
        return choose(*args, **kwargs)

    monkeypatch.setattr(frontier, "choose", counted)
    again, said = programme(options, 3, limits=limits)
    assert len(searched) == (2 if limits.forced_in else 1)
    table, same = programme(options, 3, limits=limits, known=whole)
    assert len(searched) == (4 if limits.forced_in else 1)      # until the last year nothing need be forced in
    pd.testing.assert_frame_equal(table, again)
    assert same == said
    if not limits.forced_in:
        pd.testing.assert_frame_equal(table[list(whole.selection)], whole.selection)
    yearly, _ = programme(options, 3, YearlyLimits(units=4), limits=limits, known=whole)
    assert yearly.groupby("year")["units"].sum().max() <= 4
    assert yearly["year"].nunique() == 3


def test_a_programme_of_nothing():
    _, options = options_of(6, 1, sectionalizer_cost=1e6, lateral_recloser_cost=1e6)
    table, said = programme(options, 3, YearlyLimits(budget=1e7))
    assert table.empty
    assert said.startswith("Nothing to convert")
    assert "cumulative_npv" in table.columns


def test_given_conversions_are_spread_in_order_of_their_npv():
    """Each into the first year with room, settings first; what fits nowhere is said."""
    _, options = options_of(12, 4, (0,), fast_operations=2)
    chosen = choose(options).chosen
    whole, said = spread_over_years(options, chosen, 5, YearlyLimits())
    assert set(whole["year"]) == {1}
    pd.testing.assert_series_equal(whole["npv"].sort_values(ignore_index=True),
                                   selection_frame(options, chosen)["npv"].sort_values(ignore_index=True))
    frame, _ = spread_over_years(options, chosen, 9, YearlyLimits(units=4))
    laterals = frame[frame["what"] == "lateral"]
    assert (frame.groupby("year")["units"].sum() <= 4).all()
    assert len(frame) == len(whole)
    assert laterals["npv"].iloc[0] == laterals["npv"].max()
    short, said = spread_over_years(options, chosen, 1, YearlyLimits(units=4))
    assert f"{len(whole) - len(short)} rows of the proposal fit into none of the years" in said
