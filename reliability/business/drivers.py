"""Sensitivity of the NPV: each assumption by itself, all together, and the break-even values."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from reliability.business.expected_npv import ExpectedNpv
from reliability.business.rate_drivers import rate_deviations, total_factors
from reliability.business.sobol import SobolIndices, sobol_indices
from reliability.business.turning_points import one_way, value_of
from reliability.indices.simulation import STRUCTURAL
from reliability.network.model import Model
from reliability.network.tree import Network
from reliability.schema.assumption_types import Range, bounds_of
from reliability.schema.assumptions import ASSUMPTIONS, BY_KEY, EXACT_TABLES, RATES_FROM_RECORDS, label_of
from reliability.schema.values import number
from reliability.study.cost_table import CostTable
from reliability.study.study import Study
from reliability.tasks import HERE, Workers

# Range tried of an assumption that the study states as one number; our assumption.
SPREAD = 0.2
STATED_RANGE, DEFAULT, TRIED, FROM_RECORDS = "stated", "default", f"±{SPREAD:.0%}", "from records"
RATE_ENDS = (0.05, 0.95)   # of the draws of learned rates
DRIVER_COLUMNS = ("scenario", "assumption", "label", "unit", "value", "low", "high", "range", "npv", "npv_low",
                  "npv_high", "swing", "first_order", "total", "first_order_error", "total_error", "break_even",
                  "break_even_in_range")


def drivers_frame(study: Study, network: Network, costs: CostTable, seed: int | None = None,
                  workers: Workers = HERE) -> pd.DataFrame:
    """drivers.csv: for each scenario but "As built" the assumptions by how far they move its expected NPV.

    low, high: the range the study states, else the default one, else ±20 % within the assumption's bounds; npv_low
    and npv_high with only this assumption there. first_order, total: Sobol' indices over the
    ranges stated and default with their standard errors (see `sobol_indices`), NaN where there
    is none. break_even: the value nearest to the present one, within the assumption's bounds,
    at which the NPV is 0, NaN where there is none. An assumption that neither moves the NPV nor
    could bring it to 0 is left out, unless the study states a range. Assumptions that change
    what protection does are looked at only where it does.
    """
    npv = ExpectedNpv(Model(network, study.values), study.scenarios, costs)
    now = npv(study.values)[0]
    deviations = None if study.rate_draws is None else rate_deviations(study.model, study.scenarios, costs,
                                                                       study.rate_draws)
    indices = sobol_indices(study, npv, study.values["seed"] if seed is None else seed, deviations, workers)
    records = [*_one_by_one(study, npv, now, indices), *_from_records(study, now, deviations, indices)]
    frame = pd.DataFrame(records, columns=list(DRIVER_COLUMNS))
    order = {s.name: i for i, s in enumerate(study.scenarios)}
    return frame.sort_values(["scenario", "swing"], key=lambda c: c.map(order) if c.name == "scenario" else -c,
                             ignore_index=True, kind="stable")


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


def range_of(study: Study, key: str) -> str:
    """Where the range tried of an assumption comes from."""
    return STATED_RANGE if key in study.stated_ranges else DEFAULT if key in study.default_ranges else TRIED


def _one_by_one(study: Study, npv: ExpectedNpv, now: np.ndarray,
                indices: SobolIndices) -> Iterator[tuple[object, ...]]:
    """Rows of `drivers_frame` for every assumption that moves the NPV."""
    ranges = ranges_tried(study)
    found = one_way(study.values, npv, ranges)
    for key, tried in ranges.items():
        low, high, nil = found.low[key], found.high[key], found.break_even[key]
        unit = BY_KEY[key.partition(".")[0]].unit
        for s, scenario in list(enumerate(study.scenarios))[1:]:
            swing = float(abs(high[s] - low[s]))
            # a value of 0 has no ±20 % to swing over, and yet the NPV may change sign at another
            if key not in study.stated_ranges and swing <= 1e-12 * abs(now[s]) and np.isnan(nil[s]):
                continue
            yield (scenario.name, key, label_of(key), unit, value_of(study.values, key), tried.low, tried.high,
                   range_of(study, key), now[s], low[s], high[s], swing,
                   *indices.of(key, s), nil[s], tried.low <= nil[s] <= tried.high)


def _from_records(study: Study, now: np.ndarray, deviations: np.ndarray | None,
                  indices: SobolIndices) -> Iterator[tuple[object, ...]]:
    """Rows of `drivers_frame` for what the records leave unknown of the fault rates: the ends of 90 % of its draws."""
    if deviations is None or study.rate_draws is None:
        return
    faults, a = total_factors(study.model, study.rate_draws), RATES_FROM_RECORDS
    low, high = np.quantile(faults, RATE_ENDS)
    for s, scenario in list(enumerate(study.scenarios))[1:]:
        ends = now[s] + np.quantile(deviations[:, s], RATE_ENDS)
        falls = np.cov(faults, deviations[:, s])[0, 1] < 0
        at_low, at_high = ends[::-1] if falls else ends
        yield (scenario.name, a.key, a.label, a.unit, 1.0, low, high, FROM_RECORDS, now[s], at_low, at_high,
               float(ends[1] - ends[0]), *indices.of(a.key, s), np.nan, False)
