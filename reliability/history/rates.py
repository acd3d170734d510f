"""Fault rates and temporary fractions learned from what was observed on each lateral.

A unit is a lateral with all that lies below its head, or the main sections of a feeder. The
faults observed on a unit are those that the records place at one of its sections (see
`recorded_faults`). A fault that a device above cleared leaves no record at the unit: a fuse saved
on a lateral, and on a main whose zone holds laterals every temporary fault that its breaker or
recloser cleared. So the learned rate and the temporary fraction are those of the faults that
the records can place, and lie below the truth. The rate of permanent faults, the one times
one minus the other, does not.

Exposure is kilometres × years. A section's equipment counts as the length that would fault
as often at the study's assumed line rate. A converted lateral is observed until its
conversion, as a sectionalizer lets temporary faults pass unrecorded.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.formats import count
from reliability.history.empirical_bayes import LEVEL, Posterior, beta_binomial, gamma_poisson
from reliability.history.outages import PERMANENT, TEMPORARY, Records
from reliability.history.recorded_faults import NOWHERE, recorded_faults
from reliability.network.tree import Network
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.devices import DEVICES
from reliability.schema.problems import Problem, Problems, StudyError
from reliability.study.record_settings import RecordSettings, record_settings
from reliability.study.study import Study

DAYS_PER_YEAR = 365.25
MAIN = "main"


@dataclass(frozen=True)
class LearnedRates:
    """What was learned.

    units: a row a lateral or main, columns: unit (section_id of the lateral's head, or the
        feeder_id of a main), group, faults, years, exposure_km_years, temporary, permanent,
        observed_rate_per_km (per km and year), rate_per_km, rate_low, rate_high,
        observed_temporary_fraction, temporary_fraction, fraction_low, fraction_high;
        NaN where nothing can be learned.
    priors: a row a group: units, faults, exposure_km_years, mean_per_km, shape, rate (NaN
        where pooled), pooled, mean_fraction, fraction_a, fraction_b, fraction_pooled.
    unit_of: (n,) row of `units` of each section in network order.
    notes: what a reader of the rates should know, sentences.
    """

    units: pd.DataFrame
    priors: pd.DataFrame
    unit_of: np.ndarray
    network: Network
    notes: tuple[str, ...]


def learned_study(study: Study, records: Records | None) -> Study:
    """`study` with learned line fault rates, equipment fault rates and temporary fractions in its sections.

    records: of its outages (`read_records`), None without any.

    Raises StudyError where there is nothing to learn from. Where a unit has no exposure, or no
    fault of a known kind was recorded, the study's own values stay. The notes say what was done.
    """
    learned = learn_rates(study, records)
    network = learned.network
    rate = learned.units["rate_per_km"].to_numpy()[learned.unit_of]
    fraction = learned.units["temporary_fraction"].to_numpy()[learned.unit_of]
    equipment = network.column["equipment_fault_rate"]
    assumed = float(study.values["line_fault_rate_per_km"])
    equipment = np.where(np.isfinite(rate) & (assumed > 0), equipment * rate / (assumed or 1.0), equipment)
    new = {"line_fault_rate_per_km": rate, "equipment_fault_rate": equipment, "temporary_fraction": fraction}
    columns = {name: np.where(np.isfinite(values), values, network.column[name]) for name, values in new.items()}
    certainty = _certainty_notes(study, {"line_fault_rate_per_km": rate, "temporary_fraction": fraction})
    return replace(study.with_section_values(columns), notes=(*study.notes, *learned.notes, *certainty))


def _certainty_notes(study: Study, learned: dict[str, np.ndarray]) -> list[str]:
    """Treatment of the uncertainty of learned values; learned: by key (n,), NaN where the study's own stays."""
    notes = ["The simulation takes learned values as known; their own uncertainty is shown by the intervals in "
             "rates.csv, which the history command writes."]
    for key, values in learned.items():
        count = int(np.isfinite(values).sum())
        if key in study.uncertain and count:
            notes.append(f"The range of faults.{key} has no effect on the {count} of {len(values)} sections whose "
                         "value is learned.")
    return notes


def learn_rates(study: Study, records: Records | None) -> LearnedRates:
    """Rates of the laterals and mains of `study`, from `records` and the columns of its sections.

    Raises StudyError where there is neither.
    """
    network = study.network
    settings = records.settings if records else record_settings(study.values, study.extra, study.network)
    unit_of, units = _units(network, settings)
    if records is None and not np.isfinite(network.column["faults_observed"]).any():
        raise StudyError([Problem("study.toml", "rates cannot be learned: there are no outage records and no "
                                  "faults_observed", "add one of them, or write rates = \"assumed\"",
                                  column="faults.rates", value="learned")])
    faults = recorded_faults(records) if records else pd.DataFrame({"section": [], "day": [], "kind": []})
    placed = faults["section"].to_numpy() != NOWHERE
    observed = _observed(study, network, settings, records, faults[placed], unit_of, len(units))
    units = pd.concat([units, observed], axis=1)
    result, priors = [], {}
    for name, part in units.groupby("group", sort=True):
        learned, priors[name] = _learn_group(part)
        result.append(learned)
    units = pd.concat([units, pd.concat(result).sort_index()], axis=1)
    table = pd.DataFrame.from_dict(priors, orient="index")
    table.index.name = "group"
    return LearnedRates(units, table, unit_of, network, _notes(units, settings, records, int((~placed).sum())))


def _units(network: Network, settings: RecordSettings) -> tuple[np.ndarray, pd.DataFrame]:
    """Unit of each section (n,), and the units: laterals in network order, then mains by feeder."""
    heads = network.candidates
    on_main = network.unit < 0
    feeders = np.unique(network.feeder[on_main])
    unit_of = np.where(on_main, len(heads) + np.searchsorted(feeders, network.feeder),
                       np.searchsorted(heads, network.unit))
    group = np.concatenate([_groups(network, heads, settings.prior_groups), np.full(len(feeders), MAIN, dtype=object)])
    names = np.concatenate([network.ids[heads], network.feeder_ids[feeders].astype(object)])
    return unit_of, pd.DataFrame({"unit": names, "group": group})


def _groups(network: Network, heads: np.ndarray, by: str) -> np.ndarray:
    """Group of each lateral, (heads,) text."""
    if by == "phases":
        phases = np.nan_to_num(network.phases[heads], nan=1.0).astype(int)
        names = [f"laterals of {p} phase{'s' if p > 1 else ''}" for p in phases]
    elif by == "customer_class":
        most = network.below(network.customers_by_class)[heads].argmax(axis=1)
        names = [f"laterals mostly {CUSTOMER_CLASSES[c]}" for c in most]
    elif by == "device":
        names = [f"laterals with {DEVICES[d]}" for d in network.device[heads]]
    elif by == "feeder":
        names = [f"laterals of {f}" for f in network.feeder_ids[network.feeder[heads]]]
    else:
        names = ["laterals"] * len(heads)
    return np.array(names, dtype=object)


def _observed(study: Study, network: Network, settings: RecordSettings, records: Records | None, faults: pd.DataFrame,
              unit_of: np.ndarray, count: int) -> pd.DataFrame:
    """Faults, exposure and kinds of each unit, from the records and from the sections' own counts."""
    stated, stated_years = _stated(study, network, unit_of, records)
    has = np.isfinite(stated)
    until = _observed_until(network, settings)
    faults = faults[faults["day"].to_numpy().astype("datetime64[D]") < until[faults["section"].to_numpy(dtype=int)]]
    section = faults["section"].to_numpy(dtype=int)
    kind = faults["kind"].to_numpy(dtype=int)
    years = np.where(has, stated_years, _years(records, until) if records else 0.0)
    assumed = float(study.values["line_fault_rate_per_km"])
    equipment = np.nan_to_num(network.column["equipment_fault_rate"])
    length = np.nan_to_num(network.column["length_km"]) + (equipment / assumed if assumed > 0 else 0.0)

    def by_unit(values: np.ndarray, units: np.ndarray = unit_of) -> np.ndarray:
        return np.bincount(units, weights=values, minlength=count)

    in_records = (~has)[section]
    return pd.DataFrame({
        "faults": by_unit(in_records, unit_of[section]) + by_unit(np.where(has, stated, 0.0)),
        "years": np.divide(by_unit(length * years), by_unit(length), out=np.zeros(count), where=by_unit(length) > 0),
        "exposure_km_years": by_unit(length * years),
        "temporary": by_unit(kind == TEMPORARY, unit_of[section]),
        "permanent": by_unit(kind == PERMANENT, unit_of[section]),
    })


def _stated(study: Study, network: Network, unit_of: np.ndarray,
            records: Records | None) -> tuple[np.ndarray, np.ndarray]:
    """Faults and years given in the sections; a count at a head with blanks below is that of the whole unit."""
    faults, years = network.column["faults_observed"].copy(), network.column["years_observed"].copy()
    has = np.isfinite(faults)
    if records:
        years = np.where(has & ~np.isfinite(years), records.period_years, years)
    bad = np.flatnonzero(has & ~(years > 0))
    problems = Problems()
    problems.each(bad[np.argsort(network.row[bad])], lambda i: study.section_problem(
        int(network.row[i]), "years_observed", _written(network.column["years_observed"][i]),
        "faults_observed without the years they were counted in", "give years_observed, above 0"))
    problems.raise_if_any()
    heads = np.flatnonzero((network.unit == np.arange(len(network))) & has)
    alone = np.bincount(unit_of, weights=has)[unit_of[heads]] == 1
    for head in heads[alone]:
        below = slice(head, head + network.size[head])
        faults[below] = np.where(np.isfinite(faults[below]), faults[below], 0.0)
        years[below] = years[head]
    return faults, years


def _written(number: float) -> str:
    return "" if np.isnan(number) else f"{number:g}"


def _observed_until(network: Network, settings: RecordSettings) -> np.ndarray:
    """Day of conversion, from which a section's records are no longer those of its old device, (n,) datetime64[D]."""
    until = np.full(len(network), np.datetime64("9999-12-31", "D"))
    at = {str(name): i for i, name in enumerate(network.ids)}
    for name, day in settings.conversions.items():
        below = slice(at[name], at[name] + network.size[at[name]])
        until[below] = np.minimum(until[below], day)
    return until


def _years(records: Records, until: np.ndarray) -> np.ndarray:
    days = (np.minimum(until, records.last_day + 1) - records.first_day).astype(int)
    return np.maximum(days, 0) / DAYS_PER_YEAR


def _learn_group(part: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, object]]:
    """Posteriors of the units of one group, and its prior."""
    columns = ("observed_rate_per_km", "rate_per_km", "rate_low", "rate_high", "observed_temporary_fraction",
               "temporary_fraction", "fraction_low", "fraction_high")
    result = pd.DataFrame(np.nan, index=part.index, columns=list(columns))
    exposure, faults = part["exposure_km_years"].to_numpy(), part["faults"].to_numpy()
    prior: dict[str, object] = {"units": len(part), "faults": faults.sum(), "exposure_km_years": exposure.sum()}
    seen = exposure > 0
    if seen.any():
        rates = gamma_poisson(faults[seen], exposure[seen])
        _place(result, seen, columns[1:4], rates)
        result.loc[seen, "observed_rate_per_km"] = faults[seen] / exposure[seen]
        prior |= {"mean_per_km": rates.prior_mean, "shape": rates.a, "rate": rates.b, "pooled": rates.pooled}
    hits = part["temporary"].to_numpy()
    known = hits + part["permanent"].to_numpy()
    if known.sum() > 0:
        shares = beta_binomial(hits, known)
        _place(result, np.ones(len(part), bool), columns[5:8], shares)
        result["observed_temporary_fraction"] = np.divide(hits, known, out=np.full(len(part), np.nan), where=known > 0)
        prior |= {"mean_fraction": shares.prior_mean, "fraction_a": shares.a, "fraction_b": shares.b,
                  "fraction_pooled": shares.pooled}
    return result, prior


def _place(result: pd.DataFrame, rows: np.ndarray, columns: tuple[str, ...], posterior: Posterior) -> None:
    values_of = (posterior.mean, posterior.low, posterior.high)
    for name, values in zip(columns, values_of, strict=True):
        result.loc[rows, name] = values


def _notes(units: pd.DataFrame, settings: RecordSettings, records: Records | None, nowhere: int) -> tuple[str, ...]:
    """What a reader of the rates should know; nowhere: faults that the records show but cannot place."""
    faults = units["faults"].sum()
    notes = [f"Fault rates are learned from {count(round(faults), 'observed fault')} on {len(units)} laterals and "
             f"mains, each pulled towards its group by its exposure; intervals hold {LEVEL:.0%}.",
             "Faults observed are those recorded at a lateral or main. Temporary faults that the device above clears, "
             "on a main or under fuse saving, leave no record there: the learned rate and temporary fraction, and the "
             "momentary indices computed with them, are then too low."]
    if nowhere:
        notes.append(f"{nowhere} momentary events recorded at a breaker or recloser of a main cannot be placed: their "
                     "faults were on the main or on a lateral. They count for neither.")
    notes += _kind_notes(units, settings)
    idle = units["rate_per_km"].isna()
    if idle.any():
        notes.append(f"Laterals or mains without length or observation, which keep the study's rate: {idle.sum()}.")
    lost = int(units.loc[idle, "faults"].sum())
    if lost:
        notes.append(f"Faults recorded there, which could not be used: {lost}.")
    if settings.conversions:
        notes.append("Converted laterals are observed until their conversion.")
    if records and records.partial:
        notes.append("Years covered in part: " + "; ".join(f"{y} {w}" for y, w in records.partial.items()) + ".")
    if (units.groupby("group").size() < 10).any():
        notes.append("A group of fewer than ten laterals or mains says little about its spread: its rates are rough.")
    return tuple(notes)


def _kind_notes(units: pd.DataFrame, settings: RecordSettings) -> list[str]:
    """Where the temporary fractions come from, group by group."""
    known = units[["temporary", "permanent"]].sum(axis=1).groupby(units["group"]).sum()
    notes, without = [], known.index[known == 0]
    if known.any():
        by_cause = ", or of a cause mapped in [history.causes]" if settings.cause_kinds else ""
        faults_known = count(int(known.sum()), "fault")
        notes.append(f"The temporary fraction is learned from the {faults_known} of recorded kind{by_cause}.")
    if len(without):
        where = f" for {', '.join(without[:6])}{' and others' if len(without) > 6 else ''}" if known.any() else ""
        notes.append(f"No fault of a known kind was recorded{where}: a blown fuse does not show whether "
                     "the fault was temporary, and the temporary fraction there is the study's assumption. It applies "
                     "to a rate that may include few temporary faults: sustained indices may then be too low.")
    return notes
