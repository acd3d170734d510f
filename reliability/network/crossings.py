"""Where the time of an overcurrent element crosses that of a fuse link: all currents, to the last digit.

Between the knots of both curves an element's time is base + c, with a base A/(u^p − 1) or a power of the current,
and a link's is a power of the current; the arcing time counts with c, which may so be negative. In logarithms of
both axes the element's less the link's time is then convex where c ≥ 0, and for c < 0

- of a power, concave;
- of A/(u^p − 1), convex up to u^p = √(1 + A/|c|) and concave beyond: the second derivative of log(base − |c|) has
  the sign of A − |c| (u^2p − 1).

With that current as one more knot a piece has one crossing where its ends differ, and where both ends lie on the
outer side of the curvature two or none, on either side of the extremum, which tangents close in on. So no crossing
can be missed; each is then narrowed to two neighbouring numbers between which the comparison itself changes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from reliability.network.curves import Elements, PointCurves, element_times

_Begun = tuple[np.ndarray, np.ndarray]
_Spans = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]

HIGHEST_A = 1e12     # no current of a study is larger (study/cells.py); beyond it nothing changes
_BESIDE_PICKUP = 1e-10   # so near over the pickup an inverse time is beyond any link's
_NEWTON_STEPS = 30   # at most; nearly all are settled in five
_PROBES = (-4, 4, -32, 32, -1024, 1024, -2**20, 2**20)  # so many numbers beside Newton's result are tried first
_TANGENT_STEPS = 100


@dataclass(frozen=True)
class RaceComparison:
    """One comparison of the race (model §3).

    Either the element clears in time, t ≤ factor × melting time, or the link does, clearing time ≤ t_r.
    curves: of the links. factor, added_s: a link's time is factor × curve + added_s of the link, (l,).
    with_added: the element's time holds its own added time. element_first: the element's time is to be at most the
    link's, else at least.
    """

    curves: PointCurves
    factor: float
    added_s: np.ndarray
    with_added: bool
    element_first: bool

    def holds(self, element_s: np.ndarray, link_s: np.ndarray) -> np.ndarray:
        """Whether it holds; equal times count."""
        return element_s <= link_s if self.element_first else link_s <= element_s


@dataclass(frozen=True)
class _Pieces:
    """Elements beside segments of links' curves, arrays of one shape or one that broadcasts."""

    comparison: RaceComparison
    elements: Elements
    segment: np.ndarray
    added_s: np.ndarray

    def take(self, some: np.ndarray) -> _Pieces:
        return replace(self, elements=self.elements.take(some), segment=self.segment[some], added_s=self.added_s[some])

    def times(self, current_a: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Element's and link's times that are compared, as everybody computes them."""
        link_s = self.comparison.curves.time_on(self.segment, current_a) * self.comparison.factor + self.added_s
        return element_times(self.elements, current_a, self.comparison.with_added), link_s

    def holds(self, current_a: np.ndarray) -> np.ndarray:
        """Whether the comparison holds."""
        return self.comparison.holds(*self.times(current_a))

    @property
    def constant(self) -> np.ndarray:
        """The c of the module's docstring."""
        elements = self.elements
        own = np.where(elements.points >= 0, 0.0, elements.time_dial * elements.b) - self.added_s
        return own + elements.added_time_s if self.comparison.with_added else own

    def logarithm(self, current_a: np.ndarray, with_arcing: bool) -> tuple[np.ndarray, np.ndarray]:
        """Logarithm of element's over link's time, and its slope over the logarithm of the current, all (k,).

        with_arcing: times as they are; else the link's added time counts with the element's, as the curvature wants it.
        """
        elements, curves = self.elements, self.comparison.curves
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            excess = np.expm1(elements.p * np.log(current_a / elements.pickup_a))
            base = elements.time_dial * elements.a / excess
            rate = -elements.p * base * (1.0 + 1.0 / excess)
            at = np.flatnonzero(elements.points >= 0)
            if at.size:
                own = np.maximum(elements.curves.segment(elements.points[at], current_a[at]), 0)
                base[at] = elements.time_dial[at] * elements.curves.time_on(own, current_a[at])
                rate[at] = base[at] * elements.curves.slope[own]
            power = curves.time_on(self.segment, current_a) * self.comparison.factor
            slope, time = curves.slope[self.segment], base + self.constant
            if with_arcing:
                time, slope = time + self.added_s, slope * power / (power + self.added_s)
                power = power + self.added_s
            return np.log(time / power), rate / time - slope


def changes(elements: Elements, link: np.ndarray, comparison: RaceComparison) -> tuple[np.ndarray, np.ndarray]:
    """Currents at which comparisons of elements (n,), each with one link (n,), change.

    Returns (pair (k,), current in A (k,)) in no order: the least number from which on it is otherwise. It begins
    with not holding, and where the link's time is infinite it does not hold.
    """
    nothing = np.zeros(0, dtype=np.int64)
    begun = [(nothing, np.zeros(0))]
    never = np.zeros(0, dtype=bool)
    spans: list[_Spans] = [(nothing, nothing, np.zeros(0), np.zeros(0), never, never)]
    for which in np.unique(link):
        # a table of curves by points is wider; the usual ones do not wait for it
        for group in (elements.points < 0, elements.points >= 0):
            pair = np.flatnonzero((link == which) & group)
            if pair.size:
                (row, current), (place, segment, low, high, before, after) = _spans(
                    elements.take(pair), int(which), comparison)
                begun.append((pair[row], current))
                spans.append((pair[place], segment, low, high, before, after))
    pair, segment, low, high, before, after = (np.concatenate(parts) for parts in zip(*spans, strict=True))
    pieces = _Pieces(comparison, elements.take(pair), segment, comparison.added_s[link[pair]])
    same = np.flatnonzero(before == after)
    inside = _between(pieces.take(same), low[same], high[same], before[same])
    hidden, inside = same[inside > 0.0], inside[inside > 0.0]
    crossed = np.flatnonzero(before != after)
    bracket = np.concatenate([crossed, hidden, hidden])
    low = np.concatenate([low[crossed], low[hidden], inside])
    high = np.concatenate([high[crossed], inside, high[hidden]])
    upper = np.concatenate([after[crossed], ~before[hidden], after[hidden]])
    current = _narrow(pieces.take(bracket), low, high, upper)
    pairs, currents = zip(*begun, strict=True)
    return np.concatenate([*pairs, pair[bracket]]), np.concatenate([*currents, current])


def _spans(elements: Elements, link: int, comparison: RaceComparison) -> tuple[_Begun, _Spans]:
    """Changes of elements (e,), all inverse or all by points, where a time begins, and pieces that may hold others.

    Returns (element, current) and (element, segment of the link, low, high, holds at low, holds at high) of the pieces
    whose ends differ, or are alike and on the outer side of the curvature.
    """
    curves, everyone = comparison.curves, np.arange(len(elements))
    first, stop = curves.first[link], curves.first[link + 1]
    knots = curves.current_a[first:stop]
    finite = elements.first_current_a
    start = np.maximum(finite, knots[0])
    whole = _Pieces(comparison, elements, np.full(len(elements), first), comparison.added_s[link])
    turning = _turning_a(whole)
    columns = [start[:, None], np.broadcast_to(knots[1:], (len(elements), len(knots) - 1)),
               _own_knots(elements) if elements.points[0] >= 0 else turning[:, None]]
    at = np.minimum(np.maximum(np.concatenate(columns, axis=1), start[:, None]), HIGHEST_A)
    at = np.append(np.sort(at, axis=1), np.full((len(elements), 1), HIGHEST_A), axis=1)
    segment = first - 1 + np.searchsorted(knots, at, side="right")
    table = _Pieces(comparison, elements.take(everyone[:, None]), segment, comparison.added_s[link])
    element_s, link_s = table.times(at)
    holds = comparison.holds(element_s, link_s)

    # below `start` one of the times is infinite
    waits = (finite > knots[0]) & (not comparison.element_first)
    begun = np.concatenate([np.flatnonzero(waits), np.flatnonzero(waits != holds[:, 0])])
    currents = np.append(np.full(waits.sum(), knots[0]), start[waits != holds[:, 0]])

    before, after = holds[:, :-1], holds[:, 1:]
    convex = (whole.constant >= 0.0)[:, None] | ((elements.points < 0)[:, None] & (at[:, :-1] < turning[:, None]))
    # outside of a convex curve the element is slower than the link, outside of a concave one faster
    outside = before == (convex != comparison.element_first)
    # both rise or fall all along a piece, so that times far enough apart at its ends do not meet in it
    overlap = ((np.minimum(element_s[:, :-1], element_s[:, 1:]) <= np.maximum(link_s[:, :-1], link_s[:, 1:]))
               & (np.minimum(link_s[:, :-1], link_s[:, 1:]) <= np.maximum(element_s[:, :-1], element_s[:, 1:])))
    row, column = np.nonzero(((before != after) | (outside & overlap)) & (at[:, :-1] < at[:, 1:]))
    return (begun, currents), (row, segment[row, column], at[row, column], at[row, column + 1],
                               before[row, column], after[row, column])


def _own_knots(elements: Elements) -> np.ndarray:
    """Currents (A) of the points of elements by points, (e, k), HIGHEST_A where one has fewer."""
    curves = elements.curves
    first, stop = curves.first[elements.points], curves.first[elements.points + 1]
    place = first[:, None] + np.arange(int((stop - first).max()))
    return np.where(place < stop[:, None], curves.current_a[np.minimum(place, stop[:, None] - 1)], HIGHEST_A)


def _turning_a(pieces: _Pieces) -> np.ndarray:
    """Current at which an inverse element's curvature changes its sign, HIGHEST_A where it does not."""
    constant, turning = pieces.constant, np.full(len(pieces.elements), HIGHEST_A)
    some = np.flatnonzero((pieces.elements.points < 0) & (constant < 0.0) & (pieces.elements.a > 0.0))
    elements = pieces.elements.take(some)
    with np.errstate(over="ignore"):
        power = np.sqrt(1.0 + elements.time_dial * elements.a / -constant[some])
        turning[some] = np.minimum(elements.pickup_a * power ** (1.0 / elements.p), HIGHEST_A)
    return turning


def _domain(pieces: _Pieces, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The part of pieces (low, high) in which base + c is positive; low ≥ high where there is none."""
    elements, constant = pieces.elements, pieces.constant
    by_points, cut = elements.points >= 0, constant < 0.0
    low = np.where(by_points, low, np.maximum(low, elements.pickup_a * (1.0 + _BESIDE_PICKUP)))
    with np.errstate(divide="ignore", over="ignore"):
        some = np.flatnonzero(cut & ~by_points)
        part = elements.take(some)
        end = part.pickup_a * (1.0 + part.time_dial * part.a / -constant[some]) ** (1.0 / part.p)
        high = high.copy()
        high[some] = np.minimum(high[some], end)
        some = np.flatnonzero(by_points & cut)
        if some.size:
            curves = elements.curves
            own = np.maximum(curves.segment(elements.points[some], low[some]), 0)
            slope, time = curves.slope[own], elements.time_dial[some] * curves.time_s[own]
            end = curves.current_a[own] * (-constant[some] / time) ** (1.0 / slope)
            end = np.where(slope == 0.0, np.where(time > -constant[some], np.inf, 0.0), end)
            high[some] = np.where(slope <= 0.0, np.minimum(high[some], end), high[some])
            low[some] = np.where(slope > 0.0, np.maximum(low[some], end), low[some])
    return low, high


def _between(pieces: _Pieces, low: np.ndarray, high: np.ndarray, holds: np.ndarray) -> np.ndarray:
    """A current within (low, high) at which the comparison is not as at both ends, 0 where there is none, (k,).

    The tangents at both ends bound the convex difference from below: where they meet above zero nothing is hidden,
    else the place where they meet becomes the new end on its side.
    """
    found = np.zeros(len(low))
    # the outer side tells the curvature (see _spans)
    sign = np.where(holds != pieces.comparison.element_first, 1.0, -1.0)
    low, high = _domain(pieces, low, high)
    at = np.flatnonzero(low < high)
    x0, x1 = np.log(low[at]), np.log(high[at])
    (y0, s0), (y1, s1) = ([sign[at] * part for part in pieces.take(at).logarithm(end[at], False)]
                          for end in (low, high))
    # an end of the domain has no finite value, and the difference falls from there
    going = (~np.isfinite(y0) | (s0 < 0.0)) & (~np.isfinite(y1) | (s1 > 0.0))
    for _ in range(_TANGENT_STEPS):
        at, x0, y0, s0, x1, y1, s1 = (values[going] for values in (at, x0, y0, s0, x1, y1, s1))
        if not at.size:
            break
        with np.errstate(invalid="ignore", divide="ignore"):
            x = (y1 - y0 + s0 * x0 - s1 * x1) / (s0 - s1)
            bound = y0 + s0 * (x - x0)
            blind = ~(np.isfinite(bound) & (x > x0) & (x < x1))
        x = np.where(blind, (x0 + x1) / 2.0, x)
        going = blind | (bound <= 0.0)
        at, x, x0, y0, s0, x1, y1, s1 = (values[going] for values in (at, x, x0, y0, s0, x1, y1, s1))
        point, some = np.exp(x), pieces.take(at)
        y, s = (sign[at] * part for part in some.logarithm(point, False))
        crossed = (some.holds(point) != holds[at]) & (point > low[at]) & (point < high[at])
        found[at[crossed]] = point[crossed]
        left = s < 0.0
        x0, y0, s0 = (np.where(left, new, old) for new, old in ((x, x0), (y, y0), (s, s0)))
        x1, y1, s1 = (np.where(left, old, new) for new, old in ((x, x1), (y, y1), (s, s1)))
        going = ~crossed & (x1 - x0 > 1e-15)
    return found


def _narrow(pieces: _Pieces, low: np.ndarray, high: np.ndarray, upper: np.ndarray) -> np.ndarray:
    """Least number above `low` at which the comparison is `upper`, as it is at `high` and not at `low`, (k,)."""
    low, high = low.copy(), high.copy()

    def update(some: np.ndarray, point: np.ndarray) -> None:
        now = pieces.take(some).holds(point) == upper[some]
        high[some] = np.where(now, point, high[some])
        low[some] = np.where(now, low[some], point)

    point = _newton(pieces, low, high, upper)
    for offset in _PROBES:
        beside = (point.view(np.int64) + offset).view(float)
        some = np.flatnonzero((beside > low) & (beside < high))
        update(some, beside[some])
    while True:
        # positive numbers are in the order of their bits
        bits = low.view(np.int64)
        width = high.view(np.int64) - bits
        some = np.flatnonzero(width > 1)
        if not some.size:
            return high
        update(some, (bits[some] + (width[some] >> 1)).view(float))


def _newton(pieces: _Pieces, low: np.ndarray, high: np.ndarray, upper: np.ndarray) -> np.ndarray:
    """Where the times are equal within rounding, near enough for `_narrow`, (k,)."""
    result = np.sqrt(low * high)
    slower = upper != pieces.comparison.element_first  # above the crossing the element is the slower one
    at, point = np.arange(len(low)), result.copy()
    for _ in range(_NEWTON_STEPS):
        value, slope = pieces.logarithm(point, True)
        now = (value > 0.0) == slower
        low, high = np.where(now, low, point), np.where(now, point, high)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            new = point * np.exp(-value / slope)
        new = np.where((new >= low) & (new <= high), new, np.sqrt(low * high))
        result[at] = new
        going = np.abs(new - point) > 1e-15 * point
        if not going.any():
            break
        if going.sum() < 0.7 * len(at):
            at, pieces = at[going], pieces.take(going)
            low, high, slower, new = low[going], high[going], slower[going], new[going]
        point = new
    return result
