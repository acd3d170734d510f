"""Rivals of a conversion that need no capital: letting every breaker and recloser trip fast, or none.

A fast trip saves fuses on temporary faults and interrupts the whole zone for a moment;
blocking it does the reverse. Both only change settings, so they always stand beside a plan.
"""

from __future__ import annotations

import numpy as np

from reliability.study.columns import BREAKER, RECLOSER
from reliability.study.study import Scenario, Study

ALLOWED, BLOCKED = "Fast tripping everywhere", "Fast tripping blocked everywhere"
# Where the study itself blocks fast tripping; common practice, no source.
USUAL_FAST_OPERATIONS = 2


def rival_scenarios(study: Study) -> tuple[Scenario, ...]:
    """Fast tripping everywhere and nowhere, as scenarios to stand beside the study's own.

    Everywhere means the study's usual number of fast operations, or two where that is 0, and
    fewer where a device's operations to lockout ask for it. A rival that the study already has
    among its scenarios, or that no device can do, is left out.
    """
    least = _fewest_operations(study)
    wanted = int(study.values["fast_operations"]) or USUAL_FAST_OPERATIONS
    rivals = [(ALLOWED, min(wanted, least - 1)), (BLOCKED, 0)] if least > 1 else [(BLOCKED, 0)]
    there = {s.fast_operations for s in study.scenarios if s.device is None}
    names = {s.name.casefold() for s in study.scenarios}
    return tuple(Scenario(_free(name, names), (), None, None, fast) for name, fast in rivals if fast not in there)


def _fewest_operations(study: Study) -> int:
    """Fewest operations to lockout of any breaker or recloser."""
    sections = study.sections
    own = sections.loc[sections["device"].isin((BREAKER, RECLOSER)), "operations_to_lockout"].to_numpy(dtype=float)
    return int(np.where(np.isnan(own), study.values["operations_to_lockout"], own).min(initial=np.inf))


def _free(name: str, taken: set[str]) -> str:
    while name.casefold() in taken:
        name += " (rival)"
    return name
