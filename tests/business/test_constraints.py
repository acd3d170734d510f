"""Constraints that a study states for a choice."""

from __future__ import annotations

from dataclasses import replace

from reliability.business.constraints import limits_of
from tests.business.cases import feeders_of_laterals


def test_forced_laterals_become_limits():
    study = feeders_of_laterals(4, 1, budget=5000.0)
    study = replace(study, extra={"laterals": {"t0": "in", "t2": "out"}})
    limits = limits_of(study)
    assert (limits.budget, limits.forced_in, limits.forced_out) == (5000.0, ("t0",), ("t2",))
