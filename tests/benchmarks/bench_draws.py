"""Draws of the closed form, all at once and one by one: python -m tests.benchmarks.bench_draws. Printed, not asserted.

Processor time of the sensitivity, of options at other values and of how sure a choice is, as multiples of importing the
libraries that a run imports anyway.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import scipy

from reliability.business.drivers import drivers_frame
from reliability.business.expected_npv import ExpectedNpv
from reliability.business.limits import Limits
from reliability.business.options import build_options
from reliability.business.selection import choose
from reliability.business.stability import stability
from reliability.faults.outcomes import build_outcomes
from reliability.indices.draws import draw_uncertain, one_trial, values_of_trials
from reliability.indices.expected import expected_values
from reliability.network.tree import build_network
from reliability.pipeline import decide, expect, with_alternatives
from reliability.schema.assumption_types import Range
from reliability.study import open_study
from reliability.study.study import Study
from tests.benchmarks.synthetic import synthetic_study, with_settings

DEMO = Path(__file__).parents[2] / "data" / "demo"
LIBRARIES = "numpy, pandas, scipy.sparse, scipy.stats, scipy.optimize, xlsxwriter, jinja2"
UNCERTAIN = {"patrol_hours": Range(0.8, 1.3, 2.2), "switching_hours": Range(0.5, 1.0, 1.5),
             "crew_rate_per_hour": Range(100.0, 150.0, 200.0), "sectionalizer_cost": Range(1500.0, 2000.0, 3000.0),
             "reclosing_off_share": Range(0.0, 0.05, 0.1), "temporary_fraction": Range(0.6, 0.75, 0.85)}
ALL_AT_ONCE, ONE_BY_ONE, THE_LONG_WAY = 4096, 64, 2


def own_values(sections: int, seed: int = 0) -> Study:
    """A study of so many sections, most with rates, fractions and repair hours of their own, settings everywhere."""
    rng, study = np.random.default_rng(seed), synthetic_study(sections)
    frame = study.sections.assign(repair_hours=rng.uniform(1.0, 6.0, sections),
                                  line_fault_rate_per_km=rng.uniform(0.1, 0.4, sections),
                                  temporary_fraction=rng.uniform(0.5, 0.9, sections))
    study = with_settings(replace(study, sections=frame, network=build_network(frame)))
    return replace(study, stated_ranges=UNCERTAIN,
                   values=study.values | {key: stated.mean for key, stated in UNCERTAIN.items()})


def _took(work: Callable[[], object]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


def _imports() -> float:
    """Seconds of processor time that importing the libraries takes in a process of its own."""
    script = f"import time; import {LIBRARIES}; print(time.process_time())"
    return float(subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout)


def _draws(study: Study, draws: int) -> dict[str, object]:
    return dict(values_of_trials(study.values, draw_uncertain(np.random.default_rng(1), study.uncertain, draws)))


def _of(name: str, study: Study, unit: float) -> None:
    npv = ExpectedNpv(study.model, study.scenarios, study.cost_table)
    first = _took(lambda: npv(study.values))
    many, few = _draws(study, ALL_AT_ONCE), _draws(study, ONE_BY_ONE)
    together = _took(lambda: npv(many)) / ALL_AT_ONCE
    apart = _took(lambda: [npv(one_trial(few, k)) for k in range(ONE_BY_ONE)]) / ONE_BY_ONE
    long = _took(lambda: [expected_values(build_outcomes(study.model, study.scenarios), study.values)
                          for _ in range(THE_LONG_WAY)]) / THE_LONG_WAY
    print(f"\n{name}: {len(study.network)} sections, {len(study.scenarios)} scenarios")
    print(f"  sums of the outcome table, once            {first:8.2f} s  {first / unit:6.2f} × imports")
    print(f"  a draw, of {ALL_AT_ONCE} together                  {1e3 * together:8.3f} ms")
    print(f"  a draw, one by one over the same sums      {1e3 * apart:8.3f} ms {apart / together:6.0f} × together")
    print(f"  a draw, table and expected values anew     {1e3 * long:8.1f} ms {long / together:6.0f} × together")
    drivers = _took(lambda: drivers_frame(study, study.network, study.cost_table))
    print(f"  sensitivity: ends, break-evens, Sobol'     {drivers:8.2f} s  {drivers / unit:6.2f} × imports")
    options = build_options(study.model, study.cost_table)
    anew = _took(lambda: build_options(study.model, study.cost_table))
    again = _took(lambda: options.at(study.values))
    print(f"  options of every lateral, {len(options.rows):6} rows      {anew:8.2f} s  {anew / unit:6.2f} × imports")
    print(f"  the same at other values                   {again:8.3f} s  {anew / again:6.0f} times less")
    choice = choose(options)
    sure = _took(lambda: stability(study, options, choice, Limits()))
    print(f"  how sure the choice is, 256 draws          {sure:8.2f} s  {sure / unit:6.2f} × imports")


def main() -> None:
    """Print the times."""
    print(f"scipy {scipy.__version__}; importing {LIBRARIES}: {(unit := _imports()):.2f} s of processor time")
    demo = open_study(DEMO)
    _of("first demo", expect(with_alternatives(demo, decide(demo))).study, unit)
    for perspective in ("utility", "society"):
        study = own_values(21_000)
        _of(f"own rates, fractions and hours, {perspective}",
            replace(study, values=study.values | {"perspective": perspective}), unit)


if __name__ == "__main__":
    main()
