"""Times of the searches: python -m tests.benchmarks.bench_business. Figures are printed, none is asserted."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pandas as pd

from reliability.business.frontier import FRONTIER_GAP, YearlyLimits, frontier, programme
from reliability.business.limits import Limits
from reliability.business.options import Options, build_options
from reliability.business.selection import NPV, SAIDI, choose
from reliability.network.model import Model
from reliability.network.tree import build_network
from reliability.schema import columns
from reliability.schema.assumptions import defaults
from reliability.study.cost_table import default_cost_table

CAPS = {"only money": Limits(), "caps that do not bind": Limits(added_maifi_e=0.5, added_maifi_e_feeder=1.0),
        "caps that bind": Limits(added_maifi_e=0.02, added_maifi_e_feeder=0.06)}
LATERALS_PER_FEEDER = 40
MAIN_SECTIONS = 10


def fused_feeders(laterals: int, seed: int = 1) -> pd.DataFrame:
    """Sections of feeders of forty fused laterals each along a main of ten sections, a recloser half-way.

    Links and currents differ, so that fast tripping saves the fuses of some laterals and not of others.
    """
    rng = np.random.default_rng(seed)
    per = LATERALS_PER_FEEDER + MAIN_SECTIONS
    n = per * (laterals // LATERALS_PER_FEEDER)
    k, feeder = np.arange(n) % per, np.arange(n) // per
    main = k < MAIN_SECTIONS
    parent = np.where(main, np.arange(n) - 1, feeder * per + rng.integers(0, MAIN_SECTIONS, n))
    frame = pd.DataFrame({c.name: np.full(n, "" if c.kind == "text" else np.nan) for c in columns.SECTIONS})
    frame["section_id"] = [f"s{i}" for i in range(n)]
    frame["parent_id"] = np.where(k == 0, "", frame["section_id"].to_numpy()[parent])
    frame["device"] = np.select([k == 0, k == MAIN_SECTIONS // 2, main], ["breaker", "recloser", ""], "fuse")
    frame["feeder_id"] = [f"f{f}" for f in feeder]
    frame["length_km"] = rng.uniform(0.1, 2.5, n)
    frame["customers"] = rng.integers(0, 60, n).astype(float)
    frame["customers_residential"] = frame["customers"]
    frame["customers_small_ci"] = frame["customers_large_ci"] = 0.0
    frame["load_kw"] = 2.0 * frame["customers"]
    frame["phases"] = np.where(main, 3.0, rng.choice([1.0, 1.0, 2.0, 3.0], n))
    near = rng.uniform(300.0, 2500.0, n)
    frame["fault_current_source_a"] = np.where(main, 4000.0, near)
    frame["fault_current_end_a"] = np.where(main, 2500.0, near * rng.uniform(0.3, 0.9, n))
    frame["fuse_link"] = np.where(main, "", rng.choice(["25K", "40K", "65K", "100K"], n))
    return frame


def _timed(label: str, work):
    """What a piece of work gives, its processor time printed."""
    begun = time.process_time()
    result = work()
    print(f"{label:<60} {time.process_time() - begun:8.2f} s")
    return result


def _frontier(label: str, options: Options, limits: Limits) -> None:
    curve = _timed(f"  frontier, {label}", lambda: frontier(options, 30, limits))
    gaps = curve["gap"].iloc[1:]
    print(f"    {len(curve)} points, {int((gaps <= FRONTIER_GAP).sum()) + 1} of them within {FRONTIER_GAP:.1%} of the "
          f"best; the median within {gaps.median():.2g}, all within {gaps.max():.2g}.")


def main() -> None:
    """Print the times."""
    values, costs = defaults() | {"perspective": "society"}, default_cost_table()
    for laterals in (600, 5_000, 16_000):
        network = build_network(fused_feeders(laterals))
        for name, fast in (("backups as built", ()), ("or fast tripping blocked", (0,))):
            options = _timed(f"{laterals} laterals, {name}: options",
                             lambda n=network, f=fast: build_options(Model(n, values), costs, f))
            in_all = float(options.rows[options.rows["device"] != ""].groupby("lateral")["capex"].min().sum())
            for label, caps in CAPS.items():
                limits = replace(caps, budget=0.3 * in_all)
                for objective in (NPV, SAIDI):
                    choice = _timed(f"  {len(options.rows)} rows, {objective}, {label}",
                                    lambda o=options, m=limits, a=objective: choose(o, m, a))
                    print(f"    {choice.message} Gap {choice.gap}.")
                _frontier(label, options, caps)
            yearly = YearlyLimits(0.1 * in_all, 0.1 * laterals)
            table, said = _timed("  programme of 5 years",
                                 lambda o=options, c=choice.chosen, y=yearly: programme(o, c, 5, y))
            print(f"    {len(table)} rows. {said}")


if __name__ == "__main__":
    main()
