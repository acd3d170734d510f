"""The race between a fuse and one operation (model §3), against the times themselves and rules worked by hand."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from reliability.network.crossings import HIGHEST_A
from reliability.network.curves import CurvePoints
from reliability.network.device_settings import (
    ALL_ELEMENTS,
    DELAYED_OPERATION,
    FAST_OPERATION,
    FAULT_PARTS,
    OPERATION_KINDS,
    PHASE_ELEMENTS,
    clearing_times_s,
    device_settings,
)
from reliability.network.fuse_links import link_table
from reliability.network.link_curves import link_curves, minimum_melting_s, total_clearing_s
from reliability.network.race import BOTH, DEVICE_ALONE, FUSE_ALONE, NONE, Race, run_races
from reliability.schema.curves import INVERSE
from tests.network.inverse import inverse_time_s

FACTOR, ARCING_S = 0.75, 0.013
HEAD = ("section_id", "element", "operation", "pickup_a", "curve", "time_dial", "added_time_s")
GROUPS = [(kind, part) for kind in range(OPERATION_KINDS) for part in range(FAULT_PARTS)]


def races(rows: list[tuple], link: str = "65K", curves: dict[str, CurvePoints] | None = None,
          own: dict | None = None, factor: float = FACTOR, arcing_s: float = ARCING_S) -> Race:
    """The race of one link and one device."""
    found = device_settings(pd.DataFrame(rows, columns=HEAD), curves or {})
    return run_races(link_curves([link], own), found, [0], [0], [math.nan], factor, arcing_s)


def by_hand(rows: list[tuple], links, found, kind: int, part: int, current: np.ndarray, factor: float,
            arcing_s: float) -> np.ndarray:
    """Model §3, one operation, word for word."""
    t, t_r = (clearing_times_s(found, 0, kind, part, current, added) for added in (True, False))
    t_m, t_c = minimum_melting_s(links, 0, current) * factor, total_clearing_s(links, 0, current, arcing_s)
    never = np.isinf(t_c) & np.isinf(t_r)
    return np.where((t <= t_m) | never, DEVICE_ALONE, np.where(t_c <= t_r, FUSE_ALONE, BOTH))


def check(rows: list[tuple], link: str = "65K", curves: dict[str, CurvePoints] | None = None, own: dict | None = None,
          factor: float = FACTOR, arcing_s: float = ARCING_S, currents: np.ndarray | None = None) -> Race:
    """Compare the race with the times on a dense grid, at each breakpoint and at the number just below it."""
    found = device_settings(pd.DataFrame(rows, columns=HEAD), curves or {})
    links = link_curves([link], own)
    race = races(rows, link, curves, own, factor, arcing_s)
    breaks = race.breakpoints()[1]
    grid = np.exp(np.linspace(math.log(1.0), math.log(1e6), 4000)) if currents is None else currents
    # by a breakpoint the two sides are equal to rounding, and rounding alone decides
    grid = grid[(np.abs(grid[:, None] / breaks - 1.0) > 1e-9).all(axis=1)]
    for kind, part in GROUPS:
        own_breaks = race.start_a[race.first[kind * FAULT_PARTS + part] + 1:race.first[kind * FAULT_PARTS + part + 1]]
        at = np.concatenate([grid, own_breaks, np.nextafter(own_breaks, 0.0), [HIGHEST_A]])
        expected = by_hand(rows, links, found, kind, part, at, factor, arcing_s)
        wrong = race.outcome_at(0, kind, part, at) != expected
        assert not wrong.any(), (kind, part, at[wrong], expected[wrong])
        assert set(own_breaks) <= set(breaks)
    return race


def row(element: str, operation: str, pickup: float, curve: str, dial: float, added: float = 0.0) -> tuple:
    return "r", element, operation, pickup, curve, dial, added


def test_a_fast_operation_saves_up_to_where_the_times_meet():
    """A definite time of 0.07 s + 0.005 s meets 0.75 × 0.1 s at 918 A; above it both, as 0.1 s + 0.013 s of arc and
    less are not cleared in 0.07 s before √(1100² · 0.1 / 0.057) = 1457 A."""
    race = check([row("phase", "fast", 200.0, "definite", 0.07, 0.005)])
    seen = race.outcome_at(0, FAST_OPERATION, ALL_ELEMENTS, np.array([201.0, 900, 917.9, 918.1, 1456, 1458, 9e4]))
    assert seen.tolist() == [DEVICE_ALONE] * 3 + [BOTH] * 2 + [FUSE_ALONE] * 2
    assert race.breakpoints()[1][-2:] == pytest.approx([918.0, 1100.0 * math.sqrt(0.1 / 0.057)], rel=1e-12)


def test_equal_times_save_the_fuse_and_else_the_fuse_is_first():
    """Own curves that are flat: t ≤ tₘ and t꜀ ≤ t_r hold where both are the same number."""
    own = {"65K": (CurvePoints(np.array([50.0, 1e4]), np.array([1.0, 1.0])), CurvePoints(np.array([50.0, 1e4]),
                                                                                         np.array([2.0, 2.0])))}
    for dial, outcome in ((1.0, DEVICE_ALONE), (1.0 + 1e-9, BOTH), (2.0 - 1e-9, BOTH), (2.0, FUSE_ALONE)):
        race = races([row("phase", "fast", 60.0, "definite", dial)], own=own, factor=1.0)
        assert race.outcome_at(0, FAST_OPERATION, PHASE_ELEMENTS, 70.0) == outcome


def test_what_is_timed_out_is_not_called_back():
    """Time out in 0.05 s, opened at 0.55 s: a link that clears in 0.063 s melts, but is not first."""
    race = races([row("phase", "delayed", 60.0, "definite", 0.05, 0.5)])
    assert race.outcome_at(0, DELAYED_OPERATION, PHASE_ELEMENTS, 1100.0 * math.sqrt(2.0)) == BOTH
    assert race.outcome_at(0, DELAYED_OPERATION, PHASE_ELEMENTS, 1100.0 * math.sqrt(3.0)) == FUSE_ALONE


def test_where_the_device_does_not_pick_up_the_fuse_is_alone_or_nothing_melts():
    """Ground elements alone: a three-phase fault is left to the fuse; 65K melts from 128 A and surely from 153 A."""
    race = check([row("ground", "fast", 70.0, "definite", 0.05)])
    at = np.array([127.9, 128.0, 152.9, 153.0, 5000.0])
    assert race.outcome_at(0, FAST_OPERATION, PHASE_ELEMENTS, at).tolist() == [DEVICE_ALONE] * 3 + [FUSE_ALONE] * 2
    # below the pickup of 200 A likewise
    race = check([row("phase", "fast", 200.0, "definite", 0.05)])
    assert race.outcome_at(0, FAST_OPERATION, PHASE_ELEMENTS, np.array([140.0, 160.0, 200.0, 200.1])).tolist() == [
        DEVICE_ALONE, FUSE_ALONE, FUSE_ALONE, DEVICE_ALONE]


def test_a_link_that_may_melt_but_not_clear_melts_with_the_device():
    """140 A melts the smallest 65K, and no 65K surely: no clearing time, so a slow device opens too."""
    race = check([row("phase", "fast", 60.0, "definite", 800.0)])
    assert race.outcome_at(0, FAST_OPERATION, PHASE_ELEMENTS, 140.0) == BOTH


def test_without_settings_the_ceiling_and_the_longest_melting_current_decide():
    links, none = link_curves(["65K"]), device_settings(pd.DataFrame([], columns=HEAD), {})
    ceilings = [918.0, 100.0, math.inf, 918.0, math.inf, 0.0]
    race = run_races(links, none, [0, 0, 0, NONE, NONE, NONE], [NONE] * 6, ceilings, FACTOR, ARCING_S)
    at = np.array([10.0, 152.9, 153.0, 917.9, 918.0, 1e5])
    a, b, f = DEVICE_ALONE, BOTH, FUSE_ALONE
    fast = [[a, a, a, a, b, b], [a, a, b, b, b, b], [a] * 6, [a, a, a, a, b, b], [a] * 6, [b] * 6]
    delayed = [[a, a, f, f, f, f]] * 3 + [[f] * 6] * 3
    for part in range(FAULT_PARTS):
        for pair in range(6):
            assert race.outcome_at(pair, FAST_OPERATION, part, at).tolist() == fast[pair]
            assert race.outcome_at(pair, DELAYED_OPERATION, part, at).tolist() == delayed[pair]
    first, current = race.breakpoints()
    assert [current[i:j].tolist() for i, j in pairwise(first)] == [
        [153.0, 918.0], [153.0], [153.0], [918.0], [], []]


def test_an_unknown_link_beside_settings_follows_the_simple_rule_and_a_known_one_ignores_the_ceiling():
    found = device_settings(pd.DataFrame([row("phase", "fast", 200.0, "definite", 0.07, 0.005)], columns=HEAD), {})
    race = run_races(link_curves(["65K"]), found, [NONE, 0], [0, 0], [300.0, 300.0], FACTOR, ARCING_S)
    assert race.outcome_at([0, 0, 1, 1], FAST_OPERATION, ALL_ELEMENTS, [299.0, 301.0, 301.0, 919.0]).tolist() == [
        DEVICE_ALONE, BOTH, DEVICE_ALONE, BOTH]


def test_at_an_unknown_current_fast_operations_save_and_delayed_ones_do_not():
    race = races([row("phase", "fast", 200.0, "definite", 50.0)])
    kinds = np.array([FAST_OPERATION, DELAYED_OPERATION])
    assert race.outcome_at(0, kinds, ALL_ELEMENTS, math.nan).tolist() == [DEVICE_ALONE, FUSE_ALONE]


def test_no_pairs_at_all():
    none = device_settings(pd.DataFrame([], columns=HEAD), {})
    race = run_races(link_curves([]), none, [], [], [], FACTOR, ARCING_S)
    assert (len(race), len(race.breakpoints()[1]), len(race.outcome_at(*np.zeros((3, 0), int), []))) == (0, 0, 0)


def extrema(values: np.ndarray) -> np.ndarray:
    """Places of the inner extrema of values."""
    steps = np.sign(np.diff(values))
    return np.flatnonzero(steps[1:] * steps[:-1] < 0) + 1


def test_a_window_between_two_crossings_is_found_however_narrow():
    """Curves that all but touch: the dial is set 1e-9 to either side of where the times have one point in common.

    With no added time that dial is an extremum of the link's time over the element's at dial 1; the windows are some
    1e-5 wide, relatively, and no grid of the size of the race's work would step into them.
    """
    links, found = link_curves(["65K"]), 0
    for curve in INVERSE:
        for pickup in (40.0, 60.0, 150.0, 300.0):
            for times in (lambda i: FACTOR * minimum_melting_s(links, 0, i),
                          lambda i: total_clearing_s(links, 0, i, ARCING_S)):
                grid = np.exp(np.linspace(math.log(max(pickup * 1.0001, 153.0)), math.log(2e4), 3001))
                for k in extrema(times(grid) / inverse_time_s(curve, grid, pickup, 1.0)):
                    fine = np.linspace(grid[k - 1], grid[k + 1], 100_001)
                    ratio = times(fine) / inverse_time_s(curve, fine, pickup, 1.0)
                    best = extrema(ratio)[:1]
                    for dial in (ratio[best[0]] * (1 - 1e-9), ratio[best[0]] * (1 + 1e-9)) if len(best) else ():
                        found += 1
                        check([row("phase", "fast", pickup, curve, dial)], currents=fine[best])
    assert found > 20


POSITIVE = st.floats(0.05, 0.95)


@st.composite
def point_curve(draw, first: float, last: float, rising: bool = False) -> CurvePoints:
    """A curve of two to six points; its times fall unless they may do anything."""
    n = draw(st.integers(2, 6))
    parts = np.cumsum(draw(st.lists(POSITIVE, min_size=n, max_size=n)))
    current = np.exp(math.log(first) + parts / parts[-1] * math.log(last / first))
    time = np.exp(np.array(draw(st.lists(st.floats(-4.0, 5.0), min_size=n, max_size=n))))
    return CurvePoints(current, time if rising else np.sort(time)[::-1])


@st.composite
def case(draw):
    """Settings of one device, curves, a link, perhaps with its own curves, factor and arcing time."""
    rising = draw(st.booleans())
    curves = {"one": draw(point_curve(draw(st.floats(50.0, 500.0)), draw(st.floats(600.0, 9000.0)), rising))}
    pairs = draw(st.lists(st.tuples(st.sampled_from(["phase", "ground"]), st.sampled_from(["fast", "delayed"])),
                          min_size=1, max_size=4, unique=True))
    rows = [row(*pair, draw(st.floats(20.0, 1500.0)), draw(st.sampled_from([*INVERSE, "one"])),
                draw(st.floats(0.02, 12.0)), draw(st.sampled_from([0.0, 0.05, 0.3]))) for pair in pairs]
    link = draw(st.sampled_from(list(link_table().index)))
    own = None
    if draw(st.booleans()):
        melting = draw(point_curve(draw(st.floats(15.0, 200.0)), draw(st.floats(500.0, 5000.0)), rising))
        own = {link: (melting, CurvePoints(melting.current_a * 1.15, melting.time_s * 1.1))}
    return {"rows": rows, "curves": curves, "link": link, "own": own, "factor": draw(st.floats(0.3, 1.0)),
            "arcing_s": draw(st.sampled_from([0.0, 0.013, 0.1]))}


@given(case())
@hypothesis_settings(max_examples=300, deadline=None)
def test_the_race_agrees_with_the_times_everywhere(found):
    check(**found)


@given(st.lists(case(), min_size=1, max_size=5), st.randoms(use_true_random=False))
@hypothesis_settings(max_examples=40, deadline=None)
def test_many_pairs_at_once_are_each_as_alone(cases, random):
    rows = [(f"r{i}", *r[1:4], r[4] if r[4] in INVERSE else f"c{i}", *r[5:]) for i, c in enumerate(cases)
            for r in c["rows"]]
    random.shuffle(rows)
    curves = {f"c{i}": c["curves"]["one"] for i, c in enumerate(cases)}
    found = device_settings(pd.DataFrame(rows, columns=HEAD), curves)
    links = sorted({c["link"] for c in cases})
    pairs = [(k, found.of_section[f"r{i}"]) for i in range(len(cases)) for k in range(len(links))]
    race = run_races(link_curves(links), found, *zip(*pairs, strict=True), np.full(len(pairs), math.nan), FACTOR,
                     ARCING_S)
    first, breaks = race.breakpoints()
    for p, (k, _) in enumerate(pairs):
        c = cases[p // len(links)]
        alone = races(c["rows"], links[k], c["curves"])
        start, stop = race.first[4 * p], race.first[4 * p + 4]
        assert (race.first[4 * p:4 * p + 5] - start).tolist() == alone.first.tolist()
        # a processor's vector and scalar instructions may round the last digit of a power otherwise
        np.testing.assert_allclose(race.start_a[start:stop], alone.start_a, rtol=1e-14)
        assert race.outcome[start:stop].tolist() == alone.outcome.tolist()
        np.testing.assert_allclose(breaks[first[p]:first[p + 1]], alone.breakpoints()[1], rtol=1e-14)
