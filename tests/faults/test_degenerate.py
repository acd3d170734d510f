"""Corners of model §3 and §8 where a rule has nothing left to decide: they run, in both programs, and end as stated."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.pipeline import analyse
from reliability.schema.scenarios import Scenario
from tests.adapter import core_results, differences
from tests.enumeration import enumerate_study
from tests.networks import random_study, study_of

SECTIONALIZERS = Scenario("S", None, "sectionalizer", 2)
MAIN = {"section_id": "main", "device": "breaker", "customers": 90, "operations_to_lockout": 4.0,
        "fast_operations": 2.0}
TAP = {"section_id": "tap", "parent_id": "main", "device": "fuse", "fuse_link": "65K", "length_km": 1.0,
       "phases": 1.0, "customers": 10, "fault_current_source_a": 900.0, "fault_current_end_a": 400.0}
# one fault a year, on the tap; temporary ones clear in the first dead time
SURE = {"line_fault_rate_per_km": 1.0, "temporary_fraction": 0.5, "clearing_shares": (1.0, 0.0, 0.0),
        "fuse_failure": 0.0, "sectionalizer_failure": 0.0, "reclosing_off_share": 0.0}


def rows_of(main: dict | None = None, tap: dict | None = None) -> list[dict]:
    return [MAIN | (main or {}), TAP | (tap or {})]


def element(pickup: float, curve: str, dial: float = 1.0, **row: object) -> dict:
    return {"section_id": "main", "pickup_a": pickup, "curve": curve, "time_dial": dial, "added_time_s": 0.0} | row


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("corner", [{"operations_to_lockout": 1.0, "fast_operations": 0.0},
                                    {"reclosing_off_share": 1.0},
                                    {"fault_current_source_a": np.nan, "fault_current_end_a": np.nan}], ids=str)
def test_random_networks_with_a_corner_everywhere(seed, corner):
    study = random_study(np.random.default_rng(seed), 14, full=True, operations_to_lockout=1, fast_operations=0)
    recloses = study.sections["device"].isin(["breaker", "recloser", "lateral_recloser"])
    cells = {name: value if name.startswith("fault") else study.sections[name].where(~recloses, value)
             for name, value in corner.items()}
    study = study.with_sections(study.sections.assign(**cells))
    assert differences(core_results(study), enumerate_study(study)) == []


def test_one_operation_everywhere_leaves_every_device_as_it_is(engine):
    """A permanent fault melts the fuse; no sectionalizer would ever open, so none is put in (study notes say so)."""
    study = study_of(rows_of({"operations_to_lockout": 1.0, "fast_operations": 0.0}), [SECTIONALIZERS], **SURE)
    as_built, converted = (engine(study)[name] for name in ("As built", "S"))
    assert as_built["saifi"] == pytest.approx(0.1)
    assert as_built["maifi"] == 0.0
    assert as_built["callouts"] == pytest.approx({"refuse": 0.5, "repair": 0.5, "reset": 0.0, "patrol": 0.0})
    assert differences(converted, as_built) == []


@pytest.mark.parametrize(("trip", "as_built"), [("delayed", 0.1), ("fast", 1.0)])
def test_a_zone_that_is_always_off_locks_out_for_whatever_a_fuse_does_not_clear(engine, trip, as_built):
    """A sectionalizer never opens there; on a fast trip R is before the fuse (65K is saved below 918 A at 0.075 s)."""
    study = study_of(rows_of({"reclosing_off_share": 1.0}), [SECTIONALIZERS], **SURE,
                     reclosing_off_trip=trip, fast_clearing_time_s=0.075)
    found = engine(study)
    assert found["As built"]["saifi"] == pytest.approx(as_built)
    assert found["S"]["saifi"] == pytest.approx(1.0)
    assert found["S"]["sectionalizer_operations"] == found["S"]["maifi"] == 0.0
    assert found["S"]["callouts"] == pytest.approx({"patrol": 0.5, "repair": 0.5, "refuse": 0.0, "reset": 0.0})


@pytest.mark.parametrize("settings", [(), (element(50.0, "definite", 9.0),)])
def test_no_current_known_saves_every_fuse_on_a_fast_operation_and_none_on_a_delayed_one(engine, settings):
    """Whatever the settings: nothing can be compared. Half the faults clear after one opening, half melt the fuse."""
    unknown = {"fault_current_source_a": np.nan, "fault_current_end_a": np.nan}
    found = engine(study_of(rows_of(tap=unknown), settings=settings, **SURE))["As built"]
    assert found["saifi"] == pytest.approx(0.05)
    # temporary: 100 customers, one opening; permanent: two openings seen by the 90 others
    assert (found["maifi_e"], found["maifi"]) == pytest.approx((0.5 + 0.5 * 0.9, 0.5 + 0.5 * 2 * 0.9))


@pytest.mark.parametrize("operation", ["fast", "delayed"])
def test_a_pickup_above_every_fault_current_leaves_all_to_the_fuse(engine, operation):
    found = engine(study_of(rows_of(), settings=[element(1e5, "definite", 0.01, operation=operation)], **SURE))
    assert found["As built"]["saifi"] == pytest.approx(0.1)
    assert found["As built"]["maifi"] == 0.0


@pytest.mark.parametrize(("same", "saifi", "maifi"), [("melting", 0.9 * 0.5 + 0.1 * 0.5, 0.5), ("clearing", 0.1, 0.0)])
def test_curves_of_fuse_and_device_that_are_the_same(engine, same, saifi, maifi):
    """As the fuse's melting (times its factor) R is in time, t ≤ tₘ, so every operation is R's alone and a permanent
    fault locks out; as its clearing the fuse is, t꜀ ≤ t_r."""
    melting = [(100.0, 100.0), (1000.0, 0.5)]
    curves = [("65K melting", *point) for point in melting]
    curves += [("65K clearing", 1.2 * current, 1.5 * time) for current, time in melting]
    curves += [("own", *point[1:]) for point in curves if point[0] == f"65K {same}"]
    own = element(1.0, "own", 0.75 if same == "melting" else 1.0)
    found = engine(study_of(rows_of(), settings=[own, own | {"operation": "delayed"}], curves=curves, **SURE))
    assert found["As built"]["saifi"] == pytest.approx(saifi)
    assert found["As built"]["maifi"] == pytest.approx(maifi)


def test_a_fault_that_no_element_sees_and_no_fuse_clears_is_opened_all_the_same(engine):
    """Ground elements alone, and three-phase faults: somebody opens R, as often as it has operations (model §8)."""
    tap = {"device": "", "fuse_link": "", "phases": 3.0}
    found = engine(study_of(rows_of(tap=tap), settings=[element(50.0, "definite", element="ground")],
                            **SURE | {"phases_involved": (0.0, 0.0, 1.0)}))["As built"]
    assert (found["saifi"], found["maifi"]) == pytest.approx((0.5, 0.5))
    assert found["callouts"]["repair"] == pytest.approx(0.5)


def test_a_fault_that_no_element_sees_is_the_fuses_where_there_is_one(engine):
    found = engine(study_of(rows_of(tap={"phases": 3.0}), settings=[element(50.0, "definite", element="ground")],
                            **SURE | {"phases_involved": (0.0, 0.0, 1.0)}))["As built"]
    assert (found["saifi"], found["maifi"]) == pytest.approx((0.1, 0.0))


@pytest.mark.parametrize("corner", [{"operations_to_lockout": 1, "fast_operations": 0}, {"reclosing_off_share": 1.0},
                                    {"reclosing_off_share": 1.0, "reclosing_off_trip": "fast"}], ids=str)
def test_a_whole_run_of_such_a_study_ends(corner):
    main = {"operations_to_lockout": np.nan, "fast_operations": np.nan}
    results = analyse(study_of(rows_of(main), [SECTIONALIZERS], **SURE | corner), trials=20, seed=1)
    assert results.simulated.trials == 20
    assert np.isfinite(results.business.capital[1].total_units)
