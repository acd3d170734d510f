"""What of the selection can be installed at once, and what waits for its application checks: sums by status."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.network.application_catalogue import PASS, VERDICTS
from reliability.results import Results
from reliability.schema.devices import SECTIONALIZER

READY, ON_HOLD, UNCHECKED = "ready", "hold", "unchecked"
STATUS_LABELS = {READY: "Ready: application checks passed", ON_HOLD: "On hold: checks failed, unknown or for review",
                 UNCHECKED: "Without application checks: other devices and settings"}
# key of the totals: column of selection.csv, and whether it is by customer served
STATUS_SUMS = {"units": ("units", False), "capex": ("capex", False), "npv": ("npv", False),
               "saidi_minutes_avoided": ("customer_minutes_avoided", True),
               "saifi_avoided": ("customer_interruptions_avoided", True),
               "maifi_e_added": ("momentary_events_added", True), "callouts_avoided": ("callouts_avoided", False)}


def verdicts_of(results: Results) -> dict[str, str]:
    """Verdict of the application checks of each selected lateral that gets a sectionalizer, by section_id."""
    selection, checks = results.selection, results.chosen_checks
    chosen = set(selection.loc[selection["device"] == SECTIONALIZER, "section_id"].astype(str))
    return {name: VERDICTS[verdict] for name, verdict in zip(checks.lateral_ids.tolist(), checks.verdict.tolist(),
                                                             strict=True) if name in chosen}


def by_status(results: Results) -> dict[str, dict[str, float]]:
    """ "by_status" of the choice in summary.json: laterals and the sums of `STATUS_SUMS` of what is ready, on hold, and
    not checked; together they are its totals. Empty where nothing is chosen.
    """
    if results.plan is None or not results.plan.choice.feasible:
        return {}
    rows = results.plan.choice.selection
    if not len(rows):
        return {}
    verdict = rows["section_id"].astype(str).map(verdicts_of(results)).where(rows["what"] == "lateral")
    status = np.where(verdict.isna(), UNCHECKED, np.where(verdict == VERDICTS[PASS], READY, ON_HOLD))
    served = float(results.network.customers.sum()) or np.nan
    return {name: _sums(rows[status == name], served) for name in STATUS_LABELS if (status == name).any()}


def _sums(rows: pd.DataFrame, served: float) -> dict[str, float]:
    return {"laterals": float((rows["what"] == "lateral").sum())} | {
        key: float(rows[column].sum()) / (served if each else 1.0) for key, (column, each) in STATUS_SUMS.items()}
