"""What a device at the head of a lateral answers for: its stretch of line, currents, exposure.

A device answers for the faults from its own section down to the next protective devices, so
for sub-laterals down to their own fuses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.network.model import Model
from reliability.network.rates import fault_currents_a, fault_rates


@dataclass(frozen=True)
class Reach:
    """The z sections that the devices at m heads answer for.

    section: (z,) position of the section. lateral: (z,) index into the heads.
    source_a, end_a: (z,) fault currents at the two ends, NaN where unknown. tap_a: (m,) the one at each head. All are
    those stated times `fault_current_factor` (model §2).
    faults_per_year: (z,) expected faults.
    """

    heads: np.ndarray
    section: np.ndarray
    lateral: np.ndarray
    source_a: np.ndarray
    end_a: np.ndarray
    tap_a: np.ndarray
    faults_per_year: np.ndarray


def reach(model: Model) -> Reach:
    """What the devices at `network.candidates` answer for."""
    network = model.network
    section = np.flatnonzero((network.unit >= 0) & (network.protective == network.unit))
    source, end = fault_currents_a(model)
    return Reach(network.candidates, section, network.candidate_index[section], source[section], end[section],
                 source[network.candidates], fault_rates(model)[section])


def smallest_current_a(stretch: Reach) -> tuple[np.ndarray, np.ndarray]:
    """(smallest fault current known in A, whether part of the stretch is unknown), each (m,).

    NaN where nothing is known. Currents fall or rise steadily along a section (model §2), so
    its ends hold the smallest.
    """
    both = np.stack([stretch.source_a, stretch.end_a])
    smallest = np.full(len(stretch.heads), np.inf)
    np.minimum.at(smallest, stretch.lateral, np.where(np.isnan(both), np.inf, both).min(axis=0))
    unknown = np.bincount(stretch.lateral, np.isnan(both).any(axis=0), len(stretch.heads)) > 0
    return np.where(np.isinf(smallest), np.nan, smallest), unknown


def largest_current_a(stretch: Reach) -> tuple[np.ndarray, np.ndarray]:
    """(largest fault current known in A, whether the one at the tap is unknown), each (m,)."""
    both = np.nan_to_num(np.stack([stretch.source_a, stretch.end_a]), nan=-np.inf).max(axis=0)
    largest = np.full(len(stretch.heads), -np.inf)
    np.maximum.at(largest, stretch.lateral, both)
    return np.where(np.isinf(largest), np.nan, largest), np.isnan(stretch.tap_a)


def unseen_share(stretch: Reach, actuating_a: np.ndarray) -> np.ndarray:
    """Share of each lateral's faults with a current below its actuating current (A), (m,).

    The model lets a sectionalizer act where a section gives no currents; such a section counts
    as seen here, and the share is NaN where it would be 0 only for that reason, or where
    the actuating current is unknown.
    """
    m = len(stretch.heads)
    share = share_below(stretch.source_a, stretch.end_a, actuating_a[stretch.lateral])
    unseen = np.bincount(stretch.lateral, stretch.faults_per_year * np.nan_to_num(share), m)
    total = np.bincount(stretch.lateral, stretch.faults_per_year, m)
    result = np.divide(unseen, total, out=np.zeros(m), where=total > 0)
    gaps = np.bincount(stretch.lateral, np.isnan(stretch.source_a) | np.isnan(stretch.end_a), m) > 0
    return np.where(np.isnan(actuating_a) | (gaps & (result == 0.0)), np.nan, result)


def share_below(source_a: np.ndarray, end_a: np.ndarray, threshold_a: np.ndarray) -> np.ndarray:
    """Share of a section's length where its fault current is below a threshold; all (z,), A.

    1/I(x) = (1 − x)/I_source + x/I_end (model §2) is linear, so there is one crossing at most.
    NaN where a current or the threshold is unknown.
    """
    # how far 1/I is above 1/threshold at the two ends: positive is not seen
    with np.errstate(divide="ignore", invalid="ignore"):
        at_source, at_end = 1.0 / source_a - 1.0 / threshold_a, 1.0 / end_a - 1.0 / threshold_a
        crossing = at_source / (at_source - at_end)
    share = np.where(at_end > 0, np.where(at_source > 0, 1.0, 1.0 - crossing), np.where(at_source > 0, crossing, 0.0))
    return np.where(np.isnan(at_source) | np.isnan(at_end), np.nan, share)
