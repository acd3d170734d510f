"""Evaluates the formulas of a workbook from their text alone, as a spreadsheet does; numbers kept beside them are not
looked at.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy_financial as npf
from openpyxl import Workbook
from openpyxl.formula import Tokenizer
from openpyxl.formula.tokenizer import Token
from openpyxl.utils import range_boundaries


class CellError(Exception):
    """What a spreadsheet shows as an error."""


LEVELS = (("=", "<>", "<", ">", "<=", ">="), ("&",), ("+", "-"), ("*", "/"), ("^",))
Value = float | str | list


@dataclass
class Sheets:
    """The cells of a workbook; `changed` replaces what stands in some, by (sheet, address)."""

    book: Workbook
    changed: dict[tuple[str, str], float | None] = field(default_factory=dict)
    kept: dict[tuple[str, str], Value] = field(default_factory=dict)

    def change(self, name: str, value: float | None) -> Sheets:
        """The workbook with another value in a named cell."""
        sheet, address = self.place(name)
        return Sheets(self.book, {**self.changed, (sheet, address): value})

    def place(self, name: str) -> tuple[str, str]:
        """Sheet and address of a named cell."""
        sheet, _, address = self.book.defined_names[name].value.rpartition("!")
        return sheet.strip("='"), address.replace("$", "")

    def named(self, name: str) -> Value:
        """What a named cell holds."""
        return self.at(*self.place(name))

    def at(self, sheet: str, address: str) -> Value:
        """What a cell holds; 0 for an empty one."""
        if (sheet, address) not in self.kept:
            raw = self.changed.get((sheet, address), self.book[sheet][address].value)
            self.kept[sheet, address] = (self.formula(raw, sheet) if isinstance(raw, str) and raw.startswith("=") else
                                         0.0 if raw is None else raw)
        return self.kept[sheet, address]

    def formula(self, text: str, sheet: str) -> Value:
        """Value of a formula on a sheet."""
        tokens = [t for t in Tokenizer(text).items if t.type != Token.WSPACE]
        reader = _Reader(tokens, self, sheet)
        found = reader.expression(0)()
        assert reader.at == len(tokens), f"not read to its end: {text}"
        return found

    def operand(self, text: str, here: str) -> Value:
        """A cell, a range as a flat list, or a name."""
        sheet, _, area = text.rpartition("!")
        area = area.replace("$", "")
        if not re.fullmatch(r"[A-Z]{1,3}\d+(:[A-Z]{1,3}\d+)?", area):
            return self.formula("=" + self.book.defined_names[text].value.lstrip("="), here)
        sheet = sheet.strip("'") or here
        if ":" not in area:
            return self.at(sheet, area)
        left, top, right, bottom = range_boundaries(area)
        return [self.at(sheet, self.book[sheet].cell(r, c).coordinate)
                for r in range(top, bottom + 1) for c in range(left, right + 1)]


@dataclass
class _Reader:
    """Reads tokens into functions without arguments, so that what is not asked for is not evaluated."""

    tokens: list[Token]
    sheets: Sheets
    sheet: str
    at: int = 0

    def next(self) -> Token | None:
        return self.tokens[self.at] if self.at < len(self.tokens) else None

    def expression(self, level: int) -> Callable[[], Value]:
        if level == len(LEVELS):
            return self.single()
        left = self.expression(level + 1)
        while (token := self.next()) and token.type == Token.OP_IN and token.value in LEVELS[level]:
            self.at += 1
            left = _joined(token.value, left, self.expression(level + 1))
        return left

    def single(self) -> Callable[[], Value]:
        token = self.tokens[self.at]
        self.at += 1
        if token.type == Token.OP_PRE:
            inner, sign = self.single(), -1.0 if token.value == "-" else 1.0
            return lambda: sign * number(inner())
        if token.type == Token.PAREN:
            inner = self.expression(0)
            self.at += 1
            return inner
        if token.type == Token.FUNC:
            return self.function(token.value.rstrip("("))
        if token.subtype == Token.NUMBER:
            return lambda: float(token.value)
        if token.subtype == Token.TEXT:
            return lambda: token.value.strip('"')
        return lambda: self.sheets.operand(token.value, self.sheet)

    def function(self, name: str) -> Callable[[], Value]:
        arguments = []
        while self.tokens[self.at].type != Token.FUNC or self.tokens[self.at].subtype != Token.CLOSE:
            arguments.append(self.expression(0))
            if self.tokens[self.at].type == Token.SEP:
                self.at += 1
        self.at += 1
        if name == "IF":
            return lambda: arguments[1]() if arguments[0]() else arguments[2]()
        if name == "IFERROR":
            return lambda: _or_else(*arguments)
        return lambda: FUNCTIONS[name](*(argument() for argument in arguments))


def number(value: Value) -> float:
    """A number; a text in a sum is an error."""
    if isinstance(value, str | list):
        raise CellError(f"no number: {value!r}")
    return float(value)


def _joined(sign: str, left: Callable[[], Value], right: Callable[[], Value]) -> Callable[[], Value]:
    def value() -> Value:
        a, b = left(), right()
        if sign == "&":
            return f"{a:g}{b}" if isinstance(a, float) else f"{a}{b:g}" if isinstance(b, float) else f"{a}{b}"
        if sign in LEVELS[0]:
            return {"=": a == b, "<>": a != b, "<": a < b, ">": a > b, "<=": a <= b, ">=": a >= b}[sign]
        x, y = number(a), number(b)
        if sign == "/" and y == 0:
            raise CellError("division by nothing")
        return {"+": x + y, "-": x - y, "*": x * y}[sign] if sign in "+-*" else x / y if sign == "/" else x ** y
    return value


def _or_else(first: Callable[[], Value], second: Callable[[], Value]) -> Value:
    try:
        return first()
    except CellError:
        return second()


def _numbers(*arguments: Value) -> list[float]:
    flat = [v for a in arguments for v in (a if isinstance(a, list) else [a])]
    return [float(v) for v in flat if not isinstance(v, str)]


def _irr(flows: list, guess: float = 0.1) -> float:
    found = npf.irr(_numbers(flows))
    if found != found:
        raise CellError("no rate of return")
    return float(found)


def _sumifs(summed: list, *conditions: Value) -> float:
    kept = list(zip(summed, *conditions[::2], strict=True))
    tests = [re.fullmatch(r"(>=|<)(-?[\d.]+)", str(c)).groups() for c in conditions[1::2]]
    return sum(row[0] for row in kept if all(
        v >= float(end) if sign == ">=" else v < float(end) for v, (sign, end) in zip(row[1:], tests, strict=True)))


FUNCTIONS: dict[str, Callable] = {
    "SUM": lambda *a: sum(_numbers(*a)), "MIN": lambda *a: min(_numbers(*a), default=0.0),
    "MAX": lambda *a: max(_numbers(*a), default=0.0), "COUNT": lambda *a: float(len(_numbers(*a))),
    "AND": lambda *a: all(a), "OR": lambda *a: any(a), "INT": lambda x: float(x // 1), "MOD": lambda x, y: x % y,
    "IRR": _irr, "SUMIFS": _sumifs,
    "SUMPRODUCT": lambda a, b: sum(x * y for x, y in zip(_numbers(a), _numbers(b), strict=True)),
}
