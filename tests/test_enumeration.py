"""The enumeration held to cases worked by hand: which device acts, by the simple rule, by times, and by settings."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from tests.enumeration_cases import BOTH, FUSE_ALONE, LOCKOUT, MAIN, R_ALONE, TAP, indices, level, relay
from tests.enumeration_curves import (
    Curve,
    by_times,
    cuts_by_times,
    element_time,
    elements_that_act,
    link_of,
    next_larger,
    read_curves,
    sign_changes,
)
from tests.enumeration_network import read_sections
from tests.networks import random_study


class TestSimpleRule:
    """Without settings. 65K melts from 918 A in 0.1 s at the least: its ceiling at 0.075 s is 0.075/0.75 → 918 A."""

    @pytest.mark.parametrize(("amperes", "expected"), [(917.0, R_ALONE), (918.0, BOTH), (2000.0, BOTH)])
    def test_a_fast_operation_saves_the_fuse_below_its_ceiling(self, amperes, expected):
        assert indices(MAIN, TAP | level(amperes) | {"fuse_link": "65K"}) == pytest.approx(expected)

    def test_the_factor_moves_the_ceiling(self):
        """Factor 0.5: melting in 0.075/0.5 = 0.15 s, at 159·(918/159)^(ln(10/0.15)/ln 100) = 786.7 A."""
        row = TAP | {"fuse_link": "65K"}
        assert 159 * (918 / 159) ** (math.log(10 / 0.15) / math.log(100)) == pytest.approx(786.7, abs=0.1)
        for amperes, expected in ((786.0, R_ALONE), (787.0, BOTH)):
            assert indices(MAIN, row | level(amperes), fuse_melting_factor=0.5) == pytest.approx(expected)

    def test_a_section_is_cut_at_the_ceiling(self):
        """1/918 lies between 1/1836 and 1/459 at x = (2 − 1)/(4 − 1) of the way: a third is blown, the rest saved."""
        ends = {"fault_current_source_a": 1836.0, "fault_current_end_a": 459.0, "fuse_link": "65K"}
        assert indices(MAIN, TAP | ends) == pytest.approx((0.1 / 3, 0.9 / 3 + 2 / 3))

    @pytest.mark.parametrize(("amperes", "expected"), [(152.9, R_ALONE), (153.0, FUSE_ALONE)])
    def test_a_link_does_not_melt_below_its_longest_maximum_melting_current(self, amperes, expected):
        row = TAP | level(amperes) | {"fuse_link": "65K"}
        assert indices(MAIN, row, fast_operations=0) == pytest.approx(expected)
        fast = indices(MAIN, row | {"saving_ceiling_a": 50.0})
        assert fast == pytest.approx(R_ALONE if expected == R_ALONE else BOTH)

    def test_without_a_link_or_a_current_it_is_saved_on_fast_operations_and_alone_on_delayed_ones(self):
        for row in (TAP | level(9000.0), TAP | {"fuse_link": "65K", "saving_ceiling_a": 1.0}):
            assert indices(MAIN, row) == pytest.approx(R_ALONE)
            assert indices(MAIN, row, fast_operations=0) == pytest.approx(FUSE_ALONE)

    def test_a_fault_that_the_last_operation_cannot_part_from_the_fuse_locks_out(self):
        """A permanent fault below the melting current: three openings, and R stays open for everybody."""
        row = TAP | level(100.0) | {"fuse_link": "65K"}
        assert indices(MAIN, row, temporary_fraction=0.0) == pytest.approx(LOCKOUT)

    def test_the_factor_on_fault_currents(self):
        """600 A × 2 is above the ceiling of 918 A, which stays; a stated one stays as well."""
        row = TAP | level(600.0) | {"fuse_link": "65K"}
        assert indices(MAIN, row, fault_current_factor=2.0) == pytest.approx(BOTH)
        assert indices(MAIN, row | {"saving_ceiling_a": 1201.0}, fault_current_factor=2.0) == pytest.approx(R_ALONE)


class TestWrongLink:
    def test_the_next_larger_of_its_type(self):
        larger = {"65K": "80K", "140T": "200T", "200K": None, "55k": "65K", "A7": None}
        assert {link: next_larger(link) for link in larger} == larger

    def test_its_ceiling_and_curves_are_the_next_larger_ones(self):
        """At 1000 A 65K (918 A) is blown and 80K (1180 A) is saved; at 170 A 65K (153 A) melts and 80K (192 A) not."""
        row = TAP | {"fuse_link": "65K"}
        assert indices(MAIN, row | level(1000.0), wrong_link_share=0.2) == pytest.approx((0.08, 0.8 * 0.9 + 0.2))
        assert indices(MAIN, row | level(170.0), wrong_link_share=0.2, fast_operations=0) == pytest.approx((0.08, 0.2))

    def test_a_stated_ceiling_and_the_largest_link_stay(self):
        row = TAP | level(1000.0) | {"fuse_link": "65K", "saving_ceiling_a": 999.0}
        assert indices(MAIN, row, wrong_link_share=1.0) == pytest.approx(BOTH)
        row = TAP | level(3880.0) | {"fuse_link": "200K"}
        assert indices(MAIN, row, wrong_link_share=1.0) == pytest.approx(BOTH)

    def test_a_fuse_that_fails_is_not_there_whatever_link_it_holds(self):
        """Half fail: permanent faults lock out. Of the others 0.2 hold 80K, not melting at 170 A: lockout as well."""
        row = TAP | level(170.0) | {"fuse_link": "65K"}
        values = {"wrong_link_share": 0.2, "fuse_failure": 0.5, "fast_operations": 0, "temporary_fraction": 0.0}
        assert indices(MAIN, row, **values) == pytest.approx((0.5 + 0.5 * (0.8 * 0.1 + 0.2), 0.0))


class TestTimes:
    @pytest.mark.parametrize(("curve", "at"), [
        ("ieee_moderately_inverse", (3.803, 1.688, 1.207)),  # 0.0515/0.013959 + 0.114 at u = 2
        ("ieee_very_inverse", (7.028, 1.308, 0.689)), ("ieee_extremely_inverse", (9.522, 1.297, 0.407)),
        ("iec_standard_inverse", (10.029, 4.280, 2.971)),  # 0.14/0.013959 at u = 2
        ("iec_very_inverse", (13.5, 13.5 / 4, 1.5)), ("iec_extremely_inverse", (80 / 3, 80 / 24, 80 / 99))])
    def test_formulas_at_2_5_and_10_times_the_pickup(self, curve, at):
        element = {"pickup": 200.0, "curve": curve, "dial": 1.0, "added": 0.0, "points": None}
        for u, time in zip((2, 5, 10), at, strict=True):
            assert element_time(element, 200.0 * u) == pytest.approx(time, abs=6e-4)
            twice = element_time(element | {"dial": 2.0, "added": 0.05}, 200.0 * u)
            assert twice == pytest.approx(2 * time + 0.05, abs=2e-3)
            assert element_time(element | {"added": 0.05}, 200.0 * u, added=False) == element_time(element, 200.0 * u)
        assert element_time(element, 200.0) == math.inf
        assert element_time(element, math.nextafter(200.0, 300.0)) > 1e9

    def test_points_are_joined_log_log_times_the_dial_and_level_above_the_last(self):
        """From 100 A, 9 s to 900 A, 1 s: at 300 A, half way in both logarithms, 3 s."""
        points = Curve(((100.0, 9.0), (900.0, 1.0)))
        element = {"pickup": 50.0, "curve": "own", "dial": 2.0, "added": 0.1, "points": points}
        for amperes, time in ((99.0, math.inf), (100.0, 18.1), (300.0, 6.1), (900.0, 2.1), (5000.0, 2.1)):
            assert element_time(element, amperes) == pytest.approx(time)
        assert element_time(element | {"pickup": 300.0}, 300.0) == math.inf

    def test_a_link_of_the_table(self):
        """65K: 918 A in 0.1 s at the least, 1100 A at the most; twice the current, a quarter of the time."""
        link = link_of(" 65k", {}, 0.013)
        assert [link["melting"].time(i) for i in (127.0, 128.0, 159.0, 918.0, 1836.0)] == pytest.approx(
            [math.inf, 300.0, 10.0, 0.1, 0.025])
        assert [link["clearing"].time(i) for i in (152.0, 153.0, 237.0, 1100.0, 2200.0)] == pytest.approx(
            [math.inf, 300.0, 10.0, 0.1, 0.025])
        assert link_of("140T", {}, 0.0)["melting"].points[0] == (310.0, 600.0)

    def test_which_elements_act(self):
        rows = [{"ground": g, "fast": f} for g in (False, True) for f in (False, True)]
        phase, phase_fast, ground, ground_fast = rows
        assert elements_that_act(rows, True, True) == rows
        assert elements_that_act(rows, False, True) == [phase, ground]
        assert elements_that_act(rows, True, False) == [phase, phase_fast]
        assert elements_that_act([phase_fast, ground_fast], False, True) == [phase_fast, ground_fast]
        assert elements_that_act([phase_fast, ground], False, False) == []  # there is a delayed row; it does not see it


class TestSettings:
    """65K at 1100 A: 0.75 × 0.1·(918/1100)² = 0.0522 s to melt, 0.1 + 0.013 s in all."""

    ROW = TAP | level(1100.0) | {"fuse_link": "65K"}

    @pytest.mark.parametrize(("dial", "added", "expected"), [
        (0.052, None, R_ALONE), (0.053, None, BOTH), (0.112, None, BOTH), (0.114, None, FUSE_ALONE),
        (0.042, 0.011, BOTH),        # 0.053 s with the interrupting time
        (0.06, 0.06, BOTH),          # 0.12 s, but what was timed out at 0.06 s is not called back
        (0.114, 0.05, FUSE_ALONE)])
    def test_the_three_outcomes(self, dial, added, expected):
        assert indices(MAIN, self.ROW, settings=[relay(dial=dial, added=added)]) == pytest.approx(expected)

    def test_arcing_time_and_melting_factor(self):
        """Without arcing 0.1 s in all, 0.101 s of R are too long; with a factor of 1 R has 0.0696 s."""
        slow = [relay(dial=0.101)]
        assert indices(MAIN, self.ROW, settings=slow) == pytest.approx(BOTH)
        assert indices(MAIN, self.ROW, settings=slow, fuse_arcing_time_s=0.0) == pytest.approx(FUSE_ALONE)
        assert indices(MAIN, self.ROW, settings=[relay(dial=0.069)], fuse_melting_factor=1.0) == pytest.approx(R_ALONE)

    def test_a_fast_operation_takes_the_least_of_fast_and_delayed_and_a_delayed_one_the_delayed(self):
        rows = [relay(dial=0.114), relay(dial=0.05, operation="delayed")]
        assert indices(MAIN, self.ROW, settings=rows) == pytest.approx(R_ALONE)
        rows = [relay(dial=0.05), relay(dial=0.114, operation="delayed")]
        assert indices(MAIN, self.ROW, settings=rows, fast_operations=0) == pytest.approx(FUSE_ALONE)
        # a fault that the second dead time clears: saved on the fast operation, blown on the second after one opening
        later = {"clearing_shares": (0.0, 1.0, 0.0)}
        assert indices(MAIN, self.ROW, settings=rows, **later) == pytest.approx(BOTH)
        assert indices(MAIN, self.ROW, settings=rows[:1], **later) == pytest.approx(R_ALONE)  # fast rows stand in

    def test_a_stated_ceiling_holds_only_where_times_are_unknown(self):
        slow = [relay(dial=0.114)]
        assert indices(MAIN, self.ROW | {"saving_ceiling_a": 5000.0}, settings=slow) == pytest.approx(FUSE_ALONE)
        no_link = TAP | level(1100.0) | {"saving_ceiling_a": 1000.0}
        assert indices(MAIN, no_link, settings=slow) == pytest.approx(BOTH)
        no_current = TAP | {"fuse_link": "65K", "saving_ceiling_a": 1000.0}
        assert indices(MAIN, no_current, settings=slow) == pytest.approx(R_ALONE)

    def test_without_pickup_the_fuse_melts_alone_and_below_its_clearing_current_r_opens(self):
        """At 140 A 65K may melt (128 A) but does not surely (153 A): both times ∞, R alone."""
        high = [relay(dial=0.05, pickup=1e5)]
        assert indices(MAIN, self.ROW, settings=high) == pytest.approx(FUSE_ALONE)
        assert indices(MAIN, self.ROW | level(140.0), settings=high) == pytest.approx(R_ALONE)
        # R at 400 s and 65K between 0.75 × 73 s and ∞ at 140 A: both
        assert indices(MAIN, self.ROW | level(140.0), settings=[relay(dial=400.0)]) == pytest.approx(BOTH)

    def test_ground_elements_make_parts(self):
        """Ground in 0.05 s saves faults of one or two phases (0.9); of three, phase in 5 s, the fuse clears alone."""
        row = self.ROW | {"phases": 3.0}
        rows = [relay(dial=0.05, element="ground"), relay(dial=5.0, operation="delayed")]
        assert indices(MAIN, row, settings=rows) == pytest.approx((0.1 * 0.1, 0.9))
        # ground in 0.06 s: both; (0.6 + 2·0.3)/0.9 of three phases are blown, everybody else on the breaker flickers
        rows[0] = relay(dial=0.06, element="ground")
        below = 10 * (1.2 / 0.9) / 3
        expected = (0.9 * below / 100 + 0.1 * 0.1, 0.9 * (100 - below) / 100)
        assert indices(MAIN, row, settings=rows) == pytest.approx(expected)
        # on a section of one phase every fault is seen by ground elements
        assert indices(MAIN, self.ROW, settings=rows) == pytest.approx(BOTH)

    def test_where_no_element_sees_the_fault(self):
        """Ground elements alone: a three-phase fault blows the fuse; where there is none, somebody opens R."""
        row, only = self.ROW | {"phases": 3.0}, {"phases_involved": (0.0, 0.0, 1.0)}
        assert indices(MAIN, row, settings=[relay(dial=0.05, element="ground")], **only) == pytest.approx(FUSE_ALONE)
        bare = row | {"device": ""}
        assert indices(MAIN, bare, settings=[relay(dial=0.05, element="ground")], **only) == pytest.approx(R_ALONE)

    def test_own_curves_of_a_link(self):
        """Cleared at 1000 A in 0.2 s as stated, nothing added. By the simple rule it melts from 150 A, and is saved
        while it takes 0.08/0.75 s to melt: below 100·10^(ln(10·0.75/0.08)/ln 100) = 968.2 A."""
        own = [("65K melting", 100.0, 10.0), ("65K melting", 1000.0, 0.1),
               ("65K clearing", 150.0, 20.0), ("65K clearing", 1000.0, 0.2)]
        row = TAP | {"fuse_link": "65K"}
        for dial, expected in ((0.075, R_ALONE), (0.199, BOTH), (0.2, FUSE_ALONE)):
            found = indices(MAIN, row | level(1000.0), settings=[relay(dial=dial)], curves=own)
            assert found == pytest.approx(expected)
        for amperes, fast, expected in ((149.9, 0, R_ALONE), (150.0, 0, FUSE_ALONE),
                                        (968.0, 1, R_ALONE), (969.0, 1, BOTH)):
            found = indices(MAIN, row | level(amperes), curves=own, fast_operations=fast, fast_clearing_time_s=0.08)
            assert found == pytest.approx(expected)

    def test_a_section_is_cut_where_times_cross(self):
        """R in 1 s flat. 65K melts in 1/0.75 s at I_m and is through in 1 − 0.013 s at I_c; between them both."""
        melts = 159 * (918 / 159) ** (math.log(10 / (1 / 0.75)) / math.log(100))
        gone = 237 * (1100 / 237) ** (math.log(10 / 0.987) / math.log(100))
        x_m, x_c = ((1 / i - 1 / 2000) / (1 / 200 - 1 / 2000) for i in (melts, gone))
        assert 0 < x_c < x_m < 1
        ends = {"fault_current_source_a": 2000.0, "fault_current_end_a": 200.0}
        rows = [relay(dial=1.0, operation="delayed")]
        expected = (0.1 * x_m, (1 - x_m) + (x_m - x_c) * 0.9)
        assert indices(MAIN, self.ROW | ends, settings=rows) == pytest.approx(expected, rel=1e-12)
        back = {"fault_current_source_a": 200.0, "fault_current_end_a": 2000.0}
        assert indices(MAIN, self.ROW | back, settings=rows) == pytest.approx(expected, rel=1e-12)

    def test_a_curve_equal_to_the_melting_curve_saves_the_fuse(self):
        """t ≤ tₘ: what comes at the same time counts as R's, whatever the last digit."""
        own = [("65K melting", 90.0, 70.0), ("65K melting", 1700.0, 0.03), ("65K clearing", 100.0, 70.0),
               ("65K clearing", 1700.0, 0.07), ("three quarters", 90.0, 52.5), ("three quarters", 1700.0, 0.0225)]
        own.insert(-1, ("three quarters", 400.0, 52.5 * (400 / 90) ** (math.log(0.03 / 70) / math.log(1700 / 90))))
        ends = {"fault_current_source_a": 1300.0, "fault_current_end_a": 300.0}
        for element in (relay("65K melting", dial=0.75), relay("three quarters")):
            assert indices(MAIN, self.ROW | ends, settings=[element], curves=own) == pytest.approx(R_ALONE)
            for amperes in range(300, 1300, 70):
                row = self.ROW | level(float(amperes))
                assert indices(MAIN, row, settings=[element], curves=own) == pytest.approx(R_ALONE)


class TestCuts:
    def test_every_sign_change_is_found(self):
        """(y − 2)(y − 3)(y − 5) with y = exp(s), and (y − 2)(y − 3)², which only touches 0 at 3."""
        assert sign_changes([(1, 3), (-10, 2), (31, 1), (-30, 0)], 3.0) == pytest.approx(np.log([2, 3, 5]))
        crossed, *touched = sign_changes([(1, 3), (-8, 2), (21, 1), (-18, 0)], 3.0)
        assert crossed == pytest.approx(math.log(2), rel=1e-14)
        assert touched == pytest.approx([math.log(3)] * len(touched), rel=1e-6)
        assert sign_changes([(1, 0.5), (-1, 0.5)], 3.0) == []

    @pytest.mark.parametrize("seed", range(12))
    def test_no_answer_changes_between_two_cuts(self, seed):
        """By times asked at 60 places of every piece, for every pair of a random study's devices and links."""
        random = random_study(np.random.default_rng(seed), 12, full=True)
        rows, curves = read_sections(random), read_curves(random.curves)
        for row in rows.values():
            for name in ("40K", "55K", "65T", "100K"):
                link = link_of(name, curves, 0.013)
                if not row.get("elements"):
                    continue
                cuts = [40.0, *sorted(cuts_by_times(link, 0.75, row["elements"], 40.0, 9000.0)), 9000.0]
                for low, high in pairwise(cuts):
                    if high < low * (1 + 1e-9):
                        continue
                    inner = np.geomspace(low * (1 + 1e-10), high * (1 - 1e-10), 60)
                    for fast in (False, True):
                        for ground in (False, True):
                            acting = elements_that_act(row["elements"], fast, ground)
                            assert len({by_times(link, 0.75, acting, float(i)) for i in inner}) == 1
