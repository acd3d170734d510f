"""What the records hold of laterals: their events by measure, by calendar year, before and after; their exposure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.history.lateral_years import LateralYears
from reliability.history.outages import Records

Span = tuple[np.datetime64, np.datetime64]


@dataclass(frozen=True)
class Windows:
    """Spans before and after, each from its first day up to but not on its last."""

    before: tuple[Span, ...]
    after: tuple[Span, ...]

    def years(self, after: bool) -> float:
        """Length of the spans before or after, years of 365.25 days."""
        return sum(max(float((end - start).astype(int)), 0.0)
                   for start, end in (self.after if after else self.before)) / 365.25


def lateral_exposure(records: Records, line_fault_rate: float) -> np.ndarray:
    """Assumed faults a year of each lateral, (laterals,); line_fault_rate: a km and year where none is stated."""
    column, network = records.network.column, records.network
    stated = column["line_fault_rate_per_km"]
    faults = (np.nan_to_num(column["length_km"]) * np.where(np.isnan(stated), line_fault_rate, stated)
              + np.nan_to_num(column["equipment_fault_rate"]))
    unit = network.unit
    return np.bincount(unit[unit >= 0], weights=faults[unit >= 0], minlength=len(network))[network.candidates]


def events_on_laterals(records: Records) -> dict[str, pd.DataFrame]:
    """Events on laterals by measure: lateral (position of its head) and day.

    A sustained interruption is an event at a section, a call-out an event at the lateral with a
    sustained interruption (records name no crews), a momentary event one without.
    """
    steps = records.steps
    section = steps["section"].to_numpy()
    lateral = np.where(section >= 0, records.network.unit[section], -1)
    part = steps.assign(lateral=lateral)[(lateral >= 0) & ~steps["planned"].to_numpy() & steps["counted"].to_numpy()]
    sustained = part[part["sustained"].to_numpy()]
    callouts = sustained.drop_duplicates(["event", "lateral"])
    momentary = part.groupby(["event", "lateral"], sort=False).agg(day=("day", "first"), sustained=("sustained", "max"))
    return {"sustained_interruptions": sustained.drop_duplicates(["event", "section"]), "callouts": callouts,
            "momentary_events": momentary[~momentary["sustained"].to_numpy(dtype=bool)].reset_index()}


def events_by_year(events: pd.DataFrame, heads: np.ndarray, windows: Windows) -> LateralYears:
    """Events of the laterals headed by `heads` by calendar year, apart before and after; no cell without a day."""
    day = events["day"].to_numpy().astype("datetime64[D]")
    lateral = np.searchsorted(heads, events["lateral"].to_numpy(dtype=int))
    counts, lengths, after = [], [], []
    for is_after, spans in ((False, windows.before), (True, windows.after)):
        for start, end in spans:
            for year in range(int(str(start)[:4]), int(str(end)[:4]) + 1):
                begin, stop = max(start, np.datetime64(f"{year}-01-01")), min(end, np.datetime64(f"{year + 1}-01-01"))
                if stop <= begin:
                    continue
                inside = (day >= begin) & (day < stop)
                counts.append(np.bincount(lateral[inside], minlength=len(heads)))
                lengths.append(float((stop - begin).astype(int)) / 365.25)
                after.append(is_after)
    table = np.column_stack(counts) if counts else np.zeros((len(heads), 0), dtype=int)
    return LateralYears(table, np.array(lengths), np.array(after, dtype=bool))
