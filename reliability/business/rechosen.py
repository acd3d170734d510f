"""The best choice again at every draw: which laterals are converted and which settings a zone has."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy import sparse

from reliability.business.limits import Limits, converts, laterals_called
from reliability.business.options import AS_IT_IS, Options
from reliability.business.selection import NPV, choose
from reliability.business.unknowns import Sample
from reliability.business.zone_parts import ZonePart
from reliability.indices.draws import one_trial
from reliability.schema.values import Assumptions
from reliability.tasks import HERE, Workers

DRAW_GAP = 5e-3          # of a search at a draw


@dataclass(frozen=True)
class Rechosen:
    """Choices at K draws. laterals: (K, h) whether each is converted. setting: (K, z) index of each zone's setting."""

    laterals: np.ndarray
    setting: np.ndarray

    @classmethod
    def nothing(cls, draws: int, options: Options) -> Rechosen:
        """Nothing chosen yet among all options."""
        return cls(np.zeros((draws, len(options.heads)), dtype=bool),
                   np.full((draws, len(options.zones)), AS_IT_IS, dtype=np.int64))

    def put(self, at: np.ndarray, part: ZonePart, found: Rechosen) -> None:
        """Enter what was found at the draws `at` (positions) for a part of the options."""
        self.laterals[np.ix_(at, part.laterals)] = found.laterals
        self.setting[np.ix_(at, part.zones)] = found.setting


def free(limits: Limits, objective: str) -> bool:
    """Whether laterals can be chosen zone by zone: the highest NPV, and no limit on sums."""
    sums = (limits.budget, limits.units, limits.added_maifi_e, limits.added_maifi_e_feeder,
            limits.saidi_reduction_minutes)
    return objective == NPV and all(limit is None for limit in sums)


def best_without_limits(options: Options, limits: Limits, npv: np.ndarray) -> Rechosen:
    """The choice with the highest NPV at each draw, exact; npv: (K, rows). Only laterals may be forced in or out."""
    rows, draws = options.rows, len(npv)
    settings, zones, heads = options.fast.shape[1], len(options.zones), len(options.heads)
    lateral, setting = rows["lateral"].to_numpy(), rows["setting"].to_numpy()
    forced_in, forced_out = (laterals_called(options, names) for names in (limits.forced_in, limits.forced_out))
    puts = converts(options) & ~np.isin(lateral, forced_out)
    place = lateral * settings + setting
    converted = _best_of(npv, place, np.flatnonzero(puts), heads * settings)
    leaves = np.flatnonzero((lateral >= 0) & ~converts(options))
    left = np.zeros((draws, heads, settings))
    left.reshape(draws, -1)[:, place[leaves]] = npv[:, leaves]
    converted = converted.reshape(draws, heads, settings)
    left[:, forced_in] = -np.inf
    better = converted > left
    worth = np.full((draws, zones * settings), -np.inf)
    own = np.flatnonzero(lateral < 0)
    worth[:, rows["zone"].to_numpy()[own] * settings + setting[own]] = npv[:, own]
    worth = worth.reshape(draws, zones, settings)
    to_zone = sparse.csr_array((np.ones(heads), (options.zone, np.arange(heads))), (zones, heads))
    of_laterals = to_zone @ np.moveaxis(np.maximum(converted, left), 1, 0).reshape(heads, draws * settings)
    worth = worth + np.moveaxis(of_laterals.reshape(zones, draws, settings), 0, 1)
    best = worth.argmax(axis=2)
    return Rechosen(np.take_along_axis(better, best[:, options.zone, None], axis=2)[:, :, 0], best)


def _best_of(npv: np.ndarray, place: np.ndarray, at: np.ndarray, places: int) -> np.ndarray:
    """The highest NPV of the rows `at` in each place, (K, places), −inf where there is none."""
    best = np.full((len(npv), places), -np.inf)
    order = at[np.argsort(place[at], kind="stable")]
    if order.size:
        start = np.flatnonzero(np.diff(place[order], prepend=-1))
        best[:, place[order[start]]] = np.maximum.reduceat(npv[:, order], start, axis=1)
    return best


def best_within_limits(options: Options, limits: Limits, objective: str, sample: Sample,
                       workers: Workers = HERE) -> Rechosen:
    """The best choice found at each draw. options: whose effects know the learned rates."""
    workers = workers if workers.far else HERE
    known = workers.shared(options)
    found = list(workers.in_order(
        partial(_searched, known, limits, objective, one_trial(sample.values, k),
                None if sample.picked is None else sample.picked[k:k + 1]) for k in range(sample.size)))
    return Rechosen(np.stack([laterals for laterals, _ in found]), np.stack([setting for _, setting in found]))


def _searched(options: Options, limits: Limits, objective: str, values: Assumptions,
              picked: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
    """Whether each lateral is converted (h,), and the setting of each zone (z,), at one draw."""
    rows = options.rows
    lateral, zone, setting = (rows[name].to_numpy() for name in ("lateral", "zone", "setting"))
    choice = choose(options.at(values, picked), limits, objective, gap=DRAW_GAP)
    laterals, settings = np.zeros(len(options.heads), dtype=bool), np.full(len(options.zones), AS_IT_IS)
    laterals[lateral[choice.chosen & converts(options)]] = True
    own = choice.chosen & (lateral < 0)
    settings[zone[own]] = setting[own]
    return laterals, settings
