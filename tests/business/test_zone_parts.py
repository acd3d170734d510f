"""Options of few zones at a time: the same savings and shares as of all of them together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reliability.business import stability as module
from reliability.business.limits import Limits
from reliability.business.options import Options, build_options
from reliability.business.selection import choose
from reliability.business.stability import npv_of_choice, stability
from reliability.business.unknowns import sample
from reliability.business.zone_parts import zone_parts
from reliability.network.rate_draws import RateDraws
from reliability.schema.assumption_types import Range
from reliability.study.study import Study
from tests.business.cases import COSTS, GAINFUL, feeders_of_laterals
from tests.networks import random_study

RANGES = {"temporary_fraction": Range(0.4, 0.7, 0.9), "patrol_hours": Range(0.5, 1.0, 4.0),
          "sectionalizer_cost": Range(800.0, 2000.0, 5200.0), "reclosing_off_share": Range(0.0, 0.1, 0.4)}
STRUCTURAL = {"fault_current_factor": Range(0.7, 1.0, 1.4)}


def many_zones(seed: int, ranges: dict[str, Range] = RANGES, **values: object) -> tuple[Study, Options]:
    """A random study with uncertain assumptions, repair hours of some sections' own, and its options."""
    study = random_study(np.random.default_rng(seed), 250, True, **{**GAINFUL, **values})
    study = replace(study, stated_ranges=ranges, values={**study.values, **{k: r.mean for k, r in ranges.items()}})
    options = build_options(study.model, COSTS, (0, 1))
    assert len(options.zones) > 3
    return study, options


def rates_of(study: Study, seed: int) -> RateDraws:
    """Draws of learned rates of seven units."""
    rng = np.random.default_rng(seed)
    return RateDraws(rng.integers(0, 7, len(study.network)), rng.uniform(0.3, 2.0, (20, 7)),
                     rng.uniform(0.3, 2.0, (20, 7)))


@pytest.mark.parametrize("rows", [1, 7, 40, 10_000])
@pytest.mark.parametrize("seed", range(3))
def test_parts_are_all_of_the_options_once(seed, rows):
    _, options = many_zones(seed)
    parts = zone_parts(options, rows)
    for name, size in (("rows", len(options.rows)), ("laterals", len(options.heads)), ("zones", len(options.zones)),
                       ("groups", options.effects.shape[1])):
        together = np.concatenate([getattr(part, name) for part in parts])
        np.testing.assert_array_equal(np.sort(together), np.arange(size), name)
    most = max(np.bincount(options.rows["zone"]))
    assert all(len(part.rows) < rows + most for part in parts)
    assert (len(parts) > 1) == (rows < len(options.rows))
    for part in parts:
        some = part.of(options)
        whole = options.rows.iloc[part.rows]
        own = some.rows["lateral"].to_numpy() >= 0
        np.testing.assert_array_equal(some.heads[some.rows["lateral"][own]], options.heads[whole["lateral"][own]])
        np.testing.assert_array_equal(some.zones[some.rows["zone"]], options.zones[whole["zone"]])
        np.testing.assert_array_equal(some.zones[some.zone], options.zones[options.zone[part.laterals]])
        np.testing.assert_array_equal(some.rows["lateral"][~own], -1)
        np.testing.assert_array_equal(part.groups[some.group], options.group[part.rows])
        pd.testing.assert_frame_equal(some.rows.drop(columns=["lateral", "zone"]),
                                      whole.drop(columns=["lateral", "zone"]))


@pytest.mark.parametrize("at_once", [1, 10 ** 9])
@pytest.mark.parametrize("learned", [False, True])
@pytest.mark.parametrize("ranges", [RANGES, RANGES | STRUCTURAL], ids=["prices", "tables"])
@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_savings_of_parts_are_those_of_the_whole(perspective, ranges, learned, at_once):
    study, options = many_zones(1, ranges, perspective=perspective)
    effects = replace(options.effects, rates=rates_of(study, 2)) if learned else options.effects
    drawn = sample(replace(study, rate_draws=effects.rates), 8, 1, 4)
    assert (drawn.picked is not None) == learned
    whole = effects.savings(drawn.values, drawn.picked)
    assert np.abs(whole[:, 1:]).max() > 1.0
    assert np.isfinite(study.network.column["repair_hours"]).any()
    parts, found = zone_parts(options, 20), np.full(whole.shape, np.nan)
    assert len(parts) > 2
    pieces = 0
    for p, at, savings in effects.savings_of([part.groups for part in parts], drawn.values, drawn.picked, at_once):
        found[np.ix_(at, np.arange(len(whole[0])), parts[p].groups)] = savings
        pieces += 1
    assert pieces > len(parts) if at_once == 1 else pieces >= len(parts)
    np.testing.assert_allclose(found, whole, rtol=1e-12, atol=1e-9)


def test_values_that_are_numbers_are_one_draw():
    study, options = many_zones(1)
    assert options.effects.savings(study.values).shape == (1, *options.effects.shape)


@pytest.mark.parametrize("limits", [False, True])
@pytest.mark.parametrize("learned", [False, True])
def test_how_sure_a_choice_is_does_not_hang_on_the_parts(monkeypatch, learned, limits):
    study = feeders_of_laterals(24, 3, **GAINFUL)
    study = replace(study, stated_ranges=RANGES, values={**study.values, **{k: r.mean for k, r in RANGES.items()}})
    options = build_options(study.model, COSTS, (0,))
    study = replace(study, rate_draws=rates_of(study, 4)) if learned else study
    ids = [str(name) for name in options.network.ids[options.heads]]
    within = Limits(forced_in=(ids[0], ids[-1]), forced_out=(ids[1], ids[-2])) if limits else Limits()
    choice = choose(options, within)
    whole = stability(study, options, choice, within)
    monkeypatch.setattr(module, "STABILITY_NUMBERS_AT_ONCE", module.STABILITY_DRAWS * 10)
    assert len(zone_parts(options, 10)) > 2
    parts = stability(study, options, choice, within)
    pd.testing.assert_frame_equal(parts.selection, whole.selection)
    np.testing.assert_array_equal(parts.rows, whole.rows)
    np.testing.assert_allclose(parts.npv, whole.npv, rtol=1e-12)
    assert (parts.stays, parts.chosen_again) == (whole.stays, whole.chosen_again)
    drawn = sample(study, module.STABILITY_DRAWS, study.values["seed"], module.MOST_OUTCOME_TABLES)
    own = module.with_learned_rates(options, study)
    np.testing.assert_allclose(npv_of_choice(own, choice.chosen, drawn), whole.npv, rtol=1e-9)


def test_no_zone_changes_what_is_chosen_in_another():
    """Of a choice that is not made by zones, one part alone would not be the whole's."""
    study, options = many_zones(5)
    drawn = sample(study, 8, 1, 4)
    npv = options.npv(drawn.values, options.effects.savings(drawn.values))
    whole = module.best_without_limits(options, Limits(), npv)
    for part in zone_parts(options, 15):
        own = module.best_without_limits(part.of(options), Limits(), npv[:, part.rows])
        np.testing.assert_array_equal(own.laterals, whole.laterals[:, part.laterals])
        np.testing.assert_array_equal(own.setting, whole.setting[:, part.zones])
