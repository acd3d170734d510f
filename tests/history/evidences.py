"""Evidence spelt out by hand, and ways of going through its posterior that share nothing with the sampler."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from scipy import special, stats

from reliability.history.posterior import Evidence, Prior
from reliability.history.recording import Entries

Triple = tuple[int, int, float]
BETA = (4.5, 2.5)


def prior(groups: int) -> Prior:
    """The prior of groups that state no fraction of their own."""
    return Prior(lambda p: float(stats.beta.logpdf(p, *BETA)), np.zeros(groups), BETA[0] / sum(BETA))


def entries(*rows: tuple[int, int, float, float]) -> Entries:
    """Entries of rows of unit, place, temporary, permanent."""
    table = np.array(rows, dtype=float).reshape(-1, 4)
    return Entries(table[:, 0].astype(int), table[:, 1].astype(int), table[:, 2], table[:, 3])


def evidence(group: list[int], at_unit: list[Triple], temporary: list[float], permanent: list[float],
             devices: int = 0, **more: object) -> Evidence:
    """Evidence of units with records and what would be recorded; `more` are further fields."""
    units, nothing = len(group), np.zeros(len(group))
    empty: Mapping[str, object] = dict.fromkeys(
        ("device_entries", "alone", "beside", "pure_steps", "pure_squares", "steps_at_unit", "steps_at_device"),
        entries())
    fields = {"group": np.array(group), "groups": max(group) + 1, "exposure": np.ones(units),
              "at_unit": np.array(at_unit, dtype=float), "unit_temporary": np.array(temporary, dtype=float),
              "unit_permanent": np.array(permanent, dtype=float), "stated": nothing, "stated_temporary": nothing,
              "stated_permanent": nothing, "at_device": np.zeros((devices, 3)), "events": np.zeros(devices),
              "steps": np.zeros(devices)} | empty | more
    return Evidence(**fields)


def fraction_prior(p: np.ndarray) -> np.ndarray:
    """Density (n,) in p of one group's fraction, up to its constant: the common one is integrated out."""
    common = (np.arange(2_000) + 0.5) / 2_000
    apart = (special.logit(p)[:, None] - special.logit(common)) / 0.5
    return (np.exp(-apart**2 / 2) @ stats.beta.pdf(common, *BETA)) / (p * (1 - p))


def metropolis(log_density: Callable[[np.ndarray], np.ndarray], start: np.ndarray, sweeps: int, burn_in: int,
               seed: int) -> np.ndarray:
    """Random walk Metropolis of many chains, one coordinate after another.

    log_density: of (chains, d). start: (chains, d). Gives (sweeps − burn_in, chains, d). Steps have long tails, and
    their widths (d,) are set during the first half of what is thrown away.
    """
    rng, x = np.random.default_rng(seed), start.copy()
    chains, d = x.shape
    now, width, kept = log_density(x), np.full(d, 0.5), np.empty((sweeps - burn_in, chains, d))
    for i in range(sweeps):
        for j in range(d):
            proposed = x.copy()
            proposed[:, j] += width[j] * rng.standard_t(2, chains)
            then = log_density(proposed)
            taken = np.log(rng.random(chains)) < then - now
            x[taken], now[taken] = proposed[taken], then[taken]
            if i < burn_in // 2:
                width[j] *= np.exp(0.3 * (taken.mean() - 0.35))
        if i >= burn_in:
            kept[i - burn_in] = x
    return kept
