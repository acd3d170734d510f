"""What each unit has of the recorded faults whose place or kind is not known, drawn given the rates (model §10)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from reliability.history.posterior import Evidence, Posterior, State, openings_each, ratio
from reliability.history.recording import Entries
from reliability.history.sharing import Pools, pools_of


@dataclass(frozen=True)
class _OfEither:
    """Of entries (e,): unit, place, and what each is worth were its faults temporary, or permanent, (e,) each."""

    unit: np.ndarray
    place: np.ndarray
    temporary: np.ndarray
    permanent: np.ndarray

    def __len__(self) -> int:
        return len(self.unit)


@dataclass(frozen=True)
class Sharing:
    """What does not change while faults are shared out: the pools in this order, R of each: momentary events with
    nothing left open, counted faults alike, temporary and permanent sustained records at reclosing devices.

    unit, amount, temporary: (e,) of each entry of the pools: its unit, what would be recorded, whether of temporary
    faults. in_unit: temporary and permanent faults (U,) recorded in a unit or stated of it; all_temporary,
    all_permanent: (U,) whatever of a unit's faults of that kind would be recorded somewhere.
    blanks: units with records of no kind. beside: chance of a momentary event before a record in the unit; before:
    openings before one. each: of counts of openings, faults for an opening, (R,).
    """

    evidence: Evidence
    pools: Pools
    unit: np.ndarray
    amount: np.ndarray
    temporary: np.ndarray
    in_unit: tuple[np.ndarray, np.ndarray]
    all_temporary: np.ndarray
    all_permanent: np.ndarray
    blanks: np.ndarray
    beside: _OfEither
    before: _OfEither
    each: np.ndarray

    def share(self, s: State, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        """Faults (U,) of each unit, given the rates, and the pure ones of each device by events and by counters,
        (2R,)."""
        e, p = self.evidence, s.fraction[self.evidence.group]
        own = self._own(s, p, rng)
        at_device, means = self._at_devices(s, p, rng)
        pure = np.concatenate([self._events(own, rng), self._counted(s, p, own, at_device, means, rng)])
        counts = np.concatenate([pure, *at_device]).astype(np.int64)
        kind = np.concatenate([s.fraction, 1.0 - s.fraction])[self.kind_and_group]
        shared = self.pools.share(rng, counts, self.amount * kind * s.lam[self.unit])
        return own[0] + own[1] + e.stated + np.bincount(self.unit, shared, e.units), pure

    def sums_by_pool(self, lam: np.ndarray) -> np.ndarray:
        """Sums of λ × amount by pool and group, (4R, G)."""
        e = self.evidence
        return np.bincount(self.pool_and_group, self.amount * lam[self.unit],
                           self.pools.count * e.groups).reshape(-1, e.groups)

    @cached_property
    def pool_and_group(self) -> np.ndarray:
        """Place of each entry (e,) among the sums by pool and group."""
        return self.pools.pool * self.evidence.groups + self.evidence.group[self.unit]

    @cached_property
    def kind_and_group(self) -> np.ndarray:
        """Place of each entry (e,) among the shares of temporary faults by group, those of permanent ones behind."""
        return self.evidence.group[self.unit] + np.where(self.temporary, 0, self.evidence.groups)

    def _own(self, s: State, p: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        """Sustained records of each unit, temporary and permanent, (U,) each."""
        e, at = self.evidence, self.blanks
        own = e.at_unit[:, 0].copy(), e.at_unit[:, 1].copy()
        counts = e.at_unit[at, 2]
        temporary = rng.binomial(counts.astype(np.int64), _blank_share(
            s.blank, p[at] * e.unit_temporary[at], (1.0 - p[at]) * e.unit_permanent[at]))
        own[0][at] += temporary
        own[1][at] += counts - temporary
        return own

    def _at_devices(self, s: State, p: np.ndarray, rng: np.random.Generator,
                    ) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
        """Sustained records of reclosing devices, temporary and permanent, and how many are expected, (R,) each."""
        e = self.evidence
        means = _expected(e.device_entries, s, p, e.devices)
        blank = e.at_device[:, 2]
        temporary = rng.binomial(blank.astype(np.int64), _blank_share(s.blank, *means))
        return (e.at_device[:, 0] + temporary, e.at_device[:, 1] + blank - temporary), means

    def _events(self, own: tuple[np.ndarray, np.ndarray], rng: np.random.Generator) -> np.ndarray:
        """Momentary events with nothing left open, (R,): those recorded less the ones beside sustained records."""
        e, beside = self.evidence, self.beside
        if not len(beside):
            return e.events
        drawn = (rng.binomial(own[0][beside.unit].astype(np.int64), beside.temporary)
                 + rng.binomial(own[1][beside.unit].astype(np.int64), beside.permanent))
        return np.maximum(e.events - np.bincount(beside.place, drawn, e.devices), 0.0)

    def _counted(self, s: State, p: np.ndarray, own: tuple[np.ndarray, np.ndarray],
                 at_device: tuple[np.ndarray, np.ndarray], means: tuple[np.ndarray, np.ndarray],
                 rng: np.random.Generator) -> np.ndarray:
        """Effective number of faults with nothing left open that the counters show, (R,).

        The openings before sustained records are taken off. What remains is a sum over faults of the openings of each:
        divided by the mean of their squares over their mean, it has the variance of a Poisson count.
        """
        e, at = self.evidence, self.before
        if not e.steps.any():
            return e.steps
        taken = np.bincount(at.place, own[0][at.unit] * at.temporary + own[1][at.unit] * at.permanent, e.devices)
        openings = _expected(e.steps_at_device, s, p, e.devices)
        for records, of, expected in zip(at_device, openings, means, strict=True):
            taken = taken + records * ratio(of, expected)
        effective = np.maximum(e.steps - taken, 0.0) * self.each
        whole = np.floor(effective)
        return whole + (rng.random(e.devices) < effective - whole)


@dataclass(frozen=True)
class PoolShares:
    """Of what a device records: pure (2, R) recorded faults with nothing left open, by events and by counters;
    effective: (e,) of `Evidence.pure_steps`, expected numbers of the latter from each unit."""

    pure: np.ndarray
    effective: np.ndarray


def shares_of_pools(e: Evidence, posterior: Posterior) -> PoolShares:
    """What was recorded and what could be, in the same terms; devices without a part in the fit by their means."""
    sharing, rng = sharing_of(e), np.random.default_rng(0)
    pure = np.mean([sharing.share(posterior.last, rng)[1] for _ in range(20)], axis=0)
    return PoolShares(pure.reshape(2, -1), effective_steps(e))


def effective_steps(e: Evidence) -> np.ndarray:
    """Expected effective numbers (e,) of `Evidence.pure_steps`."""
    return e.pure_steps.temporary * ratio(1.0, openings_each(e))[e.pure_steps.place]


def sharing_of(e: Evidence) -> Sharing:
    """What does not change, of some evidence."""
    pools, unit, amount, temporary = _pools(e)
    in_pools = [np.bincount(unit[of_kind], amount[of_kind], e.units) for of_kind in (temporary, ~temporary)]
    beside = _for_each(e, e.beside)
    beside = _OfEither(beside.unit, beside.place, np.minimum(beside.temporary, 1.0), np.minimum(beside.permanent, 1.0))
    in_unit = e.unit_temporary + e.stated_temporary, e.unit_permanent + e.stated_permanent
    return Sharing(e, pools, unit, amount, temporary, in_unit, in_unit[0] + in_pools[0], in_unit[1] + in_pools[1],
                   np.flatnonzero(e.at_unit[:, 2]), beside, _for_each(e, e.steps_at_unit), ratio(1.0, openings_each(e)))


def _for_each(e: Evidence, entries: Entries) -> _OfEither:
    """Entries for each record of the unit."""
    unit = entries.unit
    return _OfEither(unit, entries.place, ratio(entries.temporary, e.unit_temporary[unit]),
                     ratio(entries.permanent, e.unit_permanent[unit]))


def _expected(entries: Entries, s: State, p: np.ndarray, devices: int) -> tuple[np.ndarray, np.ndarray]:
    """Expected numbers at devices of temporary and permanent faults, (R,) each."""
    rate, share = s.lam[entries.unit], p[entries.unit]
    return (entries.by_place(rate * share * entries.temporary, devices),
            entries.by_place(rate * (1.0 - share) * entries.permanent, devices))


def _blank_share(blank: np.ndarray, temporary: np.ndarray, permanent: np.ndarray) -> np.ndarray:
    """Share of blank kinds that are of temporary faults; temporary, permanent: expected records."""
    return ratio(blank[0] * temporary, blank[0] * temporary + blank[1] * permanent)


def _pools(e: Evidence) -> tuple[Pools, np.ndarray, np.ndarray, np.ndarray]:
    """The pools of `Sharing`, and unit, expected number and kind of their entries."""
    parts = ((e.alone, e.alone.temporary, True), (e.pure_steps, effective_steps(e), True),
             (e.device_entries, e.device_entries.temporary, True),
             (e.device_entries, e.device_entries.permanent, False))
    pool = np.concatenate([entries.place + i * e.devices for i, (entries, _, _) in enumerate(parts)])
    unit = np.concatenate([entries.unit for entries, _, _ in parts])
    amount = np.concatenate([amounts for _, amounts, _ in parts])
    temporary = np.concatenate([np.full(len(entries), is_temporary) for entries, _, is_temporary in parts])
    order = np.argsort(pool, kind="stable")
    return pools_of(pool[order], 4 * e.devices), unit[order], amount[order], temporary[order]
