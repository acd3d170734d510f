"""Sampler of rates of temporary and permanent faults from records that show only part of them (model §10).

Everything recorded is Poisson. A Gibbs sampler shares out what is counted at one place over the units it may come from,
draws λ given what each has, and moves p, the shares of blank kinds and the hyperparameters by random walks with what is
shared out, or λ, integrated out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import exp, log

import numpy as np
import scipy

from reliability.history.likelihood import FixedCounts, Likelihood, RateSums, recorded_of
from reliability.history.posterior import FULL_LENGTH, LOGIT_SPREAD, Evidence, Length, Posterior, Prior, State
from reliability.history.shared_out import Sharing, sharing_of

MEAN_BOUNDS = np.log([1e-3, 1e3])   # of a group's mean, relative to the assumed rates; only to be proper
SHAPE_BOUNDS = np.log([1e-2, 1e4])
_EDGE = 1e-9                       # blank shares and fractions stay so far from 0 and 1
_TARGET = 0.35                    # share of accepted proposals that the step sizes are tuned to

Progress = Callable[[int, int], None]


@dataclass
class _Steps:
    """Widths of the random walks, tuned during the burn-in."""

    width: dict[str, np.ndarray] = field(default_factory=dict)

    def of(self, name: str, size: int, start: float) -> np.ndarray:
        if name not in self.width:
            self.width[name] = np.full(size, start)
        return self.width[name]

    def tune(self, name: str, accepted: np.ndarray | bool, at: int | slice, rate: float) -> None:
        if rate > 0.0:
            self.width[name][at] *= np.exp(rate * (accepted - _TARGET))


def sample(evidence: Evidence, prior: Prior, rng: np.random.Generator, on_progress: Progress | None = None,
           length: Length = FULL_LENGTH, start: State | None = None) -> Posterior:
    """Posterior draws. on_progress(done, total) is called every hundred iterations. start: to begin from."""
    return begin(evidence, prior, rng, length.burn_in, start).until(length, on_progress)


def begin(evidence: Evidence, prior: Prior, rng: np.random.Generator, tuned: int, start: State | None = None) -> Chain:
    """A chain that has not moved yet. tuned: iterations in which the widths of its walks are tuned."""
    state = _beginning(evidence, prior) if start is None else replace(start)
    return Chain(evidence, prior, rng, sharing_of(evidence), recorded_of(evidence), state, tuned)


@dataclass
class Chain:
    """One chain: what does not change, prepared once, and where it stands; `iterate` moves everything by one step."""

    evidence: Evidence
    prior: Prior
    rng: np.random.Generator
    sharing: Sharing
    recorded: FixedCounts
    state: State
    tuned: int
    done: int = 0
    steps: _Steps = field(default_factory=_Steps)

    def until(self, length: Length, on_progress: Progress | None = None) -> Posterior:
        """Go on to as many iterations in all; draws are kept of those after the burn-in, which lies ahead."""
        if length.burn_in < self.done:
            raise ValueError(f"{self.done} iterations are done, draws are to be kept from {length.burn_in} on")
        kept, e = length.kept, self.evidence
        lam, fraction, mean = np.empty((kept, e.units)), np.empty((kept, e.groups)), np.empty((kept, e.groups))
        shape, blank = np.empty(kept), np.empty((kept, 2))
        total, of_kind = length.iterations - length.burn_in, np.zeros((2, e.units))
        keep_at = np.linspace(length.burn_in, length.iterations - 1, kept).round().astype(int)
        number = {int(at): k for k, at in enumerate(keep_at)}
        for i in range(self.done, length.iterations):
            expected = self.iterate(0.5 / (1.0 + i / 50.0) if i < self.tuned else 0.0)
            if i >= length.burn_in:
                p = self.state.fraction[e.group]
                of_kind += expected * p, expected * (1.0 - p)
            if i in number:
                k, s = number[i], self.state
                lam[k], fraction[k], mean[k], shape[k], blank[k] = s.lam, s.fraction, s.mean, s.shape, s.blank
            if on_progress and (i + 1) % 100 == 0:
                on_progress(i + 1, length.iterations)
        self.done = length.iterations
        p = fraction[:, e.group]
        return Posterior(lam * p, lam * (1.0 - p), of_kind[0] / total, of_kind[1] / total, fraction, mean, shape,
                         blank, replace(self.state))

    def iterate(self, tuning: float) -> np.ndarray:
        """One step of everything; gives the mean of λ (U,) given all but λ."""
        mine, pure = self.sharing.share(self.state, self.rng)
        expected = self._draw_rates(mine, tuning)
        self._walk_fractions(Likelihood(self.recorded, self._sums(), pure), tuning)
        self._walk_common(tuning)
        return expected

    # rates of units

    def _draw_rates(self, mine: np.ndarray, tuning: float) -> np.ndarray:
        """Draw the hyperparameters with λ integrated out, then λ; gives the mean of λ (U,) given the rest."""
        e, s = self.evidence, self.state
        p = s.fraction[e.group]
        exposure = p * self.sharing.all_temporary + (1.0 - p) * self.sharing.all_permanent
        densities = _Densities(e, mine, exposure)
        of_units = densities.of_units(s.shape, s.mean)
        for _ in range(2):
            of_units = self._walk_means(densities, of_units, tuning)
            of_units = self._walk_shape(densities, of_units, tuning)
        rate = s.shape / s.mean[e.group] + exposure
        s.lam = self.rng.standard_gamma(s.shape + mine) / rate
        return (s.shape + mine) / rate

    def _walk_means(self, densities: _Densities, of_units: np.ndarray, tuning: float) -> np.ndarray:
        e, s = self.evidence, self.state
        width = self.steps.of("mean", e.groups, 0.3)
        proposed = s.mean * np.exp(width * self.rng.standard_normal(e.groups))
        then, logs = densities.of_units(s.shape, proposed), np.log(proposed)
        inside = (logs > MEAN_BOUNDS[0]) & (logs < MEAN_BOUNDS[1])
        gain = densities.counts * (logs - np.log(s.mean)) + of_units - then
        taken = inside & (np.log(self.rng.random(e.groups)) < gain)
        s.mean = np.where(taken, proposed, s.mean)
        self.steps.tune("mean", taken, slice(None), tuning)
        return np.where(taken, then, of_units)

    def _walk_shape(self, densities: _Densities, of_units: np.ndarray, tuning: float) -> np.ndarray:
        s = self.state
        width = self.steps.of("shape", 1, 0.4)
        proposed = float(s.shape * np.exp(width[0] * self.rng.standard_normal()))
        taken, then = False, of_units
        if SHAPE_BOUNDS[0] < log(proposed) < SHAPE_BOUNDS[1]:
            then = densities.of_units(proposed, s.mean)
            taken = _taken(densities.of_shape(proposed, then) - densities.of_shape(s.shape, of_units), self.rng)
        s.shape = proposed if taken else s.shape
        self.steps.tune("shape", taken, 0, tuning)
        return then if taken else of_units

    # fractions, blank shares

    def _walk_fractions(self, likelihood: Likelihood, tuning: float) -> None:
        """Random walks of each group's fraction, alone and with the rates, and of the blank shares."""
        e, s, rng = self.evidence, self.state, self.rng
        fraction, blank, scale = s.fraction.tolist(), s.blank.tolist(), [1.0] * e.groups
        own = [likelihood.in_units(g, fraction[g], blank, 1.0) for g in range(e.groups)]
        at_devices = likelihood.at_devices(fraction, blank, scale)
        for name in ("alone", "joint"):
            width = self.steps.of(name, e.groups, 0.3)
            for g in range(e.groups):
                old, old_scale = fraction[g], scale[g]
                before = _logit(old)
                logit = before + float(width[g]) * rng.standard_normal()
                fraction[g] = _expit(logit)
                if name == "joint":
                    scale[g] *= (1.0 - old) / (1.0 - fraction[g])
                in_units = likelihood.in_units(g, fraction[g], blank, scale[g])
                then = likelihood.at_devices(fraction, blank, scale)
                gain = (in_units + then - own[g] - at_devices + self._group_prior(g, logit)
                        - self._group_prior(g, before))
                if taken := _taken(gain, rng):
                    at_devices, own[g] = then, in_units
                else:
                    fraction[g], scale[g] = old, old_scale
                self.steps.tune(name, taken, g, tuning)
        s.fraction, scales = np.array(fraction), np.array(scale)
        s.lam, s.mean = s.lam * scales[e.group], s.mean * scales
        self._walk_blanks(likelihood, fraction, scale, sum(own) + at_devices, tuning)

    def _walk_blanks(self, likelihood: Likelihood, fraction: Sequence[float], scale: Sequence[float], now: float,
                     tuning: float) -> None:
        width, blank = self.steps.of("blank", 2, 0.5), self.state.blank.tolist()
        for kind in (0, 1):
            old = blank[kind]
            blank[kind] = _expit(_logit(old) + float(width[kind]) * self.rng.standard_normal())
            then = likelihood.at_devices(fraction, blank, scale) + sum(
                likelihood.in_units(g, fraction[g], blank, scale[g]) for g in range(self.evidence.groups))
            # uniform in the share: in its logit it goes with share × (1 − share)
            change = log(blank[kind] * (1.0 - blank[kind])) - log(old * (1.0 - old))
            if taken := _taken(then - now + change, self.rng):
                now = then
            else:
                blank[kind] = old
            self.steps.tune("blank", taken, kind, tuning)
        self.state.blank = np.array(blank)

    def _walk_common(self, tuning: float) -> None:
        s = self.state
        logits = [_logit(p) - shift for p, shift in zip(s.fraction.tolist(), self.prior.shift.tolist(), strict=True)]
        width = self.steps.of("common", 1, 0.4)

        def density(p: float) -> float:
            common = _logit(p)
            apart = sum((logit - common) ** 2 for logit in logits)
            return self.prior.log_density(p) + log(p * (1.0 - p)) - apart / (2.0 * LOGIT_SPREAD ** 2)

        proposed = _expit(_logit(s.common) + float(width[0]) * self.rng.standard_normal())
        taken = _taken(density(proposed) - density(s.common), self.rng)
        s.common = proposed if taken else s.common
        self.steps.tune("common", taken, 0, tuning)

    def _group_prior(self, group: int, logit: float) -> float:
        s = self.state
        apart = logit - float(self.prior.shift[group]) - _logit(s.common)
        return -apart * apart / (2.0 * LOGIT_SPREAD ** 2)

    def _sums(self) -> RateSums:
        """What the likelihood needs of λ, summed by group."""
        e, lam = self.evidence, self.state.lam
        own = [np.bincount(e.group, lam * amount, e.groups) for amount in self.sharing.in_unit]
        return RateSums(own[0], own[1], self.sharing.sums_by_pool(lam))


class _Densities:
    """Densities of the hyperparameters with λ integrated out, given the faults (U,) and the exposure of each unit."""

    def __init__(self, evidence: Evidence, mine: np.ndarray, exposure: np.ndarray) -> None:
        self.evidence, self.mine, self.exposure = evidence, mine, exposure
        self.counts = np.bincount(evidence.group, mine, evidence.groups)
        self.histogram = np.bincount(mine.astype(np.int64))
        self.numbers = np.arange(len(self.histogram), dtype=float)
        self.of_counts: dict[float, float] = {}         # by shape: each is asked for as proposed and as it stands

    def of_units(self, shape: float, mean: np.ndarray) -> np.ndarray:
        """What both densities lose by the units' exposure, by group (G,)."""
        e = self.evidence
        return np.bincount(e.group, (shape + self.mine) * np.log(shape + mean[e.group] * self.exposure), e.groups)

    def of_shape(self, shape: float, of_units: np.ndarray) -> float:
        """Logarithm of the density of the shape; of_units: see there."""
        if shape not in self.of_counts:
            gammas = scipy.special.gammaln(shape + self.numbers) - scipy.special.gammaln(shape)
            self.of_counts[shape] = float(self.histogram @ gammas)
        # flat in 1/a: in the logarithm of a it goes with 1/a
        return self.of_counts[shape] + (len(self.mine) * shape - 1.0) * log(shape) - float(of_units.sum())


def _taken(gain: float, rng: np.random.Generator) -> bool:
    """Whether a proposal is accepted whose logarithm of the density is so much above the present one's."""
    return rng.random() < exp(min(gain, 0.0))


def _logit(p: float) -> float:
    return log(p / (1.0 - p))


def _expit(x: float) -> float:
    """Kept away from 0 and 1, as its logit has no end there."""
    return min(max(1.0 / (1.0 + exp(-x)), _EDGE), 1.0 - _EDGE)


def _beginning(e: Evidence, prior: Prior) -> State:
    """A state near enough to begin with: the fraction of the prior, each group's mean as recorded."""
    p = float(np.clip(prior.start, 0.02, 0.98))
    counts = np.bincount(e.group, e.at_unit.sum(axis=1) + e.stated, e.groups)
    expected = np.bincount(e.group, p * (e.unit_temporary + e.stated_temporary)
                           + (1.0 - p) * (e.unit_permanent + e.stated_permanent), e.groups)
    mean = (counts + 0.5) / (expected + 0.5)
    return State(mean[e.group], np.full(e.groups, p), mean, 2.0, np.full(2, 0.2), p)
