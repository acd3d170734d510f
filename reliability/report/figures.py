"""A number on its way to a reader: its kind says how it is rounded, in what unit, on page and sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from string import Formatter

import pandas as pd

MINUS, DASH = "−", "–"


@dataclass(frozen=True)
class Kind:
    """How numbers of one kind look: decimals on the page, format on a sheet, `scale` before showing.

    digits: that mean something, in place of decimals; 0 for none asked for.
    """

    decimals: int
    excel: str
    scale: float = 1.0
    suffix: str = ""
    digits: int = 0


KINDS: dict[str, Kind] = {
    "count": Kind(0, "#,##0"),
    "whole": Kind(0, "0"),
    "amount": Kind(1, "#,##0.0"),
    "index": Kind(3, "0.000"),
    "minutes": Kind(1, "#,##0.0"),
    "hours": Kind(2, "0.00"),
    "years": Kind(1, "0.0"),
    "asai": Kind(6, "0.000000"),
    "money": Kind(0, "#,##0"),
    "price": Kind(2, "#,##0.00"),
    "share": Kind(1, "0.0%", 100.0, " %"),
    "share_of_three_digits": Kind(0, "0.000%", 100.0, " %", digits=3),
    "three_digits": Kind(0, "0.000", digits=3),
    "ratio": Kind(2, "0.00"),
    "p": Kind(3, "0.000"),
    "ampere": Kind(0, "#,##0"),
    "any": Kind(2, "General"),
}
TEXT = "text"


def shown(value: object, kind: str, signed: bool = False) -> str:
    """A number as the page shows it: rounded by its kind, a dash where it does not exist.

    What the kind's decimals would round to 0 keeps two digits, so that small is not taken
    for nothing.
    """
    if kind == TEXT:
        return "" if missing(value) else str(value)
    if missing(value) or not math.isfinite(float(value)):
        return DASH
    form = KINDS[kind]
    number = float(value) * form.scale
    decimals = _decimals(abs(number), form.digits) if form.digits else form.decimals
    text = _any(number) if kind == "any" else f"{abs(number):,.{decimals}f}"
    if number and float(text.replace(",", "")) == 0.0:
        text = _two_digits(abs(number))
    sign = MINUS if number < 0 else "+" if signed and number > 0 else ""
    return f"{sign}{text}{form.suffix}"


def _decimals(size: float, digits: int) -> int:
    """Decimals that leave so many digits."""
    return max(digits - 1 - math.floor(math.log10(size)), 0) if size else 0


def missing(value: object) -> bool:
    """None, NaN, NaT or pandas' NA."""
    return value is None or value is pd.NA or value is pd.NaT or value != value


def _any(number: float) -> str:
    """Four digits or so of a number of any size, as people write it."""
    size = abs(number)
    if size == 0 or (size >= 1 and size == round(size)):
        return f"{size:,.0f}"
    if not 1e-4 <= size < 1e7:
        return _two_digits(size)
    text = f"{size:,.{max(3 - math.floor(math.log10(size)), 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _two_digits(size: float) -> str:
    if size >= 1e-6:
        return f"{size:,.{_decimals(size, 2)}f}"
    return f"{size:.1e}"


@dataclass(frozen=True)
class Figure:
    """A number in a sentence or a cell; `path` is its place in summary.json (a JSON Pointer, RFC 6901)."""

    value: float | None
    kind: str = "any"
    path: str = ""
    signed: bool = False

    def __str__(self) -> str:
        return shown(self.value, self.kind, self.signed)


@dataclass(frozen=True)
class Name:
    """A name from the user's files, kept apart from the words around it by quotation marks."""

    text: str

    def __str__(self) -> str:
        return f"“{self.text}”"


Sentence = tuple[str | Figure | Name, ...]


def say(template: str, **parts: object) -> Sentence:
    """A sentence with figures and names put in: `say("{n} laterals", n=Figure(3, "count"))`."""
    result: list[str | Figure | Name] = []
    for words, field, _, _ in Formatter().parse(template):
        if words:
            result.append(words)
        if field is not None:
            part = parts[field]
            result.extend(part if isinstance(part, tuple) else
                          [part if isinstance(part, Figure | Name) else str(part)])
    return tuple(result)


def joined(sentences: list[Sentence], between: str = " ") -> Sentence:
    """Sentences one after another, as one."""
    result: list[str | Figure | Name] = []
    for sentence in sentences:
        result += [between, *sentence] if result else sentence
    return tuple(result)


def plain(sentence: Sentence) -> str:
    """A sentence as text."""
    return "".join(str(part) for part in sentence)


def noun_for(number: float, one: str, many: str = "") -> str:
    """The noun that goes with a number: lateral with 1, laterals with 0 or 2."""
    return one if round(number) == 1 else many or one + "s"


def pointer(*keys: object) -> str:
    """A JSON Pointer (RFC 6901) from keys and indices."""
    return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in keys)


def resolve(document: Mapping, path: str) -> object:
    """What a JSON Pointer points to; None where it points to nothing."""
    here: object = document
    for token in path.split("/")[1:]:
        key = token.replace("~1", "/").replace("~0", "~")
        if isinstance(here, Mapping) and key in here:
            here = here[key]
        elif isinstance(here, list | tuple) and key.isdigit() and int(key) < len(here):
            here = here[int(key)]
        else:
            return None
    return here


def figure(document: Mapping, path: str, kind: str, signed: bool = False) -> Figure:
    """The number of summary.json at a place, with its place."""
    value = resolve(document, path)
    return Figure(None if missing(value) else float(value), kind, path, signed)
