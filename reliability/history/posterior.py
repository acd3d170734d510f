"""What is recorded of units whose faults are partly seen, the prior, and the posterior of their rates (model §10).

A unit u has faults λ_u times those of the assumed rates, temporary with the probability p of its group. λ_u is gamma
about the mean m of its group, with one shape a for all; logit p is normal about logit p_0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from reliability.history.recording import Entries

LOGIT_SPREAD = 0.5                # of the fractions of groups about the common one (model §10)
DEFAULT_FRACTION = (4.5, 2.5)     # beta prior of the common fraction, where the study states no range (model §10)


@dataclass(frozen=True)
class Length:
    """Iterations of a sampler, of which burn_in are thrown away; so many draws are kept of the others."""

    iterations: int = 2_000
    burn_in: int = 1_000
    kept: int = 500


FULL_LENGTH = Length()


@dataclass(frozen=True)
class Evidence:
    """What is recorded of U units in G groups, and what would be at the assumed rates.

    group: (U,). at_unit: (U, 3) sustained records in the unit: temporary, permanent, kind not stated; unit_temporary,
    unit_permanent: (U,) what would be recorded there were all faults of that kind. stated: (U,) faults that the
    sections state as observed, of any kind, and stated_temporary, stated_permanent (U,) alike.
    at_device: (R, 3) alike at R reclosing devices; device_entries: from which units.
    events: (R,) momentary events recorded; alone: those with nothing left open; beside: those before a sustained record
    in the unit, `Entries` with place a device. steps: (R,) openings counted; see `recording.Recording`.
    """

    group: np.ndarray
    groups: int
    exposure: np.ndarray
    at_unit: np.ndarray
    unit_temporary: np.ndarray
    unit_permanent: np.ndarray
    stated: np.ndarray
    stated_temporary: np.ndarray
    stated_permanent: np.ndarray
    at_device: np.ndarray
    device_entries: Entries
    events: np.ndarray
    alone: Entries
    beside: Entries
    steps: np.ndarray
    pure_steps: Entries
    pure_squares: Entries
    steps_at_unit: Entries
    steps_at_device: Entries

    @property
    def units(self) -> int:
        """U."""
        return len(self.group)

    @property
    def devices(self) -> int:
        """R."""
        return len(self.events)


@dataclass(frozen=True)
class Prior:
    """log_density: of the common fraction p_0 in (0, 1). shift: (G,) of a group's logit from the common one."""

    log_density: Callable[[float], float]
    shift: np.ndarray
    start: float


@dataclass(frozen=True)
class Posterior:
    """Draws, K of them, of U units in G groups, relative to the assumed rates.

    temporary, permanent: (K, U) faults of either kind over all faults at the assumed rates. mean_temporary,
    mean_permanent: (U,) posterior means of the same. fraction: (K, G) temporary fraction of a group. mean: (K, G) mean
    of λ in a group. shape: (K,) of λ. blank: (K, 2) share of records of temporary and permanent faults left blank.
    """

    temporary: np.ndarray
    permanent: np.ndarray
    mean_temporary: np.ndarray
    mean_permanent: np.ndarray
    fraction: np.ndarray
    mean: np.ndarray
    shape: np.ndarray
    blank: np.ndarray
    last: State


@dataclass
class State:
    """Where the sampler stands: lam (U,), fraction (G,), mean (G,), shape, blank (2,), common (p_0)."""

    lam: np.ndarray
    fraction: np.ndarray
    mean: np.ndarray
    shape: float
    blank: np.ndarray
    common: float


def ratio(a: np.ndarray | float, b: np.ndarray | float) -> np.ndarray:
    """a / b, 0 where b is 0."""
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    return np.divide(a, b, out=np.zeros(np.broadcast(a, b).shape), where=b > 0.0)


def openings_each(e: Evidence) -> np.ndarray:
    """Mean square over mean of the openings of a fault with nothing left open, by device (R,)."""
    return ratio(e.pure_squares.by_place(e.pure_squares.temporary, e.devices),
                  e.pure_steps.by_place(e.pure_steps.temporary, e.devices))
