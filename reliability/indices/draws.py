"""Draws of uncertain assumptions (PERT, once a trial) and of year-to-year variability (gamma, once a year)."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import scipy

from reliability.schema.assumption_types import Range
from reliability.schema.values import Assumptions, Drawn, TrialValues, as_assumptions, drawn_shares

PERT_WEIGHT = 4.0  # weight of the likely value in a PERT distribution


def pert(rng: np.random.Generator, stated: Range, size: int) -> np.ndarray:
    """Draws (size,) of a PERT distribution: a beta one scaled to low … high, of mean (low + 4 likely + high)/6."""
    width = stated.high - stated.low
    if width == 0:
        return np.full(size, float(stated.low))
    return stated.low + width * rng.beta(*pert_shapes(stated), size)


def pert_shapes(stated: Range) -> tuple[float, float]:
    """The two shapes of the beta distribution that a PERT distribution is, scaled to low … high (high above low)."""
    width = stated.high - stated.low
    return (1.0 + PERT_WEIGHT * (stated.likely - stated.low) / width,
            1.0 + PERT_WEIGHT * (stated.high - stated.likely) / width)


def pert_quantiles(stated: Range, places: np.ndarray) -> np.ndarray:
    """Values of a PERT distribution below which it lies with the probabilities `places`, of their shape."""
    width = stated.high - stated.low
    if width == 0:
        return np.full(np.shape(places), float(stated.low))
    return stated.low + width * np.asarray(scipy.special.betaincinv(*pert_shapes(stated), places))


def draw_uncertain(rng: np.random.Generator, uncertain: Mapping[str, Range], trials: int) -> dict[str, np.ndarray]:
    """One value a trial, (trials,), of every uncertain assumption, in a fixed order of keys."""
    return {key: pert(rng, uncertain[key], trials) for key in sorted(uncertain)}


def values_of_trials(values: Assumptions, draws: Mapping[str, np.ndarray]) -> TrialValues:
    """All assumptions with the drawn ones as arrays (trials,).

    Shares are drawn element by element ("clearing_shares.0" …) and scaled to sum to 1.
    """
    result: dict[str, object] = dict(values)
    for key, drawn in draws.items():
        name, _, index = key.partition(".")
        if not index:
            result[name] = drawn
    for name in {key.partition(".")[0] for key in draws if "." in key}:
        elements = np.broadcast_arrays(*(draws.get(f"{name}.{i}", v) for i, v in enumerate(drawn_shares(values, name))))
        total = sum(elements)
        result[name] = tuple(e / total for e in elements)
    return result


def one_trial(values: TrialValues, trial: int) -> Assumptions:
    """The values of one trial, out of `values_of_trials`, as plain numbers."""

    def pick(value: object) -> object:
        if isinstance(value, tuple):
            return tuple(pick(v) for v in value)
        return float(value[trial]) if isinstance(value, np.ndarray) else value

    return as_assumptions({key: pick(value) for key, value in values.items()})


def yearly_multipliers(rng: np.random.Generator, yearly_cv: Drawn, trials: int, years: int) -> np.ndarray:
    """Gamma multipliers of mean 1, (trials, years); all 1 where the coefficient of variation is 0.

    yearly_cv: a number or (trials,).
    """
    cv = np.broadcast_to(np.asarray(yearly_cv, dtype=float), (trials,))[:, None]
    shape = np.maximum(cv, 1e-9) ** -2.0
    drawn = rng.standard_gamma(np.broadcast_to(shape, (trials, years))) / shape
    return np.where(cv > 0, drawn, 1.0)


def count_draws(values: TrialValues) -> int:
    """Draws in values some of which may be arrays (K,): K, and 1 where all are numbers."""
    arrays = (x for value in values.values() for x in (value if isinstance(value, tuple) else (value,))
              if isinstance(x, np.ndarray))
    return max((len(x) for x in arrays), default=1)


def some_draws(values: TrialValues, which: np.ndarray) -> TrialValues:
    """The values with their arrays (K,) cut down to the given draws (positions)."""

    def pick(value: object) -> object:
        if isinstance(value, tuple):
            return tuple(pick(v) for v in value)
        return value[which] if isinstance(value, np.ndarray) else value

    return {key: pick(value) for key, value in values.items()}


def alike_draws(columns: list[Drawn], draws: int) -> list[np.ndarray]:
    """Positions of the draws that agree in all columns, numbers or (K,), a list of them for each."""
    if not any(isinstance(c, np.ndarray) for c in columns):
        return [np.arange(draws)]
    table = np.column_stack([np.broadcast_to(np.asarray(c, dtype=float), (draws,)) for c in columns])
    _, which = np.unique(table, axis=0, return_inverse=True)
    order = np.argsort(which.ravel(), kind="stable")
    return np.split(order, np.flatnonzero(np.diff(which.ravel()[order])) + 1)
