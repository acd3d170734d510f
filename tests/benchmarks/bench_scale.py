"""Every stage of a run at growing size: seconds, and peak memory so far, one process a size.

    python -m tests.benchmarks.bench_scale [sections …]

Prints the table that stands in README.md beside this file. Outage records: two a section.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from reliability.business.selection import choose
from reliability.history import read_history
from reliability.indices.expected import expected_values, system_indices
from reliability.indices.simulation import simulate
from reliability.pipeline import expect, limits_of, options_of, simulation_input
from reliability.report.output import write_results
from reliability.study import open_study
from tests.benchmarks.synthetic import synthetic_study

SIZES = (2_000, 20_000, 200_000, 500_000)
TRIAL_YEARS = 2_000
RECORDS_PER_SECTION = 2


def write_study(folder: Path, sections: int) -> None:
    """The synthetic network with records that name a section each."""
    study, rng = synthetic_study(sections), np.random.default_rng(0)
    study.sections.dropna(axis=1, how="all").to_csv(folder / "sections.csv", index=False)
    (folder / "study.toml").write_text(
        'name = "synthetic"\n[[scenarios]]\nname = "Sectionalizers"\ndevice = "sectionalizer"\ncounts = 2\n'
        '[[scenarios]]\nname = "Lateral reclosers"\ndevice = "lateral_recloser"\n', encoding="utf-8")
    rows = RECORDS_PER_SECTION * sections
    started = pd.Timestamp("2020-01-01") + pd.to_timedelta(rng.integers(0, 5 * 365 * 86_400, rows), unit="s")
    at = rng.integers(sections, size=rows)
    pd.DataFrame({
        "event_id": np.arange(rows), "section_id": study.sections["section_id"].to_numpy()[at],
        "started": started.strftime("%Y-%m-%dT%H:%M:%S"),
        "restored": (started + pd.to_timedelta(rng.integers(60, 36_000, rows), unit="s")).strftime("%Y-%m-%dT%H:%M:%S"),
        "customers": rng.integers(1, 20, rows)}).to_csv(folder / "outages.csv", index=False)


def stages(sections: int) -> dict[str, tuple[float, float]]:
    """(seconds, peak GB) by stage."""
    found = {}

    def timed(name: str, work):
        begun = time.perf_counter()
        result = work()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        found[name] = (round(time.perf_counter() - begun, 2), round(peak, 2))
        return result

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_study(folder, sections)
        study = timed("reading and checking", lambda: open_study(folder))
        results = timed("network, outcome table, expected, money, checks", lambda: expect(study))
        timed("expected values again", lambda: [
            system_indices(e, 0.2) for e in expected_values(results.table, study.values)])
        years = int(study.values["horizon_years"])
        simulated = timed(f"simulation, {TRIAL_YEARS} trial-years",
                          lambda: simulate(simulation_input(results), seed=1, trials=TRIAL_YEARS // years))
        timed("outage records", lambda: read_history(study))
        options = timed("options of every lateral", lambda: options_of(results.study))
        timed("choice", lambda: choose(options, limits_of(study)))
        timed("writing every table and the report",
              lambda: write_results(replace(results, simulated=simulated), folder / "out"))
    return found


def main() -> None:
    arguments = [int(a) for a in sys.argv[1:] if a.isdigit()]
    if "--one" in sys.argv:
        print(json.dumps(stages(arguments[0])))
        return
    sizes = arguments or SIZES
    columns = [json.loads(subprocess.run([sys.executable, "-m", "tests.benchmarks.bench_scale", "--one", str(n)],
                                         capture_output=True, text=True, check=True).stdout) for n in sizes]
    print("| stage | " + " | ".join(f"{n:,} sections".replace(",", " ") for n in sizes) + " |")
    print("|---|" + "---|" * len(sizes))
    for stage in columns[0]:
        print(f"| {stage} | " + " | ".join(f"{c[stage][0]:g} s, {c[stage][1]:g} GB" for c in columns) + " |")


if __name__ == "__main__":
    main()
