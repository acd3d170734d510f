"""Application checks over whole networks: properties, the model, frames, the current profile."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.faults import outcomes
from reliability.network.application import (
    application_frame,
    check_laterals,
    evidence_frame,
    open_points,
    verdict_counts,
)
from reliability.network.application_catalogue import CHECKS, FAIL, PASS, VERDICTS
from reliability.network.application_proposal import propose
from reliability.network.application_reach import PROFILE_POINTS, current_profile, fault_rates, share_below
from reliability.network.tree import build_network
from reliability.study.study import AS_BUILT, Scenario
from tests.network.laterals import ALL, checks_of, overall
from tests.networks import random_studies, study_of


def checks_of_study(study, scenario: Scenario = ALL, values: dict | None = None):
    return check_laterals(build_network(study.sections), dict(study.values) | (values or {}), scenario)


# --- properties --------------------------------------------------------------------------


@given(st.floats(20.0, 3000.0), st.floats(0.1, 1.0), st.floats(1.0, 5.0))
def test_more_fault_current_never_turns_a_pass_of_seeing_faults_into_less(source, fall, factor):
    weak, strong = (checks_of({"fault_current_source_a": k * source, "fault_current_end_a": k * source * fall})
                    for k in (1.0, factor))
    assert strong.check("sees_faults").verdict[0] <= weak.check("sees_faults").verdict[0]
    assert strong.unseen_share[0] <= weak.unseen_share[0] + 1e-12


@given(st.floats(0.0, 200.0), st.floats(1.0, 3.0))
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
    assert set(np.flatnonzero(found.applicable)) <= set(found.proposal.head)


@given(random_studies())
def test_a_lateral_alone_is_checked_as_among_others(study):
    """Each lateral of a network against the same lateral with all others left out."""
    whole = application_frame(checks_of_study(study)).set_index("lateral_id")
    sections = study.sections.set_index("section_id", drop=False)
    for lateral in whole.index:
        path = [lateral]
        while sections.at[path[-1], "parent_id"]:
            path.append(sections.at[path[-1], "parent_id"])
        inside = [s for s in sections.index if lateral in _upward(sections, s)]
        alone = study.sections[study.sections["section_id"].isin([*path, *inside])]
        found = application_frame(check_laterals(build_network(alone), study.values, ALL)).set_index("lateral_id")
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
    scenario = Scenario("S", None, "sectionalizer", 1)  # every network of these admits one count
    # one temporary fraction everywhere, so that permanent faults are spread as all faults are
    network = build_network(study.sections.assign(temporary_fraction=np.nan))
    values = dict(study.values) | {"sectionalizer_failure": 0.0, "temporary_fraction": 0.5}
    found = check_laterals(network, values, scenario)
    table = outcomes.build_outcomes(network, values, [scenario])
    rate = outcomes.row_rates(table, values)
    for i, head in enumerate(found.proposal.head):
        rows = (table.kinds == outcomes.PERMANENT) & (network.protective[table.section] == head)
        if np.isnan(found.unseen_share[i]) or rate[rows].sum() == 0:
            continue
        passed = table.opened[0] != head
        assert found.unseen_share[i] == pytest.approx(rate[rows & passed].sum() / rate[rows].sum(), abs=1e-9)


def test_rates_are_those_of_the_outcome_table():
    study = study_of([{"section_id": "a", "device": "breaker", "length_km": 2.0, "equipment_fault_rate": 0.3},
                      {"section_id": "b", "parent_id": "a", "length_km": 3.0, "line_fault_rate_per_km": 0.5}],
                     line_fault_rate_per_km=0.2)
    network = build_network(study.sections)
    assert fault_rates(network, study.values) == pytest.approx([0.7, 1.5])  # 2·0.2 + 0.3; 3·0.5


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
    found = propose(network, study.values, Scenario("S", None, "sectionalizer", fast_operations=1))
    by_id = {str(network.ids[h]): i for i, h in enumerate(found.head)}
    near, far = by_id["near"], by_id["far"]
    assert [str(network.ids[found.backup[i]]) for i in (near, far)] == ["src", "mid"]
    assert found.lockout[[near, far]].tolist() == [3, 4]
    assert found.fast.tolist() == [1, 1]
    assert found.counts[[near, far]].tolist() == [2, 3]


def test_which_laterals_a_scenario_converts_does_not_matter():
    none, all_of_them = checks_of(scenario=Scenario(AS_BUILT)), checks_of(scenario=ALL)
    pd.testing.assert_frame_equal(application_frame(none), application_frame(all_of_them))


# --- frames ------------------------------------------------------------------------------


def test_application_frame_has_the_contract_s_columns_and_one_a_check():
    frame = application_frame(checks_of(backup={"minimum_trip_a": 50.0}))
    assert list(frame.columns) == ["lateral_id", "verdict", "rated_current_a", "counts", "actuating_current_a",
                                   "unseen_share", *(kind.key for kind in CHECKS), "not_passed"]
    row = frame.iloc[0]
    assert (row["lateral_id"], row["verdict"], row["rated_current_a"], row["counts"]) == ("tap", "fail", 50.0, 3)
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


# --- current profile ---------------------------------------------------------------------


def test_current_profile_runs_from_the_head_to_every_end():
    """Head 2 km, 400 A to 200 A; at its middle 1/(0.5/400 + 0.5/200) = 266.7 A. Far tap 3 km, near tap 1 km."""
    below = [{"section_id": "near", "fault_current_source_a": 200.0, "fault_current_end_a": 150.0},
             {"section_id": "far", "device": "fuse", "length_km": 3.0, "fault_current_source_a": 200.0,
              "fault_current_end_a": 80.0}]
    network = checks_of(below=below).network
    profile = current_profile(network, int(network.lateral_heads[0]))
    assert len(profile) == 3 * PROFILE_POINTS
    ends = profile.groupby("section_id", sort=False)[["distance_km", "current_a"]].agg(["first", "last"])
    assert ends.loc["tap"].tolist() == pytest.approx([0.0, 2.0, 400.0, 200.0])
    assert ends.loc["near"].tolist() == pytest.approx([2.0, 3.0, 200.0, 150.0])
    assert ends.loc["far"].tolist() == pytest.approx([2.0, 5.0, 200.0, 80.0])
    tap = profile[profile["section_id"] == "tap"]
    assert tap["current_a"].iloc[PROFILE_POINTS // 2] == pytest.approx(266.6667, abs=1e-4)
    flags = profile.groupby("section_id")[["answered_for", "deepest"]].first()
    assert flags["answered_for"].to_dict() == {"tap": True, "near": True, "far": False}
    assert flags["deepest"].to_dict() == {"tap": True, "near": False, "far": True}


def test_current_profile_without_currents_is_blank():
    network = checks_of({"fault_current_end_a": np.nan}).network
    assert current_profile(network, 1)["current_a"].isna().all()


def test_overall_fail_is_the_heaviest_code():
    assert VERDICTS[FAIL] == "fail" == overall(checks_of(backup={"minimum_trip_a": 50.0}))
