"""What is learned of a fleet of `recorded_fleets` beside the truth that its records were drawn from."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from reliability.faults.outcomes import build_outcomes
from reliability.history.rates import LearnedRates, learn_rates, learned_study
from reliability.indices.expected import expected_values, system_indices
from reliability.network.devices import RECLOSES
from reliability.network.rates import fault_rates
from reliability.schema.scenarios import UNCHANGED
from reliability.study.study import Study
from tests.history.recorded_fleets import Fleet


def fleet_fraction(study: Study) -> float:
    """Temporary share of all faults."""
    rates = fault_rates(study.model)
    return float(rates @ study.network.column["temporary_fraction"] / rates.sum())


def indices(study: Study, fast: int | None = None) -> dict[str, object]:
    """Expected indices; fast: operations of every reclosing device instead of its own."""
    if fast is not None:
        at = study.network.row[RECLOSES[study.network.device]]
        column = study.sections["fast_operations"].to_numpy(dtype=float).copy()
        column[at] = fast
        study = study.with_sections(study.sections.assign(fast_operations=column))
    return system_indices(expected_values(build_outcomes(study.model, (UNCHANGED,)), study.values)[0], 0.0)


def errors(fleet: Fleet, learned: LearnedRates | None = None) -> dict[str, float]:
    """fraction: learned less true; ratios of learned to true: rate, saifi, maifi_e, and with all devices without and
    with fast operations (_0, _2); covered: share of laterals whose rate lies in its interval; worst_covered: of the
    tenth whose rate is the highest in truth; fractions_covered: of the groups."""
    learned = learned or learn_rates(fleet.study, fleet.records, fleet.operations)
    new, true = learned_study(fleet.study, learned), fleet.true
    found = {"fraction": fleet_fraction(new) - fleet_fraction(true),
             "rate": fault_rates(new.model).sum() / fault_rates(true.model).sum()}
    for fast, name in ((None, ""), (0, "_0"), (2, "_2")):
        seen, known = indices(new, fast), indices(true, fast)
        found |= {f"{key}{name}": float(seen[key]) / float(known[key]) for key in ("saifi", "maifi_e")}
    return found | _coverage(learned, true)


def _coverage(learned: LearnedRates, true: Study) -> dict[str, float]:
    rates, units = fault_rates(true.model), learned.units
    size = len(units)
    of_unit = np.bincount(learned.unit_of, rates, size)
    rate = of_unit / np.bincount(learned.unit_of, true.network.column["length_km"], size)
    inside = (units["rate_low"] <= rate) & (rate <= units["rate_high"])
    temporary = np.bincount(learned.unit_of, rates * true.network.column["temporary_fraction"], size)
    groups = pd.DataFrame({"group": units["group"], "rate": of_unit, "temporary": temporary}).groupby("group").sum()
    fraction = (groups["temporary"] / groups["rate"]).reindex(learned.priors.index)
    held = (learned.priors["fraction_low"] <= fraction) & (fraction <= learned.priors["fraction_high"])
    main = units["group"].str.startswith("main")
    worst = np.argsort(-rate[~main])[:round(0.1 * (~main).sum())]
    return {"covered": float(inside[~main].mean()), "worst_covered": float(inside[~main].to_numpy()[worst].mean()),
            "mains_covered": float(inside[main].mean()),
            "fractions_covered": float(held.mean()), "set_aside": float(learned.fit.set_aside.sum())}


def mean_errors(fleets: Sequence[Callable[[], Fleet]]) -> pd.DataFrame:
    """Mean and standard error of `errors` over fleets, columns mean and error."""
    table = pd.DataFrame([errors(make()) for make in fleets])
    return pd.DataFrame({"mean": table.mean(), "error": table.std() / len(table) ** 0.5})
