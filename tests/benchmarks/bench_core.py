"""Outcome table and expected values at growing size, as a ratio to a plain NumPy pass in the same run.

    python -m tests.benchmarks.bench_core [sections …]

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

from reliability.pipeline import expect
from reliability.study import open_study
from tests.benchmarks.synthetic import synthetic_study

KINDS, MEASURES = 4, 5


def plain_pass(sections: int, scenarios: int) -> float:
    """Seconds of one gather, multiply and group over sections × kinds × scenarios × measures."""
    rng = np.random.default_rng(0)
    below, rate = rng.random(sections), rng.random(sections * KINDS)
    at = rng.integers(sections, size=sections * KINDS)
    begun = time.perf_counter()
    for _ in range(scenarios * MEASURES):
        np.bincount(at, below[at] * rate, sections)
    return time.perf_counter() - begun


def main() -> None:
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
