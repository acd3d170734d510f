"""Expected yearly amounts and money over many draws of the assumptions at once: sums of products of few factors.

An outcome table is summed once by what the assumptions multiply (`cells`); a matrix of draws then costs one product of
arrays for thousands of draws. Exact, no approximation. A scenario has its amounts less than under "As built", so that
what a scenario does not change drops out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from reliability.business.cells import STUDY_TERMS, Timed
from reliability.business.costs import INTERRUPTION, MOMENTARY_FACTOR, SOCIETY
from reliability.business.factors import Factors, columns_of
from reliability.business.features import PLAIN_FEATURES
from reliability.business.own_hours import OwnHours
from reliability.business.summed import TIMED_OF, summed
from reliability.business.unit_costs import mean_unit_costs
from reliability.faults.outcomes import OutcomeParts, OutcomeTable
from reliability.faults.times import SWITCHING_OFF, Term, hours_of
from reliability.indices.draws import alike_draws, count_draws, some_draws
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn
from reliability.study.cost_table import CostTable
from reliability.tasks import HERE, Workers

Relative = tuple[np.ndarray, np.ndarray]
# Numbers held at a time; draws are worked through in parts, so that memory stays bounded.
NUMBERS_AT_ONCE = 4_000_000
DRAWS_AT_LEAST = 4          # so that a large matrix is not read once more for every few of them
CV = "cv"
FEW_OUTPUTS = 64            # a matrix of so many is dense


@dataclass(frozen=True)
class ClosedForm:
    """Sums of the S scenarios of an outcome table over U units of its network.

    Outputs are o = scenario × units + unit: the amounts of "As built", and of the others how much less they are.
    matrix: (o, f) sums by feature. factor, price: (f,) what multiplies each feature: an index into `factors` and into
    the prices. own: of sections' own hours, its units being outputs. timed: what is interrupted for a time. costs:
    customers' cost of an interruption.
    """

    scenarios: int
    units: int
    factors: Factors
    matrix: sparse.csr_array | np.ndarray
    factor: np.ndarray
    price: np.ndarray
    own: OwnHours
    timed: tuple[Timed, ...]
    costs: CostTable

    def amounts(self, values: TrialValues, worth: Mapping[str, Drawn],
                relative: Relative | None = None) -> np.ndarray:
        """Yearly amounts times what one of each is worth, (K, S, U), of the values' K draws (1 for numbers).

        worth: numbers or (K,) by name of `costs.AMOUNTS`; 0 for a name left out. relative: (K, U) each, what multiplies
        the rates of the temporary and of the permanent faults of each unit.
        """
        draws = max(count_draws(values), count_draws(worth), 1 if relative is None else len(relative[0]))
        total = np.zeros((draws, self.scenarios * self.units))
        # sections' own hours cost what they do at one spread of the severity
        spreads = [drawn(values, CV)] if INTERRUPTION in worth and len(self.own) else []
        for alike in alike_draws(spreads, draws):
            for at in self._parts(alike):
                some = some_draws(values, at), some_draws(worth, at)
                factors = self.factors.of(some[0])
                if relative is None:
                    total[at] = self._product(*some, factors)
                    continue
                for kind, faults in zip((~self.factors.permanent, self.factors.permanent), relative, strict=True):
                    total[at] += self._product(*some, factors * kind) * np.tile(faults[at], self.scenarios)
        return total.reshape(draws, self.scenarios, self.units)

    def of_units(self, units: np.ndarray) -> ClosedForm:
        """That of some of the units (positions), amounts of "As built" left out."""
        outputs = (np.arange(1, self.scenarios)[:, None] * self.units + units).ravel()
        some = sparse.csr_array(self.matrix[outputs])
        none = np.zeros(len(units), dtype=some.indptr.dtype)
        matrix = sparse.csr_array((some.data, some.indices, np.append(none, some.indptr)),
                                  shape=(len(units) * self.scenarios, len(self.factor)))
        own = self.own.of_units(np.append(np.full(len(units), self.scenarios * self.units), outputs))
        return replace(self, units=len(units), matrix=matrix, own=own)

    def _parts(self, draws: np.ndarray) -> Iterator[np.ndarray]:
        """Draws (positions) in parts that memory takes."""
        each = max(len(self.factor), self.scenarios * self.units, self.own.width, 1)
        step = max(DRAWS_AT_LEAST, NUMBERS_AT_ONCE // each)
        for start in range(0, len(draws), step):
            yield draws[start:start + step]

    def _product(self, values: TrialValues, worth: TrialValues, factors: np.ndarray) -> np.ndarray:
        """Amounts, (K, o). factors: (K, factors)."""
        prices = self._prices(values, worth)
        # what cannot happen or costs nothing in any of the draws is left out
        possible, priced = (np.asarray(x.any(axis=0)) for x in (factors, prices))
        live = np.flatnonzero(possible[self.factor] & priced[self.price])
        if isinstance(self.matrix, np.ndarray):
            found = _by_price(factors, prices, self.matrix[:, live], self.factor[live], self.price[live])
        else:
            features = np.zeros((len(self.factor), max(len(factors), len(prices))))
            features[live] = (factors[:, self.factor[live]] * prices[:, self.price[live]]).T
            found = np.asarray((self.matrix @ features).T)
        return found + self._own(values, worth, factors) if len(self.own) else found

    def _prices(self, values: TrialValues, worth: TrialValues) -> np.ndarray:
        """What each of PLAIN_FEATURES, and each quantity that waits each of STUDY_TERMS, comes to, (K, prices)."""
        plain = {**worth, "momentary_value": _worth(worth, INTERRUPTION) * drawn(values, MOMENTARY_FACTOR)}
        prices = [_worth(plain, name) for name in PLAIN_FEATURES]
        hours = [hours_of(term, values) for term in STUDY_TERMS]
        cost = [mean_unit_costs(self.costs, np.atleast_1d(h), drawn(values, CV)) for h in hours] if (
            INTERRUPTION in worth and any(t.customer_class is not None for t in self.timed)) else []
        for timed in self.timed:
            each, column = _worth(worth, timed.name), timed.customer_class
            prices += [each * (h if column is None else cost[t][:, column]) if timed.name in worth else 0.0
                       for t, h in enumerate(hours)]
        return columns_of(prices)

    def _own(self, values: TrialValues, worth: TrialValues, factors: np.ndarray) -> np.ndarray:
        """Amounts of what waits for sections' own repair hours, (K, o), at one spread of the severity."""
        walk = np.atleast_1d(hours_of(Term(SWITCHING_OFF), values))
        walk = walk[:1] if np.ptp(walk) == 0.0 else walk
        each, cv = columns_of([_worth(worth, t.name) for t in self.timed]), _first(drawn(values, CV))
        priced = INTERRUPTION in worth and any(t.customer_class is not None for t in self.timed)

        def value_of(hours: np.ndarray) -> np.ndarray:
            """What hours (m,) count for each quantity: themselves, or what they cost a customer, (m, quantities)."""
            cost = mean_unit_costs(self.costs, hours, cv) if priced else np.zeros((len(hours), len(CUSTOMER_CLASSES)))
            return np.column_stack([hours if t.customer_class is None else cost[:, t.customer_class]
                                    for t in self.timed])

        return self.own.waited(self.scenarios * self.units, factors, each, walk, value_of, (cv, priced))


def closed_form(table: OutcomeTable | OutcomeParts, values: Assumptions, costs: CostTable, names: Sequence[str],
                unit: np.ndarray | None = None, *, as_built: bool = False, workers: Workers = HERE) -> ClosedForm:
    """Sums of a table, whole or in its parts by groups of trees, which are made and summed by workers.

    values: those of the table where they change what protection does. names: of `costs.AMOUNTS`, those timed that are
    wanted. unit: (n,) of each section, −1 for what is left out; the network is one if None. as_built: whether the
    amounts of the first scenario are wanted too, else they are 0.
    """
    if isinstance(table, OutcomeTable):
        whole = table
        table = OutcomeParts(whole.network, whole.protections, (lambda: whole,))
    sums = summed(table, values, names, costs, unit, as_built, workers)
    matrix = sums.matrix.toarray() if sums.matrix.shape[0] <= FEW_OUTPUTS else sums.matrix
    return ClosedForm(sums.scenarios, sums.matrix.shape[0] // sums.scenarios, sums.factors, matrix, sums.factor,
                      sums.price, sums.own, sums.timed, costs)


def timed_names(values: Assumptions) -> tuple[str, ...]:
    """Names of the timed amounts that have a price in the perspective of the values."""
    return (INTERRUPTION,) if values["perspective"] == SOCIETY else tuple(TIMED_OF)


def _by_price(factors: np.ndarray, prices: np.ndarray, matrix: np.ndarray, factor: np.ndarray,
              price: np.ndarray) -> np.ndarray:
    """Products of factors, prices and sums (o, f), (K, o): first the amount at each price, so that little is held."""
    (used, row), (counted, column) = (np.unique(which, return_inverse=True) for which in (factor, price))
    sums = np.zeros((len(used), len(counted), len(matrix)))
    sums[row.ravel(), column.ravel()] = matrix.T
    amounts = factors[:, used] @ sums.reshape(len(used), len(counted) * len(matrix))
    return np.asarray(prices[:, None, counted] @ amounts.reshape(len(factors), len(counted), len(matrix)))[:, 0]


def _worth(worth: TrialValues, name: str) -> Drawn:
    return drawn(worth, name) if name in worth else 0.0


def _first(value: Drawn) -> float:
    return float(np.atleast_1d(value)[0])

