"""Expected values by matrices made once are those of the table at any rates, times and prices."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from reliability.business.break_even import break_even, table_of_both_states
from reliability.faults.outcomes import build_outcomes
from reliability.indices.expected import expected_values
from reliability.indices.reweighed import reweighed, reweighed_hours
from reliability.network.model import Model
from tests.networks import random_study

MOVED = {"temporary_fraction": 0.41, "repair_hours": 5.5, "switching_hours": 0.4, "refuse_hours": 2.2,
         "patrol_hours": 1.9, "fuse_failure": 0.03, "sectionalizer_failure": 0.04}


def _study(seed):
    return random_study(np.random.default_rng(seed), full=True, temporary_fraction=0.6, fuse_failure=0.02,
                        sectionalizer_failure=0.01, reclosing_off_share=0.1, wrong_link_share=0.05)


@pytest.mark.parametrize("seed", range(4))
def test_moved_values_give_what_the_table_gives(seed):
    study = _study(seed)
    table = build_outcomes(study.model, study.scenarios)
    moved = {**study.values, **MOVED}
    faster = study.network.with_columns(
        {name: study.network.column[name] * 1.7 for name in ("line_fault_rate_per_km", "equipment_fault_rate")})
    found = reweighed(table, study.values).expected(faster, moved)
    wanted = expected_values(replace(table, network=faster), moved)
    for ours, theirs in zip(found, wanted, strict=True):
        for field in fields(theirs)[1:]:
            np.testing.assert_allclose(getattr(ours, field.name), getattr(theirs, field.name), rtol=1e-10, atol=1e-13)


@pytest.mark.parametrize("seed", range(2))
def test_break_even_shares_too(seed):
    study = _study(seed)
    both = reweighed_hours(table_of_both_states(study.model, study.scenarios), study.values)
    moved = Model(study.network, {**study.values, **MOVED})
    ours, theirs = break_even(moved, study.scenarios, both), break_even(moved, study.scenarios)
    for field in fields(theirs):
        np.testing.assert_allclose(getattr(ours, field.name), getattr(theirs, field.name), rtol=1e-8, atol=1e-12)
