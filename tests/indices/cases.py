"""Studies and expected totals for the tests of the simulation."""

from __future__ import annotations

import numpy as np

from reliability.indices.expected import expected_values
from reliability.indices.simulation import SimulationInput
from reliability.network.model import Model
from reliability.schema.scenarios import Scenario
from tests.networks import study_of

MEASURES = {"ci": "fault_ci", "customer_hours": "fault_customer_hours", "load_kwh": "fault_load_kwh",
            "momentary_events": "fault_momentary_events", "momentary_interruptions": "fault_momentary_interruptions",
            "sectionalizer_operations": "fault_sectionalizer_operations", "actuators": "fault_actuators"}


def closed_form(table, values) -> dict[str, np.ndarray]:
    """Expected yearly totals by measure, (S,)."""
    expected = expected_values(table, values)
    return {name: np.array([getattr(e, attribute).sum() for e in expected]) for name, attribute in MEASURES.items()}


def one_section(**values):
    """A breaker over one section: one fault a year unless `values` say otherwise."""
    return study_of([{"section_id": "only", "device": "breaker", "length_km": 1.0, "customers": 10}],
                    **{"line_fault_rate_per_km": 1.0, "temporary_fraction": 0.0, "cv": 0.0, "yearly_cv": 0.0,
                       "horizon_years": 5} | values)


def steady(uncertain):
    """So many faults that a handful of trials looks settled: an unlucky pair of alike draws could stop a run."""
    study = study_of([
        {"section_id": "main", "device": "breaker", "length_km": 1.0, "customers": 50},
        {"section_id": "tap", "parent_id": "main", "device": "fuse", "length_km": 3.0, "customers": 50, "phases": 3}],
        (Scenario("S", None, "sectionalizer", 2),), line_fault_rate_per_km=20.0, cv=0.0, yearly_cv=0.0,
        horizon_years=20, temporary_fraction=0.6, fast_operations=0)
    values = study.values | {k: r.mean for k, r in uncertain.items() if "." not in k}
    return SimulationInput(Model(study.network, values), uncertain, study.scenarios)
