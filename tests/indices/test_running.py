"""A run of the simulation: the same under all workers, ended in time, within its memory, with progress."""

from __future__ import annotations

import json
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from threading import current_thread

import numpy as np
import pytest

from reliability.indices import simulation
from reliability.indices.draws import one_trial, values_of_trials
from reliability.indices.simulation import simulate
from reliability.network.tree import build_network
from reliability.pipeline import expect, simulation_input
from reliability.report.summary import summary
from reliability.schema.assumption_types import Range
from tests.benchmarks.bench_draws import own_values
from tests.indices.cases import closed_form, one_section, steady
from tests.networks import random_study


def _summary_text(study, **options) -> str:
    results = expect(study)
    return json.dumps(summary(replace(results, simulated=simulate(simulation_input(results), trials=60, **options))))


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
    runs = [simulate(simulation_input(expect(study)), seed=s, trials=10).totals["ci"] for s in (0, 0, 1)]
    assert np.array_equal(runs[0], runs[1])
    assert not np.array_equal(runs[0], runs[2])


def test_numpy_global_state_is_left_alone():
    before = np.random.get_state()[1].copy()  # noqa: NPY002
    simulate(simulation_input(expect(one_section())), seed=1, trials=10)
    assert np.array_equal(before, np.random.get_state()[1])  # noqa: NPY002


def test_trials_stop_once_the_difference_is_settled_and_say_so():
    study = random_study(np.random.default_rng(3), sections=25, horizon_years=10)
    simulated = simulate(simulation_input(expect(study)), seed=1)
    hours = simulated.totals["customer_hours"].mean(axis=2)
    apart = hours[1:] - hours[:1]
    error = apart.std(axis=1, ddof=1) / np.sqrt(simulated.trials)
    assert simulated.precise == bool(np.all(error <= 0.01 * np.abs(apart.mean(axis=1))))
    assert simulated.precise or simulated.trials == simulation.TRIALS_AT_MOST


SETTLED_SOON = {"structural": {"phases_involved.0": Range(0.6, 0.75, 0.9)},
                "long chunks": {"refuse_hours": Range(1.4, 1.5, 1.7)}}


@pytest.mark.slow
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


@pytest.mark.slow
def test_where_a_run_ends_does_not_depend_on_the_workers(monkeypatch):
    monkeypatch.setattr(simulation, "EVENTS_PER_BLOCK", 20_000)
    for uncertain in SETTLED_SOON.values():
        alone = simulate(steady(uncertain), seed=3)
        with ThreadPoolExecutor(2) as executor:
            shared = simulate(steady(uncertain), seed=3, executor=executor, workers=2)
        assert shared.trials == alone.trials
        assert all(np.array_equal(shared.totals[name], alone.totals[name]) for name in alone.totals)


def test_fewer_trials_than_the_least_are_run_where_asked_for_or_where_no_more_fit():
    ask = steady(SETTLED_SOON["structural"])
    assert simulate(ask, seed=1, trials=7).trials == 7
    assert simulate(simulation_input(expect(one_section(horizon_years=20))), seed=1, trials=500).trials == 500
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
    rng, seen, alone = np.random.default_rng(0), simulation.TrialsSeen(), simulation.TrialsSeen()
    hours = 1e6 + rng.normal(0.0, 3.0, (3, 50, 4)) * np.array([1.0, 2.0, 3.0])[:, None, None]
    for part in np.split(hours, [1, 2, 30, 31], axis=1):
        seen, alone = simulation.with_more_trials(seen, part), simulation.with_more_trials(alone, part[:1])
    means = hours.mean(axis=2)
    for found, sought in ((seen, means[1:] - means[0]), (alone, means[:1])):
        assert found.trials == 50
        assert found.mean == pytest.approx(sought.mean(axis=1))
        assert found.squares == pytest.approx(50 * sought.var(axis=1), rel=1e-6)


def test_a_run_is_precise_enough_at_one_per_cent():
    """Two trials at 99 and 101: variance 2, standard error of the mean 1."""
    def enough(mean: float) -> bool:
        return simulation.precise_enough(simulation.TrialsSeen(2, np.array([mean]), np.array([2.0])))

    assert enough(100.001)
    assert not enough(99.9)
    assert enough(-100.001)
    assert not simulation.precise_enough(simulation.TrialsSeen(1, np.array([100.0]), np.array([0.0])))


def test_memory_bounds_the_trials_and_it_is_said():
    study = random_study(np.random.default_rng(3), sections=10, horizon_years=20)
    asked = simulation_input(expect(study))
    simulated = simulate(asked, seed=1, trials=10_000, memory_bytes=2e6)
    held = sum(t.nbytes for t in simulated.totals.values())
    assert simulated.limited
    assert 0.2e6 < held <= 2e6 / 2.4
    assert not simulate(asked, seed=1, trials=simulated.trials, memory_bytes=2e6).limited


def test_progress_counts_up_and_an_exception_from_it_stops_the_run():
    seen = []
    study = random_study(np.random.default_rng(3), sections=25)
    simulate(simulation_input(expect(study)), seed=1, trials=50, on_progress=lambda *what: seen.append(what))
    assert [d for d, _, _ in seen] == sorted(d for d, _, _ in seen)
    assert seen[-1][:2] == (50, 50)
    assert seen[0][0] == round(50 / len(seen))
    assert all(0.0 <= left < 60.0 for _, _, left in seen)

    def stop(*_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        simulate(simulation_input(expect(study)), seed=1, trials=50, on_progress=stop)


def test_progress_of_a_single_block_reaches_its_end():
    seen = []
    simulate(simulation_input(expect(one_section())), seed=1, trials=50, on_progress=lambda *what: seen.append(what))
    assert [what[:2] for what in seen] == [(50, 50)]
    assert seen[0][2] == 0.0


def test_work_is_cut_where_a_group_ends_or_a_block_is_full(monkeypatch):
    monkeypatch.setattr(simulation, "EVENTS_PER_BLOCK", 10 * simulation.YEARS_PER_CHUNK)
    monkeypatch.setattr(simulation, "ROWS_PER_BLOCK", 6)
    rates = np.array([1.0, 1.0, 1.0, 8.0, 0.5, 0.5, 0.5, 0.5])
    assert simulation.block_bounds(rates, np.array([1, 1, 2, 2, 2, 2, 2, 2])) == [(0, 2), (2, 3), (3, 6), (6, 8)]
    assert simulation.block_bounds(rates[:0], np.zeros(0)) == []
    assert simulation.most_trials(1e15) == 2
    assert simulation.most_trials(0.0) == simulation.TRIALS_AT_MOST


@pytest.mark.parametrize(("workers", "threads"), [(1, False), (2, False), (2, True)])
def test_coefficients_made_while_events_are_drawn_change_no_digit(monkeypatch, workers, threads):
    study = own_values(100)
    ask = replace(simulation_input(expect(study)), uncertain={"patrol_hours": Range(0.5, 1.0, 2.0)})
    kept = simulate(ask, seed=1, trials=5)
    monkeypatch.setattr(simulation, "MAX_ROWS_CACHED", 0)
    late = replace(ask, extra=dict(ask.extra))      # what is prepared is kept with the input
    assert any(isinstance(block, simulation.LateBlock) for block in late.prepared.blocks)
    made, makers, asked = simulation.coefficients, set(), []

    def coefficients(table, values, rows, *more):
        makers.add(current_thread())
        asked.append(rows)
        return made(table, values, rows, *more)

    monkeypatch.setattr(simulation, "coefficients", coefficients)
    with ThreadPoolExecutor(workers) as pool:
        again = simulate(late, seed=1, trials=5, executor=pool if threads else None, workers=workers)
    assert all(np.array_equal(again.totals[name], kept.totals[name]) for name in kept.totals)
    # each where its events are drawn: of all blocks at a time they would take too much memory
    assert not (threads and current_thread() in makers)
    if workers == 1:                                # elsewhere other processes make them
        assert 0 < sum(map(len, asked)) < sum(len(block.rows) for block in late.prepared.blocks)


def test_a_large_table_without_an_event_adds_nothing(monkeypatch):
    monkeypatch.setattr(simulation, "MAX_ROWS_CACHED", 0)
    study = own_values(100)
    frame = study.sections.assign(line_fault_rate_per_km=1e-12)
    ask = simulation_input(expect(replace(study, sections=frame, network=build_network(frame))))
    assert any(isinstance(block, simulation.LateBlock) for block in ask.prepared.blocks)
    assert all(not total.any() for total in simulate(ask, seed=1, trials=2).totals.values())
