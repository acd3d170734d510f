"""The protective devices of one scenario, every setting resolved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from reliability.network.fuse_links import saving_ceilings_a
from reliability.network.tree import CODE, GANG, RECLOSING, Network
from reliability.schema.devices import FUSE, LATERAL_RECLOSER, SECTIONALIZER
from reliability.schema.reference_tables import SECTIONALIZER_RATINGS
from reliability.schema.scenarios import Scenario
from reliability.study.protection import default_fast_operations

# Actuating current over continuous rating of a sectionalizer; common practice, no source.
ACTUATING_RATIO = 1.6


@dataclass(frozen=True)
class Protection:
    """Devices and settings over the n sections of a network, each array (n,).

    device: code, −1 for none. lockout, fast: operations of a reclosing device, 0 elsewhere.
    ceiling_a: fault current below which a fast operation saves the fuse (infinite: always).
    counts, rated_a (NaN: unknown), actuating_a (0: always counts): of a sectionalizer.
    converted: laterals' heads whose device the scenario changed.
    """

    device: np.ndarray
    lockout: np.ndarray
    fast: np.ndarray
    ceiling_a: np.ndarray
    counts: np.ndarray
    rated_a: np.ndarray
    actuating_a: np.ndarray
    converted: np.ndarray


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


def protection(network: Network, values: Mapping[str, object], scenario: Scenario) -> Protection:
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
    links = np.where(device == CODE[FUSE], network.fuse_link, "").astype(object)

    heads = named_heads(network, scenario)
    converted = np.zeros(len(network), dtype=bool)
    if scenario.device is not None and heads.size:
        target = CODE[scenario.device]
        same = heads[device[heads] == target]
        new = heads[device[heads] != target]
        converted[new] = True
        device[new] = target
        # what belonged to the old device goes with it
        links[new] = ""
        counts, lockout, fast, rated, actuating, ceiling = (
            np.where(converted, np.nan, a) for a in (counts, lockout, fast, rated, actuating, ceiling))
        if scenario.counts is not None:
            counts[new] = counts[same] = scenario.counts
    unrated = np.isnan(rated) & (device == CODE[SECTIONALIZER])
    rated = np.where(unrated, chosen_rating_a(column["peak_load_a"], values["load_margin"],
                                              values["cold_load_factor"]), rated)
    reclosing = np.isin(device, RECLOSING)
    lockout = np.where(reclosing, _or(lockout, values["operations_to_lockout"]), 0)
    fast = _fast_operations(device, fast, lockout, values, scenario)
    from_link = saving_ceilings_a(links, values["fast_clearing_time_s"])
    return Protection(
        device=device,
        lockout=lockout.astype(np.int64),
        fast=np.where(reclosing, fast, 0).astype(np.int64),
        ceiling_a=np.where(np.isnan(ceiling), from_link, ceiling),
        counts=_or(counts, values["sectionalizer_counts"]).astype(np.int64),
        rated_a=rated,
        actuating_a=_or(_or(actuating, ACTUATING_RATIO * rated), 0.0),
        converted=converted,
    )


def _or(known: np.ndarray, otherwise: float | np.ndarray) -> np.ndarray:
    return np.where(np.isnan(known), otherwise, known)


def named_heads(network: Network, scenario: Scenario) -> np.ndarray:
    """Positions of the heads of the laterals that a scenario names, ascending."""
    heads = network.lateral_heads
    if scenario.laterals is None:
        return heads
    return heads[np.isin(network.ids[heads].astype(str), np.array(scenario.laterals, dtype=str))]


def _fast_operations(device: np.ndarray, fast: np.ndarray, lockout: np.ndarray, values: Mapping[str, object],
                     scenario: Scenario) -> np.ndarray:
    """Fast operations of every device; a scenario's own are for breakers and reclosers, below each one's lockout."""
    fast = _or(fast, default_fast_operations(device == CODE[LATERAL_RECLOSER], values))
    if scenario.fast_operations is None:
        return fast
    return np.where(np.isin(device, GANG), np.minimum(scenario.fast_operations, lockout - 1), fast)
