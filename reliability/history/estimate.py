"""The whole estimate of rates: evidence, fit of the devices, posterior, and what depends on the clearing time."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from reliability.history.clearing import CLEARING_FACTORS, ClearingFit, fit_clearing
from reliability.history.device_fit import SHORT, DeviceFit, fit_devices, without
from reliability.history.evidence import Found, Observed, find_evidence, prior_of
from reliability.history.posterior import FULL_LENGTH, Evidence, Posterior
from reliability.history.sampler import begin, sample
from reliability.history.units import Units
from reliability.network.devices import FAST_BY_DEFAULT, MELTS
from reliability.schema.values import as_assumptions
from reliability.study.study import Study
from reliability.tasks import HERE, Workers

UP_AND_DOWN = (0.5, 1.5)           # times the fast clearing time, to show what depends on it (model §10)
SPANNED = (*UP_AND_DOWN, 1.0)

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Estimate:
    """found: evidence and what had to be done to it, that of devices set aside included. fit: of the devices.
    posterior: of the rest. clearing: None where the fast clearing time does not matter. spans: temporary fraction of
    all faults by factor of the fast clearing time; empty where momentary events are recorded or it does not matter.
    """

    found: Found
    fit: DeviceFit
    posterior: Posterior
    clearing: ClearingFit | None
    spans: Mapping[float, float]


def estimate_rates(study: Study, seen: Observed, on_progress: Progress | None = None,
                   workers: Workers = HERE) -> Estimate:
    """The posterior of every unit's rates, with what stands against it.

    on_progress(done, total): of chains that this process runs. workers: run the chains that do not need each other.
    """
    seed, units = int(study.values["seed"]), seen.units
    found, prior = find_evidence(study, seen), prior_of(study, units)
    reached = 0

    def progress(done: int, _: int) -> None:
        nonlocal reached
        reached = max(reached, done)
        if on_progress:
            on_progress(reached, FULL_LENGTH.iterations)

    chain = begin(found.evidence, prior, np.random.default_rng(seed), FULL_LENGTH.burn_in)
    fit = fit_devices(found.evidence, chain.until(SHORT, progress), found.devices, prior, seed)
    used = without(found.evidence, fit.set_aside)
    if used is not found.evidence:
        chain = begin(used, prior, np.random.default_rng(seed), FULL_LENGTH.burn_in)
    chains = [partial(chain.until, FULL_LENGTH, None if workers.executor or workers.forks else progress)]
    other = {1.0: used}
    if matters := _clearing_matters(study):
        other |= {factor: without(find_evidence(_at_clearing(study, factor), seen).evidence, fit.set_aside)
                  for factor in sorted({*CLEARING_FACTORS, *UP_AND_DOWN}) if factor != 1.0}
    spanned = SPANNED if matters and not _has_momentary(used) else ()
    chains += [partial(sample, other[factor], prior, np.random.default_rng([seed, 4]), None, SHORT)
               for factor in spanned]
    posterior, *others = workers.in_order(chains)
    clearing = fit_clearing([other[factor] for factor in CLEARING_FACTORS], posterior, prior) if matters else None
    spans = {factor: _fleet_fraction(found_there, units) for factor, found_there in zip(spanned, others, strict=True)}
    return Estimate(found, fit, posterior, clearing, spans)


def _clearing_matters(study: Study) -> bool:
    """Whether fuses race against fast operations of devices without settings of their own."""
    network = study.network
    fast = np.where(np.isnan(network.column["fast_operations"]), study.values["fast_operations"],
                    network.column["fast_operations"])
    at_default = FAST_BY_DEFAULT[network.device] & (network.settings_of < 0)
    linked = MELTS[network.device] & (network.text["fuse_link"] != "")
    return bool(linked.any() and (at_default & (fast > 0)).any())


def _at_clearing(study: Study, factor: float) -> Study:
    """The study with so many times the fast clearing time."""
    values = dict(study.values) | {"fast_clearing_time_s": study.values["fast_clearing_time_s"] * factor}
    return replace(study, values=as_assumptions(values))


def _has_momentary(evidence: Evidence) -> bool:
    return bool(len(evidence.alone) or len(evidence.pure_steps))


def _fleet_fraction(posterior: Posterior, units: Units) -> float:
    """Temporary fraction of all faults, posterior mean."""
    temporary, permanent = posterior.mean_temporary @ units.rate, posterior.mean_permanent @ units.rate
    return float(temporary / max(temporary + permanent, 1e-300))
