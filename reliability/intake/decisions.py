"""What an import still needs somebody to decide, step by step."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from reliability.formats import count as counted
from reliability.schema.problems import Problem, Problems, StudyError

KIND, COLUMN, WORD, UNIT, TIME, PLACE, NETWORK = "kind", "column", "word", "unit", "time", "place", "network"
NUMBER = "number"       # the decimal sign of a table
DECISION_ORDER = (KIND, COLUMN, NUMBER, UNIT, WORD, TIME, PLACE, NETWORK)


@dataclass(frozen=True)
class Decision:
    """One thing that is open.

    step: which of DECISION_ORDER it belongs to. table: the table's name; kind: its kind, "" where that is what is open.
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
        return Problem(self.table, f"{self.question}{rows}", self.remedy, None, self.column or None, self.value)

    @property
    def missing(self) -> bool:
        """Whether it is about a column that a kind needs and no header stands for."""
        return self.step == COLUMN and "need this column" in self.question

    @property
    def remedy(self) -> str:
        """How to answer it without the app: the key of import.toml, with what is probably meant."""
        if self.step in (TIME, PLACE, NETWORK):
            where = f"in import.toml, {self.suggestion}" if "=" in self.suggestion else self.suggestion
            return f"state it {where}, or decide it in the app" if "=" in where else where or "correct the exports"
        if self.suggestion and self.step != UNIT:
            return f"probably {self.key}; state it in import.toml, or decide it in the app"
        return f"state it in import.toml, {self.key}, or decide it in the app"

    @property
    def key(self) -> str:
        """The key of import.toml that answers it, with the suggestion, or "…" in its place. Not of the last steps,
        whose suggestion has the key."""
        entry = f"under [[files]] for {self.table}"
        if self.step == KIND:
            return f'[[files]] file = "{self.table.partition(", ")[0]}", kind = "{self.suggestion or "…"}"'
        if self.missing:
            return f'{entry}: columns = {{ {self.value.partition(" or ")[0]} = "…" }}, the header that has it'
        if self.step == COLUMN:
            name, _, unit = (self.suggestion or "…").partition(" in ")
            units = f' with units = {{ {name} = "{unit}" }}' if unit else ""
            return f'{entry}: columns = {{ {name} = "{self.column}" }}{units}, or ignore = ["{self.column}"]'
        if self.step == NUMBER:
            return f'{entry}: decimal = "." where a comma separates thousands, or decimal = "," where a point does'
        if self.step == UNIT:
            name = self.column if "implausible" in self.question else self.value
            return f'{entry}: units = {{ {name} = "…" }} ({self.suggestion})'
        return f'[values.{self.column}] "{self.value}" = {self.suggestion or "…"}'


def in_order(decisions: Iterable[Decision]) -> tuple[Decision, ...]:
    """Decisions by step, the most frequent first."""
    return tuple(sorted(decisions, key=lambda d: (DECISION_ORDER.index(d.step), d.table, d.column, -d.rows, d.value)))


class Undecided(StudyError):
    """What is open stands in the way. decisions: each of it."""

    def __init__(self, decisions: tuple[Decision, ...]) -> None:
        self.decisions = decisions
        super().__init__([d.problem for d in decisions])


def require_sound(problems: Problems, decisions: Iterable[Decision]) -> None:
    """Raise StudyError with everything that is wrong or open, Undecided where it is open alone."""
    if not problems:
        require_none(decisions)
    problems.add(*(d.problem for d in in_order(decisions)))
    problems.raise_if_any()


def require_none(decisions: Iterable[Decision]) -> None:
    """Raise Undecided with everything that is open."""
    ordered = in_order(decisions)
    if ordered:
        raise Undecided(ordered)
