"""Text cells into numbers and names, column by column, every cell that is wrong reported."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator

import numpy as np
import pyarrow
from pyarrow import compute

from reliability.formats import exact
from reliability.schema.columns import ColumnRule
from reliability.schema.nearest import Names
from reliability.schema.problems import Problems
from reliability.study.decimals import in_doubt
from reliability.study.headers import TextTable
from reliability.study.spreadsheet_cells import trouble

LARGEST_NUMBER = 1e12  # beyond this no length, count or current is meant; sums stay exact and finite below it
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_UNKNOWNS = frozenset(("n/a", "na", "-", "--", "?", "null", "none", "unknown", "tbd", "."))
_NOT_FINITE = frozenset(("nan", "inf", "infinity", "+inf", "-inf", "-infinity", "+infinity", "-nan"))


def number_column(table: TextTable, column: ColumnRule, problems: Problems) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of one column, shape (records,), NaN where blank or wrong; and where they are wrong."""
    texts = table.cells.get(column.name)
    if texts is None:
        return np.full(len(table), np.nan), np.zeros(len(table), bool)
    numbers, unreadable = parse_numbers(texts, table.decimal_comma, table.doubtful)
    wrong = np.zeros(len(texts), bool)
    wrong[unreadable] = True

    def out_of_bounds(records: Iterable[int], rule: str) -> None:
        problems.each(records, lambda i: table.problem(i, column.name, texts[i], rule, _bound_remedy(column)))

    problems.each(unreadable, lambda i: table.problem(i, column.name, texts[i], *explain(texts[i], column)))
    for broken, rule in _bounds(column, numbers):
        broken &= ~wrong
        wrong |= broken
        out_of_bounds(np.flatnonzero(broken), rule)
    numbers[wrong] = np.nan
    return numbers, wrong


def parse_numbers(texts: list[str], decimal_comma: bool = False, doubtful: str = "") -> tuple[np.ndarray, list[int]]:
    """Floats of plain decimal text, NaN where blank; and the places that hold no finite plain number.

    doubtful: signs that may separate thousands here; a number whose sign may be one of them counts as unreadable.
    """
    if not any(texts):
        return np.full(len(texts), np.nan), []
    if doubtful:
        texts = ["?" if in_doubt(t, doubtful) else t for t in texts]
    if decimal_comma:
        texts = [t.replace(",", ".") if t.count(",") == 1 else t for t in texts]
    numbers = _all_plain(texts)
    if numbers is None:
        numbers = np.array([float(t) if _NUMBER.fullmatch(t) else math.nan for t in texts])
    unreadable = [int(i) for i in np.flatnonzero(~np.isfinite(numbers)) if texts[i]]
    return numbers, unreadable


def _all_plain(texts: list[str]) -> np.ndarray | None:
    """The floats where every cell is blank or a number, finite or not: the usual case, and several times faster."""
    try:
        cells = pyarrow.array(texts, pyarrow.large_string())
        if "" in texts:
            cells = compute.if_else(compute.equal(cells, ""), None, cells)
        return np.array(cells.cast(pyarrow.float64()).to_numpy(zero_copy_only=False))   # a copy, to be written to
    except ValueError:  # also where a cell is no text that can be encoded
        return None


def says_unknown(text: str) -> bool:
    """Whether a cell says in a word that nothing is known, such as N/A."""
    return text.strip().casefold() in _UNKNOWNS


def explain(text: str, column: ColumnRule) -> tuple[str, str]:
    """Rule and remedy for a cell that holds no plain number."""
    unit = f" in {column.unit}" if column.unit and column.unit != "0–1" else ""
    if (lost := trouble(text)) is not None:
        return lost
    bare = text.strip().casefold()
    number = "a number"
    if column.kind == "whole":
        number = f"a whole number{f' from {column.low:g} to {column.high:g}' if column.high else ''}"
    blank = "" if column.required else ", or leave the cell blank where it is not known"
    if bare in _NOT_FINITE or (_NUMBER.fullmatch(bare) and not math.isfinite(float(bare))):
        return "the number is not finite", f"write a finite number{unit}{blank}"
    if says_unknown(bare):
        return "not a number", f"write {number}{unit}{blank}"
    if re.fullmatch(r"[+-]?[\d.,' \u00a0\u202f]+", bare) and any(c.isdigit() for c in bare):
        return ("not a plain number: a comma, point or space in it may separate thousands or be the decimal sign",
                f"write the file's numbers with one decimal sign and nothing between thousands{unit}, like 1234.5")
    if bare.endswith("%"):
        return "not a plain number: it has a per cent sign", "write a share of one, like 0.25 for 25 %"
    if re.match(r"[+-]?[\d.]", bare):
        return "not a plain number: text follows it", f"write the number alone{unit}; the column gives the unit"
    return "not a number", f"write {number}{unit}{blank}"


def _bounds(column: ColumnRule, numbers: np.ndarray) -> Iterator[tuple[np.ndarray, str]]:
    """Each bound that the column has: where it is broken, (records,) bool, and the rule."""
    with np.errstate(invalid="ignore"):
        yield np.abs(numbers) > LARGEST_NUMBER, f"the number is beyond {exact(LARGEST_NUMBER)}"
        if column.low is not None:
            broken = numbers <= column.low if column.above else numbers < column.low
            yield broken, _range_rule(column)
        if column.high is not None:
            yield numbers > column.high, _range_rule(column)
        if column.kind == "whole":
            yield np.isfinite(numbers) & (numbers != np.floor(numbers)), "must be a whole number"


def _range_rule(column: ColumnRule) -> str:
    low, high = ("" if bound is None else exact(bound) for bound in (column.low, column.high))
    if high and column.above:
        return f"must be above {low} and at most {high}"
    if high:
        return f"must lie between {low} and {high}"
    if column.low == 0 and not column.above:
        return "must not be negative"
    return f"must be {'above' if column.above else 'at least'} {low}"


def _bound_remedy(column: ColumnRule) -> str:
    unit = f" ({column.unit})" if column.unit else ""
    return f"correct it: {column.name}{unit}: {column.help}"


def choice_column(table: TextTable, column: ColumnRule, problems: Problems) -> list[str]:
    """One of the column's choices for each record, "" where blank or unknown; case and spacing make no difference."""
    texts = table.cells.get(column.name)
    if texts is None:
        return [""] * len(table)
    known = {text: _choice(text, column.choices) for text in set(texts)}
    unknown = [i for i, text in enumerate(texts) if known[text] is None]
    names = Names(column.choices)
    listed = "write one of " + ", ".join(column.choices) + (", or leave it blank" if not column.required else "")
    problems.each(unknown, lambda i: table.problem(
        i, column.name, texts[i], *(trouble(texts[i]) or (
            f"unknown {column.name}", names.suggest(texts[i], listed)))))
    return [known[text] or "" for text in texts]


def _choice(text: str, choices: tuple[str, ...]) -> str | None:
    folded = re.sub(r"[\s\-]+", "_", text.casefold())
    return folded if folded in choices or not folded else None


def text_column(table: TextTable, name: str) -> list[str]:
    """Text of one column, "" where the file has no such column."""
    texts = table.cells.get(name)
    return list(texts) if texts is not None else [""] * len(table)


def require(table: TextTable, columns: tuple[str, ...], problems: Problems) -> None:
    """Report records that leave a required cell blank; of several columns one filled is enough."""
    lists = [table.cells[name] for name in columns if name in table.cells]
    if not lists or not all("" in cells for cells in lists):
        return
    blank = [i for i, cells in enumerate(zip(*lists, strict=True)) if not any(cells)]
    column = next(name for name in columns if name in table.cells)
    problems.each(blank, lambda i: table.problem(i, column, "", "a value is required here", f"fill in {column}"))
