"""What is wrong with a study, told all at once."""

from __future__ import annotations

from dataclasses import dataclass

SHOWN = 100


@dataclass(frozen=True)
class Problem:
    """One fault in what the user brought.

    `row` counts as a spreadsheet does, the header being row 1; None where no row is meant.
    """

    file: str
    rule: str
    remedy: str
    row: int | None = None
    column: str | None = None
    value: str | None = None

    def __str__(self) -> str:
        place = [f"row {self.row}"] if self.row is not None else []
        place += [f"column {self.column}"] if self.column else []
        parts = [f"{self.file}: {', '.join(place)}" if place else self.file]
        if self.value is not None:
            parts.append(f"'{_shorten(self.value)}'")
        return ": ".join(parts) + f": {self.rule}; {self.remedy}"


class StudyError(Exception):
    """Raised with every problem of a study at once."""

    def __init__(self, problems: list[Problem]):
        self.problems = list(problems)
        super().__init__(f"{len(self.problems)} problems")

    def lines(self) -> list[str]:
        """A line a problem, the first hundred, then how many there are in all."""
        lines = [str(p) for p in self.problems[:SHOWN]]
        if len(self.problems) > SHOWN:
            lines.append(f"… the first {SHOWN} of {len(self.problems)} problems")
        return lines


def _shorten(text: str, most: int = 80) -> str:
    text = " ".join(str(text).split())
    return text if len(text) <= most else text[: most - 1] + "…"
