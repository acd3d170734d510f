"""Prices on what a year brings: call-outs, energy, the regulator's incentive, customers' costs.

Amounts are dicts of arrays by the names of `AMOUNTS`, yearly sums of any shape: by section,
by lateral, or by scenario, trial and year. Every price is linear in them.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from reliability.business.cost_table import CostTable, unit_costs
from reliability.faults.consequences import CALLOUTS, Consequences, consequences, waiting_below
from reliability.faults.outcomes import OutcomeTable, row_rates
from reliability.indices.expected import ROWS_AT_ONCE, Expected
from reliability.indices.measures import ExtraMeasure
from reliability.network.tree import Network
from reliability.study.columns import DEVICES, LATERAL_DEVICES

INTERRUPTION = "interruption_cost"
AMOUNTS = ("ci", "customer_hours", "load_kwh", "momentary_events", *CALLOUTS, "sectionalizer_operations", INTERRUPTION)
PARTS = ("callout", "energy", "incentive", INTERRUPTION)
UTILITY, SOCIETY = "utility", "society"
# Never energy margin or incentive and interruption cost in one sum (model §7).
PARTS_OF = {UTILITY: ("callout", "energy", "incentive"), SOCIETY: ("callout", INTERRUPTION)}
MINUTES_PER_HOUR = 60.0


def callout_unit_costs(values: Mapping[str, object]) -> dict[str, object]:
    """Cost of one call-out by kind (model §7): crew hours × rate × overtime, vehicle, material.

    An actuator is spent by every operation of a sectionalizer, whatever call-out follows, and
    is priced with `sectionalizer_operations`.
    """
    overtime = 1.0 + values["overtime_share"] * (values["overtime_multiplier"] - 1.0)
    material = {"refuse": values["fuse_link_cost"], "repair": values["repair_material_cost"]}
    return {kind: values[f"{kind}_crew_hours"] * values["crew_rate_per_hour"] * overtime
            + values["vehicle_per_callout"] + material.get(kind, 0.0) for kind in CALLOUTS}


def unit_prices(values: Mapping[str, object]) -> np.ndarray:
    """Installed cost of one unit by device code; 0 for what no lateral is converted to, last for no device."""
    return np.array([values[f"{d}_cost"] if d in LATERAL_DEVICES else 0.0 for d in DEVICES] + [0.0])


def yearly_money(amounts: Mapping[str, np.ndarray], values: Mapping[str, object],
                 customers_served: float) -> dict[str, np.ndarray]:
    """Money a year by part of `PARTS`; what the perspective leaves out is 0.

    amounts: yearly sums by name, broadcast against the values. "incentive" is the money
    forgone because SAIDI and SAIFI are not 0. Customers' costs are in the study's money.
    """
    counted = PARTS_OF[values["perspective"]]
    nothing = np.zeros(np.shape(amounts["ci"]))
    unit = callout_unit_costs(values)
    money = {"callout": sum(amounts[kind] * unit[kind] for kind in CALLOUTS)
             + amounts["sectionalizer_operations"] * values["actuator_cost"]}
    money["energy"] = amounts["load_kwh"] * values["energy_margin_per_kwh"]
    if customers_served > 0:
        minutes = amounts["customer_hours"] * (MINUTES_PER_HOUR / customers_served)
        money["incentive"] = (minutes * values["incentive_per_saidi_minute"]
                              + amounts["ci"] * values["incentive_per_saifi"] / customers_served)
    if INTERRUPTION in counted:
        money[INTERRUPTION] = amounts[INTERRUPTION] * values["interruption_cost_factor"]
    return {part: money.get(part, nothing) if part in counted else nothing for part in PARTS}


def interruption_cost_rows(what: Consequences, table: OutcomeTable, values: Mapping[str, object], costs: CostTable,
                           waiting: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Customers' cost of one event of each row: its mean over the severity, and its slope in it.

    what: consequences of r rows. waiting: `waiting_below` of the customers by class, to spare
    its repetition. Returns (mean, b), each (r,), in the money of the table: the event costs
    mean − b + b·L in the simulation (see `cost_table.unit_costs`). Part of the customers waits
    for the repair, the rest is back after switching; a momentary event costs the momentary value.
    """
    below = table.network.customers_by_class_below
    if waiting is None:
        waiting = waiting_below(table.network, table.network.customers_by_class)
    waits = what.waiting(below, waiting)
    switched = what.sustained(below) - waits
    momentary = what.momentary_events(below) @ costs.momentary
    hours, index = np.unique(what.waiting_hours, return_inverse=True)
    (mean, slope), (mean_switched, slope_switched) = (
        unit_costs(costs, h, values["cv"]) for h in (hours, np.array([values["switching_hours"]])))
    return (momentary + (waits * mean[index]).sum(axis=1) + switched @ mean_switched[0],
            (waits * slope[index]).sum(axis=1) + switched @ slope_switched[0])


def interruption_cost_measure(network: Network, values: Mapping[str, object], costs: CostTable) -> ExtraMeasure:
    """Customers' cost as an extra measure of the simulation, named `INTERRUPTION`.

    Linear in the severity, with the exact mean at these values; a simulation that draws times
    or their spread anew keeps these values here, so that the draws reach customers' costs
    through fault rates and money only.
    """
    waiting = waiting_below(network, network.customers_by_class)

    def measure(what: Consequences, table: OutcomeTable, scenario: int, rows: np.ndarray):
        mean, slope = interruption_cost_rows(what, table, values, costs, waiting)
        return mean - slope, slope

    return measure


def expected_interruption_cost(table: OutcomeTable, values: Mapping[str, object], costs: CostTable) -> np.ndarray:
    """Customers' expected yearly cost of the faults on each section, (S, n), in the money of the table."""
    network, rates = table.network, row_rates(table, values)
    waiting = waiting_below(network, network.customers_by_class)
    result = np.zeros((len(table.scenarios), len(network)))
    for start in range(0, len(table), ROWS_AT_ONCE):
        rows = slice(start, start + ROWS_AT_ONCE)
        for s in range(len(result)):
            mean, _ = interruption_cost_rows(consequences(table, s, values, rows), table, values, costs, waiting)
            result[s] += np.bincount(table.section[rows], rates[rows] * mean, len(network))
    return result


def amounts_by_section(expected: Expected, interruption_cost: np.ndarray | None = None) -> dict[str, np.ndarray]:
    """Yearly amounts by name of `AMOUNTS` caused by the faults on each section, (n,)."""
    amounts = {
        "ci": expected.fault_ci, "customer_hours": expected.fault_customer_hours,
        "load_kwh": expected.fault_load_kwh, "momentary_events": expected.fault_momentary_events,
        "sectionalizer_operations": expected.fault_sectionalizer_operations,
        INTERRUPTION: np.zeros(len(expected.fault_ci)) if interruption_cost is None else interruption_cost,
    }
    return amounts | {kind: expected.fault_callouts[:, i] for i, kind in enumerate(CALLOUTS)}


def grouped(amounts: Mapping[str, np.ndarray], group: np.ndarray, groups: int) -> dict[str, np.ndarray]:
    """Amounts by section summed by group, (groups,); group: (n,) index, −1 for none."""
    inside = group >= 0
    return {name: np.bincount(group[inside], a[inside], groups) for name, a in amounts.items()}


def totals(amounts: Mapping[str, np.ndarray]) -> dict[str, float]:
    """Amounts by section summed over the network."""
    return {name: float(a.sum()) for name, a in amounts.items()}
