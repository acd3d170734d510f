"""Closed forms of scenarios that hold at any draw, one for each state of what changes protection."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from reliability.business.cashflow import Capital, capital_of
from reliability.business.closed_form import ClosedForm, closed_form
from reliability.business.factors import EVERY_CLASS
from reliability.faults.outcomes import OutcomeParts, outcomes_in_parts
from reliability.indices.draws import alike_draws, count_draws, one_trial, some_draws
from reliability.indices.simulation import STRUCTURAL
from reliability.network.model import Model
from reliability.network.protection import protection
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions, Drawn, TrialValues, as_assumptions, drawn, drawn_shares, number
from reliability.study.cost_table import CostTable
from reliability.tasks import HERE, Workers

OFF_SHARE = "reclosing_off_share"


def table_of_everything(model: Model, scenarios: Sequence[Scenario], whole: bool = True) -> OutcomeParts:
    """Outcome table, in parts, with every class of fault that can happen at any probabilities, rates, times and prices.

    It holds as long as the study's share of faults while reclosing is off lies between the same two of `shares_met`.
    whole: else it has only what can happen at the values of the model, and with reclosing on and off.
    """
    low, high = neighbours(shares_met(model, scenarios), number(model.values, OFF_SHARE))
    changed = EVERY_CLASS if whole else {}
    everything = as_assumptions({**model.values, **changed, OFF_SHARE: (low + high) / 2.0})
    return outcomes_in_parts(model.with_values(everything), scenarios)


def shares_met(model: Model, scenarios: Sequence[Scenario]) -> np.ndarray:
    """Shares of faults while reclosing is off, ascending, that a device states where another scenario has the study's.

    Which faults then find reclosing off under one scenario and not under the other depends on which share is larger.
    """
    if not np.isfinite(model.network.column[OFF_SHARE]).any():
        return np.empty(0)
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
class ClosedForms:
    """Closed forms of S scenarios, "As built" first, all settled (`application.settle_scenarios`).

    model: the network, and values of what is never drawn. names, unit, as_built: see `closed_form`. whole: whether a
    form holds at every probability; else it is smaller, and a new one is made where a class of fault may happen or may
    no longer. kept: how many are kept at a time.
    """

    model: Model
    scenarios: Sequence[Scenario]
    costs: CostTable
    names: tuple[str, ...]
    unit: np.ndarray | None = None
    as_built: bool = False
    whole: bool = True
    kept: int = 1
    _kept: OrderedDict[tuple[object, ...], tuple[ClosedForm, tuple[Capital, ...]]] = field(default_factory=OrderedDict)

    def of(self, values: TrialValues,
           draws: int = 0) -> Iterator[tuple[np.ndarray, TrialValues, ClosedForm, tuple[Capital, ...]]]:
        """(positions of some draws, their values, the form that holds for them, what each scenario installs).

        draws: how many there are, where the values may all be numbers.
        """
        draws = max(draws, count_draws(values))
        for at in alike_draws(self._structure(values), draws):
            some = some_draws(values, at) if len(at) < draws else values
            yield at, some, *self._form(one_trial(some, 0))

    @cached_property
    def _met(self) -> np.ndarray:
        return shares_met(self.model, self.scenarios)

    def _structure(self, values: TrialValues) -> list[Drawn]:
        """What a table of everything depends on, numbers or draws (K,)."""
        columns: list[Drawn] = []
        for key in STRUCTURAL:
            columns += drawn_shares(values, key) if isinstance(values[key], tuple) else [drawn(values, key)]
        if len(self._met):
            columns.append(np.searchsorted(self._met, drawn(values, OFF_SHARE)))
        return columns if self.whole else [*columns, *_possible(values)]

    def prepare(self, values: Assumptions, workers: Workers) -> None:
        """Make the form of the values now, its parts by workers."""
        self._form(values, workers)

    def _form(self, values: Assumptions, workers: Workers = HERE) -> tuple[ClosedForm, tuple[Capital, ...]]:
        key = (values["reclosing_off_trip"], *self._structure(values))
        if key not in self._kept:
            if len(self._kept) >= self.kept:
                self._kept.popitem(last=False)
            model = self.model.with_values(values)
            parts = table_of_everything(model, self.scenarios, self.whole)
            capital = tuple(capital_of(model.network, p, parts.protections[0]) for p in parts.protections)
            self._kept[key] = closed_form(parts, values, self.costs, self.names, self.unit, as_built=self.as_built,
                                          workers=workers), capital
        return self._kept[key]


def _possible(values: TrialValues) -> list[Drawn]:
    """Which classes of fault can happen, 0 or 1 for each bound of what makes them possible, numbers or (K,)."""
    columns: list[Drawn] = []
    for key in EVERY_CLASS:
        for part in drawn_shares(values, key) if isinstance(values[key], tuple) else [drawn(values, key)]:
            columns += [np.asarray(part > 0.0, dtype=float)[()], np.asarray(part < 1.0, dtype=float)[()]]
    return columns
