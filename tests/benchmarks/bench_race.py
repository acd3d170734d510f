"""Races of all pairs of twelve links and growing numbers of settings, as many as 20 000 sections may have.

    python -m tests.benchmarks.bench_race [settings …]
"""

from __future__ import annotations

import sys
import time

import numpy as np
import pandas as pd

from reliability.network.device_settings import DeviceSettings, device_settings
from reliability.network.link_curves import link_curves
from reliability.network.race import run_races

LINKS = ("10K", "15K", "25K", "40K", "65K", "80K", "100K", "140K", "15T", "25T", "40T", "65T")
FAST = ("definite", "ieee_moderately_inverse", "ieee_very_inverse", "ieee_extremely_inverse", "iec_very_inverse")
DELAYED = ("ieee_very_inverse", "ieee_extremely_inverse", "iec_standard_inverse", "iec_extremely_inverse")


def some_settings(devices: int, seed: int = 0) -> DeviceSettings:
    """Devices with all four rows, no two alike."""
    rng = np.random.default_rng(seed)
    rows = [(f"r{d}", element, operation, rng.uniform(low, 4.0 * low), rng.choice(curves), rng.uniform(*dial), 0.05)
            for d in range(devices) for element, low in (("phase", 200.0), ("ground", 70.0))
            for operation, curves, dial in (("fast", FAST, (0.03, 0.2)), ("delayed", DELAYED, (0.3, 3.0)))]
    head = ("section_id", "element", "operation", "pickup_a", "curve", "time_dial", "added_time_s")
    return device_settings(pd.DataFrame(rows, columns=head), {})


def main() -> None:
    print(f"{'settings':>9}{'pairs':>8}{'races s':>9}{'of processor':>13}{'breakpoints':>12}{'1e6 lookups s':>15}")
    links, rng = link_curves(LINKS), np.random.default_rng(1)
    for devices in [int(a) for a in sys.argv[1:]] or [20, 200, 2_000]:
        settings = some_settings(devices)
        link, device = map(np.ravel, np.meshgrid(np.arange(len(links)), np.arange(len(settings))))
        begun, used = time.perf_counter(), time.process_time()
        race = run_races(links, settings, link, device, np.full(len(link), np.nan), 0.75, 0.013)
        spent, used = time.perf_counter() - begun, time.process_time() - used
        pair, kind, part = rng.integers(len(link), size=10**6), rng.integers(2, size=10**6), rng.integers(2, size=10**6)
        current = np.exp(rng.uniform(np.log(50.0), np.log(10_000.0), 10**6))
        begun = time.perf_counter()
        race.outcome_at(pair, kind, part, current)
        looked_up = time.perf_counter() - begun
        print(f"{devices:>9}{len(link):>8}{spent:>9.2f}{used:>13.2f}{len(race.breakpoints()[1]):>12}{looked_up:>15.2f}")


if __name__ == "__main__":
    main()
