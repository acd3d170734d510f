"""What must hold on any network, whatever its figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.schema.devices import FUSE, SECTIONALIZER, SWITCH
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study.study import Study
from tests.adapter import differences
from tests.networks import random_studies, study_of

pytestmark = pytest.mark.slow
small = random_studies(most_sections=15)


def with_cells(study: Study, **cells) -> Study:
    """The study with whole columns of sections replaced."""
    return study.with_sections(study.sections.assign(**cells))


def with_values(study: Study, **values) -> Study:
    return replace(study, values=dict(study.values) | values)


def total(study: Study, of_section: dict[str, dict], key: str) -> float:
    """Σ customers × what a customer of the section sees."""
    customers = dict(zip(study.sections["section_id"], study.sections["customers"], strict=True))
    return sum(n * of_section[name][key] for name, n in customers.items())


@given(study=small)
def test_customers_are_conserved(engine, study):
    """The system's sums are the sections' sums, and no lateral adds to them."""
    served = study.sections["customers"].sum()
    for found in engine(study).values():
        assert found["customers_served"] == served
        if served == 0:
            assert found["saifi"] is None
            continue
        assert found["saifi"] * served == pytest.approx(total(study, found["sections"], "failure_rate"), rel=1e-9)
        assert found["saidi_min"] * served == pytest.approx(60 * total(study, found["sections"], "outage_hours"),
                                                            rel=1e-9)
        laterals = found["laterals"].values()
        assert sum(lateral["customer_interruptions"] for lateral in laterals) <= found["saifi"] * served * (1 + 1e-9)
        assert sum(lateral["momentary_events"] for lateral in laterals) <= found["maifi_e"] * served * (1 + 1e-9) + 1e-9


@given(study=small)
def test_signs_and_bounds(engine, study):
    for found in engine(study).values():
        assert min(found["callouts"].values()) >= 0
        assert found["ens_mwh"] >= 0
        if found["saifi"] is not None:
            assert min(found["saifi"], found["saidi_min"], found["maifi_e"]) >= 0
            assert found["maifi"] >= found["maifi_e"] * (1 - 1e-9)
            cemi = [found["cemi"][n] for n in range(1, 7)]
            assert cemi == sorted(cemi, reverse=True)
            assert found["cemi"][1] <= min(1.0, found["saifi"]) + 1e-12


def test_a_breaker_alone_gives_length_times_rate(engine):
    rows = [{"section_id": "a", "device": "breaker", "length_km": 2.0, "customers": 5},
            {"section_id": "b", "parent_id": "a", "length_km": 3.5, "customers": 7, "repair_hours": 9.0},
            {"section_id": "c", "parent_id": "a", "length_km": 0.5, "equipment_fault_rate": 0.4}]
    study = study_of(rows, line_fault_rate_per_km=0.3, temporary_fraction=0.0, repair_hours=4.0, yearly_cv=0.0)
    found = engine(study)[AS_BUILT]
    assert found["saifi"] == pytest.approx(0.3 * 6.0 + 0.4, rel=1e-12)
    assert found["saidi_min"] == pytest.approx(60 * (4.0 * (0.3 * 2.5 + 0.4) + 9.0 * 0.3 * 3.5), rel=1e-12)
    assert found["maifi"] == found["maifi_e"] == 0
    assert found["callouts"]["repair"] == pytest.approx(2.2, rel=1e-12)
    assert found["cemi"][1] == pytest.approx(1 - np.exp(-2.2), rel=1e-12)
    assert found["cemi"][2] == pytest.approx(1 - np.exp(-2.2) * 3.2, rel=1e-12)


def test_cemi_of_stormy_years_is_negative_binomial(engine):
    """With a cv of 1 the counts of one customer are geometric: n or more with (μ/(1+μ))ⁿ."""
    study = study_of([{"section_id": "a", "device": "breaker", "length_km": 1.0, "customers": 3}],
                     line_fault_rate_per_km=0.5, temporary_fraction=0.0, yearly_cv=1.0)
    assert engine(study)[AS_BUILT]["cemi"] == pytest.approx({n: (0.5 / 1.5) ** n for n in range(1, 7)}, rel=1e-9)


def test_no_customers_no_indices(engine):
    rows = [{"section_id": "a", "device": "breaker", "length_km": 1.0, "load_kw": 50.0}]
    found = engine(study_of(rows, line_fault_rate_per_km=1.0, temporary_fraction=0.0, repair_hours=2.0))[AS_BUILT]
    assert [found[key] for key in ("saifi", "saidi_min", "caidi_min", "asai", "maifi", "maifi_e")] == [None] * 6
    assert found["ens_mwh"] == pytest.approx(0.1, rel=1e-12)


def test_no_faults_no_duration(engine):
    found = engine(study_of([{"section_id": "a", "device": "breaker", "customers": 3}]))[AS_BUILT]
    assert (found["saifi"], found["saidi_min"], found["caidi_min"], found["asai"]) == (0, 0, None, 1)


@given(study=small)
def test_scenarios_of_the_same_protection_differ_by_nothing(engine, study):
    """One that changes nothing, and one that gives fuses to laterals that have them."""
    fused = tuple(study.sections.loc[study.sections["device"] == FUSE, "section_id"])
    laterals = set(engine(study)[AS_BUILT]["laterals"])
    same = (Scenario("Nothing"), Scenario("Fuses stay", tuple(s for s in fused if s in laterals), FUSE))
    found = engine(replace(study, scenarios=(Scenario(AS_BUILT), *same)))
    assert found["Nothing"] == found[AS_BUILT]
    assert found["Fuses stay"] == found[AS_BUILT]


@given(study=small, share=st.floats(0.0, 1.0))
def test_a_greater_temporary_fraction_never_raises_sustained_interruptions(engine, study, share):
    """At the same total rate: up to the dead time in which a fault clears the play is the same, and
    then nothing stays open."""
    fraction = study.sections["temporary_fraction"].fillna(study.values["temporary_fraction"])
    more = with_cells(study, temporary_fraction=fraction + (1 - fraction) * share)
    _never_higher(engine, more, study)


@given(study=small, share=st.floats(0.0, 1.0), first=st.integers(0, 1))
def test_earlier_clearing_never_raises_sustained_interruptions(engine, study, share, first):
    shares = list(study.values["clearing_shares"])
    moved = share * shares[first + 1]
    shares[first], shares[first + 1] = shares[first] + moved, shares[first + 1] - moved
    _never_higher(engine, with_values(study, clearing_shares=tuple(shares)), study)


def _never_higher(engine, changed: Study, study: Study) -> None:
    after, before = engine(changed), engine(study)
    for name, found in before.items():
        for section, seen in found["sections"].items():
            assert after[name]["sections"][section]["failure_rate"] <= seen["failure_rate"] * (1 + 1e-9) + 1e-12


@given(study=small)
def test_with_fast_operations_enough_a_fuse_without_ceiling_blows_for_no_temporary_fault(engine, study):
    """All clear by the third dead time; and without currents every fuse is saved, whatever its ceiling."""
    cells = study.sections
    reclosing = cells["device"].isin(("breaker", "recloser", "lateral_recloser"))
    study = with_cells(replace(study, scenarios=study.scenarios[:1]),
                       operations_to_lockout=np.where(reclosing, 4.0, np.nan),
                       fast_operations=np.where(reclosing, 3.0, np.nan))
    unlimited = with_cells(study, fuse_link="", saving_ceiling_a=np.nan)
    unknown = with_cells(study, fault_current_source_a=np.nan, fault_current_end_a=np.nan)
    assert engine(unlimited)[AS_BUILT]["callouts"]["refuse"] == 0
    assert engine(unknown)[AS_BUILT]["callouts"]["refuse"] == 0


@given(study=small)
def test_two_fast_operations_let_a_fuse_blow_for_what_clears_in_the_third_dead_time(engine, study):
    cells = study.sections
    fuses_only = np.where(cells["device"].isin((SECTIONALIZER, "lateral_recloser")), FUSE, cells["device"])
    reclosing = cells["device"].isin(("breaker", "recloser"))
    study = with_cells(with_values(replace(study, scenarios=study.scenarios[:1]), fuse_failure=0.0), device=fuses_only,
                       operations_to_lockout=np.where(reclosing, 4.0, np.nan), saving_ceiling_a=np.nan, fuse_link="",
                       fast_operations=np.where(reclosing, 2.0, np.nan))
    third = study.values["clearing_shares"][2]
    all_third = with_values(study, clearing_shares=(0.0, 0.0, 1.0))
    callouts, most = (engine(s)[AS_BUILT]["callouts"]["refuse"] for s in (study, all_third))
    assert callouts == pytest.approx(third * most, rel=1e-9)


@given(study=small, factor=st.floats(0.1, 5.0))
def test_sums_grow_with_the_fault_rates(engine, study, factor):
    cells = study.sections
    scaled = with_cells(study, line_fault_rate_per_km=factor * cells["line_fault_rate_per_km"],
                        equipment_fault_rate=factor * cells["equipment_fault_rate"])
    scaled = with_values(scaled, line_fault_rate_per_km=factor * study.values["line_fault_rate_per_km"])
    after, before = engine(scaled), engine(study)
    for name, found in before.items():
        keys = ("ens_mwh",) if found["saifi"] is None else ("ens_mwh", "saifi", "saidi_min", "maifi", "maifi_e")
        for key in keys:
            assert after[name][key] == pytest.approx(factor * found[key], rel=1e-9), key
        assert after[name]["callouts"] == pytest.approx({k: factor * v for k, v in found["callouts"].items()}, rel=1e-9)


@given(study=small, seed=st.integers(0, 1000))
def test_the_order_of_rows_does_not_matter(engine, study, seed):
    order = np.random.default_rng(seed).permutation(len(study.sections))
    shuffled = study.with_sections(study.sections.iloc[order].reset_index(drop=True))
    assert differences(engine(shuffled), engine(study)) == []


@given(study=small, which=st.integers(0, 10**6), at=st.floats(0.1, 0.9))
def test_a_section_cut_in_two_without_a_device_is_the_same_section(engine, study, which, at):
    cells = study.sections
    row = which % len(cells)
    near, far = cells.loc[row, ["fault_current_source_a", "fault_current_end_a"]].astype(float)
    middle = near if near == far else 1 / ((1 - at) / near + at / far)  # NaN where an end is unknown
    name = cells.loc[row, "section_id"]
    second = cells.loc[[row]].assign(
        section_id="second", parent_id=name, device="", length_km=(1 - at) * cells.loc[row, "length_km"],
        equipment_fault_rate=(1 - at) * cells.loc[row, "equipment_fault_rate"], fault_current_source_a=middle,
        fuse_link="",
        **dict.fromkeys(("counts", "operations_to_lockout", "fast_operations", "saving_ceiling_a", "rated_current_a",
                         "actuating_current_a"), np.nan))
    cut = cells.assign(parent_id=cells["parent_id"].replace(name, "second"))
    cut.loc[row, ["length_km", "equipment_fault_rate", "fault_current_end_a"]] = (
        at * cells.loc[row, "length_km"], at * cells.loc[row, "equipment_fault_rate"], middle)
    cut.loc[row, ["customers", "customers_residential", "customers_small_ci", "customers_large_ci", "load_kw",
                  "tie_probability"]] = (0, 0, 0, 0, 0, np.nan)
    halves = study.with_sections(pd.concat([cut, second], ignore_index=True))
    whole = engine(study)
    for result in whole.values():  # nobody is left on the first half: its rates are by the opened device's share
        del result["sections"][name]
    assert differences(engine(halves), whole, relative=1e-7) == []


@given(study=small)
def test_devices_that_always_fail_are_no_more_than_switches(engine, study):
    study = replace(study, scenarios=study.scenarios[:1])
    failing = with_values(study, fuse_failure=1.0, sectionalizer_failure=1.0)
    device = study.sections["device"]
    switches = with_cells(study, device=np.where(device.isin((FUSE, SECTIONALIZER)), SWITCH, device))
    assert differences(engine(failing), engine(switches), ignored=("laterals",)) == []


@given(study=small)
def test_a_better_tie_shortens_and_never_adds(engine, study):
    """Where switching is no slower than any repair."""
    study = with_values(with_cells(study, repair_hours=np.nan), switching_hours=1.0, repair_hours=4.0)
    tied = with_cells(study, tie_probability=1.0)
    after, before = engine(tied), engine(study)
    for name, found in before.items():
        for section, seen in found["sections"].items():
            assert after[name]["sections"][section]["failure_rate"] == pytest.approx(seen["failure_rate"], rel=1e-9)
            assert after[name]["sections"][section]["outage_hours"] <= seen["outage_hours"] * (1 + 1e-9)
