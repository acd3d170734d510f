"""summary.json and the tables beside it (contract.md, what `run` writes)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from reliability import __version__
from reliability.indices.customer_groups import all_customers
from reliability.indices.expected import area_indices, feeder_indices, usual_indices
from reliability.indices.spread import differences, summaries, yearly_indices
from reliability.pipeline import Plan, Results
from reliability.report.money_summary import business_cases, price_level_summary
from reliability.report.numbers import none_for_nan
from reliability.report.ranges import ranges_summary
from reliability.report.recorded_basis import WITHOUT_MAJOR_KEY, recorded_basis
from reliability.report.records_reported import reported_summary
from reliability.report.reporting import face_summary
from reliability.report.status_totals import by_status
from reliability.report.work_pack_jobs import WorkPack
from reliability.report.work_pack_of_results import work_pack_of, work_pack_revision


def summary(results: Results, pack: WorkPack | None = None) -> dict[str, Any]:
    """The content of summary.json: plain numbers, None where a figure does not exist.

    pack: the work pack of the results, where it is there.
    """
    study, simulated = results.study, results.simulated
    spreads, apart = _spreads(results)
    indices = results.system
    on_records = recorded_basis(results.history, indices)
    scenarios = [
        {"name": scenario.name, "expected": indices[s],
         "feeders": feeder_indices(expected), "areas": area_indices(expected), **spread, **less, "business": case,
         "customer_groups": groups_summary(results, s), WITHOUT_MAJOR_KEY: on_records[s]}
        for s, (scenario, expected, spread, less, case) in enumerate(
            zip(study.scenarios, results.expected, spreads, apart, business_cases(results), strict=True))]
    return none_for_nan({
        "study": study.name, "currency": study.currency, "version": __version__,
        "inputs_sha256": study.inputs_sha256,
        "seed": simulated.seed if simulated else study.values["seed"],
        "trials": simulated.trials if simulated else None,
        "trial_years": simulated.trials * simulated.years if simulated else None,
        "precision_reached": simulated.precise if simulated else None,
        "trials_limited_by_memory": simulated.limited if simulated else None,
        "notes": list(study.notes), "uncertain": ranges_summary(study),
        "interruption_costs": price_level_summary(results),
        "scenarios": scenarios,
        "choice": _choice(results, results.plan, pack or work_pack_of(results)) if results.plan else None,
        "report": face_summary(study, results.history),
        "records": reported_summary(results.history) if results.history else None,
    })


def groups_summary(results: Results, scenario: int) -> list[dict[str, Any]]:
    """ "customer_groups" of a scenario: change a year of what the customers of each group see, and of all of them.

    Empty without customers.
    """
    groups = results.customer_groups[scenario]
    rows = [*groups.to_dict("records"), all_customers(groups).to_dict()] if len(groups) else []
    return [{str(key): value for key, value in row.items()} for row in rows]


def _choice(results: Results, plan: Plan, pack: WorkPack) -> dict[str, Any]:
    """The choice under the study's limits, in figures and in words."""
    choice = plan.choice
    return {"objective": choice.objective, "feasible": choice.feasible, "message": choice.message,
            "gap": choice.gap, "totals": dict(choice.totals), "by_status": by_status(results),
            "programme": plan.programme_note, "work_pack_revision": work_pack_revision(pack),
            "stability": plan.stability.summary() if plan.stability else None,
            "calibrated": plan.calibrated.summary() if plan.calibrated else None}


def _spreads(results: Results) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """"simulated" and "difference_to_as_built" of each scenario, as parts of its dict."""
    if results.simulated is None:
        return [{}] * len(results.expected), [{}] * len(results.expected)
    indices = yearly_indices(results.simulated, float(results.network.customers.sum()))
    exact: list[dict[str, Any]] = [usual_indices(e) for e in results.expected]
    exact = [e | {"callouts": sum(e["callouts"].values())} | {f"callouts_{k}": n for k, n in e["callouts"].items()}
             for e in exact]
    apart = [{name: {"expected": after[name] - exact[0][name]} | found for name, found in each.items()}
             for each, after in zip(differences(indices), exact, strict=True)]
    return [{"simulated": s} for s in summaries(indices)], [{"difference_to_as_built": d} for d in apart]


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
