"""Where along a section the response of protection changes: places between current thresholds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.network.coordination import Coordination
from reliability.network.devices import COUNTS, MELTS, RECLOSES
from reliability.network.model import Model
from reliability.network.packed import of_each
from reliability.network.protection import Protection
from reliability.network.rates import fault_currents_a


@dataclass(frozen=True)
class Places:
    """Stretches of sections in which every device sees the fault the same way.

    section: (m,) position of the section. width: (m,) share of its length, over 0 to 1.
    current_a: (m,) fault current in the middle of the stretch, NaN where unknown.
    """

    section: np.ndarray
    width: np.ndarray
    current_a: np.ndarray


def split_places(model: Model, protections: Sequence[Protection],
                 races: Coordination) -> Places:
    """Cut every section where its fault current crosses a threshold of a device above it.

    1/I(x) is linear in x (model §2); thresholds are the currents at which the race of a fuse and its reclosing
    device changes, and the actuating currents of sectionalizers, in any scenario's chain.
    """
    network = model.network
    source, end = fault_currents_a(model)
    cuts = list(_cuts(model, protections, races, source, end))
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
    first, last = source[section], end[section]
    current = np.where(first == last, first, 1.0 / ((1.0 - middle) / first + middle / last))
    return Places(section, stop - start, current)


def _cuts(model: Model, protections: Sequence[Protection], races: Coordination,
          source: np.ndarray, end: np.ndarray) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """(sections, x) of each crossing strictly inside a section, level by level up the chain."""
    network, values = model.network, model.values
    slope = 1.0 / end - 1.0 / source
    sloping = np.flatnonzero(np.abs(slope) > 0.0)  # both currents known, and not alike
    first, turns = races.race.breakpoints()
    errors = values["wrong_link_share"] > 0.0

    def inside(section: np.ndarray, threshold: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        with np.errstate(divide="ignore"):
            x = (1.0 / threshold - 1.0 / source[section]) / slope[section]
        within = (x > 0.0) & (x < 1.0)
        return section[within], x[within]

    for s, protection in enumerate(protections):
        section, device = sloping, network.protective[sloping]
        while section.size:
            below_recloser = ~RECLOSES[protection.device[device]]
            section, device = section[below_recloser], device[below_recloser]
            kind = protection.device[device]
            counting = COUNTS[kind]
            yield inside(section[counting], protection.actuating_a[device[counting]])
            fused, fuse = section[MELTS[kind]], device[MELTS[kind]]
            for pair in (races.right[s], races.wrong[s]) if errors else (races.right[s],):
                each, place = of_each(first[pair[fuse] + 1] - first[pair[fuse]])
                yield inside(fused[each], turns[first[pair[fuse[each]]] + place])
            device = network.protective_above[device]
