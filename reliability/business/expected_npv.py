"""Expected net present value of every scenario over many draws of the assumptions at once."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from reliability.business.cashflow import Capital, capital_of, present_worth
from reliability.business.closed_form import TIMED, ClosedForm, closed_form
from reliability.business.costs import INTERRUPTION, SOCIETY, unit_worth
from reliability.business.factors import EVERYTHING
from reliability.faults.outcomes import OutcomeTable, build_outcomes
from reliability.indices.draws import alike_draws, count_draws, one_trial, some_draws
from reliability.indices.simulation import STRUCTURAL
from reliability.network.model import Model
from reliability.network.protection import protection
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions, Drawn, TrialValues, as_assumptions, drawn, drawn_shares, number
from reliability.study.cost_table import CostTable

Npv = Callable[[TrialValues], np.ndarray]
MAX_CACHED = 40
OFF_SHARE = "reclosing_off_share"


def table_of_everything(model: Model, scenarios: Sequence[Scenario]) -> OutcomeTable:
    """Outcome table with every class of fault that can happen at any probabilities, rates, times and prices.

    It holds as long as the study's share of faults while reclosing is off lies between the same two of `shares_met`.
    """
    low, high = neighbours(shares_met(model, scenarios), number(model.values, OFF_SHARE))
    everything = as_assumptions({**model.values, **EVERYTHING, OFF_SHARE: (low + high) / 2.0})
    return build_outcomes(model.with_values(everything), scenarios)


def shares_met(model: Model, scenarios: Sequence[Scenario]) -> np.ndarray:
    """Shares of faults while reclosing is off, ascending, that a device states where another scenario has the study's.

    Which faults then find reclosing off under one scenario and not under the other depends on which share is larger.
    """
    protections = [protection(model, s) for s in scenarios]
    shares = np.stack([p.off_share[p.reclosing_device] for p in protections])
    stated = np.isfinite(shares)
    both = stated.any(axis=0) & ~stated.all(axis=0)
    return np.unique(shares[stated & both])


def neighbours(shares: np.ndarray, share: float) -> tuple[float, float]:
    """Those of ascending shares next to the study's, or 0 and 1."""
    at = int(np.searchsorted(shares, share))
    return float(shares[at - 1]) if at else 0.0, float(shares[at]) if at < len(shares) else 1.0


@dataclass(frozen=True)
class ExpectedNpv:
    """A function from K draws of the assumptions to the expected net present value of S scenarios, (K, S).

    model: the network, and values of what is never drawn. scenarios: "As built" first, all settled
    (`application.settle_scenarios`). Takes all assumptions by key, drawn ones as arrays (K,)
    (`indices.draws.values_of_trials`); K is 1 where all are numbers. A table is only built again where an assumption
    changes what protection does.
    """

    model: Model
    scenarios: Sequence[Scenario]
    costs: CostTable
    _cached: OrderedDict[tuple[object, ...], tuple[ClosedForm, list[Capital]]] = field(default_factory=OrderedDict)

    @cached_property
    def _met(self) -> np.ndarray:
        return shares_met(self.model, self.scenarios)

    def __call__(self, values: TrialValues) -> np.ndarray:
        """The net present values, (K, S)."""
        draws = count_draws(values)
        result = np.zeros((draws, len(self.scenarios)))
        for at in alike_draws(self._structure(values), draws):
            result[at] = self._npv(some_draws(values, at))
        return result

    def _structure(self, values: TrialValues) -> list[Drawn]:
        """What a table of everything depends on, numbers or draws (K,)."""
        columns: list[Drawn] = []
        for key in STRUCTURAL:
            columns += drawn_shares(values, key) if isinstance(values[key], tuple) else [drawn(values, key)]
        if len(self._met):
            columns.append(np.searchsorted(self._met, drawn(values, OFF_SHARE)))
        return columns

    def _npv(self, values: TrialValues) -> np.ndarray:
        form, capital = self._sums(one_trial(values, 0))
        saving = form.amounts(values, unit_worth(values, float(self.model.network.customers.sum())))[:, :, 0]
        worth = [present_worth(values, s, c.cost(values), c.inspection(values))
                 for s, c in zip(saving.T, capital, strict=True)]
        return np.column_stack(np.broadcast_arrays(*worth))

    def _sums(self, values: Assumptions) -> tuple[ClosedForm, list[Capital]]:
        key = (values["perspective"], values["reclosing_off_trip"], *self._structure(values))
        if key not in self._cached:
            if len(self._cached) >= MAX_CACHED:
                self._cached.popitem(last=False)
            table = table_of_everything(self.model.with_values(values), self.scenarios)
            names = (INTERRUPTION,) if values["perspective"] == SOCIETY else tuple(TIMED)
            self._cached[key] = (closed_form(table, values, self.costs, names),
                                 [capital_of(self.model.network, p, table.protections[0]) for p in table.protections])
        return self._cached[key]

