"""Trials that each take one joint draw of learned rates, unit by unit."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from reliability.indices import unit_events
from reliability.indices.events import DRAW_BITS
from reliability.indices.simulation import Simulated, SimulationInput, simulate
from reliability.indices.unit_events import chooser
from reliability.network.model import Model
from reliability.network.rate_draws import RateDraws
from reliability.schema.assumption_types import Range
from reliability.schema.scenarios import AS_BUILT, Scenario
from tests.indices.cases import closed_form, one_section
from tests.networks import study_of

LITTLE, MUCH = 0.02, 1.98
TRIALS, YEARS = 400, 5


def draws(temporary: list[list[float]], permanent: list[list[float]], unit_of: list[int]) -> RateDraws:
    return RateDraws(np.array(unit_of), *(np.array(a, dtype=np.float32) for a in (temporary, permanent)))


def two_units(**values: object) -> SimulationInput:
    """A main and a lateral with 20 faults a year each, half of them temporary; of five draws two have little of what
    the others have much of."""
    study = study_of([
        {"section_id": "main", "device": "breaker", "length_km": 20.0, "customers": 1},
        {"section_id": "tap", "parent_id": "main", "device": "fuse", "length_km": 20.0, "customers": 1, "phases": 1}],
        line_fault_rate_per_km=1.0, **{"temporary_fraction": 0.5, "cv": 0.0, "yearly_cv": 0.0, "horizon_years": YEARS,
                                       "fuse_failure": 0.0, "fast_operations": 2, "reclosing_off_share": 0.0} | values)
    either = [[LITTLE, MUCH], [MUCH, LITTLE]]
    return SimulationInput(Model(study.network, study.values), {}, (Scenario(AS_BUILT),),
                           rate_draws=draws(either, either[::-1], [0, 1]))


def events(found: Simulated, name: str = "ci") -> np.ndarray:
    """(trials,) sums over the years of the first scenario."""
    return found.totals[name][0].sum(axis=1)


class Drawn:
    """Stands in for a random generator and its bits: gives the numbers that it was given, two in one of 64 bits."""

    def __init__(self, numbers: np.ndarray) -> None:
        self.numbers = np.append(numbers, [0] * (len(numbers) % 2)).astype(np.uint32).view(np.uint64)
        self.bit_generator = self

    def random_raw(self, size: int) -> np.ndarray:
        assert size == len(self.numbers)
        return self.numbers


@pytest.mark.parametrize("slots", [1, 2, 16])
@pytest.mark.parametrize("things", [1, 2, 5, 300])
def test_the_chooser_is_exact_at_every_edge(slots, things):
    """By a search of the cumulative weights: at each edge, beside it, and at numbers drawn evenly."""
    rng = np.random.default_rng(things)
    weights = rng.gamma(0.2, 1.0, (4, things))
    weights[1, things // 2:] = 0.0 if things > 1 else 1.0
    made = chooser(weights, slots)
    running = np.cumsum(weights, axis=1)
    edges = np.rint(running * (2.0 ** DRAW_BITS / running[:, -1:])).astype(np.int64)
    for group in range(4):
        inner = edges[group]
        at = np.concatenate([inner - 1, inner, inner + 1, rng.integers(2 ** DRAW_BITS, size=2_000),
                             [0, 2 ** DRAW_BITS - 1]])
        at = at[(at >= 0) & (at < 2 ** DRAW_BITS)]
        chosen = made.choose(Drawn(at), np.full(len(at), group))
        assert np.array_equal(chosen, np.searchsorted(inner, at, side="right"))


def test_the_chooser_repeats_groups():
    made = chooser(np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]), 2)
    chosen = made.choose(np.random.default_rng(1), np.array([0, 1, 0]), np.array([3, 2, 1]))
    assert chosen.tolist() == [0, 0, 0, 2, 2, 0]


def test_many_are_chosen_as_few_at_a_time_are(monkeypatch):
    made = chooser(np.random.default_rng(2).gamma(0.2, 1.0, (3, 40)), 2)
    group, repeats = np.array([0, 1, 2]), np.array([300, 400, 250])
    together = made.choose(np.random.default_rng(1), group, repeats)
    monkeypatch.setattr(unit_events, "AT_ONCE", 100)
    assert np.array_equal(made.choose(np.random.default_rng(1), group, repeats), together)


def test_a_trial_takes_one_draw_and_its_counts_are_poisson_given_it():
    """Of the lateral's permanent faults there are 50 in five years at the mean: either 1 or 99, when the temporary ones
    of the main are 1 or 99 too, and the other way round for the rest. Means and variances within four standard
    errors."""
    inputs = two_units(clearing_shares=(1.0, 0.0, 0.0))
    found = simulate(inputs, seed=3, trials=TRIALS)
    # permanent: two customers of the main and one of the tap, or one of the tap
    sustained = events(found)
    blinks = events(found, "momentary_events")
    mean = 10 * YEARS
    per_draw = ((2 * MUCH + LITTLE) * mean, (2 * LITTLE + MUCH) * mean)
    high = sustained > sum(per_draw) / 2
    assert high.mean() == pytest.approx(0.5, abs=4 * 0.5 / TRIALS ** 0.5)
    spread = ((4 * MUCH + LITTLE) * mean, (4 * LITTLE + MUCH) * mean)
    for chosen, expected, variance in zip((high, ~high), per_draw, spread, strict=True):
        n = chosen.sum()
        assert sustained[chosen].mean() == pytest.approx(expected, abs=4 * (variance / n) ** 0.5)
        assert sustained[chosen].var() == pytest.approx(variance, rel=4 * (2 / n) ** 0.5 + 0.02)
    assert blinks[high].mean() != pytest.approx(blinks[~high].mean(), rel=0.2)


def test_which_of_units_and_kinds_have_much_goes_together():
    """The main's permanent faults are many where the tap's are few."""
    inputs = two_units()
    only = {"main": [1.0, 0.0], "tap": [0.0, 1.0]}
    sums = {}
    for name, factor in only.items():
        each = np.array([[MUCH, LITTLE], [LITTLE, MUCH]], dtype=np.float32) * np.array(factor, dtype=np.float32)
        of_one = SimulationInput(inputs.model, {}, inputs.scenarios, rate_draws=RateDraws(np.array([0, 1]), each, each))
        sums[name] = events(simulate(of_one, seed=4, trials=TRIALS))
    assert np.corrcoef(sums["main"], sums["tap"])[0, 1] < -0.9


def test_means_over_trials_are_the_expected_values():
    inputs = two_units(clearing_shares=(0.7, 0.2, 0.1), cv=0.8, yearly_cv=0.2)
    found = simulate(inputs, seed=5, trials=2_000)
    expected = closed_form(inputs.table(inputs.values), inputs.values)
    for name in ("ci", "customer_hours", "momentary_events", "momentary_interruptions"):
        each = found.totals[name][0].mean(axis=1)
        assert each.mean() == pytest.approx(expected[name][0], abs=4 * each.std() / 2_000 ** 0.5), name


def test_draws_that_are_all_the_mean_are_as_none():
    """Same means and spread as the simulation without, by four standard errors."""
    inputs = two_units(yearly_cv=0.3)
    flat = SimulationInput(inputs.model, {}, inputs.scenarios, rate_draws=draws([[1, 1]], [[1, 1]], [0, 1]))
    plain = SimulationInput(inputs.model, {}, inputs.scenarios)
    one, other = (events(simulate(each, seed=6, trials=2_000)) for each in (flat, plain))
    assert one.mean() == pytest.approx(other.mean(), abs=4 * one.std() * (2 / 2_000) ** 0.5)
    assert one.std() == pytest.approx(other.std(), rel=4 / 2_000 ** 0.5)


def test_digits_depend_on_the_seed_alone_whoever_computes_them():
    rows = [{"section_id": "main", "device": "breaker", "length_km": 5.0, "customers": 9}]
    rows += [{"section_id": f"t{i}", "parent_id": "main", "device": "fuse", "length_km": 30.0, "customers": 5}
             for i in range(60)]
    study = study_of(rows, line_fault_rate_per_km=1.0, horizon_years=3)
    rng = np.random.default_rng(1)
    each = rng.gamma(4.0, 0.25, (2, 20, 61)).astype(np.float32)
    inputs = SimulationInput(Model(study.network, study.values), {"temporary_fraction": Range(0.4, 0.6, 0.8)},
                             study.scenarios, rate_draws=RateDraws(np.arange(61), *each))
    alone = simulate(inputs, seed=7, trials=20)
    for workers in (1, 3):
        with ThreadPoolExecutor(workers) as pool:
            again = simulate(inputs, seed=7, trials=20, executor=pool, workers=workers)
        for name, totals in alone.totals.items():
            assert np.array_equal(totals, again.totals[name])
    assert not np.array_equal(events(alone), events(simulate(inputs, seed=8, trials=20)))


@pytest.mark.parametrize(("few", "own"), [(np.inf, np.inf), (np.inf, 0.0), (0.0, np.inf), (0.0, 0.0)],
                         ids=["classes in one part", "of many events", "thinned", "tables of their own"])
def test_a_further_unknown_scales_the_events_of_each_trial(few, own, monkeypatch):
    """Theory: counts are Poisson about what is stated and rate × drawn over mean; squared deviations over the mean
    have mean 1 and variance 2."""
    monkeypatch.setattr(unit_events, "FEWEST_OF_A_PART", few)
    monkeypatch.setattr(unit_events, "EVENTS_OF_OWN_TABLE", own)
    study = study_of([
        {"section_id": "open", "device": "breaker", "length_km": 1.0, "customers": 5},
        {"section_id": "stated", "parent_id": "open", "length_km": 1.0, "customers": 5, "line_fault_rate_per_km": 12.0},
        {"section_id": "more", "parent_id": "open", "length_km": 1.0, "customers": 0}],
        line_fault_rate_per_km=30.0, temporary_fraction=0.0, cv=0.0, yearly_cv=0.0, horizon_years=YEARS)
    inputs = SimulationInput(Model(study.network, study.values), {"line_fault_rate_per_km": Range(5.0, 30.0, 55.0)},
                             study.scenarios, rate_draws=draws([[1.0, 1.0, 1.0]], [[0.5, 1.5, 1.2]], [0, 1, 2]))
    found = simulate(inputs, seed=9, trials=2_000)
    counts, mean = events(found) / 10, (1.7 * found.draws["line_fault_rate_per_km"] + 1.5 * 12.0) * YEARS
    assert counts.sum() == pytest.approx(mean.sum(), abs=4 * mean.sum() ** 0.5)
    assert ((counts - mean) ** 2 / mean).mean() == pytest.approx(1.0, abs=4 * (2 / 2_000) ** 0.5)


def test_unknowns_that_change_protection_go_with_draws_of_rates():
    """Each trial has a table of its own, and one draw: 5 or 495 faults in five years."""
    study = one_section(line_fault_rate_per_km=50.0, horizon_years=YEARS)
    inputs = SimulationInput(Model(study.network, study.values), {"fast_clearing_time_s": Range(0.03, 0.05, 0.1)},
                             study.scenarios, rate_draws=draws([[1], [1]], [[LITTLE], [MUCH]], [0]))
    counts = events(simulate(inputs, seed=10, trials=200)) / 10
    high = counts > 250
    assert high.mean() == pytest.approx(0.5, abs=4 * 0.5 / 200 ** 0.5)
    for chosen, mean in ((high, 250 * MUCH), (~high, 250 * LITTLE)):
        assert counts[chosen].mean() == pytest.approx(mean, abs=4 * (mean / chosen.sum()) ** 0.5)
