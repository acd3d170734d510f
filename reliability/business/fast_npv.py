"""The closed form many times over: an outcome table summed up to what the assumptions multiply.

Fault rates, times, probabilities and prices enter the expected values only as factors, so the
rows that share their factors are summed once, and thousands of draws of the assumptions cost
a few hundred products each instead of a pass over the table. Exact, no approximation.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.business.cashflow import Capital, capital_of, present_worth
from reliability.business.costs import BENEFITS_BY_PERSPECTIVE, INTERRUPTION, customers_by_class, total_money
from reliability.business.unit_costs import mean_unit_costs
from reliability.faults.chains import pattern_probability
from reliability.faults.consequences import CALLOUT_AFTER, CALLOUTS, NO_CALLOUT, Consequences, consequences
from reliability.faults.outcomes import PERMANENT, OutcomeTable, build_outcomes, kind_probability
from reliability.faults.parts import part_probability
from reliability.faults.states import STUDY, state_probability
from reliability.faults.times import WAITING, switching_hours, waiting_hours
from reliability.indices.draws import one_trial, values_of_trials
from reliability.indices.expected import ROWS_AT_ONCE
from reliability.indices.measures import amounts_of
from reliability.indices.simulation import STRUCTURAL
from reliability.network.model import Model
from reliability.network.quantities import Quantity
from reliability.network.rates import line_rate_parts
from reliability.network.tree import Network
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions, TrialValues, number
from reliability.study.cost_table import CostTable

PROBABILITIES = ("fuse_failure", "sectionalizer_failure", "temporary_fraction", "reclosing_off_share",
                 "wrong_link_share")
MAX_CACHED = 400
_COLUMNS = ("events", "sectionalizer_operations", "actuators", "ci", "load", "load_waiting", "customers_waiting",
            "momentary_events")
_CLASSED = ("sustained", "waiting", "momentary")
_AT = {name: i for i, name in enumerate(_COLUMNS)}
_BY_CLASS = {name: slice(len(_COLUMNS) + i * len(CUSTOMER_CLASSES), len(_COLUMNS) + (i + 1) * len(CUSTOMER_CLASSES))
             for i, name in enumerate(_CLASSED)}


@dataclass(frozen=True)
class GroupedSums:
    """Sums over the rows of one scenario that share their factors, g groups.

    kinds: bits of the kinds of fault. own_fraction: whether the temporary fraction is the
    sections' own (and already in the sums). tally: (g, FACTS) see Chains. off_from, off_to: see States; 0 and 1 where
    the study's share does not enter (and the stated one is in the sums). time, own_hours: see `faults.times`.
    fixed, per_line_rate: (g, q) sums of the columns above times the part of the fault rate
    that is given, and the part that multiplies the study's line fault rate.
    """

    kinds: np.ndarray
    own_fraction: np.ndarray
    tally: np.ndarray
    off_from: np.ndarray
    off_to: np.ndarray
    time: np.ndarray
    own_hours: np.ndarray
    fixed: np.ndarray
    per_line_rate: np.ndarray


@dataclass(frozen=True)
class RowGroups:
    """Factors of the rows that are alike under every scenario of a table, r rows in m groups.

    group: (r,) of each row. first: (m,) a row of each. off_from, off_to, own_hours: (r,) see `GroupedSums`.
    fixed, per_line_rate: (r,) see `_rate_parts`. amounts: customers, load and customers by class.
    """

    table: OutcomeTable
    group: np.ndarray
    first: np.ndarray
    own_fraction: np.ndarray
    off_from: np.ndarray
    off_to: np.ndarray
    own_hours: np.ndarray
    fixed: np.ndarray
    per_line_rate: np.ndarray
    amounts: Mapping[str, Quantity]


def row_groups(table: OutcomeTable, values: Assumptions) -> RowGroups:
    """Group the rows of a table by all their factors but the time that follows."""
    network, section = table.network, table.section
    own_fraction = ~np.isnan(network.column["temporary_fraction"])[section]
    own_hours = np.where(table.kinds == PERMANENT, network.column["repair_hours"][section], np.nan)
    by_study = (table.off_from == STUDY) | (table.off_to == STUDY)
    off_from, off_to = np.where(by_study, table.off_from, 0.0), np.where(by_study, table.off_to, 1.0)
    keys = np.zeros(len(table), dtype=np.int64)
    for column in (table.kinds, own_fraction, *table.tally.T, off_from, off_to, own_hours):
        found, code = np.unique(column, return_inverse=True)  # NaNs count as one value
        if len(found) > 1:
            # what is left are the keys that occur, so that they never outgrow an integer
            keys = np.unique(keys * len(found) + code.ravel(), return_inverse=True)[1].ravel()
    first = np.zeros(int(keys.max(initial=-1)) + 1, dtype=np.int64)
    first[keys[::-1]] = np.arange(len(table))[::-1]
    return RowGroups(table, keys, first, own_fraction, off_from, off_to, own_hours,
                     *_rate_parts(table, own_fraction, by_study, values),
                     amounts_of(network) | {"by_class": customers_by_class(network)})


def group_rows(rows: RowGroups, scenario: int, values: Assumptions) -> GroupedSums:
    """Sums over the rows of one scenario, by group and time."""
    table, times = rows.table, len(WAITING) + 1
    size = len(rows.first) * times
    sums = np.zeros((2, size, len(_COLUMNS) + len(_CLASSED) * len(CUSTOMER_CLASSES)))
    number = np.zeros(size)
    for start in range(0, len(table), ROWS_AT_ONCE):
        part = slice(start, start + ROWS_AT_ONCE)
        effect = consequences(table, scenario, values, part)
        group = rows.group[part] * times + effect.time + 1
        number += np.bincount(group, minlength=size)
        columns = _columns(effect, rows.amounts)
        for total, weight in zip(sums, (rows.fixed[part], rows.per_line_rate[part]), strict=True):
            for j, column in enumerate(columns.T):
                total[:, j] += np.bincount(group, weight * column, size)
    occurs = np.flatnonzero(number)
    group, time = np.divmod(occurs, times)
    first = rows.first[group]
    return GroupedSums(table.kinds[first], rows.own_fraction[first], table.tally[first], rows.off_from[first],
                       rows.off_to[first], time - 1, rows.own_hours[first], *sums[:, occurs])


def _rate_parts(table: OutcomeTable, own_fraction: np.ndarray, by_study: np.ndarray,
                values: Assumptions) -> tuple[np.ndarray, np.ndarray]:
    """What each row's rate has by itself, and per unit of the study's line fault rate, (r,)."""
    column, section = table.network.column, table.section
    own = column["temporary_fraction"][section]
    share = np.where(own_fraction, np.where(table.kinds == PERMANENT, 1.0 - own, own), 1.0) * table.width
    share = share * part_probability(table.part, values) * np.where(by_study, 1.0, table.off_to - table.off_from)
    given, per_line_rate = line_rate_parts(table.network)
    return share * given[section], share * per_line_rate[section]


def _columns(effect: Consequences, amounts: Mapping[str, Quantity]) -> np.ndarray:
    """Amounts per event of some rows, (m, q), times and prices left out."""
    customers, load, by_class = amounts["customers"], amounts["load"], amounts["by_class"]
    return np.column_stack([
        np.ones(len(effect.opened)), effect.sectionalizer_operates, effect.actuators, effect.sustained(customers),
        effect.sustained(load), effect.waiting(load), effect.waiting(customers), effect.momentary_events(customers),
        effect.sustained(by_class), effect.waiting(by_class), effect.momentary_events(by_class),
    ])


def grouped_amounts(grouped: GroupedSums, values: Assumptions, costs: CostTable | None) -> dict[str, float]:
    """Yearly amounts by name of `costs.AMOUNTS` at the given assumptions; customers' costs only with `costs`."""
    factor = _kind_factor(grouped, values) * pattern_probability(grouped.tally, values) * state_probability(
        grouped.off_from, grouped.off_to, values)
    sums = factor[:, None] * (grouped.fixed + values["line_fault_rate_per_km"] * grouped.per_line_rate)
    hours, switching = waiting_hours(grouped.time, grouped.own_hours, values), switching_hours(grouped.time, values)

    def timed(all_of_them: str, waiting: str) -> float:
        waits = sums[:, _AT[waiting]]
        return float(waits @ hours + (sums[:, _AT[all_of_them]] - waits) @ switching)

    callout = CALLOUT_AFTER[grouped.time]
    called = callout != NO_CALLOUT
    callouts = np.bincount(callout[called], sums[called, 0], len(CALLOUTS))
    return dict(zip(CALLOUTS, callouts.tolist(), strict=True)) | {
        "customer_hours": timed("ci", "customers_waiting"),
        "load_kwh": timed("load", "load_waiting"),
        **{name: float(sums[:, _AT[name]].sum()) for name in
           ("ci", "momentary_events", "sectionalizer_operations", "actuators")},
        INTERRUPTION: _interruption_cost(sums, hours, switching, values, costs) if costs else 0.0,
    }


def _kind_factor(grouped: GroupedSums, values: Assumptions) -> np.ndarray:
    """Probability of each group's kinds, (g,); the sections' own temporary fractions are in the sums already."""
    kinds = np.unique(grouped.kinds)
    shared, own = (np.array([kind_probability(k, temporary, values["clearing_shares"]) for k in kinds.tolist()])
                   for temporary in (values["temporary_fraction"], 1.0))
    at = np.searchsorted(kinds, grouped.kinds)
    return np.where(grouped.own_fraction, np.where(grouped.kinds == PERMANENT, 1.0, own[at]), shared[at])


def _interruption_cost(sums: np.ndarray, hours: np.ndarray, switching: np.ndarray, values: Assumptions,
                       costs: CostTable) -> float:
    durations, index = np.unique(np.concatenate([hours, switching]), return_inverse=True)
    unit = mean_unit_costs(costs, durations, values["cv"])[index]
    sustained, waiting, momentary = (sums[:, _BY_CLASS[name]] for name in _CLASSED)
    return float((waiting * unit[:len(hours)]).sum() + ((sustained - waiting) * unit[len(hours):]).sum()
                 + momentary.sum(axis=0) @ costs.momentary * values["momentary_cost_factor"])


def with_values(values: Assumptions, changes: Mapping[str, float]) -> Assumptions:
    """Assumptions with some changed; an element of shares ("clearing_shares.0") scales them to sum to 1."""
    return one_trial(values_of_trials(values, {k: np.array([float(v)]) for k, v in changes.items()}), 0)


def npv_function(network: Network, scenarios: Sequence[Scenario],
                 costs: CostTable) -> Callable[[Assumptions], np.ndarray]:
    """A function from assumptions to the expected net present value of each scenario, (S,).

    scenarios: "As built" first, all settled (`application.settle_scenarios`). The table is only built
    again where an assumption changes what protection does, or a class of fault that could not happen
    now can.
    """
    tables: dict[tuple[object, ...], list[tuple[GroupedSums, Capital]]] = {}
    served = float(network.customers.sum())
    shares = ("reclosing_off_share",) if np.isfinite(network.column["reclosing_off_share"]).any() else ()

    def build(values: Assumptions) -> list[tuple[GroupedSums, Capital]]:
        table = build_outcomes(Model(network, values), scenarios)
        rows = row_groups(table, values)
        return [(group_rows(rows, s, values), capital_of(network, p, table.protections[0]))
                for s, p in enumerate(table.protections)]

    def npv(values: Assumptions) -> np.ndarray:
        key = _what_shapes_the_table(values, shares)
        if key not in tables:
            if len(tables) >= MAX_CACHED:
                tables.pop(next(iter(tables)))
            tables[key] = build(values)
        priced = costs if INTERRUPTION in BENEFITS_BY_PERSPECTIVE[values["perspective"]] else None
        money = [total_money(grouped_amounts(c, values, priced), values, served) for c, _ in tables[key]]
        return np.array([float(present_worth(values, money[0] - m, capital.cost(values), capital.inspection(values)))
                         for m, (_, capital) in zip(money, tables[key], strict=True)])

    return npv


def _what_shapes_the_table(values: Assumptions, shares: tuple[str, ...]) -> tuple[object, ...]:
    """The assumptions that change the table's rows rather than their rates."""
    possible = [bound for k in PROBABILITIES for bound in (number(values, k) > 0.0, number(values, k) < 1.0)]
    possible += [share > 0.0 for share in values["clearing_shares"]] + [values["line_fault_rate_per_km"] > 0.0]
    stated: TrialValues = values
    # the study's share of faults with reclosing off may come before or after one that a device states
    return (*(stated[k] for k in (*STRUCTURAL, "reclosing_off_trip", *shares)), *possible)
