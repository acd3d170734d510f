"""Constraints that a study states for a choice."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reliability.business.constraints import check_constraints, limits_of
from reliability.network.tree import build_network
from reliability.schema.problems import StudyError
from tests.business.cases import feeders_of_laterals


def test_forced_laterals_become_limits():
    study = feeders_of_laterals(4, 1, budget=5000.0)
    study = replace(study, extra={"laterals": {"t0": "in", "t2": "out"}})
    check_constraints(study, build_network(study.sections))
    limits = limits_of(study)
    assert (limits.budget, limits.forced_in, limits.forced_out) == (5000.0, ("t0",), ("t2",))


def test_every_wrong_constraint_is_told():
    study = feeders_of_laterals(4, 1)
    study = replace(study, extra={"laterals": {"t0": "in", "t1": "maybe", "a1": "out", "b9": "perhaps"}})
    with pytest.raises(StudyError) as told:
        check_constraints(study, build_network(study.sections))
    assert [(p.column, p.value) for p in told.value.problems] == [
        ("choice.laterals.t1", "maybe"), ("choice.laterals.a1", "a1"), ("choice.laterals.b9", "perhaps"),
        ("choice.laterals.b9", "b9")]
