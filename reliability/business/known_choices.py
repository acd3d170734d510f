"""Choices found for a frontier so far, and what no choice can exceed: so that every point tells how good it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from reliability.business.capped_frontier import best_at_price
from reliability.business.greedy_frontier import corner_sets
from reliability.business.limits import Limits, limit_rows
from reliability.business.options import Options

if TYPE_CHECKING:
    from scipy.optimize import LinearConstraint

ROUNDING = 1e-9     # relative, of sums over many rows
PRICES_TRIED = 12         # of money that are tried where the caps leave other choices than money alone
PRICE_FACTOR = 1.5          # factor from one to the next until the budget lies between two


@dataclass(frozen=True)
class KnownChoices:
    """Choices that meet the limits, the best of which is known for every budget.

    gain: (rows,) what is sought, of `selection.sought`. checks: what the limits ask of a choice. found: (money,
    customer hours avoided, rows chosen). bounds: (price of money, what no choice's gain less its money at that price
    exceeds). searched: what no choice's gain exceeds, by budget.
    """

    options: Options
    limits: Limits
    gain: np.ndarray
    checks: list[LinearConstraint]
    found: list[tuple[float, float, np.ndarray]] = field(default_factory=list)
    bounds: list[tuple[float, float]] = field(default_factory=list)
    searched: dict[float, float] = field(default_factory=dict)

    def add(self, corner: np.ndarray, price: float) -> float:
        """Learn from a corner of `corner_sets`, and, where it breaks a limit, from what the caps leave at its price.

        Returns its money, or that of what the caps leave if it is more.
        """
        worth = self.gain - price * self._capex
        self.bounds.append((price, float(worth[corner].sum())))
        cost = float(self._capex[corner].sum())
        if self.keep(corner):
            return cost
        instead = self.at_price(price)
        return cost if instead is None or not self.keep(instead) else max(cost, float(self._capex[instead].sum()))

    def at_price(self, price: float) -> np.ndarray | None:
        """Rows chosen, (rows,) bool, that the caps leave at a price of money."""
        chosen, most = best_at_price(self.options, self.gain, price, self.limits)
        self.bounds.append((price, most))
        return chosen

    def near(self, budget: float, price: float) -> None:
        """Learn from what the caps leave at prices from one on to where it costs as much as a budget."""
        low, high, least = 0.0, np.inf, 1e-4 * float(np.abs(self.gain).max() / (self._capex.max() or 1.0))
        for _ in range(PRICES_TRIED):
            chosen = self.at_price(price)
            if chosen is None:
                return
            fits = float(self._capex[chosen].sum()) <= budget
            if self.keep(chosen) and price == 0.0:
                return
            low, high = (low, price) if fits else (price, high)
            price = (max(low, least) * PRICE_FACTOR if high == np.inf else
                     high / PRICE_FACTOR if low == 0.0 else float(np.sqrt(low * high)))

    def beyond_reach(self, budget: float) -> bool:
        """Whether the SAIDI reduction asked for is out of reach, whatever costs little or nothing."""
        least = self.limits.saidi_reduction_minutes
        return least is not None and 1.01 * self._most(budget) * self._minutes < least

    def best(self, budget: float) -> np.ndarray | None:
        """Rows chosen, (rows,) bool, by the best that costs no more; None without any."""
        found = [f for f in self.found if f[0] <= budget * (1.0 + ROUNDING)]
        return max(found, key=lambda f: (f[1], -f[0]))[2] if found else None

    def gap(self, budget: float) -> float:
        """By which share the best of a budget may be better than that found; infinity without any, or of nothing."""
        best = self.best(budget)
        if best is None:
            return np.inf
        reached, most = float(self.gain[best].sum()), self._most(budget)
        if most - reached <= ROUNDING * max(1.0, abs(most)):
            return 0.0
        return (most - reached) / abs(reached) if reached else np.inf

    @property
    def _capex(self) -> np.ndarray:
        return self.options.rows["capex"].to_numpy()

    @property
    def _hours(self) -> np.ndarray:
        return self.options.rows["customer_hours_avoided"].to_numpy()

    @property
    def _minutes(self) -> float:
        """Minutes of SAIDI in a unit of gain."""
        return 60.0 * float(np.abs(self._hours).max(initial=0.0)) / (self.options.customers_served or np.nan)

    def _most(self, budget: float) -> float:
        """What no choice's gain within a budget exceeds."""
        return min([*(most + (price * budget if price else 0.0) for price, most in self.bounds),
                    *(most for within, most in self.searched.items() if within >= budget), np.inf])

    def keep(self, chosen: np.ndarray) -> bool:
        """Whether a choice meets the limits; it is then one of those found."""
        meets = all(np.all(np.asarray(c.A @ chosen) <= c.ub + ROUNDING) for c in self.checks)
        if meets:
            self.found.append((float(self._capex[chosen].sum()), float(self._hours[chosen].sum()), chosen))
        return meets


def nearly_best(options: Options, gain: np.ndarray, limits: Limits, gap: float) -> tuple[np.ndarray | None, float]:
    """Rows chosen, (rows,) bool, without a search, and by which share the best may be better; None, infinity: none.

    gain: (rows,) what is sought, of SAIDI. gap: nearer it need not be.
    """
    known, corner = KnownChoices(options, limits, gain, list(limit_rows(options, limits))), None
    for corner in corner_sets(options, gain, 2, limits):
        known.add(*corner)
    budget = np.inf if limits.budget is None else limits.budget
    if corner is not None and known.gap(budget) > gap:
        known.near(budget, corner[1])
    return known.best(budget), known.gap(budget)
