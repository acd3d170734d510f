"""Classes of rows whose rates an uncertain assumption multiplies alike."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import chain

import numpy as np
import pandas as pd

from reliability.faults.chains import FACTS, pattern_probability
from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable, kind_probability, row_rates
from reliability.faults.states import state_probability
from reliability.network.packed import distinct
from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn, drawn_shares

# Assumptions that scale the rates of rows.
PATTERN_KEYS = {"fuse_failure", "sectionalizer_failure", "wrong_link_share"}
RATE_KEYS = {"line_fault_rate_per_km", "temporary_fraction", "clearing_shares", "reclosing_off_share"} | PATTERN_KEYS
# kinds, own temporary fraction, own line rate, cuts of the state of reclosing, tally
RateClass = tuple[int, bool, bool, float, float, tuple[int, ...]]


def rate_parts(table: OutcomeTable, values: Assumptions, uncertain: set[str],
               ) -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[RateClass, ...]]:
    """Rows with their rates and multiplier class, (p,) each, and the classes.

    A row whose rate has an uncertain part is split in two.
    """
    network, rates = table.network, row_rates(table, values)
    own_fraction = ~np.isnan(network.column["temporary_fraction"])[table.section]
    own_rate = ~np.isnan(network.column["line_fault_rate_per_km"])[table.section]
    rows, fixed = np.arange(len(table), dtype=np.int32), own_rate
    if "line_fault_rate_per_km" in uncertain:
        line = network.column["length_km"] * values["line_fault_rate_per_km"]
        equipment = np.nan_to_num(network.column["equipment_fault_rate"])
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.nan_to_num(line / (line + equipment))[table.section]
        both = np.flatnonzero(~own_rate & (share < 1.0))
        rates = np.concatenate([np.where(own_rate, rates, rates * share), rates[both] * (1.0 - share[both])])
        rows = np.concatenate([rows, both.astype(np.int32)])
        fixed = np.concatenate([own_rate, np.ones(len(both), dtype=bool)])
    if not uncertain & RATE_KEYS:
        return rows, rates, np.zeros(len(rows), dtype=np.int8), ((0, True, True, 0.0, 1.0, (0,) * FACTS),)
    fraction = "temporary_fraction" in uncertain
    by_state, by_pattern = "reclosing_off_share" in uncertain, bool(PATTERN_KEYS & uncertain)
    marks = chain(
        (np.where(fraction or "clearing_shares" in uncertain, table.kinds[rows], 0),
         np.where(fraction, own_fraction[rows], True),
         np.where("line_fault_rate_per_km" in uncertain, fixed, True)),
        (np.where(by_state, cut[rows], end) for cut, end in ((table.off_from, 0.0), (table.off_to, 1.0))),
        (np.where(by_pattern, tally[rows], 0) for tally in table.tally.T))
    found, index = _distinct_rows(marks)
    classes = tuple((int(kinds), bool(own), bool(given), low, high, tuple(int(x) for x in tally))
                    for kinds, own, given, low, high, *tally in found.tolist())
    return rows, rates, index, classes


def _distinct_rows(columns: Iterable[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """(distinct rows of columns (r,), in order, and the place of each row among them); one column at a time."""
    key, of_columns = np.zeros((), dtype=np.int64), []
    for column in columns:
        code, values = pd.factorize(column, sort=True)
        of_columns.append(values)
        key = key * len(values) + code
    found, index = distinct(key)
    rest, parts = found, []
    for values in reversed(of_columns):
        rest, code = np.divmod(rest, max(len(values), 1))
        parts.append(values[code])
    return np.column_stack(parts[::-1]).astype(float), index


def rate_multiplier(cls: RateClass, values: TrialValues, means: Assumptions) -> Drawn:
    """Rate over rate at the means, (trials,) or a number, of one class of rows."""
    kinds, own_fraction, own_rate, off_from, off_to, tally = cls

    def rate(v: TrialValues) -> Drawn:
        result = 1.0 if own_rate else drawn(v, "line_fault_rate_per_km")
        if kinds:
            temporary = (0.0 if kinds == PERMANENT_BIT else 1.0) if own_fraction else drawn(v, "temporary_fraction")
            result = result * kind_probability(kinds, temporary, drawn_shares(v, "clearing_shares"))
        return result * pattern_probability(np.array(tally), v) * state_probability(off_from, off_to, v)

    return rate(values) / rate(means)
