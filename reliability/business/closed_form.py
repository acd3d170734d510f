"""Expected yearly amounts and money over many draws of the assumptions at once: sums of products of few factors.

An outcome table is summed once by what the assumptions multiply (`cells`); a matrix of draws then costs one product of
arrays for thousands of draws. Exact, no approximation. A scenario has its amounts less than under "As built", so that
what a scenario does not change drops out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from reliability.business.cells import TERMS, Measured, OwnHours, Timed, cells_of, distinct_hours
from reliability.business.costs import CV, INTERRUPTION, MOMENTARY_FACTOR, customers_by_class
from reliability.business.factors import Factors, factor_entries
from reliability.business.features import PLAIN, joined_own, matrix_of
from reliability.business.unit_costs import unit_costs
from reliability.faults.outcomes import OutcomeTable
from reliability.faults.times import SWITCHING_OFF, hours_of
from reliability.indices.draws import alike_draws, count_draws, some_draws
from reliability.indices.measures import amounts_of
from reliability.network.tree import Network
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn
from reliability.study.cost_table import CostTable

# Numbers held at a time; draws are worked through in parts, so that memory stays bounded.
NUMBERS_AT_ONCE = 4_000_000
FEW_OUTPUTS = 64            # a matrix of so many is dense
TIMED = {"customer_hours": "customers", "load_kwh": "load"}  # quantities whose hours count, and what they are made of


@dataclass(frozen=True)
class ClosedForm:
    """Sums of the S scenarios of an outcome table over U units of its network.

    Outputs are o = scenario × units + unit: the amounts of "As built", and of the others how much less they are.
    matrix: (o, f) sums by feature. factor, price: (f,) what multiplies each feature: an index into `factors` and into
    the prices. own: of sections' own hours, its units being outputs; own_hours: the distinct ones. timed: what is
    interrupted for a time. costs: customers' cost of an interruption.
    """

    scenarios: int
    units: int
    factors: Factors
    matrix: sparse.csr_array | np.ndarray
    factor: np.ndarray
    price: np.ndarray
    own: OwnHours
    own_hours: np.ndarray
    timed: tuple[Timed, ...]
    costs: CostTable

    def amounts(self, values: TrialValues, worth: Mapping[str, Drawn]) -> np.ndarray:
        """Yearly amounts times what one of each is worth, (K, S, U), of the values' K draws (1 for numbers).

        worth: numbers or (K,) by name of `costs.AMOUNTS`; 0 for a name left out.
        """
        draws = max(count_draws(values), count_draws(worth))
        total = np.zeros((draws, self.scenarios * self.units))
        # sections' own hours cost what they do at one spread of the severity
        spreads = [drawn(values, CV)] if INTERRUPTION in worth and len(self.own.unit) else []
        for alike in alike_draws(spreads, draws):
            for at in self._parts(alike):
                total[at] = self._product(some_draws(values, at), some_draws(worth, at))
        return total.reshape(draws, self.scenarios, self.units)

    def _parts(self, draws: np.ndarray) -> Iterator[np.ndarray]:
        """Draws (positions) in parts that memory takes."""
        walked = np.count_nonzero(self.own.walked)
        step = max(1, NUMBERS_AT_ONCE // max(len(self.factor), self.scenarios * self.units, walked // 8, 1))
        for start in range(0, len(draws), step):
            yield draws[start:start + step]

    def _product(self, values: TrialValues, worth: TrialValues) -> np.ndarray:
        factors, prices = self.factors.of(values), self._prices(values, worth)
        # what cannot happen or costs nothing in any of the draws is left out
        live = np.flatnonzero(factors.any(axis=0)[self.factor] & prices.any(axis=0)[self.price])
        if isinstance(self.matrix, np.ndarray):
            found = _by_price(factors, prices, self.matrix[:, live], self.factor[live], self.price[live])
        else:
            features = factors[:, self.factor[live]] * prices[:, self.price[live]]
            found = np.asarray((self.matrix[:, live] @ features.T).T)
        return found + self._own(values, worth, factors) if len(self.own.unit) else found

    def _prices(self, values: TrialValues, worth: TrialValues) -> np.ndarray:
        """What one of each of PLAIN, and an amount of each quantity that waits each of TERMS, comes to, (K, prices)."""
        plain = {**worth, "momentary_value": _worth(worth, INTERRUPTION) * drawn(values, MOMENTARY_FACTOR)}
        prices = [_worth(plain, name) for name in PLAIN]
        hours = [hours_of(term, values) for term in TERMS]
        cost = [unit_costs(self.costs, np.atleast_1d(h), drawn(values, CV))[0] for h in hours] if (
            INTERRUPTION in worth and any(t.customer_class is not None for t in self.timed)) else []
        for quantity in self.timed:
            each, column = _worth(worth, quantity.name), quantity.customer_class
            prices += [each * (h if column is None else cost[t][:, column]) if quantity.name in worth else 0.0
                       for t, h in enumerate(hours)]
        return np.stack(np.broadcast_arrays(*(np.atleast_1d(np.asarray(p, dtype=float)) for p in prices)), axis=-1)

    def _own(self, values: TrialValues, worth: TrialValues, factors: np.ndarray) -> np.ndarray:
        """Amounts of what waits for sections' own repair hours, (K, o)."""
        walk, cv = np.atleast_1d(hours_of((SWITCHING_OFF, None), values)), _first(drawn(values, CV))
        walk = walk[:1] if np.all(walk == walk[0]) else walk
        total = np.zeros((1, self.scenarios * self.units))
        for q, quantity in enumerate(self.timed):
            if quantity.name not in worth:
                continue
            column = quantity.customer_class

            def value(hours: np.ndarray, column: int | None = column) -> np.ndarray:
                return hours if column is None else unit_costs(self.costs, hours, cv)[0][:, column]

            each = np.atleast_1d(_worth(worth, quantity.name))[:, None]
            amount = self.own.amount[:, q]
            if len(walk) == 1:
                found = self._folded(amount * np.stack([value(self.own_hours), value(np.maximum(
                    self.own_hours, walk))])[self.own.walked.astype(int), self.own.hours], factors)
            else:
                found = self._folded(np.where(self.own.walked, 0.0, amount * value(self.own_hours)[self.own.hours]),
                                     factors) + self._walked(amount, value(self.own_hours), walk, value(walk), factors)
            total = total + each * found
        return total

    def _folded(self, amount: np.ndarray, factors: np.ndarray) -> np.ndarray:
        """Sums of own amounts times their factors, (K or 1, o)."""
        shape = (self.scenarios * self.units, factors.shape[1])
        weights = sparse.csr_array((amount, (self.own.unit, self.own.factor)), shape=shape)
        return np.asarray((weights @ factors.T).T)

    def _walked(self, amount: np.ndarray, value: np.ndarray, walk: np.ndarray, value_of_walk: np.ndarray,
                factors: np.ndarray) -> np.ndarray:
        """What waits for the longer of its own hours and the walk of each draw, (K, o).

        value: of the own hours. walk, value_of_walk: (K,). In the order of the walks, every own time is passed once.
        """
        at, draws = np.flatnonzero(self.own.walked), len(walk)
        size = factors.shape[1]
        pairs, pair = np.unique(self.own.unit[at] * size + self.own.factor[at], return_inverse=True)
        order = np.argsort(walk, kind="stable")
        passed = np.searchsorted(walk[order], self.own_hours)[self.own.hours[at]] * len(pairs) + pair.ravel()

        def running(each: np.ndarray) -> np.ndarray:
            return np.bincount(passed, each, (draws + 1) * len(pairs)).reshape(draws + 1, -1).cumsum(axis=0)

        shorter, own = running(amount[at]), running(amount[at] * value[self.own.hours[at]])
        found = np.empty((draws, len(pairs)))
        found[order] = shorter[:-1] * value_of_walk[order][:, None] + (own[-1] - own[:-1])
        to_output = sparse.csr_array((np.ones(len(pairs)), (pairs // size, np.arange(len(pairs)))),
                                     shape=(self.scenarios * self.units, len(pairs)))
        return np.asarray((to_output @ (found * factors[:, pairs % size]).T).T)


def closed_form(table: OutcomeTable, values: Assumptions, costs: CostTable, names: Sequence[str],
                unit: np.ndarray | None = None, *, as_built: bool = False) -> ClosedForm:
    """Sums of a table.

    values: those of the table where they change what protection does. names: of `costs.AMOUNTS`, those timed that are
    wanted. unit: (n,) of each section, −1 for what is left out; the network is one if None. as_built: whether the
    amounts of the first scenario are wanted too, else they are 0.
    """
    network = table.network
    unit = np.zeros(len(network), dtype=np.int64) if unit is None else unit
    measured = measured_of(network, names, costs)
    factors, entries = factor_entries(table, values)
    sums = [cells_of(table, s, values, factors, entries, unit, measured) for s in range(len(table.scenarios))]
    units, scenarios = int(unit.max(initial=0)) + 1, len(sums)
    matrix, factor, price = matrix_of([cells for cells, _ in sums], units, len(factors.kinds), len(measured.timed),
                                      as_built)
    hours = distinct_hours(table)[0]
    own = joined_own([own for _, own in sums], units, len(factors.kinds), max(len(hours), 1), as_built)
    return ClosedForm(scenarios, units, factors, matrix.toarray() if scenarios * units <= FEW_OUTPUTS else matrix,
                      factor, price, own, hours, measured.timed, costs)


def measured_of(network: Network, names: Sequence[str], costs: CostTable) -> Measured:
    """What is summed for amounts by name."""
    amounts, by_class = amounts_of(network), customers_by_class(network)
    timed = [Timed(name, amounts[what]) for name, what in TIMED.items() if name in names]
    if INTERRUPTION in names:
        timed += [Timed(INTERRUPTION, by_class, c) for c in range(len(CUSTOMER_CLASSES))]
    momentary = costs.momentary if INTERRUPTION in names else np.zeros(len(CUSTOMER_CLASSES))
    return Measured(amounts["customers"], by_class, momentary, tuple(timed))


def _by_price(factors: np.ndarray, prices: np.ndarray, matrix: np.ndarray, factor: np.ndarray,
              price: np.ndarray) -> np.ndarray:
    """Products of factors, prices and sums (o, f), (K, o): first the amount at each price, so that little is held."""
    (used, row), (counted, column) = (np.unique(which, return_inverse=True) for which in (factor, price))
    sums = np.zeros((len(used), len(counted), len(matrix)))
    sums[row.ravel(), column.ravel()] = matrix.T
    amounts = factors[:, used] @ sums.reshape(len(used), -1)
    return np.einsum("kpo,kp->ko", amounts.reshape(len(factors), *sums.shape[1:]), np.broadcast_to(
        prices[:, counted], (len(factors), len(counted)))) if len(factors) > 1 else np.tensordot(
            prices[:, counted], amounts.reshape(sums.shape[1:]), 1)


def _worth(worth: TrialValues, name: str) -> Drawn:
    return drawn(worth, name) if name in worth else 0.0


def _first(value: Drawn) -> float:
    return float(np.atleast_1d(value)[0])
