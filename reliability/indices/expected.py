"""Expected values: rate × consequence, summed over the outcome table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.faults.alike import counted_alike, rows_by_sections
from reliability.faults.consequences import CALLOUTS, Consequences, consequences
from reliability.faults.outcomes import OutcomeTable, row_rates
from reliability.indices import definitions
from reliability.indices.measures import counts
from reliability.indices.seen import Seen
from reliability.network.areas import areas_of
from reliability.network.quantities import Quantity, customers_of, quantity
from reliability.network.tree import Network
from reliability.schema.values import Assumptions, Drawn


@dataclass(frozen=True, repr=False)
class Expected:
    """Expected yearly values of one scenario over a network of n sections, arrays (n,).

    What the faults on each section cause: fault_ci (customer interruptions),
    fault_customer_hours, fault_load_kwh, fault_momentary_events, fault_momentary_interruptions
    (customers'), fault_callouts (n, 4) in the order of CALLOUTS, fault_sectionalizer_operations, fault_actuators.
    What a customer on each section sees on the average: failure_rate (sustained interruptions a year),
    outage_hours (a year), momentary_event_rate, momentary_interruption_rate; failure_rate_by_kind: (n, 2) of
    customers that are spread over the phases, and of three-phase ones (0 where the network has none).
    """

    network: Network
    fault_ci: np.ndarray
    fault_customer_hours: np.ndarray
    fault_load_kwh: np.ndarray
    fault_momentary_events: np.ndarray
    fault_momentary_interruptions: np.ndarray
    fault_callouts: np.ndarray
    fault_sectionalizer_operations: np.ndarray
    fault_actuators: np.ndarray
    failure_rate: np.ndarray
    outage_hours: np.ndarray
    momentary_event_rate: np.ndarray
    momentary_interruption_rate: np.ndarray
    failure_rate_by_kind: np.ndarray

    @property
    def customers_by_kind(self) -> np.ndarray:
        """Customers spread over the phases, and three-phase ones, (n, 2)."""
        return customers_by_kind(self.network)


def customers_by_kind(network: Network) -> np.ndarray:
    """Customers spread over the phases, and three-phase ones, (n, 2)."""
    three_phase = np.nan_to_num(network.three_phase_share) * network.customers
    return np.column_stack([network.customers - three_phase, three_phase])


def expected_values(table: OutcomeTable, values: Assumptions) -> tuple[Expected, ...]:
    """Expected yearly values of every scenario of the table, at the given assumptions."""
    rates, network = row_rates(table, values), table.network
    amounts = {"customers": customers_of(network), "load": quantity(network, network.load_kw)}
    groups = list(rows_by_sections(table))
    return tuple(_scenario(table, s, rates, values, amounts, groups) for s in range(len(table.scenarios)))


def _scenario(table: OutcomeTable, scenario: int, rates: np.ndarray, values: Assumptions,
              amounts: Mapping[str, Quantity], groups: Sequence[tuple[np.ndarray, slice]]) -> Expected:
    network, seen = table.network, Seen(table.network)
    caused: dict[str, np.ndarray] = {}
    for rows, here in groups:
        one, (rate,) = counted_alike(table, scenario, rows, rates)
        effect, section = consequences(table, scenario, values, one), table.section[one]
        for name, amount in _caused(effect, amounts).items():
            sums = caused.setdefault(name, np.zeros(len(network)))
            sums[here] = np.bincount(section - here.start, rate * amount, here.stop - here.start)
        seen.add(effect, section, rate)
    return expected_of(network, caused, seen)


def expected_of(network: Network, caused: Mapping[str, np.ndarray], seen: Seen) -> Expected:
    """Expected values from what faults on each section cause, (n,) by name, and what customers on each see."""
    interruptions = seen.interruptions()
    return Expected(
        network, caused["ci"], caused["customer_hours"], caused["load_kwh"], caused["momentary_events"],
        caused["momentary_interruptions"], np.column_stack([caused[c] for c in CALLOUTS]),
        caused["sectionalizer_operations"], caused["actuators"],
        failure_rate=seen.average(interruptions), outage_hours=seen.average(seen.hours()),
        momentary_event_rate=seen.average(seen.momentary("events")),
        momentary_interruption_rate=seen.average(seen.momentary("momentary_interruptions")),
        failure_rate_by_kind=interruptions[:, :2])


def _caused(effect: Consequences, amounts: Mapping[str, Quantity]) -> dict[str, np.ndarray]:
    """Amounts per event, (rows,), by name."""
    return counts(effect, amounts["customers"]) | {"customer_hours": hours_interrupted(effect, amounts["customers"]),
                                                 "load_kwh": hours_interrupted(effect, amounts["load"])}


def hours_interrupted(effect: Consequences, amount: Quantity) -> np.ndarray:
    """Mean of a quantity × hours interrupted, per event, (rows,)."""
    waiting, switched = effect.waiting_and_switched(amount)
    return waiting * effect.waiting_hours + switched * effect.switching_hours


def system_indices(expected: Expected, yearly_cv: float) -> dict[str, object]:
    """The indices of contract.md's summary.json, NaN where one does not exist."""
    cemi = definitions.cemi(expected.failure_rate_by_kind.ravel(), expected.customers_by_kind.ravel(), yearly_cv)
    return usual_indices(expected) | {"cemi": {str(k): v for k, v in cemi.items()}}


def usual_indices(expected: Expected) -> dict[str, object]:
    """As `system_indices`, without the shares of customers by their number of interruptions."""
    network = expected.network
    served = float(network.customers.sum())
    sums = {"ci": expected.fault_ci, "customer_hours": expected.fault_customer_hours,
            "momentary_interruptions": expected.fault_momentary_interruptions,
            "momentary_events": expected.fault_momentary_events, "load_kwh": expected.fault_load_kwh}
    result: dict[str, object] = {**_indices({name: float(caused.sum()) for name, caused in sums.items()}, served)}
    result["callouts"] = dict(zip(CALLOUTS, expected.fault_callouts.sum(axis=0).tolist(), strict=True))
    result["sectionalizer_operations"] = float(expected.fault_sectionalizer_operations.sum())
    result["actuators"] = float(expected.fault_actuators.sum())
    result["customers_served"] = served
    return result


def feeder_indices(expected: Expected) -> dict[str, dict[str, float]]:
    """Indices of the customers of each feeder, by feeder id."""
    network = expected.network
    return _indices_of(expected, network.feeder, [str(name) for name in network.feeder_ids])


def area_indices(expected: Expected) -> dict[str, dict[str, float]]:
    """Indices of the customers of each operating area, by its name; none where no section states one."""
    areas = areas_of(expected.network)
    return {} if areas is None else _indices_of(expected, areas.of_section, areas.names)


def _indices_of(expected: Expected, group: np.ndarray, names: Sequence[str]) -> dict[str, dict[str, float]]:
    """Indices of the customers of groups of sections; group: (n,) position in `names`."""
    network, m = expected.network, len(names)

    def total(seen: np.ndarray) -> np.ndarray:
        return np.bincount(group, network.customers * seen, m)

    served = np.bincount(group, network.customers, m)
    sums = {"ci": total(expected.failure_rate), "customer_hours": total(expected.outage_hours),
            "momentary_interruptions": total(expected.momentary_interruption_rate),
            "momentary_events": total(expected.momentary_event_rate)}
    found = definitions.indices(sums, served) | {"customers_served": served}
    of_each = zip(*(of.tolist() for of in found.values()), strict=True)
    return {name: dict(zip(found, values, strict=True)) for name, values in zip(names, of_each, strict=True)}


def _indices(sums: Mapping[str, Drawn], served: float) -> dict[str, float]:
    return {key: float(value) for key, value in definitions.indices(sums, served).items()}
