"""What an assumption of a study is: its key, unit, bounds and words; and the range of an uncertain one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

AssumptionKind = Literal["number", "whole", "shares", "choice", "text", "flag"]
OURS = "assumption of this tool, no source"


@dataclass(frozen=True)
class Assumption:
    """One key of study.toml; `low` and `high` are inclusive bounds in `unit`, `elements` labels of single shares."""

    table: str
    key: str
    label: str
    unit: str
    default: float | int | tuple[float, ...] | str | None
    low: float | None = None
    high: float | None = None
    kind: AssumptionKind = "number"
    step: float = 0.0
    source: str = OURS
    help: str = ""
    choices: tuple[str, ...] = ()
    elements: tuple[str, ...] = ()


@dataclass(frozen=True)
class Range:
    """Low / likely / high of an uncertain assumption, a PERT distribution (scaled beta, λ = 4)."""

    low: float
    likely: float
    high: float

    @property
    def mean(self) -> float:
        """Mean of the distribution: (low + 4 likely + high) / 6."""
        return (self.low + 4.0 * self.likely + self.high) / 6.0


def bounds_of(assumption: Assumption) -> tuple[float, float]:
    """Bounds of an assumption that is a number; TypeError for one without."""
    if assumption.low is None or assumption.high is None:
        raise TypeError(f"{assumption.key} has no bounds")
    return float(assumption.low), float(assumption.high)
