"""What summary.json holds of money: "business" of every scenario, and the price level of interruption costs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from reliability.business.cashflow import business_summary
from reliability.business.costs import MOMENTARY_FACTOR, SOCIETY, UTILITY
from reliability.business.revenue_requirement import revenue_summary
from reliability.results import Results
from reliability.study.price_level import price_level

# How a column of customers' interruption costs is called: what they have less of is above 0, what they have more below.
CUSTOMERS_GAIN = "Customers' gain or loss"
# Times the survey value of a momentary event at which society's NPV stands side by side.
MOMENTARY_FACTORS = (0.0, 0.5, 1.0)


def business_cases(results: Results) -> list[dict[str, Any]]:
    """ "business" of each scenario: the case under the study's perspective, and beside its figures "utility" and
    "society", the same under each perspective; "break_even"; and "revenue_requirement".
    """
    own = str(results.study.values["perspective"])
    views = {view: business_summary(business, results.simulated) for view, business in results.perspectives.items()}
    momentary, found = results.momentary_value, []
    for s in range(len(results.expected)):
        at_factors = [{"factor": factor, "npv": momentary.npv(s, factor)} for factor in MOMENTARY_FACTORS]
        found.append(views[own][s] | {
            UTILITY: views[UTILITY][s],
            SOCIETY: views[SOCIETY][s] | {"momentary_values": at_factors,
                                          "interruption_cost_saving_parts": _customers_saving(results, s)},
            "break_even": results.break_even.summary(s) | {MOMENTARY_FACTOR: float(momentary.turn[s])},
            "revenue_requirement": revenue_summary(results.perspectives[UTILITY], s)})
    return found


def price_level_summary(results: Results) -> dict[str, Any]:
    """ "interruption_costs": price years, the index between them, both factors that the study states, and the value of
    one customer's momentary event, the average as built.
    """
    values = results.study.values
    return asdict(price_level(values)) | {
        "factor": values["interruption_cost_factor"], MOMENTARY_FACTOR: values["momentary_cost_factor"],
        "per_momentary_event": results.momentary_value.per_event}


def _customers_saving(results: Results, scenario: int) -> dict[str, float]:
    """Customers' cost saved in the first year by sustained interruptions and by momentary events, in the study's money.

    Together they are society's "interruption_cost_saving".
    """
    values = results.study.values
    price = float(values["interruption_cost_factor"]) * price_level(values).index
    sustained, momentary = results.momentary_value.avoided[:, scenario].tolist()
    return {"sustained": sustained * price, "momentary": momentary * price * float(values["momentary_cost_factor"])}
