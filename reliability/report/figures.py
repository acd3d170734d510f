"""Sentences with figures and names in them, each figure with its place in summary.json."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Any

from reliability.formats import missing, spoken

NO_BREAK = "\u00a0"
_BEHIND_A_NUMBER = re.compile(r"(?<=\d) ")
_UNIT = re.compile(r"^ (?=(?:min|h|years?|%|[A-Z]{3})\b)")       # what follows a number at once and belongs to it


@dataclass(frozen=True)
class Figure:
    """A number in a sentence or a cell; `path` is its place in summary.json (a JSON Pointer, RFC 6901)."""

    value: float | None
    kind: str = "any"
    path: str = ""
    signed: bool = False

    def __str__(self) -> str:
        return spoken(self.value, self.kind, self.signed)


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


def unbroken(sentence: Sentence) -> tuple[str | Figure | Name, ...]:
    """The sentence with a space at which no line breaks between a figure and its unit; see `in_one_piece`."""
    parts: list[str | Figure | Name] = []
    for part in sentence:
        if isinstance(part, str) and parts and isinstance(parts[-1], Figure):
            part = NO_BREAK if part == " " else _UNIT.sub(NO_BREAK, part)
        parts.append(part)
    return tuple(parts)


def unbroken_text(sentence: Sentence) -> str:
    """A sentence as text in which no line breaks between a number and its unit."""
    return "".join(in_one_piece(part) if isinstance(part, Figure) else str(part) for part in unbroken(sentence))


def in_one_piece(figure: Figure | str) -> str:
    """A figure as text in which no line breaks behind a number: "1.17 M", "29.0 %"; between words it may."""
    return _BEHIND_A_NUMBER.sub(NO_BREAK, str(figure))


def pointer(*keys: object) -> str:
    """A JSON Pointer (RFC 6901) from keys and indices."""
    return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in keys)


def resolve(document: Mapping[str, Any], path: str) -> Any:
    """What a JSON Pointer points to; None where it points to nothing."""
    here: Any = document
    for token in path.split("/")[1:]:
        key = token.replace("~1", "/").replace("~0", "~")
        if isinstance(here, Mapping) and key in here:
            here = here[key]
        elif isinstance(here, list | tuple) and key.isdigit() and int(key) < len(here):
            here = here[int(key)]
        else:
            return None
    return here


def figure(document: Mapping[str, Any], path: str, kind: str, signed: bool = False) -> Figure:
    """The number of summary.json at a place, with its place."""
    value = resolve(document, path)
    return Figure(None if missing(value) else float(value), kind, path, signed)
