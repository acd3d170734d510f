"""Times reading, checking and turning outage records into indices: python tests/benchmarks/bench_history.py [rows]

Goal: 500 000 rows in 6 s, reading included.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from reliability.history.history import read_history
from reliability.history.major_events import major_events
from reliability.history.observed import daily_indices, feeder_indices, tally, yearly_indices
from reliability.history.outages import read_records
from reliability.network.tree import build_network
from reliability.report.history_output import write_history
from reliability.schema.assumptions import defaults
from reliability.study.study import Study


def sections(feeders: int, laterals: int) -> pd.DataFrame:
    """Feeders of one main with `laterals` fused laterals each."""
    mains = [{"section_id": f"F{f}", "parent_id": "", "device": "breaker", "feeder_id": f"F{f}", "customers": 200.0,
              "length_km": 8.0} for f in range(feeders)]
    taps = [{"section_id": f"F{f}-L{i}", "parent_id": f"F{f}", "device": "fuse", "feeder_id": f"F{f}",
             "customers": 40.0, "length_km": 1.5} for f in range(feeders) for i in range(laterals)]
    return pd.DataFrame(mains + taps)


def outages(network: pd.DataFrame, rows: int, rng: np.random.Generator) -> pd.DataFrame:
    """Records over six years, a fifth of them momentary, some events of two steps."""
    start = np.datetime64("2019-01-01", "s") + np.sort(rng.integers(0, 6 * 365 * 86400, rows))
    seconds = np.where(rng.random(rows) < 0.2, rng.integers(1, 300, rows),
                       301 + rng.lognormal(8.6, 0.8, rows).astype(int))
    return pd.DataFrame({
        "event_id": [f"E{i}" for i in np.arange(rows) - (rng.random(rows) < 0.1)],
        "section_id": network["section_id"].to_numpy()[rng.integers(0, len(network), rows)],
        "started": np.datetime_as_string(start), "restored": np.datetime_as_string(start + seconds),
        "customers": rng.integers(1, 40, rows), "cause": rng.choice(["tree", "animal", "wind", ""], rows),
        "fault_kind": rng.choice(["temporary", "permanent", ""], rows),
        "planned": rng.choice(["false", "true", ""], rows, p=[0.8, 0.05, 0.15])})


def main(rows: int) -> None:
    """Print the time of each step."""
    network = sections(100, 49)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "outages.csv"
        outages(network, rows, np.random.default_rng(1)).to_csv(path, index=False)
        began = time.perf_counter()
        text = pd.read_csv(path, dtype=str, keep_default_na=False)
        study = Study("benchmark", "USD", network, build_network(network), defaults(), outages=text)
        read = time.perf_counter()
        records = read_records(study)
        checked = time.perf_counter()
        sums = tally(records)
        yearly_indices(sums, records)
        feeder_indices(sums, records)
        major_events(daily_indices(sums, records), records.years, records.partial, records.settings)
        done = time.perf_counter()
        print(f"{rows} rows: read {read - began:.2f} s, checked {checked - read:.2f} s, "
              f"yearly, feeder and daily indices {done - checked:.2f} s, together {done - began:.2f} s")
        read_history(study)
        everything = time.perf_counter()
        write_history(study, Path(folder) / "out")
        print(f"whole history {everything - done:.2f} s, history and files {time.perf_counter() - everything:.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500_000)
