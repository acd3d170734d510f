"""Alternatives to a conversion that need no capital: letting every breaker and recloser trip fast, or none.

A fast trip saves fuses on temporary faults and interrupts the whole zone for a moment;
blocking it does the reverse. Both only change settings, so they always stand beside a plan.
"""

from __future__ import annotations

from collections.abc import Mapping

from reliability.network.devices import BACKS_UP
from reliability.network.protection import protection
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions
from reliability.study.study import Study

ALLOWED, BLOCKED = "Fast tripping everywhere", "Fast tripping blocked everywhere"
# Where the study itself blocks fast tripping; common practice, no source.
USUAL_FAST_OPERATIONS = 2


def usual_fast_operations(values: Assumptions) -> int:
    """Fast operations where fast tripping is allowed: the study's usual number, or two where it blocks it."""
    return int(values["fast_operations"]) or USUAL_FAST_OPERATIONS


def zero_capital_scenarios(study: Study) -> tuple[Scenario, ...]:
    """Fast tripping everywhere and nowhere, as scenarios beside the study's own.

    Everywhere means `usual_fast_operations`. A breaker or recloser whose operations to lockout
    are not above that number gets one less than it has (see `network.protection`), one of a
    single operation none. An alternative that the study already has among its scenarios, or that no
    device can do, is left out.
    """
    most = _most_operations(study)
    settings = [(ALLOWED, min(usual_fast_operations(study.values), most - 1))] if most > 1 else []
    stated = {s.fast_operations for s in study.scenarios
              if s.device is None and not isinstance(s.fast_operations, Mapping)}
    names = {s.name.casefold() for s in study.scenarios}
    return tuple(Scenario(_free(name, names), (), None, None, fast) for name, fast in [*settings, (BLOCKED, 0)]
                 if fast not in stated)


def _most_operations(study: Study) -> int:
    """Most operations to lockout of any breaker or recloser."""
    as_built = protection(study.model)
    return int(as_built.lockout[BACKS_UP[as_built.device]].max(initial=0))


def _free(name: str, taken: set[str]) -> str:
    while name.casefold() in taken:
        name += " (alternative)"
    return name
