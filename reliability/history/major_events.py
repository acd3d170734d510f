"""Major event days by the 2.5 β method (IEEE Std 1366-2012, annex B), or by a list.

Daily SAIDI of up to five years before the year, days of zero SAIDI left out; α and β are the
mean and the standard deviation (divisor n − 1) of its natural logarithms and
T_MED = exp(α + 2.5 β). A day is a major event day where its SAIDI is above T_MED.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.study.record_settings import FIXED, RecordSettings

YEARS_BACK = 5
BETAS = 2.5


@dataclass(frozen=True)
class MajorEvents:
    """Thresholds and days.

    thresholds: a row a year: t_med (min), alpha, beta, days_used, years_used, note; NaN where
        there is no threshold; the note says why, or what fewer than five years mean.
    days: major event days, ascending: year, interruptions, customer_minutes, saidi_min.
    method: "beta" or "fixed".
    """

    thresholds: pd.DataFrame
    days: pd.DataFrame
    method: str

    def has_verdict(self, year: int) -> bool:
        """Whether the days of `year` could be classified at all."""
        return self.method == FIXED or bool(np.isfinite(self.thresholds["t_med"].loc[year]))

    def unclassified(self, years: np.ndarray) -> tuple[int, ...]:
        """Those of `years` (y,) whose days could not be classified."""
        return tuple(int(y) for y in years if not self.has_verdict(int(y)))


def log_moments(daily_saidi: np.ndarray) -> tuple[float, float]:
    """α and β of daily SAIDI (n,) in minutes, zeros left out; NaN where too few days differ."""
    logs = np.log(daily_saidi[daily_saidi > 0])
    if len(logs) < 2 or np.ptp(logs) == 0:
        return (float(logs.mean()) if len(logs) else np.nan), np.nan
    return float(logs.mean()), float(logs.std(ddof=1))


def threshold(daily_saidi: np.ndarray) -> float:
    """T_MED in minutes from daily SAIDI (n,) in minutes; NaN where it does not exist."""
    alpha, beta = log_moments(daily_saidi)
    return float(np.exp(alpha + BETAS * beta))


def major_events(daily: pd.DataFrame, years: np.ndarray, partial: Mapping[int, str],
                 settings: RecordSettings) -> MajorEvents:
    """Thresholds of `years` (y,) and the days above them, from `observed.daily_indices`."""
    rows = {int(y): _threshold_row(daily, int(y), years, partial) for y in years}
    thresholds = pd.DataFrame.from_dict(rows, orient="index")
    thresholds.index.name = "year"
    if settings.major_event_method == FIXED:
        days = daily[np.isin(daily.index.to_numpy().astype("datetime64[D]"), settings.major_event_days)]
        return MajorEvents(thresholds, days, FIXED)
    limit = thresholds["t_med"].reindex(daily["year"]).to_numpy()
    return MajorEvents(thresholds, daily[daily["saidi_min"].to_numpy() > limit], settings.major_event_method)


def _threshold_row(daily: pd.DataFrame, year: int, years: np.ndarray, partial: Mapping[int, str]) -> dict[str, object]:
    earlier = [int(y) for y in years if year - YEARS_BACK <= y < year]
    saidi = daily["saidi_min"].to_numpy()[np.isin(daily["year"].to_numpy(), earlier)]
    saidi = saidi[saidi > 0]
    alpha, beta = log_moments(saidi) if len(saidi) else (np.nan, np.nan)
    return {"t_med": float(np.exp(alpha + BETAS * beta)), "alpha": alpha, "beta": beta, "days_used": len(saidi),
            "years_used": len(earlier), "note": _note(earlier, beta, partial)}


def _note(earlier: list[int], beta: float, partial: Mapping[int, str]) -> str:
    if not earlier:
        return "The records hold no earlier year: there is no threshold, and no day is a major event day."
    if not np.isfinite(beta):
        return "Fewer than two earlier days differ in SAIDI: there is no threshold, and no day is a major event day."
    notes = []
    if len(earlier) < YEARS_BACK:
        notes.append(f"The threshold comes from {len(earlier)} of the five years that the method asks for: it is less "
                     "certain and will change as years are added.")
    notes += [f"{y} is {partial[y]} only." for y in earlier if y in partial]
    return " ".join(notes)
