"""What is to be done about a check that a lateral does not pass: for one that is not met, and for what is not known.

Remedies name the quantity or the setting, never a procedure: what is done at a line follows the utility's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.network.application import ApplicationChecks
from reliability.network.application_catalogue import CHECK_OF_KEY, PASS, UNKNOWN, VERDICTS, Check

_LOAD = "Find the peak load at the lateral's head and enter it (peak_load_a)."
_CURRENTS = "Find the fault currents of its sections, down to the devices below, and enter them."
_TAP_CURRENT = "Find the fault current at the lateral's head and enter it (fault_current_source_a)."
_DEAD_TIMES = "Read the backup's dead times and enter them (dead_time_s, longest_dead_time_s)."
_PICKUP = "Read the backup's minimum trip or pickup and enter it (minimum_trip_a, or settings.csv)."
_STRONGER = "Propose a device of higher withstand, or another kind of device."
_NEED_LOAD = ("sees_faults", "minimum_trip", "inrush")   # checks of the actuating current, which follows from the load
# key of the check: (where it is not met, where something is not known)
REMEDIES: dict[str, tuple[str, str]] = {
    "continuous_rating": ("Propose a device of a larger rating, or leave the lateral as it is.", _LOAD),
    "cold_load": ("Propose a larger rating, whose actuating current is higher, or leave the lateral as it is.", _LOAD),
    "sees_faults": ("Propose a lower actuating current where the load admits it, or another kind of device.",
                    _CURRENTS),
    "minimum_trip": ("Propose a lower actuating current, or have the backup's minimum trip reviewed.", _PICKUP),
    "backup_trips": ("Leave the lateral as it is until the backup's pickups have been reviewed.", _CURRENTS),
    "below_lockout": ("Propose fewer counts, or have the backup's operations to lockout reviewed.",
                      "Enter the backup's operations to lockout (operations_to_lockout)."),
    "series_counts": ("Lower the counts of the sectionalizer below, or accept that the whole lateral opens.",
                      "Enter the counts of the sectionalizers on this path (counts)."),
    "fuses_below": ("Propose more counts or fewer fast operations, or accept that the whole lateral opens.",
                    "Enter the backup's operations (operations_to_lockout, fast_operations)."),
    "dead_time": ("Have the backup's dead times reviewed, or propose a device that needs less time.", _DEAD_TIMES),
    "sequence": ("Have the backup's dead times reviewed, or propose a device of longer memory.", _DEAD_TIMES),
    "backfeed": ("Find out whether generation and capacitors beyond are off the line within the first dead time.",
                 "Find generation and capacitors beyond and enter them, 0 where there are none (generation_kw, "
                 "capacitor_kvar)."),
    "insulation": ("Propose a device of a higher insulation level.",
                   "Find the insulation level asked for at this voltage and enter it (bil_kv)."),
    "momentary": (_STRONGER, _TAP_CURRENT),
    "short_time": (_STRONGER, _TAP_CURRENT),
    "inrush": ("Find in the data sheet whether the device holds through inrush and enter it (inrush_restraint); "
               "else propose another.",
               "Find the transformers beyond and enter their sum by section (connected_kva)."),
    "three_phase_customers": ("Propose a device that opens all its phases together, or find out how the customers' "
                              "motors are protected.",
                              "Find how many three-phase customers are beyond and enter them, 0 where there are none "
                              "(customers_three_phase)."),
    "underground": ("Convert an overhead branch instead, or accept few temporary faults.",
                    "Enter how the sections are built (construction)."),
    "ties": ("Propose fewer counts than the other source's device has operations; name the other side of the tie where "
             "it is not known (tie_section_id).",
             "Enter the counts, and the other side of the tie (counts, tie_section_id)."),
}


@dataclass(frozen=True)
class OpenCheck:
    """Checks of one lateral that stand for the same reason and go by the same remedy: labels, in words, verdict."""

    verdict: str
    labels: tuple[str, ...]
    reasons: tuple[str, ...]
    remedy: str


def open_points_of(checks: ApplicationChecks, at: int) -> list[OpenCheck]:
    """What lateral number `at` does not pass of the checks that decide, the gravest first."""
    found: dict[tuple[int, str], list[tuple[str, str]]] = {}
    for check in checks.checks:
        verdict = int(check.verdict[at])
        if check.kind.decides and verdict != PASS:
            reason, remedy = _in_words(checks, check, at)
            found.setdefault((verdict, remedy), []).append((check.kind.label, reason))
    return [OpenCheck(VERDICTS[verdict], tuple(label for label, _ in rows),
                      tuple(dict.fromkeys(reason for _, reason in rows)), remedy)
            for (verdict, remedy), rows in sorted(found.items(), key=lambda item: -item[0][0])]


def _in_words(checks: ApplicationChecks, check: Check, at: int) -> tuple[str, str]:
    """Reason and remedy; what waits for the peak load alone says so."""
    key, unknown = check.kind.key, int(check.verdict[at]) == UNKNOWN
    reason, remedy = str(check.reason[at]), REMEDIES[key][int(unknown)]
    if unknown and key == "backup_trips" and np.isnan(check.limit[at]):
        return reason, _PICKUP
    if not unknown or key not in _NEED_LOAD or not np.isnan(checks.proposal.actuating_a[at]):
        return reason, remedy
    own = check.limit if key == "minimum_trip" else check.value
    return (reason, f"{_LOAD} {remedy}") if np.isnan(own[at]) else (CHECK_OF_KEY["continuous_rating"].missing, _LOAD)
