"""Application checks over whole networks: properties, the model, frames, the current profile."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from reliability.faults import outcomes
from reliability.network.application import (
    application_frame,
    check_laterals,
    evidence_frame,
    open_points,
    settle_scenarios,
    verdict_counts,
    verdicts_said,
)
from reliability.network.application_catalogue import CHECKS, FAIL, PASS, VERDICTS
from reliability.network.application_fuse import outraced_inside
from reliability.network.application_proposal import inside_laterals, propose
from reliability.network.application_reach import share_below
from reliability.network.coordination import coordination
from reliability.network.device_settings import ALL_ELEMENTS, DELAYED_OPERATION
from reliability.network.devices import MELTS
from reliability.network.model import Model
from reliability.network.protection import protection
from reliability.network.race import DEVICE_ALONE
from reliability.network.rates import fault_currents_a, fault_rates
from reliability.network.tree import build_network
from reliability.schema.scenarios import AS_BUILT, Scenario
from tests.network import laterals
from tests.network.laterals import ALL, checks_of, overall
from tests.networks import random_studies, random_study, study_of


def checks_of_study(study, scenario: Scenario = ALL, values: dict | None = None):
    return check_laterals(Model(build_network(study.sections), dict(study.values) | (values or {})), scenario)


# --- properties --------------------------------------------------------------------------


@given(st.floats(20.0, 3000.0), st.floats(0.1, 1.0), st.floats(1.0, 5.0))
def test_more_fault_current_never_turns_a_pass_of_seeing_faults_into_less(source, fall, factor):
    weak, strong = (checks_of({"fault_current_source_a": k * source, "fault_current_end_a": k * source * fall})
                    for k in (1.0, factor))
    assert strong.check("sees_faults").verdict[0] <= weak.check("sees_faults").verdict[0]
    assert strong.unseen_share[0] <= weak.unseen_share[0] + 1e-12


@given(st.floats(0.0, 200.0), st.floats(1.0, 3.0))
@example(2e-313, 1.0)
def test_more_load_never_lowers_the_chosen_rating(load, factor):
    light, heavy = (checks_of({"peak_load_a": load * k}).proposal.rated_a[0] for k in (1.0, factor))
    assert np.isnan(heavy) or light <= heavy


@given(random_studies())
def test_verdict_is_the_gravest_check_and_every_check_has_evidence(study):
    found = checks_of_study(study)
    deciding = [c for c in found.checks if c.kind.decides]
    for i in range(len(found)):
        assert found.verdict[i] == max(c.verdict[i] for c in deciding)
        assert all(c.reason[i] for c in found.checks)
        assert all(c.verdict[i] != PASS or not c.margin[i] < 1 - 1e-9 for c in found.checks if c.kind.sense != "equal")
    assert found.applicable.shape == (len(found),)


@given(random_studies())
def test_a_lateral_alone_is_checked_as_among_others(study):
    """Each lateral of a network against the same lateral with all others left out, and with them their ties."""
    study = study.with_sections(study.sections.assign(tie_probability=0.0))
    whole = application_frame(checks_of_study(study)).set_index("lateral_id")
    sections = study.sections.set_index("section_id", drop=False)
    for lateral in whole.index:
        path = [lateral]
        while sections.at[path[-1], "parent_id"]:
            path.append(sections.at[path[-1], "parent_id"])
        inside = [s for s in sections.index if lateral in _upward(sections, s)]
        alone = study.sections[study.sections["section_id"].isin([*path, *inside])]
        checks = check_laterals(Model(build_network(alone), study.values), ALL)
        found = application_frame(checks).set_index("lateral_id")
        pd.testing.assert_frame_equal(found.loc[[lateral]], whole.loc[[lateral]])


def _upward(sections: pd.DataFrame, name: str) -> list[str]:
    path = []
    while name:
        path.append(name)
        name = sections.at[name, "parent_id"]
    return path


# --- what is not seen, against the model -------------------------------------------------


@given(random_studies())
def test_unseen_share_is_what_the_model_lets_through_to_the_backup(study):
    """Of the permanent faults on the stretch of a converted lateral, those that lock the backup out."""
    scenario = Scenario("S", None, "sectionalizer", 1)
    # one temporary fraction everywhere, so that permanent faults are spread as all faults are
    network = build_network(study.sections.assign(temporary_fraction=np.nan))
    values = dict(study.values) | {"sectionalizer_failure": 0.0, "temporary_fraction": 0.5}
    found = check_laterals(Model(network, values), scenario)
    table = outcomes.build_outcomes(Model(network, values), [scenario])
    rate = outcomes.row_rates(table, values)
    for i, head in enumerate(found.proposal.head):
        rows = (table.kinds == outcomes.PERMANENT_BIT) & (network.protective[table.section] == head)
        if np.isnan(found.unseen_share[i]) or rate[rows].sum() == 0:
            continue
        if found.proposal.most_counts[i] < 1:
            continue  # a backup that does not reclose admits no counts
        passed = table.opened[0] != head
        assert found.unseen_share[i] == pytest.approx(rate[rows & passed].sum() / rate[rows].sum(), abs=1e-9)


def test_rates_are_those_of_the_outcome_table():
    study = study_of([{"section_id": "a", "device": "breaker", "length_km": 2.0, "equipment_fault_rate": 0.3},
                      {"section_id": "b", "parent_id": "a", "length_km": 3.0, "line_fault_rate_per_km": 0.5}],
                     line_fault_rate_per_km=0.2)
    network = build_network(study.sections)
    assert fault_rates(Model(network, study.values)) == pytest.approx([0.7, 1.5])  # 2·0.2 + 0.3; 3·0.5


@pytest.mark.parametrize(("source", "end", "threshold"), [
    (400.0, 50.0, 80.0), (50.0, 400.0, 80.0), (400.0, 100.0, 80.0), (70.0, 50.0, 80.0), (80.0, 80.0, 80.0),
    (90.0, 80.0, 80.0), (80.0, 70.0, 80.0)])
def test_share_below_against_counting_points(source, end, threshold):
    x = (np.arange(200_000) + 0.5) / 200_000
    counted = np.mean(1.0 / ((1.0 - x) / source + x / end) < threshold * (1 - 1e-12))
    found = share_below(np.array([source]), np.array([end]), np.array([threshold]))
    assert found == pytest.approx([counted], abs=1e-5)


# --- proposals ---------------------------------------------------------------------------


def test_the_backup_is_the_reclosing_device_above_and_has_the_scenario_s_operations():
    study = study_of([{"section_id": "src", "device": "breaker", "operations_to_lockout": 3.0},
                      {"section_id": "sw", "parent_id": "src", "device": "switch"},
                      {"section_id": "near", "parent_id": "sw", "device": "fuse"},
                      {"section_id": "mid", "parent_id": "sw", "device": "recloser", "operations_to_lockout": 4.0},
                      {"section_id": "far", "parent_id": "mid", "device": "fuse"}], fast_operations=2)
    network = build_network(study.sections)
    found = propose(Model(network, study.values), Scenario("S", None, "sectionalizer", fast_operations=1))
    by_id = {str(network.ids[h]): i for i, h in enumerate(found.head)}
    near, far = by_id["near"], by_id["far"]
    assert [str(network.ids[found.backup[i]]) for i in (near, far)] == ["src", "mid"]
    assert found.lockout[[near, far]].tolist() == [3, 4]
    assert found.fast.tolist() == [1, 1]
    assert found.counts[[near, far]].tolist() == [2, 3]


def test_which_laterals_a_scenario_converts_does_not_matter():
    none, all_of_them = checks_of(scenario=Scenario(AS_BUILT)), checks_of(scenario=ALL)
    pd.testing.assert_frame_equal(application_frame(none), application_frame(all_of_them))


# --- what a scenario converts ------------------------------------------------------------


def test_a_scenario_of_applicable_laterals_is_settled_to_name_them():
    """With a margin of 1.25 the smallest current, 120 A, is to be 1.25·80 A; the backup of c trips at 90 A, too low."""
    study = study_of([laterals.BACKUP | {"minimum_trip_a": 110.0},
                      laterals.BACKUP | {"section_id": "low", "minimum_trip_a": 90.0},
                      *(laterals.LATERAL | {"section_id": s, "parent_id": p, "fault_current_end_a": 120.0}
                        for s, p in (("a", "backup"), ("b", "backup"), ("c", "low")))], **laterals.VALUES)
    network = build_network(study.sections)
    asked = (Scenario(AS_BUILT), Scenario("all", None, "sectionalizer", applicable_only=True),
             Scenario("some", ("c", "b"), "sectionalizer", 1, 1, applicable_only=True),
             Scenario("R", ("c",), "lateral_recloser", applicable_only=True),
             Scenario("as told", ("c",), "sectionalizer"))
    found = settle_scenarios(Model(network, study.values), asked)
    assert found == (asked[0], Scenario("all", ("a", "b"), "sectionalizer"),
                     Scenario("some", ("b",), "sectionalizer", 1, 1), Scenario("R", ("c",), "lateral_recloser"),
                     asked[4])
    assert settle_scenarios(Model(network, study.values), found) == found
    table = outcomes.build_outcomes(Model(network, study.values), found)
    assert network.ids[table.protections[1].converted].tolist() == ["a", "b"]


def test_the_scenario_s_fast_operations_count_in_what_is_settled():
    """The third opening comes after 0.5 + 5 s and two clearings. Two fast: 0.075 + 15 s, 20.6 s; none: 2·15 s, 35.5 s,
    of a memory of 25 s."""
    study = study_of([laterals.BACKUP, laterals.LATERAL], **laterals.VALUES | {"delayed_clearing_time_s": 15.0})
    fast = [settle_scenarios(study.model, [Scenario("S", None, "sectionalizer", 3, f, True)])[0].laterals
            for f in (2, 0)]
    assert fast == [("tap",), ()]


def test_counts_and_fast_operations_lateral_by_lateral():
    study = study_of([laterals.BACKUP | {"operations_to_lockout": 3.0},
                      *(laterals.LATERAL | {"section_id": s} for s in "abc")], **laterals.VALUES)
    found = check_laterals(study.model, ALL, np.array([3.0, 1.0, np.nan]),
                           np.array([0.0, np.nan, 1.0]))
    assert [VERDICTS[v] for v in found.check("below_lockout").verdict] == ["fail", "pass", "pass"]
    assert found.applicable.tolist() == [False, True, True]
    assert found.proposal.counts.tolist() == [3, 1, 2]
    assert found.proposal.counts_in_model.tolist() == [2, 1, 2]  # never more than the backup admits
    assert found.proposal.fast.tolist() == [0, 2, 1]


def test_verdicts_in_words():
    assert verdicts_said(checks_of(backup={"minimum_trip_a": 50.0})) == "0 pass, 0 review, 0 unknown, 1 fail"


# --- frames ------------------------------------------------------------------------------


def test_application_frame_has_the_contract_s_columns_and_one_a_check():
    frame = application_frame(checks_of(backup={"minimum_trip_a": 50.0}))
    assert list(frame.columns) == ["lateral_id", "verdict", "rated_current_a", "counts", "counts_in_model",
                                   "actuating_current_a", "unseen_share", *(kind.key for kind in CHECKS), "not_passed"]
    row = frame.iloc[0]
    assert (row["lateral_id"], row["verdict"], row["rated_current_a"], row["counts"]) == ("tap", "fail", 50.0, 3)
    # no more than three are proposed; the scenario states none, so the model goes with the two of [protection]
    assert row["counts_in_model"] == 2
    assert (row["minimum_trip"], row["dead_time"]) == ("fail", "pass")
    assert row["not_passed"] == "Counts whenever the backup trips"


def test_evidence_frame_is_by_lateral_in_the_order_of_the_checks():
    study = study_of([{"section_id": "src", "device": "breaker"},
                      *({"section_id": s, "parent_id": "src", "device": "fuse", "peak_load_a": 10.0} for s in "abc")])
    found = checks_of_study(study)
    frame = evidence_frame(found, ["c", "a"])
    assert frame["lateral_id"].tolist() == ["a"] * len(CHECKS) + ["c"] * len(CHECKS)
    assert frame["check"].tolist() == [kind.key for kind in CHECKS] * 2
    first = frame.iloc[0]
    assert (first["value"], first["limit"], first["unit"], first["verdict"]) == (12.5, 12.5, "A", "pass")
    assert len(evidence_frame(found)) == 3 * len(CHECKS)
    assert np.isfinite(frame["margin"].dropna()).all()


def test_verdict_counts_add_up_to_the_laterals():
    study = study_of([{"section_id": "src", "device": "breaker", "minimum_trip_a": 100.0},
                      *({"section_id": f"t{a}", "parent_id": "src", "device": "fuse", "peak_load_a": float(a)}
                        for a in (10, 60, 200))])
    counts = verdict_counts(checks_of_study(study))
    assert (counts[list(VERDICTS)].sum(axis=1) == 3).all()
    # 12.5 A acts from 20 A, below 80 A; 80 A from 128 A, above it; no rating carries 200 A
    assert counts.loc["minimum_trip", list(VERDICTS)].tolist() == [1, 0, 1, 1]
    assert counts.loc["continuous_rating", list(VERDICTS)].tolist() == [2, 0, 0, 1]


def test_a_network_without_laterals():
    found = checks_of_study(study_of([{"section_id": "src", "device": "breaker", "length_km": 1.0}]))
    assert len(found) == 0
    assert len(application_frame(found)) == 0
    assert len(evidence_frame(found)) == 0
    assert not found.applicable.any()
    assert open_points(found).shape == (0,)


def test_a_check_that_does_not_exist_is_an_error():
    with pytest.raises(KeyError):
        checks_of().check("no such check")


def test_overall_fail_is_the_heaviest_code():
    assert VERDICTS[FAIL] == "fail" == overall(checks_of(backup={"minimum_trip_a": 50.0}))


def test_fuses_outraced_inside_are_those_of_the_race():
    """The times at both ends of a fuse's section say what the intervals of `coordination` say of them."""
    outraced = 0
    for seed in range(40):
        model = random_study(np.random.default_rng(seed), 40, True).model
        network, as_built = model.network, protection(model)
        found, wanted = coordination(model, (as_built,)), np.zeros(len(network.candidates), dtype=bool)
        for inside, at in inside_laterals(network):
            timed = MELTS[network.device[inside]] & (as_built.link[inside] != "") & (
                as_built.settings_of[as_built.backup[inside]] >= 0)
            fuse, lateral = inside[timed], at[timed]
            for current in fault_currents_a(model):
                outcome = found.race.outcome_at(found.right[0, fuse], np.array(DELAYED_OPERATION),
                                                np.array(ALL_ELEMENTS), current[fuse])
                wanted[lateral[outcome == DEVICE_ALONE]] = True
        assert outraced_inside(model, as_built).tolist() == wanted.tolist(), seed
        outraced += int(wanted.sum())
    assert outraced > 20
