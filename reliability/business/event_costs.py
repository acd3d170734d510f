"""Customers' interruption cost of every simulated event, by the event's own duration (model §7)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from reliability.business.costs import MOMENTARY_FACTOR, customers_by_class, momentary_worth
from reliability.faults.consequences import Consequences
from reliability.faults.times import OWN_REPAIR, WALK_OR_OWN_REPAIR, Term, depends_on, terms_of_rows
from reliability.indices.bends import Bend
from reliability.indices.measures import ExtraParts, Factor, switching_terms
from reliability.network.quantities import Quantity
from reliability.network.tree import Network
from reliability.schema.assumption_types import Range
from reliability.schema.values import Assumptions
from reliability.study.cost_table import CostTable

# sections' own repair times go with the study's
_WITH = {OWN_REPAIR: "repair", WALK_OR_OWN_REPAIR: "repair_reclosing_off"}


@dataclass(frozen=True)
class InterruptionCost:
    """Customers' cost as an extra measure of the simulation (an `ExtraMeasure`), named `costs.INTERRUPTION`.

    The cost of a duration D is the straight line of the piece of the table in which the usual event lies, and what the
    other pieces differ from it by: bends at the tabulated durations. Those who wait and those switched have their own.
    """

    network: Network
    costs: CostTable

    @cached_property
    def _by_class(self) -> Quantity:
        return customers_by_class(self.network)

    @cached_property
    def _momentary_worth(self) -> Quantity:
        return momentary_worth(self.network, self.costs)

    def parts(self, effect: Consequences, values: Assumptions, uncertain: Mapping[str, Range]) -> ExtraParts:
        """Straight lines and bends of the rows of `effect`."""
        momentary = effect.momentary_events(self._momentary_worth)
        nothing = np.zeros(len(momentary))
        lines: dict[Factor | None, tuple[np.ndarray, np.ndarray]] = {}
        fixed, slope = nothing, nothing
        if MOMENTARY_FACTOR in uncertain:
            lines[MOMENTARY_FACTOR] = (momentary, nothing)
        else:
            fixed = momentary * values["momentary_cost_factor"]
        bends: list[Bend] = []
        waiting, switched = effect.waiting_and_switched(self._by_class)
        for customers, hours, terms in (
                (waiting, effect.waiting_hours, terms_of_rows(effect.time, effect.own_repair)),
                (switched, effect.switching_hours, switching_terms(effect))):
            for term, is_uncertain, rows in _by_time(terms, uncertain):
                amount = np.where(rows[:, None], customers, 0.0)
                if not amount.any():
                    continue
                of_rows = np.where(rows, hours, 0.0)
                least = np.nan_to_num(effect.own_repair) if term.name == WALK_OR_OWN_REPAIR and is_uncertain else None
                line, more = self._priced(amount, of_rows, term, is_uncertain, values["cv"], least)
                fixed = fixed + line[0]
                bends += more
                if is_uncertain:
                    before = lines.get(term, (nothing, nothing))
                    lines[term] = (nothing, before[1] + line[1])
                else:
                    slope = slope + line[1] * of_rows
        return ExtraParts(lines | {None: (fixed, slope)}, bends)

    def _priced(self, customers: np.ndarray, hours: np.ndarray, term: Term, uncertain: bool,
                cv: float, least: np.ndarray | None) -> tuple[tuple[np.ndarray, np.ndarray], list[Bend]]:
        """The line (what an event costs at 0 h, and by the hour) and the bends of customers (r, c), 0 h elsewhere."""
        usual = hours[customers.any(axis=1)].mean() / np.sqrt(1.0 + cv * cv)  # the median of a lognormal
        limits, below = self.costs.durations_hours, self.costs.durations_hours < usual
        below[0] = True
        weight = customers @ self.costs.bends
        line = customers @ self.costs.momentary - weight[:, below] @ limits[below], weight[:, below].sum(axis=1)
        bends = [Bend(term, uncertain, hours, float(limits[k]), not below[k], weight[:, k], least)
                 for k in range(1, len(limits))]
        return line, bends if usual > 0.0 or uncertain else []


def _by_time(terms: Iterable[tuple[Term, np.ndarray]],
             uncertain: Mapping[str, Range]) -> Iterator[tuple[Term, bool, np.ndarray]]:
    """Times with their rows, (r,) bool; sections' own repair times are one where no trial changes them."""
    certain: dict[Term, np.ndarray] = {}
    for term, rows in terms:
        if depends_on(term, uncertain):
            yield term, True, rows
        else:
            name = Term(_WITH.get(term.name, term.name))
            certain[name] = certain.get(name, False) | rows
    for term, rows in certain.items():
        yield term, False, rows
