"""Numbers with separated thousands: read where a column, or its table, leaves one reading; else asked for once a table.

A space or an apostrophe between groups of three is no decimal sign anywhere. That a point is the decimal sign is shown
by 0.35, 1,234.5 or 1,234,567, and in a column of whole numbers by 5,399, which is none with a decimal comma; that a
comma is, by the same the other way round. What one column shows holds for the others of its table where they show
nothing, but a point separates thousands only in a column that shows it itself.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from reliability.study.decimals import doubtful_signs, in_doubt

POINT, COMMA = SIGNS = ".", ","
_OTHER = {POINT: COMMA, COMMA: POINT}
_SPACES = " \u00a0\u2009\u202f'\u2019"
_SPACED = re.compile(rf"[+-]?\d{{1,3}}(?:[{_SPACES}]\d{{3}})+(?:[.,]\d+)?")
_ONE_GROUP = {s: re.compile(rf"[+-]?[1-9]\d{{0,2}}{re.escape(s)}\d{{3}}") for s in SIGNS}
_GROUPED = {s: re.compile(rf"[+-]?[1-9]\d{{0,2}}(?:{re.escape(s)}\d{{3}})+(?:{re.escape(_OTHER[s])}\d*)?")
            for s in SIGNS}
_DECIMAL = {s: re.compile(rf"[+-]?\d*{re.escape(s)}\d*") for s in SIGNS}


@dataclass(frozen=True)
class PlainNumbers:
    """Columns of numbers as text without separated thousands.

    texts: column → cells; those of `settled` have a decimal point. read: column → a cell that was read otherwise than
    it stands, and as what. doubtful: see `decimals`, of the other columns. open: column → a cell with two readings, for
    which the decimal sign is asked; its like are blank in texts.
    """

    texts: dict[str, list[str]]
    settled: frozenset[str]
    read: dict[str, tuple[str, str]]
    doubtful: str
    open: dict[str, str]


def plain_numbers(texts: Mapping[str, list[str]], whole: Collection[str], decimal_comma: bool, stated: str
                  ) -> PlainNumbers:
    """Take separated thousands out of columns of numbers.

    whole: columns of whole numbers that may hold thousands. decimal_comma: the table is separated by semicolons, so
    that a comma is its decimal sign. stated: the decimal sign by the recipe, "" where it says nothing.
    """
    signs = {name: set("".join(column)) for name, column in texts.items()}
    cells = {name: list(map(_unspaced, column)) if signs[name] & set(_SPACES) else column
             for name, column in texts.items()}
    doubtful = doubtful_signs(list(cells.values()), [cells[n] for n in whole], decimal_comma)
    odd = {name for name, column in cells.items() if (not decimal_comma and COMMA in signs[name]) or (
        doubtful and any(in_doubt(t, doubtful) for t in column))}
    if not odd and not stated:
        return PlainNumbers(cells, frozenset(), _changed(texts, cells), "", {})
    shown = {name: _shown(set(column), name in whole) for name, column in cells.items()}
    every = set().union(*shown.values())
    settled: set[str] = set()
    open_: dict[str, str] = {}
    for name in texts if stated else odd:
        sign = stated or _sign(shown[name], every, any(_ONE_GROUP[POINT].fullmatch(t) for t in cells[name]))
        if sign:
            cells[name] = [_plain(t, sign) for t in cells[name]]
            settled.add(name)
        elif len(shown[name]) < 2:
            doubt = [t for t in cells[name] if any(_ONE_GROUP[s].fullmatch(t) for s in SIGNS)]
            if doubt:
                open_[name] = doubt[0]
                cells[name] = ["" if any(_ONE_GROUP[s].fullmatch(t) for s in SIGNS) else t for t in cells[name]]
    return PlainNumbers(cells, frozenset(settled), _changed(texts, cells, open_), doubtful, open_)


def _unspaced(text: str) -> str:
    return re.sub(f"[{_SPACES}]", "", text) if _SPACED.fullmatch(text) else text


def _shown(cells: Collection[str], whole: bool) -> set[str]:
    """Signs that the cells of a column show to be its decimal sign."""
    signs = set()
    for s in SIGNS:
        grouped = [t for t in cells if s in t and _GROUPED[s].fullmatch(t)]
        if any(not _ONE_GROUP[s].fullmatch(t) or (whole and not t.endswith("000")) for t in grouped):
            signs.add(_OTHER[s])
        if any(s in t and _DECIMAL[s].fullmatch(t) and not _ONE_GROUP[s].fullmatch(t) for t in cells):
            signs.add(s)
    return signs


def _sign(own: Collection[str], every: Collection[str], points: bool) -> str:
    """The decimal sign of a column, "" where there are two readings. own: what it shows; every: what its table shows;
    points: whether it has points that may separate thousands."""
    signs = own or every
    if len(signs) != 1:
        return ""
    sign = next(iter(signs))
    return "" if sign == COMMA and points and not own else sign


def _plain(text: str, sign: str) -> str:
    """A number with a decimal point and nothing between thousands; other texts as they are."""
    other = _OTHER[sign]
    if other in text and _GROUPED[other].fullmatch(text):
        text = text.replace(other, "")
    return text.replace(COMMA, POINT) if sign == COMMA and text.count(COMMA) == 1 else text


def _changed(before: Mapping[str, list[str]], after: Mapping[str, list[str]], but: Collection[str] = ()
             ) -> dict[str, tuple[str, str]]:
    """Of each column the first cell that was read otherwise than it stands, and as what."""
    found = {}
    for name, column in before.items():
        if column is not after[name] and name not in but:
            pair = next(((a, b) for a, b in zip(column, after[name], strict=True) if a != b), None)
            if pair is not None:
                found[name] = pair
    return found
