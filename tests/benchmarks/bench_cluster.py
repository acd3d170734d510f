"""A run in this process and on the workers of a Dask scheduler: python -m tests.benchmarks.bench_cluster [sections].

Prints seconds of each stage that workers share in, and what is sent. All on this machine: what many machines add is
the network between them.
"""

from __future__ import annotations

import pickle
import sys
import time
from collections import Counter
from contextlib import nullcontext
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import Any, ClassVar

import distributed

from reliability import cluster
from reliability.business.drivers import drivers_frame
from reliability.business.limits import Limits
from reliability.business.stability import stability
from reliability.indices.simulation import simulate
from reliability.pipeline import decide, expect, options_of, simulation_input
from reliability.tasks import HERE, Workers
from tests.benchmarks.synthetic import synthetic_study

SECTIONS, TRIALS, WORKERS = 20_000, 400, (0, 1, 2, 4)


class _Counted(cluster._Cluster):
    """Counts bytes of what is sent."""

    bytes_sent: ClassVar[Counter[str]] = Counter()

    def submit(self, fn: Any, /, *args: Any, **keywords: Any) -> Any:
        if isinstance(fn, partial):
            own = [a for a in fn.args if not isinstance(a, distributed.Future)]
            self.bytes_sent["parts"] += len(pickle.dumps(own))
        return super().submit(fn, *args, **keywords)

    def shared(self, thing: Any) -> Any:
        self.bytes_sent["once"] += len(pickle.dumps(thing))
        return super().shared(thing)


def main(sections: int = SECTIONS) -> None:
    study = synthetic_study(sections)
    study = replace(study, values=study.values | {"budget": 200_000.0})
    results = expect(study)
    decision = decide(study)
    cluster._Cluster = _Counted     # type: ignore[misc]
    print(f"{sections} sections, {TRIALS} trials; seconds")
    print(f"{'processes':12}{'simulation':>12}{'sensitivity':>13}{'searches':>10}{'MB once':>9}{'MB parts':>10}")
    for processes in WORKERS:
        _Counted.bytes_sent.clear()
        with (distributed.LocalCluster(n_workers=processes, threads_per_worker=1, dashboard_address=":0")
              if processes else nullcontext()) as made, \
                (cluster.cluster(made.scheduler_address) if made else nullcontext(HERE)) as workers:
            seconds = _stages(study, results, decision, workers)
        sent = [_Counted.bytes_sent[name] / 1e6 for name in ("once", "parts")]
        print(f"{processes or 'this one':<12}{seconds[0]:12.1f}{seconds[1]:13.1f}{seconds[2]:10.1f}"
              f"{sent[0]:9.0f}{sent[1]:10.0f}", flush=True)


def _stages(study: Any, results: Any, decision: Any, workers: Workers) -> list[float]:
    begun = [time.perf_counter()]
    simulate(simulation_input(results), seed=1, trials=TRIALS, executor=workers.executor, workers=workers.at_once)
    begun.append(time.perf_counter())
    drivers_frame(study, results.network, results.costs, workers=workers)
    begun.append(time.perf_counter())
    stability(study, options_of(study), decision.choice, Limits(budget=200_000.0), workers=workers)
    begun.append(time.perf_counter())
    return [b - a for a, b in pairwise(begun)]


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
