"""The sectionalizer proposed for each lateral: rating, actuating current, counts, and its backup."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from reliability.network.device_settings import DELAYED_OPERATION, FAST_OPERATION, least_pickup_a, pickups_a
from reliability.network.devices import COUNTS, MELTS, RECLOSES
from reliability.network.model import Model
from reliability.network.protection import chosen_rating_a, protection
from reliability.network.tree import Network
from reliability.schema.columns import MOST_COUNTS
from reliability.schema.scenarios import Scenario


@dataclass(frozen=True)
class Proposal:
    """Settings of a sectionalizer at each of m laterals' heads, arrays (m,), NaN where unknown.

    head, backup: positions in the network; backup is the reclosing device above, −1 without one.
    lockout, fast: the backup's operations under the scenario. minimum_trip_a: the least pickup of its elements, phase
    or ground, where the study has its settings, else what its section states. trips_above_a: current above which it
    trips on every opening up to the device's counts. settings_of: place of its settings, −1 without. dead_time_s: its
    first.
    longest_dead_time_s: its own, or the study's. by_phase: bool, whether the device opens the phases involved alone.
    most_counts: largest admissible.
    counts: those the choice, the scenario or the section asks for, else the largest admissible.
    counts_in_model: those that expected values are computed with.
    counts_below: the most counts of a sectionalizer in the lateral that counts for the same
    backup, 0 for none. fuse_below: whether a fuse below answers to the same backup.
    """

    head: np.ndarray
    backup: np.ndarray
    lockout: np.ndarray
    fast: np.ndarray
    minimum_trip_a: np.ndarray
    trips_above_a: np.ndarray
    settings_of: np.ndarray
    dead_time_s: np.ndarray
    longest_dead_time_s: np.ndarray
    by_phase: np.ndarray
    rated_a: np.ndarray
    actuating_a: np.ndarray
    most_counts: np.ndarray
    counts: np.ndarray
    counts_in_model: np.ndarray
    counts_below: np.ndarray
    fuse_below: np.ndarray

    def some(self, at: np.ndarray) -> Proposal:
        """Those of the given laterals (positions)."""
        return Proposal(**{name: array[at] for name, array in vars(self).items()})


def propose(model: Model, scenario: Scenario, counts: np.ndarray | None = None,
            fast_operations: np.ndarray | None = None) -> Proposal:
    """Settings of a sectionalizer at every lateral's head under a scenario's backups and counts.

    counts, fast_operations of the backup: (m,), in place of the scenario's where they are not NaN.
    """
    network, values = model.network, model.values
    after = protection(model, Scenario(scenario.name, fast_operations=scenario.fast_operations))
    head = network.candidates
    # nothing that opens one phase stands above a lateral's head, so the next device up recloses
    backup = network.protective_above[head]
    known = backup >= 0
    lockout, fast = (np.where(known, a[backup], np.nan) for a in (after.lockout, after.fast))
    fast = _either(fast_operations, fast)
    most = np.minimum(lockout - 1.0, MOST_COUNTS)
    stands = COUNTS[network.device[head]]
    stated = np.where(stands, network.column["counts"][head], np.nan)
    rated = np.where(stands, network.column["rated_current_a"][head], np.nan)
    rated = np.where(np.isnan(rated), chosen_rating_a(network.column["peak_load_a"][head], values), rated)
    actuating = np.where(stands, network.column["actuating_current_a"][head], np.nan)
    asked = _either(counts, stated if scenario.counts is None else np.full(len(head), float(scenario.counts)))
    proposed = np.where(np.isnan(asked), np.where(most >= 1.0, most, np.nan), asked)
    in_model = np.where(np.isnan(asked), values["sectionalizer_counts"], asked)
    # a new one, and one whose counts a scenario sets, takes no more than its backup admits
    lowered = ~stands | (scenario.counts is not None)
    in_model = np.where(lowered & (most >= 1.0), np.minimum(in_model, most), in_model)
    counts_below, fuse_below = _below(network, after.counts)
    of_backup = _of_backup(model, backup)
    # an opening after the fast ones is by delayed elements alone
    kind = np.where(proposed <= fast, FAST_OPERATION, DELAYED_OPERATION)
    own = np.where(of_backup["settings_of"] >= 0, np.vstack([pickups_a(network.settings), np.full(2, np.nan)])[
        of_backup["settings_of"], kind], of_backup["minimum_trip_a"])
    return Proposal(
        head, backup, lockout, fast, **of_backup, trips_above_a=own,
        by_phase=~(stands & after.opens_all[head]), rated_a=rated,
        actuating_a=np.where(np.isnan(actuating), values["actuating_ratio"] * rated, actuating),
        most_counts=most, counts=proposed, counts_in_model=in_model,
        counts_below=counts_below, fuse_below=fuse_below)


def _either(settled: np.ndarray | None, otherwise: np.ndarray) -> np.ndarray:
    return otherwise if settled is None else np.where(np.isnan(settled), otherwise, settled)


def _of_backup(model: Model, backup: np.ndarray) -> dict[str, np.ndarray]:
    """Minimum trip, settings and dead times of the backups (m,), −1 without one, under the names of `Proposal`."""
    network, values = model.network, model.values
    trip, first, longest = (np.where(backup >= 0, network.column[name][backup], np.nan)
                            for name in ("minimum_trip_a", "dead_time_s", "longest_dead_time_s"))
    own = np.where(backup >= 0, network.settings_of[backup], -1)
    trip = np.where(own >= 0, np.append(least_pickup_a(network.settings), np.nan)[own], trip)
    # where only the first is stated and is longer than the study's longest, the others are no shorter
    usual = np.maximum(values["longest_dead_time_s"], np.nan_to_num(first))
    return {"minimum_trip_a": trip, "settings_of": own, "dead_time_s": first,
            "longest_dead_time_s": np.where(np.isnan(longest), usual, longest)}


def _below(network: Network, counts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(most counts of a sectionalizer, whether there is a fuse) below each head and the same backup, (m,)."""
    most = np.zeros(len(network.candidates))
    fuse = np.zeros(len(most), dtype=bool)
    for inside, at in inside_laterals(network):
        counted = COUNTS[network.device[inside]]
        np.maximum.at(most, at[counted], counts[inside[counted]].astype(float))
        fuse[at[~counted]] = True
    return most, fuse


def inside_laterals(network: Network) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Sections with a fuse or sectionalizer below a lateral's head that answer to the same backup, and the laterals,
    (k,) each; once for every lateral that they are in."""
    index = network.candidate_index
    passed = network.along_path(RECLOSES[network.device].astype(float))
    section = np.flatnonzero((COUNTS | MELTS)[network.device] & (network.unit >= 0))
    head = network.unit[section]
    while section.size:
        # the device at the head gives way to the sectionalizer; one that recloses further down does not
        same = (head != section) & (passed[head] == passed[section])
        yield section[same], index[head[same]]
        head = np.where(network.parent[head] >= 0, network.unit[network.parent[head]], -1)
        section, head = section[head >= 0], head[head >= 0]
