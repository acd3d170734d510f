"""What one interruption costs one customer, by class and duration.

The cost is linear between the tabulated durations. Our assumptions where the table states
nothing: the momentary value is the cost at a duration of 0 h, and beyond the longest duration
the cost continues with the last slope.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.nearest import Names
from reliability.schema.problems import Problem, Problems
from reliability.schema.reference_tables import INTERRUPTION_COSTS
from reliability.study.cells import parse_numbers
from reliability.study.decimals import doubtful_signs
from reliability.study.tables import Rows, read_rows

CLASS_COLUMN = "customer_class"
DURATION_COLUMNS = ("momentary", "min_30", "h_1", "h_4", "h_8", "h_16")
DURATIONS_HOURS = (0.0, 0.5, 1.0, 4.0, 8.0, 16.0)
MOST_COST_BYTES = 2**20


@dataclass(frozen=True)
class CostTable:
    """Cost of one interruption to one customer, in the money of the table.

    durations_hours: (k,) ascending from 0. cost: (c, k) by class, in the order of
    `columns.CUSTOMER_CLASSES`; never falling with the duration.
    """

    durations_hours: np.ndarray
    cost: np.ndarray

    @property
    def momentary(self) -> np.ndarray:
        """Cost of one momentary event, (c,)."""
        return self.cost[:, 0]

    @cached_property
    def bends(self) -> np.ndarray:
        """Change of slope at each duration, (c, k): the cost is its value at 0 and a ramp from each bend on."""
        slopes = np.diff(self.cost, axis=1) / np.diff(self.durations_hours)
        return np.diff(np.column_stack([np.zeros(len(self.cost)), slopes, slopes[:, -1]]), axis=1)


@cache
def default_cost_table() -> CostTable:
    """The reference table of interruption costs (schema/reference/README.md gives its source)."""
    return parse_cost_table(INTERRUPTION_COSTS.name, INTERRUPTION_COSTS.read_bytes())


def parse_cost_table(name: str, content: bytes) -> CostTable:
    """A cost table from the bytes of a .csv or .xlsx file called `name`; StudyError with every problem of it."""
    return cost_table_of(read_rows(name, content))


def cost_table_of(rows: Rows) -> CostTable:
    """A cost table from its rows; StudyError with every problem of it."""
    name, problems = rows.file, Problems()
    place = _headers(rows, problems)
    problems.raise_if_any()
    cost = np.full((len(CUSTOMER_CLASSES), len(DURATION_COLUMNS)), np.nan)
    seen: set[str] = set()
    doubtful = doubtful_signs([rows.columns[place[c]] for c in DURATION_COLUMNS], (), rows.decimal_comma)
    for record, number in zip(rows.records[1:], rows.numbers[1:], strict=True):
        customer_class = record[place[CLASS_COLUMN]]
        if customer_class not in CUSTOMER_CLASSES or customer_class in seen:
            rule = "the class is there twice" if customer_class in seen else "unknown customer class"
            remedy = ("keep one row a class" if customer_class in seen else
                      Names(CUSTOMER_CLASSES).suggest(customer_class, f"use {', '.join(CUSTOMER_CLASSES)}"))
            problems.add(Problem(name, rule, remedy, number, CLASS_COLUMN, customer_class))
            continue
        seen.add(customer_class)
        cells = [record[place[c]] for c in DURATION_COLUMNS]
        cost[CUSTOMER_CLASSES.index(customer_class)] = _costs(rows, number, cells, doubtful, problems)
    for missing in (c for c in CUSTOMER_CLASSES if c not in seen):
        problems.add(Problem(name, f"there is no row for {missing}", "add one", None, CLASS_COLUMN))
    problems.raise_if_any()
    return CostTable(np.array(DURATIONS_HOURS), cost)


def _headers(rows: Rows, problems: Problems) -> dict[str, int]:
    """Position of each column of the table in the file."""
    required = (CLASS_COLUMN, *DURATION_COLUMNS)
    place: dict[str, int] = {}
    for at, header in enumerate(rows.headers):
        if header in place:
            problems.add(Problem(rows.file, "the column is there twice", "remove one of the two",
                                 rows.numbers[0], header))
        elif header in required:
            place[header] = at
        elif header:
            remedy = Names(name for name in required if name not in rows.headers).suggest(header, "remove it")
            problems.add(Problem(rows.file, "unknown column", remedy, rows.numbers[0], header))
    for missing in (name for name in required if name not in place):
        problems.add(Problem(rows.file, "the column is missing", f"the table has {', '.join(required)}",
                             rows.numbers[0], missing))
    return place


def _costs(rows: Rows, number: int, cells: list[str], doubtful: str, problems: Problems) -> np.ndarray:
    """Costs of one row, NaN where wrong."""
    costs, unreadable = parse_numbers(cells, rows.decimal_comma, doubtful)
    wrong = {k: "must be a plain number" for k in range(len(cells)) if k in unreadable or not cells[k]}
    wrong |= {int(k): "must not be negative" for k in np.flatnonzero(costs < 0)}
    if not wrong:
        wrong = {int(k) + 1: "a longer interruption may not cost less than a shorter one"
                 for k in np.flatnonzero(np.diff(costs) < 0)}
    for k, rule in wrong.items():
        problems.add(Problem(rows.file, rule, "write the cost of one interruption to one customer", number,
                             DURATION_COLUMNS[k], cells[k]))
    costs[list(wrong)] = np.nan
    return costs
