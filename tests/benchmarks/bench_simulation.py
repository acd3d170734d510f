"""Cost of one simulated fault event against drawing it and against a discrete-event simulation.

    python -m tests.benchmarks.bench_simulation           the two ratios
    python -m tests.benchmarks.bench_simulation large     a billion events: 500 000 sections, 8 000 trial-years

Drawing an event is one integer, one normal and its exponential in NumPy's default generator;
both are measured in turns in one run, on one core.
"""

from __future__ import annotations

import resource
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from reliability.faults.outcomes import row_rates
from reliability.indices.simulation import YEARS_PER_CHUNK, simulate
from reliability.pipeline import expect, simulation_input, with_rates
from reliability.study import open_study
from reliability.study.ranges import LEARNED
from tests.benchmarks.synthetic import synthetic_study, with_settings
from tests.discrete_event import discrete_event_years
from tests.networks import certain

ROUNDS = 5
CHUNKS = 3
PER_DRAW = 400_000


def draw_events(rng: np.random.Generator, events: int) -> None:
    for _ in range(events // PER_DRAW):
        rng.integers(YEARS_PER_CHUNK, size=PER_DRAW)
        np.exp(rng.standard_normal(PER_DRAW))


def against_drawing(name: str, study) -> float:
    """Print and return nanoseconds of CPU an event: whole chunks of trial-years, tables built before."""
    results = expect(study)
    events = row_rates(results.table, study.values).sum() * YEARS_PER_CHUNK
    trials, ratios = YEARS_PER_CHUNK // study.values["horizon_years"], []
    for _ in range(ROUNDS):
        question = replace(simulation_input(results), extra={})
        once = _seconds(simulate, question, seed=1, trials=trials)
        more = _seconds(simulate, question, seed=1, trials=(1 + CHUNKS) * trials)
        spent = (more - once) / (CHUNKS * events)
        drawn = _seconds(draw_events, np.random.default_rng(1), int(events)) / (events // PER_DRAW * PER_DRAW)
        ratios.append((spent / drawn, spent, drawn, once))
    ratio, spent, drawn, once = sorted(ratios)[len(ratios) // 2]
    print(f"{name}: {1e9 * spent:.1f} ns an event, drawing it {1e9 * drawn:.1f} ns, ratio {ratio:.2f} "
          f"(median of {ROUNDS}); first {events:.3g} events with their tables {once:.2f} s")
    return spent


def against_none_of_customers_costs(name: str, study) -> None:
    """Print what customers' interruption costs by every event's own duration add to an event."""
    question, ratios = simulation_input(expect(study)), []
    trials = YEARS_PER_CHUNK // study.values["horizon_years"]
    for _ in range(ROUNDS):
        spent = []
        for each in (replace(question, extra={}), question):
            once = _seconds(simulate, each, seed=1, trials=trials)
            spent.append(_seconds(simulate, each, seed=1, trials=(1 + CHUNKS) * trials) - once)
        ratios.append(spent[1] / spent[0])
    print(f"{name}: an event with customers' interruption costs takes {sorted(ratios)[len(ratios) // 2]:.2f} times one "
          f"without (median of {ROUNDS})")


def _seconds(work, *arguments, **options) -> float:
    begun = time.process_time()
    work(*arguments, **options)
    return time.process_time() - begun


def against_discrete_events(study, spent: float) -> None:
    study = replace(study, scenarios=study.scenarios[:1])
    begun = time.perf_counter()
    tally = discrete_event_years(study, study.scenarios[0], 4.0, np.random.default_rng(0))
    slow = (time.perf_counter() - begun) / tally.faults
    print(f"discrete-event simulation: {1e6 * slow:.0f} µs an event and scenario, {slow / spent:.0f} times slower")


def large() -> None:
    study = synthetic_study(500_000)
    study = replace(study, values={**study.values, "line_fault_rate_per_km": 0.24})  # a billion events
    begun = time.perf_counter()
    results = expect(study)
    built = time.perf_counter() - begun
    events = row_rates(results.table, study.values).sum() * 8_000
    with ThreadPoolExecutor(2) as executor:
        begun = time.perf_counter()
        simulate(simulation_input(results), seed=0, trials=8_000 // study.values["horizon_years"], executor=executor,
                 workers=2)
    print(f"{events:.3g} events: tables {built:.0f} s, simulation {time.perf_counter() - begun:.0f} s, "
          f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


def main() -> None:
    if "large" in sys.argv[1:]:
        large()
        return
    demo = open_study("data/demo")
    spent = against_drawing("demo, its assumptions certain", replace(certain(demo), scenarios=demo.scenarios[:3]))
    against_drawing("20 000 sections", synthetic_study(20_000))
    for name, study in (("demo, its assumptions certain", replace(certain(demo), scenarios=demo.scenarios[:3])),
                        ("demo", demo), ("20 000 sections", synthetic_study(20_000))):
        against_none_of_customers_costs(name, study)
    against_drawing("20 000 sections with settings", with_settings(synthetic_study(20_000)))
    for name in ("demo", "wooded_town"):
        study = open_study(f"data/{name}")
        learned = with_rates(replace(study, scenarios=study.scenarios[:3], values=study.values | {"rates": LEARNED}))
        against_drawing(f"{name}, rates drawn from the posterior", certain(learned))
        against_drawing(f"{name}, the same with ranges by default", learned)
    against_discrete_events(demo, spent)


if __name__ == "__main__":
    main()
