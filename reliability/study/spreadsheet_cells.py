"""Cells that a spreadsheet has lost or changed: errors, formulas without a value, merged cells, ids made numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from functools import partial

from reliability.schema.problems import Problem, Problems
from reliability.xlsx.notable import NO_VALUE
from reliability.xlsx.process import FLAG_CELL, MERGED, NUMBER_CELL, SHOWN_OTHERWISE, TIME_CELL

# Errors of spreadsheets, as cells show them and as they are saved to CSV; from memory.
_ERRORS = frozenset((
    "#n/a", "#ref!", "#value!", "#div/0!", "#name?", "#null!", "#num!", "#spill!", "#calc!", "#getting_data", "#field!",
    "#blocked!", "#connect!", "#busy!", "#unknown!", "#external!", "#python!", "#nv", "#n/d", "#n/b", "#i/t"))
# Err:502; those in capitals of other languages or yet to come, such as #BEZUG! and #¡REF!; a cell too narrow to show
_OTHER_ERROR = re.compile(r"(?i:err:\s?\d{3})|#[¡¿]?[A-ZÀ-ÖØ-Þ/]{2,14}0?[!?]|#{3,}")
_SHORTENED = re.compile(r"\d(?:[.,]\d+)?E\+\d\d+")     # as a spreadsheet shows a long number in a narrow cell
_ID_RULES = {
    NUMBER_CELL: "held as a number with decimals or of more than fifteen digits: a zero at its end or its last "
                 "digits may be lost",
    SHOWN_OTHERWISE: "a number that its format shows otherwise than it is stored",
    FLAG_CELL: "held as true or false, not as text",
}
_DAY = "held as a day or time: a spreadsheet makes the 12th of March of 3-12"
_REMEDY = "format the column as text and write the cell again as it should read"


def trouble(text: str) -> tuple[str, str] | None:
    """Rule and remedy for a cell that holds what a spreadsheet writes in place of a value; None for any other."""
    if not text or text[0] not in "#Ee":
        return None
    if text.casefold() in _ERRORS or _OTHER_ERROR.fullmatch(text):
        return "an error of a spreadsheet, not a value", "correct its formula, or clear the cell where nothing is known"
    if text == NO_VALUE:
        return ("a formula whose value is not in the file",
                "open the workbook in a spreadsheet, let it calculate, and save it")
    if text == MERGED:
        return "covered by merged cells, which hold one value for all of them", "unmerge the cells and fill in each"
    return None


def report_troubles(cells: Sequence[str], problem: Callable[[int, str, str], Problem], problems: Problems) -> None:
    """Note each cell with a trouble. problem: of a cell's position, rule and remedy."""
    troubles = {text: what for text in set(cells) if (what := trouble(text)) is not None}
    if troubles:
        _report(((k, troubles[text]) for k, text in enumerate(cells) if text in troubles), problem, problems)


def report_ids(name: str, texts: Iterable[str], kinds: Iterable[str], problem: Callable[[int, str, str], Problem],
               problems: Problems) -> None:
    """Note cells of a text column that a spreadsheet holds as something else, so that ids may have lost digits.

    name: of the column under our names. texts: (records,). kinds: (records,) letters of `xlsx.process`, or none.
    problem: see `report_troubles`.
    """
    rules = {TIME_CELL: _DAY} | (_ID_RULES if name.endswith("_id") else {})
    found = [(k, (rules[kind], _REMEDY)) for k, kind in enumerate(kinds) if kind in rules]
    if name.endswith("_id"):
        found += [(k, ("shortened by a spreadsheet to a power of ten", _REMEDY))
                  for k, text in enumerate(texts) if "E+" in text and _SHORTENED.fullmatch(text)]
    _report(found, problem, problems)


def _report(found: Iterable[tuple[int, tuple[str, str]]], problem: Callable[[int, str, str], Problem],
            problems: Problems) -> None:
    """Note what was found in cells, a rule at a time."""
    by_rule: dict[tuple[str, str], list[int]] = {}
    for k, what in found:
        by_rule.setdefault(what, []).append(k)
    for (rule, remedy), records in by_rule.items():
        problems.each(records, partial(_problem, problem, rule, remedy))


def _problem(problem: Callable[[int, str, str], Problem], rule: str, remedy: str, k: int) -> Problem:
    return problem(k, rule, remedy)
