"""How faults split by what one operation does between fuse and reclosing device: the fuse saved, both, the fuse alone.

The race of model §3 for the fuse nearest the fault, with every device working, every fuse holding the link recorded
and reclosing on; integrated along each section, as the current falls along it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.faults.parts import THREE_PHASE, part_probability, parts_of_rows
from reliability.faults.places import split_places
from reliability.network.coordination import Coordination, coordination
from reliability.network.device_settings import ALL_ELEMENTS, FAST_OPERATION, KINDS, PHASE_ELEMENTS
from reliability.network.devices import MELTS, RECLOSES
from reliability.network.forest import nearest
from reliability.network.protection import Protection
from reliability.network.race import BOTH, DEVICE_ALONE, FUSE_ALONE, NONE
from reliability.network.rates import fault_rates
from reliability.network.tree import Network
from reliability.schema.values import Assumptions

# What may happen on an operation, beyond the three of the race: see OUTCOMES.
UNKNOWN, NO_FUSE, NOT_SET = 3, 4, 5
OUTCOMES = {
    DEVICE_ALONE: ("saved", "recloser alone (fuse saved)"), BOTH: ("both", "both"),
    FUSE_ALONE: ("fuse_alone", "fuse alone"), UNKNOWN: ("unknown", "fault current unknown"),
    NO_FUSE: ("no_fuse", "no fuse in between"), NOT_SET: ("not_set", "no fast operation set"),
}
KEYS = tuple(key for key, _ in OUTCOMES.values())
OPERATIONS = ("fast", "delayed")                 # in the order of FAST_OPERATION, DELAYED_OPERATION
FACTORS = (1.0, 1.25, 1.5, 2.0)                  # × fault currents: the source grows; our choice


@dataclass(frozen=True)
class OutcomeSplit:
    """Faults of n sections by outcome.

    share: (n, KINDS, OUTCOMES) of a section's faults, sum 1 over the outcomes. length_km, faults: (n,), faults a year.
    """

    share: np.ndarray
    length_km: np.ndarray
    faults: np.ndarray

    def km(self, sections: np.ndarray) -> np.ndarray:
        """Kilometres of some sections (positions or mask) by outcome, (KINDS, OUTCOMES).

        Where protection tells parts of a section's faults apart, a kilometre counts by their shares.
        """
        return np.tensordot(self.length_km[sections], self.share[sections], 1)

    def faults_a_year(self, sections: np.ndarray) -> np.ndarray:
        """Faults a year of some sections by outcome, (KINDS, OUTCOMES)."""
        return np.tensordot(self.faults[sections], self.share[sections], 1)

    def shares(self, sections: np.ndarray) -> np.ndarray:
        """Share of the faults of some sections in each outcome, (KINDS, OUTCOMES); NaN where there are no faults."""
        faults = self.faults_a_year(sections)
        total = faults.sum(axis=1, keepdims=True)
        return np.divide(faults, total, out=np.full(faults.shape, np.nan), where=total > 0)


def nearest_fuse(network: Network, found: Protection) -> np.ndarray:
    """The fuse that races for faults on each section: the nearest at or above, below R; NONE without, (n,)."""
    stop = nearest(network.parent, MELTS[found.device] | RECLOSES[found.device])
    return np.where(MELTS[found.device[stop]], stop, NONE)


def split_by_outcome(network: Network, values: Assumptions, found: Protection,
                     races: Coordination | None = None) -> OutcomeSplit:
    """Faults of every section by what a fast and a delayed operation do.

    races: `coordination(network, values, (found,))` where it is there; it does not depend on the fault currents.
    """
    races = races or coordination(network, values, (found,))
    places, recloser = split_places(network, values, (found,), races), found.reclosing_device
    hears_ground = np.append(network.settings.has_ground, False)[found.settings_of[recloser]]
    part, row = parts_of_rows(network, hears_ground, places.section)
    section, current = places.section[row], places.current_a[row]
    weight = places.width[row] * part_probability(part, values)
    fuse = nearest_fuse(network, found)[section]
    pair = np.where(fuse == NONE, NONE, races.right[0][fuse])
    share = np.zeros((len(network), KINDS, len(OUTCOMES)))
    for kind in range(KINDS):
        what = np.full(len(section), NO_FUSE)
        fused = np.flatnonzero(pair != NONE)
        what[fused] = races.race.outcome_at(pair[fused], np.full(len(fused), kind), np.where(
            part[fused] == THREE_PHASE, PHASE_ELEMENTS, ALL_ELEMENTS), current[fused]) if len(fused) else NO_FUSE
        what = np.where((what != NO_FUSE) & np.isnan(current), UNKNOWN, what)
        if kind == FAST_OPERATION:
            what = np.where((what != NO_FUSE) & (found.fast[recloser[section]] == 0), NOT_SET, what)
        flat = np.bincount(section * len(OUTCOMES) + what, weight, len(network) * len(OUTCOMES))
        share[:, kind] = flat.reshape(len(network), len(OUTCOMES))
    return OutcomeSplit(share, np.nan_to_num(network.column["length_km"]), fault_rates(network, values))


def splits_by_factor(network: Network, values: Assumptions, found: Protection,
                     factors: Sequence[float] = FACTORS) -> dict[float, OutcomeSplit]:
    """`split_by_outcome` at some factors on the fault currents and at the study's own, ascending by factor."""
    races = coordination(network, values, (found,))
    return {factor: split_by_outcome(network, {**values, "fault_current_factor": factor}, found, races)
            for factor in sorted({*map(float, factors), float(values["fault_current_factor"])})}


def laterals_frame(network: Network, split: OutcomeSplit, heads: np.ndarray) -> pd.DataFrame:
    """A row a candidate (positions of heads) and operation: its faults a year, and the share of each outcome."""
    rows = []
    for head in heads.tolist():
        mask = network.unit == head
        for operation, shares in zip(OPERATIONS, split.shares(mask), strict=True):
            rows.append({"lateral_id": str(network.ids[head]), "operation": operation,
                         "faults_per_year": float(split.faults[mask].sum()), **dict(zip(KEYS, shares, strict=True))})
    return pd.DataFrame(rows, columns=["lateral_id", "operation", "faults_per_year", *KEYS])


def feeders_frame(network: Network, split: OutcomeSplit) -> pd.DataFrame:
    """A row a feeder, part of it (laterals: every candidate with what lies below; mains), operation and outcome:
    kilometres and faults a year."""
    rows = []
    for feeder, name in enumerate(network.feeder_ids):
        for part, inside in (("laterals", network.unit >= 0), ("mains", network.unit < 0)):
            mask = inside & (network.feeder == feeder)
            km, faults = split.km(mask), split.faults_a_year(mask)
            rows += [(str(name), part, operation, OUTCOMES[what][1], float(km[kind, what]), float(faults[kind, what]))
                     for kind, operation in enumerate(OPERATIONS) for what in OUTCOMES]
    return pd.DataFrame(rows, columns=["feeder_id", "part", "operation", "outcome", "km", "faults_per_year"])


def growth_frame(splits: dict[float, OutcomeSplit], sections: np.ndarray) -> pd.DataFrame:
    """A row a factor on the fault currents and operation: share of the faults of some sections in each outcome."""
    rows = [{"fault_current_factor": factor, "operation": operation, **dict(zip(KEYS, shares, strict=True))}
            for factor, split in splits.items()
            for operation, shares in zip(OPERATIONS, split.shares(sections), strict=True)]
    return pd.DataFrame(rows, columns=["fault_current_factor", "operation", *KEYS])
