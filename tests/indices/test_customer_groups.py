"""Changes by customer group: together they are those of the system."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.faults.states import orders_of_shares
from reliability.indices.customer_groups import all_customers, customer_groups
from reliability.indices.expected import usual_indices
from reliability.pipeline import expect
from tests.networks import random_study


@pytest.mark.parametrize("seed", range(4))
def test_the_changes_of_all_groups_are_those_of_the_indices(seed):
    results = expect(random_study(np.random.default_rng(seed)))
    (before, *others), protections = results.expected, results.table.protections
    built = usual_indices(before)
    for after, protection in zip(others, protections[1:], strict=True):
        row, now = all_customers(customer_groups(before, after, protections[0], protection)), usual_indices(after)
        for column, index in (("sustained", "saifi"), ("minutes", "saidi_min"), ("momentary", "maifi_e")):
            assert row[column] == pytest.approx(now[index] - built[index], abs=1e-9), column


@pytest.mark.parametrize("stated", [False, True])
def test_a_share_that_one_device_states_may_lie_before_or_after_the_studys(stated):
    study = random_study(np.random.default_rng(2))
    if stated:
        first = np.where(np.arange(len(study.sections)) == 0, 0.3, np.nan)
        study = study.with_sections(study.sections.assign(reclosing_off_share=first))
    assert orders_of_shares(expect(study).table.protections) is stated
