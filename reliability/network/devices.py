"""The device table as arrays by device code, so that a property of many sections is one look-up.

Each array has one place more than there are devices: the code −1 of a solid connection reads the last, False.
"""

from __future__ import annotations

import numpy as np

from reliability.schema.devices import DEVICE_TABLE, DEVICES, THREE_PHASE

NO_DEVICE = -1
CODE: dict[str, int] = {name: code for code, name in enumerate(DEVICES)}


def _of_each(has: list[bool]) -> np.ndarray:
    return np.array([*has, False])


RECLOSES = _of_each([d.recloses for d in DEVICE_TABLE])
MELTS = _of_each([d.melts for d in DEVICE_TABLE])
COUNTS = _of_each([d.counts for d in DEVICE_TABLE])
PROTECTS = _of_each([d.protects for d in DEVICE_TABLE])
HEADS_LATERAL = _of_each([d.heads_lateral for d in DEVICE_TABLE])
FAST_BY_DEFAULT = _of_each([d.fast_by_default for d in DEVICE_TABLE])
BACKS_UP = RECLOSES & ~HEADS_LATERAL  # breakers and reclosers: what stands behind a zone of laterals
THREE_PHASE_BY_DEFAULT = _of_each([d.tripping == THREE_PHASE for d in DEVICE_TABLE])


def codes_of(names: np.ndarray) -> np.ndarray:
    """Device codes of names (n,), −1 where a name is blank."""
    return np.array([CODE.get(name, NO_DEVICE) for name in names], dtype=np.int8)
