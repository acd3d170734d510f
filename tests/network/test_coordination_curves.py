"""The curves that meet at a lateral: times as they are, intervals without gaps, and what is there without settings."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from reliability.network.coordination import coordination
from reliability.network.coordination_curves import LateralCurves, lateral_curves
from reliability.network.device_settings import ALL_ELEMENTS, DELAYED_OPERATION, FAST_OPERATION, PHASE_ELEMENTS
from reliability.network.model import Model
from reliability.network.protection import protection
from tests.network.inverse import inverse_time_s
from tests.networks import random_study, study_of

MAIN = {"section_id": "main", "device": "recloser", "length_km": 5.0, "fast_operations": 2.0,
        "operations_to_lockout": 4.0}
TAP = {"section_id": "tap", "parent_id": "main", "device": "fuse", "fuse_link": "65K", "length_km": 3.0,
       "fault_current_source_a": 1200.0, "fault_current_end_a": 600.0}
SETTINGS = (
    {"section_id": "main", "pickup_a": 400.0, "curve": "ieee_very_inverse", "time_dial": 0.2},
    {"section_id": "main", "operation": "delayed", "pickup_a": 400.0, "curve": "ieee_very_inverse", "time_dial": 2.0},
    {"section_id": "main", "element": "ground", "pickup_a": 150.0, "curve": "definite", "time_dial": 0.05,
     "added_time_s": 0.02},
)


def curves_of(rows=(MAIN, TAP), settings=SETTINGS, head="tap", actuating_a=80.0, **values) -> LateralCurves:
    study = study_of(rows, settings=settings, **values)
    network, found = study.network, protection(study.model)
    at = int(np.flatnonzero(network.ids == head)[0])
    return lateral_curves(study.model, found, coordination(study.model, (found,)), at, actuating_a)


def test_curves_are_the_times_of_link_and_device():
    found = curves_of()
    assert (found.link, found.recloser, found.fast_operations) == ("65K", "main", 2)
    # the 0.1 s points of the table: 918 A at the least, 1100 A at the most
    assert found.melting_s[found.current_a == 918.0].tolist() == pytest.approx([0.75 * 0.1])
    assert found.clearing_s[found.current_a == 1100.0].tolist() == pytest.approx([0.1 + 0.013])
    phase, every = found.device_s[FAST_OPERATION, PHASE_ELEMENTS], found.device_s[FAST_OPERATION, ALL_ELEMENTS]
    expected = inverse_time_s("ieee_very_inverse", found.current_a, 400.0, 0.2)
    np.testing.assert_allclose(phase, expected)
    np.testing.assert_allclose(every, np.where(found.current_a > 150.0, np.minimum(expected, 0.07), np.inf))
    np.testing.assert_allclose(found.device_s[DELAYED_OPERATION, PHASE_ELEMENTS],
                               inverse_time_s("ieee_very_inverse", found.current_a, 400.0, 2.0))
    assert (found.low_a, found.high_a, found.actuating_a) == (600.0, 1200.0, 80.0)
    assert np.isnan(found.ceiling_a)


def test_currents_follow_the_factor():
    found = curves_of(fault_current_factor=2.0)
    assert (found.low_a, found.high_a) == (1200.0, 2400.0)


def test_without_settings_there_is_the_assumed_time_and_the_ceiling():
    found = curves_of(settings=(), fast_clearing_time_s=0.075)
    assert not found.device_s
    assert found.fast_s == 0.075
    assert found.ceiling_a == pytest.approx(918.0)
    assert [(i.kind, i.low_a, i.outcome) for i in found.intervals] == [
        (FAST_OPERATION, 600.0, 0), (FAST_OPERATION, pytest.approx(918.0), 1), (DELAYED_OPERATION, 600.0, 2)]
    blocked = curves_of(({**MAIN, "fast_operations": 0.0}, TAP), settings=())
    assert np.isnan([blocked.fast_s, blocked.ceiling_a]).all()
    assert {i.kind for i in blocked.intervals} == {DELAYED_OPERATION}


@pytest.mark.parametrize(("device", "recloser"), [("sectionalizer", "main"), ("lateral_recloser", "tap")])
def test_a_head_without_a_fuse_has_no_link(device, recloser):
    found = curves_of((MAIN, {**TAP, "device": device, "fuse_link": "", "actuating_current_a": 33.0}),
                      actuating_a=np.nan)
    assert (found.link, found.melting_s, found.intervals, found.recloser) == ("", None, (), recloser)
    assert found.actuating_a == 33.0 if device == "sectionalizer" else np.isnan(found.actuating_a)
    assert found.high_a == 1200.0


def test_unknown_currents_leave_the_curves():
    found = curves_of((MAIN, {k: v for k, v in TAP.items() if not k.startswith("fault")}))
    assert np.isnan([found.low_a, found.high_a]).all()
    assert found.intervals == ()
    assert np.isfinite(found.melting_s).any()


@pytest.mark.parametrize("seed", range(8))
def test_intervals_fill_the_currents_and_are_those_of_the_race(seed):
    study = random_study(np.random.default_rng(seed), 40, full=True)
    network, found = study.network, protection(study.model)
    races = coordination(Model(network, study.values), (found,))
    for head in network.candidates.tolist():
        curves = lateral_curves(Model(network, study.values), found, races, head)
        assert (np.diff(curves.current_a) > 0).all()
        for kind, part in {(i.kind, i.part) for i in curves.intervals}:
            here = [i for i in curves.intervals if (i.kind, i.part) == (kind, part)]
            assert (here[0].low_a, here[-1].high_a) == (curves.low_a, curves.high_a)
            assert all(a.high_a == b.low_a for a, b in pairwise(here))
            for one in here:
                middle = (one.low_a + one.high_a) / 2.0
                assert races.race.outcome_at(int(races.right[0, head]), kind, part, middle) == one.outcome
