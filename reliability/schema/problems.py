"""Problems of a study, collected and reported together."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from reliability.formats import SPACE, count

PROBLEMS_SHOWN = 100
GEOMETRY = ".geojson"   # ending of a file whose records are features
_BLANKS = re.compile(rf"[^\S{SPACE}]+")     # the space between thousands stays


@dataclass(frozen=True)
class Problem:
    """One fault in what the user brought.

    `row` counts as a spreadsheet does, the header being row 1 (in study.toml: the line; in a
    file of geometry: the feature); None where no row is meant. `column` is the header in the user's file, or the key.
    """

    file: str
    rule: str
    remedy: str
    row: int | None = None
    column: str | None = None
    value: str | None = None

    def __str__(self) -> str:
        record = "feature" if self.file.endswith(GEOMETRY) else "row"
        place = [f"{record} {self.row}"] if self.row is not None else []
        place += [f"column {shorten(self.column)}"] if self.column else []
        parts = [f"{self.file}: {', '.join(place)}" if place else self.file]
        if self.value is not None:
            parts.append(f"'{shorten(self.value)}'")
        return ": ".join(parts) + f": {_printable(self.rule)}; {_printable(self.remedy)}"


class StudyError(Exception):
    """Raised with all problems of a study together.

    problems: those listed, in the order of files and rows.
    count: their total number; above len(problems) where one mistake fills a long column.
    """

    def __init__(self, problems: Iterable[Problem], hidden: int = 0):
        self.problems = list(problems)
        self.count = len(self.problems) + hidden
        super().__init__(self.problems, hidden)

    def __str__(self) -> str:
        return "\n  ".join([f"{count(self.count, 'problem')}:", *self.lines()])

    def __repr__(self) -> str:
        return f"{type(self).__name__}: {self}"

    def lines(self) -> list[str]:
        """One line a problem: the first hundred, then the total number."""
        lines = [str(p) for p in self.problems[:PROBLEMS_SHOWN]]
        if self.count > len(lines):
            lines.append(f"… the first {len(lines)} of {self.count} problems")
        return lines


class Problems:
    """Collects problems. Of one rule broken in many rows it keeps the first `PROBLEMS_SHOWN` and counts the rest,
    so that a column of 200 000 wrong cells costs no more memory than one of a hundred.
    """

    def __init__(self) -> None:
        self.listed: list[Problem] = []
        self.hidden = 0

    def __len__(self) -> int:
        return len(self.listed) + self.hidden

    def add(self, *problems: Problem) -> None:
        """Add one or a few problems."""
        self.listed.extend(problems)

    def each(self, records: Iterable[int], problem: Callable[[int], Problem]) -> None:
        """Add one rule broken by each of `records`; `problem` is called only for those that are kept."""
        records = list(records)
        self.listed.extend(problem(int(i)) for i in records[:PROBLEMS_SHOWN])
        self.hidden += max(len(records) - PROBLEMS_SHOWN, 0)

    def take(self, error: StudyError) -> None:
        """Add all problems of an error."""
        self.listed.extend(error.problems)
        self.hidden += error.count - len(error.problems)

    def raise_if_any(self, files: Iterable[str] = ()) -> None:
        """Raise StudyError with all problems, in the order of `files`, then of rows."""
        if not self.listed:
            return
        place = {name: k for k, name in enumerate(files)}
        self.listed.sort(key=lambda p: (place.get(p.file, len(place)), p.row or 0))
        raise StudyError(self.listed, self.hidden)


def or_less(most: int) -> str:
    """The whole numbers from 0 up to `most`, as a remedy states them."""
    return f"{most} or less" if most > 0 else "0"


def shorten(text: str, most: int = 80) -> str:
    """`text` on one line, without control characters, cut to `most` characters."""
    text = _printable(_BLANKS.sub(" ", str(text)[: 4 * most]).strip())
    return text if len(text) <= most else text[: most - 1] + "…"


def _printable(text: str) -> str:
    return text if text.isprintable() else "".join(c if c.isprintable() or c == SPACE else "·" for c in text)
