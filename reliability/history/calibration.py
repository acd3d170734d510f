"""Recorded against modelled SAIFI, SAIDI and restoration times, on the same kind of days, and what may be adjusted.

Records of all unplanned days are compared with the model of all days, records of days without major events with a
model of such days (`model_days`), never one with the other. SAIFI is proportional to the fault rates, SAIDI to the
rates and to the restoration times, so one factor on all rates makes the system's SAIFI equal, and one on all times then
its SAIDI. A factor is offered, never applied, and only where its ratio lies outside what chance does to so many years:
the spread of means over as many simulated years, wider where the records vary more from year to year than the model.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from reliability.formats import count, number
from reliability.history.durations import CUT_HOURS, MINIMUM_EVENTS, EventHours
from reliability.history.level import LEVEL
from reliability.history.model_days import CALLOUT_KINDS, ModelDays

ALL_DAYS, ORDINARY_DAYS = "all days", "days without major events"
YEARS_FOR_A_SPREAD = 3      # fewer do not show how years differ (our choice)
Interval = tuple[float, float, float]   # a ratio and the ends of its interval at LEVEL


@dataclass(frozen=True)
class Comparison:
    """Records against the model on one kind of days.

    days: ALL_DAYS or ORDINARY_DAYS. years: those compared. feeders: a row a feeder_id, "" the system: observed_saifi,
        modelled_saifi, saifi_ratio with saifi_low and saifi_high at LEVEL, and the same for saidi_min with
        saidi_ratio, saidi_low, saidi_high (observed over modelled, NaN where nothing is modelled).
    rate, time: ratios of the system's SAIFI and of SAIDI over SAIFI, with intervals. times: restoration times of single
        events by kind (repair, refuse, reset, patrol): events, observed_hours, modelled_hours, ratio, low, high.
    complete: whether the years are covered in full, so that a factor can be made of it.
    """

    days: str
    years: tuple[int, ...]
    feeders: pd.DataFrame
    rate: Interval
    time: Interval
    times: pd.DataFrame
    complete: bool


@dataclass(frozen=True)
class Calibration:
    """Both comparisons, and what is offered.

    every_day, ordinary: None where there is nothing to compare. rate_factor, time_factor: NaN where none is offered.
    verdict: what is offered and why, in a sentence. note: what a reader of the comparisons should know.
    """

    every_day: Comparison | None
    ordinary: Comparison | None
    rate_factor: float
    time_factor: float
    verdict: str
    note: str

    @property
    def decisive(self) -> Comparison:
        """The comparison that factors come from: of all days, unless the records leave out storms."""
        found = self.every_day or self.ordinary
        if found is None:
            raise ValueError("nothing was compared")
        return found

    @property
    def feeders(self) -> pd.DataFrame:
        """`Comparison.feeders` of the decisive comparison."""
        return self.decisive.feeders

    @property
    def years(self) -> tuple[int, ...]:
        """Years of the decisive comparison."""
        return self.decisive.years


@dataclass(frozen=True)
class RecordedFigures:
    """Recorded figures of some years on one kind of days.

    feeders: mean saifi and saidi_min by feeder_id. system: the same of the system, a row a year, in the order of
    `years`. hours: of the events. complete: whether the years are covered in full.
    """

    years: tuple[int, ...]
    feeders: pd.DataFrame
    system: pd.DataFrame
    hours: EventHours
    complete: bool


def compare(recorded: RecordedFigures, model: ModelDays, earlier: Sequence[int] | None) -> Comparison:
    """Records against the model. earlier: years that the threshold of each year comes from; None: all days."""
    index = pd.Index(["", *model.feeders.index], name="feeder_id")
    shares = dict(zip(("saifi", "saidi_min"), model.shares(earlier), strict=True))
    spread = dict(zip(("saifi", "saidi_min"), model.spread(len(recorded.years), earlier), strict=True))
    width = _excess(recorded.system["saifi"].to_numpy(dtype=float), model.yearly_cv(earlier))
    table = pd.DataFrame(index=index)
    for name, short in (("saifi", "saifi"), ("saidi_min", "saidi")):
        observed = recorded.feeders[name].reindex(model.feeders.index).to_numpy(dtype=float)
        modelled = model.feeders[name].to_numpy(dtype=float)
        table[f"observed_{name}"] = [float(recorded.system[name].mean()), *observed]
        table[f"modelled_{name}"] = np.array([_mean(modelled, model.customers), *modelled]) * shares[name]
        ratio = _ratio(table[f"observed_{name}"].to_numpy(), table[f"modelled_{name}"].to_numpy())
        table[f"{short}_ratio"] = ratio
        table[f"{short}_low"], table[f"{short}_high"] = _interval(ratio, spread[name], width)
    time = _ratio(table["saidi_ratio"].to_numpy()[:1], table["saifi_ratio"].to_numpy()[:1])
    often, long = (spread[name][:, :1] for name in ("saifi", "saidi_min"))
    longer = np.divide(long, often, out=np.full(often.shape, np.nan), where=often > 0)
    low, high = _interval(time, longer, width)
    system = table.iloc[0]
    return Comparison(
        ORDINARY_DAYS if earlier is not None else ALL_DAYS, recorded.years, table,
        (float(system["saifi_ratio"]), float(system["saifi_low"]), float(system["saifi_high"])),
        (float(time[0]), float(low[0]), float(high[0])), _times(recorded.hours, model.mean_hours(earlier)),
        recorded.complete)


def calibration(every_day: Comparison | None, ordinary: Comparison | None, note: str) -> Calibration | None:
    """What two comparisons offer; None where there is neither."""
    decisive = every_day or ordinary
    if decisive is None:
        return None
    rate, time = (ratio if decisive.complete and _differs(interval) else np.nan
                  for interval in (decisive.rate, decisive.time) for ratio in interval[:1])
    return Calibration(every_day, ordinary, rate, time, _verdict(decisive, rate, time), note)


def _differs(interval: Interval) -> bool:
    ratio, low, high = interval
    return bool(np.isfinite(ratio) and ratio > 0 and (low > 1.0 or high < 1.0))


def _verdict(found: Comparison, rate: float, time: float) -> str:
    """What is offered, and why."""
    if not np.isfinite(found.rate[0]):
        return "Nothing is modelled, so there is no factor."
    if not found.complete:
        return "No factor is offered: no year is covered in full."
    if found.rate[0] == 0.0:
        return (f"No factor is offered: on {found.days} the records hold no sustained interruption of which duration "
                "and customers are known, though some are modelled.")
    seen = (f"on {found.days} the records show {_spoken(found.rate)} times the modelled SAIFI, and "
            f"{_spoken(found.time)} times the modelled minutes for each interruption")
    spell = f"in {count(len(found.years), 'year')}"
    if not np.isfinite(rate) and not np.isfinite(time):
        return f"No factor is offered: {seen}. Both ratios are within what chance does {spell}."
    offered = [f"{number(factor)} on all {what}" for factor, what in (
        (rate, "fault rates"), (time, "restoration times")) if np.isfinite(factor)]
    rest = "" if len(offered) == 2 else " The other ratio is within what chance does " + spell + "."
    factors = "Factors" if len(offered) == 2 else "A factor"
    return (f"{factors} of {' and '.join(offered)} would close the gap between model and records: {seen}.{rest} "
            "Offered, not applied.")


def _spoken(interval: Interval) -> str:
    ratio, low, high = interval
    return f"{number(ratio)} ({number(low)} to {number(high)})"


def _excess(yearly: np.ndarray, modelled_cv: float) -> float:
    """How much wider the records vary from year to year than the model, at least 1."""
    if len(yearly) < YEARS_FOR_A_SPREAD or not yearly.mean() > 0 or modelled_cv <= 0:
        return 1.0
    return max(1.0, float(yearly.std(ddof=1) / yearly.mean() / modelled_cv))


def _interval(ratio: np.ndarray, spread: np.ndarray, width: float) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the interval of ratios (m,) whose observed part varies like `spread` (BLOCKS, m), `width` times wider."""
    low, high = np.full(len(ratio), np.nan), np.full(len(ratio), np.nan)
    known = np.isfinite(spread).any(axis=0)
    tail = (1.0 - LEVEL) / 2.0
    if known.any():
        low[known], high[known] = np.nanquantile(spread[:, known], [tail, 1.0 - tail], axis=0)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):     # nothing over nothing is not known
        low, high = (np.exp(width * np.log(end)) for end in (low, high))
        return ratio / high, np.where(ratio > 0, ratio / low, 0.0)


def _times(recorded: EventHours, modelled: np.ndarray) -> pd.DataFrame:
    """Restoration times by kind, recorded and modelled, see `Comparison.times`."""
    rows: dict[str, Mapping[str, float]] = {}
    for name, model_hours in zip(CALLOUT_KINDS, modelled, strict=True):
        hours = recorded.hours[recorded.kinds[name] & (recorded.hours > CUT_HOURS)]
        if len(hours) >= MINIMUM_EVENTS and model_hours > 0:
            ratio = float(hours.mean() / model_hours)
            reach = scipy.special.ndtri((1 + LEVEL) / 2) * hours.std(ddof=1) / hours.mean() / np.sqrt(len(hours))
            rows[name] = {"events": len(hours), "observed_hours": float(hours.mean()), "modelled_hours": model_hours,
                          "ratio": ratio, "low": ratio * np.exp(-reach), "high": ratio * np.exp(reach)}
    columns = ["events", "observed_hours", "modelled_hours", "ratio", "low", "high"]
    return pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("kind")


def _mean(values: np.ndarray, weights: np.ndarray) -> float:
    used = np.isfinite(values) & (weights > 0)
    return float(np.average(values[used], weights=weights[used])) if used.any() else np.nan


def _ratio(observed: np.ndarray, modelled: np.ndarray) -> np.ndarray:
    return np.divide(observed, modelled, out=np.full(len(observed), np.nan), where=modelled > 0)
