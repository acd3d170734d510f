"""What converted and other laterals would have had without conversions, given the counts before: Λ_c and Λ_o.

A lateral's events before are Poisson about expected × rate × year, where expected is in proportion to a power γ of
its exposure, the rates between laterals are gamma of mean 1 and variance v, and `year` is gamma of mean 1 and variance
k, the spread of lateral-years. Together rate × year is nearly gamma with variance v + k + v k, so that the
counts' negative binomial likelihood nearly gives γ, the mean and that variance; draws of them are then weighted by the
likelihood of the two gammas themselves. None is plugged in: squared spreads flat, the mean flat in its logarithm, γ on
a grid from 0 (length says nothing) to 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from reliability.history.lateral_years import DRIFT

POSTERIOR_DRAWS = 500
MOST_EXPOSURES = 32                  # so many different exposures, in equal steps of the logarithm; more are grouped
LEAST_EXPOSURE = 0.01                # of the mean one: laterals without line have events too
_POWERS = (0.0, 0.25, 0.5, 0.75, 1.0)
_SPREADS = np.linspace(0.02, 2.5, 50)         # cv of rate × year
_LEAST_VARIANCE, _LEAST_VARIANCE_WITHIN = 1e-4, 1e-6
_MOST_ROUNDS, _SETTLED = 40, 1e-3             # of the search for that mode, which need not be exact
_STEPS = np.linspace(-6.0, 6.0, 25)           # standard deviations about the mode of ln(rate)


@dataclass(frozen=True)
class _Groups:
    """Laterals of equal count and exposure: (u,) each; `converted` and `others` are how many."""

    count: np.ndarray
    log_exposure: np.ndarray
    converted: np.ndarray
    others: np.ndarray

    @property
    def size(self) -> np.ndarray:
        return self.converted + self.others


def log_odds_draws(counts: np.ndarray, exposure: np.ndarray, converted: np.ndarray, spread: np.ndarray,
                   concentration: tuple[float, float], rng: np.random.Generator) -> np.ndarray:
    """ln(Λ_c / Λ_o) after, (draws,), given `counts` and `exposure` before, (laterals,) each.

    converted: (laterals,) bool. spread: (draws,) squared cv of lateral-years. concentration: what becomes of it in
    the sum before and after (see `LateralYears.concentration`), which the sums after vary by as well.
    """
    groups = _grouped(counts, exposure, converted)
    within = np.maximum(spread * concentration[0], _LEAST_VARIANCE_WITHIN)
    mean, total = _hyperparameters(groups, within, rng)
    between = np.maximum((total - within) / (1 + within), _LEAST_VARIANCE)
    rate, variance, log_likelihood = _rates(groups.count, mean, between, within)
    near = _log_negative_binomial(groups.count, mean, total[:, None])
    kept = _resampled((log_likelihood - near) @ groups.size, rng)
    mean, rate, variance, after = mean[kept], rate[kept], variance[kept], spread[kept] * concentration[1] + DRIFT
    sums = []
    for members in (groups.converted, groups.others):
        expected = (mean * rate) @ members
        share = (mean ** 2 * (rate ** 2 + variance)) @ members / expected ** 2       # Σ rate² / (Σ rate)²
        scatter = (mean ** 2 * variance) @ members / expected ** 2
        sums.append(np.log(expected) + _log_gamma(scatter, rng) + _log_gamma(after * share, rng))
    return np.asarray(sums[0] - sums[1])


def _resampled(log_weight: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Places of draws, as many as there are, in proportion to their weights (systematic resampling)."""
    weight = np.exp(log_weight - log_weight.max())
    upto = np.cumsum(weight / weight.sum())
    places = np.searchsorted(upto, (np.arange(len(weight)) + rng.random()) / len(weight))
    return np.minimum(places, len(weight) - 1)


def _log_gamma(variance: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Logarithms of gamma draws of mean 1."""
    shape = 1 / np.maximum(variance, 1e-9)
    return np.log(np.maximum(rng.standard_gamma(shape), 1e-300) / shape)


def _grouped(counts: np.ndarray, exposure: np.ndarray, converted: np.ndarray) -> _Groups:
    average = exposure.mean()
    log = np.log(np.maximum(exposure / average, LEAST_EXPOSURE)) if average > 0 else np.zeros(len(exposure))
    if len(np.unique(log)) > MOST_EXPOSURES:
        width = (log.max() - log.min()) / MOST_EXPOSURES
        log = log.min() + width * (np.minimum((log - log.min()) // width, MOST_EXPOSURES - 1) + 0.5)
    rows, place = np.unique(np.column_stack([counts, log]), axis=0, return_inverse=True)
    number = [np.bincount(place.ravel()[chosen], minlength=len(rows)).astype(float)
              for chosen in (converted, ~converted)]
    return _Groups(rows[:, 0], rows[:, 1], *number)


def _hyperparameters(groups: _Groups, within: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Expected counts (draws, u) and variances (draws,) of rate × year, none of these below `within` (draws,)."""
    powers = np.array(_POWERS if np.ptp(groups.log_exposure) > 0 else _POWERS[:1])
    variance, power = (a.ravel() for a in np.meshgrid(_SPREADS ** 2, powers, indexing="ij"))
    log_mean, width, log_weight = _likelihood(groups, variance, power)
    weight = np.exp(log_weight - log_weight.max()) * np.sqrt(variance)       # flat in the variance: width of a cell
    upto = np.append(0.0, np.cumsum(weight / weight.sum()))
    first = np.minimum(np.searchsorted(variance, within), len(variance) - 1)   # variances stand in ascending order
    u = upto[first] + rng.random(len(within)) * (1 - upto[first])
    drawn = np.clip(np.searchsorted(upto, u, side="right") - 1, first, len(variance) - 1)
    level = log_mean[drawn] + width[drawn] * rng.standard_normal(len(within))
    return np.exp(level[:, None] + power[drawn, None] * groups.log_exposure), np.maximum(variance[drawn], within)


def _likelihood(groups: _Groups, variance: np.ndarray,
                power: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of each variance and power (g,): ln of the best mean, its standard error, ln of the likelihood over the mean."""
    n, size, v = groups.count, groups.size, variance[:, None]
    relative = np.exp(power[:, None] * groups.log_exposure)
    mean = np.full(len(variance), max((n * size).sum(), 0.5) / size.sum())
    for _ in range(12):
        worth = size * relative / (1 + v * mean[:, None] * relative)
        mean = np.maximum((worth * n / relative).sum(axis=1), 1e-9) / worth.sum(axis=1)
    expected = mean[:, None] * relative
    log = _log_negative_binomial(n, expected, v)
    information = (size * expected / (1 + v * expected)).sum(axis=1)
    width = np.maximum(information, 0.5) ** -0.5
    return np.log(mean), width, (log * size).sum(axis=1) + np.log(width)


def _log_negative_binomial(n: np.ndarray, mean: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """ln of the probability of counts about gamma rates of `mean` and squared cv `variance`, without ln(n!)."""
    shape = 1 / variance
    return np.asarray(special.gammaln(n + shape) - special.gammaln(shape) - (n + shape) * np.log1p(mean * variance)
                      + n * np.log(mean * variance))


def _rates(n: np.ndarray, mean: np.ndarray, between: np.ndarray,
           within: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Posterior mean and variance of the rates, and ln of the probability of the counts without ln(n!), (draws, u)
    each, of groups with counts `n` (u,) and expected `mean`.

    The density of x = ln(rate) has one peak: found by Newton's method, then summed about it.
    """
    a, k = 1 / between[:, None], within[:, None]
    x = np.log((n + a) / (mean + a))
    for _ in range(_MOST_ROUNDS):
        rate, odds = np.exp(x), k * mean * np.exp(x)
        slope = n + a - a * rate - (n + 1 / k) * odds / (1 + odds)
        curve = a * rate + (n + 1 / k) * odds / (1 + odds) ** 2
        move = np.clip(slope / curve, -1.0, 1.0)
        x = x + move
        if np.abs(move).max() < _SETTLED:
            break
    rate, odds = np.exp(x), k * mean * np.exp(x)
    width = (a * rate + (n + 1 / k) * odds / (1 + odds) ** 2) ** -0.5
    weight, first, second = (np.zeros_like(x) for _ in range(3))
    peak = _log_density(x, n, mean, a, k)
    for step in _STEPS:
        here = x + step * width
        w = np.exp(_log_density(here, n, mean, a, k) - peak)
        weight, first, second = weight + w, first + w * np.exp(here), second + w * np.exp(2 * here)
    average = first / weight
    constant = (n * np.log(k * mean) + special.gammaln(n + 1 / k) - special.gammaln(1 / k)
                + a * np.log(a) - special.gammaln(a))
    log_likelihood = constant + peak + np.log(weight * width * (_STEPS[1] - _STEPS[0]))
    return average, np.maximum(second / weight - average ** 2, 1e-12), log_likelihood


def _log_density(x: np.ndarray, n: np.ndarray, mean: np.ndarray, a: np.ndarray, k: np.ndarray) -> np.ndarray:
    rate = np.exp(x)
    return (n + a) * x - a * rate - (n + 1 / k) * np.log1p(k * mean * rate)
