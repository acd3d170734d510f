"""The case on calibrated inputs: the same proposal where rates and times are as the records have them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from reliability.business.limits import Limits
from reliability.business.options import Options
from reliability.business.selection import Choice, choose, totals_of
from reliability.business.stability import (
    MOST_OUTCOME_TABLES,
    STABILITY_DRAWS,
    npv_of_choice,
    spread_of,
    with_learned_rates,
)
from reliability.business.unknowns import sample
from reliability.schema.assumption_types import Range
from reliability.schema.values import as_assumptions
from reliability.study.study import Study

RATES = ("line_fault_rate_per_km",)
CALIBRATED_TIMES = ("repair_hours", "switching_hours", "refuse_hours", "reset_hours", "patrol_hours",
                    "patrol_reclosing_off_hours")
OWN_RATES, OWN_TIMES = ("line_fault_rate_per_km", "equipment_fault_rate"), ("repair_hours",)


@dataclass(frozen=True)
class Calibrated:
    """What is proposed, at calibrated rates and times.

    rate_factor, time_factor: on all fault rates and all restoration times. offered: whether the records stand outside
    what chance does; else the factors are those that the records show all the same. totals: of the same conversions
    there, see `selection.totals_of`. npv: (K,) over draws of what the study does not know, none without.
    selection: the best choice there within the limits, None where the proposal is no choice.
    """

    rate_factor: float
    time_factor: float
    offered: bool
    totals: dict[str, float]
    npv: np.ndarray
    selection: Choice | None

    def summary(self) -> dict[str, object]:
        """ "calibrated" of summary.json."""
        chosen = self.selection
        return {"rate_factor": self.rate_factor, "time_factor": self.time_factor, "offered": self.offered,
                "totals": self.totals, **spread_of(self.npv), "selection": None if chosen is None else {
                    "feasible": chosen.feasible, "totals": dict(chosen.totals)}}


def calibrated_study(study: Study, rate_factor: float, time_factor: float) -> Study:
    """The study with all fault rates and all restoration times multiplied, ranges with them."""
    stated, ranges = dict(study.values), dict(study.stated_ranges)
    for keys, factor in ((RATES, rate_factor), (CALIBRATED_TIMES, time_factor)):
        for key in keys:
            if stated[key] is not None:
                stated[key] = cast(float, stated[key]) * factor
            if (known := ranges.get(key)) is not None:
                ranges[key] = Range(*(end * factor for end in (known.low, known.likely, known.high)))
    columns = {name: study.network.column[name] * factor
               for names, factor in ((OWN_RATES, rate_factor), (OWN_TIMES, time_factor)) for name in names}
    return replace(study.with_section_values(columns), values=as_assumptions(stated), stated_ranges=ranges)


@dataclass(frozen=True)
class CalibrationFactors:
    """Factors on rates and times that make the model's system indices those of the records, NaN for none; see above."""

    rate: float
    time: float
    offered: bool


def calibrated(study: Study, options: Options, choice: Choice, limits: Limits, factors: CalibrationFactors,
               named: bool = False) -> Calibrated | None:
    """A choice among options at calibrated rates and times; None where there is no factor, or nothing was chosen.

    named: whether the choice
    is a scenario that the study names, which is not chosen again.
    """
    if not choice.feasible or not np.isfinite([factors.rate, factors.time]).any():
        return None
    rate, time = (float(factor) if np.isfinite(factor) else 1.0 for factor in (factors.rate, factors.time))
    there = calibrated_study(study, rate, time)
    options = replace(options, network=there.network, effects=replace(options.effects, model=there.model))
    options = with_learned_rates(options.at(there.values), there)
    drawn = sample(there, STABILITY_DRAWS, study.values["seed"], MOST_OUTCOME_TABLES)
    npv = np.zeros(0) if drawn is None else npv_of_choice(options, choice.chosen, drawn)
    again = None if named else choose(options, limits, choice.objective)
    return Calibrated(rate, time, factors.offered, dict(totals_of(options, choice.chosen)), npv, again)
