"""Ranges of assumptions for which a study states none: how wide, why, and after which source.

Without them the spread of a result would hold nothing but the luck of the years wherever a study states plain numbers.
None has what a rule, a contract, a decision or a data sheet fixes (operations, counts, limits, horizon, rates of
interest), what changes how protection responds (each draw would need a table of its own), and what is itself a
dispersion.
"""

from __future__ import annotations

from dataclasses import dataclass

from reliability.schema.assumption_types import OURS, Range, bounds_of
from reliability.schema.assumptions import BY_KEY, PRACTICE

FROM_MEMORY = "from memory"
ESTIMATE_CLASS = "AACE International 18R-97, an estimate of class 3; from memory"


@dataclass(frozen=True)
class DefaultRange:
    """The range of an assumption that has none of its own.

    spread: on either side, as a share of the distance from the value to the nearer of its bounds: of an amount, whose
    bound is 0, a share of the amount; of a share near 0 or 1 less and less. reason: a sentence. source: of the reason.
    """

    spread: float
    reason: str
    source: str = OURS


_TIMES = DefaultRange(0.3, "Mean times differ with distance, weather and hour; few are kept apart from the records of "
                      "whole outages.", PRACTICE)
_CREW_HOURS = DefaultRange(0.25, "Hours charged to one kind of call-out are seldom booked apart.", PRACTICE)
_INSTALLED = DefaultRange(0.2, "Such a price is a budget figure until there are tenders: 10 to 20 % lower, 10 to 30 % "
                          "higher.", ESTIMATE_CLASS)
_PURCHASED = DefaultRange(0.2, "Prices differ with quantity and year of purchase.")
_FAILURES = DefaultRange(0.5, "Few failures are seen, so that their probability is known to a factor of about two.")
_UNCOUNTED = DefaultRange(0.5, "Hardly anybody counts it, so that a stated share is an estimate.", PRACTICE)

DEFAULT_RANGES: dict[str, DefaultRange] = {
    "line_fault_rate_per_km": DefaultRange(
        0.4, "Rates of overhead line differ several times between feeders; one that no records bear out is an "
        "estimate.", PRACTICE),
    "temporary_fraction": DefaultRange(
        0.4, "Surveys of overhead line find from one half to nine tenths of faults temporary.", FROM_MEMORY),
    **dict.fromkeys(("repair_hours", "switching_hours", "refuse_hours", "reset_hours", "patrol_hours",
                     "patrol_reclosing_off_hours"), _TIMES),
    **dict.fromkeys(("fuse_failure", "sectionalizer_failure"), _FAILURES),
    **dict.fromkeys(("reclosing_off_share", "wrong_link_share"), _UNCOUNTED),
    "crew_rate_per_hour": DefaultRange(0.15, "Overheads are spread over crews by rule of thumb.", PRACTICE),
    "overtime_share": DefaultRange(0.25, "It varies with the weather of the years that it is taken from."),
    "overtime_multiplier": DefaultRange(0.4, "Agreements pay half as much again on most days and double on some.",
                                        PRACTICE),
    "vehicle_per_callout": _PURCHASED,
    **dict.fromkeys(("refuse_crew_hours", "reset_crew_hours", "patrol_crew_hours", "repair_crew_hours"), _CREW_HOURS),
    **dict.fromkeys(("fuse_link_cost", "actuator_cost"), _PURCHASED),
    "repair_material_cost": DefaultRange(0.3, "A mean over repairs as different as a splice and a pole."),
    **dict.fromkeys(("fuse_cost", "sectionalizer_cost", "lateral_recloser_cost", "backup_settings_cost"), _INSTALLED),
    "inspection_cost_per_year": DefaultRange(0.3, "How often and how long depends on a practice that is still to be "
                                             "settled for a new device."),
    "energy_margin_per_kwh": DefaultRange(0.2, "It follows the cost of energy in the hours of outages."),
    "interruption_cost_factor": DefaultRange(
        0.5, "Surveys of what interruptions cost differ by half and more between regions and methods.", FROM_MEMORY),
    "momentary_cost_factor": DefaultRange(
        0.5, "Surveys price a single momentary event; what one of many costs is hardly known.", FROM_MEMORY),
}


def default_range(key: str, value: object) -> Range | None:
    """The default range around a value of the assumption `key`, whose mean that value is; None where it has none.

    A value at one of its bounds, as a share of 0, has none: what is stated not to happen does not.
    """
    known = DEFAULT_RANGES.get(key)
    if known is None or isinstance(value, bool) or not isinstance(value, int | float):
        return None
    low, high = bounds_of(BY_KEY[key])
    reach = known.spread * min(value - low, high - value)
    return Range(value - reach, float(value), value + reach) if reach > 0.0 else None
