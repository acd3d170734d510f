"""Rows that a scenario changes: in all others everything that the first scenario does to customers and crews stays."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from reliability.faults.alike import changed_rows
from reliability.faults.consequences import Shares, consequences
from reliability.faults.outcomes import build_outcomes
from tests.networks import random_study

SEEDS = range(25)


def figures(effect) -> dict[str, np.ndarray]:
    """All that is said of each row, an array a field."""
    found: dict[str, np.ndarray] = {}
    for field in fields(effect):
        value = getattr(effect, field.name)
        found |= {f"{field.name}.{name}": of for name, of in figures(value).items()} if isinstance(
            value, Shares) else {field.name: value}
    return found


@pytest.mark.parametrize("full", [False, True])
def test_what_is_not_changed_is_as_under_the_first_scenario(full):
    seen = {"same": 0, "changed": 0, "marked": 0}
    for seed in SEEDS:
        study = random_study(np.random.default_rng(seed), 30, full)
        table = build_outcomes(study.model, study.scenarios)
        first = figures(consequences(table, 0, study.values))
        assert not changed_rows(table, 0).any()
        for scenario in range(1, len(study.scenarios)):
            marked = changed_rows(table, scenario)
            assert marked.shape == (len(table),)
            differs = np.zeros(len(table), dtype=bool)
            for name, value in figures(consequences(table, scenario, study.values)).items():
                differs |= ~np.isclose(value, first[name], rtol=0.0, atol=0.0, equal_nan=True)
            assert not (differs & ~marked).any()
            seen["same"] += int((~marked).sum())
            seen["changed"] += int(differs.sum())
            seen["marked"] += int(marked.sum())
    assert min(seen.values()) > 1000
    assert seen["changed"] > 0.8 * seen["marked"]       # else too much would be looked at
