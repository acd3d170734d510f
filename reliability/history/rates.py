"""Fault rates and temporary fractions learned from records that show only part of the faults (model §10).

A unit is a lateral with what lies below it up to the next one, or the mains of a feeder. Faults that protection rides
through leave nothing at the unit; the outcome table says which, and the estimate makes up for them. Rates are learned
relative to the assumed ones, so a section's equipment and a rate of its own keep their proportion to its unit's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.history.clearing import ClearingFit
from reliability.history.device_fit import DeviceFit
from reliability.history.estimate import Estimate, Progress, estimate_rates
from reliability.history.evidence import Found, Observed, observed
from reliability.history.level import TAILS
from reliability.history.operations import Operations, read_operations
from reliability.history.outages import Records
from reliability.history.posterior import Posterior
from reliability.history.rate_notes import certainty_notes, notes_on
from reliability.history.units import Units, units_of
from reliability.network.rate_draws import RateDraws
from reliability.network.tree import Network
from reliability.schema.problems import Problem, StudyError
from reliability.study.ranges import LEARNED
from reliability.study.record_settings import record_settings
from reliability.study.study import Study
from reliability.tasks import HERE, Workers


@dataclass(frozen=True)
class LearnedRates:
    """What was learned.

    units: a row a lateral or main, columns: unit (section_id of the lateral's head, or the
        feeder_id of a main), group, faults (recorded at it), years, exposure_km_years, temporary, permanent (of
        recorded kind), observed_rate_per_km (recorded, per km and year), rate_per_km, rate_low, rate_high (all faults),
        observed_temporary_fraction, temporary_fraction, fraction_low, fraction_high (of its group);
        NaN where nothing can be learned.
    priors: a row a group: units, faults, exposure_km_years, mean_per_km, mean_fraction, fraction_low, fraction_high,
        shape (of the gamma distribution of rates in it).
    draws: posterior draws of every unit's rates relative to their means.
    fit: of what each reclosing device recorded. clearing: of the fast clearing time, None where it does not matter.
    spans: temporary fraction of all faults at multiples of the fast clearing time, where no momentary event is recorded
        that could tell; else empty.
    unit_of: (n,) row of `units` of each section in network order.
    notes: what a reader of the rates should know, sentences.
    """

    units: pd.DataFrame
    priors: pd.DataFrame
    draws: RateDraws
    fit: DeviceFit
    clearing: ClearingFit | None
    spans: Mapping[float, float]
    unit_of: np.ndarray
    network: Network
    notes: tuple[str, ...]


def check_rates(study: Study, records: Records | None) -> None:
    """Raise StudyError where a study asks for rates from its records and there is nothing to learn from."""
    if study.values["rates"] == LEARNED:
        observations(study, records, read_operations(study, records) if records else None)


def learned_study(study: Study, learned: LearnedRates) -> Study:
    """`study` with learned line fault rates, equipment fault rates and temporary fractions in its sections.

    Values are posterior means of temporary and of permanent faults; the posterior draws go with the study, for the
    simulation. Where a unit has no exposure the study's own values stay. The notes say what was done.
    """
    network, unit_of = learned.network, learned.unit_of
    factor = learned.units["relative_rate"].to_numpy()[unit_of]
    fraction = learned.units["temporary_fraction"].to_numpy()[unit_of]
    assumed = float(study.values["line_fault_rate_per_km"])
    line, equipment = network.column["line_fault_rate_per_km"], network.column["equipment_fault_rate"]
    new = {"line_fault_rate_per_km": np.where(np.isnan(line), assumed, line) * factor,
           "equipment_fault_rate": equipment * factor, "temporary_fraction": fraction}
    known = np.isfinite(factor)
    columns = {name: np.where(known, values, network.column[name]) for name, values in new.items()}
    notes = certainty_notes(study, int(known.sum()))
    return replace(study.with_section_values(columns), rate_draws=learned.draws,
                   notes=(*study.notes, *learned.notes, *notes))


def learn_rates(study: Study, records: Records | None, operations: Operations | None = None,
                on_progress: Progress | None = None, workers: Workers = HERE) -> LearnedRates:
    """Rates of the laterals and mains of `study`, from its records and the columns of its sections.

    on_progress(done, total): of the sampler, where this process runs it. workers: see `estimate_rates`. Raises
    StudyError where there are neither records nor faults_observed.
    """
    seen_records = observations(study, records, operations)
    units = seen_records.units
    estimate = estimate_rates(study, seen_records, on_progress, workers)
    seen = estimate.found.evidence.exposure > 0
    common = _common_years(study, records, len(estimate.posterior.shape))
    table = _units_frame(units, estimate, common, seen)
    priors = _groups_frame(units, estimate, seen)
    return LearnedRates(table, priors, _relative(estimate.posterior, common, seen, units), estimate.fit,
                        estimate.clearing, estimate.spans, units.of_section, study.network,
                        notes_on(study, units, estimate, records))


def _check_places(study: Study, records: Records) -> None:
    """Raise StudyError where faults are recorded and none at a known section."""
    steps = records.steps
    at = steps["section"].to_numpy()[(steps["sustained"] & ~steps["planned"]).to_numpy(bool)]
    if len(at) and (at < 0).all():
        raise StudyError([Problem(study.outages_file, f"rates cannot be learned: none of {len(at)} sustained rows "
                                  "names a section of the network", "write the section_id of sections.csv, or in "
                                  "study.toml rates = \"assumed\"", column="section_id")])


def observations(study: Study, records: Records | None, operations: Operations | None) -> Observed:
    """What there is to learn from; raises StudyError where there is nothing."""
    network = study.network
    counted = np.isfinite(network.column["faults_observed"]).any()
    if records and study.values["rates"] == LEARNED and not counted:
        _check_places(study, records)
    settings = records.settings if records else record_settings(study.values, study.extra, network)
    if records is None and not counted:
        raise StudyError([Problem("study.toml", "rates cannot be learned: there are no outage records and no "
                                  "faults_observed", "add one of them, or write rates = \"assumed\"",
                                  column="faults.rates", value="learned")])
    return observed(study, settings, units_of(study.model, settings.prior_groups), records, operations)


def _common_years(study: Study, records: Records | None, draws: int) -> np.ndarray:
    """Multipliers (K,) of mean 1 for the years of the records, which all sections share (model §6)."""
    cv = float(study.values["yearly_cv"])
    years = records.period_years if records else 1.0
    if cv == 0.0:
        return np.ones(draws)
    shape = max(years, 1.0) / cv ** 2
    rng = np.random.default_rng([int(study.values["seed"]), 1])
    return rng.standard_gamma(shape, draws) / shape


def _units_frame(units: Units, estimate: Estimate, common: np.ndarray, seen: np.ndarray) -> pd.DataFrame:
    """`LearnedRates.units`, with relative_rate: learned over assumed faults."""
    found, posterior = estimate.found, estimate.posterior
    e = found.evidence
    per_km = np.divide(units.rate, units.km, out=np.full(len(units), np.nan), where=(units.km > 0) & seen)
    draws = (posterior.temporary + posterior.permanent) * common[:, None]
    low, high = np.quantile(draws, TAILS, axis=0)
    mean = posterior.mean_temporary + posterior.mean_permanent
    fraction = np.divide(posterior.mean_temporary, mean, out=np.full(len(units), np.nan), where=(mean > 0) & seen)
    bounds = np.quantile(posterior.fraction, TAILS, axis=0)[:, units.group]
    recorded = _recorded(units, found)
    faults, known = recorded.sum(axis=1) + e.stated, recorded[:, 0] + recorded[:, 1]
    km_years = found.km_years
    nothing = np.full(len(units), np.nan)
    return pd.DataFrame({
        "unit": units.name, "group": np.array(units.group_names, dtype=object)[units.group], "faults": faults,
        "years": found.years, "exposure_km_years": km_years, "temporary": recorded[:, 0],
        "permanent": recorded[:, 1],
        "observed_rate_per_km": np.divide(faults, km_years, out=nothing.copy(), where=(km_years > 0) & ~units.main),
        "rate_per_km": mean * per_km, "rate_low": low * per_km, "rate_high": high * per_km,
        "observed_temporary_fraction": np.divide(recorded[:, 0], known, out=nothing.copy(), where=known > 0),
        "temporary_fraction": fraction, "fraction_low": np.where(seen, bounds[0], np.nan),
        "fraction_high": np.where(seen, bounds[1], np.nan), "relative_rate": np.where(seen, mean, np.nan)})


def _recorded(units: Units, found: Found) -> np.ndarray:
    """Recorded faults of each unit by kind, (U, 3); those at a reclosing device are of the unit in which it stands."""
    at_devices = [np.bincount(units.of_section[found.devices], of_kind, len(units))
                  for of_kind in found.evidence.at_device.T]
    return found.at_unit + np.stack(at_devices, axis=1)


def _groups_frame(units: Units, estimate: Estimate, seen: np.ndarray) -> pd.DataFrame:
    """`LearnedRates.priors`."""
    found, posterior = estimate.found, estimate.posterior
    e, names = found.evidence, list(units.group_names)
    mean = posterior.mean_temporary + posterior.mean_permanent

    def by_group(values: np.ndarray) -> np.ndarray:
        return np.bincount(units.group, np.where(seen, values, 0.0), len(names))

    faults, km = by_group(mean * units.rate), by_group(units.km)
    low, high = np.quantile(posterior.fraction, TAILS, axis=0)
    any_seen = by_group(np.ones(len(units))) > 0
    table = pd.DataFrame({
        "units": np.bincount(units.group, minlength=len(names)),
        "faults": by_group(_recorded(units, found).sum(axis=1) + e.stated),
        "exposure_km_years": by_group(found.km_years),
        "mean_per_km": np.divide(faults, km, out=np.full(len(names), np.nan), where=km > 0),
        "mean_fraction": np.where(any_seen, posterior.fraction.mean(axis=0), np.nan),
        "fraction_low": np.where(any_seen, low, np.nan), "fraction_high": np.where(any_seen, high, np.nan),
        "shape": float(np.median(posterior.shape))}, index=pd.Index(names, name="group"))
    return table


def _relative(posterior: Posterior, common: np.ndarray, seen: np.ndarray, units: Units) -> RateDraws:
    """Posterior draws over their means, 1 where nothing was learned."""
    relative = []
    for draws, mean in ((posterior.temporary, posterior.mean_temporary), (posterior.permanent,
                                                                         posterior.mean_permanent)):
        each = draws * common[:, None]
        # the draws that are used have the mean that the expected values take
        each = np.divide(each, each.mean(axis=0), out=np.ones_like(each), where=seen & (mean > 0))
        relative.append(each.astype(np.float32))
    return RateDraws(units.of_section, *relative)
