"""Parts of a section's faults that protection tells apart: three-phase ones, which ground elements do not see.

On a three-phase section whose reclosing device has ground elements the faults that involve one or two phases are a
part of their own (model §8); elsewhere all faults of a section are one.
"""

from __future__ import annotations

import numpy as np

from reliability.network.tree import Network
from reliability.schema.values import Assumptions

ALL_FAULTS, TO_GROUND, THREE_PHASE_FAULTS = 0, 1, 2


def parts_of_rows(network: Network, hears_ground: np.ndarray, section: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(part, row it comes from), (r,) each: rows of sections with two parts stand twice.

    hears_ground: (n,) whether the reclosing device of each section has ground elements. section: (rows,).
    """
    two = (hears_ground & (network.phases == 3))[section]
    rows, split = np.arange(len(section)), np.flatnonzero(two)
    part = np.where(two, TO_GROUND, ALL_FAULTS).astype(np.int8)
    return (np.concatenate([part, np.full(len(split), THREE_PHASE_FAULTS, dtype=np.int8)]),
            np.concatenate([rows, split]))


def part_probability(part: np.ndarray, values: Assumptions) -> np.ndarray:
    """Share of a section's faults that each part is."""
    one, two, three = values["phases_involved"]
    return np.array([1.0, one + two, three])[part]


def phases_involved(part: np.ndarray, phases: np.ndarray, values: Assumptions) -> np.ndarray:
    """Expected phases involved in a fault of each part on sections of so many phases (model §2, §8)."""
    one, two, three = values["phases_involved"]
    by_phases = np.array([np.nan, 1.0, one + 2.0 * (two + three), one + 2.0 * two + 3.0 * three])
    to_ground = (one + 2.0 * two) / (one + two) if one + two > 0 else 3.0
    return np.where(part == ALL_FAULTS, by_phases[phases.astype(int)], np.where(part == TO_GROUND, to_ground, 3.0))
