"""What the study proposes for each lateral and feeder, or why nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from reliability.formats import count
from reliability.network.application import failed_checks
from reliability.network.application_catalogue import FAIL
from reliability.report.content import Content, planned_conversions
from reliability.report.reporting import programme_year

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
    frame["ranks"] = [" / ".join(map(str, each)) for each in ranks.astype(int).to_numpy().tolist()]
    order = np.lexsort((ranks.sum(axis=1), ranks.min(axis=1)))
    return frame.iloc[order].reset_index(drop=True)


def worst_shown(frame: pd.DataFrame) -> int:
    """How many rows of `laterals_frame` are among the worst of any ranking."""
    return int((frame[list(RANKED.values())].min(axis=1) <= WORST).sum()) if len(frame) else 0


def conversions_proposed(content: Content) -> pd.DataFrame | None:
    """What is converted, a row a lateral: section_id, feeder_id, device, and counts and year where they are known.

    None where nothing was chosen and no scenario is proposed.
    """
    if content.proposed is None or content.study.values["proposed"] is None:
        return planned_conversions(content)
    before, rows = as_built(content), content.laterals
    after = rows[rows["scenario"] == content.scenarios[content.proposed]].reset_index(drop=True)
    after = after[after["capex"].fillna(0.0) > 0] if "capex" in after else after[after["device"] != before["device"]]
    return after[["lateral_id", "feeder_id", "device"]].rename(columns={"lateral_id": "section_id"})


def lateral_actions(content: Content, frame: pd.DataFrame) -> np.ndarray:
    """Action and target year for each lateral of `frame`, or why there is none, (n,) text."""
    ids, npv = frame["lateral_id"].astype(str), frame["npv_converted"].to_numpy(dtype=float)
    chosen = conversions_proposed(content)
    if chosen is None:
        return np.full(len(ids), "No selection was made.", dtype=object)
    by_npv = content.study.values["objective"] == "npv"
    action = np.where((npv < 0) & by_npv, "None: costs more than it saves.", _not_chosen(content, "it"))
    action = np.where(frame["device"] == "sectionalizer", "None: has a sectionalizer.", action)
    failed = _failed(content, ids)
    action = np.where(failed != "", "None: application check not passed (" + failed + ").", action)
    texts = [_conversion(content, row) for row in chosen.to_dict("records")]
    conversions = pd.Series(texts, index=chosen["section_id"].astype(str), dtype=object)
    conversions = conversions[~conversions.index.duplicated()]
    return np.where(ids.isin(conversions.index), ids.map(conversions), action).astype(object)


def _conversion(content: Content, row: dict[Any, Any]) -> str:
    counts = row.get("counts")
    setting = f", {int(counts)} counts" if counts is not None and counts == counts else ""
    device = str(row.get("device") or "new settings").replace("_", " ")
    year = "" if "year" not in row else f", {_year(content, row['year'])}"
    return f"Convert: {device}{setting}{year}."


def _year(content: Content, year: float) -> str:
    """A year of the programme in words; NaN: none has room for it."""
    return programme_year(content.study, content.history, int(year)) if year == year else "no year of the programme"


def _not_chosen(content: Content, where: str) -> str:
    """Why nothing is converted; where: "it", or "this feeder"."""
    values = content.study.values
    if values["proposed"] is not None:
        return "None: not part of the proposal."
    limits = (values["budget"], values["yearly_budget"], values["yearly_units"], values["added_maifi_e"],
              values["added_maifi_e_feeder"], *content.study.extra.get("laterals", {}))
    if values["objective"] != "npv" or any(limit is not None for limit in limits):
        return "None: not chosen within the limits." if where == "it" else (
            f"None: no conversion on {where} was chosen within the limits.")
    return "None: a conversion does not pay back." if where == "it" else (
        f"None: no conversion on {where} pays back.")


def _npv(content: Content, ids: pd.Series) -> np.ndarray:
    """The best NPV of converting each lateral among the scenarios that do; NaN where none does."""
    if "npv" not in content.laterals:
        return np.full(len(ids), np.nan)
    best = content.laterals.groupby("lateral_id")["npv"].max()
    return ids.map(best).to_numpy(dtype=float)


def _failed(content: Content, ids: pd.Series) -> np.ndarray:
    """Labels of the checks that a lateral fails and that decide, "" where it does not fail."""
    checks = content.application
    if checks is None:
        return np.full(len(ids), "", dtype=object)
    labels = np.where(checks.verdict == FAIL, failed_checks(checks), "")
    found = pd.Series(labels, index=checks.lateral_ids)
    return ids.map(found).fillna("").to_numpy(dtype=object)


def feeder_actions(content: Content, feeders: list[str]) -> list[str]:
    """What is proposed on each feeder and in which years, or why nothing."""
    chosen = conversions_proposed(content)
    if chosen is None:
        return ["No selection was made."] * len(feeders)
    by_feeder = {str(f): part for f, part in chosen.groupby(chosen["feeder_id"].astype(str))}
    settings, none = _settings_changed(content), _not_chosen(content, "this feeder")
    said = [_of_feeder(content, by_feeder[f]) if f in by_feeder else "" for f in feeders]
    return [" ".join(filter(None, (text, settings.get(f, "")))) or none for f, text in zip(feeders, said, strict=True)]


def _settings_changed(content: Content) -> dict[str, str]:
    """Feeder → how many of its breakers and reclosers get other settings, in words."""
    if content.selected is None or not content.selected.feasible or "what" not in content.selected.frame:
        return {}
    frame = content.selected.frame
    found = frame.loc[frame["what"] != "lateral", "feeder_id"].astype(str).value_counts()
    return {str(feeder): "Change the fast operations of "
            f"{count(int(n), 'breaker or recloser', 'breakers or reclosers')}." for feeder, n in found.items()}


def _of_feeder(content: Content, chosen: pd.DataFrame) -> str:
    """How many laterals of a feeder are converted in each year."""
    said = f"Convert {count(len(chosen), 'lateral')}"
    if "year" not in chosen:
        return f"{said}."
    years, counts = np.unique(chosen["year"].to_numpy(dtype=float), return_counts=True)
    names = [_year(content, year) for year in years]
    if len(years) == 1:
        return f"{said}, {names[0]}."
    return f"{said}: {', '.join(f'{n} in {name}' for n, name in zip(counts, names, strict=True))}."
