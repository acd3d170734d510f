"""Checks of what a study proposes: a scenario like any other, whose figures are those of the choice it carries out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reliability.business.cashflow import business_summary
from reliability.business.proposal import choice_of_scenario, converted_laterals, named_proposal, scenario_of
from reliability.indices.expected import system_indices
from reliability.pipeline import decide, expect, plan, with_alternatives
from reliability.results import Results
from reliability.schema.scenarios import PROPOSED, Conversion, Scenario
from reliability.study.study import Study
from tests.business.cases import GAINFUL, feeders_of_laterals
from tests.networks import random_study

CHOSEN = {"objective": "npv", **GAINFUL}


def results_of(study: Study) -> Results:
    """Expected results of a study with what it proposes."""
    return expect(with_alternatives(study))


def agrees(results: Results, totals: dict[str, float]) -> None:
    """The scenario "Proposed" costs and brings what the totals of the choice say."""
    at = results.proposed
    assert at is not None
    case, served = business_summary(results.business)[at], float(results.network.customers.sum())
    before, after = (system_indices(results.expected[i], results.study.values["yearly_cv"]) for i in (0, at))
    gained = {
        "capex": case["capex"], "npv": case["npv"], "units": case["units"],
        "backup_settings_changed": case["backup_settings_changed"],
        "customer_interruptions_avoided": served * (before["saifi"] - after["saifi"]),
        "saidi_minutes_avoided": before["saidi_min"] - after["saidi_min"],
        "maifi_e_added": after["maifi_e"] - before["maifi_e"],
        "callouts_avoided": sum(before["callouts"].values()) - sum(after["callouts"].values()),
    }
    for name, value in gained.items():
        assert totals[name] == pytest.approx(value, rel=1e-9, abs=1e-7), name


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("settings", ["as_built", "may_change"])
def test_the_choice_is_a_scenario_with_the_figures_of_the_choice(seed, settings):
    study = feeders_of_laterals(12, seed, backup_settings=settings, fast_operations=seed % 3,
                                backup_settings_cost=50.0, **CHOSEN)
    decision = decide(study)
    assert decision.scenario is not None
    assert decision.scenario.name == PROPOSED
    agrees(results_of(study), dict(decision.choice.totals))


@pytest.mark.parametrize("seed", range(12))
def test_a_named_scenario_is_the_proposal_with_all_that_it_changes(seed):
    rng = np.random.default_rng(seed)
    study = random_study(rng, 40, full=True)
    network = study.network
    heads = network.ids[network.candidates].astype(str)
    heads = heads[rng.random(len(heads)) < 0.6]
    each = {h: Conversion(str(rng.choice(["sectionalizer", "lateral_recloser", "fuse"])),
                          int(rng.integers(1, 4)) if rng.random() < 0.5 else None) for h in heads.tolist()}
    mixed = Scenario("Ours", each, "sectionalizer", None, [None, 0, 1][seed % 3])
    study = replace(study, scenarios=(Scenario("As built"), mixed), values={**study.values, "proposed": "ours"})
    decision = decide(study)
    assert decision.named
    agrees(results_of(study), dict(decision.choice.totals))
    assert set(converted_laterals(decision.choice)) <= set(heads)
    programme = plan(results_of(study), decision).programme
    assert programme["capex"].sum() == pytest.approx(decision.choice.totals["capex"])
    assert programme.loc[programme["what"] == "lateral", "section_id"].nunique() == decision.choice.totals["laterals"]


@pytest.mark.parametrize("seed", range(12))
def test_a_named_scenario_is_carried_out_in_its_years(seed):
    """The programme of what is named converts all of it, whether the scenario changes settings or not."""
    rng = np.random.default_rng(seed)
    study = random_study(rng, 40, full=True)
    heads = study.network.ids[study.network.candidates].astype(str)
    mixed = Scenario("Ours", tuple(heads[rng.random(len(heads)) < 0.6]), "sectionalizer", None, [None, 0, 1][seed % 3])
    study = replace(study, scenarios=(Scenario("As built"), mixed), values={**study.values, "proposed": "ours"})
    decision = decide(study)
    found = plan(expect(with_alternatives(study, decision)), decision).programme
    laterals = found.loc[found["what"] == "lateral", "section_id"]
    assert sorted(laterals) == sorted(converted_laterals(decision.choice))


def test_what_is_proposed_stands_after_the_study_s_own_and_before_what_needs_no_capital():
    own = Scenario("All", None, "sectionalizer")
    study = feeders_of_laterals(8, 2, (own,), **CHOSEN)
    names = [s.name for s in results_of(study).study.scenarios]
    assert names[:3] == ["As built", "All", PROPOSED]
    assert len(names) == 5


def test_nothing_worth_converting_is_no_scenario():
    study = feeders_of_laterals(6, 1, sectionalizer_cost=1e6, lateral_recloser_cost=1e6, **CHOSEN)
    assert decide(study).scenario is None
    results = results_of(study)
    assert results.proposed is None
    assert PROPOSED not in [s.name for s in results.study.scenarios]


def test_a_choice_named_again_is_the_same_selection():
    study = feeders_of_laterals(12, 4, **CHOSEN)
    first = decide(study).choice.selection
    scenario = scenario_of(decide(study).choice)
    again = choice_of_scenario(study.model, study.cost_table, scenario, "npv")[1].selection
    pd.testing.assert_frame_equal(*(f.sort_values("section_id", ignore_index=True) for f in (first, again)),
                                  rtol=1e-9, atol=1e-9, check_dtype=False)


def test_a_scenario_called_proposed_is_the_proposal():
    own = Scenario("proposed", ("t1",), "sectionalizer")
    study = feeders_of_laterals(6, 3, (own,), **CHOSEN)
    assert named_proposal(study.scenarios, None) == own
    results = results_of(study)
    assert results.proposed == 1
    assert [s.name for s in results.study.scenarios].count("proposed") == 1


def test_a_named_scenario_keeps_to_applicable_laterals_and_to_each_device():
    """A mixed scenario leaves out sectionalizers that fail, and no lateral recloser."""
    study = feeders_of_laterals(9, 5, **CHOSEN)
    heads = study.network.ids[study.network.candidates].astype(str).tolist()
    each = {h: Conversion("lateral_recloser" if i % 2 else "sectionalizer") for i, h in enumerate(heads)}
    mixed = Scenario("Ours", each, "sectionalizer", None, None, applicable_only=True)
    worn = replace(study, scenarios=(Scenario("As built"), mixed),
                   values={**study.values, "momentary_withstand_a": 1.0})
    settled = expect(worn).study.scenarios[1]
    assert settled.laterals == {h: each[h] for i, h in enumerate(heads) if i % 2}
