"""The model's own years, day by day, told apart into ordinary and major event days as the records' days are.

Faults come as the model has them: Poisson, a year's rates with its yearly multiplier, evenly over the days of the
year, each with its severity. T_MED follows from the daily SAIDI of earlier simulated years by the rule of
`major_events`, so that what the records show on days without major events meets the model on such days. The model has
no storms beyond this: where the records' storms hold more of a year's faults, their ordinary days hold less.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.faults.consequences import CALLOUTS, Consequences, consequences
from reliability.faults.outcomes import OutcomeTable, row_rates
from reliability.history.major_events import BETAS, YEARS_BACK
from reliability.indices.draws import yearly_multipliers
from reliability.indices.expected import hours_interrupted
from reliability.network.quantities import Quantity, quantity
from reliability.schema.values import Assumptions
from reliability.study.event_ids import MOMENTARY_SECONDS

SEED = 1366
SIMULATED_EVENTS = 600_000                        # sustained events simulated, about
YEARS_AT_LEAST, YEARS_AT_MOST = 100, 1000
CELLS_AT_MOST = 2_000_000               # years × feeders of each array
BLOCKS = 2000                           # spells of years drawn for the spread of a mean over years
DAYS = 365
CALLOUT_KINDS = CALLOUTS                        # refuse, reset, patrol, repair


@dataclass(frozen=True)
class YearSums:
    """Customer interruptions and customer-minutes of each simulated year (y) and feeder (f), arrays (y, f).

    hours, events: (kinds) of call-outs: total time to the last restoration (h) and number, over all years.
    """

    interruptions: np.ndarray
    minutes: np.ndarray
    hours: np.ndarray
    events: np.ndarray


@dataclass(frozen=True)
class ModelDays:
    """A study as built, simulated day by day.

    feeders: expected saifi (1/yr) and saidi_min (min/yr) by feeder_id, all days. customers: (f,) served.
    every_day: sums of all days. ordinary: those of days without major events by the number of earlier years, 1 to
    YEARS_BACK, that the threshold comes from.
    """

    feeders: pd.DataFrame
    customers: np.ndarray
    every_day: YearSums
    ordinary: Mapping[int, YearSums]

    def parts(self, earlier: Sequence[int] | None) -> list[YearSums]:
        """Sums that stand for each of some years: all days where `earlier` is None, else by their earlier years."""
        return [self.every_day] if earlier is None else [self.ordinary[min(k, YEARS_BACK)] for k in earlier]

    def shares(self, earlier: Sequence[int] | None) -> tuple[np.ndarray, np.ndarray]:
        """Parts of interruptions and of minutes that such days hold, (1 + f,) each; the system first."""
        parts = self.parts(earlier)
        return (_share([p.interruptions for p in parts], self.every_day.interruptions),
                _share([p.minutes for p in parts], self.every_day.minutes))

    def mean_hours(self, earlier: Sequence[int] | None) -> np.ndarray:
        """Mean time (h) to the last restoration of sustained events on such days, by CALLOUT_KINDS, NaN without any."""
        parts = self.parts(earlier)
        hours, events = (np.sum([getattr(p, name) for p in parts], axis=0) for name in ("hours", "events"))
        return np.divide(hours, events, out=np.full(len(CALLOUT_KINDS), np.nan), where=events > 0)

    def spread(self, years: int, earlier: Sequence[int] | None) -> tuple[np.ndarray, np.ndarray]:
        """Means over spells of so many years against the long run: of interruptions and of minutes, (BLOCKS, 1 + f)."""
        parts = self.parts(earlier) if earlier is not None else [self.every_day] * years
        rng = np.random.default_rng(SEED + 1)
        picked = [rng.integers(0, len(p.interruptions), BLOCKS) for p in parts]
        return (_relative(picked, [p.interruptions for p in parts]), _relative(picked, [p.minutes for p in parts]))

    def yearly_cv(self, earlier: Sequence[int] | None) -> float:
        """Coefficient of variation of the system's interruptions from year to year."""
        yearly = np.concatenate([p.interruptions.sum(axis=1) for p in self.parts(earlier)])
        return float(yearly.std() / yearly.mean()) if yearly.any() else 0.0


def _relative(picked: Sequence[np.ndarray], values: Sequence[np.ndarray]) -> np.ndarray:
    """Sums over years picked (BLOCKS,) of values (y, f) each, over what they come to on the average; NaN where 0."""
    drawn, usual = np.zeros(1), np.zeros(1)
    for at, of_years in zip(picked, values, strict=True):
        drawn = drawn + _with_system(of_years[at])
        usual = usual + _with_system(of_years.mean(axis=0, keepdims=True))
    return np.divide(drawn, usual, out=np.full(drawn.shape, np.nan), where=usual > 0)


def _with_system(values: np.ndarray) -> np.ndarray:
    """(y, f) with the sum over feeders in front."""
    return np.column_stack([values.sum(axis=1), values])


def _share(parts: Sequence[np.ndarray], whole: np.ndarray) -> np.ndarray:
    part = np.mean([_with_system(p).mean(axis=0) for p in parts], axis=0)
    total = _with_system(whole).mean(axis=0)
    return np.divide(part, total, out=np.ones(len(total)), where=total > 0)


@dataclass(frozen=True)
class _Events:
    """Simulated sustained events, arrays (e,): year, day, feeder, interruptions, minutes, kind and hours."""

    year: np.ndarray
    day: np.ndarray
    feeder: np.ndarray
    interruptions: np.ndarray
    minutes: np.ndarray
    kind: np.ndarray
    hours: np.ndarray

    def sums(self, kept: np.ndarray, years: int, feeders: int) -> YearSums:
        """Sums over the events kept, (e,) bool."""
        cell = self.year[kept] * feeders + self.feeder[kept]
        lasting = kept & (self.hours * 3600.0 > MOMENTARY_SECONDS) & (self.interruptions > 0)
        kind = self.kind[lasting]
        by_cell = [np.bincount(cell, values[kept], years * feeders).reshape(years, feeders)
                   for values in (self.interruptions, self.minutes)]
        return YearSums(by_cell[0], by_cell[1], np.bincount(kind, self.hours[lasting], len(CALLOUT_KINDS)),
                        np.bincount(kind, minlength=len(CALLOUT_KINDS)))


def simulate_days(table: OutcomeTable, values: Assumptions, feeders: pd.DataFrame) -> ModelDays:
    """Simulate the first scenario of a table. feeders: see `ModelDays`, in the order of the network's feeder_ids."""
    network, rates = table.network, row_rates(table, values)
    customers = np.bincount(network.feeder, network.customers, len(network.feeder_ids))
    rows = np.flatnonzero((table.opened[0] >= 0) & (rates > 0))
    total, count = float(rates[rows].sum()), len(network.feeder_ids)
    years = int(np.clip(SIMULATED_EVENTS / total if total > 0 else 0, YEARS_AT_LEAST, YEARS_AT_MOST))
    years = max(min(years, CELLS_AT_MOST // max(count, 1)), YEARS_AT_LEAST)
    events = _draw(table, values, rows, rates[rows], years)
    minutes = np.bincount(events.year * DAYS + events.day, events.minutes, years * DAYS)
    saidi = minutes.reshape(years, DAYS) / max(float(customers.sum()), 1.0)
    everything = events.sums(np.ones(len(events.year), bool), years, count)
    ordinary = {}
    for k in range(1, YEARS_BACK + 1):
        major = saidi > thresholds(saidi, k)[:, None]
        ordinary[k] = events.sums(~major[events.year, events.day], years, count)
    return ModelDays(feeders, customers, everything, ordinary)


def _draw(table: OutcomeTable, values: Assumptions, rows: np.ndarray, rates: np.ndarray, years: int) -> _Events:
    rng = np.random.default_rng(SEED)
    multiplier = yearly_multipliers(rng, values["yearly_cv"], 1, years)[0]
    counts = rng.poisson(rates.sum() * multiplier)
    year = np.repeat(np.arange(years), counts)
    n = len(year)
    at = np.searchsorted(np.cumsum(rates), rng.random(n) * rates.sum(), side="right").clip(max=max(len(rows) - 1, 0))
    sigma = np.sqrt(np.log1p(values["cv"] ** 2))
    severity = np.exp(rng.standard_normal(n) * sigma - sigma**2 / 2)
    effect = consequences(table, 0, values, rows)
    customers = quantity(table.network, table.network.customers)
    return _Events(year, rng.integers(0, DAYS, n), table.network.feeder[effect.opened][at],
                   effect.sustained(customers)[at], 60.0 * hours_interrupted(effect, customers)[at] * severity,
                   effect.callout[at], _last_hours(effect, customers)[at] * severity)


def _last_hours(effect: Consequences, customers: Quantity) -> np.ndarray:
    """Mean hours until the last customers are back, (r,)."""
    waiting, switched = effect.waiting_and_switched(customers)
    return np.maximum(np.where(waiting > 0, effect.waiting_hours, 0.0),
                      np.where(switched > 0, effect.switching_hours, 0.0))


def thresholds(saidi: np.ndarray, earlier: int) -> np.ndarray:
    """T_MED (years,) from the daily SAIDI (years, days) of so many years before each; NaN where there is none."""
    seen = saidi > 0
    logs = np.log(np.where(seen, saidi, 1.0))
    sums = np.array([seen.sum(axis=1), logs.sum(axis=1), (logs**2).sum(axis=1)], dtype=float)
    # the years are drawn alike, so those before the first are the last ones
    n, first, second = np.sum([np.roll(sums, back, axis=1) for back in range(1, earlier + 1)], axis=0)
    mean = np.divide(first, n, out=np.full(len(n), np.nan), where=n > 1)
    variance = np.divide(second - n * mean**2, n - 1, out=np.full(len(n), np.nan), where=n > 1)
    return np.exp(mean + BETAS * np.sqrt(np.maximum(variance, 0.0)))
