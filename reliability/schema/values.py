"""The assumptions of a study by key, typed; schema/assumptions.py describes each; a test checks that the two agree.

Where a value may be blank it is None. Trials of a simulation have arrays in place of numbers (`TrialValues`); what
serves both takes a number by `drawn`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeAlias, TypedDict, cast

import numpy as np

Drawn: TypeAlias = float | np.ndarray          # a number, or its draws, an element a trial
TrialValues: TypeAlias = Mapping[str, object]  # values by key, `Assumptions` or those with arrays in place of numbers


class Assumptions(TypedDict):
    """Value of every assumption by key; an uncertain one has its mean."""

    # [faults]
    line_fault_rate_per_km: float
    temporary_fraction: float
    clearing_shares: tuple[float, ...]
    phases_involved: tuple[float, ...]
    yearly_cv: float
    rates: str
    # [restoration]
    repair_hours: float
    switching_hours: float
    refuse_hours: float
    reset_hours: float
    patrol_hours: float
    patrol_reclosing_off_hours: float | None
    cv: float
    # [protection]
    operations_to_lockout: int
    fast_operations: int
    fast_clearing_time_s: float
    sectionalizer_counts: int
    fuse_failure: float
    sectionalizer_failure: float
    reclosing_off_share: float
    reclosing_off_trip: str
    fault_current_factor: float
    fuse_melting_factor: float
    wrong_link_share: float
    fuse_arcing_time_s: float
    system_kv: float
    bil_kv: float
    load_margin: float
    cold_load_factor: float
    # [application]
    actuating_ratio: float
    fault_current_margin: float
    minimum_trip_share: float
    dead_line_threshold_a: float
    recognition_s: float
    drop_out_s: float
    memory_s: float
    longest_dead_time_s: float
    delayed_clearing_time_s: float
    momentary_withstand_a: float
    asymmetry_factor: float
    short_time_withstand_a: float
    device_bil_kv: float
    inrush_multiple: float
    inrush_restraint: str
    underground_share: float
    # [costs]
    crew_rate_per_hour: float
    overtime_share: float
    overtime_multiplier: float
    vehicle_per_callout: float
    refuse_crew_hours: float
    reset_crew_hours: float
    patrol_crew_hours: float
    repair_crew_hours: float
    fuse_link_cost: float
    actuator_cost: float
    repair_material_cost: float
    fuse_cost: float
    sectionalizer_cost: float
    lateral_recloser_cost: float
    backup_settings_cost: float
    inspection_cost_per_year: float
    energy_margin_per_kwh: float
    incentive_per_saidi_minute: float
    incentive_per_saifi: float
    interruption_cost_factor: float
    momentary_cost_factor: float
    interruption_costs: str | None
    interruption_cost_year: int | None
    price_year: int | None
    spare_units_share: float
    # [finance]
    discount_rate: float
    escalation_rate: float
    horizon_years: int
    perspective: str
    device_life_years: int | None
    equity_share: float
    equity_rate: float
    debt_rate: float
    tax_rate: float
    book_life_years: int | None
    average_bill_per_month: float | None
    # [choice]
    objective: str
    backup_settings: str
    budget: float | None
    yearly_budget: float | None
    yearly_units: int | None
    programme_years: int
    added_maifi_e: float | None
    added_maifi_e_feeder: float | None
    saidi_reduction_minutes: float | None
    proposed: str | None
    # [simulation]
    trials: int | None
    seed: int
    default_ranges: bool
    # [history]
    date_order: str
    time_zone: str | None
    records_from: str | None
    records_to: str | None
    include_planned: bool
    count_duplicates_once: bool
    major_event_method: str
    major_event_days: str | None
    recorded_reclosing_off_share: float | None
    prior_groups: str
    expected_rate_ratio: float | None
    chosen_by: str
    chosen_from: str | None
    chosen_to: str | None
    # [records]
    momentary: str
    planned_included: bool
    storms_included: bool
    # [report]
    reporting_year: int | None
    date: str | None
    prepared_by: str | None
    moved: str | None
    approved_by: str | None
    first_year: int | None
    programmes: str | None
    exclusions: str | None
    benchmark_saifi: float | None
    benchmark_saidi_min: float | None
    benchmark_caidi_min: float | None
    benchmark_maifi_e: float | None
    benchmark_source: str | None
    standard_above_benchmark: float | None
    standard_above_benchmark_three_years: float | None
    benchmark_excludes_major_events: bool
    # [inspection]
    actuator_ohm_low: float | None
    actuator_ohm_high: float | None
    leads_to_body_megohm: float | None
    nut_torque_ft_lbf: float | None
    meter_ma: float | None


def as_assumptions(values: Mapping[str, object]) -> Assumptions:
    """A copy of a value for every assumption by key, each checked by `read_settings` or known to be of its type."""
    return cast(Assumptions, dict(values))


def number(values: Assumptions, key: str) -> float:
    """The value of an assumption that is a number and not blank, by a key that is no literal; else TypeError."""
    value = cast(TrialValues, values)[key]
    if not isinstance(value, int | float):
        raise TypeError(f"{key} is no number: {value!r}")
    return value


def drawn(values: TrialValues, key: str) -> Drawn:
    """The value of an assumption that is a number, or its draws; else TypeError."""
    value = values[key]
    if not isinstance(value, float | int | np.ndarray):
        raise TypeError(f"{key} is no number: {value!r}")
    return value


def drawn_shares(values: TrialValues, key: str) -> tuple[Drawn, ...]:
    """The value of an assumption that is a tuple of shares, or the draws of each; else TypeError."""
    value = values[key]
    if not isinstance(value, tuple):
        raise TypeError(f"{key} holds no shares: {value!r}")
    return value
