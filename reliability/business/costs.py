"""Prices on what a year brings: call-outs, energy, the regulator's incentive, customers' costs.

Amounts are dicts of arrays by the names of `AMOUNTS`, yearly sums of any shape: by section,
by lateral, or by scenario, trial and year. Every price is linear in them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.business.unit_costs import mean_unit_costs
from reliability.faults.alike import counted_alike, rows_by_sections
from reliability.faults.consequences import CALLOUTS, consequences
from reliability.faults.outcomes import OutcomeTable, row_rates
from reliability.indices.expected import Expected
from reliability.network.quantities import Quantity, quantity
from reliability.network.tree import Network
from reliability.schema.devices import DEVICE_TABLE
from reliability.schema.units import MINUTES_PER_HOUR
from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn, number
from reliability.study.cost_table import CostTable
from reliability.study.price_level import price_level

INTERRUPTION = "interruption_cost"
AMOUNTS = ("ci", "customer_hours", "load_kwh", "momentary_events", *CALLOUTS, "sectionalizer_operations", "actuators",
           INTERRUPTION)
BENEFIT_PARTS = ("callout", "energy", "incentive", INTERRUPTION)
UTILITY, SOCIETY = "utility", "society"
# Never energy margin or incentive and interruption cost in one sum (model §7).
BENEFITS_BY_PERSPECTIVE = {UTILITY: ("callout", "energy", "incentive"), SOCIETY: ("callout", INTERRUPTION)}
MOMENTARY_FACTOR = "momentary_cost_factor"


def callout_unit_costs(values: TrialValues) -> dict[str, Drawn]:
    """Cost of one call-out by kind (model §7): crew hours × rate × overtime, vehicle, material.

    An actuator is spent by every pole of a sectionalizer that opens, whatever call-out follows, and
    is priced with `actuators`.
    """
    overtime = 1.0 + drawn(values, "overtime_share") * (drawn(values, "overtime_multiplier") - 1.0)
    material = {"refuse": drawn(values, "fuse_link_cost"), "repair": drawn(values, "repair_material_cost")}
    return {kind: drawn(values, f"{kind}_crew_hours") * drawn(values, "crew_rate_per_hour") * overtime
            + drawn(values, "vehicle_per_callout") + material.get(kind, 0.0) for kind in CALLOUTS}


def unit_prices(values: Assumptions) -> np.ndarray:
    """Cost of one unit by device code, its spares included; 0 for what no lateral is converted to, last for no device.
    """
    with_spares = 1.0 + values["spare_units_share"]
    return np.array([with_spares * number(values, d.price) if d.price else 0.0 for d in DEVICE_TABLE] + [0.0])


def yearly_money(amounts: Mapping[str, Drawn], values: TrialValues,
                 customers_served: float) -> dict[str, np.ndarray]:
    """Money a year by part of `BENEFIT_PARTS`; what the perspective leaves out is 0.

    amounts: yearly sums by name, broadcast against the values. "incentive" is the money
    forgone because SAIDI and SAIFI are not 0. Customers' costs are brought from the table's money to the study's.
    """
    counted = BENEFITS_BY_PERSPECTIVE[str(values["perspective"])]
    nothing = np.zeros(np.shape(amounts["ci"]))
    unit = callout_unit_costs(values)
    money: dict[str, Drawn] = {"callout": sum(amounts[kind] * unit[kind] for kind in CALLOUTS)
                               + amounts["actuators"] * drawn(values, "actuator_cost")}
    money["energy"] = amounts["load_kwh"] * drawn(values, "energy_margin_per_kwh")
    if customers_served > 0:
        minutes = amounts["customer_hours"] * (MINUTES_PER_HOUR / customers_served)
        money["incentive"] = (minutes * drawn(values, "incentive_per_saidi_minute")
                              + amounts["ci"] * drawn(values, "incentive_per_saifi") / customers_served)
    if INTERRUPTION in counted:
        factor = drawn(values, "interruption_cost_factor") * price_level(values).index
        money[INTERRUPTION] = amounts[INTERRUPTION] * factor
    return {part: np.asarray(money.get(part, nothing)) if part in counted else nothing for part in BENEFIT_PARTS}


def total_money(amounts: Mapping[str, Drawn], values: TrialValues, customers_served: float) -> np.ndarray:
    """Sum over the parts of `yearly_money`."""
    return sum(yearly_money(amounts, values, customers_served).values(), start=np.zeros(()))


def unit_worth(values: TrialValues, customers_served: float) -> dict[str, Drawn]:
    """What one of each of AMOUNTS costs a year, numbers or draws (K,); those that cost nothing are left out."""
    worth = {name: total_money({other: float(other == name) for other in AMOUNTS}, values, customers_served)
             for name in AMOUNTS}
    return {name: money if money.ndim else float(money) for name, money in worth.items() if money.any()}


def momentary_worth(network: Network, costs: CostTable) -> Quantity:
    """What a momentary event of all customers of each section costs them, (n,)."""
    return quantity(network, network.customers_by_class @ costs.momentary)


def customers_by_class(network: Network) -> Quantity:
    """The customers of a network by class."""
    return quantity(network, network.customers_by_class)


def _sustained_cost(costs: CostTable, groups: Sequence[tuple[np.ndarray, np.ndarray]], cv: float) -> np.ndarray:
    """Mean over the severity of the cost of sustained interruptions, (r,), in the money of the table.

    groups: (customers (r, c), hours (r,)) each.
    """
    total = np.zeros(())
    for customers, row_hours in groups:
        index, hours = pd.factorize(row_hours, sort=True)       # many times faster than sorting all rows
        total = total + (customers * mean_unit_costs(costs, hours, cv)[index]).sum(axis=1)
    return total


@dataclass(frozen=True)
class InterruptionCosts:
    """Customers' expected yearly cost of faults under S scenarios, in the money of the table.

    by_section: (S, n) of the faults on each section. sustained, momentary: (S,) of sustained interruptions, and of
    momentary events at a factor of 1.
    """

    by_section: np.ndarray
    sustained: np.ndarray
    momentary: np.ndarray


def expected_interruption_cost(table: OutcomeTable, values: Assumptions, costs: CostTable) -> InterruptionCosts:
    """What interruptions cost the customers a year."""
    network, rates = table.network, row_rates(table, values)
    by_class, worth = customers_by_class(network), momentary_worth(network, costs)
    by_section, parts = np.zeros((len(table.scenarios), len(network))), np.zeros((2, len(table.scenarios)))
    for rows, here in rows_by_sections(table):
        for s in range(len(table.scenarios)):
            one, (rate,) = counted_alike(table, s, rows, rates)
            effect, section = consequences(table, s, values, one), table.section[one] - here.start
            waiting, switched = effect.waiting_and_switched(by_class)
            sustained = _sustained_cost(costs, [(waiting, effect.waiting_hours), (switched, effect.switching_hours)],
                                        values["cv"])
            momentary = effect.momentary_events(worth)
            # no product of vectors: its last digits would hang on the number of processors
            parts[:, s] += (rate * sustained).sum(), (rate * momentary).sum()
            mean = momentary * values["momentary_cost_factor"] + sustained
            by_section[s, here] = np.bincount(section, rate * mean, here.stop - here.start)
    return InterruptionCosts(by_section, *parts)


def amounts_by_section(expected: Expected, interruption_cost: np.ndarray | None = None) -> dict[str, np.ndarray]:
    """Yearly amounts by name of `AMOUNTS` caused by the faults on each section, (n,)."""
    amounts = {
        "ci": expected.fault_ci, "customer_hours": expected.fault_customer_hours,
        "load_kwh": expected.fault_load_kwh, "momentary_events": expected.fault_momentary_events,
        "sectionalizer_operations": expected.fault_sectionalizer_operations, "actuators": expected.fault_actuators,
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
