"""What waits for sections' own hours, against a sum over its entries one by one."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.business.own_hours import OwnHours

UNITS, FACTORS, ENTRIES, DRAWS = 3, 4, 80, 7


def value_of(hours: np.ndarray) -> np.ndarray:
    """Two quantities, of which one grows faster than the hours."""
    return np.column_stack([hours, hours ** 1.5])


@pytest.mark.parametrize("distinct", [2, 40], ids=["few hours", "many hours"])
@pytest.mark.parametrize("draws", [1, DRAWS])
def test_sums_are_those_of_every_entry_by_itself(distinct, draws):
    """By places where there are few distinct hours, by pairs of unit and factor where there are many."""
    rng = np.random.default_rng(distinct)
    stated = np.sort(rng.uniform(0.5, 8.0, distinct))
    unit, factor, hours = (rng.integers(0, n, ENTRIES) for n in (UNITS, FACTORS, distinct))
    own = OwnHours(unit, factor, rng.random(ENTRIES) < 0.7, hours, rng.random((ENTRIES, 2)), stated)
    assert (len(own._places.unit) < len(own._pairs.unit)) == (distinct == 2)
    factors, worth, walk = rng.random((draws, FACTORS)), rng.random((draws, 2)), rng.uniform(0.0, 9.0, draws)

    found = own.waited(UNITS, factors, worth, walk, value_of, ())
    wanted = np.zeros((draws, UNITS))
    for k in range(draws):
        for m in range(ENTRIES):
            waited = max(stated[hours[m]], walk[k]) if own.walked[m] else stated[hours[m]]
            each = own.amount[m] * worth[k] * value_of(np.array([waited]))[0]
            wanted[k, unit[m]] += factors[k, factor[m]] * each.sum()
    np.testing.assert_allclose(found, wanted, rtol=1e-12)
