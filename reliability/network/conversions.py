"""Which sections a scenario converts, to what, and with what counts (contract.md, scenarios)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from reliability.network.devices import CODE, COUNTS, NO_DEVICE, RECLOSES
from reliability.network.tree import Network
from reliability.schema.columns import UNDERGROUND
from reliability.schema.scenarios import Scenario


@dataclass(frozen=True)
class Conversions:
    """What a scenario makes of h candidates, arrays (h,) in the network's order.

    head: positions. device: code that each gets. counts: that the scenario states, NaN where it states none.
    """

    head: np.ndarray
    device: np.ndarray
    counts: np.ndarray


def may_convert(network: Network) -> np.ndarray:
    """Candidates that a conversion may touch at all, positions ascending: none underground."""
    at = network.candidates
    return at[network.text["construction"][at] != UNDERGROUND]


def named_heads(network: Network, scenario: Scenario) -> np.ndarray:
    """Positions of the candidates that a scenario converts, ascending.

    All means every candidate headed by a fuse or sectionalizer; a device that recloses gives way only where named.
    """
    at = may_convert(network)
    if scenario.laterals is None:
        return at[~RECLOSES[network.device[at]]]
    named = set(scenario.laterals)
    return at[np.array([name in named for name in network.ids[at].tolist()], dtype=bool)] if named else at[:0]


def conversions(network: Network, scenario: Scenario) -> Conversions:
    """What the scenario asks of each candidate that it names; a candidate without a device asked for is left out."""
    head = named_heads(network, scenario)
    devices = np.full(len(head), CODE.get(scenario.device or "", NO_DEVICE), dtype=np.int8)
    counts = np.full(len(head), np.nan if scenario.counts is None else float(scenario.counts))
    if isinstance(scenario.laterals, Mapping):
        each = [scenario.laterals[name] for name in network.ids[head].astype(str)]
        devices = np.array([CODE.get(c.device or scenario.device or "", NO_DEVICE) for c in each], dtype=np.int8)
        stated = [scenario.counts if c.counts is None else c.counts for c in each]
        counts = np.array([np.nan if c is None else float(c) for c in stated])
    asked = devices != NO_DEVICE
    return Conversions(head[asked], devices[asked], counts[asked])


def possible(network: Network, asked: Conversions, lockout: np.ndarray) -> Conversions:
    """Those of `asked` that can be: behind a backup of one operation no sectionalizer ever opens, and the device stays.

    lockout: (n,) operations to lockout of each section's device, where it recloses now or would once converted.
    """
    head, device, counts = asked.head, asked.device, asked.counts
    while True:
        kinds = network.device.copy()
        kinds[head] = device
        backup = backups(network, kinds)
        hopeless = COUNTS[device] & (lockout[backup[head]] <= 1) & (backup[head] >= 0)
        if not hopeless.any():
            return Conversions(head, device, counts)
        # one that stays may be the backup of another below it: the highest of each branch first
        above = np.zeros(len(network))
        above[head[hopeless]] = 1.0
        keep = ~(hopeless & (network.along_path(above)[head] == 1.0))
        head, device, counts = head[keep], device[keep], counts[keep]


def backups(network: Network, device: np.ndarray) -> np.ndarray:
    """Nearest reclosing device strictly above each section, −1 for none, (n,); device: (n,) codes."""
    above = np.where(network.parent >= 0, network.protective[network.parent], -1)
    while True:
        passed = np.flatnonzero((above >= 0) & ~RECLOSES[device[above]])
        if not passed.size:
            return above
        above[passed] = network.protective_above[above[passed]]
