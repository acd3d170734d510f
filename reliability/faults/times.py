"""How long those wait whom a fault interrupts: the times of model §4, and which assumptions each depends on.

A term is a time by name, of a type of its own, which tells it from the key of an assumption. Repair hours of sections'
own are two terms for all rows that have any, since each may have others.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn

REFUSE, RESET, PATROL, REPAIR, PATROL_OFF, REPAIR_OFF = range(6)
NO_TIME = -1
# What those wait for who are not back after switching; the last two after a lockout with reclosing off.
WAITING = ("refuse", "reset", "patrol", "repair", "patrol_reclosing_off", "repair_reclosing_off")
SWITCHING, SWITCHING_OFF = "switching", "switching_reclosing_off"
# A repair of a section's own hours, and the same after a lockout with reclosing off: not before the line was walked.
OWN_REPAIR, WALK_OR_OWN_REPAIR = "own_repair", "walk_or_own_repair"
_PATROL_OFF = {"patrol_reclosing_off_hours", "patrol_hours"}
_DEPENDS_ON: dict[str, set[str]] = {
    **{name: {f"{name}_hours"} for name in WAITING[:4]}, SWITCHING: {"switching_hours"},
    "patrol_reclosing_off": _PATROL_OFF, SWITCHING_OFF: _PATROL_OFF | {"switching_hours"},
    "repair_reclosing_off": _PATROL_OFF | {"switching_hours", "repair_hours"},
    OWN_REPAIR: set(), WALK_OR_OWN_REPAIR: _PATROL_OFF | {"switching_hours"},
}


class Term(NamedTuple):
    """A time by its name."""

    name: str


def hours_of(term: Term, values: TrialValues) -> Drawn:
    """Mean hours of a term; the values may be arrays of draws. Of WALK_OR_OWN_REPAIR those of the walk."""
    name = term.name
    if name == "patrol_reclosing_off":
        stated = values["patrol_reclosing_off_hours"] is not None
        return drawn(values, "patrol_reclosing_off_hours" if stated else "patrol_hours")
    if name in (SWITCHING_OFF, WALK_OR_OWN_REPAIR):
        # nothing is switched before the line has been walked
        return np.maximum(drawn(values, "switching_hours"), hours_of(Term("patrol_reclosing_off"), values))
    if name == "repair_reclosing_off":
        return np.maximum(hours_of(Term(SWITCHING_OFF), values), drawn(values, "repair_hours"))
    return drawn(values, f"{name}_hours")


def depends_on(term: Term, keys: Iterable[str]) -> bool:
    """Whether a term changes with any of the assumptions `keys`."""
    return bool(_DEPENDS_ON[term.name] & set(keys))


def waiting_hours(time: np.ndarray, own_repair: np.ndarray, values: Assumptions) -> np.ndarray:
    """Hours of rows (r,) by place in WAITING, 0 for NO_TIME; own_repair: (r,), NaN where it is the study's."""
    hours = np.array([float(hours_of(Term(name), values)) for name in WAITING] + [0.0])[time]
    own = np.flatnonzero(~np.isnan(own_repair))
    own = own[(time[own] == REPAIR) | (time[own] == REPAIR_OFF)]
    least = np.where(time[own] == REPAIR_OFF, hours_of(Term(SWITCHING_OFF), values), 0.0)
    hours[own] = np.maximum(own_repair[own], least)
    return hours


def switching_hours(time: np.ndarray, values: Assumptions) -> np.ndarray:
    """Hours until those of rows (r,) are back who need not wait."""
    return np.where(time == REPAIR_OFF, hours_of(Term(SWITCHING_OFF), values), float(values["switching_hours"]))


def terms_of_rows(time: np.ndarray, own_repair: np.ndarray) -> list[tuple[Term, np.ndarray]]:
    """Every term that rows wait for, with the rows, (r,) bool."""
    found: list[tuple[Term, np.ndarray]] = []
    own = ~np.isnan(own_repair)
    of_own = {REPAIR: OWN_REPAIR, REPAIR_OFF: WALK_OR_OWN_REPAIR}
    for code in np.flatnonzero(np.bincount(time + 1, minlength=1)[1:]).tolist():    # from NO_TIME on
        those = time == code
        if code in of_own:
            found += [(Term(WAITING[code]), those & ~own), (Term(of_own[code]), those & own)]
        else:
            found.append((Term(WAITING[code]), those))
    return [(term, rows) for term, rows in found if rows.any()]
