"""What an import still needs somebody to decide, step by step."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from reliability.formats import count as counted
from reliability.schema.problems import Problem, StudyError

KIND, COLUMN, WORD, UNIT, TIME, PLACE, NETWORK = "kind", "column", "word", "unit", "time", "place", "network"
STEPS = (KIND, COLUMN, UNIT, WORD, TIME, PLACE, NETWORK)


@dataclass(frozen=True)
class Decision:
    """One thing that is open.

    step: which of STEPS it belongs to. table: the table's name; kind: its kind, "" where that is what is open.
    column: theirs, or ours where there is none. value: the word, header or id it is about. rows: how many rows have
    it. question: what is to be decided. suggestion: what is probably meant, marked as a guess; "" for none.
    """

    step: str
    table: str
    column: str
    value: str
    question: str
    suggestion: str = ""
    rows: int = 0
    kind: str = ""

    @property
    def problem(self) -> Problem:
        """The decision as a line for somebody without the app."""
        rows = f" ({counted(self.rows, 'row')})" if self.rows else ""
        guess = f"probably {self.suggestion}; " if self.suggestion else ""
        return Problem(self.table, f"{self.question}{rows}", f"{guess}state it in import.toml, or decide it in the app",
                       None, self.column or None, self.value)


def in_order(decisions: Iterable[Decision]) -> tuple[Decision, ...]:
    """Decisions by step, the most frequent first."""
    return tuple(sorted(decisions, key=lambda d: (STEPS.index(d.step), d.table, d.column, -d.rows, d.value)))


class Undecided(StudyError):
    """What is open stands in the way. decisions: each of it."""

    def __init__(self, decisions: tuple[Decision, ...]) -> None:
        self.decisions = decisions
        super().__init__([d.problem for d in decisions])


def require_none(decisions: Iterable[Decision]) -> None:
    """Raise Undecided with everything that is open."""
    ordered = in_order(decisions)
    if ordered:
        raise Undecided(ordered)
