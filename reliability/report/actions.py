"""What the study proposes for each lateral and feeder, or why nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from reliability.network.application import open_points
from reliability.network.application_catalogue import FAIL
from reliability.report.content import Content, leading, planned_conversions, proposed_conversions

WORST = 15          # laterals shown of each ranking
RANKED = {"customer_interruptions": "rank_saifi", "customer_minutes": "rank_saidi", "callouts": "rank_callouts"}


def as_built(content: Content) -> pd.DataFrame:
    """Rows of laterals.csv of today's protection."""
    return content.laterals[content.laterals["scenario"] == content.scenarios[0]].reset_index(drop=True)


def laterals_frame(content: Content) -> pd.DataFrame:
    """A row a lateral as built: what its faults cause, its ranks, and the action or why none; the worst first.

    Rank 1 adds most to SAIFI, SAIDI or the number of call-outs.
    """
    frame = as_built(content)
    for name, rank in RANKED.items():
        frame[rank] = frame[name].rank(ascending=False, method="min").astype(float)
    frame["npv_converted"] = _npv(content, frame["lateral_id"])
    if content.history is not None:
        frame["observed"] = frame["lateral_id"].map(content.history.worst_laterals["events_per_year"]).fillna(0.0)
    frame["action"] = lateral_actions(content, frame)
    ranks = frame[list(RANKED.values())]
    frame["ranks"] = ranks.astype(int).astype(str).agg(" / ".join, axis=1) if len(frame) else ""
    order = np.lexsort((ranks.sum(axis=1), ranks.min(axis=1)))
    return frame.iloc[order].reset_index(drop=True)


def worst_shown(frame: pd.DataFrame) -> int:
    """How many rows of `laterals_frame` are among the worst of any ranking."""
    return int((frame[list(RANKED.values())].min(axis=1) <= WORST).sum()) if len(frame) else 0


def lateral_actions(content: Content, frame: pd.DataFrame) -> np.ndarray:
    """Action for each lateral of `frame`, (n,) text."""
    ids, npv = frame["lateral_id"].astype(str), frame["npv_converted"].to_numpy(dtype=float)
    chosen = planned_conversions(content)
    action = _otherwise(content, ids, npv, chosen is not None)
    action = np.where(frame["device"] == "sectionalizer", "none: has a sectionalizer", action)
    failed = _failed(content, ids)
    action = np.where(failed != "", "none: application check not passed (" + failed + ")" + (
        "; a lateral recloser was not chosen" if chosen is not None else ""), action)
    if chosen is not None and len(chosen):
        texts = [_conversion(row) for row in chosen.to_dict("records")]
        conversions = pd.Series(texts, index=chosen["section_id"].astype(str))
        conversions = conversions[~conversions.index.duplicated()]
        action = np.where(ids.isin(conversions.index), ids.map(conversions), action)
    return action.astype(object)


def _conversion(row: dict[Any, Any]) -> str:
    counts = row.get("counts")
    setting = f", {int(counts)} counts" if counts is not None and counts == counts else ""
    device = str(row.get("device") or "new settings").replace("_", " ")
    year = f", year {int(row['year'])}" if "year" in row else ""
    return f"convert: {device}{setting}{year}"


def _otherwise(content: Content, ids: pd.Series, npv: np.ndarray, selected: bool) -> np.ndarray:
    """The action of a lateral without another one."""
    if selected:
        return np.where(npv < 0, "none: would cost more than it saves", "none: not chosen within the limits")
    scenario = leading(content)
    if scenario is None:
        return np.full(len(ids), "none proposed in this study", dtype=object)
    rows = content.laterals[content.laterals["scenario"] == content.scenarios[scenario]]
    after = ids.map(pd.Series(rows["device"].to_numpy(), index=rows["lateral_id"].astype(str)))
    before = as_built(content)["device"].to_numpy()
    changed = after.to_numpy() != before
    return np.where(changed, "converted in the scenario; nothing selected", "none proposed in this study")


def _npv(content: Content, ids: pd.Series) -> np.ndarray:
    """NPV of converting each lateral under the scenario spoken of first; NaN where unknown."""
    scenario = leading(content)
    if scenario is None or "npv" not in content.laterals:
        return np.full(len(ids), np.nan)
    rows = content.laterals[content.laterals["scenario"] == content.scenarios[scenario]]
    return ids.map(pd.Series(rows["npv"].to_numpy(), index=rows["lateral_id"])).to_numpy(dtype=float)


def _failed(content: Content, ids: pd.Series) -> np.ndarray:
    """Labels of the checks not passed where a lateral fails, else ""."""
    checks = content.application
    if checks is None:
        return np.full(len(ids), "", dtype=object)
    labels = np.where(checks.verdict == FAIL, open_points(checks), "")
    found = pd.Series(labels, index=checks.lateral_ids)
    return ids.map(found).fillna("").to_numpy(dtype=object)


def feeder_actions(content: Content, feeders: list[str]) -> list[str]:
    """What is proposed on each feeder."""
    chosen = proposed_conversions(content)
    if chosen is None:
        return ["no selection was made"] * len(feeders)
    counts = chosen["feeder_id"].astype(str).value_counts()
    return [f"convert {n} {'lateral' if n == 1 else 'laterals'}" if (n := int(counts.get(f, 0))) else
            "none: no lateral of it is worth converting within the limits" for f in feeders]

