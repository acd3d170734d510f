"""A scenario: what it changes of today's protection."""

from __future__ import annotations

from dataclasses import dataclass

AS_BUILT = "As built"
FORCED_IN, FORCED_OUT = "in", "out"  # of a choice of laterals, as study.toml writes it


@dataclass(frozen=True)
class Scenario:
    """A change of protection: at the head of each of `laterals` the device becomes `device`.

    `laterals` None means all of them; `device` None changes no device ("As built", or a
    scenario that only sets `fast_operations` on every breaker and recloser).
    """

    name: str
    laterals: tuple[str, ...] | None = ()
    device: str | None = None
    counts: int | None = None
    fast_operations: int | None = None
    applicable_only: bool = False


UNCHANGED = Scenario(AS_BUILT)
