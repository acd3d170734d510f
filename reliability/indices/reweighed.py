"""Expected values of one outcome table at many values of the assumptions.

What multiplies the rate of a row does not change with rates, times and prices. So for each scenario it is made once, as
matrices that turn the rates of rows (r,) into sums by section (n,); `Reweighed.expected` is then a few sparse products.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from reliability.faults.consequences import Consequences, consequences
from reliability.faults.outcomes import OutcomeTable, row_rates
from reliability.faults.times import switching_hours, waiting_hours
from reliability.indices.expected import ROWS_AT_ONCE, Expected, expected_of
from reliability.indices.measures import COUNTED, amounts_of, counts
from reliability.indices.seen import KINDS, Seen, placing
from reliability.network.quantities import Quantity
from reliability.network.tree import Network
from reliability.schema.values import Assumptions

MOST_ROWS = ROWS_AT_ONCE            # of a larger table the matrices would take more memory than their speed is worth


@dataclass(frozen=True)
class _Scenario:
    """Matrices of a scenario by what multiplies the rates of their rows.

    counted: (COUNTED · n, r), by nothing more. waiting, switched: ((customers, load) · n, r), by the hours of either.
    interrupted: (KINDS · n, r), by nothing or hours; at_block: the same, by the hours that waiting is longer.
    momentary: the same, by nothing or `openings` (r,). time, own_repair: (r,) what rows wait for; repair: whether a
    block waits.
    """

    counted: sparse.csr_array
    waiting: sparse.csr_array
    switched: sparse.csr_array
    interrupted: sparse.csr_array
    at_block: sparse.csr_array
    momentary: sparse.csr_array
    openings: np.ndarray
    time: np.ndarray
    own_repair: np.ndarray
    repair: np.ndarray


@dataclass(frozen=True)
class Reweighed:
    """An outcome table with the matrices of its scenarios."""

    table: OutcomeTable
    scenarios: tuple[_Scenario, ...]

    def expected(self, network: Network, values: Assumptions) -> tuple[Expected, ...]:
        """As `expected_values`, of a network and values that differ from the table's in rates, times and prices."""
        rates = row_rates(replace(self.table, network=network), values)
        return tuple(_expected(network, s, rates, values) for s in self.scenarios)

    def customer_hours(self, rates: np.ndarray, values: Assumptions) -> np.ndarray:
        """Customer-hours a year of the faults on each section at rates of rows (r,), (S, n)."""
        n = len(self.table.network)
        return np.array([(s.waiting[:n] @ (rates * waiting) + s.switched[:n] @ (rates * switched))
                         for s in self.scenarios for waiting, switched in (_hours(s, values),)])


def reweighed(table: OutcomeTable, values: Assumptions) -> Reweighed | None:
    """The matrices of a table, None where it is too large for them. values: those of the table in what is no rate, time
    or price.
    """
    if len(table) > MOST_ROWS:
        return None
    amounts = amounts_of(table.network)
    return Reweighed(table, tuple(_scenario(table, consequences(table, s, values), amounts["customers"],
                                            amounts["load"]) for s in range(len(table.scenarios))))


def _scenario(table: OutcomeTable, effect: Consequences, customers: Quantity, load: Quantity) -> _Scenario:
    network, section = table.network, table.section
    opened = np.where(effect.opened >= 0, effect.opened, 0)
    number = counts(effect, customers)
    waiting, switched = zip(*(effect.waiting_and_switched(q) for q in (customers, load)), strict=True)
    zone = placing(network, effect.momentary_zone, effect.recloser, effect.recloser)
    return _Scenario(
        _by_section(network, section, [number[name] for name in COUNTED]),
        _by_section(network, section, waiting), _by_section(network, section, switched),
        placing(network, effect.sustained_shares, opened, effect.within),
        placing(network, effect.sustained_shares, network.block[section], effect.waits_within),
        zone + placing(network, effect.momentary_below, opened, effect.within),
        effect.openings, effect.time, effect.own_repair, effect.waits >= 0)


def _by_section(network: Network, section: np.ndarray, amounts: list[np.ndarray] | tuple[np.ndarray, ...]
                ) -> sparse.csr_array:
    """Amounts (r,) of events as sums by section, one below the other."""
    parts = [(np.flatnonzero(amount), k, amount) for k, amount in enumerate(amounts)]
    row = np.concatenate([at for at, _, _ in parts])
    place = np.concatenate([section[at] + k * len(network) for at, k, _ in parts])
    value = np.concatenate([amount[at] for at, _, amount in parts])
    return sparse.csr_array((value, (place, row)), shape=(len(amounts) * len(network), len(section)))


def _hours(scenario: _Scenario, values: Assumptions) -> tuple[np.ndarray, np.ndarray]:
    return waiting_hours(scenario.time, scenario.own_repair, values), switching_hours(scenario.time, values)


def _expected(network: Network, scenario: _Scenario, rates: np.ndarray, values: Assumptions) -> Expected:
    n = len(network)
    waiting, switching = _hours(scenario, values)
    counted = dict(zip(COUNTED, (scenario.counted @ rates).reshape(-1, n), strict=True))
    hours = (scenario.waiting @ (rates * waiting) + scenario.switched @ (rates * switching)).reshape(-1, n)
    lasting = np.where(scenario.repair, switching, waiting)
    longer = np.where(scenario.repair, waiting - switching, 0.0)
    seen = Seen(network, {name: sums.reshape(KINDS, n).T for name, sums in (
        ("interruptions", scenario.interrupted @ rates), ("hours", scenario.interrupted @ (rates * lasting)),
        ("extra", scenario.at_block @ (rates * longer)), ("events", scenario.momentary @ rates),
        ("momentary_interruptions", scenario.momentary @ (rates * scenario.openings)))})
    return expected_of(network, counted | {"customer_hours": hours[0], "load_kwh": hours[1]}, seen)
