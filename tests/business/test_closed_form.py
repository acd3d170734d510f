"""The closed form over all draws at once, against table, expected values and cash flow at each draw."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.business import closed_form as module
from reliability.business import summed
from reliability.business.closed_form import closed_form
from reliability.business.costs import AMOUNTS, INTERRUPTION, grouped, totals
from reliability.business.expected_npv import ExpectedNpv
from reliability.business.forms import neighbours, shares_met
from reliability.faults.outcomes import build_outcomes, outcomes_in_parts
from reliability.indices.draws import alike_draws, one_trial, values_of_trials
from reliability.network import quantities
from reliability.network.model import Model
from reliability.schema.scenarios import Scenario
from reliability.tasks import HERE, Workers
from tests.benchmarks.bench_draws import own_values
from tests.benchmarks.synthetic import SCENARIOS as S3
from tests.business.cases import COSTS, case_of, feeders_of_laterals, npvs_the_long_way, random_case, with_values

S = (Scenario("S", None, "sectionalizer", 2),)
DRAWS = 6
NAMES = ("customer_hours", "load_kwh", INTERRUPTION)
# the number of operations of sectionalizers is no amount that has a price
PRICED = tuple(name for name in AMOUNTS if name != "sectionalizer_operations")


def _npv(case) -> ExpectedNpv:
    return ExpectedNpv(Model(case.network, case.study.values), case.study.scenarios, COSTS)


def _same(case, draws) -> None:
    """One call of the function for all draws gives what the long way gives for each."""
    values = values_of_trials(case.study.values, draws)
    found = _npv(case)(values)
    for k in range(len(found)):
        assert found[k] == pytest.approx(npvs_the_long_way(case, one_trial(values, k)), rel=1e-9, abs=1e-5)


@pytest.mark.parametrize("most_changed", [0.0, summed.MOST_CHANGED, 2.0], ids="changed alone {}".format)
@pytest.mark.parametrize("perspective", ["utility", "society"])
@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_amounts_of_every_unit_are_those_of_the_expected_values(monkeypatch, seed, full, perspective, most_changed):
    monkeypatch.setattr(summed, "MOST_CHANGED", most_changed)
    case = random_case(seed, 25, full, perspective=perspective)
    unit = np.random.default_rng(seed).integers(-1, 3, len(case.network))
    unit[:1] = 2
    form = closed_form(case.table, case.study.values, COSTS, NAMES, unit, as_built=True)
    wanted = [grouped(a, unit, 3) for a in random_case(seed, 25, full, perspective="society").business.by_section]
    for name in PRICED:
        found = form.amounts(case.study.values, {name: 1.0})
        assert found.shape == (1, len(case.study.scenarios), 3)
        assert found[0, 0] == pytest.approx(wanted[0][name], rel=1e-9, abs=1e-9)
        for s in range(1, len(wanted)):
            assert found[0, s] == pytest.approx(wanted[0][name] - wanted[s][name], rel=1e-9, abs=1e-9)


def test_as_built_is_left_out_where_it_is_not_wanted():
    case = random_case(2, 25, True)
    form = closed_form(case.table, case.study.values, COSTS, NAMES)
    found = form.amounts(case.study.values, {"ci": 1.0})
    assert not found[0, 0].any()
    before, after = (totals(case.business.by_section[s])["ci"] for s in (0, 1))
    assert found[0, 1, 0] == pytest.approx(before - after, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_every_assumption_is_followed(seed):
    """Probabilities at 0 and 1, times, rates and structure moved together."""
    case = random_case(seed, 18, perspective="society" if seed % 2 else "utility", incentive_per_saifi=700.0)
    rng = np.random.default_rng(seed)

    def ends(chance: float = 0.5) -> np.ndarray:
        return np.where(rng.random(DRAWS) < chance, rng.integers(0, 2, DRAWS), rng.random(DRAWS))

    _same(case, {
        "line_fault_rate_per_km": np.where(rng.random(DRAWS) < 0.3, 0.0, rng.uniform(0.01, 2.0, DRAWS)),
        "temporary_fraction": ends(), "fuse_failure": ends(), "sectionalizer_failure": ends(),
        "clearing_shares.1": rng.choice([0.1, 0.3, 0.5], DRAWS), "phases_involved.0": rng.choice([0.2, 0.8], DRAWS),
        "repair_hours": rng.uniform(0.5, 9.0, DRAWS), "switching_hours": rng.uniform(0.0, 4.0, DRAWS),
        "refuse_hours": rng.uniform(0.2, 5.0, DRAWS), "cv": rng.choice([0.0, 1.3], DRAWS),
        "crew_rate_per_hour": rng.uniform(10.0, 400.0, DRAWS), "fuse_cost": rng.uniform(10.0, 900.0, DRAWS),
        "fast_clearing_time_s": rng.choice([0.05, 0.3], DRAWS), "discount_rate": rng.uniform(-0.05, 0.2, DRAWS),
    })


@pytest.mark.parametrize("structure", [
    {}, {"fault_current_factor": 1.3}, {"fuse_melting_factor": 0.4}, {"fuse_arcing_time_s": 0.1},
    {"actuating_ratio": 2.1}, {"phases_involved.0": 0.4}], ids=str)
@pytest.mark.parametrize("seed", range(4))
def test_every_assumption_of_full_studies_is_followed(seed, structure):
    """Reclosing off, wrong links, walks and momentary events, own hours, rates and fractions, settings."""
    case = random_case(seed, 12, True, perspective="society" if seed % 2 else "utility", incentive_per_saifi=700.0)
    rng = np.random.default_rng(seed)
    _same(case, {
        "reclosing_off_share": rng.choice([0.0, 1.0, 0.01, 0.4], DRAWS),
        "wrong_link_share": rng.choice([0.0, 1.0, 0.3], DRAWS),
        "patrol_reclosing_off_hours": rng.uniform(0.2, 9.0, DRAWS), "patrol_hours": rng.uniform(0.2, 5.0, DRAWS),
        "repair_hours": rng.uniform(0.5, 9.0, DRAWS), "switching_hours": rng.uniform(0.0, 4.0, DRAWS),
        "momentary_cost_factor": rng.uniform(0.0, 3.0, DRAWS), "actuator_cost": rng.uniform(0.0, 300.0, DRAWS),
        "temporary_fraction": rng.choice([0.0, 1.0, 0.6], DRAWS), "cv": rng.choice([0.4, 1.3], DRAWS),
        **{key: np.where(np.arange(DRAWS) % 2, x, 0.5) for key, x in structure.items()}})


def _own_hours(case, seed: int, stated: float = 0.7):
    """The case with repair hours, rates and temporary fractions of most sections of their own."""
    rng, sections = np.random.default_rng(seed), case.study.sections.copy()
    for column, low, high in (("repair_hours", 0.1, 6.0), ("temporary_fraction", 0.0, 1.0),
                              ("line_fault_rate_per_km", 0.0, 1.0)):
        sections[column] = np.where(rng.random(len(sections)) < stated, rng.uniform(low, high, len(sections)), np.nan)
    return case_of(case.study.with_sections(sections))


@pytest.mark.parametrize("perspective", ["utility", "society"])
@pytest.mark.parametrize("seed", range(4))
def test_own_hours_wait_at_the_least_until_the_line_is_walked(seed, perspective):
    """Walks that differ from draw to draw, shorter and longer than the sections' own hours, beside one walk for all."""
    case = _own_hours(random_case(seed, 14, True, perspective=perspective, incentive_per_saidi_minute=90.0,
                                  reclosing_off_share=0.3), seed)
    rng = np.random.default_rng(seed)
    drawn = {"reclosing_off_share": rng.uniform(0.1, 0.6, DRAWS), "crew_rate_per_hour": rng.uniform(9.0, 90.0, DRAWS)}
    _same(case, drawn | {"patrol_reclosing_off_hours": np.array([0.05, 9.0, 1.0, 2.0, 2.0, 4.0])})
    _same(case, drawn | {"patrol_reclosing_off_hours": np.full(DRAWS, 2.0)})
    _same(case, drawn | {"cv": rng.choice([0.2, 0.9, 1.4], DRAWS), "switching_hours": rng.uniform(0.0, 5.0, DRAWS)})


def test_draws_in_parts_are_those_of_one_piece(monkeypatch):
    case = _own_hours(random_case(1, 14, True, reclosing_off_share=0.3, perspective="society"), 1)
    rng = np.random.default_rng(1)
    values = values_of_trials(case.study.values, {
        "patrol_hours": rng.uniform(0.1, 4.0, 40), "cv": rng.choice([0.5, 1.0], 40),
        "temporary_fraction": rng.random(40)})
    whole = _npv(case)(values)
    monkeypatch.setattr(module, "NUMBERS_AT_ONCE", 1500)
    assert _npv(case)(values) == pytest.approx(whole, rel=1e-12)


def test_many_units_and_scenarios_give_what_few_give(monkeypatch):
    """The matrix of few outputs is dense, that of many is sparse."""
    case = random_case(4, 20, True, perspective="society")
    dense = closed_form(case.table, case.study.values, COSTS, NAMES, as_built=True)
    monkeypatch.setattr(module, "FEW_OUTPUTS", 0)
    sparse = closed_form(case.table, case.study.values, COSTS, NAMES, as_built=True)
    assert isinstance(dense.matrix, np.ndarray) != isinstance(sparse.matrix, np.ndarray)
    values = values_of_trials(case.study.values, {"temporary_fraction": np.linspace(0.0, 1.0, 5),
                                                  "repair_hours": np.linspace(1.0, 4.0, 5)})
    for worth in ({"ci": 2.0, INTERRUPTION: np.arange(5.0)}, {"load_kwh": 1.0, "repair": 10.0}):
        assert sparse.amounts(values, worth) == pytest.approx(dense.amounts(values, worth), rel=1e-12)


def test_the_trip_with_reclosing_off_is_followed():
    case = random_case(3, 18, True, reclosing_off_share=0.3, perspective="society")
    npv = _npv(case)
    found = [npv(case.study.values | {"reclosing_off_trip": trip})[0] for trip in ("fast", "delayed")]
    for trip, value in zip(("fast", "delayed"), found, strict=True):
        values = case.study.values | {"reclosing_off_trip": trip}
        assert value == pytest.approx(npvs_the_long_way(case, values), rel=1e-9, abs=1e-5)
    assert not np.allclose(*found)


@pytest.mark.parametrize("change", [
    {"reclosing_off_share": 0.0}, {"reclosing_off_share": 1.0}, {"wrong_link_share": 0.0}, {"wrong_link_share": 1.0},
    {"line_fault_rate_per_km": 0.0}, {"temporary_fraction": 0.0}, {"temporary_fraction": 1.0}, {"fuse_failure": 0.0},
    {"fuse_failure": 1.0}, {"sectionalizer_failure": 0.0}, {"sectionalizer_failure": 1.0}, {"clearing_shares.0": 0.0},
    {"clearing_shares.1": 0.0}, {"clearing_shares.2": 0.0}], ids=str)
def test_what_never_happens_at_one_value_is_not_forgotten_at_another(change):
    case = random_case(3, 18, True, line_fault_rate_per_km=0.3, fuse_failure=0.1, sectionalizer_failure=0.1,
                       reclosing_off_share=0.2, wrong_link_share=0.1)
    npv = _npv(case)
    first = with_values(case.study.values, change)
    for values in (first, case.study.values, first):
        assert npv(values)[0] == pytest.approx(npvs_the_long_way(case, values), rel=1e-9, abs=1e-5)


def test_a_share_that_a_device_states_may_be_passed():
    """Lateral reclosers have the study's share, the breaker its own: the larger one settles who finds reclosing off."""
    reclosers = (Scenario("R", None, "lateral_recloser"),)
    study = feeders_of_laterals(6, 2, reclosers, incentive_per_saidi_minute=500.0)
    sections = study.sections.copy()
    sections.loc[sections["device"] == "breaker", "reclosing_off_share"] = 0.2
    case = case_of(study.with_sections(sections))
    assert shares_met(Model(case.network, case.study.values), case.study.scenarios).tolist() == [0.2]
    _same(case, {"reclosing_off_share": np.array([0.0, 0.1, 0.2, 0.3, 0.9, 1.0])})
    tables = len({neighbours(np.array([0.2]), b) for b in (0.0, 0.1, 0.2, 0.3, 0.9, 1.0)})
    npv = _npv(case)
    npv(values_of_trials(case.study.values, {"reclosing_off_share": np.linspace(0.0, 1.0, 50)}))
    assert len(npv._forms._kept) == tables == 2


def test_stated_shares_that_nothing_else_meets_need_no_tables_of_their_own():
    study = feeders_of_laterals(6, 2, S)
    sections = study.sections.copy()
    sections.loc[sections["device"] == "breaker", "reclosing_off_share"] = 0.2
    case = case_of(study.with_sections(sections))
    assert not len(shares_met(Model(case.network, case.study.values), case.study.scenarios))
    _same(case, {"reclosing_off_share": np.array([0.0, 0.1, 0.2, 0.3, 0.9, 1.0])})


def test_where_no_fault_ever_happens_capital_is_all_there_is():
    case = case_of(feeders_of_laterals(3, 1, S, line_fault_rate_per_km=0.0))
    assert len(case.table) == 0
    found = _npv(case)(case.study.values)[0]
    assert found == pytest.approx(npvs_the_long_way(case, case.study.values))
    assert found[1] < 0.0


def test_an_empty_table_has_no_amounts():
    case = case_of(feeders_of_laterals(3, 1, S, line_fault_rate_per_km=0.0))
    form = closed_form(build_outcomes(Model(case.network, case.study.values), S), case.study.values, COSTS, NAMES)
    assert not form.amounts(case.study.values, {"ci": 1.0, INTERRUPTION: 1.0}).any()


def test_shares_are_scaled_to_sum_to_one():
    values = with_values({"clearing_shares": (0.5, 0.3, 0.2)}, {"clearing_shares.0": 1.5})
    assert values["clearing_shares"] == pytest.approx((0.75, 0.15, 0.10))


def test_draws_that_agree_are_found():
    assert [a.tolist() for a in alike_draws([1.0, 2.0], 3)] == [[0, 1, 2]]
    found = alike_draws([np.array([1.0, 2.0, 1.0]), 5.0, np.array([3.0, 3.0, 3.0])], 3)
    assert sorted(a.tolist() for a in found) == [[0, 2], [1]]


def test_no_customers_no_money_for_indices():
    study = feeders_of_laterals(3, 1, S, incentive_per_saidi_minute=100.0)
    nobody = dict.fromkeys(("customers", "customers_residential", "customers_small_ci"), 0.0)
    case = case_of(study.with_sections(study.sections.assign(**nobody)))
    assert _npv(case)(case.study.values)[0] == pytest.approx(npvs_the_long_way(case, case.study.values))


def test_parts_that_other_processes_sum_are_the_same():
    study = own_values(150)
    parts = outcomes_in_parts(study.model, S3, 1)
    assert len(parts.make) > 2
    here, there = (closed_form(parts, study.values, COSTS, NAMES, study.network.parent + 1, as_built=True, workers=who)
                   for who in (HERE, Workers(None, 2)))
    values = values_of_trials(study.values, {"patrol_hours": np.array([0.5, 2.0, 4.0])})
    worth = dict.fromkeys(AMOUNTS, 1.0)
    assert np.array_equal(here.amounts(values, worth), there.amounts(values, worth))


def test_no_part_sums_a_quantity_of_the_whole_network_again(monkeypatch):
    """What a copy of this process would find itself is lost with it, and each part would take as long as the whole."""
    study, summing = own_values(150), []
    made, below = summed._made, quantities.sums_below
    monkeypatch.setattr(summed, "_made", lambda *given: (summing.append(0), made(*given))[1])

    def counted(*given):
        if summing:
            summing[-1] += 1
        return below(*given)

    monkeypatch.setattr(quantities, "sums_below", counted)
    closed_form(outcomes_in_parts(study.model, S3, 1), study.values, COSTS, NAMES, as_built=True)
    assert summing == [0, 0, 0]


@pytest.mark.parametrize("sections", [1, 51])
@pytest.mark.parametrize("by_lateral", [False, True])
def test_sums_of_parts_are_those_of_the_whole(by_lateral, sections):
    """Own rates, fractions and hours; parts of one or two trees each, whose factors are not all the same."""
    study = own_values(150)
    own, values = study.network.column["temporary_fraction"], study.values
    # the first tree states no fraction, the others one everywhere
    network = study.network.with_columns({"temporary_fraction": np.where(np.arange(150) < 50, np.nan,
                                                                         np.nan_to_num(own, nan=0.7))})
    model = Model(network, values)
    unit = np.where(network.unit >= 0, network.unit, 0) if by_lateral else None
    whole, parts = (closed_form(table, values, COSTS, NAMES, unit, as_built=True) for table in (
        build_outcomes(model, S3), outcomes_in_parts(model, S3, sections)))
    worth = dict.fromkeys(AMOUNTS, 1.0)
    walks = values_of_trials(values, {"patrol_hours": np.array([0.5, 2.0, 4.0])})
    assert np.any(np.diff(whole.own.hours))
    np.testing.assert_allclose(parts.amounts(walks, worth), whole.amounts(walks, worth), rtol=1e-11, atol=1e-9)
