"""summary.json and the tables beside it (contract.md, what `run` writes)."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability import __version__
from reliability.faults.consequences import CALLOUTS
from reliability.indices.expected import Expected, feeder_indices, system_indices
from reliability.indices.spread import differences, summaries, yearly_indices
from reliability.pipeline import Results
from reliability.report.numbers import none_for_nan
from reliability.study.columns import DEVICES


def summary(results: Results) -> dict:
    """The content of summary.json: plain numbers, None where a figure does not exist."""
    study, simulated = results.study, results.simulated
    spreads, apart = _spreads(results)
    scenarios = [
        {"name": scenario.name, "expected": system_indices(expected, study.values["yearly_cv"]),
         "feeders": feeder_indices(expected), **spread, **less}
        for scenario, expected, spread, less in zip(study.scenarios, results.expected, spreads, apart, strict=True)]
    return none_for_nan({
        "study": study.name, "currency": study.currency, "version": __version__,
        "inputs_sha256": study.inputs_sha256,
        "seed": simulated.seed if simulated else study.values["seed"],
        "trials": simulated.trials if simulated else None,
        "trial_years": simulated.trials * simulated.years if simulated else None,
        "precision_reached": simulated.precise if simulated else None,
        "notes": list(study.notes),
        "scenarios": scenarios,
    })


def _spreads(results: Results) -> tuple[list[dict], list[dict]]:
    """"simulated" and "difference_to_as_built" of each scenario, as parts of its dict."""
    if results.simulated is None:
        return [{}] * len(results.expected), [{}] * len(results.expected)
    indices = yearly_indices(results.simulated, float(results.network.customers.sum()))
    return ([{"simulated": s} for s in summaries(indices)],
            [{"difference_to_as_built": d} for d in differences(indices)])


def sections_frame(results: Results) -> pd.DataFrame:
    """A row a section and scenario, in the order of the user's file: what a customer there sees a year."""
    order = np.argsort(results.network.row)
    ids = results.network.ids[order]
    parts = [pd.DataFrame({
        "section_id": ids, "scenario": scenario.name,
        "failure_rate": expected.failure_rate[order], "outage_hours": expected.outage_hours[order],
        "momentary_events": expected.momentary_event_rate[order],
        "momentary_interruptions": expected.momentary_interruption_rate[order],
    }) for scenario, expected in zip(results.study.scenarios, results.expected, strict=True)]
    return pd.concat(parts, ignore_index=True)


def laterals_frame(results: Results) -> pd.DataFrame:
    """A row a lateral and scenario: what the faults on it cause a year, to everybody."""
    parts = [_laterals(results, s, expected) for s, expected in enumerate(results.expected)]
    return pd.concat(parts, ignore_index=True)


def _laterals(results: Results, scenario: int, expected: Expected) -> pd.DataFrame:
    network = results.network
    heads = network.lateral_heads
    on_lateral = network.lateral >= 0

    def total(caused: np.ndarray) -> np.ndarray:
        return np.bincount(network.lateral[on_lateral], caused[on_lateral], len(network))[heads]

    device = results.table.protections[scenario].device[heads]
    frame = pd.DataFrame({
        "lateral_id": network.ids[heads], "scenario": results.study.scenarios[scenario].name,
        "feeder_id": network.feeder_ids[network.feeder[heads]],
        "device": np.array(DEVICES, dtype=object)[device],
        "phases": network.phases[heads].astype(int), "customers": network.customers_below[heads].astype(int),
        "customer_interruptions": total(expected.fault_ci),
        "customer_minutes": 60.0 * total(expected.fault_customer_hours),
        "momentary_events": total(expected.fault_momentary_events),
        "momentary_interruptions": total(expected.fault_momentary_interruptions),
    })
    by_kind = {name: total(expected.fault_callouts[:, i]) for i, name in enumerate(CALLOUTS)}
    return frame.assign(callouts=sum(by_kind.values()), **by_kind)
