"""Where the NPV changes sign as one assumption moves: the value of each at which a scenario breaks even."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.business.expected_npv import Npv
from reliability.indices.draws import values_of_trials
from reliability.indices.simulation import STRUCTURAL
from reliability.schema.assumption_types import Range, bounds_of
from reliability.schema.assumptions import BY_KEY
from reliability.schema.values import Assumptions, TrialValues, drawn_shares, number

FARTHEST = 32.0            # a break-even is looked for up to this many times the value, then to the bounds
FROM_ZERO = np.geomspace(1e-9, 0.1, 9)  # … where the value is 0, at these shares of the upper bound
ROOT_TOLERANCE = 1e-10


@dataclass(frozen=True)
class OneWay:
    """What each assumption does by itself, by key: the NPV at both ends of its range, and the break-even, (S,) each."""

    low: Mapping[str, np.ndarray]
    high: Mapping[str, np.ndarray]
    break_even: Mapping[str, np.ndarray]


def value_of(values: Assumptions, key: str) -> float:
    """The value of an assumption that is a number, or of one element of a share ("clearing_shares.0")."""
    name, _, element = key.partition(".")
    return float(drawn_shares(values, name)[int(element)]) if element else float(number(values, name))


def one_at_a_time(values: Assumptions, keys: Sequence[str], which: np.ndarray, x: np.ndarray) -> TrialValues:
    """Values of draws (m,) in each of which one assumption, keys[which], is x and all others are as they are."""
    moved = np.unique(which)
    return values_of_trials(values, {keys[k]: np.where(which == k, x, value_of(values, keys[k]))
                                     for k in moved.tolist()})


def one_way(values: Assumptions, npv: Npv, ranges: Mapping[str, Range]) -> OneWay:
    """NPVs at the ends of each range, and break-evens.

    break_even: the value nearest to the present one at which the NPV is 0, NaN where it does not change sign within the
    bounds of the assumption (of one that changes what protection does: within the range given).
    """
    keys = list(ranges)
    grids = [break_even_grid(values, key, ranges[key]) for key in keys]
    ends = [np.array([ranges[key].low, ranges[key].high]) for key in keys]
    x = np.concatenate([*ends, *grids])
    which = np.repeat(np.tile(np.arange(len(keys)), 2), [2] * len(keys) + [len(grid) for grid in grids])
    found = npv(one_at_a_time(values, keys, which, x))
    at_ends, on_grid = np.split(found, [2 * len(keys)])
    brackets = _Brackets(*_nil_and_crossings(on_grid, x[2 * len(keys):], which[2 * len(keys):]))
    nil = _nearest(values, keys, brackets.solved(values, npv, keys), found.shape[1])
    return OneWay(dict(zip(keys, at_ends[0::2], strict=True)), dict(zip(keys, at_ends[1::2], strict=True)),
                  dict(zip(keys, nil, strict=True)))


@dataclass(frozen=True)
class _Brackets:
    """Places where a scenario's NPV is 0 or changes sign, (m,) each: key (position), scenario, both ends."""

    key: np.ndarray
    scenario: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def solved(self, values: Assumptions, npv: Npv, keys: Sequence[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(key, scenario, value) of every place at which an NPV is 0."""
        from scipy.optimize import elementwise  # takes half a second, for which no page should wait that shows none

        def npv_at(x: np.ndarray, key: np.ndarray, scenario: np.ndarray) -> np.ndarray:
            found = npv(one_at_a_time(values, keys, key.astype(int), x))
            return found[np.arange(len(x)), scenario.astype(int)]

        root, inside = self.low.copy(), np.flatnonzero(self.low < self.high)
        if inside.size:
            root[inside] = elementwise.find_root(
                npv_at, (self.low[inside], self.high[inside]),
                args=(self.key[inside].astype(float), self.scenario[inside].astype(float)),
                tolerances={"xrtol": ROOT_TOLERANCE, "xatol": 0.0, "fatol": 0.0}).x
        return self.key, self.scenario, root


def _nil_and_crossings(npv: np.ndarray, x: np.ndarray, key: np.ndarray) -> tuple[np.ndarray, ...]:
    """Columns of `_Brackets` from NPVs (m, S) at values (m,), ascending for each key."""
    follows = (key[:-1] == key[1:])[:, None]
    at, scenario = np.nonzero(follows & (npv[:-1] * npv[1:] < 0))
    anything = np.zeros((int(key.max(initial=-1)) + 1, npv.shape[1]), dtype=bool)
    np.logical_or.at(anything, key, npv != 0.0)
    nil, of_scenario = np.nonzero((npv == 0.0) & anything[key])
    return (np.append(key[at], key[nil]), np.append(scenario, of_scenario), np.append(x[at], x[nil]),
            np.append(x[at + 1], x[nil]))


def _nearest(values: Assumptions, keys: Sequence[str], found: tuple[np.ndarray, np.ndarray, np.ndarray],
             scenarios: int) -> np.ndarray:
    """The value nearest to the present one, (keys, S), NaN for none."""
    result = np.full((len(keys), scenarios), np.nan)
    key, scenario, x = found
    distance = np.abs(x - np.array([value_of(values, k) for k in keys])[key])
    for i in np.argsort(-distance, kind="stable").tolist():  # nearer ones come later and stay
        result[key[i], scenario[i]] = x[i]
    return result


def break_even_grid(values: Assumptions, key: str, tried: Range) -> np.ndarray:
    """Values at which to look for a change of sign, ascending: finer near the present one."""
    value, name = value_of(values, key), key.partition(".")[0]
    if name in STRUCTURAL:
        return np.unique(np.append(np.linspace(tried.low, tried.high, 5), value))
    low, high = bounds_of(BY_KEY[name])
    around = value * np.geomspace(1.0 / FARTHEST, FARTHEST, 11) if value else high * FROM_ZERO
    grid = np.concatenate([[value], around, np.linspace(low, high, 9), [tried.low, tried.high]])
    return np.unique(np.clip(grid, low, high))
