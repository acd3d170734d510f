"""Sensitivity: the closed form by groups, Sobol' indices of known cases, break-even values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.business.cashflow import assess, flows
from reliability.business.costs import totals
from reliability.business.drivers import (
    DRIVER_COLUMNS,
    LEVELS,
    SAMPLES_STRUCTURAL,
    break_even_grid,
    break_evens,
    drivers_frame,
    pert_distribution,
    ranges_tried,
    rounded_to_levels,
    sobol,
)
from reliability.business.fast_npv import group_rows, grouped_amounts, npv_function, row_groups, with_values
from reliability.faults.outcomes import build_outcomes
from reliability.indices.expected import expected_values
from reliability.network.model import Model
from reliability.schema.assumptions import Range
from reliability.schema.scenarios import Scenario
from reliability.study.cost_table import default_cost_table
from tests.business.cases import case_of, feeders_of_laterals, random_case

COSTS = default_cost_table()
S = (Scenario("S", None, "sectionalizer", 2),)


def _npvs(case, values) -> np.ndarray:
    """The long way: table, expected values and cash flow at the given values, in the perspective that they state."""
    table = build_outcomes(Model(case.network, values), case.study.scenarios)
    business = assess(table, expected_values(table, values), values, COSTS)
    return np.array([flows(business, s)["discounted"].sum() for s in range(len(business.scenarios))])


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_grouped_table_gives_the_same_amounts(seed, full):
    case = random_case(seed, 25, full, perspective="society")
    for s in range(len(case.study.scenarios)):
        rows = row_groups(case.table, case.study.values)
        found = grouped_amounts(group_rows(rows, s, case.study.values), case.study.values, COSTS)
        wanted = totals(case.business.by_section[s])
        assert found == pytest.approx(wanted, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_fast_npv_follows_every_assumption(seed):
    """Probabilities at 0 and 1, times, rates and structure moved together, against the long way."""
    case = random_case(seed, 18, perspective="society" if seed % 2 else "utility", incentive_per_saifi=700.0)
    npv, rng = npv_function(case.network, case.study.scenarios, COSTS), np.random.default_rng(seed)
    for _ in range(5):
        values = with_values(case.study.values, {
            "line_fault_rate_per_km": rng.choice([0.0, rng.uniform(0.01, 2.0)]),
            "temporary_fraction": rng.choice([0.0, 1.0, rng.random()]),
            "fuse_failure": rng.choice([0.0, 1.0, rng.random()]), "sectionalizer_failure": rng.choice([0.0, 0.4]),
            "clearing_shares.1": rng.uniform(0.0, 0.5), "phases_involved.0": rng.uniform(0.1, 0.9),
            "repair_hours": rng.uniform(0.5, 9.0), "switching_hours": rng.uniform(0.0, 4.0),
            "refuse_hours": rng.uniform(0.2, 5.0), "cv": rng.choice([0.0, 1.3]),
            "crew_rate_per_hour": rng.uniform(10.0, 400.0), "fuse_cost": rng.uniform(10.0, 900.0),
            "fast_clearing_time_s": rng.uniform(0.03, 0.4), "discount_rate": rng.uniform(-0.05, 0.2),
        })
        assert npv(values) == pytest.approx(_npvs(case, values), rel=1e-8, abs=1e-4)


@pytest.mark.parametrize("seed", range(8))
def test_fast_npv_follows_every_assumption_of_full_studies(seed):
    """Reclosing off, wrong links, walks and momentary events, and what each race of fuse and device depends on."""
    case = random_case(seed, 12, True, perspective="society" if seed % 2 else "utility", incentive_per_saifi=700.0)
    npv, rng = npv_function(case.network, case.study.scenarios, COSTS), np.random.default_rng(seed)
    for _ in range(5):
        values = with_values(case.study.values, {
            "reclosing_off_share": rng.choice([0.0, 1.0, rng.random()]),
            "wrong_link_share": rng.choice([0.0, 1.0, rng.random()]),
            "patrol_reclosing_off_hours": rng.uniform(0.2, 9.0), "patrol_hours": rng.uniform(0.2, 5.0),
            "repair_hours": rng.uniform(0.5, 9.0), "switching_hours": rng.uniform(0.0, 4.0),
            "momentary_cost_factor": rng.uniform(0.0, 3.0), "actuator_cost": rng.uniform(0.0, 300.0),
            "temporary_fraction": rng.choice([0.0, 1.0, rng.random()]),
            **rng.choice([{}, {"fault_current_factor": 1.3}, {"fuse_melting_factor": 0.4}, {"fuse_arcing_time_s": 0.1},
                          {"actuating_ratio": 2.1}, {"phases_involved.0": 0.4}]),
        })
        assert npv(values) == pytest.approx(_npvs(case, values), rel=1e-8, abs=1e-4)


def test_fast_npv_follows_the_trip_with_reclosing_off():
    case = random_case(3, 18, True, reclosing_off_share=0.3, perspective="society")
    npv = npv_function(case.network, case.study.scenarios, COSTS)
    found = [npv(case.study.values | {"reclosing_off_trip": trip}) for trip in ("fast", "delayed")]
    for trip, value in zip(("fast", "delayed"), found, strict=True):
        assert value == pytest.approx(_npvs(case, case.study.values | {"reclosing_off_trip": trip}), rel=1e-8, abs=1e-4)
    assert not np.allclose(*found)


@pytest.mark.parametrize("change", [
    {"reclosing_off_share": 0.0}, {"reclosing_off_share": 1.0}, {"wrong_link_share": 0.0}, {"wrong_link_share": 1.0},
    {"line_fault_rate_per_km": 0.0}, {"temporary_fraction": 0.0}, {"temporary_fraction": 1.0}, {"fuse_failure": 0.0},
    {"fuse_failure": 1.0}, {"sectionalizer_failure": 0.0}, {"sectionalizer_failure": 1.0}, {"clearing_shares.0": 0.0},
    {"clearing_shares.1": 0.0}, {"clearing_shares.2": 0.0}], ids=str)
def test_what_never_happens_at_one_value_is_not_forgotten_at_another(change):
    case = random_case(3, 18, True, line_fault_rate_per_km=0.3, fuse_failure=0.1, sectionalizer_failure=0.1,
                       reclosing_off_share=0.2, wrong_link_share=0.1)
    npv = npv_function(case.network, case.study.scenarios, COSTS)
    first = with_values(case.study.values, change)
    for values in (first, case.study.values, first):
        assert npv(values) == pytest.approx(_npvs(case, values), rel=1e-8, abs=1e-4)


def test_where_no_fault_ever_happens_capital_is_all_there_is():
    case = case_of(feeders_of_laterals(3, 1, S, line_fault_rate_per_km=0.0))
    assert len(case.table) == 0
    found = npv_function(case.network, case.study.scenarios, COSTS)(case.study.values)
    assert found == pytest.approx(_npvs(case, case.study.values))
    assert found[1] < 0.0


def test_shares_are_scaled_to_sum_to_one():
    values = with_values({"clearing_shares": (0.5, 0.3, 0.2)}, {"clearing_shares.0": 1.5})
    assert values["clearing_shares"] == pytest.approx((0.75, 0.15, 0.10))


def _study(uncertain: dict[str, Range], **values: object):
    study = feeders_of_laterals(8, 3, S, **values)
    return replace(study, uncertain=uncertain, values={**study.values, **{k: r.mean for k, r in uncertain.items()}})


def _pert_variance(law: Range) -> float:
    """Variance of a PERT law: (μ − low)(high − μ)/7."""
    return (law.mean - law.low) * (law.high - law.mean) / 7.0


def test_the_law_of_the_draws_is_the_pert_law():
    law = Range(1.0, 2.0, 6.0)
    assert pert_distribution(law).support() == (1.0, 6.0)
    assert pert_distribution(law).mean() == pytest.approx(law.mean)
    assert pert_distribution(law).var() == pytest.approx(_pert_variance(law))


def test_sobol_indices_of_a_sum_of_two_prices():
    """NPV is linear in the unit price and in the inspection cost: shares of the variance by hand."""
    laws = {"sectionalizer_cost": Range(1500.0, 2000.0, 4000.0), "inspection_cost_per_year": Range(0.0, 30.0, 90.0)}
    study = _study(laws)
    case = case_of(study)
    units = case.business.capital[1].total_units
    annuity = (1.0 - 1.07 ** -20) / 0.07
    variance = {"sectionalizer_cost": units ** 2 * _pert_variance(laws["sectionalizer_cost"]),
                "inspection_cost_per_year": (units * annuity) ** 2 * _pert_variance(laws["inspection_cost_per_year"])}
    first, total = sobol(study, npv_function(case.network, study.scenarios, COSTS), 1)
    for key, part in variance.items():
        share = part / sum(variance.values())
        assert 0.1 < share < 0.9
        assert first[key][1] == pytest.approx(share, abs=0.03)
        assert total[key][1] == pytest.approx(share, abs=0.03)


def test_sobol_totals_exceed_first_orders_where_assumptions_multiply():
    laws = {"crew_rate_per_hour": Range(20.0, 150.0, 400.0), "line_fault_rate_per_km": Range(0.02, 0.2, 0.8)}
    study = _study(laws, horizon_years=10)
    case = case_of(study)
    first, total = sobol(study, npv_function(case.network, study.scenarios, COSTS), 2)
    assert sum(first[k][1] for k in laws) < 0.99
    for key in laws:
        assert total[key][1] > first[key][1] + 0.01


def test_sobol_with_an_assumption_that_changes_the_table():
    study = _study({"fast_clearing_time_s": Range(0.03, 0.08, 0.4),
                    "sectionalizer_cost": Range(1500.0, 2000.0, 2100.0)})
    sections = study.sections.copy()
    fuses = sections["device"] == "fuse"
    sections.loc[fuses, "saving_ceiling_a"] = np.nan
    sections.loc[fuses, "fuse_link"] = "40K"
    case = case_of(study.with_sections(sections))
    first, _ = sobol(case.study, npv_function(case.network, case.study.scenarios, COSTS), 1)
    assert first["fast_clearing_time_s"][1] + first["sectionalizer_cost"][1] == pytest.approx(1.0, abs=0.1)
    assert first["fast_clearing_time_s"][1] > 0.1


def test_a_stated_range_is_not_tried_anew():
    laws = {"crew_rate_per_hour": Range(10.0, 20.0, 90.0), "fast_clearing_time_s": Range(0.03, 0.08, 0.4)}
    found = ranges_tried(_study(laws))
    assert {key: found[key] for key in laws} == laws
    assert "load_margin" not in found


def test_draws_that_need_a_table_of_their_own_come_in_steps():
    """A network in which nothing depends on the assumptions is asked a few times for either of them."""
    laws = {"fast_clearing_time_s": Range(0.03, 0.08, 0.4), "phases_involved.0": Range(0.3, 0.6, 0.9)}
    asked: list[tuple[float, float]] = []

    def npv(values):
        asked.append((values["fast_clearing_time_s"], values["phases_involved"][0]))
        return np.array([0.0, sum(asked[-1])])

    sobol(replace(_study({}), uncertain=laws), npv, 1)
    times = {t for t, _ in asked}
    assert rounded_to_levels(np.array([2.0, 2.3, 6.0]), Range(2.0, 3.0, 6.0)).tolist() == [2.0, 2.25, 6.0]
    assert 8 < len(times) <= LEVELS + 1
    assert 0.03 <= min(times) < max(times) <= 0.4
    assert len(asked) == SAMPLES_STRUCTURAL * (len(laws) + 2)


@pytest.mark.slow
@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_drivers_hold_up_against_the_long_way(perspective):
    laws = {"line_fault_rate_per_km": Range(0.05, 0.2, 0.6), "sectionalizer_cost": Range(100.0, 2000.0, 4000.0)}
    study = _study(laws, perspective=perspective, incentive_per_saidi_minute=200.0)
    case = case_of(study)
    frame = drivers_frame(study, case.network, COSTS)
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
            assert found == pytest.approx(_npvs(case, values)[1], rel=1e-8, abs=1e-4)
        stated = row.assumption in laws
        assert (row.range == "stated") == stated
        assert np.isfinite(row.first_order) == stated
        if np.isfinite(row.break_even):
            at = _npvs(case, with_values(study.values, {row.assumption: row.break_even}))[1]
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
    study = _study({})
    found = break_evens(study, lambda v: np.array([v["crew_rate_per_hour"], 0.0]), "crew_rate_per_hour",
                        Range(100.0, 150.0, 200.0))
    assert found[0] == 0.0
    assert np.isnan(found[1])


def test_break_evens_are_looked_for_near_and_far():
    study = _study({}, crew_rate_per_hour=96.0)
    grid = break_even_grid(study, "crew_rate_per_hour", Range(70.0, 96.0, 120.0))
    for x in (0.0, 3.0, 70.0, 96.0, 120.0, 96.0 * 32.0):
        assert np.isclose(grid, x).any(), x
    assert np.all(np.diff(grid) > 0)
    assert np.sum((grid > 3.0) & (grid < 96.0)) >= 5
    nothing = replace(study, values=study.values | {"incentive_per_saidi_minute": 0.0})
    grid = break_even_grid(nothing, "incentive_per_saidi_minute", Range(0.0, 0.0, 0.0))
    assert np.sum((grid > 0.0) & (grid < 0.09 * grid.max())) >= 5


def test_the_break_even_nearest_to_the_value_is_told():
    def npv(values):
        rate = values["crew_rate_per_hour"]
        return np.array([(rate - 140.0) * (rate - 60.0)])

    for value, nearest in ((130.0, 140.0), (80.0, 60.0)):
        study = _study({}, crew_rate_per_hour=value)
        assert break_evens(study, npv, "crew_rate_per_hour", Range(50.0, value, 200.0)) == pytest.approx(nearest)


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
    assert frame[["first_order", "total"]].isna().all(axis=None)
    assert "sectionalizer_cost" in set(frame["assumption"])
    assert "lateral_recloser_cost" not in set(frame["assumption"])  # this scenario buys none
