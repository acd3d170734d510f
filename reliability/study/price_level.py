"""The price level of the interruption cost table, and its escalation to the prices of the study."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache

from reliability.schema.reference_tables import CONSUMER_PRICES
from reliability.schema.values import TrialValues

DEFAULT_TABLE_YEAR = 2013       # of the reference table; schema/reference/README.md


@dataclass(frozen=True)
class PriceLevel:
    """Price years of the interruption cost table and of the study, None where not known.

    escalated_to: the year to which the costs are escalated, which is the last of the index where the study's is later;
    None where nothing is. index: the factor that does it, 1 where nothing does.
    """

    default_table: bool
    table_year: int | None
    study_year: int | None
    escalated_to: int | None
    index: float


def price_level(values: TrialValues) -> PriceLevel:
    """Price level that the values of a study give its interruption costs.

    Where the study does not state the year of its prices, or a table of its own that of the table, nothing is
    escalated: no year is assumed. Years beyond the ends of the index count as its first and last.
    """
    own = values["interruption_costs"] is not None
    stated, study = _year(values, "interruption_cost_year"), _year(values, "price_year")
    table = stated if stated is not None or own else DEFAULT_TABLE_YEAR
    if table is None or study is None:
        return PriceLevel(not own, table, study, None, 1.0)
    prices = consumer_prices()
    last = max(prices)
    from_year, to_year = min(table, last), min(study, last)
    return PriceLevel(not own, table, study, to_year, prices[to_year] / prices[from_year])


def _year(values: TrialValues, key: str) -> int | None:
    value = values[key]
    return value if isinstance(value, int) else None


@cache
def consumer_prices() -> dict[int, float]:
    """Consumer prices by year, ascending (schema/reference/README.md gives their source)."""
    with CONSUMER_PRICES.open(encoding="utf-8", newline="") as file:
        return {int(row["year"]): float(row["index"]) for row in csv.DictReader(file)}
