"""The worst feeders and laterals by the records: the worst 5 % by each index, and the years in which they were."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.history.panels import EVENTS, PANEL_INDICES, Panel

WORST_SHARE = 0.05      # of the circuits, at least one; what regulators ask for (52 Pa. Code ch. 57, from memory)
CIRCUIT_LABELS = {"saifi": "SAIFI", "saidi_min": "SAIDI", "caidi_min": "CAIDI", "maifi_e": "MAIFI_E",
                  EVENTS: "interruptions"}
ORDERED_BY = ("saifi", "saidi_min", EVENTS)


@dataclass(frozen=True)
class Circuits:
    """Feeders or laterals, the worst first.

    table: a row a circuit, see `rank_circuits`. years: those over which its figures are means. every_event, without:
    yearly sums of all events, and of those that did not begin on a major event day.
    """

    table: pd.DataFrame
    years: tuple[int, ...]
    every_event: Panel
    without: Panel

    @property
    def worst(self) -> pd.DataFrame:
        """The circuits among the worst by any index, with or without major event days."""
        return self.table[(self.table["worst_by"] != "") | (self.table["worst_by_all"] != "")]


def worst_few(values: np.ndarray, minutes: np.ndarray, share: float = WORST_SHARE) -> np.ndarray:
    """The worst of g circuits, (g,) flags: of the largest values above 0, so many as `share` of all, rounded up.

    Equal values are told apart by customer-minutes `minutes` (g,), then by their order.
    """
    size = np.nan_to_num(np.asarray(values, dtype=float))
    order = np.lexsort((np.arange(len(size)), -minutes, -size))[:int(np.ceil(share * len(size) - 1e-9))]
    flags = np.zeros(len(size), dtype=bool)
    flags[order] = size[order] > 0
    return flags


def rank_circuits(every_event: Panel, without: Panel, years: Sequence[int]) -> Circuits:
    """Circuits ranked by their means over `years`; index: name.

    Columns: of PANEL_INDICES without major event days, the same of all events with "_all" behind them;
    customers_served; rank_saifi, rank_saidi_min and so on without major event days (1 the worst, equal ones share it;
    NaN of MAIFI_E where not every device has its momentary events recorded); worst_by, worst_by_all: indices by which
    the circuit is among the worst few, in words; years_worst, years_worst_by: of all years of the records those in
    which it was, and by what, without major event days.
    """
    now, every = without.indices(years), every_event.indices(years)
    table = now[list(PANEL_INDICES)].join(every[list(PANEL_INDICES)].add_suffix("_all"))
    rows = np.isin(without.years, list(years))
    table["customers_served"] = without.served[rows].mean(axis=0)
    for index in PANEL_INDICES:
        known = now[index] if index == "maifi_e" else now[index].fillna(0.0)
        table[f"rank_{index}"] = known.rank(ascending=False, method="min") if index in _ranked(without) else np.nan
    table["worst_by"], table["worst_by_all"] = (_worst_by(frame, _ranked(without)) for frame in (now, every))
    table["years_worst"], table["years_worst_by"] = _years_worst(without)
    ranks = table[[f"rank_{index}" for index in ORDERED_BY]]
    order = np.lexsort((np.arange(len(table)), ranks.sum(axis=1), ranks.min(axis=1)))
    return Circuits(table.iloc[order], tuple(int(y) for y in years), every_event, without)


def _ranked(panel: Panel) -> tuple[str, ...]:
    """Indices by which circuits are ranked: MAIFI_E only where the records hold it of every device."""
    return tuple(index for index in PANEL_INDICES if index != "maifi_e" or panel.momentary_complete)


def _worst_by(frame: pd.DataFrame, ranked: Sequence[str]) -> list[str]:
    minutes = frame["customer_minutes"].to_numpy()
    flags = [worst_few(frame[index].to_numpy(), minutes) for index in ranked]
    return [", ".join(CIRCUIT_LABELS[index] for index, flag in zip(ranked, row, strict=True) if flag)
            for row in zip(*flags, strict=True)]


def _years_worst(panel: Panel) -> tuple[list[str], list[str]]:
    """Years in which each circuit was among the worst few: "2021, 2023", and "2021 SAIFI; 2023 SAIFI, SAIDI"."""
    found: list[dict[int, str]] = [{} for _ in panel.names]
    for year in panel.years.tolist():
        for listed, by in zip(found, _worst_by(panel.indices([year]), _ranked(panel)), strict=True):
            listed |= {year: by} if by else {}
    return ([", ".join(map(str, years)) for years in found],
            ["; ".join(f"{year} {by}" for year, by in years.items()) for years in found])
