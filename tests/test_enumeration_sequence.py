"""The enumeration held to cases worked by hand: the sequence, reclosing off, who is interrupted, and scenarios."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from reliability.schema.scenarios import Scenario
from tests.adapter import differences
from tests.enumeration import enumerate_study
from tests.enumeration_cases import BOTH, FUSE_ALONE, LOCKOUT, MAIN, TAP, indices, level, played, relay, study
from tests.enumeration_network import Tree, candidates_of, converted, read_sections, settings
from tests.networks import candidates_of as drawn_candidates
from tests.networks import random_study


class TestSequence:
    SECTIONALIZER = TAP | {"device": "sectionalizer"}

    def test_which_of_two_opens_where_r_and_the_fuse_trip_together(self):
        """1000 A blows 65K on the fast operation, which a sectionalizer above it counts: at one count it opens."""
        tap = self.SECTIONALIZER
        spur = {"section_id": "spur", "parent_id": "tap", "device": "fuse", "length_km": 1.0, "customers": 5,
                "phases": 1.0, "fuse_link": "65K"} | level(1000.0)
        rows = (MAIN | {"customers": 85}, tap | {"length_km": 0.0}, spur)
        found = played(*rows)
        assert (found["saifi"], found["maifi_e"]) == pytest.approx((0.15, 0.85))
        assert (found["callouts"]["reset"], found["callouts"]["refuse"], found["actuators"]) == (1.0, 0.0, 1.0)
        found = played(*rows, sectionalizer_counts=2)
        assert (found["saifi"], found["maifi_e"]) == pytest.approx((0.05, 0.95))
        assert (found["callouts"]["reset"], found["callouts"]["refuse"], found["actuators"]) == (0.0, 1.0, 0.0)
        # a sectionalizer below the fuse counts too, but the fuse is nearer the source
        below = ({**MAIN, "customers": 85}, TAP | level(1000.0) | {"fuse_link": "65K", "length_km": 0.0},
                 spur | {"device": "sectionalizer", "fuse_link": ""})
        assert played(*below)["saifi"] == pytest.approx(0.15)

    def test_counts_dead_times_and_lockout(self):
        """Counts 2 of 3 operations, faults cleared by the first, second and third dead time: 0.5, 0.3, 0.2."""
        found = played(MAIN, self.SECTIONALIZER, sectionalizer_counts=2, clearing_shares=(0.5, 0.3, 0.2))
        assert found["saifi"] == pytest.approx(0.1 * 0.5)
        assert found["maifi_e"] == pytest.approx(0.5 + 0.5 * 0.9)
        assert found["maifi"] == pytest.approx(0.5 * 1 + 0.5 * 0.9 * 2)
        # three counts of three operations: it never opens, and what the second dead time leaves locks out
        found = played(MAIN, self.SECTIONALIZER, sectionalizer_counts=3, clearing_shares=(0.5, 0.3, 0.2))
        assert (found["saifi"], found["maifi"]) == pytest.approx((0.2, 0.5 * 1 + 0.3 * 2))

    def test_of_several_sectionalizers_that_are_ready_the_one_nearest_the_source_opens(self):
        spur = self.SECTIONALIZER | {"section_id": "spur", "parent_id": "tap", "customers": 5, "counts": 1}
        rows = (MAIN | {"customers": 85}, self.SECTIONALIZER | {"length_km": 0.0}, spur)
        assert played(*rows)["saifi"] == pytest.approx(0.15)
        assert played(*rows, sectionalizer_counts=2)["saifi"] == pytest.approx(0.05)
        # the one nearer the source fails in a quarter of the faults, and in a quarter of those the other too: lockout
        found = played(*rows, sectionalizer_failure=0.25, temporary_fraction=0.0)
        assert found["saifi"] == pytest.approx(0.75 * 0.15 + 0.25 * 0.75 * 0.05 + 0.25 * 0.25)

    def test_one_operation_opens_no_sectionalizer(self):
        main = MAIN | {"operations_to_lockout": 1}
        assert indices(main, self.SECTIONALIZER) == pytest.approx(LOCKOUT)
        assert indices(main, TAP | level(9000.0) | {"fuse_link": "65K"}) == pytest.approx(FUSE_ALONE)  # F = 0 there

    def test_below_its_actuating_current_a_sectionalizer_does_not_act(self):
        row = self.SECTIONALIZER | {"actuating_current_a": 300.0}
        assert indices(MAIN, row | level(299.0), temporary_fraction=0.0) == pytest.approx(LOCKOUT)
        assert indices(MAIN, row | level(300.0), temporary_fraction=0.0) == pytest.approx(BOTH)
        stronger = {"temporary_fraction": 0.0, "fault_current_factor": 1.1}
        assert indices(MAIN, row | level(299.0), **stronger) == pytest.approx(BOTH)


class TestReclosingOff:
    SECTIONALIZER = TAP | {"device": "sectionalizer"}
    FUSE = TAP | level(1000.0) | {"fuse_link": "65K"}

    def test_no_sectionalizer_opens(self):
        """A quarter of the faults: the zone is locked out, without momentary events, by one patrol."""
        found = played(MAIN, self.SECTIONALIZER, reclosing_off_share=0.25)
        assert (found["saifi"], found["maifi_e"]) == pytest.approx((0.25 * 1 + 0.75 * 0.1, 0.75 * 0.9))
        assert (found["callouts"]["patrol"], found["callouts"]["reset"]) == pytest.approx((0.25, 0.75))

    def test_the_device_states_its_own_share(self):
        assert indices(MAIN | {"reclosing_off_share": 1.0}, self.SECTIONALIZER) == pytest.approx(LOCKOUT)
        found = indices(MAIN | {"reclosing_off_share": 0.0}, self.SECTIONALIZER, reclosing_off_share=1.0)
        assert found == pytest.approx(BOTH)

    def test_a_delayed_trip_lets_the_fuse_clear_and_a_fast_one_locks_out(self):
        """Fast at 1000 A R and 65K trip together: with one operation R locks out. Below 918 A R alone: lockout too."""
        assert indices(MAIN, self.FUSE, reclosing_off_share=1.0) == pytest.approx(FUSE_ALONE)
        fast = {"reclosing_off_share": 1.0, "reclosing_off_trip": "fast", "fast_operations": 0}
        assert indices(MAIN, self.FUSE, **fast) == pytest.approx(LOCKOUT)
        assert indices(MAIN, self.FUSE | level(500.0), **fast) == pytest.approx(LOCKOUT)
        rows = [relay(dial=0.06), relay(dial=5.0, operation="delayed")]
        assert indices(MAIN, self.FUSE | level(1100.0), settings=rows, **fast) == pytest.approx(LOCKOUT)

    def test_hours_of_a_temporary_fault(self):
        """The zone waits for the patrol of that state; behind a lateral recloser as well, and by a patrol."""
        hours = {"patrol_hours": 2.0, "patrol_reclosing_off_hours": 5.0, "reset_hours": 1.0, "reclosing_off_share": 1.0}
        assert played(MAIN, self.SECTIONALIZER, **hours)["caidi_min"] == pytest.approx(60 * 5)
        hours["patrol_reclosing_off_hours"] = None  # by default as patrol_hours
        assert played(MAIN, self.SECTIONALIZER, **hours)["caidi_min"] == pytest.approx(60 * 2)
        found = played(MAIN, TAP | {"device": "lateral_recloser"}, **hours)
        assert (found["saifi"], found["caidi_min"]) == pytest.approx((0.1, 60 * 2))
        assert (found["callouts"]["patrol"], found["callouts"]["reset"]) == (1.0, 0.0)

    @pytest.mark.parametrize(("repair", "waits"), [(4.0, 4.0), (1.5, 2.0)])
    def test_hours_of_a_permanent_fault(self, repair, waits):
        """Switching takes 1 h, the walk 2 h: 90 on main wait 2 h, 10 on tap for repair, 20 beyond with a tie of 0.5."""
        end = {"section_id": "end", "parent_id": "tap", "device": "switch", "customers": 20, "tie_probability": 0.5}
        values = {"temporary_fraction": 0.0, "reclosing_off_share": 1.0, "patrol_reclosing_off_hours": 2.0,
                  "switching_hours": 1.0, "repair_hours": repair}
        found = played(MAIN, self.SECTIONALIZER, end, **values)
        assert found["saidi_min"] == pytest.approx(60 * (90 * 2 + 10 * waits + 20 * (0.5 * 2 + 0.5 * waits)) / 120)
        assert (found["callouts"]["repair"], found["callouts"]["patrol"]) == (1.0, 0.0)
        # what a fuse clears alone is restored as ever
        fuse = played(MAIN, self.FUSE, end, **values)
        assert fuse["saidi_min"] == pytest.approx(60 * (10 * repair + 20 * (0.5 * 1 + 0.5 * repair)) / 120)


class TestWhoIsInterrupted:
    THREE = TAP | {"phases": 3.0}

    @pytest.mark.parametrize(("tripping", "share", "poles"), [("", 0.5, 1.5), ("single_phase", 0.5, 1.5),
                                                              ("three_phase", 1.0, 3.0)])
    def test_a_sectionalizer_of_three_phases(self, tripping, share, poles):
        """1.5 of 3 phases are involved; one actuator a pole."""
        found = played(MAIN, self.THREE | {"device": "sectionalizer", "tripping": tripping})
        assert (found["saifi"], found["maifi_e"]) == pytest.approx((0.1 * share, 1 - 0.1 * share))
        assert (found["actuators"], found["sectionalizer_operations"]) == pytest.approx((poles, 1.0))

    def test_a_fuse_is_single_phase_whatever_is_stated(self):
        assert indices(MAIN, self.THREE | {"tripping": "three_phase"}, fast_operations=0)[0] == pytest.approx(0.05)

    @pytest.mark.parametrize(("tripping", "trips", "locks_out"), [
        ("", 1.0, 1.0), ("three_phase", 1.0, 1.0), ("single_phase", 0.5, 0.5),
        ("single_phase_three_phase_lockout", 0.5, 1.0)])
    def test_a_breaker(self, tripping, trips, locks_out):
        main = MAIN | {"length_km": 1.0, "tripping": tripping}
        assert indices(main) == pytest.approx((0.0, trips))
        assert indices(main, temporary_fraction=0.0) == pytest.approx((locks_out, 0.0))
        assert indices(main, reclosing_off_share=1.0) == pytest.approx((locks_out, 0.0))

    @pytest.mark.parametrize(("tap", "spur", "on_tap", "on_spur"), [
        (20, 4, 0.2, 1.0),      # a third of 24 is 8: 4 on the spur, the other 4 of 20
        (12, 12, 0.0, 1.0),     # a third of 24 is 8, but all 12 on the spur hang on the faulted phase
        (0, 12, 1 / 3, 1.0)])   # none elsewhere; the tap itself by the fuse's share
    def test_the_stretch(self, tap, spur, on_tap, on_spur):
        """A fault on a spur of one phase, solid, blows one of three fuses of the tap."""
        rows = (MAIN, self.THREE | {"length_km": 0.0, "customers": tap, "load_kw": 60.0},
                {"section_id": "spur", "parent_id": "tap", "length_km": 1.0, "customers": spur, "phases": 1.0},
                {"section_id": "twig", "parent_id": "spur", "device": "switch", "phases": 1.0})
        found = played(*rows, fast_operations=0, refuse_hours=2.0)
        rates = {name: section["failure_rate"] for name, section in found["sections"].items()}
        assert rates == pytest.approx({"main": 0.0, "tap": on_tap, "spur": on_spur, "twig": 1 / 3})
        assert found["ens_mwh"] == pytest.approx(60.0 * on_tap * 2.0 / 1000)
        assert found["saifi"] * (90 + tap + spur) == pytest.approx(tap * on_tap * (tap > 0) + spur)

    def test_three_phase_customers_are_interrupted_whatever_phase_opens(self):
        """Of 10 on the tap 4 are three-phase: 6·0.5 + 4; a breaker by phase: of 90 on main 30 are: 60·0.5 + 30."""
        tap = self.THREE | {"customers_three_phase": 4, "load_kw": 10.0}
        main = MAIN | {"customers_three_phase": 30, "tripping": "single_phase"}
        found = played(main, tap, fast_operations=0, refuse_hours=2.0, yearly_cv=0.0)
        assert found["saifi"] == pytest.approx(7 / 100)
        assert found["ens_mwh"] == pytest.approx(10.0 * 0.7 * 2.0 / 1000)
        assert found["sections"]["tap"]["failure_rate"] == pytest.approx(0.7)
        assert found["cemi"][1] == pytest.approx((6 * (1 - math.exp(-0.5)) + 4 * (1 - math.exp(-1.0))) / 100)
        assert indices(main, tap)[1] == pytest.approx((66 * 0.5 + 34) / 100)
        blown = indices(main, tap | level(1000.0) | {"fuse_link": "65K"})
        assert blown == pytest.approx((0.07, (66 * 0.5 + 34 - 7) / 100))

    def test_momentary_events_are_at_the_least_none_in_all(self):
        """A third of 10 + 90 flickers with the recloser by phase, but all 90 on the spur's phase are out for long."""
        tap = TAP | {"device": "lateral_recloser", "phases": 3.0, "length_km": 0.0, "fast_operations": 1}
        spur = {"section_id": "spur", "parent_id": "tap", "device": "fuse", "length_km": 1.0, "customers": 90,
                "phases": 1.0, "fuse_link": "65K"} | level(1000.0)
        assert indices(MAIN, tap, spur) == pytest.approx((90 / 190, 0.0))
        assert indices(MAIN, tap, spur | {"customers": 2})[1] == pytest.approx((12 / 3 - 2) / 102)


class TestScenarios:
    ROWS = (MAIN, TAP | {"device": "lateral_recloser", "section_id": "a", "operations_to_lockout": 2},
            TAP | {"section_id": "b", "parent_id": "a", "fuse_link": "65K", "tripping": "single_phase"},
            TAP | {"section_id": "c", "parent_id": "b"}, TAP | {"section_id": "d", "construction": "underground"},
            TAP | {"section_id": "e", "parent_id": "s", "device": "sectionalizer", "counts": 1,
                   "tripping": "three_phase", "actuating_current_a": 70.0},
            {"section_id": "s", "parent_id": "main", "device": "switch"})

    def devices(self, scenario: Scenario, rows=ROWS, **values) -> dict[str, str]:
        """Devices of a to e as first letters, with the counts of a sectionalizer."""
        case = study(*rows, **values)
        read = read_sections(case)
        after = converted(read, Tree(read), scenario, case.values)
        found = {name: settings(after[name], case.values, {}) for name in "abcde"}
        return {name: setting["device"][:3] + str(setting.get("counts", "")) for name, setting in found.items()}

    def test_candidates(self):
        """Next device above, switches aside, a reclosing device: not c, which stands behind the fuse of b."""
        read = read_sections(study(*self.ROWS))
        assert candidates_of(read, Tree(read)) == ["a", "b", "d", "e"]
        random = random_study(np.random.default_rng(5), 30, full=True)
        read = read_sections(random)
        assert candidates_of(read, Tree(read)) == drawn_candidates(random.sections.to_dict("records"))

    def test_all_leaves_lateral_reclosers_and_underground_sections(self):
        found = self.devices(Scenario("", None, "sectionalizer", 2))
        assert found == {"a": "lat", "b": "sec1", "c": "fus", "d": "fus", "e": "sec2"}  # b: the recloser's 2 less 1
        assert self.devices(Scenario("", None, "fuse")) == {"a": "lat", "b": "fus", "c": "fus", "d": "fus", "e": "fus"}

    def test_named_and_mixed_choices(self):
        found = self.devices(Scenario("", ("a", "d"), "sectionalizer", 3))
        assert found == {"a": "sec2", "b": "fus", "c": "fus", "d": "fus", "e": "sec1"}  # a: the breaker's 3 less 1
        mixed = {"a": {"device": "fuse"}, "b": {"device": "sectionalizer", "counts": 2},
                 "e": {"device": "lateral_recloser"}}
        assert self.devices(Scenario("", mixed)) == {"a": "fus", "b": "sec2", "c": "fus", "d": "fus", "e": "lat"}

    def test_behind_one_operation_the_device_stays(self):
        rows = (MAIN | {"operations_to_lockout": 1}, *self.ROWS[1:])
        assert self.devices(Scenario("", None, "sectionalizer", 2), rows)["e"] == "sec1"
        one = [row | {"operations_to_lockout": 1} if row["section_id"] == "a" else row for row in self.ROWS]
        assert self.devices(Scenario("", None, "sectionalizer", 2), one)["b"] == "fus"

    def test_counts_that_no_scenario_states(self):
        """A new sectionalizer takes those of [protection], lowered; one that stands keeps its own."""
        found = self.devices(Scenario("", None, "sectionalizer"), sectionalizer_counts=3)
        assert (found["b"], found["e"]) == ("sec1", "sec1")
        found = self.devices(Scenario("", ("a",), "sectionalizer"), sectionalizer_counts=3)
        assert found["a"] == "sec2"

    def test_a_converted_lateral_loses_what_belonged_to_the_device(self):
        case = study(*self.ROWS, settings=[relay(dial=1.0), relay(dial=1.0) | {"section_id": "a"}])
        read = read_sections(case)
        after = converted(read, Tree(read), Scenario("", {n: {"device": "fuse"} for n in "ae"}), case.values)
        kept = {"tripping", "counts", "actuating_current_a", "operations_to_lockout", "elements"}
        assert not kept & (after["a"].keys() | after["e"].keys())
        assert read["a"]["elements"]
        assert after["main"]["elements"]
        new = converted(read, Tree(read), Scenario("", ("e",), "lateral_recloser"), case.values)["e"]
        assert settings(new, case.values, {}) | {"elements": []} == {
            "section": "e", "device": "lateral_recloser", "tripping": "single_phase", "operations": 3, "fast": 0,
            "elements": [], "off_share": 0.0, "off": False}

    def test_fast_operations_as_a_number_or_by_section(self):
        case = study(MAIN, MAIN | {"section_id": "other", "operations_to_lockout": 2},
                     TAP | {"device": "lateral_recloser"})
        read = read_sections(case)
        for fast, expected in ((2, [2, 1, 0]), ({"main": 0}, [0, 1, 0]), ({"other": 5}, [1, 1, 0])):
            after = converted(read, Tree(read), Scenario("", fast_operations=fast), case.values)
            assert [settings(row, case.values, {})["fast"] for row in after.values()] == expected


def test_blank_phases():
    """1 at the head of a lateral, elsewhere the parent's, 3 at a source: also in the frame of a study read."""
    case = study(MAIN, TAP | {"phases": 2.0}, TAP | {"section_id": "spur", "parent_id": "tap", "phases": math.nan},
                 TAP | {"section_id": "other", "phases": math.nan}, MAIN | {"section_id": "end", "parent_id": "main"})
    assert list(case.sections["phases"]) == [3, 2, 2, 1, 3]
    case.sections["phases"] = [math.nan, 2, *[math.nan] * 3]
    assert [row["phases"] for row in read_sections(case).values()] == [3, 2, 2, 1, 3]


def test_a_study_of_the_older_kind_needs_none_of_the_newer_columns_and_keys():
    """Columns and keys at their defaults change nothing."""
    older = random_study(np.random.default_rng(7), 20)
    newer = {key: older.values.get(key, value) for key, value in {
        "reclosing_off_share": 0.0, "reclosing_off_trip": "delayed", "fault_current_factor": 1.0,
        "fuse_melting_factor": 0.75, "wrong_link_share": 0.0, "fuse_arcing_time_s": 0.013,
        "patrol_reclosing_off_hours": None}.items()}
    expected = enumerate_study(older)
    filled = replace(older, values=dict(older.values) | newer, sections=older.sections.assign(
        customers_three_phase=0.0, construction="", reclosing_off_share=math.nan, tripping=""))
    assert differences(enumerate_study(filled), expected) == []


def test_random_full_studies_reach_every_rule():
    """Otherwise an agreement of another program on them would prove little."""
    studies = [random_study(np.random.default_rng(seed), 20, full=True) for seed in range(6)]
    found = [result for one in studies for result in enumerate_study(one).values()]
    for kind in ("refuse", "reset", "repair", "patrol"):
        assert sum(result["callouts"][kind] > 0 for result in found) > 10, kind
    assert sum(result["actuators"] > 1.01 * result["sectionalizer_operations"] for result in found) > 5
    for key, values in (("element", 2), ("operation", 2), ("curve", 8)):
        assert len({value for one in studies if one.settings is not None for value in one.settings[key]}) >= values, key
    assert any(len({round(result["saifi"], 9) for result in enumerate_study(one).values()}) > 6 for one in studies)
