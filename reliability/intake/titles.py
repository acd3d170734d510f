"""Where the headers of an export begin: below titles, dates and headings of groups of columns."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from reliability.xlsx.process import MERGED

FIRST_ROWS = 20     # so many rows may stand above the headers
MOSTLY = 2 / 3      # the headers are the first row that fills so much of what the fullest of them fills (our choice)
_SEPARATORS = ",;\t"
_NUMBER = re.compile(r"[\d.,:/+\- ]*\d[\d.,:/+\- ]*")


def header_row(rows: Sequence[Sequence[str]]) -> int:
    """Position of the headers among the first rows of a table, the blank ones included.

    A row of one cell above one of several is a title. One of several cells is a heading of groups where a much fuller
    row below it holds distinct words alone; else it holds the headers, and some columns have none.
    """
    rows = [[cell for cell in row if cell != MERGED] for row in rows[:FIRST_ROWS]]
    filled = [sum(map(bool, row)) for row in rows]
    most = max(filled, default=0)
    first = next((k for k, n in enumerate(filled) if n > 1), next((k for k, n in enumerate(filled) if n), 0))
    fullest = next((k for k, n in enumerate(filled) if n and n >= MOSTLY * most), first)
    cells = [cell for cell in rows[fullest] if cell] if rows else []
    words = len(set(cells)) == len(cells) and not any(_NUMBER.fullmatch(cell) for cell in cells)
    return fullest if words else first


def text_lines(text: str) -> list[str]:
    """Lines as a reader of separated cells counts them, with their ends; other signs that may end a line do not."""
    return list(io.StringIO(text, newline=""))


def text_header_line(text: str) -> int:
    """How many lines of a text of separated cells stand above its headers."""
    head = text[:65536]
    lines = text_lines(head)[:FIRST_ROWS]
    separator = max(_SEPARATORS, key=lambda s: max((line.count(s) for line in lines), default=0))
    reader = csv.reader(io.StringIO(head, newline=""), delimiter=separator)
    rows: list[list[str]] = []
    begins: list[int] = []
    try:
        while len(rows) < FIRST_ROWS:
            begins.append(reader.line_num)
            rows.append([cell.strip() for cell in next(reader)])
    except (StopIteration, csv.Error):      # what is wrong is said where the whole text is read
        pass
    return begins[header_row(rows)] if rows else 0


def title_notes(name: str, rows: Sequence[Sequence[str]], at: int) -> tuple[str, ...]:
    """A note on the rows above the headers at `at`, none where all are blank."""
    above = [" ".join(cell for cell in row if cell and cell != MERGED) for row in rows[:at] if any(row)]
    return (f"{name}: above the headers, not used: {'; '.join(above)}.",) if above else ()
