"""The frontier of budgets: its corners on the hull, the searches between, and what every point promises."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from reliability.business import frontier as frontier_module
from reliability.business.frontier import frontier
from reliability.business.greedy_frontier import best_steps, corner_sets, hull_steps, only_money_limits
from reliability.business.limits import Limits
from reliability.business.selection import SAIDI, choose
from tests.business.cases import options_of


def test_what_costs_nothing_is_on_the_frontier_from_its_start():
    _, options = options_of(8, 1, sectionalizer_cost=0.0)
    start = frontier(options, 6).iloc[0]
    assert start["budget"] == 0.0
    free = choose(options, Limits(budget=0.0), SAIDI, gap=0.0).totals
    assert start["saidi_minutes_avoided"] == pytest.approx(free["saidi_minutes_avoided"], rel=1e-6)
    assert start["saidi_minutes_avoided"] > 0.0


def test_what_a_smaller_budget_buys_a_larger_one_buys_too(monkeypatch):
    """Whatever the search finds in its time."""
    _, options = options_of(8, 1, (0,))
    real, reached = choose, iter([9.0, 2.0, 1.0, 5.0, 4.0, 3.0])

    def found(*args, **more):
        choice, minutes = real(*args, **more), next(reached)
        return replace(choice, totals=choice.totals | {"saidi_minutes_avoided": minutes, "callouts_avoided": minutes})

    monkeypatch.setattr(frontier_module, "choose", found)
    curve = frontier(options, 6)
    assert curve["saidi_minutes_avoided"].tolist() == [2.0, 2.0, 5.0, 5.0, 5.0, 9.0]
    assert curve["callouts_avoided"].tolist() == [2.0, 2.0, 5.0, 5.0, 5.0, 9.0]
    assert curve["budget"].is_monotonic_increasing


def test_frontier_rises_with_the_budget():
    _, options = options_of(20, 4, (0,))
    curve = frontier(options, 12)
    assert len(curve) == 12
    assert np.all(curve["capex"] <= curve["budget"] + 1e-6)
    assert np.all(np.diff(curve["saidi_minutes_avoided"]) >= 0)
    assert np.all(curve["gap"] <= 5e-3)
    for row in curve.iloc[[3, 7]].itertuples():
        best = choose(options, Limits(budget=row.budget), SAIDI, gap=0.0).totals["saidi_minutes_avoided"]
        assert best * (1.0 - 0.006) <= row.saidi_minutes_avoided <= best * (1.0 + 1e-9)
    most = choose(options, objective=SAIDI).totals["saidi_minutes_avoided"]
    assert curve["saidi_minutes_avoided"].iloc[-1] == pytest.approx(most, rel=6e-3)


@pytest.mark.parametrize("seed", range(4))
def test_where_only_money_limits_every_point_of_the_frontier_is_the_best_of_its_budget(seed):
    _, options = options_of(14, seed)
    curve = frontier(options, 10)
    assert len(curve) >= 8
    assert curve["capex"].iloc[0] == 0.0
    assert np.all(curve["gap"] == 0.0)
    assert np.all(np.diff(curve["capex"]) > 0)
    for row in curve.itertuples():
        best = choose(options, Limits(budget=row.budget + 1e-6), SAIDI, gap=0.0).totals["saidi_minutes_avoided"]
        assert row.saidi_minutes_avoided == pytest.approx(best, rel=1e-5, abs=1e-9)
    assert curve["saidi_minutes_avoided"].iloc[-1] == pytest.approx(
        choose(options, objective=SAIDI, gap=0.0).totals["saidi_minutes_avoided"], rel=1e-5)
    cut = frontier(options, 10, Limits(budget=float(curve["budget"].iloc[4])))
    assert cut["budget"].max() <= curve["budget"].iloc[4] + 1e-9
    nearly = float(curve["budget"].iloc[4]) - 0.5
    assert frontier(options, 10, Limits(budget=nearly))["budget"].max() <= nearly


def test_steps_lie_on_the_upper_hull():
    gain, cost = np.array([9.0, 4.0, 6.0, 5.0]), np.array([9.0, 1.0, 3.0, 4.0])
    assert hull_steps([1, 2, 3], gain, cost) == [(4.0, 1, -1), (1.0, 2, 1)]
    assert hull_steps([1, 2], np.array([0.0, 4.0, 4.0]), np.array([0.0, 1.0, 3.0])) == [(4.0, 1, -1)]
    assert hull_steps([1], np.array([0.0, 2.0]), np.array([0.0, 0.5])) == [(4.0, 1, -1)]
    bent = hull_steps([1, 2, 3, 4], np.array([0.0, 10.0, 15.0, 18.0, 20.0]), np.arange(5.0))
    assert bent == [(10.0, 1, -1), (5.0, 2, 1), (3.0, 3, 2), (2.0, 4, 3)]
    # the second is better for its money than the first, and takes its place
    assert hull_steps([1, 2], np.array([0.0, 2.0, 6.0]), np.array([0.0, 1.0, 2.0])) == [(3.0, 2, -1)]


@pytest.mark.parametrize("limits", [{"forced_in": ("t1",)}, {"forced_out": ("t1",)}, {"units": 3.0},
                                    {"added_maifi_e": 0.1}, {"added_maifi_e_feeder": 0.1},
                                    {"saidi_reduction_minutes": 1.0}])
def test_any_limit_but_money_makes_the_frontier_a_search(limits):
    _, options = options_of(4, 1)
    assert only_money_limits(options, Limits(budget=1e4))
    assert not only_money_limits(options, Limits(budget=1e4, **limits))
    assert not only_money_limits(options_of(4, 1, (0,))[1], Limits())


def test_for_every_price_of_an_hour_the_best_option_lies_on_the_hull():
    """A corner of the upper hull is what a straight line of some slope touches first."""
    rng = np.random.default_rng(3)
    for _ in range(200):
        cost = np.append(0.0, np.sort(rng.integers(1, 30, 7))).astype(float)
        gain = np.append(0.0, rng.integers(1, 30, 7)).astype(float)
        steps = hull_steps(list(range(1, 8)), gain, cost)
        corners = [0, *(row for _, row, _ in steps)]
        assert [before for _, _, before in steps] == [-1, *corners[1:-1]]
        assert all(a > b > 0 for a, b in itertools.pairwise([np.inf, *(slope for slope, _, _ in steps)]))
        for price in np.linspace(0.01, 30.0, 60):
            worth = gain - price * cost
            assert worth[corners].max() == pytest.approx(worth.max())


def test_steps_add_up_to_the_options_gone_to():
    changed = 0
    for seed in range(4):
        _, options = options_of(12, seed)
        row, before, gain, cost = best_steps(options)
        chosen = np.zeros(len(options.rows), dtype=bool)
        for to, left, gained, spent in zip(row, before, np.cumsum(gain), np.cumsum(cost), strict=True):
            chosen[left] &= left < 0
            chosen[to] = True
            changed += left >= 0
            assert options.rows.loc[chosen, "customer_hours_avoided"].sum() == pytest.approx(gained)
            assert options.rows.loc[chosen, "capex"].sum() == pytest.approx(spent)
    assert changed > 0


def test_what_avoids_nothing_is_not_on_the_frontier():
    _, options = options_of(10, 3)
    rows = options.rows.copy()
    worse = rows["lateral"].isin([0, 1])
    rows.loc[worse, "customer_hours_avoided"] = -rows.loc[worse, "customer_hours_avoided"].abs()
    rows.loc[rows["lateral"] == 1, "customer_hours_avoided"] = 0.0
    for chosen in corner_sets(replace(options, rows=rows), 8, None):
        assert not (chosen & worse.to_numpy()).any()


@pytest.mark.parametrize("fast", [(), (0,)])
def test_units_by_device_add_up_to_the_units_of_every_point(fast):
    _, options = options_of(14, 2, fast)
    curve = frontier(options, 8)
    by_device = curve[[c for c in curve.columns if c.startswith(frontier_module.UNITS_OF)]]
    assert by_device.shape[1] >= 1
    np.testing.assert_allclose(by_device.sum(axis=1), curve["units"], rtol=1e-12)
    assert curve["units"].iloc[-1] > 0
