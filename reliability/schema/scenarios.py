"""A scenario: the changes that it makes to the existing protection."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

AS_BUILT = "As built"
PROPOSED = "Proposed"                 # what the study proposes, in every result where there is anything
FORCED_IN, FORCED_OUT = "in", "out"  # values of [choice.laterals]


@dataclass(frozen=True)
class Conversion:
    """The device and counts of one lateral; None: those of its scenario."""

    device: str | None = None
    counts: int | None = None


@dataclass(frozen=True)
class Scenario:
    """A change of protection: at the head of each of `laterals` the device becomes `device`.

    `laterals` None means all of them, a mapping gives each named one its own device and counts; `device` None
    changes no device ("As built", or a scenario that only sets `fast_operations`). `fast_operations`: on every
    breaker and recloser, or, as a mapping, on each reclosing device named.
    """

    name: str
    laterals: tuple[str, ...] | Mapping[str, Conversion] | None = ()
    device: str | None = None
    counts: int | None = None
    fast_operations: int | Mapping[str, int] | None = None
    applicable_only: bool = False


UNCHANGED = Scenario(AS_BUILT)


def proposed_position(scenarios: Sequence[Scenario]) -> int | None:
    """Position of the scenario "Proposed" among others, None where it is not there."""
    return next((i for i, s in enumerate(scenarios) if s.name.casefold() == PROPOSED.casefold()), None)
