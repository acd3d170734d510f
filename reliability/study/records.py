"""Records of a table with typed columns, each still knowing its place in the user's file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from reliability.schema.columns import CUSTOMER_CLASSES, KM_PER_MILE, ColumnRule
from reliability.schema.problems import Problem, Problems
from reliability.schema.total_words import is_total, may_hold_totals
from reliability.study.cells import choice_column, number_column, require, text_column
from reliability.study.header_names import in_both_units
from reliability.study.headers import TextTable

ROUNDED = 0.005         # of a sum, so far off it a row of totals may be; our choice
CLASSES = tuple(f"customers_{c}" for c in CUSTOMER_CLASSES)


@dataclass
class TypedColumns:
    """Typed columns of one or two tables, one after the other.

    columns: name → array of shape (records,); text as object, numbers as float with NaN where blank or wrong.
    wrong: name → where a cell could not be read, bool of the same shape.
    tables: the tables, in the order of their records. names: for each table our name → its column there,
        where the two differ.
    """

    columns: dict[str, np.ndarray]
    wrong: dict[str, np.ndarray]
    tables: tuple[TextTable, ...]
    names: tuple[Mapping[str, str], ...] = field(default=({},))

    def __len__(self) -> int:
        return sum(map(len, self.tables))

    def place(self, record: int) -> tuple[TextTable, int, Mapping[str, str]]:
        """Table of a record, its place there, and the names of that table's columns."""
        for table, names in zip(self.tables, self.names, strict=True):
            if record < len(table):
                return table, record, names
            record -= len(table)
        raise IndexError(record)

    def where(self, record: int, beside: int) -> str:
        """Where a record stands, for somebody who looks at the record `beside`: the file is named where it differs."""
        table, at, _ = self.place(record)
        row = f"row {table.rows[at]}"
        return row if table is self.place(beside)[0] else f"{row} of {table.file}"

    def problem(self, record: int, column: str, value: object, rule: str, remedy: str) -> Problem:
        """A problem of one cell, placed in the user's file; a value of None is taken from the cell."""
        table, at, names = self.place(record)
        name = names.get(column, column)
        if value is None:
            name = next((n for n in in_both_units(name) if n in table.cells), name)
            value = table.cells[name][at] if name in table.cells else ""
        return table.problem(at, name, str(value), rule, remedy)

    def unsure(self, *columns: str) -> np.ndarray:
        """Where a cell of any of `columns` was wrong, so that rules over several of them say nothing."""
        return np.logical_or.reduce([self.wrong[c] for c in columns])


def type_table(table: TextTable, columns: tuple[ColumnRule, ...], problems: Problems) -> TypedColumns:
    """Columns of a table under their types; lengths in miles and rates per mile are converted to kilometres.

    Reported: a cell that cannot be read, a required one that is blank, a length or rate given in both
    units, customers by class that do not sum to customers, more customers on three phases than customers.
    """
    typed: dict[str, np.ndarray] = {}
    wrong: dict[str, np.ndarray] = {}
    by_name = {c.name: c for c in columns}
    for column in columns:
        if column.kind in ("number", "whole"):
            typed[column.name], wrong[column.name] = number_column(table, column, problems)
        else:
            texts = choice_column(table, column, problems) if column.choices else text_column(table, column.name)
            typed[column.name] = np.array(texts, object)
            stated = np.array(text_column(table, column.name), object) != ""
            wrong[column.name] = stated & (typed[column.name] == "")
        if column.required and column.name not in ("parent_id",):
            require(table, tuple(n for n in in_both_units(column.name) if n in by_name), problems)
    for name in [n for n in by_name if n.endswith("_km") and by_name.keys() >= set(in_both_units(n))]:
        _one_unit(table, name, typed, wrong, problems)
    records = TypedColumns(typed, wrong, (table,))
    _report_totals(records, columns[0].name, problems)
    _fill_classes(records, problems)
    _report_three_phase(records, problems)
    return records


def _one_unit(table: TextTable, name: str, typed: dict[str, np.ndarray], wrong: dict[str, np.ndarray],
              problems: Problems) -> None:
    """Kilometres and miles into one column, per kilometre where the quantity is a rate."""
    _, miles = in_both_units(name)
    per_mile = typed.pop(miles)
    wrong[name] = wrong[name] | wrong.pop(miles)
    if name in table.cells and miles in table.cells:
        both = [i for i, (a, b) in enumerate(zip(table.cells[name], table.cells[miles], strict=True)) if a and b]
        problems.each(both, lambda i: table.problem(
            i, miles, table.cells[miles][i], f"{name} and {miles} are both given", "leave one of the two blank"))
    per_km = per_mile / KM_PER_MILE if "_per_" in name else per_mile * KM_PER_MILE
    typed[name] = np.where(np.isnan(typed[name]), per_km, typed[name])


def _report_totals(records: TypedColumns, named: str, problems: Problems) -> None:
    """Rows called a total whose customers or lengths are the sum of the rows before them, since another such row.

    named: the column of the rows' names. What else such a row lacks is not reported.
    """
    names, begins, counted = records.columns[named].tolist(), 0, np.ones(len(records), bool)
    if not may_hold_totals(" ".join(names)):
        return
    for i in [i for i, name in enumerate(names) if is_total(name)]:
        for column in ("customers", "length_km", "main_length_km"):
            amounts = np.nan_to_num(records.columns.get(column, np.zeros(len(records))))
            sums = amounts[begins:i].sum(), amounts[:i][counted[:i]].sum()
            if amounts[i] > 0.0 and np.isclose(amounts[i], sums, rtol=ROUNDED).any():
                problems.add(records.problem(
                    i, named, names[i], f"a row of totals: its {column} are the sum of those above",
                    "delete the row; totals are computed"))
                for lacking in ("customers", *CLASSES):
                    records.columns[lacking][i], records.wrong[lacking][i] = np.nan, True
                records.wrong["device"][i], counted[i] = True, False
                break
        begins = i + 1


def _fill_classes(records: TypedColumns, problems: Problems) -> None:
    """Customers by class: all residential where no class is given, else blanks are 0 and the sum must fit."""
    customers = records.columns["customers"]
    classes = np.stack([records.columns[c] for c in CLASSES])
    given = ~np.isnan(classes).all(axis=0)
    total = np.nansum(classes, axis=0)
    broken = given & (total != customers) & ~np.isnan(customers) & ~records.unsure("customers", *CLASSES)
    problems.each(np.flatnonzero(broken), lambda i: records.problem(
        i, "customers", None, f"the customers by class sum to {total[i]:g}, not to customers",
        "correct customers or its classes"))
    filled = np.nan_to_num(classes)
    filled[0] = np.where(given, filled[0], np.nan_to_num(customers))
    for name, numbers in zip(CLASSES, filled, strict=True):
        records.columns[name] = numbers


def _report_three_phase(records: TypedColumns, problems: Problems) -> None:
    if "customers_three_phase" not in records.columns:
        return
    customers, own = records.columns["customers"], records.columns["customers_three_phase"]
    broken = (own > customers) & ~records.unsure("customers", "customers_three_phase")
    problems.each(np.flatnonzero(broken), lambda i: records.problem(
        i, "customers_three_phase", None,
        f"more than the customers of the section ({customers[i]:g}), of whom they are", "correct one of the two"))
