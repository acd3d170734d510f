"""How far the fault rates that records leave uncertain move the net present value."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reliability.business.cashflow import present_worth
from reliability.business.costs import (
    BENEFITS_BY_PERSPECTIVE,
    INTERRUPTION,
    amounts_by_section,
    expected_interruption_cost,
    grouped,
    total_money,
)
from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable, build_outcomes, row_rates
from reliability.indices.expected import expected_values
from reliability.network.model import Model
from reliability.network.rate_draws import RateDraws
from reliability.schema.scenarios import UNCHANGED, Scenario
from reliability.schema.values import Assumptions
from reliability.study.cost_table import CostTable


def rate_deviations(model: Model, scenarios: Sequence[Scenario], costs: CostTable, draws: RateDraws) -> np.ndarray:
    """Expected NPV at each joint draw of the learned rates less that at their means, (K, S), all else at its mean.

    The NPV is linear in the rates of every unit, so this is exact.
    """
    table = build_outcomes(model, scenarios)
    permanent = table.kinds == PERMANENT_BIT
    served = float(model.network.customers.sum())
    result = np.zeros((len(draws), len(scenarios)))
    for rows, relative in ((~permanent, draws.temporary), (permanent, draws.permanent)):
        money = _money_by_unit(table.take(np.flatnonzero(rows)), model.values, costs, draws, served)
        result += (relative.astype(float) - 1.0) @ money.T
    saved = result[:, :1] - result
    return np.asarray(present_worth(model.values, saved, np.zeros_like(saved), np.zeros_like(saved)))


def _money_by_unit(table: OutcomeTable, values: Assumptions, costs: CostTable, draws: RateDraws,
                   served: float) -> np.ndarray:
    """Yearly money of the faults of each unit, (S, U), in the perspective of the values."""
    expected = expected_values(table, values)
    priced = INTERRUPTION in BENEFITS_BY_PERSPECTIVE[values["perspective"]]
    interruption: list[np.ndarray | None] = [None] * len(expected)
    if priced:
        interruption = list(expected_interruption_cost(table, values, costs).by_section)
    units = draws.temporary.shape[1]
    return np.stack([total_money(grouped(amounts_by_section(e, i), draws.unit_of, units), values, served)
                     for e, i in zip(expected, interruption, strict=True)])


def total_factors(model: Model, draws: RateDraws) -> np.ndarray:
    """Faults of the whole network at each joint draw over those at the means, (K,); 1 where nothing can fail."""
    table = build_outcomes(model, (UNCHANGED,))
    rates = row_rates(table, model.values)
    permanent, unit = table.kinds == PERMANENT_BIT, draws.unit_of[table.section]
    units = draws.temporary.shape[1]
    weights = [np.bincount(unit[those], rates[those], units) for those in (~permanent, permanent)]
    total = weights[0] @ draws.temporary.T + weights[1] @ draws.permanent.T
    at_means = float(weights[0].sum() + weights[1].sum())
    return np.asarray(total / at_means) if at_means else np.ones(len(total))
