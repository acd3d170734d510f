"""Features of parts of a table put together."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import sparse

from reliability.business.features import joined, prices_of

PRICES = prices_of(1)
SCENARIOS, UNITS, FACTORS = 2, 5, 4


@pytest.mark.parametrize("units", [
    pytest.param([[0, 1, 2], [3, 4]], id="units one behind the other"),
    pytest.param([[0, 2, 3], [1, 4]], id="units of one part between those of another"),
    pytest.param([[0, 1, 2], [1, 2, 4]], id="units cut by the parts"),
    pytest.param([[0, 1, 2, 3, 4], []], id="a part without any"),
])
def test_sums_of_parts_add_up_wherever_their_units_and_factors_stand(units):
    rng, of_parts = np.random.default_rng(1), [np.array([2, 0]), np.array([1, 3, 2])]
    wanted, parts = np.zeros((SCENARIOS, UNITS, FACTORS, PRICES)), []
    for rows, own in zip(units, of_parts, strict=True):
        part = []
        for s in range(SCENARIOS):
            shape = len(rows), len(own), PRICES
            dense = rng.integers(1, 9, shape) * (rng.random(shape) < 0.3)
            np.add.at(wanted[s], np.ix_(rows, own), dense)
            part.append(sparse.csr_array(dense.reshape(len(rows), len(own) * PRICES).astype(float)))
        parts.append(part)
    matrix, factor, price = joined(parts, [np.array(rows, dtype=int) for rows in units], UNITS, of_parts, FACTORS, 1)
    found = np.zeros_like(wanted).reshape(SCENARIOS * UNITS, FACTORS, PRICES)
    found[:, factor, price] = matrix.toarray()
    np.testing.assert_array_equal(found.reshape(wanted.shape), wanted)
    assert matrix.has_canonical_format
