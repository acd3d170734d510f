"""Time to check 20 000 laterals, beside one plain NumPy pass over as many sections.

python -m tests.benchmarks.bench_application [laterals]
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from reliability.network.application import application_frame, check_laterals, evidence_frame
from reliability.network.model import Model
from reliability.network.tree import build_network
from reliability.schema import columns
from reliability.schema.assumptions import defaults
from reliability.schema.scenarios import Scenario

LATERALS_A_FEEDER = 50


def network_of(laterals: int, rng: np.random.Generator):
    """Feeders of fifty laterals, each of two sections and a fused sub-lateral."""
    feeders = -(-laterals // LATERALS_A_FEEDER)
    n = feeders + 3 * laterals
    kind = np.concatenate([np.zeros(feeders), np.ones(laterals), np.full(laterals, 2), np.full(laterals, 3)])
    k = np.arange(laterals)
    parents = [""] * feeders + [f"F{i // LATERALS_A_FEEDER}" for i in k] + [f"{c}{i}" for c in "LT" for i in k]
    ids = [f"F{i}" for i in range(feeders)] + [f"{c}{i}" for c in "LTS" for i in k]
    source = rng.uniform(500.0, 6000.0, n)
    known = {
        "length_km": rng.uniform(0.1, 3.0, n), "customers": rng.integers(0, 40, n), "phases": np.where(kind == 0, 3, 1),
        "peak_load_a": np.where(kind == 1, rng.uniform(1.0, 180.0, n), np.nan), "fault_current_source_a": source,
        "fault_current_end_a": source * rng.uniform(0.1, 1.0, n), "generation_kw": np.where(kind == 1, 0.0, np.nan),
        "capacitor_kvar": np.where(kind == 1, 0.0, np.nan), "minimum_trip_a": np.where(kind == 0, 400.0, np.nan),
        "dead_time_s": np.where(kind == 0, 0.5, np.nan),
    }
    frame = pd.DataFrame({c.name: known.get(c.name, np.nan) for c in columns.SECTIONS if c.kind != "text"} | {
        "section_id": ids, "parent_id": parents, "feeder_id": "all",
        "device": np.array(["breaker", "fuse", "", "fuse"], dtype=object)[kind.astype(int)],
        "fuse_link": np.where(np.isin(kind, (1, 3)), rng.choice(["40K", "65K", "30T", ""], n), "")})
    return build_network(frame)


def plain_pass(network) -> np.ndarray:
    """One of everything that the checks cannot do without: compare, gather, sum down the tree."""
    a, b = network.column["fault_current_source_a"], network.column["fault_current_end_a"]
    share = np.clip((1.0 / 80.0 - 1.0 / a) / (1.0 / b - 1.0 / a), 0.0, 1.0)
    down = np.cumsum(share * network.column["length_km"])
    return np.where(down[network.parent] > a, down, b)


def best_of(work: Callable[[], object], times: int = 5) -> float:
    """Shortest time of a few, s."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def main(laterals: int = 20_000) -> None:
    """Print the times and their ratio to the plain pass."""
    network, values = network_of(laterals, np.random.default_rng(1)), defaults()
    scenario = Scenario("All", None, "sectionalizer")
    checks = check_laterals(Model(network, values), scenario)
    plain = best_of(lambda: plain_pass(network))
    print(f"{laterals} laterals, {len(network)} sections; plain NumPy pass {1e3 * plain:.2f} ms")
    for name, work in (("check_laterals", lambda: check_laterals(Model(network, values), scenario)),
                       ("application_frame", lambda: application_frame(checks)),
                       ("evidence_frame", lambda: evidence_frame(checks))):
        took = best_of(work)
        print(f"{name:18s} {took:6.3f} s, {took / plain:6.0f} × the plain pass")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
