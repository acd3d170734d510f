"""What an event adds where it depends on its duration in more than a straight line.

A bend adds weight × max(D − at, 0) to an event, D = severity × mean hours its duration; or weight × max(at − D, 0),
which is the same but for a straight line. Whoever makes them takes the side that fewer events reach, so that most
events cost nothing here, and those that go far are looked for among those that went less far.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from scipy import sparse

from reliability.faults.times import Term

Key = TypeVar("Key")


@dataclass(frozen=True)
class Bend:
    """One bend of r rows.

    term: the time that the rows wait for; uncertain: whether a trial's own values settle it. hours: (r,) its mean,
    0 in rows without this bend. at: hours. above: whether longer durations count, else shorter ones. weight: (r,).
    least: (r,) hours of rows where the term is the longer of these and what a trial has; None where it is the latter.
    """

    term: Term
    uncertain: bool
    hours: np.ndarray
    at: float
    above: bool
    weight: np.ndarray
    least: np.ndarray | None = None


@dataclass(frozen=True)
class Durations:
    """Durations of the events of rows first … last − 1 and where they bend, the bends of each side outwards.

    term: what a trial's own hours are of, None where `hours`, () or (last − first,), are the same in all. least: see
    `Bend`, (last − first,).
    """

    term: Term | None
    first: int
    last: int
    hours: np.ndarray
    below: tuple[float, ...]
    above: tuple[float, ...]
    least: np.ndarray | None = None


@dataclass(frozen=True)
class BentColumns:
    """Bends of a block's rows: columns (Σ rows × bends, c) stacked by `durations`, below before above.

    column: which one each of `keys`, (measure, scenario), reads.
    """

    durations: tuple[Durations, ...]
    columns: np.ndarray
    column: np.ndarray
    keys: tuple[tuple[str, int], ...]


def bent_columns(bends: Mapping[tuple[str, int], Sequence[Bend]]) -> BentColumns | None:
    """Bends of each measure and scenario, put together; None where there are none."""
    groups: dict[tuple[Term, bool], list[tuple[tuple[str, int], Bend]]] = {}
    for key, of_key in bends.items():
        for bend in of_key:
            if bend.weight.any():
                groups.setdefault((bend.term, bend.uncertain), []).append((key, bend))
    if not groups:
        return None
    keys = tuple(dict.fromkeys(key for group in groups.values() for key, _ in group))
    durations, stacked = [], []
    for (term, uncertain), group in groups.items():
        found, weights = _durations(term if uncertain else None, group, keys)
        durations.append(found)
        stacked += weights
    whole = np.concatenate(stacked)
    columns, column, _ = distinct_columns(dict(zip(keys, whole.T, strict=True)), len(whole))
    return BentColumns(tuple(durations), columns, column, keys)


def distinct_columns(columns: Mapping[Key, np.ndarray], rows: int) -> tuple[np.ndarray, np.ndarray, tuple[Key, ...]]:
    """Matrix of the distinct columns that are not zero, which of them each key reads, and the keys."""
    at: dict[bytes, int] = {}
    distinct: list[np.ndarray] = []
    column, keys = [], []
    for key, values in columns.items():
        if not values.any():
            continue
        mark = values.tobytes()
        if mark not in at:
            at[mark] = len(distinct)
            distinct.append(values)
        column.append(at[mark])
        keys.append(key)
    matrix = np.column_stack(distinct) if distinct else np.zeros((rows, 0))
    return np.ascontiguousarray(matrix), np.array(column, dtype=np.int64), tuple(keys)


def _durations(term: Term | None, group: Sequence[tuple[tuple[str, int], Bend]],
               keys: tuple[tuple[str, int], ...]) -> tuple[Durations, list[np.ndarray]]:
    """Durations of the bends that share a term, and the weights of each bend, (rows, keys)."""
    weights: dict[tuple[bool, float], np.ndarray] = {}
    hours = np.zeros(len(group[0][1].hours))
    for key, bend in group:
        hours = np.maximum(hours, bend.hours)
        weight = weights.setdefault((bend.above, bend.at), np.zeros((len(hours), len(keys))))
        weight[:, keys.index(key)] += bend.weight
    used = np.flatnonzero(np.any([w.any(axis=1) for w in weights.values()], axis=0))
    first, last = int(used[0]), int(used[-1]) + 1
    of_rows, least = hours[first:last], group[0][1].least
    below, above = (sorted((at for up, at in weights if up == side), reverse=not side) for side in (False, True))
    stacked = [weights[side, at][first:last] for side, limits in ((False, below), (True, above)) for at in limits]
    same = np.all(of_rows[used - first] == of_rows[used[0] - first])
    return Durations(term, first, last, np.array(of_rows[used[0] - first]) if same else of_rows,
                     tuple(below), tuple(above), None if least is None else least[first:last]), stacked


def sums_beyond(bent: BentColumns, severity: np.ndarray, median: np.ndarray, year: np.ndarray, starts: np.ndarray,
                years: int, hours: Mapping[Term, np.ndarray]) -> np.ndarray:
    """Sums of the bent columns by trial-year, (T, c), of events in the order of their rows.

    severity: (e,) of median 1; median: (T,) or (1,) what it is multiplied by. year: (e,) trial-year of each event.
    starts: (m + 1,) where the events of each of m rows start. hours: (T,) of each term of the bends.
    """
    past: list[np.ndarray] = []
    at: list[np.ndarray] = []
    ends = [np.zeros(1, dtype=starts.dtype)]
    so_far = 0
    for each in bent.durations:
        rows = starts[each.first:each.last + 1]
        events = slice(int(rows[0]), int(rows[-1]))
        scale = median if each.term is None or each.least is not None else median * hours[each.term]
        when = year[events]
        # durations are `unit` × these, so that none need be worked out where all events have one mean
        duration, unit = severity[events], 1.0
        if each.least is not None and each.term is not None:
            duration = duration * np.maximum(hours[each.term][when], np.repeat(each.least, np.diff(rows)))
            duration *= scale[when] if len(scale) > 1 else scale
        elif len(scale) > 1 or each.term is not None:
            duration = duration * scale[when]
        else:
            unit = float(scale[0])
        if each.term is None and each.hours.ndim:
            duration = duration * np.repeat(each.hours, np.diff(rows))
        elif each.term is None:
            unit *= float(each.hours)
        for limits, sign in ((each.below, -1.0), (each.above, 1.0)):
            chosen, left = np.arange(0), duration
            for k, limit in enumerate(limits):
                more = np.flatnonzero(left > limit / unit if sign > 0.0 else left < limit / unit)
                chosen, left = chosen[more] if k else more, left[more]
                past.append((left - limit / unit) * (sign * unit))
                at.append(when[chosen])
                ends.append((np.searchsorted(chosen, rows[1:] - rows[0]) + so_far).astype(starts.dtype))
                so_far += len(more)
    matrix = sparse.csc_array((np.concatenate(past), np.concatenate(at), np.concatenate(ends)),
                              shape=(years, len(bent.columns)))
    return np.asarray(matrix @ bent.columns)
