"""The frontier of budgets: its corners on the hull, the searches between, and what every point promises."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import OptimizeResult

from reliability.business import frontier as frontier_module
from reliability.business.capped_frontier import best_at_price
from reliability.business.frontier import frontier
from reliability.business.greedy_frontier import corner_sets, upper_hulls
from reliability.business.known_choices import KnownChoices
from reliability.business.limits import Limits, constraints, limit_rows
from reliability.business.options import AS_IT_IS, Options
from reliability.business.selection import SAIDI, choose, sought, totals_of
from tests.business.cases import options_of


def test_what_costs_nothing_is_on_the_frontier_from_its_start():
    _, options = options_of(8, 1, sectionalizer_cost=0.0)
    start = frontier(options, 6).iloc[0]
    assert start["budget"] == 0.0
    free = choose(options, Limits(budget=0.0), SAIDI, gap=0.0).totals
    assert start["saidi_minutes_avoided"] == pytest.approx(free["saidi_minutes_avoided"], rel=1e-6)
    assert start["saidi_minutes_avoided"] > 0.0


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


def corners_of(cost: list[float], gain: list[float], group: list[int] | None = None) -> list[int]:
    """Corners of the upper hulls of choices in one group, or in several."""
    return upper_hulls(np.array(group or [0] * len(cost)), np.array(cost, dtype=float),
                       np.array(gain, dtype=float)).tolist()


def test_corners_lie_on_the_upper_hull():
    assert corners_of([0, 1, 3, 4], [0, 4, 6, 5]) == [0, 1, 2]
    assert corners_of([0, 1, 3], [0, 4, 4]) == [0, 1]
    assert corners_of([0, 0.5], [0, 2]) == [0, 1]
    assert corners_of([0, 1, 2, 3, 4], [0, 10, 15, 18, 20]) == [0, 1, 2, 3, 4]
    # the second is better for its money than the first, and takes its place
    assert corners_of([0, 1, 2], [0, 2, 6]) == [0, 2]
    # one on a straight edge is no corner; of choices alike the first is
    assert corners_of([0, 1, 2, 2], [0, 2, 4, 4]) == [0, 2]
    # a hull begins at the best of the cheapest, also below nothing, in each group by itself
    assert corners_of([5, 5, 7, 0, 9], [-3, -1, 0, 1, 2], [4, 4, 4, 1, 1]) == [3, 4, 1, 2]
    assert corners_of([1e-320, 0], [1, 0]) == [1, 0]


def test_for_every_price_of_an_hour_the_best_option_lies_on_the_hull():
    """A corner of the upper hull is what a straight line of some slope touches first."""
    rng = np.random.default_rng(3)
    for _ in range(200):
        cost = np.append(0.0, np.sort(rng.integers(1, 30, 7))).astype(float)
        gain = np.append(0.0, rng.integers(1, 30, 7)).astype(float)
        corners = corners_of(cost.tolist(), gain.tolist())
        slopes = np.diff(gain[corners]) / np.diff(cost[corners])
        assert corners[0] == 0
        assert all(a > b > 0 for a, b in itertools.pairwise([np.inf, *slopes]))
        for price in np.linspace(0.01, 30.0, 60):
            worth = gain - price * cost
            assert worth[corners].max() == pytest.approx(worth.max())


def unruly(options: Options, seed: int) -> Options:
    """Options with few whole costs and gains, so that many are alike, cost nothing, or do harm."""
    rng, rows = np.random.default_rng(seed), options.rows.copy()
    zone, n = (rows["lateral"] < 0).to_numpy(), len(rows)
    nothing = (rows["setting"] == AS_IT_IS) & zone
    left = nothing | ((rows["device"] == "") & ~zone)
    rows["customer_hours_avoided"] = np.where(nothing, 0.0, rng.integers(-4, 9, n))
    rows["capex"] = np.where(left, 0.0, np.where(zone, rng.integers(0, 6, n), rng.integers(0, 9, n)))
    return replace(options, rows=rows)


@pytest.mark.parametrize("fast", [(), (0,), (0, 2, 3)])     # the last not of every backup
@pytest.mark.parametrize("forced", [(), ("forced_in",), ("forced_out",), ("forced_in", "forced_out")])
def test_every_corner_keeps_to_what_a_choice_must_and_is_the_best_of_its_cost(fast, forced):
    changed = 0
    for seed in range(6):
        options = options_of(7, seed, fast)[1]
        options = unruly(options, seed) if seed % 2 else options
        limits = Limits(**{name: (f"t{seed + i}",) for i, name in enumerate(forced)})
        sets = [chosen for chosen, _ in corner_sets(options, sought(options, SAIDI), 40, limits)]
        assert len(sets) > 1
        for chosen in sets:
            for c in constraints(options, limits):
                assert np.all((c.lb <= c.A @ chosen) & (c.A @ chosen <= c.ub))
            found = totals_of(options, chosen)
            best = choose(options, replace(limits, budget=found["capex"] + 1e-7), SAIDI, gap=0.0).totals
            assert found["saidi_minutes_avoided"] == pytest.approx(best["saidi_minutes_avoided"], rel=1e-5, abs=1e-9)
            changed += found["backup_settings_changed"] > 0
        assert np.all(np.diff([options.rows["capex"][chosen].sum() for chosen in sets]) > 0)
        most = choose(options, limits, SAIDI, gap=0.0).totals["saidi_minutes_avoided"]
        assert found["saidi_minutes_avoided"] == pytest.approx(most, rel=1e-5, abs=1e-9)
    assert (changed > 0) == bool(fast)


def test_forced_laterals_that_cannot_be_met_leave_no_frontier():
    _, options = options_of(7, 1, (0,))
    assert frontier(options, 5, Limits(forced_in=("t1",), forced_out=("t1",))).empty
    least = frontier(options, 5, Limits(forced_in=("t1",)))["budget"].iloc[0]
    assert least > 0.0
    assert frontier(options, 5, Limits(budget=0.9 * least, forced_in=("t1",))).empty
    assert "saidi_minutes_avoided" in frontier(options, 5, Limits(budget=0.9 * least, forced_in=("t1",)))
    only = options.rows["setting"].eq(AS_IT_IS) & options.rows["lateral"].eq(1)
    rows = options.rows.assign(device=options.rows["device"].where(~only, ""))
    without, limits = replace(options, rows=rows), Limits(forced_in=("t1",))
    for chosen, _ in corner_sets(without, sought(options, SAIDI), 5, limits):
        for c in constraints(without, limits):
            assert np.all((c.lb <= c.A @ chosen) & (c.A @ chosen <= c.ub))
        assert rows.loc[chosen & rows["lateral"].eq(-1) & rows["zone"].eq(options.zone[1]), "setting"].tolist() == [1]


def test_of_choices_alike_the_frontier_leaves_things_as_they_are():
    """A setting that costs nothing and brings nothing is not changed, nor where its sums differ by their roundings."""
    _, options = options_of(9, 2, (0,))
    rows, rng = options.rows.copy(), np.random.default_rng(0)
    key = list(zip(rows["lateral"], rows["device"], rows["counts"].fillna(0.0), strict=True))
    changed = (rows["setting"] != AS_IT_IS).to_numpy()
    for column in ("customer_hours_avoided", "capex"):
        built = {k: v for k, v, c in zip(key, rows[column], changed, strict=True) if not c and k[0] >= 0}
        rows[column] = [built.get(k, 0.0) if c else v for k, v, c in zip(key, rows[column], changed, strict=True)]
    rows["customer_hours_avoided"] += np.where(changed, rng.normal(0.0, 1e-14, len(rows)), 0.0)
    curve = frontier(replace(options, rows=rows), 30)
    assert len(curve) > 5
    assert (curve["backup_settings_changed"] == 0).all()


def test_what_avoids_nothing_is_not_on_the_frontier():
    _, options = options_of(10, 3)
    rows = options.rows.copy()
    worse = rows["lateral"].isin([0, 1])
    rows.loc[worse, "customer_hours_avoided"] = -rows.loc[worse, "customer_hours_avoided"].abs()
    rows.loc[rows["lateral"] == 1, "customer_hours_avoided"] = 0.0
    options = replace(options, rows=rows)
    for chosen, _ in corner_sets(options, sought(options, SAIDI), 8, Limits()):
        assert not (chosen & worse.to_numpy()).any()


@pytest.mark.parametrize("fast", [(), (0,)])
def test_units_by_device_add_up_to_the_units_of_every_point(fast):
    _, options = options_of(14, 2, fast)
    curve = frontier(options, 8)
    by_device = curve[[c for c in curve.columns if c.startswith(frontier_module.UNITS_OF)]]
    assert by_device.shape[1] >= 1
    np.testing.assert_allclose(by_device.sum(axis=1), curve["units"], rtol=1e-12)
    assert curve["units"].iloc[-1] > 0


CAPS = [{"added_maifi_e": 0.01}, {"added_maifi_e_feeder": 0.02}, {"added_maifi_e": 0.05, "added_maifi_e_feeder": 0.1},
        {"added_maifi_e": -0.1, "forced_out": ("t1",)}, {"units": 8.0}, {"saidi_reduction_minutes": 5.0},
        {"units": 9.0, "added_maifi_e_feeder": 0.05, "forced_in": ("t2",)}]


@pytest.mark.parametrize("seconds", [0.0, 20.0])
@pytest.mark.parametrize("caps", CAPS)
def test_under_caps_every_point_keeps_them_and_is_as_near_the_best_as_it_says(caps, seconds):
    limits, points = Limits(**caps), 0
    for seed in range(3):
        options = options_of(12, seed, (0,))[1]
        options = unruly(options, seed) if seed == 2 else options
        curve = frontier(options, 10, limits, seconds_per_point=seconds)
        points += len(curve)
        assert np.all(np.diff(curve["saidi_minutes_avoided"]) >= 0)
        assert np.all(np.diff(curve["budget"]) > 0)
        assert np.all(curve["capex"] <= curve["budget"] * (1.0 + 1e-9))
        for row in curve.itertuples():
            best = choose(options, replace(limits, budget=row.budget + 1e-7), SAIDI, gap=0.0).totals
            reach = best["saidi_minutes_avoided"]
            assert row.saidi_minutes_avoided <= reach + 1e-5 * abs(reach)
            if not np.isnan(row.gap):
                assert reach <= row.saidi_minutes_avoided + (row.gap + 1e-5) * abs(row.saidi_minutes_avoided)
            if seconds:
                assert row.gap <= frontier_module.FRONTIER_GAP or reach == pytest.approx(0.0, abs=1e-9)
            assert row.maifi_e_added <= limit_of(limits.added_maifi_e) + 1e-9
            assert row.worst_feeder_maifi_e_added <= limit_of(limits.added_maifi_e_feeder) + 1e-9
            assert row.units <= limit_of(limits.units)
            assert row.saidi_minutes_avoided >= (limits.saidi_reduction_minutes or -np.inf) - 1e-9
    assert points >= (10 if seconds else 6)


@pytest.mark.parametrize("caps", [*CAPS, {}], ids=str)
def test_the_last_point_is_the_most_that_money_and_the_limits_leave(caps):
    for seed in range(4):
        options = options_of(12, seed, (0,))[1]
        free = choose(options, Limits(**caps), SAIDI, gap=0.0).totals
        for budget in (None, 0.3 * free["capex"], 0.7 * free["capex"]):
            limits = Limits(**caps, budget=budget)
            found, best = frontier(options, 6, limits, gap=0.0), choose(options, limits, SAIDI, gap=0.0)
            assert best.feasible == (len(found) > 0)
            if best.feasible:
                assert found["saidi_minutes_avoided"].iloc[-1] == pytest.approx(
                    best.totals["saidi_minutes_avoided"], rel=1e-5, abs=1e-9)


def test_steps_may_be_a_trifle_beside_all_others():
    """What they add would be lost in a sum: one backup's settings take an event away, laterals add next to none."""
    options = options_of(12, 1, (0,))[1]
    rows = options.rows
    taken = (rows["lateral"] < 0) & (rows["setting"] != AS_IT_IS) & (rows["zone"] == rows["zone"].max())
    events = np.where(taken, -1.0, np.where(rows["lateral"] < 0, 0.0, 1e-25 * rows["momentary_events_added"].abs()))
    options = replace(options, rows=rows.assign(momentary_events_added=events))
    limits = Limits(added_maifi_e=-0.5 / options.customers_served)
    curve = frontier(options, 10, limits)
    assert curve["saidi_minutes_avoided"].iloc[-1] == pytest.approx(
        choose(options, limits, SAIDI, gap=0.0).totals["saidi_minutes_avoided"], rel=1e-2)


def limit_of(most: float | None) -> float:
    """What may be reached at most."""
    return np.inf if most is None else most


def test_where_the_caps_do_not_bind_the_frontier_is_that_of_money():
    _, options = options_of(12, 1, (0,))
    loose = Limits(added_maifi_e=1e3, added_maifi_e_feeder=1e3, units=1e5, saidi_reduction_minutes=-1e3)
    pd.testing.assert_frame_equal(frontier(options, 10, loose, seconds_per_point=0.0), frontier(options, 10))


@pytest.mark.parametrize("caps", CAPS[:4])
def test_at_a_price_of_money_none_gains_more_than_is_said(caps):
    """And what is found is that, but for the steps that no longer fit."""
    limits, exact = Limits(**caps), 0
    for seed in range(4):
        options = options_of(10, seed, (0,))[1]
        gain, capex = sought(options, SAIDI), options.rows["capex"].to_numpy()
        for price in (0.0, 1e-5, 1e-4, 1e-3):
            found, most = best_at_price(options, gain, price, limits)
            rows = options.rows.assign(customer_hours_avoided=gain - price * capex)
            best = choose(replace(options, rows=rows), limits, SAIDI, gap=0.0).chosen
            worth = float((gain - price * capex)[best].sum())
            assert worth <= most + 1e-6
            free, all_of_it = best_at_price(options, gain, price, Limits())
            assert float((gain - price * capex)[free].sum()) == pytest.approx(all_of_it, abs=1e-8)
            assert all(np.all(c.A @ found <= c.ub + 1e-9) for c in limit_rows(options, limits))
            assert float((gain - price * capex)[found].sum()) <= worth + 1e-5
            exact += float((gain - price * capex)[found].sum()) == pytest.approx(worth, abs=1e-5)
    assert exact >= 8


def test_the_best_known_of_a_budget_is_of_equals_the_cheapest():
    rows = [np.array([True]), np.array([False])]
    known = KnownChoices(options_of(4, 0)[1], Limits(), np.ones(1), [],
                         found=[(5.0, 10.0, rows[0]), (3.0, 10.0, rows[1]), (1.0, 4.0, rows[0])])
    assert known.best(6.0) is rows[1]
    assert known.best(2.0) is rows[0]
    assert known.best(0.5) is None


def test_caps_below_what_any_choice_adds_leave_no_frontier():
    _, options = options_of(10, 1, (0,))
    limits = Limits(added_maifi_e=-1e6)
    assert best_at_price(options, sought(options, SAIDI), 0.0, limits) == (None, np.inf)
    assert frontier(options, 5, limits).empty
    still = replace(options, rows=options.rows.assign(momentary_events_added=0.0))
    chosen, most = best_at_price(still, sought(still, SAIDI), 0.0, Limits(added_maifi_e=0.0))
    assert float(sought(still, SAIDI)[chosen].sum()) == pytest.approx(most)


def test_after_a_few_searches_that_bring_nothing_in_their_time_there_are_no_more(monkeypatch):
    _, options = options_of(12, 1, (0,))
    asked = []

    def searched(options, limits, *_):
        asked.append(limits.budget)
        return OptimizeResult(x=None, status=1)

    without = frontier(options, 10, Limits(added_maifi_e=0.01), seconds_per_point=0.0)
    monkeypatch.setattr(frontier_module, "solve", searched)
    curve = frontier(options, 10, Limits(added_maifi_e=0.01))
    assert len(asked) == frontier_module.SEARCHES_IN_VAIN
    pd.testing.assert_frame_equal(curve, without)
    assert curve["gap"].max() > frontier_module.FRONTIER_GAP


@pytest.mark.parametrize(("found", "searches"), [((False, False, False, False), 2), ((False, True, False, False), 4)])
def test_only_searches_in_vain_one_after_another_end_them(found, searches, monkeypatch):
    """Of six budgets that ask for one here; what is most of all comes first."""
    _, options = options_of(12, 1, (0,))
    answers, asked = iter((*found, False, False)), list[float]()
    monkeypatch.setattr(frontier_module, "SEARCHES_IN_VAIN", 2)
    monkeypatch.setattr(frontier_module, "_search", lambda _, budget, *__: (asked.append(budget), next(answers))[1])
    frontier(options, 10, Limits(added_maifi_e=0.01, budget=72_800.0), gap=0.0)
    assert (asked[0], len(asked)) == (72_800.0, searches)
