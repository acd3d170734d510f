"""Sampler of rates of temporary and permanent faults from records that show only part of them (model §10).

Everything recorded is Poisson. A Gibbs sampler shares out what is counted at one place over the units it may come from,
draws λ given what each has, and moves p, the shares of blank kinds and the hyperparameters by random walks with what is
shared out, or λ, integrated out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import scipy

from reliability.history.posterior import (
    FULL,
    LOGIT_SPREAD,
    Evidence,
    Length,
    Posterior,
    Prior,
    State,
    openings_each,
    ratio,
)
from reliability.history.sharing import Pools, pools_of

MEAN_BOUNDS = np.log([1e-3, 1e3])   # of a group's mean, relative to the assumed rates; only to be proper
SHAPE_BOUNDS = np.log([1e-2, 1e4])
_TARGET = 0.35                    # share of accepted proposals that the step sizes are tuned to

Progress = Callable[[int, int], None]


@dataclass
class _Steps:
    """Widths of the random walks, tuned during the burn-in."""

    width: dict[str, np.ndarray] = field(default_factory=dict)

    def of(self, name: str, size: int, start: float) -> np.ndarray:
        return self.width.setdefault(name, np.full(size, start))

    def tune(self, name: str, accepted: np.ndarray | bool, at: int | slice, rate: float) -> None:
        if rate > 0.0:
            self.width[name][at] *= np.exp(rate * (np.asarray(accepted, dtype=float) - _TARGET))


def sample(evidence: Evidence, prior: Prior, rng: np.random.Generator, on_progress: Progress | None = None,
           length: Length = FULL, start: State | None = None) -> Posterior:
    """Posterior draws. on_progress(done, total) is called every hundred iterations. start: to begin from."""
    iterations, burn_in, kept = length.iterations, length.burn_in, length.kept
    sampler = _sampler(evidence, prior, rng, start)
    u, g = evidence.units, evidence.groups
    lam, fraction, mean = np.empty((kept, u)), np.empty((kept, g)), np.empty((kept, g))
    shape, blank = np.empty(kept), np.empty((kept, 2))
    total, of_kind = iterations - burn_in, np.zeros((2, u))
    keep_at = np.linspace(burn_in, iterations - 1, kept).round().astype(int)
    number = {int(at): k for k, at in enumerate(keep_at)}
    for i in range(iterations):
        expected = sampler.iterate(0.5 / (1.0 + i / 50.0) if i < burn_in else 0.0)
        if i >= burn_in:
            p = sampler.state.fraction[evidence.group]
            of_kind += expected * p, expected * (1.0 - p)
        if i in number:
            k, s = number[i], sampler.state
            lam[k], fraction[k], mean[k], shape[k], blank[k] = s.lam, s.fraction, s.mean, s.shape, s.blank
        if on_progress and (i + 1) % 100 == 0:
            on_progress(i + 1, iterations)
    p = fraction[:, evidence.group]
    return Posterior(lam * p, lam * (1.0 - p), of_kind[0] / total, of_kind[1] / total, fraction, mean, shape, blank,
                     sampler.state)


@dataclass
class _Sampler:
    """One chain: what does not change, prepared once, and where it stands; `iterate` moves everything by one step.

    all_temporary, all_permanent: (U,) whatever of a unit's faults of that kind would be recorded somewhere. blanks,
    stated: units with records of no kind. known: (2, G) records of known kind. pure: (2R,) momentary events with
    nothing left open, as last drawn.
    """

    evidence: Evidence
    prior: Prior
    rng: np.random.Generator
    pools: Pools
    pool_unit: np.ndarray
    pool_amount: np.ndarray
    pool_temporary: np.ndarray
    all_temporary: np.ndarray
    all_permanent: np.ndarray
    blanks: np.ndarray
    stated: np.ndarray
    known: np.ndarray
    state: State
    pure: np.ndarray
    steps: _Steps = field(default_factory=_Steps)

    def iterate(self, tuning: float) -> np.ndarray:
        """One step of everything; gives the mean of λ (U,) given all but λ."""
        mine = self.shared_out()
        expected = self._draw_rates(mine, tuning)
        self._walk_fractions(tuning)
        return expected

    # what each unit has

    def shared_out(self) -> np.ndarray:
        """Faults (U,) of each unit, recorded ones of unknown place or kind included, given the rates."""
        e, s, rng = self.evidence, self.state, self.rng
        p = s.fraction[e.group]
        temporary_of = _blank_share(s.blank, p * e.unit_temporary, (1.0 - p) * e.unit_permanent)
        blank_temporary = rng.binomial(e.at_unit[:, 2].astype(np.int64), temporary_of)
        own = np.stack([e.at_unit[:, 0] + blank_temporary, e.at_unit[:, 1] + e.at_unit[:, 2] - blank_temporary])
        entries = e.device_entries
        rate = s.lam[entries.unit]
        means = [entries.by_place(rate * share * amount, e.devices) for share, amount in (
            (p[entries.unit], entries.temporary), (1.0 - p[entries.unit], entries.permanent))]
        blank_at_device = rng.binomial(e.at_device[:, 2].astype(np.int64), _blank_share(s.blank, *means))
        at_device = np.stack([e.at_device[:, 0] + blank_at_device,
                              e.at_device[:, 1] + e.at_device[:, 2] - blank_at_device])
        self.pure = np.concatenate([self._pure_events(own), self._pure_counted(own, at_device)])
        counts = np.concatenate([self.pure, at_device[0], at_device[1]]).astype(np.int64)
        kind = np.where(self.pool_temporary, p[self.pool_unit], 1.0 - p[self.pool_unit])
        shared = self.pools.share(rng, counts, self.pool_amount * kind * s.lam[self.pool_unit])
        self.pool_counts = counts
        return own.sum(axis=0) + e.stated + np.bincount(self.pool_unit, shared, e.units)

    def _pure_events(self, own: np.ndarray) -> np.ndarray:
        """Momentary events with nothing left open, (R,): those recorded less the ones beside sustained records."""
        e = self.evidence
        beside, unit = e.beside, e.beside.unit
        chance = [np.minimum(ratio(beside.temporary, e.unit_temporary[unit]), 1.0),
                  np.minimum(ratio(beside.permanent, e.unit_permanent[unit]), 1.0)]
        drawn = sum(self.rng.binomial(own[kind][unit].astype(np.int64), chance[kind]) for kind in (0, 1))
        return np.maximum(e.events - beside.by_place(drawn, e.devices), 0.0)

    def _pure_counted(self, own: np.ndarray, at_device: np.ndarray) -> np.ndarray:
        """Effective number of faults with nothing left open that the counters show, (R,).

        The openings before sustained records are taken off. What remains is a sum over faults of the openings of each:
        divided by the mean of their squares over their mean, it has the variance of a Poisson count.
        """
        e = self.evidence
        before = np.zeros(e.devices)
        for kind, name in ((0, "temporary"), (1, "permanent")):
            unit_total = (e.unit_temporary, e.unit_permanent)[kind]
            each = ratio(getattr(e.steps_at_unit, name), unit_total[e.steps_at_unit.unit])
            before += e.steps_at_unit.by_place(own[kind][e.steps_at_unit.unit] * each, e.devices)
            p = self.state.fraction[self.evidence.group]
            share = p if kind == 0 else 1.0 - p
            steps, entries = e.steps_at_device, e.device_entries
            openings = steps.by_place(getattr(steps, name) * (self.state.lam * share)[steps.unit], e.devices)
            records = entries.by_place(getattr(entries, name) * (self.state.lam * share)[entries.unit], e.devices)
            before += at_device[kind] * ratio(openings, records)
        effective = np.maximum(e.steps - before, 0.0) * ratio(1.0, openings_each(e))
        whole = np.floor(effective)
        return whole + (self.rng.random(e.devices) < effective - whole)

    # rates of units

    def _draw_rates(self, mine: np.ndarray, tuning: float) -> np.ndarray:
        """Draw the hyperparameters with λ integrated out, then λ; gives the mean of λ (U,) given the rest."""
        e, s = self.evidence, self.state
        p = s.fraction[e.group]
        exposure = p * self.all_temporary + (1.0 - p) * self.all_permanent
        largest = int(mine.max(initial=0))
        histogram = np.bincount(mine.astype(np.int64), minlength=largest + 1)
        steps = np.arange(largest + 1, dtype=float)
        for _ in range(2):
            self._walk_means(mine, exposure, tuning)
            self._walk_shape(mine, exposure, histogram, steps, tuning)
        rate = s.shape / s.mean[e.group] + exposure
        s.lam = self.rng.standard_gamma(s.shape + mine) / rate
        return (s.shape + mine) / rate

    def _walk_means(self, mine: np.ndarray, exposure: np.ndarray, tuning: float) -> None:
        e, s = self.evidence, self.state
        width = self.steps.of("mean", e.groups, 0.3)
        proposed = s.mean * np.exp(width * self.rng.standard_normal(e.groups))

        def density(mean: np.ndarray) -> np.ndarray:
            each = mean[e.group]
            value = mine * np.log(each) - (s.shape + mine) * np.log(s.shape + each * exposure)
            return np.bincount(e.group, value, e.groups)

        logs = np.log(proposed)
        inside = (logs > MEAN_BOUNDS[0]) & (logs < MEAN_BOUNDS[1])
        taken = inside & (np.log(self.rng.random(e.groups)) < density(proposed) - density(s.mean))
        s.mean = np.where(taken, proposed, s.mean)
        self.steps.tune("mean", taken, slice(None), tuning)

    def _walk_shape(self, mine: np.ndarray, exposure: np.ndarray, histogram: np.ndarray, steps: np.ndarray,
                    tuning: float) -> None:
        e, s = self.evidence, self.state
        expected = s.mean[e.group] * exposure
        width = self.steps.of("shape", 1, 0.4)

        def density(shape: float) -> float:
            # flat in 1/a: in the logarithm of a it goes with 1/a
            gammas = histogram @ (scipy.special.gammaln(shape + steps) - scipy.special.gammaln(shape))
            return float(gammas + len(mine) * shape * np.log(shape)
                         - np.sum((shape + mine) * np.log(shape + expected)) - np.log(shape))

        proposed = float(s.shape * np.exp(width[0] * self.rng.standard_normal()))
        inside = SHAPE_BOUNDS[0] < np.log(proposed) < SHAPE_BOUNDS[1]
        taken = inside and bool(np.log(self.rng.random()) < density(proposed) - density(s.shape))
        s.shape = proposed if taken else s.shape
        self.steps.tune("shape", taken, slice(None), tuning)

    # fractions, blank shares

    def _walk_fractions(self, tuning: float) -> None:
        """Random walks of each group's fraction, alone and with the rates, of the blank shares and of p_0."""
        e, s, rng = self.evidence, self.state, self.rng
        sums = self._sums()
        one = np.ones(e.groups)
        now = self._log_likelihood(sums, s.fraction, s.blank, one)
        scale = one.copy()
        for name in ("alone", "joint"):
            width = self.steps.of(name, e.groups, 0.3)
            for g in range(e.groups):
                old = s.fraction[g]
                logit = np.log(old / (1.0 - old)) + width[g] * rng.standard_normal()
                fraction, scales = s.fraction.copy(), scale.copy()
                fraction[g] = 1.0 / (1.0 + np.exp(-logit))
                if name == "joint":
                    scales[g] *= (1.0 - old) / (1.0 - fraction[g])
                then = self._log_likelihood(sums, fraction, s.blank, scales)
                gain = then - now + self._group_prior(g, logit) - self._group_prior(g, np.log(old / (1.0 - old)))
                taken = bool(np.log(rng.random()) < gain)
                if taken:
                    s.fraction, scale, now = fraction, scales, then
                self.steps.tune(name, taken, g, tuning)
        s.lam, s.mean = s.lam * scale[e.group], s.mean * scale
        self._walk_blanks(sums, scale, now, tuning)
        self._walk_common(tuning)

    def _walk_blanks(self, sums: _Sums, scale: np.ndarray, now: float, tuning: float) -> None:
        s, rng = self.state, self.rng
        width = self.steps.of("blank", 2, 0.5)
        for kind in (0, 1):
            logit = np.log(s.blank[kind] / (1.0 - s.blank[kind])) + width[kind] * rng.standard_normal()
            blank = s.blank.copy()
            blank[kind] = np.clip(1.0 / (1.0 + np.exp(-logit)), 1e-9, 1.0 - 1e-9)
            then = self._log_likelihood(sums, s.fraction, blank, scale)
            # uniform in the share: in its logit it goes with share × (1 − share)
            change = np.log(blank[kind] * (1.0 - blank[kind])) - np.log(s.blank[kind] * (1.0 - s.blank[kind]))
            taken = bool(np.log(rng.random()) < then - now + change)
            if taken:
                s.blank, now = blank, then
            self.steps.tune("blank", taken, kind, tuning)

    def _walk_common(self, tuning: float) -> None:
        s = self.state
        logits = np.log(s.fraction / (1.0 - s.fraction)) - self.prior.shift
        width = self.steps.of("common", 1, 0.4)

        def density(p: float) -> float:
            apart = logits - np.log(p / (1.0 - p))
            return float(self.prior.log_density(p) + np.log(p * (1.0 - p))
                         - np.sum(apart * apart) / (2.0 * LOGIT_SPREAD ** 2))

        logit = np.log(s.common / (1.0 - s.common)) + width[0] * self.rng.standard_normal()
        proposed = float(np.clip(1.0 / (1.0 + np.exp(-logit)), 1e-9, 1.0 - 1e-9))
        taken = bool(np.log(self.rng.random()) < density(proposed) - density(s.common))
        s.common = proposed if taken else s.common
        self.steps.tune("common", taken, slice(None), tuning)

    def _group_prior(self, group: int, logit: float) -> float:
        s = self.state
        apart = logit - self.prior.shift[group] - np.log(s.common / (1.0 - s.common))
        return float(-apart * apart / (2.0 * LOGIT_SPREAD ** 2))

    def _sums(self) -> _Sums:
        """What the likelihood needs of λ, summed by group."""
        e, lam = self.evidence, self.state.lam

        def by_group(values: np.ndarray) -> np.ndarray:
            return np.bincount(e.group, values, e.groups)

        key = self.pools.pool * e.groups + e.group[self.pool_unit]
        pooled = np.bincount(key, self.pool_amount * lam[self.pool_unit], self.pools.count * e.groups)
        pure = 2 * e.devices
        by_pool = pooled.reshape(-1, e.groups)
        own = [by_group(lam * amount) for amount in (e.unit_temporary + e.stated_temporary,
                                                     e.unit_permanent + e.stated_permanent)]
        return _Sums(own[0], own[1], by_pool[:pure], by_pool[pure:pure + e.devices], by_pool[pure + e.devices:])

    def _log_likelihood(self, sums: _Sums, fraction: np.ndarray, blank: np.ndarray, scale: np.ndarray) -> float:
        """Of everything recorded given λ times `scale` (G,) of its group, what is shared out being summed over."""
        e = self.evidence
        temporary, permanent = fraction * scale, (1.0 - fraction) * scale
        value = float(self.known[0] @ np.log((1.0 - blank[0]) * temporary)
                      + self.known[1] @ np.log((1.0 - blank[1]) * permanent)
                      - sums.temporary @ temporary - sums.permanent @ permanent)
        for at, counts, shares, amounts in (
                (self.blanks, e.at_unit[:, 2], blank, (e.unit_temporary, e.unit_permanent)),
                (self.stated, e.stated, (1.0, 1.0), (e.stated_temporary, e.stated_permanent))):
            if at.size:
                g = e.group[at]
                value += float(counts[at] @ np.log(shares[0] * temporary[g] * amounts[0][at]
                                                   + shares[1] * permanent[g] * amounts[1][at] + 1e-300))
        pure = sums.pure @ temporary
        value += _poisson(self.pure, pure)
        means = sums.device_temporary @ temporary, sums.device_permanent @ permanent
        for kind in (0, 1):
            value += _poisson(e.at_device[:, kind], (1.0 - blank[kind]) * means[kind])
        return value + _poisson(e.at_device[:, 2], blank[0] * means[0] + blank[1] * means[1])


def _sampler(e: Evidence, prior: Prior, rng: np.random.Generator, start: State | None) -> _Sampler:
    pools, unit, amount, temporary = _pools(e)
    in_pools = [np.bincount(unit[of_kind], amount[of_kind], e.units) for of_kind in (temporary, ~temporary)]
    known = np.stack([np.bincount(e.group, e.at_unit[:, kind], e.groups) for kind in (0, 1)])
    return _Sampler(
        e, prior, rng, pools, unit, amount, temporary, e.unit_temporary + e.stated_temporary + in_pools[0],
        e.unit_permanent + e.stated_permanent + in_pools[1], np.flatnonzero(e.at_unit[:, 2]),
        np.flatnonzero(e.stated), known, _beginning(e, prior) if start is None else start, np.zeros(2 * e.devices))


def _beginning(e: Evidence, prior: Prior) -> State:
    """A state near enough to begin with: the fraction of the prior, each group's mean as recorded."""
    p = float(np.clip(prior.start, 0.02, 0.98))
    counts = np.bincount(e.group, e.at_unit.sum(axis=1) + e.stated, e.groups)
    expected = np.bincount(e.group, p * (e.unit_temporary + e.stated_temporary)
                           + (1.0 - p) * (e.unit_permanent + e.stated_permanent), e.groups)
    mean = (counts + 0.5) / (expected + 0.5)
    return State(mean[e.group], np.full(e.groups, p), mean, 2.0, np.full(2, 0.2), p)


@dataclass(frozen=True)
class _Sums:
    """Sums of λ × amount: in units by group, temporary and permanent (G,); in pools by group: pure (2R, G),
    device_temporary, device_permanent (R, G)."""

    temporary: np.ndarray
    permanent: np.ndarray
    pure: np.ndarray
    device_temporary: np.ndarray
    device_permanent: np.ndarray


@dataclass(frozen=True)
class PoolShares:
    """Of what a device records: pure (2, R) recorded faults with nothing left open, by events and by counters;
    effective: (e,) of `Evidence.pure_steps`, expected numbers of the latter from each unit."""

    pure: np.ndarray
    effective: np.ndarray


def shares_of_pools(e: Evidence, posterior: Posterior) -> PoolShares:
    """What was recorded and what could be, in the same terms; devices without a part in the fit by their means."""
    sampler = _sampler(e, Prior(lambda p: 0.0, np.zeros(e.groups), 0.5), np.random.default_rng(0), posterior.last)
    rng_means = np.mean([_pure(sampler) for _ in range(20)], axis=0)
    each = openings_each(e)
    return PoolShares(rng_means.reshape(2, -1), e.pure_steps.temporary * ratio(1.0, each)[e.pure_steps.place])


def _pure(sampler: _Sampler) -> np.ndarray:
    sampler.shared_out()
    return sampler.pure


def _poisson(counts: np.ndarray, means: np.ndarray) -> float:
    """Logarithm of the Poisson probabilities of counts, without what does not depend on the means."""
    some = counts > 0
    return float(counts[some] @ np.log(means[some] + 1e-300) - means.sum())


def _blank_share(blank: np.ndarray, temporary: np.ndarray, permanent: np.ndarray) -> np.ndarray:
    """Share of blank kinds that are of temporary faults; temporary, permanent: expected records."""
    return ratio(blank[0] * temporary, blank[0] * temporary + blank[1] * permanent)


def _pools(e: Evidence) -> tuple[Pools, np.ndarray, np.ndarray, np.ndarray]:
    """Pools of what is counted at reclosing devices, and unit, expected number and kind of their entries.

    Pools in this order, R of each: events alone, counted faults alone, temporary and permanent sustained records.
    """
    each = openings_each(e)
    parts = (
        (e.alone, e.alone.temporary, True),
        (e.pure_steps, e.pure_steps.temporary * ratio(1.0, each)[e.pure_steps.place], True),
        (e.device_entries, e.device_entries.temporary, True),
        (e.device_entries, e.device_entries.permanent, False))
    pool = np.concatenate([entries.place + i * e.devices for i, (entries, _, _) in enumerate(parts)])
    unit = np.concatenate([entries.unit for entries, _, _ in parts])
    amount = np.concatenate([amounts for _, amounts, _ in parts])
    temporary = np.concatenate([np.full(len(entries), is_temporary) for entries, _, is_temporary in parts])
    order = np.argsort(pool, kind="stable")
    return pools_of(pool[order], 4 * e.devices), unit[order], amount[order], temporary[order]
