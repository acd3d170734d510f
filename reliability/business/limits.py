"""Limits on a choice of conversions, and the linear inequalities that they and the choice itself are made of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import scipy
from scipy import sparse

from reliability.business.options import AS_IT_IS, Options
from reliability.network.devices import NO_DEVICE

if TYPE_CHECKING:
    from scipy.optimize import LinearConstraint


@dataclass(frozen=True)
class Limits:
    """What a choice must keep to; None for no limit.

    budget: money in year 0. units: to be installed. added_maifi_e: momentary events a
    customer and year more than as built, over the system; added_maifi_e_feeder: on the worst
    feeder, the faults of a lateral being counted on its own feeder. saidi_reduction_minutes:
    at least. forced_in, forced_out: section ids of laterals to convert, and to leave.
    """

    budget: float | None = None
    units: float | None = None
    added_maifi_e: float | None = None
    added_maifi_e_feeder: float | None = None
    saidi_reduction_minutes: float | None = None
    forced_in: tuple[str, ...] = ()
    forced_out: tuple[str, ...] = ()


LIMIT_NAMES = {
    "budget": "the budget", "units": "the number of units", "added_maifi_e": "the cap on added MAIFI_E",
    "added_maifi_e_feeder": "the cap on added MAIFI_E of the worst feeder",
    "saidi_reduction_minutes": "the SAIDI reduction asked for", "forced_in": "the laterals forced in",
    "forced_out": "the laterals forced out",
}


def laterals_called(options: Options, names: Sequence[str]) -> np.ndarray:
    """Indices of laterals by section id; ValueError for one that does not exist."""
    if not len(names):
        return np.empty(0, dtype=np.int64)
    at = {str(name): i for i, name in enumerate(options.network.ids[options.heads])}
    unknown = [n for n in names if n not in at]
    if unknown:
        raise ValueError(f"no lateral is headed by section {unknown[0]!r}")
    return np.array([at[n] for n in names], dtype=np.int64)


def called_in(limits: Limits, some: Options) -> Limits:
    """The limits, with the laterals that they name cut down to those of some of the options."""
    if not (limits.forced_in or limits.forced_out):
        return limits
    own = {str(name) for name in some.network.ids[some.heads]}
    named_in, named_out = (tuple(n for n in names if n in own) for names in (limits.forced_in, limits.forced_out))
    return replace(limits, forced_in=named_in, forced_out=named_out)


def converts(options: Options) -> np.ndarray:
    """Rows that put in a device or set its counts, rather than leave a lateral or set a zone."""
    return options.device != NO_DEVICE


def feeder_customers(options: Options) -> np.ndarray:
    """Customers of each feeder."""
    network = options.network
    return np.bincount(network.feeder, network.customers, len(network.feeder_ids))


def highest(options: Options, limits: Limits) -> np.ndarray:
    """Highest value of each row's variable: 0 at laterals forced out, else 1."""
    out = np.isin(options.rows["lateral"], laterals_called(options, limits.forced_out)) & converts(options)
    return np.where(out, 0.0, 1.0)


def never_better(options: Options, limits: Limits, gain: np.ndarray) -> np.ndarray:
    """Rows of a lateral that another row under the same setting equals or beats in all that counts.

    Without them the best choice is the same and found sooner. gain: what is sought, by row.
    """
    rows = options.rows
    lateral, at = rows["lateral"].to_numpy(), np.flatnonzero(converts(options))
    columns = [gain, -rows["capex"].to_numpy()]
    columns += [-rows["units"].to_numpy()] * (limits.units is not None)
    columns += [-rows["momentary_events_added"].to_numpy()] * (
        limits.added_maifi_e is not None or limits.added_maifi_e_feeder is not None)
    columns += [rows["customer_hours_avoided"].to_numpy()] * (limits.saidi_reduction_minutes is not None)
    merit = np.column_stack(columns)[at]
    group = np.unique(lateral[at] * options.fast.shape[1] + rows["setting"].to_numpy()[at], return_inverse=True)[1]
    order = np.argsort(group, kind="stable")
    place = np.arange(len(at)) - np.searchsorted(group[order], group[order])
    table = np.full((group.max(initial=-1) + 1, place.max(initial=-1) + 1, merit.shape[1]), np.nan)
    table[group[order], place] = merit[order]
    # (group, row, other row): of two equal rows the first stays
    beaten = np.all(table[:, None] >= table[:, :, None], axis=-1)
    better = np.any(table[:, None] > table[:, :, None], axis=-1)
    first = np.tri(table.shape[1], k=-1, dtype=bool)
    result = np.zeros(len(rows), dtype=bool)
    result[at[order]] = np.any(beaten & (better | first), axis=-1)[group[order], place]
    return result


def constraints(options: Options, limits: Limits) -> list[LinearConstraint]:
    """Everything that a choice must keep to, apart from the bounds."""
    return [*_structure(options), *limit_rows(options, limits), *_exactly_one(options, limits)]


def _structure(options: Options) -> Iterator[LinearConstraint]:
    """One setting a zone; each lateral at most one device, under the setting of its zone."""
    rows = options.rows
    settings, count = options.fast.shape[1], len(rows)
    lateral, zone, setting = (rows[c].to_numpy() for c in ("lateral", "zone", "setting"))
    of_zone, of_lateral = np.flatnonzero(lateral < 0), np.flatnonzero(lateral >= 0)
    yield _linear(_matrix(zone[of_zone], of_zone, np.ones(len(of_zone)), len(options.zones), count), 1.0, 1.0)
    if not of_lateral.size:
        return
    pairs, pair = np.unique(lateral[of_lateral] * settings + setting[of_lateral], return_inverse=True)
    variable = np.full((len(options.zones), settings), -1)
    variable[zone[of_zone], setting[of_zone]] = of_zone
    behind = variable[options.zone[pairs // settings], pairs % settings]
    matrix = _matrix(np.append(pair, np.arange(len(pairs))), np.append(of_lateral, behind),
                     np.append(np.ones(len(of_lateral)), -np.ones(len(pairs))), len(pairs), count)
    # leaving a lateral has a row of its own under a changed setting, none under the one as built
    yield _linear(matrix, np.where(pairs % settings == AS_IT_IS, -1.0, 0.0), 0.0)


def limit_rows(options: Options, limits: Limits) -> Iterator[LinearConstraint]:
    """What the choice as a whole must keep to."""
    rows, served = options.rows, options.customers_served
    for column, most in (("capex", limits.budget), ("units", limits.units)):
        if most is not None:
            yield _at_most(rows[column].to_numpy(), most)
    events = rows["momentary_events_added"].to_numpy()
    if limits.added_maifi_e is not None:
        yield _at_most(events, limits.added_maifi_e * served)
    if limits.added_maifi_e_feeder is not None:
        yield _at_most(events, limits.added_maifi_e_feeder * feeder_customers(options), rows["feeder"].to_numpy())
    if limits.saidi_reduction_minutes is not None:
        yield _at_most(-rows["customer_hours_avoided"].to_numpy(), -limits.saidi_reduction_minutes * served / 60.0)


def _exactly_one(options: Options, limits: Limits) -> Iterator[LinearConstraint]:
    """One conversion at each lateral forced in, whatever its zone's setting."""
    lateral, at = options.rows["lateral"].to_numpy(), np.flatnonzero(converts(options))
    yield from _one_of_each(lateral, laterals_called(options, limits.forced_in), at)


def _one_of_each(key: np.ndarray, wanted: np.ndarray, at: np.ndarray) -> Iterator[LinearConstraint]:
    wanted = np.unique(wanted)
    if not wanted.size:
        return
    at = at[np.isin(key[at], wanted)]
    yield _linear(_matrix(np.searchsorted(wanted, key[at]), at, np.ones(len(at)), len(wanted), len(key)),
                  1.0, 1.0)


def _linear(matrix: sparse.csr_array, low: np.ndarray | float, high: np.ndarray | float) -> LinearConstraint:
    return scipy.optimize.LinearConstraint(matrix, low, high)


def _matrix(row: np.ndarray, column: np.ndarray, value: np.ndarray, rows: int, columns: int) -> sparse.csr_array:
    return sparse.csr_array((value, (row, column)), shape=(rows, columns))


def _at_most(coefficients: np.ndarray, most: np.ndarray | float, of: np.ndarray | None = None) -> LinearConstraint:
    """Sums at most so much, in all or by groups; scaled to a largest coefficient of 1, within the solver's tolerances.

    of: (rows,) group of each coefficient. most: (groups,).
    """
    most, of = np.atleast_1d(most), np.zeros(len(coefficients), dtype=int) if of is None else of
    scale = np.zeros(len(most))
    np.maximum.at(scale, of, np.abs(coefficients))
    scale[scale == 0.0] = 1.0
    used = np.flatnonzero(coefficients)
    matrix = _matrix(of[used], used, (coefficients / scale[of])[used], len(most), len(coefficients))
    return _linear(matrix, -np.inf, most / scale)
