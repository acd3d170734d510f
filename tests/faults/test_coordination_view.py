"""Faults by what an operation does between fuse and reclosing device: against the rules of model §3 at dense places."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.faults.coordination_view import (
    BOTH,
    DEVICE_ALONE,
    FUSE_ALONE,
    NO_FUSE,
    NOT_SET,
    OUTCOME_KEYS,
    OUTCOME_WORDS,
    UNKNOWN_OUTCOME,
    feeders_frame,
    growth_frame,
    laterals_frame,
    split_by_outcome,
    splits_by_factor,
)
from reliability.network.coordination import coordination, known_link
from reliability.network.device_settings import (
    ALL_ELEMENTS,
    FAST_OPERATION,
    OPERATION_KINDS,
    PHASE_ELEMENTS,
    clearing_times_s,
)
from reliability.network.link_curves import link_curves, minimum_melting_s, own_curves, total_clearing_s
from reliability.network.model import Model
from reliability.network.protection import protection
from reliability.network.rates import fault_rates
from reliability.schema.devices import DEVICES
from tests.networks import random_study, study_of

DENSE = 4000
RECLOSING = ("breaker", "recloser", "lateral_recloser")


def outcome_by_hand(study, found, ceiling_a, fuse: int, recloser: int, kind: int, part: int, current: np.ndarray):
    """Model §3, one operation, word for word, at known currents."""
    network, values = study.network, study.values
    own, device = own_curves(network.curves), int(found.settings_of[recloser])
    link, here = known_link(str(found.link[fuse]), own), np.zeros(len(current), dtype=int)
    links = link_curves([link], own) if link else None
    if device < 0 or links is None:
        holds = links.longest_melting_a[0] if links else 0.0
        if kind == FAST_OPERATION:
            return np.where((current < ceiling_a) | (current < holds), DEVICE_ALONE, BOTH)
        return np.where(current < holds, DEVICE_ALONE, FUSE_ALONE)
    t, t_r = (clearing_times_s(network.settings, device, kind, part, current, added) for added in (True, False))
    t_m = values["fuse_melting_factor"] * minimum_melting_s(links, here, current)
    t_c = total_clearing_s(links, here, current, values["fuse_arcing_time_s"])
    alone = (t <= t_m) | (np.isinf(t_c) & np.isinf(t_r))
    return np.where(alone, DEVICE_ALONE, np.where(t_c <= t_r, FUSE_ALONE, BOTH))


def shares_by_hand(study, found, i: int, ceiling_a: np.ndarray) -> np.ndarray:
    """(OPERATION_KINDS, outcomes) of section i, at DENSE places along it."""
    network, values, result = study.network, study.values, np.zeros((OPERATION_KINDS, len(OUTCOME_WORDS)))
    at, fuse = i, None
    while DEVICES[found.device[at]] not in RECLOSING if found.device[at] >= 0 else True:
        if fuse is None and found.device[at] >= 0 and DEVICES[found.device[at]] == "fuse":
            fuse = at
        at = int(network.parent[at])
    near, far = (values["fault_current_factor"] * network.column[f"fault_current_{e}_a"][i] for e in ("source", "end"))
    x = (np.arange(DENSE) + 0.5) / DENSE
    current = 1.0 / ((1.0 - x) / near + x / far)
    one, two, three = values["phases_involved"]
    device = found.settings_of[at]
    split = device >= 0 and network.settings.has_ground[device] and network.phases[i] == 3
    parts = [(one + two, ALL_ELEMENTS), (three, PHASE_ELEMENTS)] if split else [(1.0, ALL_ELEMENTS)]
    for kind in range(OPERATION_KINDS):
        if fuse is None:
            result[kind, NO_FUSE] = 1.0
        elif kind == FAST_OPERATION and found.fast[at] == 0:
            result[kind, NOT_SET] = 1.0
        elif np.isnan(near + far):
            result[kind, UNKNOWN_OUTCOME] = 1.0
        else:
            for weight, part in parts:
                what = outcome_by_hand(study, found, ceiling_a[fuse], fuse, at, kind, part, current)
                result[kind] += weight * np.bincount(what, minlength=len(OUTCOME_WORDS)) / DENSE
    return result


@pytest.mark.parametrize("seed", range(12))
def test_shares_are_those_of_the_rules_at_dense_places(seed):
    study = random_study(np.random.default_rng(seed), 40, full=True)
    network, found = study.network, protection(study.model)
    races = coordination(Model(network, study.values), (found,))
    share = split_by_outcome(Model(network, study.values), found, races).share
    for i in range(len(network)):
        expected = shares_by_hand(study, found, i, races.ceiling_a[0])
        # each change of outcome is met within one place of DENSE
        np.testing.assert_allclose(share[i], expected, atol=8 / DENSE, err_msg=str(network.ids[i]))


def test_random_studies_hold_every_outcome():
    """What the test above compares is there."""
    seen = np.zeros((OPERATION_KINDS, len(OUTCOME_WORDS)))
    for seed in range(12):
        study = random_study(np.random.default_rng(seed), 40, full=True)
        seen += split_by_outcome(study.model, protection(study.model)).share.sum(axis=0)
    assert (seen > 0).sum() == seen.size - 1
    assert seen[1, NOT_SET] == 0.0


@pytest.mark.parametrize("seed", range(6))
def test_sums_are_whole(seed):
    """Shares sum to 1; a feeder is its laterals and its mains; laterals are the units of the network."""
    study = random_study(np.random.default_rng(seed), 40, full=True)
    network, found = study.network, protection(study.model)
    split = split_by_outcome(Model(network, study.values), found)
    np.testing.assert_allclose(split.share.sum(axis=2), 1.0, rtol=1e-12)
    faults = fault_rates(Model(network, study.values))
    feeders, laterals = feeders_frame(network, split), laterals_frame(network, found, split)
    sums = feeders.groupby(["feeder_id", "operation"])[["km", "faults_per_year"]].sum()
    for f, name in enumerate(network.feeder_ids):
        for operation in ("fast", "delayed"):
            here = network.feeder == f
            assert sums.loc[(str(name), operation), "km"] == pytest.approx(network.column["length_km"][here].sum())
            assert sums.loc[(str(name), operation), "faults_per_year"] == pytest.approx(faults[here].sum())
    shares = laterals[list(OUTCOME_KEYS)].to_numpy()
    there = laterals["faults_per_year"].to_numpy() > 0
    np.testing.assert_allclose(shares[there].sum(axis=1), 1.0, rtol=1e-12)
    assert np.isnan(shares[~there]).all()
    for operation in ("fast", "delayed"):
        rows = (laterals["operation"] == operation).to_numpy() & there
        by_unit = (shares * laterals["faults_per_year"].to_numpy()[:, None])[rows].sum(axis=0)
        part = feeders[(feeders["operation"] == operation) & (feeders["part"] == "laterals")]
        by_feeder = [part.loc[part["outcome"] == name, "faults_per_year"].sum() for _, name in OUTCOME_WORDS.values()]
        np.testing.assert_allclose(by_unit, by_feeder, rtol=1e-9, atol=1e-12)


ROWS = (
    {"section_id": "main", "device": "recloser", "length_km": 5.0, "fast_operations": 2.0,
     "operations_to_lockout": 4.0},
    {"section_id": "tap", "parent_id": "main", "device": "fuse", "fuse_link": "65K", "length_km": 3.0,
     "fault_current_source_a": 1200.0, "fault_current_end_a": 600.0},
    {"section_id": "branch", "parent_id": "tap", "length_km": 1.0},
)


def shares_of(rows=ROWS, **values) -> dict[tuple[str, str], float]:
    study = study_of(rows, fast_clearing_time_s=0.075, **values)
    found = protection(study.model)
    frame = laterals_frame(study.network, found, split_by_outcome(study.model, found))
    return {(r["operation"], key): r[key] for r in frame[frame["lateral_id"] == "tap"].to_dict("records")
            for key in OUTCOME_KEYS}


def test_a_device_without_settings_saves_below_the_ceiling():
    """65K melts in 0.1 s at 918 A; on 1200 to 600 A that is at x = (1200/918 − 1), and a quarter is unknown."""
    found = shares_of()
    ceiling = 1200.0 / 918.0 - 1.0
    assert found["fast", "both"] == pytest.approx(0.75 * ceiling)
    assert found["fast", "saved"] == pytest.approx(0.75 * (1.0 - ceiling))
    assert found["fast", "unknown"] == found["delayed", "unknown"] == pytest.approx(0.25)
    assert found["delayed", "fuse_alone"] == pytest.approx(0.75)


def test_fast_operations_that_are_not_set_and_faults_without_a_fuse_stand_apart():
    blocked = ({**ROWS[0], "fast_operations": 0.0}, *ROWS[1:])
    assert shares_of(blocked)["fast", "not_set"] == 1.0
    counting = (ROWS[0], {**ROWS[1], "device": "sectionalizer", "fuse_link": ""}, ROWS[2])
    found = shares_of(counting)
    assert found["fast", "no_fuse"] == found["delayed", "no_fuse"] == 1.0


def test_an_unknown_link_is_saved_by_every_fast_operation():
    found = shares_of((ROWS[0], {**ROWS[1], "fuse_link": ""}))
    assert found["fast", "saved"] == found["delayed", "fuse_alone"] == 1.0


def test_coordination_is_lost_as_the_source_grows():
    """At 1.5 × 1200 and 600 A the ceiling of 918 A lies at x = (1800/918 − 1), at 2 × it is met nowhere."""
    study = study_of(ROWS[:2], fast_clearing_time_s=0.075, fault_current_factor=1.1)
    found = protection(study.model)
    growth = growth_frame(splits_by_factor(study.model, found), study.network.unit >= 0)
    fast = growth[growth["operation"] == "fast"].set_index("fault_current_factor")["saved"]
    assert fast.index.tolist() == [1.0, 1.1, 1.25, 1.5, 2.0]
    assert fast.tolist() == pytest.approx([1.0 - (f * 1200.0 / 918.0 - 1.0) for f in fast.index[:-1]] + [0.0])


def test_the_demo_s_growth_is_that_of_a_study_with_grown_currents(demo):
    network, found = demo.network, protection(demo.model)
    split = splits_by_factor(Model(network, demo.values), found)[1.5]
    grown = network.with_columns({f"fault_current_{end}_a": 1.5 * network.column[f"fault_current_{end}_a"]
                                  for end in ("source", "end")})
    np.testing.assert_allclose(split.share, split_by_outcome(Model(grown, demo.values), found).share, atol=1e-9)


@pytest.mark.parametrize(("tap", "rule"), [
    ({}, "fast clearing time"), ({"device": "sectionalizer", "fuse_link": ""}, "no fuse")])
def test_what_decides_is_named(tap, rule):
    study = study_of((ROWS[0], {**ROWS[1], **tap}, ROWS[2]), fast_clearing_time_s=0.075)
    found = protection(study.model)
    frame = laterals_frame(study.network, found, split_by_outcome(study.model, found))
    assert set(frame["rule"]) == {rule}
