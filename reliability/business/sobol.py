"""Sobol' indices of the expected NPV over the ranges that a study states or has by default, with their errors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import scipy

from reliability.business.expected_npv import Npv
from reliability.business.unknowns import Unknowns, picked_draw, unknowns_of, values_at
from reliability.schema.assumptions import RATES_FROM_RECORDS
from reliability.schema.values import Assumptions
from reliability.study.study import Study
from reliability.tasks import HERE, Workers

GOAL = 0.01          # largest standard error of an index
SAMPLES = 16         # independent samples, over which the error is estimated
SOBOL_POINTS = 64          # of each to begin with; a power of 2
POINTS_AT_MOST = 4096
ROUNDING_OF_NPV = 1e-12  # less than that of it is no difference
RESAMPLED = 400      # bootstrap samples
MOST_TABLES = 24     # outcome tables of the assumptions that need their own, all levels of them together


@dataclass(frozen=True)
class SobolIndices:
    """Indices of S scenarios by assumption, (S,) each, NaN where the NPV does not vary; errors are standard errors."""

    first: Mapping[str, np.ndarray]
    total: Mapping[str, np.ndarray]
    first_error: Mapping[str, np.ndarray]
    total_error: Mapping[str, np.ndarray]

    def of(self, key: str, scenario: int) -> tuple[float, float, float, float]:
        """First order, total and the errors of both, NaN of what was not drawn."""
        columns = (self.first, self.total, self.first_error, self.total_error)
        return tuple(float(c[key][scenario]) if key in c else np.nan for c in columns)  # type: ignore[return-value]


@dataclass(frozen=True)
class _Sums:
    """Means over each of R samples: of the NPV and of its square, (R, S), and of what each of d inputs explains alone
    and in all, (R, d, S)."""

    mean: np.ndarray
    square: np.ndarray
    alone: np.ndarray
    everything: np.ndarray

    def some(self, which: np.ndarray) -> _Sums:
        """Of some of the inputs (positions)."""
        return _Sums(self.mean, self.square, self.alone[:, which], self.everything[:, which])

    def joined(self, other: _Sums) -> _Sums:
        """Means over these and as many more points."""
        return _Sums(*((a + b) / 2.0 for a, b in zip(
            (self.mean, self.square, self.alone, self.everything),
            (other.mean, other.square, other.alone, other.everything), strict=True)))


def sobol_indices(study: Study, npv: Npv, seed: int, deviations: np.ndarray | None = None,
                  workers: Workers = HERE) -> SobolIndices:
    """First-order and total Sobol' indices of the NPV by uncertain assumption.

    The share of the variance of the expected NPV that knowing one assumption would remove (estimator of Saltelli and
    others, 2010), and the share that would remain if only that one were unknown (Jansen, 1999; both from memory). From
    independent scrambled Sobol' sequences, doubled until every standard error, by bootstrap over the sequences, is
    under GOAL or POINTS_AT_MOST is reached; an assumption whose own errors are is not looked at again. Estimates
    outside what an index can be are set to its bound: first orders under 0 to 0, and over the total to the total.

    Draws of an assumption that needs an outcome table of its own are rounded to a few levels of equal probability.
    deviations: (K, S) of the NPV at draws of the learned rates; they are added, so that how they interact with the
    others is left out. workers: evaluate the assumptions beside each other where they are sent the closed form once.
    """
    inputs = unknowns_of(study, MOST_TABLES, deviations is not None)
    if not inputs.keys:
        return SobolIndices({}, {}, {}, {})
    engines = [scipy.stats.qmc.Sobol(2 * len(inputs.keys), rng=rng)
               for rng in np.random.default_rng(seed).spawn(SAMPLES)]
    workers, points = workers if workers.far else HERE, SOBOL_POINTS
    outputs = _Outputs(npv, study.values, npv(study.values), deviations)
    known = workers.shared(outputs)

    def sampled(keys: Sequence[str]) -> _Sums:
        places = np.concatenate([engine.random(points) for engine in engines])
        return _sampled(inputs, keys, outputs, known, workers, places)

    keys, found = list(inputs.keys), SobolIndices({}, {}, {}, {})
    sums = sampled(keys)
    while True:
        estimates = _estimates(sums, seed)
        found = SobolIndices(*({**before, **dict(zip(keys, now, strict=True))} for before, now in zip(
            (found.first, found.total, found.first_error, found.total_error), estimates, strict=True)))
        rough = np.flatnonzero(np.nan_to_num(np.maximum(*estimates[2:])).max(axis=1) >= GOAL)
        if points >= POINTS_AT_MOST or not len(rough):
            return found
        keys = [keys[i] for i in rough]
        sums, points = sums.some(rough).joined(sampled(keys)), 2 * points


@dataclass(frozen=True)
class _Outputs:
    """What is looked at: the NPV less `middle` (1, S), near its mean, with the deviations of learned rates, if any."""

    npv: Npv
    stated: Assumptions
    middle: np.ndarray
    deviations: np.ndarray | None

    def __call__(self, draws: Mapping[str, np.ndarray]) -> np.ndarray:
        """(m, S) at draws (m,) by key."""
        found = self.npv(values_at(self.stated, draws))
        if self.deviations is not None:
            found = found + self.deviations[picked_draw(draws[RATES_FROM_RECORDS.key], len(self.deviations))]
        moved = found - self.middle
        return np.where(np.abs(moved) <= ROUNDING_OF_NPV * np.abs(self.middle), 0.0, moved)


@dataclass(frozen=True)
class _Halves:
    """Two independent sets of draws by key, and the outputs there, (m, S)."""

    a: Mapping[str, np.ndarray]
    b: Mapping[str, np.ndarray]
    at_a: np.ndarray
    at_b: np.ndarray


def _sampled(inputs: Unknowns, keys: Sequence[str], outputs: _Outputs, known: _Outputs, workers: Workers,
             places: np.ndarray) -> _Sums:
    """Sums over further points of each sample, of what the inputs `keys` explain.

    known: `outputs` as the workers know it. places: (m, 2 d), 0 to 1.
    """
    a, b = (inputs.draws(half) for half in np.split(places, 2, axis=1))
    at_a, at_b = outputs(a), outputs(b)
    halves = workers.shared(_Halves(a, b, at_a, at_b))
    alone, everything = zip(*workers.in_order(partial(_moved_by, known, halves, key) for key in keys),
                            strict=True)
    return _Sums(_means(at_a + at_b) / 2.0, _means(at_a ** 2 + at_b ** 2) / 2.0, np.stack(alone, axis=1),
                 np.stack(everything, axis=1))


def _moved_by(outputs: _Outputs, halves: _Halves, key: str) -> tuple[np.ndarray, np.ndarray]:
    """What one assumption explains alone and in all, (SAMPLES, S) each."""
    moved = outputs({**halves.a, key: halves.b[key]}) - halves.at_a
    return _means(halves.at_b * moved), _means(moved ** 2) / 2.0


def _means(values: np.ndarray) -> np.ndarray:
    """Means over the points of each sample, (SAMPLES, S)."""
    return np.asarray(values.reshape(SAMPLES, -1, values.shape[1]).mean(axis=1))


def _estimates(sums: _Sums, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(first, total, and the standard error of either), (d, S) each."""
    counts = np.random.default_rng(seed).multinomial(SAMPLES, np.full(SAMPLES, 1.0 / SAMPLES), RESAMPLED)
    # of so few samples a resampled mean varies less than the mean by this
    narrow = np.sqrt(SAMPLES / (SAMPLES - 1.0))
    indices, errors = [], []
    with np.errstate(divide="ignore", invalid="ignore"):
        for part in (sums.alone, sums.everything):
            indices.append(_ratio(part, sums, np.ones((1, SAMPLES)))[0])
            errors.append(narrow * _ratio(part, sums, counts).std(axis=0))
    total = np.maximum(indices[1], 0.0)
    return np.clip(indices[0], 0.0, total), total, errors[0], errors[1]


def _ratio(part: np.ndarray, sums: _Sums, weights: np.ndarray) -> np.ndarray:
    """Weighted means of a part over the variance, (B, d, S), NaN where nothing varies. weights: (B, SAMPLES)."""
    weights = weights / SAMPLES
    variance = (weights @ sums.square - (weights @ sums.mean) ** 2)[:, None]
    return np.asarray(np.where(variance > 0.0, np.einsum("br,rds->bds", weights, part) / variance, np.nan))
