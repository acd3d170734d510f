"""Outcome table and expected values at growing size, as a ratio to a plain NumPy pass in the same run.

    python -m tests.benchmarks.bench_core [sections …]
    python -m tests.benchmarks.bench_core settings [sections …]    settings of two elements on every device, reclosing
                                                                   off everywhere; seconds of processor time

The plain pass draws nothing and decides nothing: for every section, scenario and kind of
fault it gathers a value below the section, multiplies by a rate and sums.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from reliability.faults.outcomes import build_outcomes
from reliability.indices.expected import expected_values
from reliability.pipeline import expect
from reliability.study import open_study
from tests.benchmarks.synthetic import synthetic_study, with_settings

KINDS, MEASURES = 4, 5
ROUNDS = 3


def plain_pass(sections: int, scenarios: int, clock=time.perf_counter) -> float:
    """Seconds of one gather, multiply and group over sections × kinds × scenarios × measures."""
    rng = np.random.default_rng(0)
    below, rate = rng.random(sections), rng.random(sections * KINDS)
    at = rng.integers(sections, size=sections * KINDS)
    begun = clock()
    for _ in range(scenarios * MEASURES):
        np.bincount(at, below[at] * rate, sections)
    return clock() - begun


def against_plain_pass_with_settings(sizes: list[int]) -> None:
    """Processor seconds, as the machine may be shared: the median of `ROUNDS`."""
    print(f"{'sections':>9}{'rows':>10}{'network s':>11}{'table s':>9}{'expected s':>12}{'both/plain':>12}"
          f"{'peak GB':>9}")
    for sections in sizes:
        plain_study = synthetic_study(sections)
        begun = time.process_time()
        study = with_settings(plain_study)
        read = time.process_time() - begun
        rounds = []
        for _ in range(ROUNDS):
            begun = time.process_time()
            table = build_outcomes(study.model, study.scenarios)
            built = time.process_time()
            expected_values(table, study.values)
            rounds.append((time.process_time() - begun, built - begun))
        both, built = sorted(rounds)[ROUNDS // 2]
        plain = plain_pass(sections, len(study.scenarios), time.process_time)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"{sections:>9}{len(table):>10}{read:>11.2f}{built:>9.2f}{both - built:>12.2f}{both / plain:>12.0f}"
              f"{peak:>9.2f}")


def main() -> None:
    if "settings" in sys.argv[1:]:
        against_plain_pass_with_settings([int(a) for a in sys.argv[1:] if a.isdigit()] or [2_000, 20_000, 200_000])
        return
    print(f"{'sections':>9}{'read s':>9}{'network+table+expected s':>27}{'plain pass s':>14}{'ratio':>8}{'peak GB':>9}")
    for sections in [int(a) for a in sys.argv[1:]] or [2_000, 20_000, 200_000]:
        study = synthetic_study(sections)
        with tempfile.TemporaryDirectory() as folder:
            study.sections.dropna(axis=1, how="all").to_csv(Path(folder) / "sections.csv", index=False)
            (Path(folder) / "study.toml").write_text('name = "synthetic"\n', encoding="utf-8")
            begun = time.perf_counter()
            open_study(folder)
            read = time.perf_counter() - begun
        begun = time.perf_counter()
        expect(study)
        spent = time.perf_counter() - begun
        plain = plain_pass(sections, len(study.scenarios))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"{sections:>9}{read:>9.2f}{spent:>27.2f}{plain:>14.4f}{spent / plain:>8.0f}{peak:>9.2f}")


if __name__ == "__main__":
    main()
