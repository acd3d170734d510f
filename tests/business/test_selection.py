"""The choice: against every subset, against the network it asks for, and within its limits."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import scipy

from reliability.business import selection
from reliability.business.frontier import frontier
from reliability.business.limits import Limits, constraints, feeder_customers, never_better
from reliability.business.options import EFFECTS, build_options
from reliability.business.selection import NPV, SAIDI, choose, devices_in_words, selection_frame, totals_of
from reliability.network.model import Model
from reliability.network.tree import build_network
from tests.business.cases import COSTS, GAINFUL, carried_out, case_of, feeders_of_laterals, options_of
from tests.networks import random_study


def _every_choice(options):
    """Sums of `EFFECTS` and momentary events by feeder of every possible choice, one row each."""
    rows = options.rows
    columns = [*(rows[e].to_numpy() for e in EFFECTS)]
    columns += [np.where(rows["feeder"] == f, rows["momentary_events_added"], 0.0) for f in range(2)]
    effects = np.column_stack(columns)
    possible = [np.flatnonzero(~np.isnan(options.fast[z])) for z in range(len(options.zones))]
    for settings in itertools.product(*possible):
        fixed = np.zeros(effects.shape[1])
        for z, k in enumerate(settings):
            fixed += effects[(rows["lateral"] == -1) & (rows["zone"] == z) & (rows["setting"] == k)].sum(axis=0)
        sums = fixed[None, :]
        for i in range(len(options.heads)):
            own = effects[(rows["lateral"] == i) & (rows["setting"] == settings[options.zone[i]])]
            if settings[options.zone[i]] == 0:
                own = np.vstack([np.zeros(effects.shape[1]), own])
            sums = (sums[:, None, :] + own[None, :, :]).reshape(-1, effects.shape[1])
        yield sums


def _best(options, limits: Limits, objective: str) -> float | None:
    served = options.network.customers.sum()
    best = None
    for sums in _every_choice(options):
        at = dict(zip((*EFFECTS, "a", "b"), sums.T, strict=True))
        fine = np.ones(len(sums), dtype=bool)
        hair = 1e-9
        if limits.budget is not None:
            fine &= at["capex"] <= limits.budget + hair
        if limits.units is not None:
            fine &= at["units"] <= limits.units + hair
        if limits.added_maifi_e is not None:
            fine &= at["momentary_events_added"] <= limits.added_maifi_e * served + hair
        if limits.added_maifi_e_feeder is not None:
            for f, customers in zip("ab", feeder_customers(options), strict=True):
                fine &= at[f] <= limits.added_maifi_e_feeder * customers + hair
        if limits.saidi_reduction_minutes is not None:
            fine &= 60.0 * at["customer_hours_avoided"] / served >= limits.saidi_reduction_minutes - hair
        if fine.any():
            gain = at["npv"] if objective == NPV else at["customer_hours_avoided"]
            best = max(gain[fine].max(), best if best is not None else -np.inf)
    return best


def _limits(rng: np.random.Generator, options) -> Limits:
    dear = options.rows["capex"].sum()
    maybe = lambda value: float(value) if rng.random() < 0.5 else None  # noqa: E731
    return Limits(maybe(rng.uniform(0.02, 0.3) * dear), maybe(rng.integers(2, 12)), maybe(rng.uniform(-0.2, 0.6)),
                  maybe(rng.uniform(-0.1, 0.8)), maybe(rng.uniform(0.0, 60.0)))


def _equals_brute_force(options, limits: Limits, objective: str) -> bool:
    best, choice = _best(options, limits, objective), choose(options, limits, objective, gap=0.0)
    assert choice.feasible == (best is not None), (limits, choice.message)
    if best is None:
        return False
    found = choice.totals["npv"] if objective == NPV else choice.totals["customer_minutes_avoided"] / 60.0
    assert found == pytest.approx(best, rel=2e-6, abs=1e-6), limits
    return True


def test_choice_equals_every_subset_of_twelve_laterals():
    """2^12 subsets of one option a lateral, under random limits and both objectives."""
    _, options = options_of(12, 7)
    rows = options.rows
    one = replace(options, rows=rows[(rows["device"] == "") | (rows["counts"] == 2.0)].reset_index(drop=True))
    rng, feasible = np.random.default_rng(5), 0
    for _ in range(15):
        limits = _limits(rng, one)
        for objective in (NPV, SAIDI):
            feasible += _equals_brute_force(one, limits, objective)
    assert feasible >= 15


def test_choice_equals_every_combination_with_all_options_and_settings():
    """Three or four devices a lateral, and fast tripping of four breakers and reclosers as built or blocked."""
    rng, feasible = np.random.default_rng(8), 0
    for seed in range(4):
        _, options = options_of(5, seed, (0,))
        for _ in range(3):
            limits = _limits(rng, options)
            for objective in (NPV, SAIDI):
                feasible += _equals_brute_force(options, limits, objective)
    assert feasible >= 12


@pytest.mark.parametrize("seed", range(5))
def test_the_network_that_was_chosen_does_what_the_choice_promises(seed):
    """The selection built into the network by hand: its indices differ from as built by the totals."""
    study, options = options_of(14, seed, (0, 1))
    choice = choose(options, Limits(budget=40_000.0), NPV if seed % 2 else SAIDI)
    assert choice.totals["laterals"] > 2
    before, after = case_of(study), case_of(carried_out(study, choice.selection))
    served = before.network.customers.sum()
    b, a = before.expected[0], after.expected[0]
    assert choice.totals["saidi_minutes_avoided"] == pytest.approx(
        60.0 * (b.fault_customer_hours.sum() - a.fault_customer_hours.sum()) / served)
    assert choice.totals["saifi_avoided"] == pytest.approx((b.fault_ci.sum() - a.fault_ci.sum()) / served)
    assert choice.totals["maifi_e_added"] == pytest.approx(
        (a.fault_momentary_events.sum() - b.fault_momentary_events.sum()) / served)
    assert choice.totals["callouts_avoided"] == pytest.approx(b.fault_callouts.sum() - a.fault_callouts.sum())
    worst = max((a.momentary_event_rate - b.momentary_event_rate)[a.network.feeder == f]
                @ a.network.customers[a.network.feeder == f] / feeder_customers(options)[f] for f in range(2))
    assert choice.totals["worst_feeder_maifi_e_added"] == pytest.approx(worst)
    for column in ("capex", "npv", "customer_minutes_avoided", "momentary_events_added"):
        name = column if column != "momentary_events_added" else "maifi_e_added"
        total = choice.totals[name] * (served if name == "maifi_e_added" else 1.0)
        assert choice.selection[column].sum() == pytest.approx(total)


@pytest.mark.parametrize("seed", range(30))
def test_any_choice_in_any_network_does_what_its_rows_say(seed):
    """Random networks, reclosers inside laterals among them, and a random row for every zone and lateral."""
    rng = np.random.default_rng(seed)
    study = random_study(rng, 25)
    options = build_options(study.model, COSTS, (0, 1))
    rows, chosen = options.rows, np.zeros(len(options.rows), dtype=bool)
    setting = [int(rng.choice(np.flatnonzero(~np.isnan(f)))) for f in options.fast]
    for z, k in enumerate(setting):
        chosen |= ((rows["lateral"] == -1) & (rows["zone"] == z) & (rows["setting"] == k)).to_numpy()
    for i, z in enumerate(options.zone):
        own = np.flatnonzero((rows["lateral"] == i) & (rows["setting"] == setting[z]))
        pick = int(rng.integers(len(own) + (setting[z] == 0))) if len(own) else 0
        if pick < len(own):
            chosen[own[pick]] = True
    found = totals_of(options, chosen)
    told = selection_frame(options, chosen)
    assert found["laterals"] == (told["what"] == "lateral").sum()
    assert found["backup_settings_changed"] == (told["what"] == "backup settings").sum()
    before, after = case_of(study), case_of(carried_out(study, told))
    served = before.network.customers.sum()
    b, a = before.expected[0], after.expected[0]
    wanted = {
        "customer_interruptions_avoided": b.fault_ci.sum() - a.fault_ci.sum(),
        "customer_minutes_avoided": 60.0 * (b.fault_customer_hours.sum() - a.fault_customer_hours.sum()),
        "maifi_e_added": (a.fault_momentary_events.sum() - b.fault_momentary_events.sum()) / served,
        "callouts_avoided": b.fault_callouts.sum() - a.fault_callouts.sum(),
    }
    assert {k: found[k] for k in wanted} == pytest.approx(wanted, rel=1e-8, abs=1e-7)


def test_backup_settings_of_a_zone_are_charged_once():
    _, options = options_of(14, 2, (2,), backup_settings_cost=777.0, fast_operations=0)
    choice = choose(options, objective=SAIDI)
    changed = choice.selection[choice.selection["what"] == "backup settings"]
    installed = choice.selection[choice.selection["what"] == "lateral"]
    assert len(changed) >= 1
    assert choice.totals["backup_settings_changed"] == len(changed)
    assert choice.totals["laterals"] == len(installed)
    assert installed["backup_id"].isin(changed["section_id"]).sum() > len(changed)
    assert changed["capex"].tolist() == [777.0] * len(changed)
    assert not changed["section_id"].duplicated().any()


def test_forced_laterals():
    _, options = options_of(10, 3)
    free = choose(options)
    installed = free.selection["section_id"].tolist()
    other = next(str(n) for n in options.network.ids[options.heads] if n not in installed)
    forced = choose(options, Limits(forced_in=(other,), forced_out=tuple(installed[:2])))
    names = forced.selection["section_id"].tolist()
    assert other in names
    assert not set(installed[:2]) & set(names)
    assert forced.totals["npv"] < free.totals["npv"]


def test_impossible_limits_say_what_stands_in_the_way():
    _, options = options_of(8, 1)
    half = choose(options, objective=SAIDI).totals["saidi_minutes_avoided"] / 2.0
    choice = choose(options, Limits(budget=100.0, saidi_reduction_minutes=half))
    assert not choice.feasible
    assert choice.selection.empty
    assert choice.gap is None
    assert "Without the budget or without the SAIDI reduction asked for there is one." in choice.message
    assert "About 0 minutes of SAIDI can be avoided within the others." in choice.message
    enough = choose(options, Limits(budget=20_000.0), SAIDI).totals["saidi_minutes_avoided"]
    told = choose(options, Limits(budget=20_000.0, saidi_reduction_minutes=2.0 * enough)).message
    assert float(re.search(r"About (\S+) minutes", told)[1]) == pytest.approx(enough, rel=0.02)
    both = choose(options, Limits(forced_in=("t1",), forced_out=("t1",)))
    assert not both.feasible
    assert both.seconds == 0.0
    assert "t1" in both.message


def test_a_lateral_that_is_not_there_is_refused():
    _, options = options_of(3)
    with pytest.raises(ValueError, match="no lateral is headed by section 'nowhere'"):
        choose(options, Limits(forced_in=("nowhere",)))


def test_nothing_to_convert_is_said_plainly():
    _, options = options_of(8, 1, sectionalizer_cost=1e6, lateral_recloser_cost=1e6)
    choice = choose(options)
    assert choice.feasible
    assert choice.selection.empty
    assert choice.totals["npv"] == choice.totals["capex"] == 0.0
    assert choice.message.startswith("Nothing to convert: ")
    # and where minutes are sought, none can be had where nothing may be spent
    assert "avoids more SAIDI than" in choose(options, Limits(budget=0.0), SAIDI).message
    assert "has a higher NPV than" in choice.message
    # sought for SAIDI whatever it costs, the loss is told as well
    assert "this does not pay (NPV −" in choose(options, objective=SAIDI).message


def test_gap_and_time_are_reported():
    _, options = options_of(20, 4)
    choice = choose(options, Limits(budget=30_000.0), gap=1e-3)
    assert 0.0 <= choice.gap <= 1e-3
    assert 0.0 < choice.seconds < 30.0
    assert 0.0 < choose(options_of(20, 0)[1], Limits(budget=20_000.0, added_maifi_e=0.5), gap=0.2).gap <= 0.2


def test_the_saidi_reduction_asked_for_is_in_minutes():
    _, options = options_of(6, 2)
    limit = constraints(options, Limits(saidi_reduction_minutes=6.0))[-1]
    chosen = choose(options, objective=SAIDI)
    asked = (limit.A @ chosen.chosen).item() / np.asarray(limit.ub).item()
    assert asked == pytest.approx(chosen.totals["saidi_minutes_avoided"] / 6.0)


def test_a_limit_on_what_nothing_adds_to_is_no_division_by_zero():
    _, options = options_of(3)
    weightless = replace(options, rows=options.rows.assign(units=0.0))
    limit = constraints(weightless, Limits(units=1.0))[-1]
    assert np.all(limit.A.toarray() == 0.0)
    assert limit.ub == 1.0


def test_a_feeder_without_customers_has_no_worst_of_its_own():
    study = feeders_of_laterals(6, 2, **GAINFUL)
    sections = study.sections.copy()
    sections.loc[sections["feeder_id"] == "b", [c for c in sections.columns if c.startswith("customers")]] = 0.0
    options = build_options(Model(build_network(sections), study.values), COSTS)
    totals = choose(options, objective=SAIDI).totals
    assert totals["worst_feeder_maifi_e_added"] == pytest.approx(totals["maifi_e_added"])


def test_where_nothing_can_be_gained_the_search_is_no_division_by_zero():
    _, options = options_of(3)
    for objective, column in ((NPV, "npv"), (SAIDI, "customer_hours_avoided")):
        pointless = replace(options, rows=options.rows.assign(**{column: 0.0}))
        choice = choose(pointless, Limits(budget=0.0), objective)
        assert choice.feasible
        assert choice.totals["capex"] == 0.0


def test_laterals_come_before_settings_and_the_best_first():
    _, options = options_of(14, 2, (2,), fast_operations=0)
    told = choose(options, objective=SAIDI).selection
    assert told["what"].tolist() == sorted(told["what"], reverse=True)
    assert told["what"].nunique() == 2
    assert told.index.tolist() == list(range(len(told)))
    for _, rows in told.groupby("what"):
        assert rows["npv"].is_monotonic_decreasing


@pytest.mark.parametrize(("column", "limits"), [
    ("units", Limits(units=5.0)), ("momentary_events_added", Limits(added_maifi_e=1.0)),
    ("momentary_events_added", Limits(added_maifi_e_feeder=1.0)),
    ("customer_hours_avoided", Limits(saidi_reduction_minutes=1.0))])
def test_an_option_is_only_set_aside_where_it_is_beaten_in_all_that_counts(column, limits):
    """Two alike but for their gain, and for something that only counts under a limit."""
    _, options = options_of(3, 1)
    rows = options.rows[(options.rows["lateral"] == 0) & (options.rows["device"] != "")].iloc[:2].reset_index(drop=True)
    rows[["units", "capex", "momentary_events_added", "customer_hours_avoided"]] = 3.0
    rows.loc[1, column] = 4.0 if column == "customer_hours_avoided" else 2.0
    two = replace(options, rows=rows)
    assert never_better(two, Limits(), np.array([5.0, 4.0])).tolist() == [False, True]
    assert never_better(two, limits, np.array([5.0, 4.0])).tolist() == [False, False]


@pytest.mark.parametrize("customers_of_b", [0.9, 30.0])
@pytest.mark.parametrize("seed", range(3))
def test_momentary_events_are_limited_on_each_feeder_by_its_own_customers(seed, customers_of_b):
    """Feeder b has few customers, so that the same events weigh more there."""
    study = feeders_of_laterals(8, seed, **GAINFUL)
    sections = study.sections.copy()
    columns = [c for c in sections.columns if c.startswith("customers")]
    on_b = sections["feeder_id"] == "b"
    sections.loc[on_b, columns] *= customers_of_b / sections.loc[on_b, "customers"].sum()
    options = build_options(Model(build_network(sections), study.values), COSTS)
    unlimited = choose(options, objective=SAIDI)
    free = unlimited.totals["worst_feeder_maifi_e_added"]
    added = unlimited.selection.groupby("feeder_id")["momentary_events_added"].sum()
    served = dict(zip(options.network.feeder_ids, feeder_customers(options), strict=True))
    assert free == pytest.approx(max(added[f] / served[f] for f in added.index))
    for share in (0.25, 0.5, 0.75):
        assert _equals_brute_force(options, Limits(added_maifi_e_feeder=share * free), SAIDI)


@pytest.mark.parametrize("objective", [NPV, SAIDI])
def test_the_solver_does_not_simplify_and_gives_what_it_would_then(objective, monkeypatch):
    """Simplifying heeds no limit of time."""
    real, asked = scipy.optimize.milp, []

    def simplified(*args, options, **more):
        asked.append(options["presolve"])
        return real(*args, options=options | {"presolve": True}, **more)

    _, options = options_of(12, 3, (0,))
    limits = Limits(budget=60e3, added_maifi_e=0.2, added_maifi_e_feeder=0.3, forced_in=("t2",), forced_out=("t1",))
    found = choose(options, limits, objective, gap=0.0)
    monkeypatch.setattr(scipy.optimize, "milp", simplified)
    assert choose(options, limits, objective, gap=0.0).totals == pytest.approx(found.totals, rel=1e-6, abs=1e-9)
    assert asked == [False]
    assert found.totals["laterals"] > 3
    assert not found.chosen[options.rows["lateral"].eq(1) & options.rows["device"].ne("")].any()


@pytest.mark.parametrize("caps", [{}, {"added_maifi_e": 0.02}, {"added_maifi_e_feeder": 0.05}, {"units": 9.0},
                                  {"forced_in": ("t3",), "added_maifi_e": 0.05}])
@pytest.mark.parametrize("share", [0.2, 0.5, None])
def test_among_many_choices_what_is_known_without_a_search_is_as_good_as_it_says(caps, share, monkeypatch):
    monkeypatch.setattr(selection, "MANY_CHOICES", 1)
    nothing, feasible = scipy.optimize.OptimizeResult(x=None, status=1), 0
    for seed in range(6):
        _, options = options_of(12, seed, (0,))
        in_all = options.rows.loc[options.rows["device"] != ""].groupby("lateral")["capex"].min().sum()
        limits = Limits(budget=None if share is None else share * in_all, **caps)
        best = choose(options, limits, SAIDI, gap=0.0).totals["saidi_minutes_avoided"]
        with monkeypatch.context() as without:
            without.setattr(selection, "solve", lambda *_: nothing)
            known = choose(options, limits, SAIDI, gap=0.0)
        if not known.feasible:
            assert known.message.startswith("No choice was found in 30 s")
            continue
        feasible += 1
        reached = known.totals["saidi_minutes_avoided"]
        assert 0.0 < reached <= best * (1.0 + 1e-6)
        assert best <= reached * (1.0 + known.gap) * (1.0 + 1e-5)
        for c in constraints(options, limits):
            assert np.all((c.lb - 1e-9 <= c.A @ known.chosen) & (c.A @ known.chosen <= c.ub + 1e-9))
    assert feasible >= 3 or "units" in caps


def test_among_many_choices_none_is_searched_for_where_money_alone_says_the_best(monkeypatch):
    monkeypatch.setattr(selection, "MANY_CHOICES", 1)
    monkeypatch.setattr(selection, "solve", None)
    for seed in range(3):
        _, options = options_of(12, seed, (0,))
        curve = frontier(options, 12)
        for budget in (float(curve["capex"].iloc[5]), None):
            found = choose(options, Limits(budget=budget), SAIDI, gap=0.0)
            expected = curve.iloc[5 if budget else -1]
            assert found.gap == 0.0
            assert found.totals["saidi_minutes_avoided"] == pytest.approx(expected["saidi_minutes_avoided"], rel=1e-9)


def test_of_two_that_avoid_as_much_the_cheaper_is_chosen():
    _, options = options_of(6, 1)
    rows = options.rows.copy()
    rows.loc[rows["device"] != "", "customer_hours_avoided"] = 5.0
    picked = choose(replace(options, rows=rows), objective=SAIDI).selection
    assert len(picked) == 6
    assert set(picked["device"]) == {"sectionalizer"}
    assert options.rows.groupby("device")["capex"].max()["lateral_recloser"] > picked["capex"].max()


def test_totals_of_nothing_are_nothing():
    _, options = options_of(4, 1)
    totals = totals_of(options, np.zeros(len(options.rows), dtype=bool))
    assert np.isnan(totals.pop("break_even_reclosing_off_share"))
    assert set(totals.values()) == {0.0}
    assert isinstance(choose(options).selection, pd.DataFrame)


@pytest.mark.parametrize(("devices", "words"), [
    (["sectionalizer", "", "sectionalizer"], " to sectionalizers"), (["", ""], " to new settings"),
    (["lateral_recloser", "sectionalizer", "", "sectionalizer"], ", 2 to sectionalizers and 1 to lateral reclosers,")])
def test_devices_of_a_mixed_choice_are_counted(devices, words):
    assert devices_in_words(pd.Series(devices)) == words
