"""How sure a choice is: options at draws against options built there, and choices made again against the search."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.business import stability as module
from reliability.business.calibrated import CalibrationFactors, calibrated, calibrated_study
from reliability.business.limits import Limits
from reliability.business.options import build_options
from reliability.business.proposal import choice_of_scenario
from reliability.business.rechosen import best_within_limits, best_without_limits, free
from reliability.business.selection import choose
from reliability.business.stability import CERTAIN, STAYS, WORTH_IT, npv_of_choice, stability
from reliability.business.unknowns import Sample, sample
from reliability.indices.draws import one_trial, values_of_trials
from reliability.network.model import Model
from reliability.network.rate_draws import RateDraws
from reliability.schema.assumption_types import Range
from reliability.schema.scenarios import Scenario
from tests.business.cases import COSTS, GAINFUL, case_of, feeders_of_laterals, random_case
from tests.networks import random_study

RANGES = {"crew_rate_per_hour": Range(50.0, 150.0, 400.0), "sectionalizer_cost": Range(800.0, 2000.0, 5200.0),
          "line_fault_rate_per_km": Range(0.05, 0.2, 0.6), "temporary_fraction": Range(0.4, 0.7, 0.9)}


def _study(laterals: int = 10, seed: int = 4, ranges=None, **values):
    study = feeders_of_laterals(laterals, seed, **{**GAINFUL, **values})
    ranges = RANGES if ranges is None else ranges
    return replace(study, stated_ranges=ranges, values={**study.values, **{k: r.mean for k, r in ranges.items()}})


def _options(study, fast=()):
    return build_options(study.model, COSTS, fast)


def _built_there(study, values, fast=()):
    """The options built anew at other values, the long way round."""
    return build_options(Model(study.network, values), COSTS, fast)


@pytest.mark.parametrize("perspective", ["utility", "society"])
@pytest.mark.parametrize("seed", range(4))
def test_options_at_other_values_are_those_built_there(seed, perspective):
    study = random_study(np.random.default_rng(seed), 24, True, perspective=perspective, **GAINFUL)
    options = _options(study, (0, 1))
    rng = np.random.default_rng(seed)
    draws = {"temporary_fraction": rng.random(3), "fuse_failure": np.array([0.0, 0.2, 1.0]),
             "reclosing_off_share": np.array([0.0, 0.3, 0.8]), "patrol_hours": rng.uniform(0.5, 6.0, 3),
             "repair_hours": rng.uniform(1.0, 5.0, 3), "sectionalizer_cost": rng.uniform(100.0, 3000.0, 3),
             "inspection_cost_per_year": rng.uniform(0.0, 90.0, 3), "discount_rate": rng.uniform(0.0, 0.1, 3),
             "backup_settings_cost": rng.uniform(0.0, 9000.0, 3)}
    values = values_of_trials(study.values, draws)
    npv = options.npv(values, options.effects.savings(values))
    for k in range(3):
        there = one_trial(values, k)
        wanted, found = _built_there(study, there, (0, 1)).rows, options.at(there).rows
        assert list(found.columns) == list(wanted.columns)
        for column in wanted:
            if wanted[column].dtype.kind == "f":
                assert found[column].to_numpy() == pytest.approx(wanted[column].to_numpy(), rel=1e-9, abs=1e-6,
                                                                 nan_ok=True)
        assert npv[k] == pytest.approx(wanted["npv"].to_numpy(), rel=1e-9, abs=1e-5)


def test_learned_rates_move_each_lateral_by_its_own_unit():
    """At a draw the options are those of a network whose sections have the rates of the draw."""
    study = _study()
    n = len(study.network)
    rng = np.random.default_rng(1)
    unit = rng.integers(0, 5, n)
    rates = RateDraws(unit, rng.uniform(0.3, 2.0, (7, 5)), rng.uniform(0.3, 2.0, (7, 5)))
    options = _options(study)
    knowing = replace(options, effects=replace(options.effects, rates=rates))
    picked = np.array([3, 0, 3])
    npv = knowing.npv(study.values, knowing.effects.savings(study.values, picked))
    for k, draw in enumerate(picked):
        column = study.network.column
        rate = np.where(np.isnan(column["line_fault_rate_per_km"]), study.values["line_fault_rate_per_km"],
                        column["line_fault_rate_per_km"])
        share = np.where(np.isnan(column["temporary_fraction"]), study.values["temporary_fraction"],
                         column["temporary_fraction"])
        temporary = rate * share * rates.temporary[draw][unit]
        permanent = rate * (1.0 - share) * rates.permanent[draw][unit]
        there = study.with_section_values({"line_fault_rate_per_km": temporary + permanent,
                                           "temporary_fraction": temporary / (temporary + permanent)})
        wanted = _options(there).rows
        assert npv[k] == pytest.approx(wanted["npv"].to_numpy(), rel=1e-9, abs=1e-6)
        found = knowing.at(study.values, picked[k:k + 1]).rows
        for name in ("ci_avoided", "customer_hours_avoided", "momentary_events_added", "callouts_avoided", "npv"):
            assert found[name].to_numpy() == pytest.approx(wanted[name].to_numpy(), rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("fast", [(), (0, 2)])
@pytest.mark.parametrize("seed", range(5))
def test_the_choice_made_again_is_that_of_the_search(seed, fast):
    study = _study(12, seed, backup_settings_cost=300.0)
    options, drawn = _options(study, fast), sample(study, 8, 1, 4)
    ids = options.network.ids[options.heads]
    limits = Limits(forced_in=(str(ids[0]),), forced_out=(str(ids[1]),)) if seed % 2 else Limits()
    npv = options.npv(drawn.values, options.effects.savings(drawn.values))
    exact = best_without_limits(options, limits, npv)
    searched = best_within_limits(options, limits, "npv", drawn)
    for k in range(drawn.size):
        worth = []
        for again in (exact, searched):
            taken = _rows_of(options, again.laterals[k], again.setting[k], npv[k])
            worth.append(npv[k][taken].sum())
        # the search may stop a little short of the best
        assert worth[0] == pytest.approx(worth[1], rel=6e-3, abs=1e-6)
        assert worth[0] >= worth[1] - 1e-6
    if seed % 2:
        assert exact.laterals[:, 0].all()
        assert not exact.laterals[:, 1].any()
    assert exact.laterals.any(axis=0).sum() > exact.laterals.all(axis=0).sum()  # else the draws would show nothing


def _rows_of(options, laterals, setting, npv) -> np.ndarray:
    """The best rows that convert those laterals under those settings."""
    rows, taken = options.rows, []
    for z, s in enumerate(setting):
        taken.append(rows.index[(rows["lateral"] < 0) & (rows["zone"] == z) & (rows["setting"] == s)][0])
    for h, converted in enumerate(laterals):
        at = rows.index[(rows["lateral"] == h) & (rows["setting"] == setting[options.zone[h]])
                        & ((rows["device"] != "") == converted)]
        if len(at):
            taken.append(at[np.argmax(npv[at])])
    return np.array(taken)


def test_shares_are_those_of_the_draws_one_by_one():
    study = _study()
    options = _options(study, (0,))
    choice = choose(options)
    found = stability(study, options, choice, Limits())
    drawn = sample(study, found.draws, study.values["seed"], module.MOST_OUTCOME_TABLES)
    worth, kept = [], []
    for k in range(0, found.draws, 8):
        there = _built_there(study, one_trial(drawn.values, k), (0,))
        worth.append(there.rows["npv"].to_numpy()[choice.chosen].sum())
        kept.append(choose(there))
        assert found.npv[k] == pytest.approx(worth[-1], rel=1e-9, abs=1e-5)
    some = found.summary()
    assert some["npv_p10"] < some["npv_p50"] < some["npv_p90"]
    assert some[WORTH_IT] == (found.npv > 0).mean()
    assert 0.0 < found.stays < 1.0
    frame = found.selection
    assert frame.drop(columns=[WORTH_IT, STAYS]).equals(choice.selection)
    laterals = frame[frame["what"] == "lateral"]
    assert found.stays == pytest.approx(laterals[STAYS].mean())
    again = [set(c.selection.loc[c.selection["what"] == "lateral", "section_id"]) for c in kept]
    for row in laterals.itertuples():
        by_hand = np.mean([row.section_id in names for names in again])
        assert getattr(row, STAYS) == pytest.approx(by_hand, abs=0.15)  # of an eighth of the draws
    assert laterals[WORTH_IT].between(0.0, 1.0).all()
    assert 0.0 < found.rows.min() + found.rows.max() < 2.0
    assert found.chosen_again == found.draws
    assert found.reason == ""


def test_a_row_of_changed_settings_has_the_share_of_draws_with_that_setting():
    study = _study(16, 5, fast_operations=0, backup_settings_cost=200.0)
    options = _options(study, (2,))
    choice = choose(options)
    found = stability(study, options, choice, Limits())
    changed = found.selection[found.selection["what"] != "lateral"]
    assert len(changed)
    assert changed[STAYS].between(0.01, 1.0).all()
    assert changed[WORTH_IT].between(0.0, 1.0).all()
    drawn = sample(study, found.draws, study.values["seed"], module.MOST_OUTCOME_TABLES)
    assert found.npv == pytest.approx(npv_of_choice(options, choice.chosen, drawn))


def test_within_limits_each_draw_is_a_search(monkeypatch):
    monkeypatch.setattr(module, "DRAWS_WITHIN_LIMITS", 4)
    study = _study()
    options = _options(study)
    limits = Limits(budget=9000.0)
    choice = choose(options, limits)
    found = stability(study, options, choice, limits)
    assert (found.draws, found.chosen_again) == (module.STABILITY_DRAWS, 4)
    assert set(found.selection[STAYS]) <= {0.0, 0.25, 0.5, 0.75, 1.0}
    assert free(Limits(forced_in=("t0",)), "npv")
    assert not free(Limits(), "saidi")
    for limit in ("budget", "units", "added_maifi_e", "added_maifi_e_feeder", "saidi_reduction_minutes"):
        assert not free(Limits(**{limit: 1.0}), "npv")


def test_draws_in_parts_are_those_of_one_piece(monkeypatch):
    study = _study()
    options = _options(study)
    choice = choose(options)
    whole = stability(study, options, choice, Limits())
    monkeypatch.setattr(module, "STABILITY_NUMBERS_AT_ONCE", 500)
    parts = stability(study, options, choice, Limits())
    assert parts.npv == pytest.approx(whole.npv)
    assert parts.stays == whole.stays
    assert parts.selection[[WORTH_IT, STAYS]].equals(whole.selection[[WORTH_IT, STAYS]])


def test_where_nothing_is_uncertain_nothing_is_said():
    study = _study(ranges={})
    options = _options(study)
    found = stability(study, options, choose(options), Limits())
    assert (found.draws, found.chosen_again, found.reason) == (0, 0, CERTAIN)
    assert np.isnan(found.stays)
    assert found.selection[[WORTH_IT, STAYS]].isna().all(axis=None)
    assert np.isnan(found.rows).all()
    assert all(np.isnan(found.summary()[key]) for key in ("npv_p10", "npv_p50", "npv_p90", WORTH_IT, STAYS))


def test_learned_rates_alone_are_enough():
    study = _study(ranges={})
    n = len(study.network)
    rng = np.random.default_rng(2)
    rates = RateDraws(np.arange(n), rng.gamma(2.0, 0.5, (50, n)), rng.gamma(2.0, 0.5, (50, n)))
    options = _options(study)
    found = stability(replace(study, rate_draws=rates), options, choose(options), Limits())
    assert found.draws == module.STABILITY_DRAWS
    assert found.npv.std() > 0
    assert 0.0 < found.stays < 1.0


def test_a_named_scenario_is_not_chosen_again():
    study = _study()
    scenario = Scenario("Everything", "all", "sectionalizer", 2)
    options, choice = choice_of_scenario(study.model, COSTS, scenario, "npv")
    found = stability(study, options, choice, Limits(), named=True)
    assert found.chosen_again == 0
    assert np.isnan(found.stays)
    assert found.selection[STAYS].isna().all()
    assert found.selection[WORTH_IT].notna().all()
    assert found.reason


def test_no_choice_no_draws():
    study = _study()
    options = _options(study)
    choice = choose(options, Limits(budget=0.0, forced_in=(str(options.network.ids[options.heads[0]]),)))
    assert not choice.feasible
    found = stability(study, options, choice, Limits())
    assert found.draws == 0
    assert found.selection.empty
    assert calibrated(study, options, choice, Limits(), 0.5, np.nan) is None


def test_draws_of_what_needs_a_table_of_its_own_come_in_steps():
    ranges = {"fast_clearing_time_s": Range(0.03, 0.08, 0.4), "crew_rate_per_hour": Range(50.0, 150.0, 400.0)}
    drawn = sample(_study(ranges=ranges), 256, 1, 6)
    assert isinstance(drawn, Sample)
    assert len(np.unique(drawn.values["fast_clearing_time_s"])) == 6
    assert len(np.unique(drawn.values["crew_rate_per_hour"])) == 256


@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_a_calibrated_study_is_the_study_with_its_rates_and_times_multiplied(perspective):
    case = random_case(3, 20, True, perspective=perspective)
    study = replace(case.study, stated_ranges={"repair_hours": Range(1.0, 2.0, 6.0)})
    there = calibrated_study(study, 0.5, 1.0)
    halved = case_of(replace(there, stated_ranges={}))
    for before, after in zip(case.business.by_section, halved.business.by_section, strict=True):
        for name in before:
            assert after[name] == pytest.approx(0.5 * before[name], rel=1e-9, abs=1e-9)
    assert there.uncertain == study.uncertain
    longer = calibrated_study(study, 1.0, 1.5)
    assert longer.uncertain["repair_hours"] == Range(1.5, 3.0, 9.0)
    for before, after in zip(case.expected, case_of(longer).expected, strict=True):
        assert after.fault_customer_hours == pytest.approx(1.5 * before.fault_customer_hours, rel=1e-9, abs=1e-9)
        assert after.fault_ci == pytest.approx(before.fault_ci)


def test_default_ranges_of_a_calibrated_study_lie_around_its_values():
    there = calibrated_study(_study(ranges={}, default_ranges=True), 0.5, 1.5)
    assert there.uncertain["line_fault_rate_per_km"].likely == there.values["line_fault_rate_per_km"]
    assert there.uncertain["repair_hours"].mean == pytest.approx(1.5 * 3.0)


def test_the_proposal_on_calibrated_inputs_is_the_same_rows_there():
    study = _study()
    options = _options(study)
    choice = choose(options)
    found = calibrated(study, options, choice, Limits(), CalibrationFactors(0.2, np.nan, True))
    assert (found.rate_factor, found.time_factor) == (0.2, 1.0)
    there = calibrated_study(study, 0.2, 1.0)
    rebuilt = _options(there)
    assert found.totals["npv"] == pytest.approx(rebuilt.rows["npv"].to_numpy()[choice.chosen].sum(), rel=1e-9)
    assert found.totals["laterals"] == choice.totals["laterals"]
    assert found.totals["customer_interruptions_avoided"] == pytest.approx(
        0.2 * choice.totals["customer_interruptions_avoided"])
    assert dict(found.selection.totals)["npv"] == pytest.approx(choose(rebuilt).totals["npv"], rel=1e-6)
    assert found.selection.totals["laterals"] < choice.totals["laterals"]
    drawn = sample(there, module.STABILITY_DRAWS, study.values["seed"], module.MOST_OUTCOME_TABLES)
    first = _built_there(there, one_trial(drawn.values, 5)).rows["npv"].to_numpy()[choice.chosen].sum()
    assert found.npv[5] == pytest.approx(first, rel=1e-9)
    assert found.summary()["selection"]["totals"]["laterals"] == found.selection.totals["laterals"]


def test_nothing_offered_nothing_calibrated():
    study = _study(ranges={})
    options = _options(study)
    choice = choose(options)
    assert calibrated(study, options, choice, Limits(), CalibrationFactors(np.nan, np.nan, False)) is None
    found = calibrated(study, options, choice, Limits(), CalibrationFactors(np.nan, 1.2, True), named=True)
    assert found.selection is None
    assert not len(found.npv)
    assert np.isnan(found.summary()["npv_p50"])
    assert (found.rate_factor, found.time_factor) == (1.0, 1.2)
