"""Modelled against observed SAIFI and SAIDI by feeder, and two factors that would close the gap.

SAIFI is proportional to the fault rates, SAIDI to the rates and to the restoration times. So
one factor on all rates closes the system's gap in SAIFI, and one on all times then closes the
gap in SAIDI. The factors are offered, never applied. Observed are unplanned interruptions
alone, whatever [history] says of planned ones elsewhere: the model holds faults, not planned work.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Calibration:
    """feeders: a row a feeder_id, "" the system: observed_saifi, modelled_saifi, saifi_ratio,
    observed_saidi_min, modelled_saidi_min, saidi_ratio (observed over modelled, NaN where
    nothing is modelled). rate_factor, time_factor: as offered, NaN where they do not exist.
    """

    feeders: pd.DataFrame
    rate_factor: float
    time_factor: float
    years: tuple[int, ...]
    note: str


def calibrate(observed: pd.DataFrame, modelled: pd.DataFrame, customers: pd.Series, years: tuple[int, ...],
              note: str = "") -> Calibration:
    """Compare `observed` and `modelled`: frames by feeder_id with saifi and saidi_min (a year).

    customers: served by feeder_id, the weights of the system's means. A feeder that either
    frame lacks is left out of the comparison and named in the note.
    """
    shared = observed.index.intersection(modelled.index)
    left = observed.index.symmetric_difference(modelled.index)
    weights = customers.reindex(shared).to_numpy(dtype=float)
    rows = {}
    for name in ("saifi", "saidi_min"):
        seen, model = (f.loc[shared, name].to_numpy(dtype=float) for f in (observed, modelled))
        weighed = [_mean(v, weights) for v in (seen, model)]
        rows[f"observed_{name}"] = np.append(weighed[0], seen)
        rows[f"modelled_{name}"] = np.append(weighed[1], model)
    table = pd.DataFrame(rows, index=pd.Index(["", *shared], name="feeder_id"))
    table["saifi_ratio"] = _ratio(table["observed_saifi"], table["modelled_saifi"])
    table["saidi_ratio"] = _ratio(table["observed_saidi_min"], table["modelled_saidi_min"])
    rate = float(table["saifi_ratio"].iloc[0])
    time = float(table["saidi_ratio"].iloc[0]) / rate if rate > 0 else np.nan
    if len(left):
        note = f"{note} Not compared: {', '.join(map(str, left))}.".strip()
    return Calibration(table, rate, time, years, note)


def _mean(values: np.ndarray, weights: np.ndarray) -> float:
    used = np.isfinite(values) & (weights > 0)
    return float(np.average(values[used], weights=weights[used])) if used.any() else np.nan


def _ratio(a: pd.Series, b: pd.Series) -> np.ndarray:
    a, b = a.to_numpy(), b.to_numpy()
    return np.divide(a, b, out=np.full(len(a), np.nan), where=b > 0)
