"""Who is out for a fault on a lateral: by hand on one feeder, and shares that add up on random networks."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.business.break_even import table_of_both_states
from reliability.faults.what_trips import what_trips
from reliability.pipeline import expect
from reliability.schema.scenarios import Scenario
from reliability.ui.trips_panel import in_words
from tests.business.cases import feeders_of_laterals
from tests.networks import random_study

SCENARIOS = (Scenario("S", None, "sectionalizer", 2),)


def test_with_reclosing_off_a_sectionalizer_leaves_the_whole_feeder_out():
    study = expect(feeders_of_laterals(1, 3, SCENARIOS)).study.with_assumptions(
        fuse_failure=0.0, sectionalizer_failure=0.0, wrong_link_share=0.0, fast_operations=0)
    network = study.network
    head = int(network.candidates[0])
    both = table_of_both_states(study.model, study.scenarios)
    found = what_trips(both, study.values, np.arange(len(network)) == head)
    opened = {(off, permanent, s): part["opened"].tolist() for (off, permanent, s), part in
              found.groupby(["off", "permanent", "scenario"])}
    backup = int(network.protective_above[head])
    assert opened[False, True, 0] == opened[False, True, 1] == [head]      # the fuse, and the sectionalizer
    assert opened[False, False, 1][0] == -1                                 # a temporary fault clears
    assert opened[True, True, 0] == opened[True, False, 0] == [head]       # the fuse clears before a delayed trip
    assert opened[True, True, 1] == opened[True, False, 1] == [backup]     # nothing counts a single opening
    words = in_words(found, network, [p.device for p in both.protections], ["As built", "S"])
    assert words["reclosing"].tolist() == ["on", "on", "off", "off"]
    assert words["S"].iloc[3].startswith("breaker ")
    assert f"{int(network.customers_below[backup])} customers out" in words["S"].iloc[3].replace("\u202f", "")


@pytest.mark.parametrize("seed", range(3))
def test_shares_of_a_kind_add_up(seed):
    study = expect(random_study(np.random.default_rng(seed), 20, full=True)).study
    network = study.network
    both = table_of_both_states(study.model, study.scenarios)
    found = what_trips(both, study.values, network.unit == network.candidates[0])
    sums = found.groupby(["off", "permanent", "scenario"])["share"].sum()
    assert sums.to_numpy() == pytest.approx(1.0)
    assert (found["customers"] <= network.customers.sum() + 1e-9).all()
    assert (found.loc[found["opened"] < 0, "customers"] == 0.0).all()
