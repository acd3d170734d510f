"""Sensitivity of the NPV: each assumption by itself, all together, and the break-even values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import scipy

from reliability.business.fast_npv import npv_function, with_values
from reliability.business.rate_drivers import rate_deviations, total_factors
from reliability.indices.draws import pert_shapes
from reliability.indices.simulation import STRUCTURAL
from reliability.network.tree import Network
from reliability.schema.assumptions import (
    ASSUMPTIONS,
    BY_KEY,
    EXACT_TABLES,
    RATES_FROM_RECORDS,
    Range,
    bounds_of,
    label_of,
)
from reliability.schema.values import Assumptions, drawn_shares, number
from reliability.study.cost_table import CostTable
from reliability.study.study import Study

# Range tried of an assumption that the study states as one number; our assumption.
SPREAD = 0.2
STATED, TRIED, FROM_RECORDS = "stated", f"±{SPREAD:.0%}", "from records"
RATE_ENDS = (0.05, 0.95)   # of the draws of learned rates
SAMPLES = 512             # per input of the Sobol' indices; a power of 2
SAMPLES_STRUCTURAL = 128   # … where a draw may need an outcome table of its own
LEVELS = 16                # steps to which assumptions are drawn that need one
FARTHEST = 32.0            # a break-even is looked for up to this many times the value, then to the bounds
FROM_ZERO = np.geomspace(1e-9, 0.1, 9)  # … where the value is 0, at these shares of the upper bound
DRIVER_COLUMNS = ("scenario", "assumption", "label", "unit", "value", "low", "high", "range", "npv", "npv_low",
                  "npv_high", "swing", "first_order", "total", "break_even", "break_even_in_range")

Npv = Callable[[Assumptions], np.ndarray]


def drivers_frame(study: Study, network: Network, costs: CostTable, seed: int | None = None) -> pd.DataFrame:
    """drivers.csv: for each scenario but "As built" the assumptions by how far they move its expected NPV.

    low, high: the range the study states, else ±20 % within the assumption's bounds; npv_low
    and npv_high with only this assumption there. first_order, total: Sobol' indices over the
    stated ranges (Saltelli's scheme as in scipy.stats.sobol_indices), NaN where none is
    stated. break_even: the value nearest to the present one, within the assumption's bounds,
    at which the NPV is 0, NaN where there is none. An assumption that neither moves the NPV nor
    could bring it to 0 is left out, unless the study states a range. Assumptions that change
    what protection does are looked at only where it does.
    """
    npv = npv_function(network, study.scenarios, costs)
    now = npv(study.values)
    deviations = None if study.rate_draws is None else rate_deviations(study.model, study.scenarios, costs,
                                                                       study.rate_draws)
    first, total = sobol(study, npv, study.values["seed"] if seed is None else seed, deviations)
    none = np.full(len(now), np.nan)
    records: list[tuple[object, ...]] = []
    for key, tried in ranges_tried(study).items():
        value = _value(study.values, key)
        low, high = (npv(with_values(study.values, {key: x})) for x in (tried.low, tried.high))
        nil = break_evens(study, npv, key, tried)
        unit = BY_KEY[key.partition(".")[0]].unit
        for s, scenario in list(enumerate(study.scenarios))[1:]:
            swing = float(abs(high[s] - low[s]))
            # a value of 0 has no ±20 % to swing over, and yet the NPV may change sign at another
            if key not in study.uncertain and swing <= 1e-12 * abs(now[s]) and np.isnan(nil[s]):
                continue
            records.append((scenario.name, key, label_of(key), unit, value, tried.low, tried.high,
                            STATED if key in study.uncertain else TRIED, now[s], low[s], high[s], swing,
                            first.get(key, none)[s], total.get(key, none)[s], nil[s],
                            tried.low <= nil[s] <= tried.high))
    records += _from_records(study, now, deviations, first, total)
    frame = pd.DataFrame(records, columns=list(DRIVER_COLUMNS))
    order = {s.name: i for i, s in enumerate(study.scenarios)}
    return frame.sort_values(["scenario", "swing"], key=lambda c: c.map(order) if c.name == "scenario" else -c,
                             ignore_index=True, kind="stable")


def _value(values: Assumptions, key: str) -> float:
    name, _, element = key.partition(".")
    return float(drawn_shares(values, name)[int(element)]) if element else float(number(values, name))


def ranges_tried(study: Study) -> dict[str, Range]:
    """The range to try of every assumption that is a number and may matter to the NPV."""
    ranges, stated = dict(study.uncertain), dict(study.values)
    for a in ASSUMPTIONS:
        if a.kind != "number" or a.table in EXACT_TABLES or a.key in STRUCTURAL:
            continue
        if a.key in ranges or stated[a.key] is None:
            continue
        value, (low, high) = float(number(study.values, a.key)), bounds_of(a)
        ends = sorted((value * (1.0 - SPREAD), value * (1.0 + SPREAD)))
        ranges[a.key] = Range(max(ends[0], low), value, min(ends[1], high))
    return ranges


def _from_records(study: Study, now: np.ndarray, deviations: np.ndarray | None, first: Mapping[str, np.ndarray],
                  total: Mapping[str, np.ndarray]) -> list[tuple[object, ...]]:
    """Rows of `drivers_frame` for what the records leave unknown of the fault rates: the ends of 90 % of its draws."""
    if deviations is None or study.rate_draws is None:
        return []
    faults, a = total_factors(study.model, study.rate_draws), RATES_FROM_RECORDS
    low, high = np.quantile(faults, RATE_ENDS)
    rows: list[tuple[object, ...]] = []
    for s, scenario in list(enumerate(study.scenarios))[1:]:
        ends = now[s] + np.quantile(deviations[:, s], RATE_ENDS)
        falls = np.cov(faults, deviations[:, s])[0, 1] < 0
        at_low, at_high = ends[::-1] if falls else ends
        rows.append((scenario.name, a.key, a.label, a.unit, 1.0, low, high, FROM_RECORDS, now[s], at_low, at_high,
                     float(ends[1] - ends[0]), first[a.key][s], total[a.key][s], np.nan, False))
    return rows


def sobol(study: Study, npv: Npv, seed: int, deviations: np.ndarray | None = None,
          ) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """First-order and total Sobol' indices of the NPV by uncertain assumption, each (S,); NaN where it does not vary.

    The share of the variance of the expected NPV that knowing one assumption would remove, and
    the share that would remain if only that one were unknown. Draws of an assumption that
    needs an outcome table of its own are rounded to steps of a sixteenth of its range. deviations: (K, S) of the NPV at
    draws of the learned rates; they are added, so that how they interact with the others is left out.
    """
    keys = sorted(study.uncertain)
    if not keys and deviations is None:
        return {}, {}
    stepped = [k for k in keys if k.partition(".")[0] in STRUCTURAL]

    def outputs(draws: np.ndarray) -> np.ndarray:
        drawn = {k: rounded_to_levels(x, study.uncertain[k]) if k in stepped else x
                 for k, x in zip(keys, draws, strict=False)}
        found = np.column_stack([npv(with_values(study.values, {k: x[i] for k, x in drawn.items()}))
                                 for i in range(draws.shape[1])])
        if deviations is not None:
            found += deviations[np.minimum((draws[-1] * len(deviations)).astype(int), len(deviations) - 1)].T
        return found

    dists = [pert_distribution(study.uncertain[k]) for k in keys]
    if deviations is not None:
        dists.append(scipy.stats.uniform())
        keys = [*keys, RATES_FROM_RECORDS.key]

    with np.errstate(divide="ignore", invalid="ignore"):
        found = scipy.stats.sobol_indices(
            func=outputs, n=SAMPLES_STRUCTURAL if stepped else SAMPLES,
            dists=dists, rng=np.random.default_rng(seed))
    first, total = (np.reshape(a, (-1, len(keys))) for a in (found.first_order, found.total_order))
    return ({k: first[:, i] for i, k in enumerate(keys)}, {k: total[:, i] for i, k in enumerate(keys)})


def rounded_to_levels(draws: np.ndarray, distribution: Range) -> np.ndarray:
    """Draws (n,) rounded to LEVELS steps of a range."""
    step = (distribution.high - distribution.low) / LEVELS
    return distribution.low + step * np.round((draws - distribution.low) / step)


def pert_distribution(stated: Range) -> Any:
    """The PERT distribution, as a scaled beta distribution of scipy.stats.

    Any, for scipy's types do not let `sobol_indices` take the distributions that it takes.
    """
    return scipy.stats.beta(*pert_shapes(stated), loc=stated.low, scale=stated.high - stated.low)


def break_evens(study: Study, npv: Npv, key: str, tried: Range) -> np.ndarray:
    """The value of one assumption nearest to its present one at which each scenario's NPV is 0, (S,).

    NaN where the NPV does not change sign within the bounds of the assumption (of one that
    changes what protection does: within the range given).
    """
    value, grid = _value(study.values, key), break_even_grid(study, key, tried)
    values = np.array([npv(with_values(study.values, {key: x})) for x in grid])
    result = np.full(values.shape[1], np.nan)
    for s in range(values.shape[1]):
        crossings = np.flatnonzero(values[:-1, s] * values[1:, s] < 0)
        exact = grid[(values[:, s] == 0.0) & np.any(values[:, s] != 0.0)]
        found = [*exact.tolist(), *(_crossing(study, npv, key, s, grid[k], grid[k + 1]) for k in crossings)]
        if found:
            result[s] = min(found, key=lambda x: abs(x - value))
    return result


def _crossing(study: Study, npv: Npv, key: str, scenario: int, low: float, high: float) -> float:
    def npv_at(x: float) -> float:
        return float(npv(with_values(study.values, {key: x}))[scenario])

    return float(scipy.optimize.brentq(npv_at, low, high, rtol=1e-9))


def break_even_grid(study: Study, key: str, tried: Range) -> np.ndarray:
    """Values at which to look for a change of sign, ascending: finer near the present one."""
    value, name = _value(study.values, key), key.partition(".")[0]
    if name in STRUCTURAL:
        return np.unique(np.append(np.linspace(tried.low, tried.high, 5), value))
    low, high = bounds_of(BY_KEY[name])
    around = value * np.geomspace(1.0 / FARTHEST, FARTHEST, 11) if value else high * FROM_ZERO
    grid = np.concatenate([[value], around, np.linspace(low, high, 9), [tried.low, tried.high]])
    return np.unique(np.clip(grid, low, high))
