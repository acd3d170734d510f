"""Expected net present value of every scenario over many draws of the assumptions at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from reliability.business.cashflow import present_worth
from reliability.business.closed_form import timed_names
from reliability.business.costs import unit_worth
from reliability.business.forms import ClosedForms
from reliability.indices.draws import count_draws
from reliability.network.model import Model
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions, TrialValues
from reliability.study.cost_table import CostTable
from reliability.tasks import Workers

Npv = Callable[[TrialValues], np.ndarray]
FORMS_CACHED = 40


@dataclass(frozen=True)
class ExpectedNpv:
    """A function from K draws of the assumptions to the expected net present value of S scenarios, (K, S).

    model: the network, and values of what is never drawn, the perspective among them. scenarios: "As built" first, all
    settled (`application.settle_scenarios`). Takes all assumptions by key, drawn ones as arrays (K,)
    (`indices.draws.values_of_trials`); K is 1 where all are numbers. A table is only built again where an assumption
    changes what protection does.
    """

    model: Model
    scenarios: Sequence[Scenario]
    costs: CostTable

    @cached_property
    def _forms(self) -> ClosedForms:
        return ClosedForms(self.model, self.scenarios, self.costs, timed_names(self.model.values), kept=FORMS_CACHED)

    def prepare(self, values: Assumptions, workers: Workers) -> None:
        """Make the sums at some values, which others that differ in rates, times and prices share; parts by workers."""
        self._forms.prepare(values, workers)

    def __call__(self, values: TrialValues) -> np.ndarray:
        """The net present values, (K, S)."""
        network = self.model.network
        result = np.zeros((count_draws(values), len(self.scenarios)))
        for at, some, form, capital in self._forms.of(values):
            saving = form.amounts(some, unit_worth(some, float(network.customers.sum())))[:, :, 0]
            worth = [present_worth(some, s, c.cost(some), c.inspection(some))
                     for s, c in zip(saving.T, capital, strict=True)]
            result[at] = np.column_stack(np.broadcast_arrays(*worth))
        return result
