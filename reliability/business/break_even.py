"""Break-even values: of the share of faults while reclosing is off, and of the value of a momentary event.

With one share b for all reclosing devices a year's customer-hours are (1 − b)·N + b·L, N with reclosing on everywhere
and L with reclosing off. So a gain in them is on·(1 − b) + off·b, and it is nil at b = on/(on − off) where the two
differ in sign: exact, from two sums over one outcome table. Customers' costs are linear in the value of a momentary
event, and so is society's net present value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reliability.business.cashflow import ROUNDING, Business, assess, flows, present_worth
from reliability.business.costs import INTERRUPTION, SOCIETY, InterruptionCosts, total_money, totals
from reliability.faults.alike import counted_alike, rows_by_sections
from reliability.faults.consequences import consequences
from reliability.faults.outcomes import SECTIONS_AT_ONCE, OutcomeParts, OutcomeTable, outcomes_in_parts, row_rates
from reliability.faults.states import orders_of_shares
from reliability.faults.what_trips import SHARE_KEY
from reliability.indices.expected import expected_values, hours_interrupted
from reliability.indices.reweighed import ReweighedHours
from reliability.network.model import Model
from reliability.network.quantities import customers_of
from reliability.schema.scenarios import Scenario
from reliability.schema.units import MINUTES_PER_HOUR
from reliability.schema.values import Assumptions, Drawn, as_assumptions, drawn, number
from reliability.study.cost_table import CostTable
from reliability.study.price_level import price_level

BREAK_EVEN = f"break_even_{SHARE_KEY}"  # column of tables
ON_STATE, OFF_STATE = 0, 1
INNER_SHARE = 0.5  # any share between 0 and 1 gives a table both states


@dataclass(frozen=True)
class BreakEven:
    """Where the gains in SAIDI of S scenarios over "As built" change sign; NaN where they do not.

    reclosing_off_share: (S,) share of faults while reclosing is off, one for all devices, at which the gain is nil;
    by_lateral: (S, h) the same of the customer-minutes that the faults on each candidate cause.
    saidi_minutes_avoided: (2, S) a year with reclosing on everywhere, and off.
    """

    reclosing_off_share: np.ndarray
    by_lateral: np.ndarray
    saidi_minutes_avoided: np.ndarray

    def summary(self, scenario: int) -> dict[str, float]:
        """ "break_even" of summary.json for one scenario, but for the value of a momentary event."""
        on, off = self.saidi_minutes_avoided[:, scenario]
        return {SHARE_KEY: float(self.reclosing_off_share[scenario]),
                "saidi_minutes_avoided_reclosing_on": float(on), "saidi_minutes_avoided_reclosing_off": float(off)}


def break_even(model: Model, scenarios: Sequence[Scenario], both: ReweighedHours | None = None,
               known: OutcomeTable | None = None) -> BreakEven:
    """Where the gains of settled scenarios change sign, "As built" first.

    both: the matrices of `table_of_both_states`, where those of a state that differs in rates and times are known.
    known: the outcome table of the model, where it is.
    """
    network = model.network
    if both is not None:
        hours = customer_hours_again(both, model)
    elif known is not None and has_both_states(known, model.values):
        hours = customer_hours_by_state(known, model.values)
    else:
        hours = customer_hours(model, scenarios)
    on, off = less_than_as_built(hours.sum(axis=-1))
    heads, index = network.candidates, network.candidate_index
    inside = index >= 0
    by_lateral = np.array([[np.bincount(index[inside], by_section[inside], len(heads)) for by_section in state]
                           for state in hours])
    minutes = np.array([on, off]) * (MINUTES_PER_HOUR / (float(network.customers.sum()) or np.nan))
    return BreakEven(break_even_share(on, off), break_even_share(*less_than_as_built(by_lateral)), minutes)


def table_of_both_states(model: Model, scenarios: Sequence[Scenario]) -> OutcomeTable:
    """Outcome table with reclosing on and off, what devices state of it left out."""
    (table,) = _parts_of_both_states(model, scenarios, None)
    return table


def has_both_states(table: OutcomeTable, values: Assumptions) -> bool:
    """Whether the table of some values is that of both states: both happen there, and no device states how often."""
    return 0.0 < number(values, SHARE_KEY) < 1.0 and not orders_of_shares(table.protections)


def _parts_of_both_states(model: Model, scenarios: Sequence[Scenario],
                          sections: int | None = SECTIONS_AT_ONCE) -> OutcomeParts:
    """The same in parts; see `outcomes_in_parts`."""
    network, values = model.network, model.values
    everywhere = network.with_columns({SHARE_KEY: np.full(len(network), np.nan)})
    return outcomes_in_parts(Model(everywhere, {**values, "reclosing_off_share": INNER_SHARE}), scenarios, sections)


def customer_hours(model: Model, scenarios: Sequence[Scenario]) -> np.ndarray:
    """As `customer_hours_by_state`, of a table that is never whole."""
    hours = np.zeros((2, len(scenarios), len(model.network)))
    for part in _parts_of_both_states(model, scenarios):
        _add_customer_hours(part, model.values, hours)
        del part                                    # before the next one is made
    return hours


def customer_hours_by_state(both: OutcomeTable, values: Assumptions) -> np.ndarray:
    """Customer-hours a year of the faults on each section, (2, S, n), with reclosing on everywhere and off."""
    hours = np.zeros((2, len(both.scenarios), len(both.network)))
    _add_customer_hours(both, values, hours)
    return hours


def _add_customer_hours(both: OutcomeTable, values: Assumptions, hours: np.ndarray) -> None:
    """Add those of a table, which may be a part of the whole, to (2, S, n)."""
    customers = customers_of(both.network)
    rates = [row_rates(both, {**values, "reclosing_off_share": share}) for share in (0.0, 1.0)]
    for rows, here in rows_by_sections(both):
        for s in range(len(both.scenarios)):
            one, events = counted_alike(both, s, rows, *rates)
            each, section = hours_interrupted(consequences(both, s, values, one), customers), both.section[one]
            for state in (ON_STATE, OFF_STATE):
                hours[state, s, here] += np.bincount(section - here.start, events[state] * each, here.stop - here.start)


def customer_hours_again(both: ReweighedHours, model: Model) -> np.ndarray:
    """As `customer_hours_by_state`, by the matrices of a table of both states."""
    table, values = replace(both.table, network=model.network), model.values
    return np.array([both.customer_hours(row_rates(table, {**values, "reclosing_off_share": share}), values)
                     for share in (0.0, 1.0)])


def npv_by_state(model: Model, scenarios: Sequence[Scenario], costs: CostTable) -> np.ndarray:
    """Net present value of settled scenarios, "As built" first: (2, S), with reclosing on everywhere and off.

    It is linear in the share of faults while reclosing is off, so that `break_even_share` of both says where it turns.
    """
    both, found = table_of_both_states(model, scenarios), []
    for share in (0.0, 1.0):
        values = as_assumptions({**model.values, SHARE_KEY: share})
        case = assess(both, expected_values(both, values), values, costs)
        found.append([float(flows(case, s)["discounted"].sum()) for s in range(len(scenarios))])
    return np.array(found)


def less_than_as_built(hours: np.ndarray) -> np.ndarray:
    """How much less than under the first scenario, shape (2, S) or (2, S, m); 0 where that is rounding."""
    before = hours[:, :1]
    less = before - hours
    return np.where(np.abs(less) > ROUNDING * np.maximum(before, hours), less, 0.0)


def break_even_share(on: Drawn, off: Drawn) -> np.ndarray:
    """Share of faults while reclosing is off at which a gain is nil, NaN where it keeps its sign.

    on, off: the gain with reclosing on everywhere, and off; numbers, or arrays of one shape.
    """
    changes_sign = np.sign(on) * np.sign(off) < 0
    return np.divide(on, np.subtract(on, off), out=np.full(np.shape(on), np.nan), where=changes_sign)


@dataclass(frozen=True)
class MomentaryValue:
    """Society's net present value of S scenarios over the value of a momentary event, a straight line.

    npv_at_none: (S,) where momentary events cost customers nothing. npv_per_factor: (S,) added by each time the value
    of the table. turn: (S,) the factor at which the net present value is nil, NaN where it keeps its sign. per_event:
    value of the table for one customer's momentary event, on average as built; NaN without any. avoided: (2, S)
    customers' cost avoided a year of sustained interruptions, and of momentary events at a factor of 1, in the money of
    the table.
    """

    npv_at_none: np.ndarray
    npv_per_factor: np.ndarray
    turn: np.ndarray
    per_event: float
    avoided: np.ndarray

    def npv(self, scenario: int, factor: float) -> float:
        """Society's net present value where a momentary event costs `factor` times the value of the table."""
        return float(self.npv_at_none[scenario] + factor * self.npv_per_factor[scenario])


def momentary_value(business: Business, interruption: InterruptionCosts) -> MomentaryValue:
    """Society's net present value over the value of a momentary event; interruption: what customers bear."""
    values: Assumptions = {**business.values, "perspective": SOCIETY}
    sustained, momentary = interruption.sustained, interruption.momentary

    def npv(factor: float) -> np.ndarray:
        money = [float(total_money(totals(amounts) | {INTERRUPTION: s + factor * m}, values, business.customers_served))
                 for amounts, s, m in zip(business.by_section, sustained, momentary, strict=True)]
        return np.array([float(present_worth(values, money[0] - m, c.cost(values), c.inspection(values)))
                         for m, c in zip(money, business.capital, strict=True)])

    base, slope = npv(0.0), npv(1.0) - npv(0.0)
    differs = np.abs(momentary - momentary[0]) > ROUNDING * np.maximum(momentary, momentary[0])
    changes_sign = differs & (base * slope < 0)
    turn = np.divide(-base, slope, out=np.full(len(base), np.nan), where=changes_sign)
    events = totals(business.by_section[0])["momentary_events"]
    price = drawn(values, "interruption_cost_factor") * price_level(values).index
    each = momentary[0] * price / events if events > 0 else np.nan
    return MomentaryValue(base, slope, turn, float(each),
                          np.array([sustained[0] - sustained, momentary[0] - momentary]))
