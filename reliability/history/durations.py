"""Times to restore, as a lognormal distribution truncated at five minutes.

Sustained interruptions are longer than five minutes by definition, so a lognormal is fitted by
maximum likelihood to the durations, given that they exceed it. Intervals follow from the
curvature of the likelihood (normal on the logarithms of mean and cv).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy
from scipy import special

from reliability.history.level import LEVEL
from reliability.history.outages import PERMANENT_RECORD, TEMPORARY, Records, mapped_kinds
from reliability.network.devices import MELTS
from reliability.study.event_ids import MOMENTARY_SECONDS

CUT_HOURS = MOMENTARY_SECONDS / 3600.0
MINIMUM_EVENTS = 10          # fewer say nothing about a spread; our choice


@dataclass(frozen=True)
class RestorationTimes:
    """Mean (h) and coefficient of variation of the untruncated lognormal, each with `low`, `high` at LEVEL."""

    events: int
    mean: tuple[float, float, float]
    cv: tuple[float, float, float]


def fit_times(hours: np.ndarray, cut: float = CUT_HOURS) -> RestorationTimes | None:
    """Lognormal behind durations (n,) in hours, all above `cut`; None where they are too few or all equal."""
    logs = np.log(hours)
    if len(logs) < MINIMUM_EVENTS or np.ptp(logs) < 1e-9:
        return None
    edge = np.log(cut)

    def loss(x: np.ndarray) -> float:
        sigma = np.exp(x[1])
        z = (logs - x[0]) / sigma
        return float(np.sum(z**2) / 2 + len(logs) * (x[1] + special.log_ndtr((x[0] - edge) / sigma)))

    start = np.array([logs.mean(), np.log(logs.std())])
    # an accumulation of durations at the cut can send the centre to minus infinity: keep it in reach
    bounds = [(edge - 10, logs.max()), (-7, np.log(5))]
    x = scipy.optimize.minimize(loss, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-8}).x
    covariance = _inverse_curvature(loss, x)
    if covariance is None:
        return None
    mu, sigma = x[0], np.exp(x[1])
    square = sigma**2
    mean, cv = np.exp(mu + square / 2), np.sqrt(np.expm1(square))
    by_mean = np.array([1.0, square])                              # d log mean / d (μ, log σ)
    by_cv = np.array([0.0, square / -np.expm1(-square)])           # d log cv / d (μ, log σ)
    return RestorationTimes(len(logs), _interval(mean, by_mean, covariance), _interval(cv, by_cv, covariance))


def _interval(value: float, slope: np.ndarray, covariance: np.ndarray) -> tuple[float, float, float]:
    reach = scipy.special.ndtri((1 + LEVEL) / 2) * np.sqrt(slope @ covariance @ slope)
    return float(value), float(value * np.exp(-reach)), float(value * np.exp(reach))


def _inverse_curvature(loss: Callable[[np.ndarray], float], x: np.ndarray, step: float = 1e-3) -> np.ndarray | None:
    """Inverse of the matrix of second derivatives at `x` (2,); None where there is no proper minimum."""
    e = np.eye(2) * step
    second = np.array([[(loss(x + e[i] + e[j]) - loss(x + e[i] - e[j]) - loss(x - e[i] + e[j])
                         + loss(x - e[i] - e[j])) / (4 * step**2) for j in range(2)] for i in range(2)])
    if not np.isfinite(second).all() or np.linalg.eigvalsh(second).min() <= 0:
        return None
    return np.linalg.inv(second)


@dataclass(frozen=True)
class EventHours:
    """Unplanned sustained events: hours (e,) from the start to the last restoration, and the events of each kind.

    kinds: masks (e,) by name: repair (permanent), refuse and reset (temporary, on a lateral by its device), patrol
    (temporary, on a main), and "all" with those of unknown kind.
    """

    hours: np.ndarray
    kinds: Mapping[str, np.ndarray]


def event_hours(records: Records, keep: np.ndarray) -> EventHours:
    """Durations of the events of the steps that count, keep (n,)."""
    network = records.network
    steps = records.steps.assign(kind=mapped_kinds(records))
    use = keep & steps["counted"].to_numpy() & steps["sustained"].to_numpy() & ~steps["planned"].to_numpy()
    steps = steps[use]
    events = steps.groupby("event", sort=False).agg(begun=("event_started", "first"), section=("section", "first"),
                                                    kind=("kind", "max"))
    over = (steps["started"].to_numpy().astype(np.int64) + steps["seconds"].to_numpy())
    last = pd.Series(over).groupby(steps["event"].to_numpy(), sort=False).max().to_numpy()
    hours = (last - events["begun"].to_numpy().astype(np.int64)) / 3600.0
    section, kind = events["section"].to_numpy(), events["kind"].to_numpy()
    lateral = np.where(section >= 0, network.unit[section], -1)
    fused = (lateral >= 0) & (MELTS[network.device[lateral]])
    temporary = (kind == TEMPORARY) & (section >= 0)
    return EventHours(hours, {"repair": kind == PERMANENT_RECORD, "refuse": temporary & fused,
                              "reset": temporary & (lateral >= 0) & ~fused, "patrol": temporary & (lateral < 0),
                              "all": np.ones(len(events), bool)})


def restoration_times(records: Records, keep: np.ndarray) -> pd.DataFrame:
    """Fitted times by kind of call-out, a row for each kind of `event_hours` that can be fitted.

    keep: (n,) steps that count.
    """
    found = event_hours(records, keep)
    rows = {}
    for name, chosen in found.kinds.items():
        fit = fit_times(found.hours[chosen & (found.hours > CUT_HOURS)]) if chosen.any() else None
        if fit:
            rows[name] = {"events": fit.events, "mean_hours": fit.mean[0], "mean_low": fit.mean[1],
                          "mean_high": fit.mean[2], "cv": fit.cv[0], "cv_low": fit.cv[1], "cv_high": fit.cv[2]}
    columns = ["events", "mean_hours", "mean_low", "mean_high", "cv", "cv_low", "cv_high"]
    table = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    table.index.name = "kind"
    return table
