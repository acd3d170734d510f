"""The protective devices of one scenario, every setting resolved, and the rules that settings keep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd

from reliability.network.conversions import backups, conversions, possible
from reliability.network.devices import (
    BACKS_UP,
    COUNTS,
    FAST_BY_DEFAULT,
    MELTS,
    RECLOSES,
    THREE_PHASE_BY_DEFAULT,
)
from reliability.network.model import Model
from reliability.network.tree import Network
from reliability.schema.columns import MOST_COUNTS
from reliability.schema.devices import SINGLE_PHASE, THREE_PHASE
from reliability.schema.reference_tables import SECTIONALIZER_RATINGS
from reliability.schema.scenarios import UNCHANGED, Scenario
from reliability.schema.values import Assumptions

# Columns of a section that belong to its device and go with it when another takes its place.
COLUMNS_OF_A_DEVICE = ("operations_to_lockout", "fast_operations", "counts", "rated_current_a", "actuating_current_a",
                       "saving_ceiling_a", "reclosing_off_share")


@dataclass(frozen=True)
class Protection:
    """Devices and settings over the n sections of a network, each array (n,).

    device: code, −1 for none. backup: the nearest reclosing device strictly above, −1 for none.
    lockout, fast: operations of a reclosing device, 0 elsewhere. settings_of: place of its settings in
    `Network.settings`, −1 without. off_share: share of its faults while reclosing is off, NaN where it is the study's.
    link: of a fuse, "" where unknown. stated_ceiling_a: saving ceiling that the study states, NaN where it is computed.
    counts, rated_a (NaN: unknown), actuating_a (0: always counts): of a sectionalizer. opens_all,
    locks_out_all: whether all poles open together on an opening that is followed by a reclosing, and on one that is
    not. converted: sections whose device the scenario changed.
    """

    device: np.ndarray
    backup: np.ndarray
    lockout: np.ndarray
    fast: np.ndarray
    settings_of: np.ndarray
    off_share: np.ndarray
    link: np.ndarray
    stated_ceiling_a: np.ndarray
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


def chosen_rating_a(peak_load_a: np.ndarray, values: Assumptions) -> np.ndarray:
    """Smallest offered rating (A) that carries peak load (A) with the margin and stays put at pickup.

    Cold-load pickup may reach the actuating current (`actuating_ratio` × rating), not exceed it.
    NaN where the load is unknown or above what any rating carries.
    """
    offered = offered_ratings_a()
    needed = np.maximum(values["load_margin"] * peak_load_a,
                        values["cold_load_factor"] * peak_load_a / values["actuating_ratio"])
    # a relative tolerance keeps 1.25 × 40 A on the 50 A rating whatever the rounding of the product
    at = np.searchsorted(offered * (1.0 + 1e-12), needed)
    fits = ~np.isnan(needed) & (at < len(offered))
    return np.where(fits, offered[np.minimum(at, len(offered) - 1)], np.nan)


def protection(model: Model, scenario: Scenario = UNCHANGED) -> Protection:
    """Resolve the devices of a scenario (contract.md, scenarios).

    Raises ValueError for one with `applicable_only`, whose laterals are not settled yet: see
    `application.settle_scenarios`.
    """
    network, values = model.network, model.values
    if scenario.applicable_only:
        raise ValueError(f"the laterals of scenario {scenario.name!r} are not settled")
    own = {name: network.column[name] for name in COLUMNS_OF_A_DEVICE}
    stated = _or(own["operations_to_lockout"], values["operations_to_lockout"])
    asked = conversions(network, scenario)
    # a lateral recloser that takes another device's place has the usual operations
    usual = np.where(RECLOSES[network.device], stated, float(values["operations_to_lockout"]))
    made = possible(network, asked, usual)
    device = network.device.copy()
    device[made.head] = made.device
    converted = device != network.device
    # what belonged to an old device goes with it
    own = {name: np.where(converted, np.nan, stated) for name, stated in own.items()}

    reclosing = RECLOSES[device]
    backup = backups(network, device)
    lockout = np.where(reclosing, _or(own["operations_to_lockout"], values["operations_to_lockout"]), 0).astype(int)
    counts = _or(own["counts"], values["sectionalizer_counts"])
    counts[made.head] = _or(made.counts, counts[made.head])
    most = np.where(backup >= 0, lockout[backup] - 1, MOST_COUNTS)
    lowered = made.head[COUNTS[made.device] & (converted[made.head] | ~np.isnan(made.counts))]
    counts[lowered] = np.minimum(counts[lowered], most[lowered])
    fast = _or(own["fast_operations"], np.where(FAST_BY_DEFAULT[device], float(values["fast_operations"]), 0.0))
    fast = np.where(reclosing, _fast_operations(network, device, fast, lockout, scenario), 0)
    rated = np.where(np.isnan(own["rated_current_a"]) & COUNTS[device],
                     chosen_rating_a(network.column["peak_load_a"], values), own["rated_current_a"])
    tripping = np.where(converted | MELTS[device], "", network.text["tripping"])  # a fuse has a link a phase
    by_default = (tripping == "") & THREE_PHASE_BY_DEFAULT[device]
    return Protection(
        device=device, backup=backup, lockout=lockout, fast=fast.astype(int), counts=counts.astype(int), rated_a=rated,
        actuating_a=_or(_or(own["actuating_current_a"], values["actuating_ratio"] * rated), 0.0),
        stated_ceiling_a=own["saving_ceiling_a"],
        link=np.where(MELTS[device] & ~converted, network.text["fuse_link"], ""),
        settings_of=np.where(reclosing & ~converted, network.settings_of, -1),
        off_share=np.where(reclosing, own["reclosing_off_share"], np.nan),
        opens_all=by_default | (tripping == THREE_PHASE),
        locks_out_all=by_default | ((tripping != "") & (tripping != SINGLE_PHASE)),
        converted=converted,
    )


def protections_of(model: Model, scenarios: Sequence[Scenario]) -> tuple[Protection, ...]:
    """Those of several scenarios; what one has all over the network as the first has it stands in memory once."""
    each: list[Protection] = []
    for scenario in scenarios:
        found = protection(model, scenario)
        alike = {name: array for name, array in vars(each[0]).items() if _equal(array, getattr(found, name))
                 } if each else {}
        each.append(replace(found, **alike))
    return tuple(each)


def _equal(a: np.ndarray, b: np.ndarray) -> bool:
    return bool(np.array_equal(a, b, equal_nan=a.dtype.kind == "f"))


def _or(known: np.ndarray, otherwise: float | np.ndarray) -> np.ndarray:
    return np.where(np.isnan(known), otherwise, known)


def _fast_operations(network: Network, device: np.ndarray, fast: np.ndarray, lockout: np.ndarray,
                     scenario: Scenario) -> np.ndarray:
    """Fast operations of every device; those of a scenario stay below each device's operations to lockout."""
    wanted = scenario.fast_operations
    if wanted is None:
        return fast
    if isinstance(wanted, Mapping):
        by_name = np.array([wanted.get(name, np.nan) for name in network.ids.astype(str)], dtype=float)
    else:
        by_name = np.where(BACKS_UP[device], float(wanted), np.nan)
    return np.where(np.isnan(by_name), fast, np.minimum(by_name, lockout - 1))


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


