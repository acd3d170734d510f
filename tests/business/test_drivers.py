"""Sensitivity: the closed form by groups, Sobol' indices of known cases, break-even values."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from reliability.business import sobol
from reliability.business.cashflow import flows
from reliability.business.costs import totals
from reliability.business.drivers import DRIVER_COLUMNS, drivers_frame, ranges_tried
from reliability.business.expected_npv import ExpectedNpv
from reliability.business.sobol import GOAL, MOST_TABLES, sobol_indices
from reliability.business.turning_points import break_even_grid, one_at_a_time, one_way
from reliability.business.unknowns import in_levels
from reliability.indices.draws import pert_quantiles
from reliability.network.model import Model
from reliability.network.rate_draws import RateDraws
from reliability.schema.assumption_types import Range
from reliability.schema.scenarios import Scenario
from reliability.study.cost_table import default_cost_table
from tests.business.cases import case_of, feeders_of_laterals, npvs_the_long_way, with_values

COSTS = default_cost_table()
S = (Scenario("S", None, "sectionalizer", 2),)


def _npv(study) -> ExpectedNpv:
    return ExpectedNpv(Model(study.network, study.values), study.scenarios, COSTS)


def _study(uncertain: dict[str, Range], **values: object):
    study = feeders_of_laterals(8, 3, S, **values)
    return replace(study, stated_ranges=uncertain, values={**study.values, **{k: r.mean for k, r in uncertain.items()}})


def _pert_variance(law: Range) -> float:
    """Variance of a PERT law: (μ − low)(high − μ)/7."""
    return (law.mean - law.low) * (law.high - law.mean) / 7.0


def test_the_law_of_the_draws_is_the_pert_law():
    law = Range(1.0, 2.0, 6.0)
    assert pert_quantiles(law, np.array([0.0, 1.0])).tolist() == [1.0, 6.0]
    drawn = pert_quantiles(law, (np.arange(20_000) + 0.5) / 20_000)
    assert drawn.mean() == pytest.approx(law.mean, rel=1e-5)
    assert drawn.var() == pytest.approx(_pert_variance(law), rel=1e-3)
    assert pert_quantiles(Range(2.0, 2.0, 2.0), np.array([0.3])).tolist() == [2.0]


def test_sobol_indices_of_a_sum_of_two_prices():
    """NPV is linear in the unit price and in the inspection cost: shares of the variance by hand."""
    laws = {"sectionalizer_cost": Range(1500.0, 2000.0, 4000.0), "inspection_cost_per_year": Range(0.0, 30.0, 90.0)}
    study = _study(laws)
    case = case_of(study)
    units = case.business.capital[1].total_units
    annuity = (1.0 - 1.07 ** -20) / 0.07
    variance = {"sectionalizer_cost": units ** 2 * _pert_variance(laws["sectionalizer_cost"]),
                "inspection_cost_per_year": (units * annuity) ** 2 * _pert_variance(laws["inspection_cost_per_year"])}
    found = sobol_indices(study, _npv(study), 1)
    for key, part in variance.items():
        share = part / sum(variance.values())
        assert 0.1 < share < 0.9
        for index, error in ((found.first, found.first_error), (found.total, found.total_error)):
            assert 0.0 < error[key][1] < GOAL
            assert abs(index[key][1] - share) < 4.0 * error[key][1] + 1e-4


def test_sobol_totals_exceed_first_orders_where_assumptions_multiply():
    laws = {"crew_rate_per_hour": Range(20.0, 150.0, 400.0), "line_fault_rate_per_km": Range(0.02, 0.2, 0.8)}
    study = _study(laws, horizon_years=10)
    found = sobol_indices(study, _npv(study), 2)
    assert sum(found.first[k][1] for k in laws) < 0.99
    for key in laws:
        assert found.total[key][1] > found.first[key][1] + 0.01


def test_sobol_of_a_product_by_hand():
    """NPV is a·x·y less what does not vary: x and y alone explain their shares of the variance, together the rest."""
    laws = {"crew_rate_per_hour": Range(20.0, 150.0, 400.0), "line_fault_rate_per_km": Range(0.02, 0.2, 0.8)}
    study = _study(laws, vehicle_per_callout=0.0, fuse_link_cost=0.0, repair_material_cost=0.0, actuator_cost=0.0,
                   energy_margin_per_kwh=0.0)
    found = sobol_indices(study, _npv(study), 3)
    mean, variance = ({k: f(r) for k, r in laws.items()} for f in (lambda r: r.mean, _pert_variance))
    relative = {k: variance[k] / mean[k] ** 2 for k in laws}
    whole = np.prod([1.0 + r for r in relative.values()]) - 1.0
    for key, other in (list(laws), list(laws)[::-1]):
        for index, error, wanted in ((found.first, found.first_error, relative[key] / whole), (
                found.total, found.total_error, relative[key] * (1.0 + relative[other]) / whole)):
            assert error[key][1] < GOAL
            assert abs(index[key][1] - wanted) < 4.0 * error[key][1] + 1e-4


def test_errors_are_those_that_indices_have_from_seed_to_seed():
    laws = {"crew_rate_per_hour": Range(20.0, 150.0, 400.0), "line_fault_rate_per_km": Range(0.02, 0.2, 0.8),
            "sectionalizer_cost": Range(100.0, 2000.0, 4000.0)}
    study = _study(laws)
    runs = [sobol_indices(study, _npv(study), seed) for seed in range(24)]
    for key in laws:
        for index, error in (("first", "first_error"), ("total", "total_error")):
            spread = np.std([getattr(run, index)[key][1] for run in runs])
            told = np.mean([getattr(run, error)[key][1] for run in runs])
            assert 0.5 * told < spread < 1.7 * told


def test_an_index_is_never_below_nil_nor_a_first_order_above_the_total():
    laws = {"crew_rate_per_hour": Range(149.0, 150.0, 151.0), "sectionalizer_cost": Range(100.0, 2000.0, 4000.0),
            "fuse_cost": Range(1.0, 2.0, 3.0)}
    study = _study(laws)
    found = sobol_indices(study, _npv(study), 1)
    for key in laws:
        assert 0.0 <= found.first[key][1] <= found.total[key][1] <= 1.0 + 4.0 * GOAL
    assert found.total["fuse_cost"][1] == 0.0
    assert np.isnan(found.total["fuse_cost"][0])  # "As built" has no NPV to vary


def test_default_ranges_are_told_as_such_and_drawn_and_move_no_expected_figure():
    study = _study({"crew_rate_per_hour": Range(100.0, 150.0, 250.0)}, default_ranges=True)
    found, none = (drivers_frame(s, s.network, COSTS).set_index("assumption") for s in (
        study, replace(study, values=study.values | {"default_ranges": False})))
    assert found.loc["crew_rate_per_hour", "range"] == "stated"
    price = found.loc["sectionalizer_cost"]
    assert (price["range"], price["low"], price["high"]) == ("default", 1760.0, 2640.0)
    assert price["total"] > 0.0
    assert found.loc["discount_rate", "range"] == none.loc["sectionalizer_cost", "range"] == "±20%"
    assert np.isnan(none.loc["sectionalizer_cost", "total"])
    assert set(found["npv"]) == set(none["npv"])


def test_an_assumption_known_well_enough_is_not_looked_at_again(monkeypatch):
    """Its second half of draws serves once a batch for all, and once more while it is looked at."""
    laws = {"crew_rate_per_hour": Range(20.0, 150.0, 400.0), "line_fault_rate_per_km": Range(0.02, 0.2, 0.8),
            "fuse_link_cost": Range(9.9, 10.0, 10.1)}
    study, seen = _study(laws), []

    def counted(values):
        if isinstance(values["fuse_link_cost"], np.ndarray):
            seen.append(values["fuse_link_cost"].tobytes())
        return _npv(study)(values)

    monkeypatch.setattr(sobol, "GOAL", 0.003)
    found = sobol_indices(study, counted, 1)
    second_halves = list(Counter(seen).values())[1::2]
    assert len(second_halves) > 1
    assert second_halves == [2] + [1] * (len(second_halves) - 1)
    assert 0.0 < found.total["fuse_link_cost"][1] < 0.003
    assert set(found.total) == set(laws)


def test_points_are_doubled_until_the_errors_are_small(monkeypatch):
    laws = {"crew_rate_per_hour": Range(20.0, 150.0, 400.0), "line_fault_rate_per_km": Range(0.02, 0.2, 0.8)}
    study = _study(laws)
    asked: list[int] = []

    def counted(values):
        found = _npv(study)(values)
        asked.append(len(found))
        return found

    worst = {}
    for goal in (0.02, 0.003):
        monkeypatch.setattr(sobol, "GOAL", goal)
        asked.clear()
        found = sobol_indices(study, counted, 1)
        worst[goal] = sum(asked)
        assert max(found.first_error[k][1] for k in laws) < goal
    assert worst[0.003] >= 2 * worst[0.02]
    monkeypatch.setattr(sobol, "GOAL", 0.0)
    monkeypatch.setattr(sobol, "POINTS_AT_MOST", 256)
    asked.clear()
    sobol_indices(study, counted, 1)
    assert max(asked) <= sobol.SAMPLES * 256


def test_sobol_with_an_assumption_that_changes_the_table():
    study = _study({"fast_clearing_time_s": Range(0.03, 0.08, 0.4),
                    "sectionalizer_cost": Range(1500.0, 2000.0, 2100.0)})
    sections = study.sections.copy()
    fuses = sections["device"] == "fuse"
    sections.loc[fuses, "saving_ceiling_a"] = np.nan
    sections.loc[fuses, "fuse_link"] = "40K"
    study = study.with_sections(sections)
    first = sobol_indices(study, _npv(study), 1).first
    assert first["fast_clearing_time_s"][1] + first["sectionalizer_cost"][1] == pytest.approx(1.0, abs=0.05)
    assert first["fast_clearing_time_s"][1] > 0.1


def test_learned_rates_are_one_input_more():
    """Deviations of known variance beside a price: their share by hand."""
    laws = {"sectionalizer_cost": Range(1500.0, 2000.0, 4000.0)}
    study = _study(laws)
    units = case_of(study).business.capital[1].total_units
    variance = units ** 2 * _pert_variance(laws["sectionalizer_cost"])
    steps = np.linspace(-1.0, 1.0, 400)
    deviations = np.column_stack([0.0 * steps, np.sqrt(3.0 * variance) * steps])
    for ranges in (laws, {}):
        found = sobol_indices(replace(study, stated_ranges=ranges), _npv(study), 1, deviations)
        assert found.first["fault_rates_from_records"][1] == pytest.approx(0.5 if ranges else 1.0, abs=0.01)
    assert not sobol_indices(replace(study, stated_ranges={}), _npv(study), 1).total


def test_learned_rates_stand_among_the_drivers():
    study = _study({})
    n = len(study.network)
    rng = np.random.default_rng(1)
    draws = RateDraws(np.zeros(n, dtype=int), rng.uniform(0.5, 1.5, (200, 1)), np.ones((200, 1)))
    row = drivers_frame(replace(study, rate_draws=draws), study.network, COSTS).set_index("assumption").loc[
        "fault_rates_from_records"]
    assert row["range"] == "from records"
    assert abs(row["first_order"] - 1.0) < 4.0 * row["first_order_error"] < 4.0 * GOAL
    assert row["low"] < 1.0 < row["high"]
    assert row["npv_low"] != row["npv_high"]


def test_a_stated_range_is_not_tried_anew():
    laws = {"crew_rate_per_hour": Range(10.0, 20.0, 90.0), "fast_clearing_time_s": Range(0.03, 0.08, 0.4)}
    found = ranges_tried(_study(laws))
    assert {key: found[key] for key in laws} == laws
    assert "load_margin" not in found


def test_draws_that_need_a_table_of_their_own_come_in_steps():
    """A network in which nothing depends on the assumptions is asked a few times for either of them."""
    laws = {"fast_clearing_time_s": Range(0.03, 0.08, 0.4), "phases_involved.0": Range(0.3, 0.6, 0.9)}
    asked: set[tuple[float, float]] = set()

    def npv(values):
        pairs = np.column_stack([np.ravel(values["fast_clearing_time_s"]), np.ravel(values["phases_involved"][0])])
        asked.update(map(tuple, pairs.tolist()))
        return np.column_stack([np.zeros(len(pairs)), pairs.sum(axis=1)])

    sobol_indices(replace(_study({}), stated_ranges=laws), npv, 1)
    assert in_levels(np.array([0.0, 0.3, 0.6, 1.0]), 2).tolist() == [0.25, 0.25, 0.75, 0.75]
    assert 9 <= len(asked) <= MOST_TABLES + 1
    times = [t for t, _ in asked]
    assert 0.03 <= min(times) < max(times) <= 0.4


def test_a_spread_of_severity_comes_in_steps_only_where_own_hours_have_a_price():
    laws = {"cv": Range(0.2, 0.8, 1.4)}
    study = _study(laws)
    own = study.with_sections(study.sections.assign(repair_hours=2.0))

    def asked(study, perspective):
        spreads: set[float] = set()

        def npv(values):
            spreads.update(np.ravel(values["cv"]).tolist())
            return np.column_stack([np.zeros_like(np.ravel(values["cv"])), np.ravel(values["cv"])])

        sobol_indices(replace(study, values=study.values | {"perspective": perspective}), npv, 1)
        return len(spreads)

    assert asked(own, "society") <= MOST_TABLES + 1
    assert asked(own, "utility") > 10 * MOST_TABLES
    assert asked(study, "society") > 10 * MOST_TABLES


@pytest.mark.slow
@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_drivers_hold_up_against_the_long_way(perspective):
    laws = {"line_fault_rate_per_km": Range(0.05, 0.2, 0.6), "sectionalizer_cost": Range(100.0, 2000.0, 4000.0)}
    study = _study(laws, perspective=perspective, incentive_per_saidi_minute=200.0)
    case = case_of(study)
    frame = drivers_frame(study, case.network, COSTS)
    assert frame[["first_order_error", "total_error"]].max(axis=None) < GOAL
    assert list(frame.columns) == list(DRIVER_COLUMNS)
    assert set(frame["scenario"]) == {"S"}
    assert np.all(np.diff(frame["swing"]) <= 1e-9)
    assert set(laws) <= set(frame["assumption"])
    assert frame.index.tolist() == list(range(len(frame)))
    assert frame["break_even"].notna().any()
    assert frame["break_even"].isna().any()
    for row in frame.itertuples():
        for end, found in (("low", row.npv_low), ("high", row.npv_high)):
            values = with_values(study.values, {row.assumption: getattr(row, end)})
            assert found == pytest.approx(npvs_the_long_way(case, values)[1], rel=1e-8, abs=1e-4)
        stated = row.assumption in laws
        assert (row.range == "stated") == stated
        assert np.isfinite([row.first_order, row.total, row.first_order_error, row.total_error]).all() == stated
        if np.isfinite(row.break_even):
            at = npvs_the_long_way(case, with_values(study.values, {row.assumption: row.break_even}))[1]
            assert abs(at) <= 1e-5 * max(abs(row.npv), row.swing)
            assert row.break_even_in_range == (row.low <= row.break_even <= row.high)


def test_break_even_by_hand():
    """The price at which the units cost what they save: known without a search."""
    study = _study({}, incentive_per_saidi_minute=400.0)
    case = case_of(study)
    capital, columns = case.business.capital[1], flows(case.business, 1)
    price = (columns["discounted"].sum() + columns["capex"][0]) / capital.total_units
    frame = drivers_frame(study, case.network, COSTS).set_index("assumption")
    assert price > 0
    assert frame.loc["sectionalizer_cost", "break_even"] == pytest.approx(price, rel=1e-6)


def test_an_assumption_at_zero_has_a_break_even_without_a_swing():
    """±20 % of nothing moves nothing; the incentive at which the devices pay is known by hand."""
    study = _study({}, incentive_per_saidi_minute=0.0, incentive_per_saifi=0.0, sectionalizer_cost=9000.0,
                   escalation_rate=0.0)
    case = case_of(study)
    columns = flows(case.business, 1)
    before, after = (totals(a)["customer_hours"] for a in case.business.by_section)
    minutes = 60.0 * (before - after) / case.business.customers_served
    worth = minutes * (columns["discounted"][1:] / columns["net"][1:]).sum()  # of one unit of money a minute
    frame = drivers_frame(study, case.network, COSTS).set_index("assumption")
    row = frame.loc["incentive_per_saidi_minute"]
    assert columns["discounted"].sum() < 0 < minutes
    assert (row["value"], row["swing"]) == (0.0, 0.0)
    assert row["break_even"] == pytest.approx(-columns["discounted"].sum() / worth, rel=1e-6)
    assert not row["break_even_in_range"]
    # what can do neither is left out
    assert "fuse_cost" not in frame.index


def test_a_value_that_only_touches_zero_is_a_break_even():
    """Nothing is lost at a crew rate of 0 and money is made at every other; nothing ever happens in the second."""

    def npv(values):
        rate = np.ravel(values["crew_rate_per_hour"])
        return np.column_stack([rate, 0.0 * rate])

    found = one_way(_study({}).values, npv, {"crew_rate_per_hour": Range(100.0, 150.0, 200.0)})
    assert found.break_even["crew_rate_per_hour"][0] == 0.0
    assert np.isnan(found.break_even["crew_rate_per_hour"][1])


def test_one_assumption_is_moved_at_a_time():
    values = _study({}).values
    moved = one_at_a_time(values, ["crew_rate_per_hour", "cv", "clearing_shares.0"], np.array([0, 2, 0, 2]),
                          np.array([9.0, 0.0, 7.0, values["clearing_shares"][0]]))
    usual = values["crew_rate_per_hour"]
    assert moved["crew_rate_per_hour"].tolist() == [9.0, usual, 7.0, usual]
    assert moved["cv"] == values["cv"]
    assert moved["clearing_shares"][0] == pytest.approx([values["clearing_shares"][0], 0.0] + 2 * [
        values["clearing_shares"][0]])


def test_break_evens_are_looked_for_near_and_far():
    study = _study({}, crew_rate_per_hour=96.0)
    grid = break_even_grid(study.values, "crew_rate_per_hour", Range(70.0, 96.0, 120.0))
    for x in (0.0, 3.0, 70.0, 96.0, 120.0, 96.0 * 32.0):
        assert np.isclose(grid, x).any(), x
    assert np.all(np.diff(grid) > 0)
    assert np.sum((grid > 3.0) & (grid < 96.0)) >= 5
    nothing = replace(study, values=study.values | {"incentive_per_saidi_minute": 0.0})
    grid = break_even_grid(nothing.values, "incentive_per_saidi_minute", Range(0.0, 0.0, 0.0))
    assert np.sum((grid > 0.0) & (grid < 0.09 * grid.max())) >= 5


def test_the_break_even_nearest_to_the_value_is_told():
    def npv(values):
        rate = np.ravel(values["crew_rate_per_hour"])
        return np.column_stack([(rate - 140.0) * (rate - 60.0)])

    for value, nearest in ((130.0, 140.0), (80.0, 60.0)):
        study = _study({}, crew_rate_per_hour=value)
        found = one_way(study.values, npv, {"crew_rate_per_hour": Range(50.0, value, 200.0)})
        assert found.break_even["crew_rate_per_hour"] == pytest.approx(nearest)


def test_no_break_even_is_told():
    """A device that costs nothing and saves always: no crew rate makes it lose."""
    study = _study({}, sectionalizer_cost=0.0, inspection_cost_per_year=0.0, actuator_cost=0.0,
                   reset_crew_hours=0.0, incentive_per_saidi_minute=1000.0)
    frame = drivers_frame(study, case_of(study).network, COSTS).set_index("assumption")
    assert frame.loc["crew_rate_per_hour", "npv"] > 0
    assert np.isnan(frame.loc["crew_rate_per_hour", "break_even"])
    assert not frame.loc["crew_rate_per_hour", "break_even_in_range"]


def test_without_uncertain_assumptions_every_one_is_tried():
    study = _study({})
    frame = drivers_frame(study, case_of(study).network, COSTS)
    assert set(frame["range"]) == {"±20%"}
    ends = frame.set_index("assumption")[["low", "high"]]
    assert ends.loc["sectionalizer_cost"].tolist() == pytest.approx(
        [0.8 * study.values["sectionalizer_cost"], 1.2 * study.values["sectionalizer_cost"]])
    surely = replace(study, values=study.values | {"temporary_fraction": 0.9})
    assert ranges_tried(surely)["temporary_fraction"] == Range(pytest.approx(0.72), 0.9, 1.0)
    assert frame[["first_order", "total", "first_order_error", "total_error"]].isna().all(axis=None)
    assert "sectionalizer_cost" in set(frame["assumption"])
    assert "lateral_recloser_cost" not in set(frame["assumption"])  # this scenario buys none
