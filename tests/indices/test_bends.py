"""What events add beyond a straight line, against every event by itself."""

from __future__ import annotations

import numpy as np

from reliability.faults.times import SWITCHING_OFF, Term
from reliability.indices.bends import Bend, bent_columns, sums_beyond

TERM = Term(SWITCHING_OFF)
HOURS = np.array([0.0, 2.0, 0.0, 5.0, 3.0, 0.0])
YEARS = 4


def bend(at: float, above: bool, weight: list[float]) -> Bend:
    """A bend of the rows with a weight; the others have no hours."""
    weights = np.array(weight)
    return Bend(TERM, False, np.where(weights > 0.0, HOURS, 0.0), at, above, weights)


def test_bends_in_different_rows_count_each_in_its_own():
    bends = {("a", 0): [bend(4.0, True, [0, 0, 0, 1.5, 0, 0]), bend(1.0, False, [0, 0.5, 0, 0, 0, 0])],
             ("a", 1): [bend(6.0, True, [0, 2.0, 0, 0, 1.0, 0])], ("b", 0): [bend(4.0, True, [0, 1.0, 0, 0, 0, 0])]}
    rng = np.random.default_rng(1)
    events = np.array([3, 20, 2, 20, 20, 1])
    row = np.repeat(np.arange(len(events)), events)
    severity, year = rng.lognormal(0.0, 1.0, len(row)), rng.integers(0, YEARS, len(row))
    bent = bent_columns(bends)
    found = sums_beyond(bent, severity, np.ones(1), year, np.append(0, np.cumsum(events)), YEARS, {})

    for key, column in zip(bent.keys, bent.column, strict=True):
        wanted = np.zeros(YEARS)
        for r, s, y in zip(row, severity, year, strict=True):
            wanted[y] += sum(b.weight[r] * max((s * HOURS[r] - b.at) * (1 if b.above else -1), 0.0) for b in bends[key])
        np.testing.assert_allclose(found[:, column], wanted, rtol=1e-12)
        assert wanted.any()
