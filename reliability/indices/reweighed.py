"""Expected values of one outcome table at many values of the assumptions.

What multiplies the rate of a row does not change with rates, times and prices. So for each scenario it is made once, as
matrices that turn the rates of rows (r,) into sums by section (n,); `Reweighed.expected` is then a few sparse products.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from reliability.faults.consequences import Consequences, consequences
from reliability.faults.outcomes import OutcomeTable, row_rates
from reliability.faults.times import switching_hours, waiting_hours
from reliability.indices.expected import Expected, expected_of
from reliability.indices.measures import COUNTED_MEASURES, amounts_of, counts
from reliability.indices.seen import CUSTOMER_KINDS, Seen, placing
from reliability.network.quantities import Quantity
from reliability.network.tree import Network
from reliability.schema.values import Assumptions

MOST_TABLE_ROWS = 500_000           # of a larger table the matrices would take more memory than their speed is worth


@dataclass(frozen=True)
class _Waits:
    """Amounts by how long they are without supply, ((quantities) · n, r): `waiting` for a call-out's work, `switched`
    back before. time, own_repair: (r,) what rows wait for.
    """

    waiting: sparse.csr_array
    switched: sparse.csr_array
    time: np.ndarray
    own_repair: np.ndarray

    def hours(self, values: Assumptions) -> tuple[np.ndarray, np.ndarray]:
        """Hours of either, (r,) each."""
        return waiting_hours(self.time, self.own_repair, values), switching_hours(self.time, values)

    def amount_hours(self, rates: np.ndarray, hours: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        """Amounts × hours a year at rates of rows (r,), one quantity behind the other."""
        return np.asarray(self.waiting @ (rates * hours[0]) + self.switched @ (rates * hours[1]))


@dataclass(frozen=True)
class _Scenario:
    """Matrices of a scenario by what multiplies the rates of their rows.

    counted: (COUNTED_MEASURES · n, r), by nothing more. waits: of customers and load. interrupted: (CUSTOMER_KINDS · n,
    r), by nothing or hours; at_block: the same, by the hours that waiting is longer. momentary: the same, by nothing or
    `openings` (r,). repair: (r,) whether a block waits.
    """

    counted: sparse.csr_array
    waits: _Waits
    interrupted: sparse.csr_array
    at_block: sparse.csr_array
    momentary: sparse.csr_array
    openings: np.ndarray
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


@dataclass(frozen=True)
class ReweighedHours:
    """An outcome table with the matrices of customer-hours alone."""

    table: OutcomeTable
    scenarios: tuple[_Waits, ...]

    def customer_hours(self, rates: np.ndarray, values: Assumptions) -> np.ndarray:
        """Customer-hours a year of the faults on each section at rates of rows (r,), (S, n)."""
        return np.array([s.amount_hours(rates, s.hours(values)) for s in self.scenarios])


def reweighed(table: OutcomeTable, values: Assumptions) -> Reweighed | None:
    """The matrices of a table, None where it is too large for them. values: those of the table in what is no rate, time
    or price.
    """
    if len(table) > MOST_TABLE_ROWS:
        return None
    amounts = amounts_of(table.network)
    return Reweighed(table, tuple(_scenario(table, consequences(table, s, values), amounts["customers"],
                                            amounts["load"]) for s in range(len(table.scenarios))))


def reweighed_hours(table: OutcomeTable, values: Assumptions) -> ReweighedHours | None:
    """As `reweighed`, for customer-hours alone."""
    if len(table) > MOST_TABLE_ROWS:
        return None
    customers = amounts_of(table.network)["customers"]
    return ReweighedHours(table, tuple(_waits(table, consequences(table, s, values), (customers,))
                                       for s in range(len(table.scenarios))))


def _scenario(table: OutcomeTable, effect: Consequences, customers: Quantity, load: Quantity) -> _Scenario:
    network, section = table.network, table.section
    opened = np.where(effect.opened >= 0, effect.opened, 0)
    number = counts(effect, customers)
    zone = placing(network, effect.momentary_zone, effect.recloser, effect.recloser)
    return _Scenario(
        _by_section(network, section, [number[name] for name in COUNTED_MEASURES]),
                     _waits(table, effect, (customers, load)),
        placing(network, effect.sustained_shares, opened, effect.within),
        placing(network, effect.sustained_shares, network.block[section], effect.waits_within),
        zone + placing(network, effect.momentary_below, opened, effect.within),
        effect.openings, effect.waits >= 0)


def _waits(table: OutcomeTable, effect: Consequences, quantities: Sequence[Quantity]) -> _Waits:
    waiting, switched = zip(*(effect.waiting_and_switched(q) for q in quantities), strict=True)
    return _Waits(_by_section(table.network, table.section, waiting),
                  _by_section(table.network, table.section, switched), effect.time, effect.own_repair)


def _by_section(network: Network, section: np.ndarray, amounts: Sequence[np.ndarray]) -> sparse.csr_array:
    """Amounts (r,) of events as sums by section, one below the other."""
    parts = [(np.flatnonzero(amount), k, amount) for k, amount in enumerate(amounts)]
    row = np.concatenate([at for at, _, _ in parts])
    place = np.concatenate([section[at] + k * len(network) for at, k, _ in parts])
    value = np.concatenate([amount[at] for at, _, amount in parts])
    return sparse.csr_array((value, (place, row)), shape=(len(amounts) * len(network), len(section)))


def _expected(network: Network, scenario: _Scenario, rates: np.ndarray, values: Assumptions) -> Expected:
    n = len(network)
    waiting, switching = hours = scenario.waits.hours(values)
    counted = dict(zip(COUNTED_MEASURES, (scenario.counted @ rates).reshape(-1, n), strict=True))
    customer_hours, load_hours = scenario.waits.amount_hours(rates, hours).reshape(-1, n)
    lasting = np.where(scenario.repair, switching, waiting)
    longer = np.where(scenario.repair, waiting - switching, 0.0)
    seen = Seen(network, {name: sums.reshape(CUSTOMER_KINDS, n).T for name, sums in (
        ("interruptions", scenario.interrupted @ rates), ("hours", scenario.interrupted @ (rates * lasting)),
        ("extra", scenario.at_block @ (rates * longer)), ("events", scenario.momentary @ rates),
        ("momentary_interruptions", scenario.momentary @ (rates * scenario.openings)))})
    return expected_of(network, counted | {"customer_hours": customer_hours, "load_kwh": load_hours}, seen)
