"""Empirical Bayes for counts: gamma–Poisson rates and beta–binomial shares.

The posterior mean takes the hyperparameters of maximum marginal likelihood. Where the data
show no more spread than chance, that maximum lies at no spread at all, and every unit has the
pooled value. The interval allows for not knowing the spread and the mean of the units: the
second moment about the posterior mean is averaged over them, weighted by their likelihood,
and a distribution of the same family with these two moments gives the interval. With the
hyperparameters held fixed, the intervals of thin records are far too short. A priori all
squared spreads are equally likely: intervals then cover about as often as they claim (Morris and
Tang, Estimating random effects via adjustment for density maximization, Statistical Science
26(2), 2011; from memory), where a prior flat in the spread itself leaves them too short.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from scipy import special

Node = tuple[np.ndarray, np.ndarray]    # means and variances (n,) of the units at one value of their common mean

LEVEL = 0.90                       # of all intervals of learned values; our choice
TAILS = (1 - LEVEL) / 2, (1 + LEVEL) / 2
MINIMUM_SPREAD = 1e-6              # squared spread of the units below which they count as equal
MANY = 20_000                      # so many units determine their spread well: no averaging over it
_MAXIMUM_SPREAD = 3.0              # the weights of the spread end here: cv, or (a + b)**-0.5
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()


@dataclass(frozen=True)
class Posterior:
    """Posterior of each unit (n,): mean, and `low` … `high` at LEVEL.

    a, b: shape and rate of the gamma prior, or the two parameters of the beta prior; NaN where
    pooled. prior_mean: mean of the prior, or the pooled value. pooled: no spread beyond chance.
    """

    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray
    a: float
    b: float
    prior_mean: float
    pooled: bool


def gamma_poisson(count: np.ndarray, exposure: np.ndarray) -> Posterior:
    """Rates behind Poisson counts (n,) of `exposure` (n,) > 0; the rates follow a gamma distribution."""
    count, exposure = np.asarray(count, dtype=float), np.asarray(exposure, dtype=float)
    seen, total, n = count.sum(), exposure.sum(), len(count)
    if seen == 0:   # no spread to learn from: Jeffreys prior on the pooled count
        return _pooled(scipy.stats.gamma(0.5, scale=1 / total), n)
    prior = _gamma_prior(count, exposure)
    a, b = prior or (np.nan, np.nan)
    mean = (a + count) / (b + exposure) if prior else np.full(n, seen / total)

    def given(spread: float) -> tuple[float, list[Node]]:
        shape = spread ** -2
        centre = _settled(lambda m: np.average(count / exposure, weights=exposure / (1 + m * exposure / shape)),
                          seen / total)
        expected = centre * exposure
        width = np.sum(expected / (1 + expected / shape)) ** -0.5
        weight = -_gamma_loss(np.log([centre, spread ** 2]), count, exposure)[0] + np.log(width)
        rates = [shape / (centre * np.exp(t * width)) for t in _NODES]
        return weight, [((shape + count) / (r + exposure), (shape + count) / (r + exposure) ** 2) for r in rates]

    variance = mean / (b + exposure) if prior and n > MANY else _averaged(given, mean)
    low, high = (np.asarray(scipy.stats.gamma.ppf(t, mean**2 / variance, scale=variance / mean)) for t in TAILS)
    return Posterior(mean, low, high, a, b, float(a / b if prior else seen / total), prior is None)


def beta_binomial(hits: np.ndarray, trials: np.ndarray) -> Posterior:
    """Shares behind binomial counts: `hits` (n,) of `trials` (n,) ≥ 0; the shares follow a beta distribution.

    A unit without trials has the prior. At least one unit must have a trial.
    """
    k, n = np.asarray(hits, dtype=float), np.asarray(trials, dtype=float)
    pooled = k.sum() / n.sum()
    if not 0 < pooled < 1:   # no spread to learn from: Jeffreys prior on the pooled count
        return _pooled(scipy.stats.beta(k.sum() + 0.5, (n - k).sum() + 0.5), len(k))
    prior = _beta_prior(k, n)
    a, b = prior or (np.nan, np.nan)
    mean = (a + k) / (a + b + n) if prior else np.full(len(k), pooled)

    def given(spread: float) -> tuple[float, list[Node]]:
        size = spread ** -2
        worth = n / (1 + (n - 1) / (1 + size))
        centre = float((worth * np.divide(k, n, out=np.zeros_like(k), where=n > 0)).sum() / worth.sum())
        centre = min(max(centre, 1e-6), 1 - 1e-6)
        width = (worth.sum() * centre * (1 - centre)) ** -0.5
        where = special.logit(centre)
        weight = -_beta_loss(np.array([where, np.log(spread ** 2)]), k, n)[0] + np.log(width)
        means = [(size * special.expit(where + t * width) + k) / (size + n) for t in _NODES]
        return weight, [(m, m * (1 - m) / (size + n + 1)) for m in means]

    known = prior and len(k) > MANY
    variance = mean * (1 - mean) / (a + b + n + 1) if known else _averaged(given, mean)
    variance = np.minimum(variance, 0.999 * mean * (1 - mean))
    size = mean * (1 - mean) / variance - 1
    low, high = (np.asarray(scipy.stats.beta.ppf(t, mean * size, (1 - mean) * size)) for t in TAILS)
    return Posterior(mean, low, high, a, b, float(a / (a + b) if prior else pooled), prior is None)


def _pooled(posterior: scipy.stats.distributions.rv_frozen, units: int) -> Posterior:
    """The same posterior for all `units`."""
    mean = float(posterior.mean())
    low, high = (np.full(units, float(posterior.ppf(t))) for t in TAILS)
    return Posterior(np.full(units, mean), low, high, np.nan, np.nan, mean, True)


def _settled(step: Callable[[float], float], value: float, rounds: int = 8) -> float:
    for _ in range(rounds):
        value = step(value)
    return value


def _averaged(given: Callable[[float], tuple[float, list[Node]]], mean: np.ndarray) -> np.ndarray:
    """Second moment (n,) about `mean` (n,), averaged over the spread of the units.

    `given` returns, for a spread, the logarithm of its weight and the means and variances of the
    units at the nodes of their common mean. The range of spreads is narrowed to those that
    matter.
    """
    low, high, cells = 0.0, _MAXIMUM_SPREAD, 24
    for _ in range(5):
        edges = np.linspace(low, high, cells + 1)
        spread = (edges[1:] + edges[:-1]) / 2
        found = [given(s) for s in spread]
        log_weight = np.array([f[0] for f in found]) + np.log(spread)   # flat in the squared spread
        matters = np.flatnonzero(log_weight > log_weight.max() - 8)
        if len(matters) > cells // 2:
            break
        low, high = edges[max(matters[0] - 1, 0)], edges[min(matters[-1] + 2, cells)]
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    moment = np.zeros(len(mean))
    for w, (_, nodes) in zip(weight, found, strict=True):
        for v, (m, variance) in zip(_NODE_WEIGHTS, nodes, strict=True):
            moment += w * v * (variance + (m - mean) ** 2)
    return moment


def _gamma_loss(x: np.ndarray, count: np.ndarray, exposure: np.ndarray) -> tuple[float, np.ndarray]:
    """Minus the log likelihood (negative binomial) and its gradient; x = log mean, log squared cv."""
    mean, a = np.exp(x[0]), np.exp(-x[1])
    expected = mean * exposure
    value = (special.gammaln(count + a) - special.gammaln(a) - (a + count) * np.log1p(expected / a)
             + count * np.log(expected / a))
    by_mean = count - (count + a) * expected / (a + expected)
    by_a = (special.digamma(count + a) - special.digamma(a) - np.log1p(expected / a)
            + (expected - count) / (a + expected))
    return -value.sum(), np.array([-by_mean.sum(), a * by_a.sum()])


def _beta_loss(x: np.ndarray, k: np.ndarray, n: np.ndarray) -> tuple[float, np.ndarray]:
    """Minus the log likelihood and its gradient; x = logit of the mean, log of 1/(a + b)."""
    mean, size = special.expit(x[0]), np.exp(-x[1])
    a, b = mean * size, (1 - mean) * size
    value = (special.gammaln(k + a) - special.gammaln(a) + special.gammaln(n - k + b) - special.gammaln(b)
             - special.gammaln(n + size) + special.gammaln(size))
    both = special.digamma(n + size) - special.digamma(size)
    by_a = (special.digamma(k + a) - special.digamma(a) - both).sum()
    by_b = (special.digamma(n - k + b) - special.digamma(b) - both).sum()
    return -value.sum(), np.array([-mean * (1 - mean) * size * (by_a - by_b), a * by_a + b * by_b])


def _gamma_prior(count: np.ndarray, exposure: np.ndarray) -> tuple[float, float] | None:
    """Shape and rate of the prior by maximum likelihood; None where no spread can be seen."""
    if len(count) < 2:
        return None
    mean, spread = _most_likely(_gamma_loss, (count, exposure), np.log(count.sum() / exposure.sum()))
    return None if spread <= 2 * MINIMUM_SPREAD else (1 / spread, 1 / (spread * np.exp(mean)))


def _beta_prior(k: np.ndarray, n: np.ndarray) -> tuple[float, float] | None:
    """The two parameters of the prior by maximum likelihood; None where no spread can be seen."""
    k, n = k[n > 0], n[n > 0]
    if len(k) < 2 or n.max() < 2:
        return None
    where, spread = _most_likely(_beta_loss, (k, n), float(special.logit(k.sum() / n.sum())))
    mean = special.expit(where)
    return None if spread <= 2 * MINIMUM_SPREAD else (float(mean / spread), float((1 - mean) / spread))


def _most_likely(loss: Callable[[np.ndarray, np.ndarray, np.ndarray], tuple[float, np.ndarray]],
                 data: tuple[np.ndarray, np.ndarray], centre: float) -> tuple[float, float]:
    """Best of a few starts, as the likelihood may have a second, flat maximum at no spread: location and spread."""
    bounds = [(centre - 10, centre + 10), (np.log(MINIMUM_SPREAD), np.log(1e3))]
    tries = [scipy.optimize.minimize(loss, (centre, start), args=data, jac=True, method="L-BFGS-B", bounds=bounds)
             for start in (np.log(0.1), 0.0, np.log(MINIMUM_SPREAD))]
    best = min(tries, key=lambda t: t.fun).x
    return float(best[0]), float(np.exp(best[1]))
