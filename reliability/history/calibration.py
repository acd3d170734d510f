"""Modelled against observed SAIFI and SAIDI by feeder, and two factors that would make them equal.

SAIFI is proportional to the fault rates, SAIDI to the rates and to the restoration times. So
one factor on all rates makes the system's SAIFI equal, and one on all times then its SAIDI. The
factors are stated, never applied. Only unplanned interruptions are compared, whatever [history]
says of planned ones elsewhere: the model holds faults, not planned work.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Calibration:
    """feeders: a row a feeder_id, "" the system: observed_saifi, modelled_saifi, saifi_ratio,
    observed_saidi_min, modelled_saidi_min, saidi_ratio (observed over modelled, NaN where
    nothing is modelled). rate_factor, time_factor: NaN where they do not exist.
    """

    feeders: pd.DataFrame
    rate_factor: float
    time_factor: float
    years: tuple[int, ...]
    note: str


def calibrate(observed: pd.DataFrame, modelled: pd.DataFrame, customers: pd.Series, years: tuple[int, ...],
              note: str = "") -> Calibration:
    """Compare `observed` and `modelled`: frames by feeder_id with saifi and saidi_min (a year).

    customers: served by feeder_id, the weights of the system's means. A feeder that is missing
    from either frame is left out of the comparison and named in the note.
    """
    shared = observed.index.intersection(modelled.index)
    unmatched = observed.index.symmetric_difference(modelled.index)
    weights = customers.reindex(shared).to_numpy(dtype=float)
    rows = {}
    for name in ("saifi", "saidi_min"):
        for source, frame in (("observed", observed), ("modelled", modelled)):
            values = frame.loc[shared, name].to_numpy(dtype=float)
            rows[f"{source}_{name}"] = np.append(_mean(values, weights), values)
    table = pd.DataFrame(rows, index=pd.Index(["", *shared], name="feeder_id"))
    table["saifi_ratio"] = _ratio(rows["observed_saifi"], rows["modelled_saifi"])
    table["saidi_ratio"] = _ratio(rows["observed_saidi_min"], rows["modelled_saidi_min"])
    rate = float(table["saifi_ratio"].iloc[0])
    time = float(table["saidi_ratio"].iloc[0]) / rate if rate > 0 else np.nan
    if len(unmatched):
        note = f"{note} Not compared, as they are in one of the two only: {', '.join(map(str, unmatched))}.".strip()
    return Calibration(table, rate, time, years, note)


def _mean(values: np.ndarray, weights: np.ndarray) -> float:
    used = np.isfinite(values) & (weights > 0)
    return float(np.average(values[used], weights=weights[used])) if used.any() else np.nan


def _ratio(observed: np.ndarray, modelled: np.ndarray) -> np.ndarray:
    return np.divide(observed, modelled, out=np.full(len(observed), np.nan), where=modelled > 0)
