"""Widths of a table's columns on paper, from what stands in them: no number and no word is broken where that can be."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reliability.report.type_width import longest_word, text_width

SIZES = (9.0, 8.5, 8.0)                 # of the type in tables, in points; never less
UPRIGHT, TURNED = 496.8, 676.8          # room between the margins, in points: Letter with 0.8 inches on both sides
PADDING = 7.6                           # left and right of a cell's text together, with the rounding of widths
UNBROKEN_IN_WORD = 24                           # letters from which a word may be broken
FEW_TABLE_ROWS = 2                                 # rows of a table that may be printed with its columns as rows
HEAD_LINES = 3                          # lines that a header may take where room is short
MORE_LINES = 1.05                       # a larger type may take so many times the lines

_HYPHEN = re.compile(r"(?<=[a-z]{3})-(?=[a-z]{3})")     # a line breaks behind it


@dataclass(frozen=True)
class TextColumn:
    """A column as text: header and cells; number: whether they stand to the right. Lines break at common spaces only.
    """

    header: str
    texts: Sequence[str]
    number: bool


@dataclass(frozen=True)
class TableLayout:
    """How a table is printed: size of its type and widths of its columns in points, and whether the page is turned."""

    size: float
    widths: tuple[float, ...]
    turned: bool


def arranged(columns: Sequence[TextColumn]) -> tuple[Sequence[TextColumn], TableLayout]:
    """A table as it is printed: one of a row or two that fits on no upright page has its columns as rows."""
    found = layout(columns)
    if not found.turned or not 1 <= len(columns[0].texts) <= FEW_TABLE_ROWS:
        return columns, found
    first, *others = columns
    lying = [TextColumn(first.header, [c.header for c in others], False),
             *(TextColumn(text, [c.texts[row] for c in others], True) for row, text in enumerate(first.texts))]
    return lying, layout(lying)


def layout(columns: Sequence[TextColumn]) -> TableLayout:
    """The largest type at which no word breaks on an upright page, and that takes hardly more lines than a smaller one.

    Else the same on a turned page; where nothing fits there either, the smallest type with columns narrowed alike.
    """
    words, texts = _words(columns), _texts(columns)
    for turned, room in ((False, UPRIGHT), (True, TURNED)):
        fitting = [size for size in SIZES if (words * size + PADDING).sum() <= room]
        if fitting:
            tried = [(size, _widths(words, texts, size, room)) for size in fitting]
            lines = [_lines(texts, size, widths) for size, widths in tried]
            size, widths = next(found for found, needed in zip(tried, lines, strict=True)
                                if needed <= MORE_LINES * min(lines))
            return TableLayout(size, tuple(widths.tolist()), turned)
    least = words * SIZES[-1] + PADDING
    return TableLayout(SIZES[-1], tuple((least * TURNED / least.sum()).tolist()), True)


def _words(columns: Sequence[TextColumn]) -> np.ndarray:
    """(columns,) width of the longest word at a size of 1."""
    return np.array([max(longest_word(_broken(_HYPHEN.sub("- ", c.header)), 1.0, bold=True),
                         *(longest_word(_broken(t), 1.0) for t in {*c.texts, ""})) for c in columns])


def _texts(columns: Sequence[TextColumn]) -> np.ndarray:
    """(1 + rows, columns) width of each text on one line at a size of 1, headers first."""
    return np.array([[text_width(c.header, 1.0, bold=True), *(text_width(t, 1.0) for t in c.texts)]
                     for c in columns]).T


def _widths(words: np.ndarray, texts: np.ndarray, size: float, room: float) -> np.ndarray:
    """Widths in points that fill the room; headers give way before texts do."""
    least = words * size + PADDING
    whole = texts.max(axis=0) * size + PADDING
    if np.maximum(whole, least).sum() > room:
        whole = np.maximum(texts[0] / HEAD_LINES, texts[1:].max(axis=0, initial=0.0)) * size + PADDING
    return _shared(least, whole, room)


def _lines(texts: np.ndarray, size: float, widths: np.ndarray) -> float:
    """Lines of the table, near enough to compare."""
    return float(np.maximum(np.ceil(texts * size / (widths - PADDING)).max(axis=1), 1.0).sum())


def _broken(text: str) -> str:
    """Text with its very long words in pieces."""
    return " ".join(word[i:i + UNBROKEN_IN_WORD] for word in text.split(" ") for i in range(0, max(len(word), 1),
                                                                                            UNBROKEN_IN_WORD))


def _shared(least: np.ndarray, whole: np.ndarray, room: float) -> np.ndarray:
    """Widths that fill the room: what is left beyond the least goes to those who want more, then to all alike."""
    wanted, left = np.maximum(whole - least, 0.0), room - least.sum()
    if wanted.sum() > left:
        return least + _filled(wanted, left)
    return least + wanted + (left - wanted.sum()) / len(whole)


def _filled(wanted: np.ndarray, left: float) -> np.ndarray:
    """Shares of `left` in proportion to the square roots of what is wanted, never more than that.

    Roots, so that one long sentence does not take the room of all others.
    """
    given, open_ = np.zeros(len(wanted)), wanted > 0
    while open_.any() and left > 1e-9:
        share = np.where(open_, np.sqrt(wanted), 0.0)
        offered = given + left * share / share.sum()
        full = open_ & (offered >= wanted)
        if not full.any():
            return offered
        left -= float((wanted - given)[full].sum())
        given, open_ = np.where(full, wanted, given), open_ & ~full
    return given
