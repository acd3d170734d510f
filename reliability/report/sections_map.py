"""Maps in the report: the selection, the verdicts, the outages recorded; none where the study has no routes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.network.devices import CODE
from reliability.network.tree import Network
from reliability.report.blocks import Block
from reliability.report.charts_map import network_map
from reliability.report.content import Content, proposed_conversions
from reliability.report.map_classes import Benefit, Classed, by_benefit, by_verdict


def at_heads(network: Network, ids: pd.Series, values: np.ndarray | float, elsewhere: float = np.nan) -> np.ndarray:
    """Values (n,) at the sections of some ids, `elsewhere` at the other candidates and NaN at all other sections."""
    place = pd.Series(np.arange(len(network)), index=network.ids.astype(str))
    found = np.full(len(network), np.nan)
    found[network.candidates] = elsewhere
    found[place.loc[ids.astype(str)].to_numpy()] = values
    return found


def converted(network: Network, device: np.ndarray, chosen: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Devices (n,) with those of a selection in their places, and the positions of its laterals (m,).

    chosen: rows of laterals of `Results.selection`.
    """
    codes = at_heads(network, chosen["section_id"], chosen["device"].map(CODE).to_numpy())
    at = np.flatnonzero(~np.isnan(codes))
    after = device.copy()
    after[at] = codes[at]
    return after, at


def selection_map(content: Content) -> list[Block]:
    """The laterals chosen, by the customer-minutes that each avoids."""
    chosen, network = proposed_conversions(content), content.study.network
    if chosen is None or not len(chosen):
        return []
    minutes = at_heads(network, chosen["section_id"], chosen["customer_minutes_avoided"].to_numpy(), 0.0)
    device, at = converted(network, network.device, chosen)
    benefit = Benefit("Customer-minutes avoided", "a year", minutes, nothing="not chosen")
    return _map(content, by_benefit(network, benefit), "selection", "The selection in plan", device, at)


def verdict_map(content: Content) -> list[Block]:
    """Every lateral by the verdict of the application checks."""
    checks, network = content.application, content.study.network
    if checks is None:
        return []
    return _map(content, by_verdict(network, checks.proposal.head, checks.verdict), "verdicts",
                "Application checks in plan", network.device)


def outages_map(content: Content) -> list[Block]:
    """Every lateral by the outages recorded on it."""
    if content.history is None:
        return []
    network, rows = content.study.network, content.history.worst_laterals
    return _map(content, by_benefit(network, recorded_outages(network, rows)), "outages", "Outages recorded, in plan",
                network.device)


def recorded_outages(network: Network, rows: pd.DataFrame) -> Benefit:
    """Outages a year on each lateral. rows: `History.worst_laterals`."""
    values = at_heads(network, rows.index.to_series(), rows["events_per_year"].to_numpy(), 0.0)
    return Benefit("Outages recorded", "a year", values)


def _map(content: Content, classed: Classed, key: str, title: str, device: np.ndarray,
         chosen: np.ndarray | tuple[int, ...] = ()) -> list[Block]:
    if content.view is None:
        return []
    return [network_map(content.study.network, content.view, classed, device, key=f"map-{key}", title=title,
                        chosen=list(chosen), miles=content.study.in_miles)]
