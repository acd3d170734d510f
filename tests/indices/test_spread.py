"""Statistics of simulated years, on totals small enough to be worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from reliability.faults.consequences import CALLOUTS
from reliability.indices import definitions
from reliability.indices.expected import Expected, system_indices
from reliability.indices.simulation import Simulated
from reliability.indices.spread import differences, statistics, summaries, yearly_indices
from reliability.pipeline import expect
from reliability.report.summary import summary
from tests.indices.cases import one_section
from tests.networks import random_study, study_of

# two scenarios, two trials of two years
CI = np.array([[[10.0, 30.0], [20.0, 0.0]], [[10.0, 10.0], [20.0, 0.0]]])
ZERO = np.zeros_like(CI)


def _simulated(**totals) -> Simulated:
    named = dict.fromkeys(("ci", "customer_hours", "load_kwh", "momentary_events", "momentary_interruptions",
                           *CALLOUTS, "sectionalizer_operations"), ZERO)
    return Simulated(("As built", "Plan"), 2, 2, 0, named | totals)


def test_indices_of_every_year_by_hand():
    found = yearly_indices(_simulated(
        ci=CI, customer_hours=2.0 * CI, load_kwh=500.0 * CI, momentary_events=3.0 * CI,
        momentary_interruptions=6.0 * CI, refuse=CI, reset=2.0 * CI, patrol=3.0 * CI, repair=4.0 * CI), 10.0)
    assert found["saifi"] == pytest.approx(CI / 10.0)
    assert found["saidi_min"] == pytest.approx(12.0 * CI)
    assert found["caidi_min"][CI > 0] == pytest.approx(120.0)
    assert np.isnan(found["caidi_min"][CI == 0]).all()
    assert found["maifi_e"] == pytest.approx(0.3 * CI)
    assert found["maifi"] == pytest.approx(0.6 * CI)
    assert found["ens_mwh"] == pytest.approx(0.5 * CI)
    assert found["callouts"] == pytest.approx(10.0 * CI)
    for kind, times in {"refuse": 1.0, "reset": 2.0, "patrol": 3.0, "repair": 4.0}.items():
        assert found[f"callouts_{kind}"] == pytest.approx(times * CI)


def test_statistics_by_hand():
    values = np.array([[1.0, 3.0], [5.0, 11.0], [2.0, 2.0]])
    of = statistics(values)
    means = np.array([2.0, 8.0, 2.0])
    assert of["mean"] == pytest.approx(4.0)
    # deviations −2, 4, −2: variance 24/2 = 12; standard error √(12/3) = 2
    assert of["se"] == pytest.approx(2.0)
    assert (of["p10"], of["p50"], of["p90"]) == pytest.approx(tuple(np.percentile(values, [10, 50, 90])))
    assert (of["average_p10"], of["average_p90"]) == pytest.approx(tuple(np.percentile(means, [10, 90])))
    # within trials 2, 18, 0: mean 20/3; between 12, less (20/3)/2
    luck, unknown = 20.0 / 3.0, means.var(ddof=1) - 10.0 / 3.0
    assert of["luck_share"] == pytest.approx(luck / (luck + unknown))
    assert of["unknown_share"] == pytest.approx(unknown / (luck + unknown))
    tiny = statistics(values / 1e4)
    assert [tiny[k] for k in ("luck_share", "unknown_share")] == pytest.approx(
        [of[k] for k in ("luck_share", "unknown_share")])


def test_statistics_that_do_not_exist():
    one_trial = statistics(np.array([[1.0, 3.0]]))
    assert np.isnan([one_trial["se"], one_trial["luck_share"], one_trial["unknown_share"]]).all()
    one_year = statistics(np.array([[1.0], [3.0]]))
    assert one_year["se"] == pytest.approx(1.0)
    assert np.isnan([one_year["luck_share"], one_year["unknown_share"]]).all()
    assert np.isnan(statistics(np.full((3, 4), 7.0))["luck_share"])


def test_alike_trials_owe_everything_to_luck_and_alike_years_to_the_unknowns():
    assert statistics(np.tile([1.0, 4.0], (5, 1))) | {"p10": 0, "p50": 0, "p90": 0} == pytest.approx(
        {"mean": 2.5, "se": 0.0, "p10": 0, "p50": 0, "p90": 0, "average_p10": 2.5, "average_p90": 2.5,
         "luck_share": 1.0, "unknown_share": 0.0})
    assert statistics(np.tile([[1.0], [4.0]], (1, 5)))["unknown_share"] == 1.0


def test_mean_caidi_is_all_minutes_over_all_interruptions():
    ci, hours = CI.copy(), np.array([[[5.0, 60.0], [40.0, 0.0]], [[5.0, 20.0], [40.0, 0.0]]])
    found = summaries(yearly_indices(_simulated(ci=ci, customer_hours=hours), 10.0))
    # 105 customer-hours over 60 interruptions
    assert found[0]["caidi_min"]["mean"] == pytest.approx(60.0 * 105.0 / 60.0)
    # delta method by hand: a trial's mean hours less 1.75 × its interruptions, over the mean of 15
    scatter = np.array([32.5 - 1.75 * 20.0, 20.0 - 1.75 * 10.0]) / 15.0
    assert found[0]["caidi_min"]["se"] == pytest.approx(60.0 * scatter.std(ddof=1) / np.sqrt(2.0))
    # percentiles of the years that have one: 30, 120 and 120 minutes
    assert [found[0]["caidi_min"][p] for p in ("p10", "p50", "p90")] == pytest.approx([48.0, 120.0, 120.0])
    assert found[1]["saifi"]["mean"] == pytest.approx(1.0)


def test_few_interruptions_have_a_caidi_too():
    """A thousandth of an interruption a trial-year, two hours each."""
    found = summaries(yearly_indices(_simulated(ci=CI / 1e4, customer_hours=2.0 * CI / 1e4), 10.0))
    assert found[0]["caidi_min"]["mean"] == pytest.approx(120.0)


def test_caidi_without_interruptions_does_not_exist():
    found = summaries(yearly_indices(_simulated(), 10.0))
    assert all(np.isnan(found[0]["caidi_min"][key]) for key in ("mean", "se", "p10", "p50", "p90"))


def test_differences_are_to_the_first_scenario_year_by_year():
    found = differences(yearly_indices(_simulated(ci=CI), 10.0))
    assert "caidi_min" not in found[0]
    assert found[0]["saifi"]["mean"] == 0.0
    assert found[1]["saifi"]["mean"] == pytest.approx(-0.5)
    assert found[1]["saifi"]["p10"] == pytest.approx(np.percentile([0.0, -2.0, 0.0, 0.0], 10))


@pytest.mark.parametrize("cv", [0.0, 0.25, 1.5])
def test_simulated_cemi_agrees_with_the_closed_form(demo, cv):
    results = expect(replace(demo, values=demo.values | {"yearly_cv": cv}))
    drawn = simulated_cemi(results.expected[0], cv, 600, np.random.default_rng(1))
    wanted = summary(results)["scenarios"][0]["expected"]["cemi"]
    for n in range(1, 7):
        error = drawn[:, n - 1].std(ddof=1) / np.sqrt(600)
        assert abs(drawn[:, n - 1].mean() - wanted[str(n)]) <= 4 * error + 1e-3


@pytest.mark.parametrize("portion", [0.0, 0.4, 1.0])
def test_simulated_cemi_counts_three_phase_customers_at_a_rate_of_their_own(portion):
    """A three-phase tap behind single-phase fuses, two faults a year on one phase: they see 2, the others 2/3."""
    study = study_of([
        {"section_id": "main", "device": "breaker"},
        {"section_id": "tap", "parent_id": "main", "device": "fuse", "phases": 3.0, "length_km": 1.0, "customers": 100,
         "customers_three_phase": 100 * portion}],
        line_fault_rate_per_km=2.0, temporary_fraction=0.0, fuse_failure=0.0, phases_involved=(1.0, 0.0, 0.0),
        yearly_cv=0.0)
    expected = expect(study).expected[0]
    drawn = simulated_cemi(expected, 0.0, 20_000, np.random.default_rng(3)).mean(axis=0)
    wanted = portion * stats.poisson(2.0).sf(np.arange(6)) + (1.0 - portion) * stats.poisson(2.0 / 3.0).sf(np.arange(6))
    assert np.all(np.abs(drawn - wanted) <= 4.0 * np.sqrt(wanted * (1 - wanted) / 20_000) + 1e-12)
    assert list(system_indices(expected, 0.0)["cemi"].values()) == pytest.approx(wanted.tolist())


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_simulated_cemi_of_full_studies_agrees_with_the_closed_form(seed):
    results = expect(random_study(np.random.default_rng(seed), 20, full=True))
    cv = results.study.values["yearly_cv"]
    for expected in results.expected[::4]:
        drawn = simulated_cemi(expected, cv, 3000, np.random.default_rng(seed))
        wanted = np.array(list(system_indices(expected, cv)["cemi"].values()))
        assert np.all(np.abs(drawn.mean(axis=0) - wanted) <= 4.0 * drawn.std(axis=0, ddof=1) / np.sqrt(3000) + 1e-3)


def test_simulated_cemi_of_one_section_follows_the_negative_binomial_law():
    study = one_section(line_fault_rate_per_km=2.0, yearly_cv=0.5)
    drawn = simulated_cemi(expect(study).expected[0], 0.5, 20_000, np.random.default_rng(2)).mean(axis=0)
    wanted = stats.nbinom(4.0, 4.0 / (4.0 + 2.0)).sf(np.arange(6))
    assert np.all(np.abs(drawn - wanted) <= 4 * np.sqrt(wanted * (1 - wanted) / 20_000))


def simulated_cemi(expected: Expected, yearly_cv: float, years: int, rng: np.random.Generator) -> np.ndarray:
    """Share of customers with n or more sustained interruptions, n = 1 … 6, in simulated years: (years, 6).

    Counts of sections are drawn at every device that opens, thinned by the share of phases
    that it opens: the customers of one section and kind (spread over the phases, or three-phase) count as seeing
    the same interruptions, and those of both kinds what they have in common.
    """
    network, rate = expected.network, expected.failure_rate_by_kind
    above = np.where((network.parent >= 0)[:, None], rate[network.parent], 0.0)
    at_device = np.maximum(rate - above, 0.0)  # less what comes from further up
    common = at_device.min(axis=1)
    customers = expected.customers_by_kind
    served = network.customers.sum()
    result = np.empty((years, definitions.CEMI_UP_TO))
    shape = yearly_cv ** -2 if yearly_cv > 0 else None
    for year in range(years):
        multiplier = rng.standard_gamma(shape) / shape if shape else 1.0
        both = network.along_path(rng.poisson(common * multiplier))
        seen = np.column_stack([both + network.along_path(rng.poisson((own - common) * multiplier))
                                for own in at_device.T])
        for n in range(1, definitions.CEMI_UP_TO + 1):
            result[year, n - 1] = customers[seen >= n].sum() / served if served else np.nan
    return result
