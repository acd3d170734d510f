"""How long an import of a state's size takes: python tests/benchmarks/bench_import.py [SEGMENTS] (see README.md)."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

A_FEEDER, A_CHAIN = 500, 6


def write_exports(folder: Path, segments: int, transformers: int, outages: int) -> None:
    """Feeders of A_FEEDER segments each, in chains of A_CHAIN, every second chain headed by a fuse; rows shuffled."""
    rng = np.random.default_rng(1)
    k = np.arange(segments)
    feeder, place = k // A_FEEDER, k % A_FEEDER
    chain = place // A_CHAIN
    head = place % A_CHAIN == 0
    above = np.where(chain == 0, 0, rng.integers(0, np.maximum(chain, 1)) * A_CHAIN + rng.integers(0, A_CHAIN,
                                                                                                   segments))
    up = np.where(head, np.where(chain == 0, -1, feeder * A_FEEDER + above), k - 1)
    up = np.where((up < feeder * A_FEEDER) | (place == 0), -1, up)
    start = np.where(up >= 0, np.char.add("N", up.astype(str)), np.char.add("BUS", feeder.astype(str)))
    end = np.char.add("N", k.astype(str))
    depth = 1.0 / (6000.0 / (1 + 0.01 * place))
    turned = rng.random(segments) < 0.5
    near, far = 1 / depth, 1 / (depth + 1e-6)
    frame = pd.DataFrame({
        "segment_id": np.char.add("S", k.astype(str)), "from_node": np.where(turned, end, start),
        "to_node": np.where(turned, start, end), "length_ft": rng.uniform(100, 400, segments).round(1), "phases": 1,
        "fault_current_from_a": np.where(turned, far, near).round(1),
        "fault_current_to_a": np.where(turned, near, far).round(1)})
    frame.iloc[rng.permutation(segments)].to_csv(folder / "segments.csv", index=False)
    heads = np.flatnonzero((place == 0) | (head & (chain % 2 == 1)))
    pd.DataFrame({"device_id": np.char.add("D", heads.astype(str)), "segment_id": np.char.add("S", heads.astype(str)),
                  "device": np.where(place[heads] == 0, "breaker", "fuse")}).to_csv(folder / "devices.csv", index=False)
    at = rng.integers(0, segments, transformers)
    pd.DataFrame({"transformer_id": np.char.add("T", np.arange(transformers).astype(str)),
                  "node_id": np.char.add("N", at.astype(str)), "customers": rng.integers(1, 9, transformers),
                  "load_kw": rng.uniform(1, 30, transformers).round(2), "connected_kva": 25}).to_csv(
        folder / "customers.csv", index=False)
    pd.DataFrame({"node_id": np.char.add("BUS", np.unique(feeder).astype(str)),
                  "feeder_id": np.char.add("F", np.unique(feeder).astype(str))}).to_csv(folder / "sources.csv",
                                                                                       index=False)
    began = np.datetime64("2020-01-01") + rng.integers(0, 4 * 365 * 86400, outages).astype("timedelta64[s]")
    ended = began + rng.integers(60, 20000, outages).astype("timedelta64[s]")
    pd.DataFrame({"event_id": np.char.add("E", np.arange(outages).astype(str)),
                  "device_id": np.char.add("D", rng.choice(heads, outages).astype(str)),
                  "started": np.datetime_as_string(began, unit="s"), "restored": np.datetime_as_string(ended, unit="s"),
                  "customers": rng.integers(1, 80, outages), "cause": rng.choice(["tree", "animal", "wind"], outages)}
                 ).to_csv(folder / "outages.csv", index=False)


def main() -> None:
    segments = int(sys.argv[1]) if len(sys.argv) > 1 else 500_000
    with tempfile.TemporaryDirectory() as folder:
        exports = Path(folder) / "exports"
        exports.mkdir()
        write_exports(exports, segments, segments * 2 // 5, segments)
        began = time.perf_counter()
        subprocess.run([sys.executable, "-m", "reliability", "import", str(exports), "--out",
                        str(Path(folder) / "study")],
                       check=True)
        seconds = time.perf_counter() - began
        memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20
        print(f"{segments} segments: {seconds:.1f} s, {memory:.2f} GB")


if __name__ == "__main__":
    main()
