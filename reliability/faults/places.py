"""Where along a section the answer of protection changes: places between current thresholds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reliability.network.devices import COUNTS, MELTS, RECLOSES
from reliability.network.protection import Protection
from reliability.network.tree import Network


@dataclass(frozen=True)
class Places:
    """Stretches of sections in which every device sees the fault the same way.

    section: (m,) position of the section. width: (m,) share of its length, over 0 to 1.
    current_a: (m,) fault current in the middle of the stretch, NaN where unknown.
    """

    section: np.ndarray
    width: np.ndarray
    current_a: np.ndarray


def split_places(network: Network, protections: Sequence[Protection]) -> Places:
    """Cut every section where its fault current crosses a threshold of a device above it.

    1/I(x) is linear in x (model §2); thresholds are the saving ceilings of fuses and the
    actuating currents of sectionalizers in any scenario's chain.
    """
    source = network.column["fault_current_source_a"]
    end = network.column["fault_current_end_a"]
    cuts = list(_cuts(network, protections, source, end))
    everywhere = np.arange(len(network))
    section = np.concatenate([everywhere, *(s for s, _ in cuts)])
    start = np.concatenate([np.zeros(len(network)), *(x for _, x in cuts)])
    # devices that share a threshold cut at the same x
    order = np.lexsort((start, section))
    section, start = section[order], start[order]
    distinct = np.append(True, (np.diff(section) != 0) | (np.diff(start) != 0))
    section, start = section[distinct], start[distinct]
    stop = np.append(np.where(np.diff(section) != 0, 1.0, start[1:]), 1.0)
    middle = (start + stop) / 2.0
    near, far = source[section], end[section]
    current = np.where(near == far, near, 1.0 / ((1.0 - middle) / near + middle / far))
    return Places(section, stop - start, current)


def _cuts(network: Network, protections: Sequence[Protection], source: np.ndarray, end: np.ndarray):
    """(sections, x) of each crossing strictly inside a section, level by level up the chain."""
    slope = 1.0 / end - 1.0 / source
    at = np.flatnonzero(np.abs(slope) > 0.0)  # both currents known, and not alike
    for protection in protections:
        section, device = at, network.protective[at]
        while section.size:
            below_recloser = ~RECLOSES[protection.device[device]]
            section, device = section[below_recloser], device[below_recloser]
            kind = protection.device[device]
            threshold = np.where(MELTS[kind], protection.ceiling_a[device],
                                 np.where(COUNTS[kind], protection.actuating_a[device], np.inf))
            with np.errstate(divide="ignore"):
                x = (1.0 / threshold - 1.0 / source[section]) / slope[section]
            inside = (x > 0.0) & (x < 1.0)
            yield section[inside], x[inside]
            device = network.protective_above[device]
