"""The sequence of operations of a reclosing device, resolved for every class of fault at once (model §3)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.faults.chains import NOTHING_WORKS, Chains
from reliability.network.race import BOTH, DEVICE_ALONE, FUSE_ALONE


@dataclass(frozen=True)
class Backups:
    """The reclosing device R behind r classes of fault under S scenarios, arrays (S, r).

    section: where R stands. lockout, fast: its operations in the state that it is in. on_fast, on_delayed: which of
    the three of `network.race` happens between it and the working fuse on an operation of that kind.
    """

    section: np.ndarray
    lockout: np.ndarray
    fast: np.ndarray
    on_fast: np.ndarray
    on_delayed: np.ndarray


def resolve_sequence(chains: Chains, backups: Backups, clearing: int) -> tuple[np.ndarray, np.ndarray]:
    """Opened section (−1 none) and openings of R, each (S, r), of faults that clear in a dead time.

    clearing: the dead time, NEVER for a permanent fault.
    """
    opened = np.full(chains.fuse.shape, NOTHING_WORKS, dtype=np.int32)
    openings = np.zeros(chains.fuse.shape, dtype=np.int8)
    running = np.ones(chains.fuse.shape, dtype=bool)
    ready_with_fuse = np.minimum(chains.fuse, chains.sectionalizer)  # of two, the one nearest the source

    def end(where: np.ndarray, section: np.ndarray | int, after: int) -> None:
        now = running & where
        opened[now] = section[now] if isinstance(section, np.ndarray) else section
        openings[now] = after
        running[now] = False

    for operation in range(1, int(backups.lockout.max(initial=0)) + 1):
        happens = np.where(chains.fuse == NOTHING_WORKS, DEVICE_ALONE,
                           np.where(operation <= backups.fast, backups.on_fast, backups.on_delayed))
        ready = chains.counts <= operation
        end(happens == FUSE_ALONE, chains.fuse, operation - 1)
        end(backups.lockout == operation, backups.section, operation)
        end((happens == BOTH) & ready, ready_with_fuse, operation)
        end(happens == BOTH, chains.fuse, operation)
        end(ready, chains.sectionalizer, operation)
        if clearing <= operation:
            end(running, NOTHING_WORKS, operation)
        if not running.any():
            break
    return opened, openings
