"""Headers of a user's table matched to our column names."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from reliability.study.columns import Column
from reliability.study.decimals import doubtful_signs
from reliability.study.nearest import Names
from reliability.study.problems import Problem, Problems
from reliability.study.tables import Rows


@dataclass(frozen=True)
class ColumnMap:
    """`[columns.…]` of study.toml: our name → the user's header, and headers to leave aside."""

    names: Mapping[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """A table of text under our column names.

    cells: column → text of each record, "" where blank; only columns that the file has.
    rows: spreadsheet row of each record. headers: our name → the header in the file.
    missing: required columns that the file does not have.
    decimal_comma: a comma in a number is its decimal sign. doubtful: signs that may part thousands.
    """

    file: str
    cells: Mapping[str, list[str]]
    rows: list[int]
    headers: Mapping[str, str]
    missing: frozenset[str] = frozenset()
    decimal_comma: bool = False
    doubtful: str = ""
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.rows)

    def problem(self, record: int, column: str, value: str | None, rule: str, remedy: str) -> Problem:
        """A problem at one record, placed in the user's file under the user's header."""
        return Problem(self.file, rule, remedy, self.rows[record], self.headers.get(column, column), value)


def twin(name: str) -> str | None:
    """The same column in the other unit of length."""
    for here, there in (("_km", "_mi"), ("_mi", "_km")):
        if name.endswith(here):
            return name.removesuffix(here) + there
    return None


def match_headers(rows: Rows, columns: tuple[Column, ...], table: str, mapped: ColumnMap, problems: Problems) -> Table:
    """Text columns under our names.

    Spaces around, case, and spaces or hyphens for underscores make no difference to a header.
    Reported: unknown, missing and repeated columns, mapped headers that are not there,
    records with more cells than there are headers.
    """
    heads, first = rows.heads, rows.numbers[0]
    known = [c.name for c in columns]
    where = _positions(rows, problems)
    place: dict[str, int] = {}
    taken = {_fold(h) for h in mapped.ignore}

    for name, header in mapped.names.items():
        at = where.get(_fold(header))
        if at is None:
            problems.add(Problem(rows.file, f"the header mapped to {name} in [columns.{table}] is not in the file",
                                 Names(h for h in heads if h).suggest(header, "write a header of the file there"),
                                 first, header))
        else:
            place[name] = at
            taken.add(_fold(header))
    for fold, at in where.items():
        if fold in taken:
            continue
        if fold not in known:
            _unknown(rows.file, first, heads[at], known, place, table, problems)
        elif fold in place:
            problems.add(_twice(rows.file, first, heads[at], heads[place[fold]]))
        else:
            place[fold] = at

    missing = frozenset(c.name for c in columns if c.required and c.name not in place and twin(c.name) not in place)
    unmatched = Names(heads[at] for fold, at in where.items() if at not in place.values() and fold not in taken)
    for name in (c.name for c in columns if c.name in missing):
        other = f" or {twin(name)}" if twin(name) else ""
        remedy = unmatched.suggest(name, f"add it, or map your header to it under [columns.{table}] in study.toml")
        if remedy.startswith("did you"):
            remedy += f" Rename that header to {name}, or map it under [columns.{table}] in study.toml"
        if name not in mapped.names:
            problems.add(Problem(rows.file, f"the required column {name}{other} is missing", remedy, first, name))
    _ragged(rows, problems)
    cells = {name: rows.columns[at] for name, at in place.items()}
    headers = {name: heads[at] for name, at in place.items()}
    numbers = [cells[c.name] for c in columns if c.name in cells and c.kind in ("number", "whole")]
    whole = [cells[c.name] for c in columns if c.name in cells and c.kind == "whole"]
    notes = rows.notes
    if rows.decimal_comma and any("," in text for of in numbers for text in of):
        notes += (f"{rows.file}: cells are parted by semicolons; a comma in a number was read as its decimal sign.",)
    return Table(rows.file, cells, rows.numbers[1:], headers, missing, rows.decimal_comma,
                 doubtful_signs(numbers, whole, rows.decimal_comma), notes)


def _positions(rows: Rows, problems: Problems) -> dict[str, int]:
    """Folded header → position; repeated headers and cells below a blank one are reported."""
    heads, first = rows.heads, rows.numbers[0]
    where: dict[str, int] = {}
    for at, head in enumerate(heads):
        fold = _fold(head)
        if not fold:
            record, cell = next(((k, c) for k, c in enumerate(rows.columns[at]) if c), (None, ""))
            if record is not None:
                problems.add(Problem(rows.file, f"column {at + 1} has cells but no header", "give it a header",
                                     rows.numbers[record + 1], None, cell))
        elif fold in where:
            problems.add(_twice(rows.file, first, head, heads[where[fold]]))
        else:
            where[fold] = at
    return where


def _twice(file: str, row: int, head: str, other: str) -> Problem:
    named = "" if head == other else f", also as '{other}'"
    return Problem(file, f"the column is there twice{named}", "remove or rename one of the two", row, head)


def _unknown(file: str, row: int, head: str, known: list[str], place: Mapping[str, int], table: str,
             problems: Problems) -> None:
    remedy = Names(n for n in known if n not in place).suggest(head, "remove it")
    problems.add(Problem(file, "unknown column",
                         f"{remedy} Or list it in ignore = […] under [columns.{table}] in study.toml"
                         if remedy.endswith("?") else
                         f"{remedy}, or list it in ignore = […] under [columns.{table}] in study.toml", row, head))


def _ragged(rows: Rows, problems: Problems) -> None:
    problems.each(range(len(rows.too_long)), lambda k: Problem(
        rows.file, f"more cells than the {len(rows.heads)} headers",
        "put a cell that holds the separator into quotation marks", rows.numbers[rows.too_long[k][0] + 1], None,
        rows.too_long[k][1]))


def _fold(header: str) -> str:
    return re.sub(r"[\s\-]+", "_", header.strip().casefold())
