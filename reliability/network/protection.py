"""The protective devices of one scenario, every setting resolved, and the rules that settings keep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from reliability.network.devices import (
    BACKS_UP,
    CODE,
    COUNTS,
    FAST_BY_DEFAULT,
    MELTS,
    RECLOSES,
    THREE_PHASE_BY_DEFAULT,
)
from reliability.network.fuse_links import saving_ceilings_a
from reliability.network.tree import Network
from reliability.schema.devices import SINGLE_PHASE, THREE_PHASE
from reliability.schema.reference_tables import SECTIONALIZER_RATINGS
from reliability.schema.scenarios import UNCHANGED, Scenario

# Actuating current over continuous rating of a sectionalizer; common practice, no source.
ACTUATING_RATIO = 1.6


@dataclass(frozen=True)
class Protection:
    """Devices and settings over the n sections of a network, each array (n,).

    device: code, −1 for none. backup: the nearest reclosing device strictly above, −1 for none.
    lockout, fast: operations of a reclosing device, 0 elsewhere. ceiling_a: fault current below
    which a fast operation saves the fuse (infinite: always). counts, rated_a (NaN: unknown),
    actuating_a (0: always counts): of a sectionalizer. opens_all, locks_out_all: whether all poles
    open together on an opening that is followed by a reclosing, and on one that is not.
    converted: laterals' heads whose device the scenario changed.
    """

    device: np.ndarray
    backup: np.ndarray
    lockout: np.ndarray
    fast: np.ndarray
    ceiling_a: np.ndarray
    counts: np.ndarray
    rated_a: np.ndarray
    actuating_a: np.ndarray
    opens_all: np.ndarray
    locks_out_all: np.ndarray
    converted: np.ndarray

    @property
    def reclosing_device(self) -> np.ndarray:
        """R of every section: the nearest reclosing device at or above it, (n,)."""
        return np.where(RECLOSES[self.device], np.arange(len(self.device)), self.backup)


@cache
def offered_ratings_a() -> np.ndarray:
    """Continuous ratings offered (A), ascending, of the reference table."""
    return np.sort(pd.read_csv(SECTIONALIZER_RATINGS)["rated_current_a"].to_numpy(dtype=float))


def chosen_rating_a(peak_load_a: np.ndarray, load_margin: float, cold_load_factor: float) -> np.ndarray:
    """Smallest offered rating (A) that carries peak load (A) with the margin and stays put at pickup.

    Cold-load pickup may reach the actuating current (160 % of the rating), not exceed it.
    NaN where the load is unknown or above what any rating carries.
    """
    offered = offered_ratings_a()
    needed = np.maximum(load_margin * peak_load_a, cold_load_factor * peak_load_a / ACTUATING_RATIO)
    # a relative hair keeps 1.25 × 40 A on the 50 A rating whatever the rounding of the product
    at = np.searchsorted(offered * (1.0 + 1e-12), needed)
    fits = ~np.isnan(needed) & (at < len(offered))
    return np.where(fits, offered[np.minimum(at, len(offered) - 1)], np.nan)


def protection(network: Network, values: Mapping[str, object], scenario: Scenario = UNCHANGED) -> Protection:
    """Resolve the devices of a scenario (contract.md, scenarios).

    Raises ValueError for one with `applicable_only`, whose laterals are not settled yet: see
    `application.settle_scenarios`.
    """
    if scenario.applicable_only:
        raise ValueError(f"the laterals of scenario {scenario.name!r} are not settled")
    column = network.column
    device = network.device.copy()
    counts, lockout, fast = column["counts"], column["operations_to_lockout"], column["fast_operations"]
    rated, actuating, ceiling = column["rated_current_a"], column["actuating_current_a"], column["saving_ceiling_a"]
    tripping = network.text["tripping"]

    heads = named_heads(network, scenario)
    converted = np.zeros(len(network), dtype=bool)
    if scenario.device is not None and heads.size:
        target = CODE[scenario.device]
        same = heads[device[heads] == target]
        new = heads[device[heads] != target]
        converted[new] = True
        device[new] = target
        # what belonged to the old device goes with it
        counts, lockout, fast, rated, actuating, ceiling = (
            np.where(converted, np.nan, a) for a in (counts, lockout, fast, rated, actuating, ceiling))
        tripping = np.where(converted, "", tripping)
        if scenario.counts is not None:
            counts[new] = counts[same] = scenario.counts
    links = np.where(MELTS[device] & ~converted, network.text["fuse_link"], "").astype(object)
    unrated = np.isnan(rated) & COUNTS[device]
    rated = np.where(unrated, chosen_rating_a(column["peak_load_a"], values["load_margin"],
                                              values["cold_load_factor"]), rated)
    reclosing = RECLOSES[device]
    lockout = np.where(reclosing, _or(lockout, values["operations_to_lockout"]), 0)
    fast = _fast_operations(device, fast, lockout, values, scenario)
    tripping = np.where(MELTS[device], "", tripping)  # whatever is stated: a fuse has a link a phase
    by_default = (tripping == "") & THREE_PHASE_BY_DEFAULT[device]
    return Protection(
        device=device,
        backup=_backups(network, device),
        lockout=lockout.astype(np.int64),
        fast=np.where(reclosing, fast, 0).astype(np.int64),
        ceiling_a=np.where(np.isnan(ceiling), saving_ceilings_a(links, values["fast_clearing_time_s"]), ceiling),
        counts=_or(counts, values["sectionalizer_counts"]).astype(np.int64),
        rated_a=rated,
        actuating_a=_or(_or(actuating, ACTUATING_RATIO * rated), 0.0),
        opens_all=by_default | (tripping == THREE_PHASE),
        locks_out_all=by_default | ((tripping != "") & (tripping != SINGLE_PHASE)),
        converted=converted,
    )


def _or(known: np.ndarray, otherwise: float | np.ndarray) -> np.ndarray:
    return np.where(np.isnan(known), otherwise, known)


def _backups(network: Network, device: np.ndarray) -> np.ndarray:
    """Nearest reclosing device strictly above each section, −1 for none, (n,)."""
    above = np.where(network.parent >= 0, network.protective[network.parent], -1)
    while True:
        passed = np.flatnonzero((above >= 0) & ~RECLOSES[device[above]])
        if not passed.size:
            return above
        above[passed] = network.protective_above[above[passed]]


def named_heads(network: Network, scenario: Scenario) -> np.ndarray:
    """Positions of the heads of the laterals that a scenario names, ascending."""
    heads = network.lateral_heads
    if scenario.laterals is None:
        return heads
    return heads[np.isin(network.ids[heads].astype(str), np.array(scenario.laterals, dtype=str))]


def _fast_operations(device: np.ndarray, fast: np.ndarray, lockout: np.ndarray, values: Mapping[str, object],
                     scenario: Scenario) -> np.ndarray:
    """Fast operations of every device; a scenario's own are for breakers and reclosers, below each one's lockout."""
    fast = _or(fast, np.where(FAST_BY_DEFAULT[device], float(values["fast_operations"]), 0.0))
    if scenario.fast_operations is None:
        return fast
    return np.where(BACKS_UP[device], np.minimum(scenario.fast_operations, lockout - 1), fast)


def fast_not_below_lockout(found: Protection) -> np.ndarray:
    """Reclosing devices whose fast operations are not below their operations to lockout, positions."""
    return np.flatnonzero(RECLOSES[found.device] & (found.fast >= found.lockout))


def most_counts(found: Protection) -> np.ndarray:
    """Most counts with which a sectionalizer at each section still opens, (n,): its backup's operations less one.

    A sectionalizer opens in a dead time, and there is none after the last operation (model §3).
    """
    return np.where(found.backup >= 0, found.lockout[found.backup] - 1, 0)


def counts_too_many(found: Protection) -> np.ndarray:
    """Sectionalizers behind a reclosing device that locks out before they reach their counts, positions."""
    return np.flatnonzero(COUNTS[found.device] & (found.backup >= 0) & (found.counts > most_counts(found)))


