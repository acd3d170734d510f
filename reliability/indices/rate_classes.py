"""Classes of rows whose rates an uncertain assumption multiplies alike."""

from __future__ import annotations

import numpy as np

from reliability.faults.chains import FACTS, pattern_probability
from reliability.faults.outcomes import PERMANENT, OutcomeTable, kind_probability, row_rates
from reliability.faults.states import state_probability
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
    rows, fixed = np.arange(len(table)), own_rate
    if "line_fault_rate_per_km" in uncertain:
        line = network.column["length_km"] * values["line_fault_rate_per_km"]
        equipment = np.nan_to_num(network.column["equipment_fault_rate"])
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.nan_to_num(line / (line + equipment))[table.section]
        both = np.flatnonzero(~own_rate & (share < 1.0))
        rates = np.concatenate([np.where(own_rate, rates, rates * share), rates[both] * (1.0 - share[both])])
        rows, fixed = np.concatenate([rows, both]), np.concatenate([own_rate, np.ones(len(both), dtype=bool)])
    if not uncertain & RATE_KEYS:
        return rows, rates, np.zeros(len(rows), dtype=np.int8), ((0, True, True, 0.0, 1.0, (0,) * FACTS),)
    fraction = "temporary_fraction" in uncertain
    marks = [
        np.where(fraction or "clearing_shares" in uncertain, table.kinds[rows], 0),
        np.where(fraction, own_fraction[rows], True),
        np.where("line_fault_rate_per_km" in uncertain, fixed, True),
        *np.where("reclosing_off_share" in uncertain, np.stack([table.off_from, table.off_to])[:, rows],
                  [[0.0], [1.0]]),
        *np.where(bool(PATTERN_KEYS & uncertain), table.tally[rows].T, 0),
    ]
    found, index = np.unique(np.column_stack(marks).astype(float), axis=0, return_inverse=True)
    classes = tuple((int(kinds), bool(own), bool(given), low, high, tuple(int(x) for x in tally))
                    for kinds, own, given, low, high, *tally in found.tolist())
    return rows, rates, index.ravel(), classes


def rate_multiplier(cls: RateClass, values: TrialValues, means: Assumptions) -> Drawn:
    """Rate over rate at the means, (trials,) or a number, of one class of rows."""
    kinds, own_fraction, own_rate, off_from, off_to, tally = cls

    def rate(v: TrialValues) -> Drawn:
        result = 1.0 if own_rate else drawn(v, "line_fault_rate_per_km")
        if kinds:
            temporary = (0.0 if kinds == PERMANENT else 1.0) if own_fraction else drawn(v, "temporary_fraction")
            result = result * kind_probability(kinds, temporary, drawn_shares(v, "clearing_shares"))
        return result * pattern_probability(np.array(tally), v) * state_probability(off_from, off_to, v)

    return rate(values) / rate(means)
