"""What scenarios install and avoid, before any price: what the workbook's live sheets begin with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from reliability.business.cashflow import Capital
from reliability.business.costs import INTERRUPTION, totals
from reliability.results import Results


@dataclass(frozen=True)
class Quantities:
    """What a scenario installs, and what it avoids in a year, expected.

    capital: units and settings. avoided: less than "As built" by name of `costs.AMOUNTS`, customers' costs left out.
    sustained_cost, momentary_cost: customers' cost avoided of sustained interruptions, and of momentary events at a
    factor of 1, in the money of the cost table.
    """

    capital: Capital
    avoided: Mapping[str, float]
    sustained_cost: float
    momentary_cost: float


def quantities(results: Results) -> list[Quantities]:
    """The quantities of each scenario, "As built" first."""
    amounts = [totals(by_section) for by_section in results.business.by_section]
    sustained, momentary = results.momentary_value.avoided.tolist()
    return [Quantities(capital, {name: before - own[name] for name, before in amounts[0].items()
                                 if name != INTERRUPTION}, sustained[s], momentary[s])
            for s, (capital, own) in enumerate(zip(results.business.capital, amounts, strict=True))]
