"""What a study does not know, and draws of it: the ranges that it states, and rates learned from records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy

from reliability.business.closed_form import CV
from reliability.business.costs import SOCIETY
from reliability.indices.draws import pert_quantiles, some_draws, values_of_trials
from reliability.indices.simulation import STRUCTURAL
from reliability.schema.assumptions import RATES_FROM_RECORDS
from reliability.schema.values import Assumptions, TrialValues
from reliability.study.study import Study

FEWEST_LEVELS = 3


@dataclass(frozen=True)
class Unknowns:
    """The uncertain assumptions of a study, by key, in a fixed order; learned rates, where there are any, come last.

    levels: of those that need tables of their own, to how many values of equal probability their draws are rounded.
    """

    study: Study
    keys: tuple[str, ...]
    levels: Mapping[str, int]

    def draws(self, places: np.ndarray) -> dict[str, np.ndarray]:
        """Draws (m,) by key at places (m, d) in the distributions, 0 to 1 each; of learned rates the place itself."""
        return {key: u if key == RATES_FROM_RECORDS.key else pert_quantiles(
            self.study.uncertain[key], in_levels(u, self.levels[key]) if key in self.levels else u)
            for key, u in zip(self.keys, places.T, strict=True)}

    def values(self, draws: Mapping[str, np.ndarray]) -> TrialValues:
        """All assumptions at draws, learned rates left out."""
        return values_at(self.study.values, draws)


def unknowns_of(study: Study, tables: int, learned: bool) -> Unknowns:
    """What a study does not know.

    tables: how many outcome tables the draws may need in all. learned: whether learned rates are among them.
    """
    keys = sorted(study.uncertain)
    own_hours = np.isfinite(study.network.column["repair_hours"]).any()
    stepped = [k for k in keys if k.partition(".")[0] in STRUCTURAL or (
        k == CV and own_hours and study.values["perspective"] == SOCIETY)]
    each = max(FEWEST_LEVELS, int(tables ** (1.0 / len(stepped)) + 1e-9)) if stepped else 0
    return Unknowns(study, (*keys, *[RATES_FROM_RECORDS.key] * learned), dict.fromkeys(stepped, each))


def values_at(stated: Assumptions, draws: Mapping[str, np.ndarray]) -> TrialValues:
    """All assumptions at draws, learned rates left out."""
    return values_of_trials(stated, {k: x for k, x in draws.items() if k != RATES_FROM_RECORDS.key})


def in_levels(places: np.ndarray, levels: int) -> np.ndarray:
    """Places 0 to 1 moved to the middles of so many equal parts."""
    return (np.minimum(np.floor(places * levels), levels - 1) + 0.5) / levels


def picked_draw(places: np.ndarray, draws: int) -> np.ndarray:
    """Which of so many draws is meant by places 0 to 1."""
    return np.minimum((places * draws).astype(np.int64), draws - 1)


@dataclass(frozen=True)
class Sample:
    """`size` joint draws, K. values: all assumptions, drawn ones (K,). picked: (K,) draws of learned rates, or None."""

    size: int
    values: TrialValues
    picked: np.ndarray | None

    def some(self, which: np.ndarray) -> Sample:
        """The given draws (positions)."""
        return Sample(len(which), some_draws(self.values, which), None if self.picked is None else self.picked[which])


def load() -> None:
    """Load the library of the sequence now, so that processes forked from this one need not."""
    scipy.stats.qmc.Sobol  # noqa: B018  scipy loads what is asked for


def sample(study: Study, size: int, seed: int, tables: int) -> Sample | None:
    """Joint draws of all that a study does not know (a scrambled Sobol' sequence), None where it knows everything.

    size: a power of 2. tables: see `unknowns_of`.
    """
    rates = study.rate_draws
    unknowns = unknowns_of(study, tables, rates is not None)
    if not unknowns.keys:
        return None
    places = scipy.stats.qmc.Sobol(len(unknowns.keys), rng=np.random.default_rng(seed)).random(size)
    draws = unknowns.draws(places)
    # also what has a range of no width is drawn, so that all draws are as many
    values = unknowns.values(draws)
    return Sample(size, values, None if rates is None else picked_draw(draws[RATES_FROM_RECORDS.key], len(rates)))
