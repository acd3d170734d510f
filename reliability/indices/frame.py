"""The indices of every scenario as one table, expected and simulated."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from reliability.faults.consequences import CALLOUTS
from reliability.indices.definitions import INDICES
from reliability.indices.expected import Expected, usual_indices
from reliability.indices.simulation import Simulated
from reliability.indices.spread import summaries, yearly_indices

STATISTICS = ("mean", "se", "p10", "p50", "p90")


def indices_frame(scenarios: Sequence[str], expected: Sequence[Expected],
                  simulated: Simulated | None = None) -> pd.DataFrame:
    """A row a scenario: expected INDICES and call-outs a year, then the STATISTICS of their simulated years.

    scenarios: their names. simulated: of the same scenarios; without it the
    columns of the statistics are left out. NaN where an index does not exist.
    """
    rows = []
    for name, values in zip(scenarios, expected, strict=True):
        indices = usual_indices(values)
        callouts = dict(zip(CALLOUTS, values.fault_callouts.sum(axis=0).tolist(), strict=True))
        rows.append({"scenario": name, **{index.key: indices[index.key] for index in INDICES},
                     "callouts": sum(callouts.values()), **{f"{c}_callouts": callouts[c] for c in CALLOUTS}})
    if simulated is not None and expected:
        served = float(expected[0].network.customers.sum())
        columns = {f"callouts_{c}": f"{c}_callouts" for c in CALLOUTS}
        for row, statistics in zip(rows, summaries(yearly_indices(simulated, served)), strict=True):
            row |= {f"{columns.get(key, key)}_{name}": found[name] for key, found in statistics.items()
                    for name in STATISTICS}
    return pd.DataFrame(rows)
