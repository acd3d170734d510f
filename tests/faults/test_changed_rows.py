"""Rows that a scenario changes: in all others everything that the first scenario does to customers and crews stays."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from reliability.faults.alike import changed_rows
from reliability.faults.consequences import Shares, consequences
from reliability.faults.outcomes import build_outcomes
from tests.networks import random_study

SEEDS = range(25)
BY_SCENARIO = ("off", "opened", "openings", "recloser", "hears_ground")


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


def in_order(table, scenarios: tuple[int, ...]):
    """The table of some of its scenarios (positions), in copies of their own."""
    return replace(table, **{name: getattr(table, name)[list(scenarios)].copy() for name in BY_SCENARIO},
                   **{name: tuple(getattr(table, name)[s] for s in scenarios) for name in ("scenarios", "protections")})


def moved(table, name: str, rng: np.random.Generator):
    """A table whose third scenario is its first but for one thing that consequences go by."""
    same = in_order(table, (0, 1, 0))
    protections = list(same.protections)
    if name in BY_SCENARIO:
        column = getattr(same, name)
        some = rng.random(column.shape[1]) < 0.3
        anywhere = rng.integers(0, len(table.network), column.shape[1])
        new = ~column[2] if column.dtype == bool else column[2] + 1 if name == "openings" else anywhere
        column[2] = np.where(some, new, column[2])
    else:
        before = getattr(protections[2], name)
        some, others = rng.random(len(before)) < 0.3, np.unique(np.concatenate([p.device for p in table.protections]))
        new = ~before if before.dtype == bool else rng.choice(others, len(before))
        protections[2] = replace(protections[2], **{name: np.where(some, new, before)})
    return replace(same, protections=tuple(protections))


@pytest.mark.parametrize("name", ["off", "opened", "openings", "recloser", "hears_ground", "device", "opens_all",
                                  "locks_out_all"])
def test_each_thing_that_consequences_go_by_is_looked_at_by_itself(name):
    changed = 0
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        study = random_study(rng, 30, True)
        table = moved(build_outcomes(study.model, study.scenarios), name, rng)
        marked, first = changed_rows(table, 2), figures(consequences(table, 0, study.values))
        differs = np.zeros(len(table), dtype=bool)
        for field, value in figures(consequences(table, 2, study.values)).items():
            differs |= ~np.isclose(value, first[field], rtol=0.0, atol=0.0, equal_nan=True)
        assert not (differs & ~marked).any()
        assert not marked.all()
        changed += int(differs.sum())
        assert not changed_rows(in_order(table, (0, 2, 0)), 2).any()    # whatever another scenario does
    assert changed > 50
