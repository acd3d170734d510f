"""How faults split by what one operation does between fuse and reclosing device: the fuse saved, both, the fuse alone.

The race of model §3 for the fuse nearest the fault, with every device working, every fuse holding the link recorded
and reclosing on; integrated along each section, as the current falls along it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.faults.parts import THREE_PHASE_FAULTS, part_probability, parts_of_rows
from reliability.faults.places import split_places
from reliability.network.coordination import Coordination, coordination, known_link
from reliability.network.device_settings import ALL_ELEMENTS, FAST_OPERATION, OPERATION_KINDS, PHASE_ELEMENTS
from reliability.network.devices import MELTS, RECLOSES
from reliability.network.forest import nearest
from reliability.network.link_curves import own_curves
from reliability.network.model import Model
from reliability.network.protection import Protection
from reliability.network.race import BOTH, DEVICE_ALONE, FUSE_ALONE, NONE
from reliability.network.rates import fault_rates
from reliability.network.tree import Network
from reliability.schema.devices import DEVICES

# What may happen on an operation, beyond the three of the race: see OUTCOME_WORDS.
UNKNOWN_OUTCOME, NO_FUSE, NOT_SET = 3, 4, 5
OUTCOME_WORDS = {
    DEVICE_ALONE: ("saved", "recloser alone (fuse saved)"), BOTH: ("both", "both"),
    FUSE_ALONE: ("fuse_alone", "fuse alone"), UNKNOWN_OUTCOME: ("unknown", "fault current unknown"),
    NO_FUSE: ("no_fuse", "no fuse in between"), NOT_SET: ("not_set", "no fast operation set"),
}
OUTCOME_KEYS = tuple(key for key, _ in OUTCOME_WORDS.values())
OPERATION_NAMES = ("fast", "delayed")                 # in the order of FAST_OPERATION, DELAYED_OPERATION
GROWTH_FACTORS = (1.0, 1.25, 1.5, 2.0)                  # × fault currents: the source grows; our choice


@dataclass(frozen=True)
class OutcomeSplit:
    """Faults of n sections by outcome.

    share: (n, OPERATION_KINDS, outcomes) of a section's faults, sum 1 over the outcomes. length_km, faults: (n,),
    faults a year.
    """

    share: np.ndarray
    length_km: np.ndarray
    faults: np.ndarray

    def km(self, sections: np.ndarray) -> np.ndarray:
        """Kilometres of some sections (positions or mask) by outcome, (OPERATION_KINDS, outcomes).

        Where protection tells parts of a section's faults apart, a kilometre counts by their shares.
        """
        return np.tensordot(self.length_km[sections], self.share[sections], 1)

    def faults_a_year(self, sections: np.ndarray) -> np.ndarray:
        """Faults a year of some sections by outcome, (OPERATION_KINDS, outcomes)."""
        return np.tensordot(self.faults[sections], self.share[sections], 1)

    def shares(self, sections: np.ndarray) -> np.ndarray:
        """Share of the faults of some sections in each outcome, (OPERATION_KINDS, outcomes); NaN without faults."""
        faults = self.faults_a_year(sections)
        total = faults.sum(axis=1, keepdims=True)
        return np.divide(faults, total, out=np.full(faults.shape, np.nan), where=total > 0)


def nearest_fuse(network: Network, found: Protection) -> np.ndarray:
    """The fuse that races for faults on each section: the nearest at or above, below R; NONE without, (n,)."""
    stop = nearest(network.parent, MELTS[found.device] | RECLOSES[found.device])
    return np.where(MELTS[found.device[stop]], stop, NONE)


def split_by_outcome(model: Model, found: Protection,
                     races: Coordination | None = None) -> OutcomeSplit:
    """Faults of every section by what a fast and a delayed operation do.

    races: `coordination(network, values, (found,))` where it is there; it does not depend on the fault currents.
    """
    network, values = model.network, model.values
    races = races or coordination(model, (found,))
    places, recloser = split_places(model, (found,), races), found.reclosing_device
    hears_ground = np.append(network.settings.has_ground, False)[found.settings_of[recloser]]
    part, row = parts_of_rows(network, hears_ground, places.section)
    section, current = places.section[row], places.current_a[row]
    weight = places.width[row] * part_probability(part, values)
    fuse = nearest_fuse(network, found)[section]
    pair = np.where(fuse == NONE, NONE, races.right[0][fuse])
    share = np.zeros((len(network), OPERATION_KINDS, len(OUTCOME_WORDS)))
    for kind in range(OPERATION_KINDS):
        outcome = np.full(len(section), NO_FUSE)
        fused = np.flatnonzero(pair != NONE)
        outcome[fused] = races.race.outcome_at(pair[fused], np.full(len(fused), kind), np.where(
            part[fused] == THREE_PHASE_FAULTS, PHASE_ELEMENTS, ALL_ELEMENTS), current[fused]) if len(fused) else NO_FUSE
        outcome = np.where((outcome != NO_FUSE) & np.isnan(current), UNKNOWN_OUTCOME, outcome)
        if kind == FAST_OPERATION:
            outcome = np.where((outcome != NO_FUSE) & (found.fast[recloser[section]] == 0), NOT_SET, outcome)
        flat = np.bincount(section * len(OUTCOME_WORDS) + outcome, weight, len(network) * len(OUTCOME_WORDS))
        share[:, kind] = flat.reshape(len(network), len(OUTCOME_WORDS))
    # a place's shares add up to 1 but for rounding
    share /= share.sum(axis=2, keepdims=True)
    return OutcomeSplit(share, np.nan_to_num(network.column["length_km"]), fault_rates(model))


def splits_by_factor(model: Model, found: Protection,
                     factors: Sequence[float] = GROWTH_FACTORS) -> dict[float, OutcomeSplit]:
    """`split_by_outcome` at some factors on the fault currents and at the study's own, ascending by factor."""
    network, values = model.network, model.values
    races = coordination(model, (found,))
    return {factor: split_by_outcome(Model(network, {**values, "fault_current_factor": factor}), found, races)
            for factor in sorted({*map(float, factors), float(values["fault_current_factor"])})}


def laterals_frame(network: Network, found: Protection, split: OutcomeSplit) -> pd.DataFrame:
    """A row a candidate and operation: its faults a year, and the share of each outcome, NaN where it has no faults.

    fuse_link: of a fuse at the head, "" where unknown. rule: "curves" where the head's link and settings of the
    reclosing device are known, "fast clearing time" where one is not, "no fuse" where none stands there.
    """
    heads, place = network.candidates, network.candidate_index
    recloser = found.reclosing_device[heads]
    fused = MELTS[found.device[heads]]
    own = own_curves(network.curves)
    texts = found.link[heads].tolist()
    known = {text: known_link(str(text), own) for text in dict.fromkeys(texts)}
    link = np.array([known[text] for text in texts], dtype=object)
    rule = np.where(~fused, "no fuse", np.where((link != "") & (found.settings_of[recloser] >= 0), "curves",
                                                "fast clearing time"))
    on = place >= 0
    faults = np.zeros((len(heads), OPERATION_KINDS, len(OUTCOME_WORDS)))
    np.add.at(faults, place[on], split.share[on] * split.faults[on, None, None])
    total = faults[:, 0].sum(axis=1)
    shares = np.divide(faults, total[:, None, None], out=np.full(faults.shape, np.nan), where=total[:, None, None] > 0)
    frames = [pd.DataFrame({
        "lateral_id": network.ids[heads].astype(str), "device": [DEVICES[d] for d in found.device[heads]],
        "fuse_link": np.where(fused, link, ""), "recloser_id": network.ids[recloser].astype(str),
        "fast_operations": found.fast[recloser], "rule": rule, "operation": operation, "faults_per_year": total,
        **{key: shares[:, kind, what] for what, key in enumerate(OUTCOME_KEYS)},
    }) for kind, operation in enumerate(OPERATION_NAMES)]
    return pd.concat(frames).sort_index(kind="stable").reset_index(drop=True)


def feeders_frame(network: Network, split: OutcomeSplit) -> pd.DataFrame:
    """A row a feeder, part of it (laterals: every candidate with what lies below; mains), operation and outcome:
    kilometres and faults a year."""
    rows, order = [], np.argsort(2 * network.feeder + (network.unit < 0), kind="stable")
    ends = np.searchsorted((2 * network.feeder + (network.unit < 0))[order], np.arange(2 * len(network.feeder_ids) + 1))
    for feeder, name in enumerate(network.feeder_ids):
        for k, part in enumerate(("laterals", "mains")):
            sections = order[ends[2 * feeder + k]:ends[2 * feeder + k + 1]]
            km, faults = split.km(sections), split.faults_a_year(sections)
            rows += [(str(name), part, operation, OUTCOME_WORDS[outcome][1], float(km[kind, outcome]),
                      float(faults[kind, outcome]))
                     for kind, operation in enumerate(OPERATION_NAMES) for outcome in OUTCOME_WORDS]
    return pd.DataFrame(rows, columns=["feeder_id", "part", "operation", "outcome", "km", "faults_per_year"])


def growth_frame(splits: dict[float, OutcomeSplit], sections: np.ndarray) -> pd.DataFrame:
    """A row a factor on the fault currents and operation: share of the faults of some sections in each outcome."""
    rows = [{"fault_current_factor": factor, "operation": operation, **dict(zip(OUTCOME_KEYS, shares, strict=True))}
            for factor, split in splits.items()
            for operation, shares in zip(OPERATION_NAMES, split.shares(sections), strict=True)]
    return pd.DataFrame(rows, columns=["fault_current_factor", "operation", *OUTCOME_KEYS])
