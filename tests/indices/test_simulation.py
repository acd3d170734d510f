"""The simulation against the closed form, exact laws, and itself under other workers."""

from __future__ import annotations

import json
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from reliability.faults.outcomes import row_rates
from reliability.indices import simulation
from reliability.indices.draws import one_trial, pert, values_of_trials
from reliability.indices.expected import expected_values
from reliability.indices.simulation import Question, simulate
from reliability.indices.spread import differences, statistics, summaries, yearly_indices
from reliability.network.tree import build_network
from reliability.pipeline import expect, question
from reliability.report.summary import summary
from reliability.study.assumptions import Range
from reliability.study.study import Scenario
from tests.networks import random_study, study_of

MEASURES = {"ci": "fault_ci", "customer_hours": "fault_customer_hours", "load_kwh": "fault_load_kwh",
            "momentary_events": "fault_momentary_events", "momentary_interruptions": "fault_momentary_interruptions",
            "sectionalizer_operations": "fault_sectionalizer_operations"}
UNKNOWNS = {
    "line_fault_rate_per_km": Range(0.1, 0.2, 0.4), "temporary_fraction": Range(0.5, 0.7, 0.9),
    "repair_hours": Range(1.0, 3.0, 6.0), "switching_hours": Range(0.5, 1.0, 1.5), "refuse_hours": Range(1.0, 1.5, 3.0),
    "reset_hours": Range(1.0, 1.5, 2.5), "patrol_hours": Range(0.5, 1.0, 2.0), "fuse_failure": Range(0.0, 0.02, 0.1),
    "sectionalizer_failure": Range(0.0, 0.03, 0.1), "yearly_cv": Range(0.1, 0.2, 0.4), "cv": Range(0.4, 0.8, 1.2),
}


def closed_form(table, values) -> dict[str, np.ndarray]:
    """Expected yearly totals by measure, (S,)."""
    expected = expected_values(table, values)
    return {name: np.array([getattr(e, attribute).sum() for e in expected]) for name, attribute in MEASURES.items()}


def deviations(simulated, wanted: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Standard errors between the simulated mean and the closed form; 0 where both are alike."""
    result = {}
    for name, value in wanted.items():
        means = simulated.totals[name].mean(axis=2)
        error = means.std(axis=1, ddof=1) / np.sqrt(simulated.trials)
        if name == "sectionalizer_operations":
            # so rare that none may come: the error is at least that of the Poisson law
            error = np.maximum(error, np.sqrt(value / (simulated.trials * simulated.years)))
        apart = np.abs(means.mean(axis=1) - value)
        result[name] = np.where(apart <= 1e-9 * (1 + value), 0.0, apart / np.maximum(error, 1e-300))
    return result


def one_section(**values):
    """A breaker over one section: one fault a year unless `values` say otherwise."""
    return study_of([{"section_id": "only", "device": "breaker", "length_km": 1.0, "customers": 10}],
                    **{"line_fault_rate_per_km": 1.0, "temporary_fraction": 0.0, "cv": 0.0, "yearly_cv": 0.0,
                       "horizon_years": 5} | values)


@pytest.mark.parametrize("number", range(50))
def test_mean_lies_within_four_standard_errors_of_the_closed_form(number):
    study = random_study(np.random.default_rng(number), sections=25, horizon_years=5)
    results = expect(study)
    simulated = simulate(question(results), seed=number, trials=300)
    worst = deviations(simulated, closed_form(results.table, study.values))
    assert {name: float(d.max()) for name, d in worst.items() if d.max() > 4.0} == {}


def test_demo_indices_agree_with_the_closed_form(demo):
    certain = replace(demo, uncertain={})
    results = expect(certain)
    results = replace(results, simulated=simulate(question(results), trials=400, seed=3))
    expected, simulated = summary(results)["scenarios"], summary(results)["scenarios"]
    for scenario in range(len(expected)):
        of, spread = expected[scenario]["expected"], simulated[scenario]["simulated"]
        for name in ("saifi", "saidi_min", "caidi_min", "maifi", "maifi_e", "ens_mwh"):
            assert abs(spread[name]["mean"] - of[name]) <= 4.0 * spread[name]["se"], name
        assert abs(spread["callouts"]["mean"] - sum(of["callouts"].values())) <= 4.0 * spread["callouts"]["se"]


@pytest.mark.parametrize("number", range(6))
def test_with_unknowns_the_mean_is_that_of_the_closed_form_over_the_same_draws(number):
    """Trial by trial the horizon's mean scatters about the closed form at the trial's values."""
    study = random_study(np.random.default_rng(100 + number), sections=20, horizon_years=4)
    network = build_network(study.sections)
    ask = Question(network, study.values | {k: r.mean for k, r in UNKNOWNS.items()}, UNKNOWNS, study.scenarios)
    simulated = simulate(ask, seed=number, trials=300)
    values = values_of_trials(ask.values, simulated.draws)
    wanted = [closed_form(ask.table(v), v) for v in (one_trial(values, t) for t in range(simulated.trials))]
    for name in MEASURES:
        apart = simulated.totals[name].mean(axis=2) - np.array([w[name] for w in wanted]).T
        error = apart.std(axis=1, ddof=1) / np.sqrt(simulated.trials)
        assert np.all(np.abs(apart.mean(axis=1)) <= 4.0 * error + 1e-9), name


@pytest.mark.parametrize("key", ["fast_clearing_time_s", "phases_involved.0"])
def test_an_unknown_that_changes_protection_gets_a_table_a_trial(key):
    study = random_study(np.random.default_rng(7), sections=15, horizon_years=6)
    unknown = {key: Range(0.03, 0.08, 0.3) if "." not in key else Range(0.3, 0.75, 0.9)}
    ask = Question(build_network(study.sections), study.values, unknown, study.scenarios)
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
    simulated = simulate(question(expect(study)), seed=11, trials=4000)
    counts = np.rint(simulated.totals["ci"][0].ravel() / 10).astype(int)
    law = stats.nbinom(cv ** -2, cv ** -2 / (cv ** -2 + 1.7)) if cv else stats.poisson(1.7)
    cells = 7
    observed = np.bincount(np.minimum(counts, cells), minlength=cells + 1)
    probability = np.append(law.pmf(np.arange(cells)), law.sf(cells - 1))
    assert stats.chisquare(observed, probability * len(counts)).pvalue > 0.001


def test_severity_has_mean_one_and_the_stated_spread():
    study = one_section(cv=0.8, line_fault_rate_per_km=0.01, repair_hours=2.0)
    simulated = simulate(question(expect(study)), seed=2, trials=40_000)
    single = simulated.totals["ci"][0] == 10
    hours = simulated.totals["customer_hours"][0][single] / 10 / 2.0
    assert len(hours) > 1500
    assert hours.mean() == pytest.approx(1.0, abs=4 * 0.8 / np.sqrt(len(hours)))
    assert stats.kstest(np.log(hours), stats.norm(-np.log1p(0.64) / 2, np.sqrt(np.log1p(0.64))).cdf).pvalue > 0.001


def test_intervals_of_the_mean_cover_the_truth_as_often_as_they_claim():
    """P10 to P90 of the mean, 200 repeats at fixed seeds: 80 % ± 4 binomial standard deviations."""
    study = random_study(np.random.default_rng(4), sections=20, horizon_years=5)
    results = expect(study)
    truth = closed_form(results.table, study.values)["customer_hours"][0]
    inside = 0
    for seed in range(200):
        means = simulate(question(results), seed=seed, trials=60).totals["customer_hours"][0]
        of = statistics(means)
        inside += abs(of["mean"] - truth) <= stats.norm.ppf(0.9) * of["se"]
    assert abs(inside / 200 - 0.8) <= 4 * np.sqrt(0.8 * 0.2 / 200)


def test_all_scenarios_see_the_same_faults():
    study = random_study(np.random.default_rng(9), sections=25)
    same = replace(study, scenarios=(study.scenarios[0], replace(study.scenarios[0], name="again")))
    simulated = simulate(question(expect(same)), seed=1, trials=20)
    for totals in simulated.totals.values():
        assert np.array_equal(totals[0], totals[1])


def _summary_text(study, **options) -> str:
    results = expect(study)
    return json.dumps(summary(replace(results, simulated=simulate(question(results), trials=60, **options))))


def test_workers_threads_processes_and_a_cluster_give_the_same_bytes(demo, monkeypatch):
    monkeypatch.setattr(simulation, "EVENTS_PER_BLOCK", 40_000)  # several blocks even on the demo
    wanted = _summary_text(demo, seed=0)
    for executor in (ThreadPoolExecutor(1), ThreadPoolExecutor(2), ProcessPoolExecutor(2)):
        with executor:
            assert _summary_text(demo, seed=0, executor=executor, workers=2) == wanted


def test_a_cluster_scheduler_gives_the_same_bytes(demo):
    distributed = pytest.importorskip("distributed")
    with distributed.Client(n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None) as client:
        assert _summary_text(demo, seed=0, executor=client.get_executor(), workers=2) == _summary_text(demo, seed=0)


def test_seed_zero_is_a_seed_and_another_seed_another_result():
    study = random_study(np.random.default_rng(1), sections=15)
    runs = [simulate(question(expect(study)), seed=s, trials=10).totals["ci"] for s in (0, 0, 1)]
    assert np.array_equal(runs[0], runs[1])
    assert not np.array_equal(runs[0], runs[2])


def test_numpy_global_state_is_left_alone():
    before = np.random.get_state()[1].copy()  # noqa: NPY002
    simulate(question(expect(one_section())), seed=1, trials=10)
    assert np.array_equal(before, np.random.get_state()[1])  # noqa: NPY002


def test_trials_stop_once_the_difference_is_settled_and_say_so():
    study = random_study(np.random.default_rng(3), sections=25, horizon_years=10)
    simulated = simulate(question(expect(study)), seed=1)
    hours = simulated.totals["customer_hours"].mean(axis=2)
    apart = hours[1:] - hours[:1]
    error = apart.std(axis=1, ddof=1) / np.sqrt(simulated.trials)
    assert simulated.precise == bool(np.all(error <= 0.01 * np.abs(apart.mean(axis=1))))
    assert simulated.precise or simulated.trials == simulation.TRIALS_AT_MOST


def steady(uncertain):
    """So many faults that a handful of trials looks settled: an unlucky pair of alike draws could stop a run."""
    study = study_of([
        {"section_id": "main", "device": "breaker", "length_km": 1.0, "customers": 50},
        {"section_id": "tap", "parent_id": "main", "device": "fuse", "length_km": 3.0, "customers": 50, "phases": 3}],
        (Scenario("S", None, "sectionalizer", 2),), line_fault_rate_per_km=20.0, cv=0.0, yearly_cv=0.0,
        horizon_years=20, temporary_fraction=0.6, fast_operations=0)
    values = study.values | {k: r.mean for k, r in uncertain.items() if "." not in k}
    return Question(build_network(study.sections), values, uncertain, study.scenarios)


SETTLED_SOON = {"structural": {"phases_involved.0": Range(0.6, 0.75, 0.9)},
                "long chunks": {"refuse_hours": Range(1.4, 1.5, 1.7)}}


@pytest.mark.parametrize("kind", SETTLED_SOON)
@pytest.mark.parametrize("seed", range(5))
def test_a_run_that_ends_by_itself_has_seen_enough_and_means_what_it_says(kind, seed):
    """No fewer trials than the least, the standard error sought, and the closed form of the same draws."""
    ask = steady(SETTLED_SOON[kind])
    simulated = simulate(ask, seed=seed)
    assert simulated.precise
    assert simulation.TRIALS_AT_LEAST <= simulated.trials <= simulation.TRIALS_AT_MOST
    hours = simulated.totals["customer_hours"].mean(axis=2)
    apart = hours[1] - hours[0]
    error = apart.std(ddof=1) / np.sqrt(simulated.trials)
    assert error <= 0.01 * abs(apart.mean())
    values = values_of_trials(ask.values, simulated.draws)
    wanted = np.array([closed_form(ask.table(v), v)["customer_hours"]
                       for v in (one_trial(values, t) for t in range(simulated.trials))])
    off = apart - (wanted[:, 1] - wanted[:, 0])
    assert abs(off.mean()) <= 4.0 * off.std(ddof=1) / np.sqrt(simulated.trials)


def test_where_a_run_ends_does_not_depend_on_the_workers(monkeypatch):
    monkeypatch.setattr(simulation, "EVENTS_PER_BLOCK", 20_000)
    for uncertain in SETTLED_SOON.values():
        alone = simulate(steady(uncertain), seed=3)
        with ThreadPoolExecutor(2) as executor:
            shared = simulate(steady(uncertain), seed=3, executor=executor, workers=2)
        assert shared.trials == alone.trials
        assert all(np.array_equal(shared.totals[name], alone.totals[name]) for name in alone.totals)


def test_every_trial_goes_by_its_own_draw_of_what_protection_does():
    """With so many faults a trial's hours tell the share of single-phase faults that it drew."""
    ask = steady({"phases_involved.0": Range(0.3, 0.75, 0.9)})
    ask = replace(ask, values=ask.values | {"line_fault_rate_per_km": 800.0})
    simulated = simulate(ask, seed=2, trials=40)
    values = values_of_trials(ask.values, simulated.draws)
    wanted = [closed_form(ask.table(v), v)["customer_hours"][0] for v in (one_trial(values, t) for t in range(40))]
    hours = simulated.totals["customer_hours"].mean(axis=2)[0]
    assert np.corrcoef(hours, wanted)[0, 1] > 0.8


RATES = {key: law for key, law in UNKNOWNS.items() if key in simulation.RATE_KEYS} | {
    "clearing_shares.0": Range(0.1, 0.5, 0.9), "clearing_shares.1": Range(0.1, 0.3, 0.6)}


@pytest.mark.parametrize("keys", [(), *((key,) for key in RATES), tuple(RATES)], ids=str)
def test_rates_at_the_values_of_a_trial_are_those_of_the_rows(keys):
    """Rows and their classes, scaled to a trial's draws, against the rates of the table at those draws: exactly."""
    for seed in range(6):
        never = {} if keys else {"fuse_failure": 1.0, "sectionalizer_failure": 1.0}
        study = random_study(np.random.default_rng(seed), sections=25, **never)
        uncertain = {key: RATES[key] for key in keys}
        means = study.values | {k: law.mean for k, law in uncertain.items() if "." not in k}
        table = Question(build_network(study.sections), means, uncertain, study.scenarios).table(means)
        draws = {k: np.array([law.low, law.high]) for k, law in uncertain.items()}
        rows, rates, of, classes = simulation._parts(table, means, {key.partition(".")[0] for key in keys})
        for t in range(2 if keys else 0):
            at = one_trial(values_of_trials(means, draws), t)
            factor = np.array([float(simulation._multiplier(c, at, means)) for c in classes])
            assert np.bincount(rows, rates * factor[of], len(table)) == pytest.approx(row_rates(table, at))
        factor = np.array([float(simulation._multiplier(c, means, means)) for c in classes])
        assert np.bincount(rows, rates * factor[of], len(table)) == pytest.approx(row_rates(table, means))


def test_fewer_trials_than_the_least_are_run_where_asked_for_or_where_no_more_fit():
    ask = steady(SETTLED_SOON["structural"])
    assert simulate(ask, seed=1, trials=7).trials == 7
    assert simulate(question(expect(one_section(horizon_years=20))), seed=1, trials=500).trials == 500
    assert simulate(ask, seed=1, trials=7, memory_bytes=1.0).trials == 1
    few = simulate(ask, seed=1, memory_bytes=2e5)
    assert 2 <= few.trials < simulation.TRIALS_AT_LEAST
    assert few.precise is not None
    calm = simulate(steady(SETTLED_SOON["long chunks"]), seed=1, memory_bytes=4e5)
    hours = calm.totals["customer_hours"].mean(axis=2)
    apart = hours[1] - hours[0]
    assert calm.trials < simulation.TRIALS_AT_LEAST
    assert apart.std(ddof=1) / np.sqrt(calm.trials) < 0.01 * abs(apart.mean())
    assert calm.precise


def test_the_standard_error_of_a_run_is_that_of_all_its_trials():
    """Chunk by chunk as if at once; one scenario alone is judged by its own hours."""
    rng, seen, alone = np.random.default_rng(0), simulation._Seen(), simulation._Seen()
    hours = 1e6 + rng.normal(0.0, 3.0, (3, 50, 4)) * np.array([1.0, 2.0, 3.0])[:, None, None]
    for part in np.split(hours, [1, 2, 30, 31], axis=1):
        seen, alone = simulation._seen_more(seen, part), simulation._seen_more(alone, part[:1])
    means = hours.mean(axis=2)
    for found, sought in ((seen, means[1:] - means[0]), (alone, means[:1])):
        assert found.trials == 50
        assert found.mean == pytest.approx(sought.mean(axis=1))
        assert found.squares == pytest.approx(50 * sought.var(axis=1), rel=1e-6)


def test_a_run_is_precise_enough_at_one_per_cent():
    """Two trials at 99 and 101: variance 2, standard error of the mean 1."""
    def enough(mean: float) -> bool:
        return simulation._precise_enough(simulation._Seen(2, np.array([mean]), np.array([2.0])))

    assert enough(100.001)
    assert not enough(99.9)
    assert enough(-100.001)
    assert not simulation._precise_enough(simulation._Seen(1, np.array([100.0]), np.array([0.0])))


def test_memory_bounds_the_trials_and_it_is_said():
    study = random_study(np.random.default_rng(3), sections=10, horizon_years=20)
    asked = question(expect(study))
    simulated = simulate(asked, seed=1, trials=10_000, memory_bytes=2e6)
    held = sum(t.nbytes for t in simulated.totals.values())
    assert simulated.limited
    assert 0.2e6 < held <= 2e6 / 2.4
    assert not simulate(asked, seed=1, trials=simulated.trials, memory_bytes=2e6).limited


def test_progress_counts_up_and_an_exception_from_it_stops_the_run():
    seen = []
    study = random_study(np.random.default_rng(3), sections=25)
    simulate(question(expect(study)), seed=1, trials=50, on_progress=lambda *what: seen.append(what))
    assert [d for d, _, _ in seen] == sorted(d for d, _, _ in seen)
    assert seen[-1][:2] == (50, 50)
    assert seen[0][0] == round(50 / len(seen))
    assert all(0.0 <= left < 60.0 for _, _, left in seen)

    def stop(*_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        simulate(question(expect(study)), seed=1, trials=50, on_progress=stop)


def test_progress_of_a_single_block_reaches_its_end():
    seen = []
    simulate(question(expect(one_section())), seed=1, trials=50, on_progress=lambda *what: seen.append(what))
    assert [what[:2] for what in seen] == [(50, 50)]
    assert seen[0][2] == 0.0


def test_work_is_cut_where_a_group_ends_or_a_block_is_full(monkeypatch):
    monkeypatch.setattr(simulation, "EVENTS_PER_BLOCK", 10 * simulation.YEARS_PER_CHUNK)
    monkeypatch.setattr(simulation, "ROWS_PER_BLOCK", 6)
    rates = np.array([1.0, 1.0, 1.0, 8.0, 0.5, 0.5, 0.5, 0.5])
    assert simulation._cuts(rates, np.array([1, 1, 2, 2, 2, 2, 2, 2])) == [(0, 2), (2, 3), (3, 6), (6, 8)]
    assert simulation._cuts(rates[:0], np.zeros(0)) == []
    assert simulation._cap(1e15) == 2
    assert simulation._cap(0.0) == simulation.TRIALS_AT_MOST


@pytest.mark.parametrize("uncertain", [{}, {"fuse_failure": Range(0.1, 0.2, 0.3)}])
def test_a_kind_of_fault_that_never_happens_stays_away_whatever_else_is_uncertain(uncertain):
    study = replace(random_study(np.random.default_rng(2), sections=15, clearing_shares=(0.0, 0.6, 0.4)),
                    uncertain=uncertain)
    totals = simulate(question(expect(study)), seed=1, trials=20).totals
    assert all(np.isfinite(of).all() for of in totals.values())


def test_a_spread_of_any_size_is_drawn():
    from reliability.indices.events import _severities

    year = np.zeros(4000, dtype=np.int32)
    for sigma in (0.5, 1.0, 2.0):
        drawn = np.log(_severities(np.random.default_rng(0), np.array([sigma]), year))
        assert drawn.std() == pytest.approx(sigma, rel=0.06)
    assert np.all(_severities(np.random.default_rng(0), np.zeros(1), year) == 1.0)
    drawn = _severities(np.random.default_rng(0), np.array([0.0, 0.5]), np.arange(4000) % 2)
    assert np.all(drawn[::2] == 1.0)
    assert np.log(drawn[1::2]).std() == pytest.approx(0.5, rel=0.06)


def test_no_fault_at_all_is_a_result():
    simulated = simulate(question(expect(one_section(line_fault_rate_per_km=0.0))), seed=1, trials=5)
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
    certain = simulate(question(expect(one_section(yearly_cv=0.3))), seed=1, trials=4000)
    assert statistics(certain.totals["ci"][0])["unknown_share"] == pytest.approx(0.0, abs=0.02)


def test_differences_are_pair_by_pair():
    study = random_study(np.random.default_rng(12), sections=25)
    simulated = simulate(question(expect(study)), seed=1, trials=40)
    indices = yearly_indices(simulated, float(study.sections.customers.sum()))
    apart = differences(indices)
    wanted = indices["saidi_min"][1] - indices["saidi_min"][0]
    assert apart[1]["saidi_min"]["p90"] == pytest.approx(np.percentile(wanted, 90))
    assert apart[0]["saidi_min"] | {"luck_share": 0, "unknown_share": 0} == pytest.approx(
        {"mean": 0, "se": 0, "p10": 0, "p50": 0, "p90": 0, "luck_share": 0, "unknown_share": 0})


def test_pert_draws_have_the_mean_and_bounds_of_the_law():
    law = Range(1.0, 2.5, 6.0)
    drawn = pert(np.random.default_rng(0), law, 100_000)
    assert drawn.mean() == pytest.approx(law.mean, abs=0.01)
    assert 1.0 <= drawn.min() < drawn.max() <= 6.0
    assert np.array_equal(pert(np.random.default_rng(0), Range(3.0, 3.0, 3.0), 2), [3.0, 3.0])


def test_events_of_a_year_are_drawn_in_proportion_to_its_weight():
    """Guide table and search give the multinomial law, zero weights and tiny ones included."""
    from reliability.indices.events import _trial_years, year_weights

    weights = np.array([0.0, 1.0, 1e-4, 3.0, 0.5, 0.0, 2.0, 0.0])
    years = _trial_years(np.random.default_rng(0), year_weights(weights), 400_000)
    observed = np.bincount(years, minlength=8)
    assert np.all(observed[weights == 0] == 0)
    some = weights > 0
    assert stats.chisquare(observed[some], weights[some] / weights.sum() * 400_000).pvalue > 0.001


def test_a_single_year_needs_no_guide():
    from reliability.indices.events import _trial_years, year_weights

    weights = year_weights(np.array([2.0]))
    assert (weights.total, weights.guide) == (2.0, None)
    assert np.all(_trial_years(np.random.default_rng(0), weights, 9) == 0)


def test_expected_events_of_the_table_are_what_is_simulated():
    study = random_study(np.random.default_rng(5), sections=25)
    results = expect(study)
    total = row_rates(results.table, study.values).sum()
    permanent = row_rates(results.table, study.values)[results.table.kinds == 8].sum()
    simulated = simulate(question(results), seed=1, trials=400)
    assert simulated.totals["repair"][0].mean() == pytest.approx(permanent, rel=0.05)
    assert permanent < total
