"""Devices and settings of a scenario (contract.md, sections.csv and scenarios)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.network.coordination import coordination
from reliability.network.devices import CODE
from reliability.network.model import Model
from reliability.network.protection import chosen_rating_a, offered_ratings_a, protection, protections_of
from reliability.network.tree import build_network
from reliability.schema.assumptions import defaults
from reliability.schema.devices import FUSE, LATERAL_RECLOSER, RECLOSER, SECTIONALIZER
from reliability.schema.scenarios import AS_BUILT, Conversion, Scenario
from tests.networks import study_of

ROWS = (
    {"section_id": "src", "device": "breaker", "operations_to_lockout": 3.0, "fast_operations": 1.0},
    {"section_id": "mid", "parent_id": "src", "device": "recloser"},
    {"section_id": "fused", "parent_id": "mid", "device": "fuse", "fuse_link": "65K", "peak_load_a": 40.0},
    {"section_id": "sub", "parent_id": "fused", "device": "fuse", "saving_ceiling_a": 700.0, "fuse_link": "15K"},
    {"section_id": "counted", "parent_id": "mid", "device": "sectionalizer", "counts": 1.0, "rated_current_a": 100.0},
    {"section_id": "dark", "parent_id": "mid", "device": "sectionalizer"},
    {"section_id": "reclosed", "parent_id": "src", "device": "lateral_recloser", "operations_to_lockout": 2.0,
     "fast_operations": 1.0, "peak_load_a": 10.0},
    {"section_id": "plain", "parent_id": "src", "device": ""},
)
VALUES = {"operations_to_lockout": 4, "fast_operations": 2, "sectionalizer_counts": 2, "fast_clearing_time_s": 0.075,
          "load_margin": 1.25, "cold_load_factor": 2.0}


def resolved(scenario: Scenario, **values: object):
    """A function from a field of Protection, or "ceiling_a" of Coordination, and a section_id to its value."""
    study = study_of(ROWS, **(VALUES | values))
    network = build_network(study.sections)
    at = {name: i for i, name in enumerate(network.ids)}
    found = protection(Model(network, study.values), scenario)
    ceiling = coordination(Model(network, study.values), [found]).ceiling_a[0]
    return lambda field, section: (ceiling if field == "ceiling_a" else getattr(found, field))[at[section]].item()


def ratings(load_a, margin: float, pickup: float, ratio: float = 1.6) -> np.ndarray:
    """Chosen ratings under these assumptions."""
    return chosen_rating_a(np.asarray(load_a, dtype=float), defaults() | {
        "load_margin": margin, "cold_load_factor": pickup, "actuating_ratio": ratio})


def device(of, section: str) -> str:
    return {code: name for name, code in CODE.items()}.get(of("device", section), "")


# --- ratings -----------------------------------------------------------------------------


def test_ratings_run_from_5_to_200_a_and_actuate_at_160_percent():
    """Common practice, no source. Every rating offered, as the device of a lateral that states it."""
    offered = offered_ratings_a()
    assert (offered[0], offered[-1]) == (5.0, 200.0)
    assert np.all(np.diff(offered) > 0)
    rows = [{"section_id": "src", "device": "breaker"}] + [
        {"section_id": f"{a:g}", "parent_id": "src", "device": "sectionalizer", "rated_current_a": a} for a in offered]
    study = study_of(rows)
    found = protection(study.model, Scenario(AS_BUILT))
    assert found.actuating_a[1:] == pytest.approx(1.6 * offered, rel=1e-15)
    assert study.values["actuating_ratio"] == 1.6
    higher = protection(Model(study.network, study.values | {"actuating_ratio": 2.0}), Scenario(AS_BUILT))
    assert higher.actuating_a[1:] == pytest.approx(2.0 * offered, rel=1e-15)


@pytest.mark.parametrize(("load", "margin", "pickup", "rating"), [
    (40.0, 1.25, 2.0, 50.0),    # 1.25·40 = 50; 2·40 = 80 = 1.6·50: both just in
    (40.01, 1.25, 2.0, 63.0),   # 50.0125 is above 50
    (40.0, 1.0, 2.0, 50.0),     # load alone would take 40; 2·40 = 80 is above 1.6·40 = 64
    (40.0, 1.0, 1.6, 40.0),     # 1.6·40 = 64 = 1.6·40
    (40.0, 1.0, 3.0, 80.0),     # 3·40 = 120; 1.6·63 = 100.8, 1.6·80 = 128
    (0.0, 1.25, 2.0, 5.0),      # no load: the smallest
    (160.0, 1.25, 2.0, 200.0),  # 200 and 320 = 1.6·200
    (160.1, 1.25, 2.0, np.nan),  # 200.125: none
    (np.nan, 1.25, 2.0, np.nan),
])
def test_chosen_rating(load, margin, pickup, rating):
    assert ratings([load], margin, pickup) == pytest.approx([rating], nan_ok=True)


def test_a_higher_actuating_ratio_lets_a_smaller_rating_stand_cold_load_pickup():
    """40 A · 3 = 120 A: 1.6·80 = 128, 2.4·50 = 120; the load asks for 40 A alone."""
    assert [ratings([40.0], 1.0, 3.0, ratio)[0] for ratio in (1.6, 2.4, 3.0)] == [80.0, 50.0, 40.0]


def test_a_margin_met_exactly_takes_the_rating_whatever_the_rounding():
    """1.1 · (rating/1.1) may come out a bit above the rating in floating point."""
    offered = offered_ratings_a()
    for margin in (1.1, 1.15, 1.25, 1.3, 1.7):
        assert ratings(offered / margin, margin, 1.0) == pytest.approx(offered)


@given(st.floats(0.0, 300.0), st.floats(1.0, 2.0), st.floats(1.0, 3.0), st.floats(1.0, 5.0))
def test_more_load_never_lowers_the_chosen_rating(load, factor, margin, pickup):
    """None at all counts as beyond the largest."""
    small, large = np.nan_to_num(ratings([load, load * factor], margin, pickup), nan=np.inf)
    assert small <= large


# --- as built ----------------------------------------------------------------------------


def test_settings_as_built_and_their_defaults():
    of = resolved(Scenario(AS_BUILT))
    assert (of("lockout", "src"), of("fast", "src")) == (3, 1)
    assert (of("lockout", "mid"), of("fast", "mid")) == (4, 2)
    assert (of("lockout", "reclosed"), of("fast", "reclosed")) == (2, 1)
    assert (of("lockout", "fused"), of("fast", "fused"), of("lockout", "plain")) == (0, 0, 0)
    assert of("ceiling_a", "fused") == pytest.approx(918.0)  # 65K at 0.075/0.75 = 0.1 s
    assert of("ceiling_a", "sub") == 700.0                   # a stated ceiling overrides the link's
    assert (of("counts", "counted"), of("counts", "dark")) == (1, 2)
    assert of("actuating_a", "counted") == pytest.approx(160.0)
    assert of("actuating_a", "dark") == 0.0                  # always counts where nothing is known
    assert np.isnan(of("rated_a", "dark"))
    assert not any(of("converted", row["section_id"]) for row in ROWS)


def test_what_scenarios_have_alike_stands_once_and_is_what_each_has():
    study = study_of(ROWS, **VALUES)
    model = Model(build_network(study.sections), study.values)
    scenarios = (Scenario(AS_BUILT), Scenario("S", None, SECTIONALIZER), Scenario("blocked", fast_operations=0))
    as_built, converted, blocked = found = protections_of(model, scenarios)
    for scenario, each in zip(scenarios, found, strict=True):
        for name, array in vars(protection(model, scenario)).items():
            np.testing.assert_array_equal(getattr(each, name), array)
    assert blocked.device is as_built.device
    assert blocked.off_share is as_built.off_share          # blanks count as alike
    assert converted.device is not as_built.device
    assert blocked.fast is not as_built.fast


def test_a_lateral_recloser_without_settings_has_no_fast_operation():
    study = study_of([{"section_id": "src", "device": "breaker"},
                      {"section_id": "tap", "parent_id": "src", "device": "lateral_recloser"}], **VALUES)
    found = protection(study.model, Scenario(AS_BUILT))
    assert found.lockout.tolist() == [4, 4]
    assert found.fast.tolist() == [2, 0]


def test_a_stated_actuating_current_stands_over_the_rating():
    study = study_of([{"section_id": "src", "device": "breaker"},
                      {"section_id": "tap", "parent_id": "src", "device": "sectionalizer", "rated_current_a": 50.0,
                       "actuating_current_a": 120.0}])
    assert protection(study.model, Scenario(AS_BUILT)).actuating_a[1] == 120.0


def test_a_sectionalizer_without_rating_takes_the_one_chosen_for_its_load():
    """Contract, rated_current_a: chosen by the application rules. 1.25·100 = 125, 2·100 = 200 = 1.6·125."""
    study = study_of([{"section_id": "src", "device": "breaker"},
                      {"section_id": "tap", "parent_id": "src", "device": "sectionalizer", "peak_load_a": 100.0}])
    found = protection(study.model, Scenario(AS_BUILT))
    assert (found.rated_a[1], found.actuating_a[1]) == (125.0, 200.0)


# --- conversions -------------------------------------------------------------------------


def test_converted_laterals_lose_what_the_old_device_had():
    of = resolved(Scenario("S", ("fused", "counted", "dark", "reclosed"), SECTIONALIZER, 3))
    assert [device(of, s) for s in ("fused", "counted", "dark", "reclosed")] == [SECTIONALIZER] * 4
    assert [device(of, s) for s in ("src", "mid", "sub", "plain")] == ["breaker", RECLOSER, FUSE, ""]
    assert [of("converted", s) for s in ("fused", "reclosed")] == [True, True]
    assert np.isnan(of("ceiling_a", "fused"))
    assert of("ceiling_a", "sub") == 700.0
    assert (of("lockout", "reclosed"), of("fast", "reclosed")) == (0, 0)
    assert (of("rated_a", "fused"), of("actuating_a", "fused")) == (50.0, 80.0)          # 1.25·40 = 50
    assert (of("rated_a", "reclosed"), of("actuating_a", "reclosed")) == (12.5, 20.0)    # 1.25·10 = 12.5


def test_all_means_every_fuse_and_sectionalizer_but_no_lateral_recloser_nor_what_is_underground():
    of = resolved(Scenario("S", None, SECTIONALIZER, 3))
    assert [device(of, s) for s in ("fused", "counted", "dark", "reclosed")] == [SECTIONALIZER] * 3 + [LATERAL_RECLOSER]
    assert (of("converted", "reclosed"), of("lockout", "reclosed"), of("fast", "reclosed")) == (False, 2, 1)
    rows = [ROWS[0], {"section_id": "cable", "parent_id": "src", "device": FUSE, "construction": "underground"}]
    for laterals in (None, ("cable",)):
        study = study_of(rows, **VALUES)
        found = protection(study.model, Scenario("S", laterals, SECTIONALIZER))
        assert found.device.tolist() == [CODE["breaker"], CODE[FUSE]]


def test_a_fuse_behind_a_lateral_recloser_is_a_candidate():
    rows = [*ROWS, {"section_id": "spur", "parent_id": "reclosed", "device": FUSE}]
    study = study_of(rows, **VALUES)
    network = build_network(study.sections)
    found = protection(Model(network, study.values), Scenario("S", None, SECTIONALIZER, 3))
    at = {name: i for i, name in enumerate(network.ids)}
    assert found.device[at["spur"]] == CODE[SECTIONALIZER]
    assert found.counts[at["spur"]] == 1  # the lateral recloser has two operations
    assert found.device[at["sub"]] == CODE[FUSE]  # a fuse below a fuse is none


@pytest.mark.parametrize(("backup", "asked", "counts"), [("3", 3, 2), ("4", 3, 3), ("2", 2, 1), ("2", None, 1)])
def test_counts_that_a_scenario_sets_are_lowered_to_what_the_backup_admits(backup, asked, counts):
    study = study_of([ROWS[0] | {"operations_to_lockout": float(backup)},
                      {"section_id": "tap", "parent_id": "src", "device": FUSE}], **VALUES)
    found = protection(study.model, Scenario("S", None, SECTIONALIZER, asked))
    assert found.counts[1] == counts


def test_behind_a_backup_of_one_operation_the_device_stays():
    """Even where two conversions hang together: the lower one counts for the lateral recloser that stays."""
    rows = [ROWS[0] | {"operations_to_lockout": 1.0, "fast_operations": 0.0},
            {"section_id": "tap", "parent_id": "src", "device": FUSE, "fuse_link": "65K"},
            {"section_id": "lr", "parent_id": "src", "device": LATERAL_RECLOSER, "operations_to_lockout": 3.0},
            {"section_id": "spur", "parent_id": "lr", "device": FUSE}]
    study = study_of(rows, **VALUES)
    every = Scenario("S", ("tap", "lr", "spur"), SECTIONALIZER, 3)
    found = protection(study.model, every)
    assert found.device.tolist() == [CODE[d] for d in ("breaker", FUSE, LATERAL_RECLOSER, SECTIONALIZER)]
    assert (found.converted.tolist(), found.counts[3]) == ([False, False, False, True], 2)


def test_one_scenario_with_devices_and_counts_of_their_own():
    mixed = {"fused": Conversion(SECTIONALIZER, 1), "counted": Conversion(LATERAL_RECLOSER),
             "dark": Conversion(None, 3)}
    of = resolved(Scenario("M", mixed, FUSE, 2, fast_operations={"mid": 1}))
    assert [device(of, s) for s in ("fused", "counted", "dark", "reclosed")] == [
        SECTIONALIZER, LATERAL_RECLOSER, FUSE, LATERAL_RECLOSER]
    assert of("counts", "fused") == 1
    assert [of("fast", s) for s in ("src", "mid", "reclosed")] == [1, 1, 1]


def test_one_that_has_the_device_takes_the_counts_and_keeps_the_rest():
    of = resolved(Scenario("S", None, SECTIONALIZER, 3))
    assert not of("converted", "counted")
    assert (of("counts", "counted"), of("counts", "dark"), of("counts", "fused")) == (3, 3, 3)
    assert (of("rated_a", "counted"), of("actuating_a", "counted")) == (100.0, pytest.approx(160.0))


def test_without_counts_a_scenario_leaves_those_that_are_set():
    of = resolved(Scenario("S", None, SECTIONALIZER), sectionalizer_counts=2)
    assert (of("counts", "counted"), of("counts", "fused")) == (1, 2)


def test_a_new_lateral_recloser_has_the_default_operations_and_none_fast():
    of = resolved(Scenario("R", ("fused", "reclosed"), LATERAL_RECLOSER, fast_operations=0))
    assert (of("lockout", "fused"), of("fast", "fused")) == (4, 0)
    assert (of("lockout", "reclosed"), of("fast", "reclosed")) == (2, 1)  # not a breaker or recloser
    assert (of("converted", "fused"), of("converted", "reclosed")) == (True, False)
    assert device(of, "counted") == SECTIONALIZER


def test_a_new_fuse_has_no_link_and_is_always_saved():
    of = resolved(Scenario("F", None, FUSE))
    assert np.isinf(of("ceiling_a", "counted"))
    assert of("ceiling_a", "fused") == pytest.approx(918.0)
    assert [of("converted", s) for s in ("fused", "counted", "reclosed")] == [False, True, False]


def test_fast_operations_are_set_on_every_breaker_and_recloser():
    of = resolved(Scenario("Blocked", fast_operations=0))
    assert [of("fast", s) for s in ("src", "mid", "reclosed")] == [0, 0, 1]
    assert [of("lockout", s) for s in ("src", "mid")] == [3, 4]


def test_fast_operations_of_a_scenario_stay_below_each_devices_own_lockout():
    of = resolved(Scenario("Fast", fast_operations=3))
    assert [of("lockout", s) for s in ("src", "mid")] == [3, 4]
    assert [of("fast", s) for s in ("src", "mid")] == [2, 3]


def test_only_the_laterals_named_are_converted():
    asked = resolved(Scenario("S", ("counted", "reclosed"), SECTIONALIZER, 3))
    assert [asked("converted", s) for s in ("fused", "reclosed")] == [False, True]
    assert device(asked, "fused") == FUSE
    assert asked("stated_ceiling_a", "sub") == 700.0
    assert asked("ceiling_a", "fused") == pytest.approx(918.0)
    assert [asked("counts", s) for s in ("counted", "dark")] == [3, 2]
    assert resolved(Scenario("S", None, SECTIONALIZER, 3))("converted", "fused")


def test_a_scenario_whose_laterals_are_not_settled_is_refused():
    with pytest.raises(ValueError, match="'S' are not settled"):
        resolved(Scenario("S", None, SECTIONALIZER, 3, applicable_only=True))


def test_the_network_is_left_as_it_was():
    study = study_of(ROWS, **VALUES)
    network = build_network(study.sections)
    before = {name: column.copy() for name, column in network.column.items()}
    kinds = network.device.copy()
    protection(Model(network, study.values), Scenario("S", None, SECTIONALIZER, 3, fast_operations=0))
    assert np.array_equal(network.device, kinds)
    assert all(np.array_equal(network.column[name], before[name], equal_nan=True) for name in before)
