"""Whether the fast clearing time of the model fits the records, by likelihood.

A wrong clearing time shows in the split of temporary and permanent records fuse by fuse, and in the share of faults
that leave a momentary event alone. The likelihood of both, λ integrated out and the hyperparameters at their best, is
compared at fractions and multiples of the time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from reliability.history.posterior import LOGIT_SPREAD, Evidence, Posterior, Prior, openings_each, ratio

CLEARING_FACTORS = (0.5, 2.0 / 3.0, 1.0, 1.5, 2.0)
CLEARLY = 3.0       # by so much the logarithm of the likelihood must gain before another time is called likelier (ours)
MATTERS = 0.05      # below this span of the likelihoods the records say nothing of the time
NEAR = 1e-3         # of the logarithm of a likelihood, at which its climb ends
_STEPS = 40


@dataclass(frozen=True)
class ClearingFit:
    """log_likelihood: (5,) at CLEARING_FACTORS times the fast clearing time, relative to the time itself."""

    log_likelihood: np.ndarray

    @property
    def best(self) -> float:
        """The factor that fits best, 1 unless another one is clearly likelier."""
        at = int(np.argmax(self.log_likelihood))
        return CLEARING_FACTORS[at] if self.log_likelihood[at] > CLEARLY else 1.0

    @property
    def matters(self) -> bool:
        """Whether the records can tell anything of it."""
        return bool(np.ptp(self.log_likelihood) > MATTERS)


def fit_clearing(evidences: Sequence[Evidence], posterior: Posterior, prior: Prior) -> ClearingFit:
    """evidences: at CLEARING_FACTORS times the fast clearing time. posterior: at the time itself, to begin from."""
    last = posterior.last
    start = np.concatenate([_logit(last.fraction), np.log(last.mean), [np.log(last.shape)], _logit(last.blank)])
    values, middle = np.empty(len(CLEARING_FACTORS)), CLEARING_FACTORS.index(1.0)
    values[middle], best = _largest(evidences[middle], prior, start)
    for at in (range(middle - 1, -1, -1), range(middle + 1, len(CLEARING_FACTORS))):
        near = best
        for i in at:
            values[i], near = _largest(evidences[i], prior, near)
    return ClearingFit(values - values[middle])


def _largest(e: Evidence, prior: Prior, start: np.ndarray) -> tuple[float, np.ndarray]:
    """The largest logarithm of the likelihood, and where it lies, to some hundredths."""
    def against(x: np.ndarray) -> float:
        return -log_marginal(e, prior, x)

    size = max(abs(against(start)), 1.0)
    result = scipy.optimize.minimize(against, start, method="L-BFGS-B",
                                     options={"maxiter": _STEPS, "ftol": NEAR / size})
    return -float(result.fun), result.x


def log_marginal(e: Evidence, prior: Prior, x: np.ndarray) -> float:
    """Logarithm of the likelihood with λ integrated out; x: logits of the fractions (G,), logarithms of the means (G,)
    and of the shape, logits of the blank shares (2,).

    Momentary counts are taken as negative binomial, with the mean and the variance that the units' rates given their
    sustained records leave them.
    """
    g = e.groups
    p, mean, shape, blank = _expit(x[:g])[e.group], np.exp(x[g:2 * g])[e.group], np.exp(x[2 * g]), _expit(x[2 * g + 1:])
    temporary, permanent = p * e.unit_temporary, (1.0 - p) * e.unit_permanent
    expected, count = temporary + permanent, e.at_unit.sum(axis=1)
    value = _negative_binomial(count, mean * expected, shape)
    parts = ((1.0 - blank[0]) * temporary, (1.0 - blank[1]) * permanent, blank[0] * temporary + blank[1] * permanent)
    for kind, part in enumerate(parts):
        n = e.at_unit[:, kind]
        some = n > 0
        value += float(n[some] @ np.log(part[some] / expected[some] + 1e-300))
    entries = e.device_entries
    behind = _behind_devices(e, p, mean)
    all_expected = expected + entries.by_unit(entries.temporary, e.units) * p + (
        entries.by_unit(entries.permanent, e.units) * (1.0 - p))
    given = shape + count + behind
    rate = shape / mean + all_expected
    value += _at_devices(e, given / rate, given / rate**2, p, parts)
    apart = x[:g] - prior.shift - _logit(np.array(prior.start))
    return value - float(apart @ apart) / (2.0 * 2.0 * LOGIT_SPREAD**2)


def _behind_devices(e: Evidence, p: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """Records at reclosing devices shared over the units behind them, (U,)."""
    at = e.device_entries
    weight = mean[at.unit] * (p[at.unit] * at.temporary + (1.0 - p[at.unit]) * at.permanent)
    share = ratio(weight, at.by_place(weight, e.devices)[at.place])
    return at.by_unit(share * e.at_device.sum(axis=1)[at.place], e.units)


def _at_devices(e: Evidence, rate: np.ndarray, variance: np.ndarray, p: np.ndarray,
                parts: tuple[np.ndarray, np.ndarray, np.ndarray]) -> float:
    """Likelihood of events and counter steps. rate, variance: (U,) of λ given the sustained records. parts: expected
    sustained records of each unit, temporary, permanent, of no kind."""
    own = _by_kind(e, parts)
    beside = sum(e.beside.by_place(amount * own[kind][e.beside.unit], e.devices) for kind, amount in enumerate((
        ratio(e.beside.temporary, e.unit_temporary[e.beside.unit]),
        ratio(e.beside.permanent, e.unit_permanent[e.beside.unit]))))
    steps, at_device = e.steps_at_unit, e.steps_at_device
    before = sum(steps.by_place(amount * own[kind][steps.unit], e.devices) for kind, amount in enumerate((
        ratio(steps.temporary, e.unit_temporary[steps.unit]), ratio(steps.permanent, e.unit_permanent[steps.unit]))))
    expected = [entries.by_place(rate[entries.unit] * (p[entries.unit] * entries.temporary
                                                       + (1.0 - p[entries.unit]) * entries.permanent), e.devices)
                for entries in (at_device, e.device_entries)]
    before = before + e.at_device.sum(axis=1) * ratio(*expected)
    value = 0.0
    for entries, recorded, sure, each in ((e.alone, e.events, beside, np.ones(e.devices)),
                                          (e.pure_steps, e.steps, before, openings_each(e))):
        amount = entries.temporary * p[entries.unit]
        mean = entries.by_place(rate[entries.unit] * amount, e.devices)
        used = mean > 0
        total = (mean + sure)[used]
        spread = entries.by_place(variance[entries.unit] * amount * amount, e.devices)[used]
        size = total ** 2 / np.maximum(spread, 1e-9 * total ** 2)
        faults = recorded[used] / each[used]
        # what a count is divided by differs between clearing times: its share of the density counts
        value += _negative_binomial(faults, total / each[used], size) - float(
            np.sum(scipy.special.gammaln(faults + 1.0) + np.log(each[used])))
    return value


def _by_kind(e: Evidence, parts: tuple[np.ndarray, np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Sustained records of each unit that are temporary and permanent, those of no kind in proportion, (U,) each."""
    all_temporary = ratio(parts[0], parts[0] + parts[1])
    return (e.at_unit[:, 0] + e.at_unit[:, 2] * all_temporary,
            e.at_unit[:, 1] + e.at_unit[:, 2] * (1.0 - all_temporary))


def _negative_binomial(count: np.ndarray, mean: np.ndarray, size: np.ndarray | float) -> float:
    """Logarithm of the probabilities of counts with a gamma-distributed mean of shape `size`; 0 where mean is 0."""
    some = mean > 0
    n, m, a = count[some], mean[some], np.broadcast_to(size, mean.shape)[some]
    gammas = scipy.special.gammaln(a + n) - scipy.special.gammaln(a)
    return float(np.sum(gammas + n * np.log(m) + a * np.log(a) - (a + n) * np.log(a + m)))


def _logit(p: np.ndarray) -> np.ndarray:
    clipped = np.clip(p, 1e-6, 1.0 - 1e-6)
    return np.log(clipped / (1.0 - clipped))


def _expit(x: np.ndarray) -> np.ndarray:
    return np.clip(1.0 / (1.0 + np.exp(-x)), 1e-9, 1.0 - 1e-9)
