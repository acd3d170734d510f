"""The simulation against the closed form and exact laws."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from reliability.faults.outcomes import row_rates
from reliability.indices import rate_classes
from reliability.indices.draws import one_trial, values_of_trials
from reliability.indices.simulation import SimulationInput, needs_own_tables, simulate
from reliability.indices.spread import differences, statistics, summaries, yearly_indices
from reliability.network.model import Model
from reliability.pipeline import expect, simulation_input
from reliability.report.summary import summary
from reliability.schema.assumption_types import Range
from tests.indices.cases import MEASURES, closed_form, one_section, steady
from tests.networks import certain, random_study

TRIALS = int(os.environ.get("TRIALS", "150"))     # of a comparison trial by trial; the nightly takes more
UNKNOWNS = {
    "line_fault_rate_per_km": Range(0.1, 0.2, 0.4), "temporary_fraction": Range(0.5, 0.7, 0.9),
    "repair_hours": Range(1.0, 3.0, 6.0), "switching_hours": Range(0.5, 1.0, 1.5), "refuse_hours": Range(1.0, 1.5, 3.0),
    "reset_hours": Range(1.0, 1.5, 2.5), "patrol_hours": Range(0.5, 1.0, 2.0), "fuse_failure": Range(0.0, 0.02, 0.1),
    "sectionalizer_failure": Range(0.0, 0.03, 0.1), "yearly_cv": Range(0.1, 0.2, 0.4), "cv": Range(0.4, 0.8, 1.2),
    "reclosing_off_share": Range(0.0, 0.05, 0.3), "wrong_link_share": Range(0.0, 0.1, 0.4),
    "patrol_reclosing_off_hours": Range(0.5, 1.5, 6.0),
}


def without_stated_shares(study):
    """The study with the reclosing-off share of every device left to its assumption."""
    return study.with_sections(study.sections.assign(reclosing_off_share=np.nan))


def deviations(simulated, wanted: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Standard errors between the simulated mean and the closed form; 0 where both are alike."""
    result = {}
    for name, value in wanted.items():
        means = simulated.totals[name].mean(axis=2)
        error = means.std(axis=1, ddof=1) / np.sqrt(simulated.trials)
        if name in ("sectionalizer_operations", "actuators"):
            # so rare that none may come: the error is at least that of the Poisson law
            error = np.maximum(error, np.sqrt(value / (simulated.trials * simulated.years)))
        apart = np.abs(means.mean(axis=1) - value)
        result[name] = np.where(apart <= 1e-9 * (1 + value), 0.0, apart / np.maximum(error, 1e-300))
    return result


@pytest.mark.slow
@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("number", range(30))
def test_mean_lies_within_four_standard_errors_of_the_closed_form(number, full):
    study = random_study(np.random.default_rng(number), 25, full, horizon_years=5)
    results = expect(study)
    simulated = simulate(simulation_input(results), seed=number, trials=300)
    worst = deviations(simulated, closed_form(results.table, study.values))
    assert {name: float(d.max()) for name, d in worst.items() if d.max() > 4.0} == {}


def test_demo_indices_agree_with_the_closed_form(demo):
    results = expect(certain(demo))
    results = replace(results, simulated=simulate(simulation_input(results), trials=400, seed=3))
    expected, simulated = summary(results)["scenarios"], summary(results)["scenarios"]
    for scenario in range(len(expected)):
        of, spread = expected[scenario]["expected"], simulated[scenario]["simulated"]
        for name in ("saifi", "saidi_min", "caidi_min", "maifi", "maifi_e", "ens_mwh"):
            assert abs(spread[name]["mean"] - of[name]) <= 4.0 * spread[name]["se"], name
        assert abs(spread["callouts"]["mean"] - sum(of["callouts"].values())) <= 4.0 * spread["callouts"]["se"]


@pytest.mark.slow
@pytest.mark.parametrize("number", range(8))
def test_with_unknowns_the_mean_is_that_of_the_closed_form_over_the_same_draws(number):
    """Trial by trial the horizon's mean scatters about the closed form at the trial's values.

    The last two studies state shares of devices, so that each trial has a table of its own.
    """
    study = random_study(np.random.default_rng(100 + number), 12, full=True, horizon_years=4)
    study = without_stated_shares(study)
    if number >= 6:
        roots = study.sections["parent_id"] == ""
        study = study.with_sections(study.sections.assign(reclosing_off_share=np.where(roots, 0.1, np.nan)))
    means = study.values | {k: r.mean for k, r in UNKNOWNS.items()}
    ask = SimulationInput(Model(study.network, means), UNKNOWNS, study.scenarios)
    assert needs_own_tables(ask) == (number >= 6)
    simulated = simulate(ask, seed=number, trials=TRIALS if number < 6 else TRIALS // 3)
    values = values_of_trials(ask.values, simulated.draws)
    wanted = [closed_form(ask.table(v), v) for v in (one_trial(values, t) for t in range(simulated.trials))]
    for name in MEASURES:
        apart = simulated.totals[name].mean(axis=2) - np.array([w[name] for w in wanted]).T
        error = apart.std(axis=1, ddof=1) / np.sqrt(simulated.trials)
        assert np.all(np.abs(apart.mean(axis=1)) <= 4.0 * error + 1e-9), name


@pytest.mark.slow
@pytest.mark.parametrize(("key", "of"), [
    ("fast_clearing_time_s", Range(0.03, 0.08, 0.3)), ("phases_involved.0", Range(0.3, 0.75, 0.9)),
    ("reclosing_off_share", Range(0.0, 0.15, 0.6)), ("fault_current_factor", Range(0.5, 1.0, 1.6)),
    ("fuse_melting_factor", Range(0.3, 0.75, 1.0)), ("fuse_arcing_time_s", Range(0.0, 0.013, 0.2)),
    ("actuating_ratio", Range(1.2, 1.6, 3.0))])
def test_an_unknown_that_changes_protection_gets_a_table_a_trial(key, of):
    study = random_study(np.random.default_rng(7), 15, full=True, horizon_years=6)
    unknown, some = {key: of}, study.scenarios[::4]
    means = study.values | ({key: of.mean} if "." not in key else {})
    ask = SimulationInput(Model(study.network, means), unknown, some)
    assert needs_own_tables(ask)
    simulated = simulate(ask, seed=5, trials=150)
    values = values_of_trials(ask.values, simulated.draws)
    wanted = [closed_form(ask.table(v), v)["customer_hours"] for v in (one_trial(values, t) for t in range(150))]
    apart = simulated.totals["customer_hours"].mean(axis=2) - np.array(wanted).T
    assert np.all(np.abs(apart.mean(axis=1)) <= 4.0 * apart.std(axis=1, ddof=1) / np.sqrt(150) + 1e-9)
    assert len(set(simulated.draws[key])) == 150


@pytest.mark.parametrize("cv", [0.0, 0.7])
def test_yearly_counts_follow_the_poisson_or_negative_binomial_law(cv):
    """Chi-square goodness of fit at a fixed seed; the cells hold all counts, the last one the tail."""
    study = one_section(yearly_cv=cv, line_fault_rate_per_km=1.7)
    simulated = simulate(simulation_input(expect(study)), seed=11, trials=4000)
    counts = np.rint(simulated.totals["ci"][0].ravel() / 10).astype(int)
    law = stats.nbinom(cv ** -2, cv ** -2 / (cv ** -2 + 1.7)) if cv else stats.poisson(1.7)
    cells = 7
    observed = np.bincount(np.minimum(counts, cells), minlength=cells + 1)
    probability = np.append(law.pmf(np.arange(cells)), law.sf(cells - 1))
    assert stats.chisquare(observed, probability * len(counts)).pvalue > 0.001


def test_severity_has_mean_one_and_the_stated_spread():
    study = one_section(cv=0.8, line_fault_rate_per_km=0.01, repair_hours=2.0)
    simulated = simulate(simulation_input(expect(study)), seed=2, trials=40_000)
    single = simulated.totals["ci"][0] == 10
    hours = simulated.totals["customer_hours"][0][single] / 10 / 2.0
    assert len(hours) > 1500
    assert hours.mean() == pytest.approx(1.0, abs=4 * 0.8 / np.sqrt(len(hours)))
    assert stats.kstest(np.log(hours), stats.norm(-np.log1p(0.64) / 2, np.sqrt(np.log1p(0.64))).cdf).pvalue > 0.001


@pytest.mark.slow
def test_intervals_of_the_mean_cover_the_truth_as_often_as_they_claim():
    """P10 to P90 of the mean, 200 repeats at fixed seeds: 80 % ± 4 binomial standard deviations."""
    study = random_study(np.random.default_rng(4), sections=20, horizon_years=5)
    results = expect(study)
    truth = closed_form(results.table, study.values)["customer_hours"][0]
    inside = 0
    for seed in range(200):
        means = simulate(simulation_input(results), seed=seed, trials=60).totals["customer_hours"][0]
        of = statistics(means)
        inside += abs(of["mean"] - truth) <= stats.norm.ppf(0.9) * of["se"]
    assert abs(inside / 200 - 0.8) <= 4 * np.sqrt(0.8 * 0.2 / 200)


def test_all_scenarios_see_the_same_faults():
    study = random_study(np.random.default_rng(9), sections=25)
    same = replace(study, scenarios=(study.scenarios[0], replace(study.scenarios[0], name="again")))
    simulated = simulate(simulation_input(expect(same)), seed=1, trials=20)
    for totals in simulated.totals.values():
        assert np.array_equal(totals[0], totals[1])


def test_every_trial_goes_by_its_own_draw_of_what_protection_does():
    """With so many faults a trial's hours tell the share of single-phase faults that it drew."""
    ask = steady({"phases_involved.0": Range(0.3, 0.75, 0.9)})
    ask = replace(ask, model=ask.model.with_values(ask.values | {"line_fault_rate_per_km": 800.0}))
    simulated = simulate(ask, seed=2, trials=40)
    values = values_of_trials(ask.values, simulated.draws)
    wanted = [closed_form(ask.table(v), v)["customer_hours"][0] for v in (one_trial(values, t) for t in range(40))]
    hours = simulated.totals["customer_hours"].mean(axis=2)[0]
    assert np.corrcoef(hours, wanted)[0, 1] > 0.8


RATES = {key: law for key, law in UNKNOWNS.items() if key in rate_classes.RATE_KEYS} | {
    "clearing_shares.0": Range(0.1, 0.5, 0.9), "clearing_shares.1": Range(0.1, 0.3, 0.6)}


def test_every_assumption_that_scales_rates_is_drawn_here():
    assert {key.partition(".")[0] for key in RATES} == rate_classes.RATE_KEYS


@pytest.mark.parametrize("keys", [(), *((key,) for key in RATES), tuple(RATES)], ids=str)
def test_rates_at_the_values_of_a_trial_are_those_of_the_rows(keys):
    """Rows and their classes, scaled to a trial's draws, against the rates of the table at those draws: exactly."""
    for seed in range(6):
        never = {} if keys else {"fuse_failure": 1.0, "sectionalizer_failure": 1.0}
        study = without_stated_shares(random_study(np.random.default_rng(seed), 25, full=seed >= 3, **never))
        uncertain = {key: RATES[key] for key in keys}
        means = study.values | {k: law.mean for k, law in uncertain.items() if "." not in k}
        table = SimulationInput(Model(study.network, means), uncertain, study.scenarios).table(means)
        draws = {k: np.array([law.low, law.high]) for k, law in uncertain.items()}
        rows, rates, of, classes = rate_classes.rate_parts(table, means, {key.partition(".")[0] for key in keys})
        for t in range(2 if keys else 0):
            at = one_trial(values_of_trials(means, draws), t)
            factor = np.array([float(rate_classes.rate_multiplier(c, at, means)) for c in classes])
            assert np.bincount(rows, rates * factor[of], len(table)) == pytest.approx(row_rates(table, at))
        factor = np.array([float(rate_classes.rate_multiplier(c, means, means)) for c in classes])
        assert np.bincount(rows, rates * factor[of], len(table)) == pytest.approx(row_rates(table, means))


@pytest.mark.parametrize("uncertain", [{}, {"fuse_failure": Range(0.1, 0.2, 0.3)}])
def test_a_kind_of_fault_that_never_happens_stays_away_whatever_else_is_uncertain(uncertain):
    study = replace(random_study(np.random.default_rng(2), sections=15, clearing_shares=(0.0, 0.6, 0.4)),
                    stated_ranges=uncertain)
    totals = simulate(simulation_input(expect(study)), seed=1, trials=20).totals
    assert all(np.isfinite(of).all() for of in totals.values())


def test_no_fault_at_all_is_a_result():
    simulated = simulate(simulation_input(expect(one_section(line_fault_rate_per_km=0.0))), seed=1, trials=5)
    of = summaries(yearly_indices(simulated, 10.0))[0]
    assert of["saidi_min"]["mean"] == 0.0
    assert np.isnan(of["caidi_min"]["mean"])


def test_spread_splits_into_luck_and_unknowns():
    """Law of total variance on values of known make: within-trial sd 3, between-trials sd 1."""
    rng = np.random.default_rng(0)
    values = rng.normal(0, 1, (20_000, 1)) + rng.normal(0, 3, (20_000, 10))
    of = statistics(values)
    assert of["luck_share"] == pytest.approx(0.9, abs=0.01)
    assert of["luck_share"] + of["unknown_share"] == pytest.approx(1.0)
    certain = simulate(simulation_input(expect(one_section(yearly_cv=0.3))), seed=1, trials=4000)
    assert statistics(certain.totals["ci"][0])["unknown_share"] == pytest.approx(0.0, abs=0.02)


def test_differences_are_pair_by_pair():
    study = random_study(np.random.default_rng(12), sections=25)
    simulated = simulate(simulation_input(expect(study)), seed=1, trials=40)
    indices = yearly_indices(simulated, float(study.sections.customers.sum()))
    apart = differences(indices)
    wanted = indices["saidi_min"][1] - indices["saidi_min"][0]
    assert apart[1]["saidi_min"]["p90"] == pytest.approx(np.percentile(wanted, 90))
    assert apart[0]["saidi_min"] | {"luck_share": 0, "unknown_share": 0} == pytest.approx(
        dict.fromkeys(("mean", "se", "p10", "p50", "p90", "average_p10", "average_p90", "luck_share",
                           "unknown_share"), 0))


def test_expected_events_of_the_table_are_what_is_simulated():
    study = random_study(np.random.default_rng(5), sections=25)
    results = expect(study)
    total = row_rates(results.table, study.values).sum()
    permanent = row_rates(results.table, study.values)[results.table.kinds == 8].sum()
    simulated = simulate(simulation_input(results), seed=1, trials=400)
    assert simulated.totals["repair"][0].mean() == pytest.approx(permanent, rel=0.05)
    assert permanent < total
