"""A whole study from input to results: what is settled once holds everywhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reliability import forked
from reliability.business.cashflow import business_summary
from reliability.business.drivers import drivers_frame
from reliability.indices.simulation import simulate
from reliability.pipeline import analyse, decide, expect, plan, simulation_input
from reliability.report.output import write_results
from reliability.schema.assumption_types import Range
from reliability.schema.scenarios import Scenario
from tests.network.laterals import BACKUP, LATERAL, VALUES
from tests.networks import study_of

# Rating 50 A up to a margin of 1.25, then a larger one that acts from more than 0.8 times the minimum trip of
# "low", 110 A: from there on "near" fails. "far" never does.
LAWS = {"load_margin": Range(1.0, 1.2, 2.0), "minimum_trip_share": Range(0.5, 0.8, 1.0),
        "sectionalizer_cost": Range(1000.0, 2000.0, 4000.0)}


def _study(scenario: Scenario):
    rows = [BACKUP | {"customers": 200.0}, BACKUP | {"section_id": "low", "minimum_trip_a": 110.0, "customers": 200.0},
            LATERAL | {"section_id": "far", "customers": 40.0},
            LATERAL | {"section_id": "near", "parent_id": "low", "customers": 40.0}]
    study = study_of(rows, (scenario,), **VALUES | {"load_margin": 1.25, "horizon_years": 3,
                                                                      "incentive_per_saidi_minute": 50.0})
    means = {key: law.mean for key, law in LAWS.items()} | {"minimum_trip_share": 0.8, "load_margin": 1.25}
    return replace(study, stated_ranges=LAWS, values={**study.values, **means})


@pytest.fixture(scope="module")
def asked_and_named():
    """Results of applicable_only, and of the same laterals named outright."""
    asked = expect(_study(Scenario("S", None, "sectionalizer", 2, applicable_only=True)))
    return asked, expect(_study(Scenario("S", ("far", "near"), "sectionalizer", 2)))


def test_the_laterals_of_a_scenario_are_settled_at_the_means(asked_and_named):
    asked, named = asked_and_named
    assert asked.study.scenarios == named.study.scenarios
    assert business_summary(asked.business) == business_summary(named.business)
    moved = {**asked.study.values, "load_margin": 2.0}
    assert expect(replace(_study(Scenario("S", None, "sectionalizer", 2, applicable_only=True)),
                          values=moved)).study.scenarios[1].laterals == ("far",)


def test_draws_do_not_settle_them_anew(asked_and_named):
    """Neither in the simulation nor in what moves the answer; the device bought is the same in every draw."""
    asked, named = asked_and_named
    totals = [simulate(simulation_input(r), seed=3, trials=30).totals for r in (asked, named)]
    for name, found in totals[0].items():
        assert np.array_equal(found, totals[1][name]), name
    assert (totals[0]["sectionalizer_operations"][1] > 0).any()
    frames = [drivers_frame(r.study, r.network, r.costs) for r in (asked, named)]
    pd.testing.assert_frame_equal(*frames)
    swing = frames[0].set_index("assumption")["swing"]
    assert swing["minimum_trip_share"] == 0.0
    assert swing["load_margin"] < LATERAL["phases"] * asked.study.values["sectionalizer_cost"]


def test_a_run_s_choice_changes_fast_tripping_only_where_the_study_lets_it():
    """Fast trips are blocked as built and would save every fuse; a device is beyond the budget, a setting is not."""
    study = _study(Scenario("S", ("far",), "sectionalizer"))
    sections = study.sections.assign(fast_operations=study.sections["fast_operations"].where(
        study.sections["device"] != "recloser", 0.0))
    values = study.values | {"objective": "saidi", "budget": 2000.0, "sectionalizer_cost": 1e6,
                             "lateral_recloser_cost": 1e6}
    kept, changed = (decide(replace(study.with_sections(sections), stated_ranges={}, values=values | {
        "backup_settings": word})).choice.totals for word in ("as_built", "may_change"))
    assert (kept["backup_settings_changed"], kept["capex"]) == (0, 0)
    assert (changed["backup_settings_changed"], changed["capex"]) == (1, values["backup_settings_cost"])
    assert changed["saidi_minutes_avoided"] > 0


def test_the_frontier_goes_beyond_the_budget_of_the_study():
    """It tells what more money would buy."""
    study = _study(Scenario("S", ("far",), "sectionalizer"))
    study = replace(study, stated_ranges={}, values=study.values | {"budget": 1.0, "objective": "saidi"})
    decision = decide(study)
    assert decision.choice.totals["capex"] == 0.0
    assert plan(expect(study), decision).frontier["budget"].max() > 1.0


@pytest.mark.parametrize(("workers", "calls"), [(1, 0), (2, 1)])
def test_what_the_caller_needs_afterwards_is_done_where_others_work(workers, calls):
    called: list[int] = []
    study = _study(Scenario("S", None, "sectionalizer", 2))
    analyse(study, trials=3, workers=workers, on_wait=lambda: called.append(1))
    assert len(called) == (calls if forked.POSSIBLE else 0)


def test_documents_are_the_same_without_the_rows_of_the_table(tmp_path):
    results = analyse(_study(Scenario("S", ("far", "near"), "sectionalizer", 2)), trials=3, seed=1)
    assert results.without_rows() is results                # something is still to be computed of them
    results.find_of_expected()
    lean = results.without_rows()
    assert len(results.table) > len(lean.table) == 0
    for name, each in (("whole", results), ("lean", lean)):
        write_results(each, tmp_path / name)
    files = sorted(path.name for path in (tmp_path / "whole").iterdir())
    assert files == sorted(path.name for path in (tmp_path / "lean").iterdir())
    for name in files:
        assert (tmp_path / "whole" / name).read_bytes() == (tmp_path / "lean" / name).read_bytes(), name
