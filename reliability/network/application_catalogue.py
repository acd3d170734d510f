"""The application checks by name: what each compares, and how a comparison becomes a verdict.

A check that is not met fails the lateral where the device would not do its work, would make
the feeder worse or would be damaged. It asks for review where the device works, but at a
price that the model computes or with something that somebody must look at on site. A missing
input is unknown, never a pass. Checks of the existing fuse, and of the time without reclosing,
are findings: they inform, and do not decide whether the device can go there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

# in the order of weight: the verdict of a lateral is the largest of its checks'
VERDICTS = ("pass", "review", "unknown", "fail")
PASS, REVIEW, UNKNOWN, FAIL = range(4)
# relative allowance for rounding of a product such as 0.8 × 100 A
PRODUCT_TOLERANCE = 1e-12

Sense = Literal["at_most", "at_least", "equal"]


@dataclass(frozen=True)
class CheckKind:
    """One check: `value` must be at most, at least or equal to `limit`, both in `unit`.

    outside: verdict where it is not. decides: whether it counts in the lateral's verdict.
    met, broken, missing: the plain reason in each case.
    """

    key: str
    label: str
    unit: str
    sense: Sense
    outside: int
    met: str
    broken: str
    missing: str
    decides: bool = True


@dataclass(frozen=True)
class Settled:
    """Laterals (m,) bool whose verdict and reason do not follow from value and limit alone."""

    where: np.ndarray
    verdict: int
    reason: str


@dataclass(frozen=True)
class Check:
    """One check over m laterals, arrays (m,).

    margin: factor between value and limit, 1 at the limit and above 1 inside; NaN where one
    of them is unknown. verdict: index into VERDICTS. reason: plain text.
    """

    kind: CheckKind
    value: np.ndarray
    limit: np.ndarray
    margin: np.ndarray
    verdict: np.ndarray
    reason: np.ndarray


WHOLE_NUMBERS = "counts"          # unit of the checks that compare whole numbers
CHECKS: tuple[CheckKind, ...] = (
    CheckKind("continuous_rating", "Rating carries the load", "A", "at_most", FAIL,
              "the rating carries the peak load with its margin",
              "the peak load with its margin is above the rating, or above the largest rating offered",
              "peak load at the lateral's head is not known"),
    CheckKind("cold_load", "Stays closed at cold-load pickup", "A", "at_most", FAIL,
              "pickup after a long outage stays within the actuating current",
              "pickup after a long outage exceeds the actuating current, or that of the largest rating offered",
              "peak load at the lateral's head is not known"),
    CheckKind("sees_faults", "Sees every fault it answers for", "A", "at_least", FAIL,
              "the smallest fault current down to the devices below is above the actuating current with its margin",
              "the smallest fault current down to the devices below is under the actuating current: part is not seen",
              "actuating current is not known, or a section down to the devices below lacks a fault current"),
    CheckKind("minimum_trip", "Counts whenever the backup trips", "A", "at_most", FAIL,
              "the actuating current is low enough under the backup's minimum trip, the least pickup where known",
              "the backup can trip on a current that the sectionalizer does not count",
              "actuating current or the backup's minimum trip or pickup is not known"),
    CheckKind("backup_trips", "Backup trips on every fault beyond", "A", "at_least", FAIL,
              "the smallest fault current down to the devices below is above the pickup of the backup's operations",
              "the backup does not trip on the smallest fault current down to the devices below: nothing would be "
              "counted, and nothing would clear the fault",
              "the backup's minimum trip or pickup is not known, or a section down to the devices below lacks a fault "
              "current"),
    CheckKind("below_lockout", "Counts, at most one less than the backup's operations", WHOLE_NUMBERS, "at_most", FAIL,
              "it opens before the backup locks out",
              "it has as many counts as the backup has operations: the backup locks out first",
              "the backup is not known"),
    CheckKind("series_counts", "More counts than a sectionalizer below", WHOLE_NUMBERS, "at_least", REVIEW,
              "it leaves faults beyond a sectionalizer below to that one",
              "for a fault beyond a sectionalizer below the whole lateral opens: lower the counts below",
              "counts are not known"),
    CheckKind("fuses_below", "Fuses below clear first", WHOLE_NUMBERS, "at_least", REVIEW,
              "the backup goes over to delayed operations before the counts are reached: fuses below can clear",
              "the counts are reached within the fast operations: the whole lateral opens ahead of a fuse below",
              "counts or the backup are not known"),
    CheckKind("dead_time", "Dead time long enough", "s", "at_least", FAIL,
              "the shortest dead time leaves time to recognise the opening and to drop open",
              "the backup recloses before the sectionalizer has recognised the opening and dropped open",
              "the backup's dead time is not known"),
    CheckKind("sequence", "Sequence within memory", "s", "at_most", FAIL,
              "the backup's whole sequence fits into the memory time",
              "counts are forgotten before it has opened",
              "the backup's dead time is not known"),
    CheckKind("backfeed", "Nothing feeds the dead line", "A", "at_most", REVIEW,
              "generation and capacitors below cannot hold the current above the dead-line threshold",
              "generation or capacitors below can hold the current above the dead-line threshold in a dead time",
              "no section of the lateral states generation_kw, or none states capacitor_kvar; 0 where there is none"),
    CheckKind("insulation", "Basic insulation level", "kV", "at_least", FAIL,
              "the device's insulation level is at least the system's",
              "the device's insulation level is below the system's",
              "the section's voltage is above the study's and it states no bil_kv"),
    CheckKind("momentary", "Stands the first half cycle", "A", "at_most", FAIL,
              "the largest asymmetrical phase-to-earth fault current is within the momentary withstand",
              "the largest asymmetrical phase-to-earth fault current is above the momentary withstand",
              "fault current at the lateral's head is not known"),
    CheckKind("short_time", "Carries the fault until cleared", "A", "at_most", FAIL,
              "the largest phase-to-earth fault current is within the short-time withstand",
              "the largest phase-to-earth fault current is above the short-time withstand",
              "fault current at the lateral's head is not known"),
    CheckKind("inrush", "Inrush stays uncounted", "A", "at_most", FAIL,
              "inrush after a reclosing stays within the actuating current",
              "inrush is above the actuating current and the device offered does not hold through it: a healthy "
              "lateral counts it after each reclosing",
              "actuating current is not known, or sections of the lateral lack connected_kva"),
    CheckKind("three_phase_customers", "No three-phase customers beyond", "customers", "at_most", REVIEW,
              "no three-phase customer stands beyond a device that opens by phase",
              "three-phase customers beyond a device that opens by phase: their motors may run on two phases",
              "no section of the lateral states customers_three_phase; 0 where there are none"),
    CheckKind("underground", "Overhead line", "0–1", "at_most", REVIEW,
              "the lateral is overhead",
              "a large part of the lateral is underground: its faults are seldom temporary, and reclosing stresses it",
              "construction is not known"),
    CheckKind("ties", "Counts fit the other source of a tie", WHOLE_NUMBERS, "at_most", REVIEW,
              "it opens before the device of the other source locks out too",
              "fed through a tie, the other source's device locks out first",
              "counts are not known"),
    CheckKind("reclosing_off", "Finding: faults while reclosing is off", "0–1", "at_most", REVIEW,
              "the study has no faults while reclosing is off; no sectionalizer would open then",
              "no sectionalizer opens while reclosing is off: this share of the faults locks the backup out with its "
              "whole zone",
              "the share is not known", decides=False),
    CheckKind("fuse_load", "Existing fuse: load within link rating", "A", "at_most", REVIEW,
              "the installed link carries the peak load",
              "the peak load is above the rating of the installed link",
              "the installed link or the peak load is not known", decides=False),
    CheckKind("fuse_saving", "Existing fuse: saved at the tap", "A", "at_most", REVIEW,
              "a fast operation saves the fuse along the whole lateral",
              "near the tap the fuse melts before the backup's fast operation clears",
              "the saving ceiling or the fault current at the lateral's head is not known", decides=False),
    CheckKind("fuse_coordination", "Existing fuse: the link asked for", "A", "equal", REVIEW,
              "the installed link is the smallest of its kind that stands cold-load pickup and is saved at the tap",
              "another link is the smallest of its kind that stands cold-load pickup and is saved at the tap",
              "the installed link, the peak load or the fault current at the lateral's head is not known",
              decides=False),
)
CHECK_OF_KEY: dict[str, CheckKind] = {kind.key: kind for kind in CHECKS}


def judge(key: str, value: np.ndarray | float, limit: np.ndarray | float, incomplete: np.ndarray | None = None,
          settled: Sequence[Settled] = ()) -> Check:
    """Verdicts of check `key` from value and limit, each (m,) or a number, NaN where unknown.

    incomplete: (m,) bool, part of the input is missing, so that a value inside the limit says
    nothing while one outside still does. settled: applied after that, the later over the earlier.
    """
    kind = CHECK_OF_KEY[key]
    value, limit = (np.asarray(a, dtype=float) for a in np.broadcast_arrays(value, limit))
    margin, broken = _compare(kind.sense, value, limit)
    missing = np.isnan(value) | np.isnan(limit)
    if incomplete is not None:
        missing = missing | (incomplete & ~broken)
    verdict = np.where(missing, UNKNOWN, np.where(broken, kind.outside, PASS))
    reason = np.array([kind.met, kind.broken, kind.missing], dtype=object)[np.where(missing, 2, np.where(broken, 1, 0))]
    for case in settled:
        verdict = np.where(case.where, case.verdict, verdict)
        # an array, or each lateral would get a copy of the text
        reason = np.where(case.where, np.array(case.reason, dtype=object), reason)
    return Check(kind, value, limit, margin, verdict.astype(np.int8), reason)


def _compare(sense: Sense, value: np.ndarray, limit: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(margin, whether the comparison is broken); an unknown compares as not broken."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # the margin over next to nothing is infinite
        if sense == "at_most":
            return limit / value, value > limit * (1.0 + PRODUCT_TOLERANCE)
        margin = value / limit
        if sense == "at_least":
            return margin, value < limit * (1.0 - PRODUCT_TOLERANCE)
        return margin, np.abs(value - limit) > PRODUCT_TOLERANCE * np.abs(limit)


def worst(checks: Sequence[Check]) -> np.ndarray:
    """Verdict of each lateral, (m,): fail over unknown over review over pass, of the checks that decide."""
    return np.max([check.verdict for check in checks if check.kind.decides], axis=0)
