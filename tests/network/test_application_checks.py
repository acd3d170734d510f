"""Each application check on laterals worked by hand: just in, just out, and with its input missing.

The lateral that is changed cell by cell, and the assumptions, are in tests/network/laterals.py.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.network.application_catalogue import CHECKS
from reliability.schema.scenarios import Conversion, Scenario
from tests.network.laterals import checks_of, overall, verdict

NAN = np.nan


def test_the_lateral_to_start_from_passes_everything():
    found = checks_of()
    assert {kind.key: verdict(found, kind.key) for kind in CHECKS} == {kind.key: "pass" for kind in CHECKS}
    assert overall(found) == "pass"
    assert found.unseen_share[0] == 0.0
    assert (found.proposal.rated_a[0], found.proposal.actuating_a[0], found.proposal.counts[0]) == (50.0, 80.0, 3.0)


def test_continuous_rating():
    """200 A is the largest rating. In: 1.25·160 A = 200 A. Out: 1.25·160.1 A = 200.125 A."""
    inside, outside = (checks_of({"peak_load_a": a}) for a in (160.0, 160.1))
    assert verdict(inside, "continuous_rating") == "pass"
    assert inside.proposal.rated_a[0] == 200.0
    assert verdict(outside, "continuous_rating") == "fail"
    assert np.isnan(outside.proposal.rated_a[0])
    check = outside.check("continuous_rating")
    assert (check.value[0], check.limit[0], check.margin[0]) == pytest.approx((200.125, 200.0, 200.0 / 200.125))


def test_cold_load_of_a_sectionalizer_that_states_its_rating():
    """50 A actuates at 80 A. In: 2·40 A = 80 A. Out: 2·40.1 A = 80.2 A, though 1·40.1 A is within 50 A."""
    stated = {"device": "sectionalizer", "rated_current_a": 50.0}
    inside, outside = (checks_of(stated | {"peak_load_a": a}, load_margin=1.0) for a in (40.0, 40.1))
    assert verdict(inside, "cold_load") == "pass"
    assert verdict(outside, "cold_load") == "fail"
    assert verdict(outside, "continuous_rating") == "pass"
    assert outside.check("cold_load").value[0] == pytest.approx(80.2)


def test_sees_faults():
    """Actuating current 80 A, with the margin 1.25·80 A = 100 A.

    In: 100 A at the end. Within the margin: 99 A, every bolted fault is seen: review. Out:
    50 A; from 400 A to 50 A 80 A is reached at x = (1/80 − 1/400)/(1/50 − 1/400) =
    0.01/0.0175 = 4/7, so 3/7 of the faults are not seen.
    """
    inside, near, outside = (checks_of({"fault_current_end_a": a}) for a in (100.0, 99.0, 50.0))
    assert [verdict(c, "sees_faults") for c in (inside, near, outside)] == ["pass", "review", "fail"]
    assert [c.unseen_share[0] for c in (inside, near, outside)] == pytest.approx([0.0, 0.0, 3.0 / 7.0])
    assert "less than the margin" in near.check("sees_faults").reason[0]


def test_sees_faults_of_a_sub_lateral_down_to_its_own_fuse():
    """80 A is not seen down the solid tap of 1 km (90 A to 60 A), and need not be beyond the fuse.

    On the solid tap 80 A is at x = (1/80 − 1/90)/(1/60 − 1/90) = 0.25: 0.75 km unseen of the
    2 km of the head and 1 km of the tap, 0.25 of the faults.
    """
    tap = {"fault_current_source_a": 90.0, "fault_current_end_a": 60.0}
    solid = checks_of(below=[{"section_id": "solid"} | tap])
    fused = checks_of(below=[{"section_id": "fused", "device": "fuse"} | tap])
    beyond = checks_of(below=[{"section_id": "fused", "device": "fuse", "fault_current_source_a": 150.0,
                               "fault_current_end_a": 110.0}, {"section_id": "end", "parent_id": "fused"} | tap])
    assert verdict(solid, "sees_faults") == "fail"
    assert solid.unseen_share[0] == pytest.approx(0.25)
    assert [verdict(c, "sees_faults") for c in (fused, beyond)] == ["pass", "pass"]
    assert [c.unseen_share[0] for c in (fused, beyond)] == [0.0, 0.0]


def test_minimum_trip():
    """Actuating current 80 A. In: 0.8·100 A = 80 A. Out: 0.8·99 A = 79.2 A."""
    inside, outside = (checks_of(backup={"minimum_trip_a": a}) for a in (100.0, 99.0))
    assert [verdict(c, "minimum_trip") for c in (inside, outside)] == ["pass", "fail"]
    assert outside.check("minimum_trip").limit[0] == pytest.approx(79.2)


def test_counts_below_lockout():
    """Three counts asked for. In: 4 operations − 1 = 3. Out: 3 operations − 1 = 2."""
    three = Scenario("Three", None, "sectionalizer", 3)
    inside, outside = (checks_of(backup={"operations_to_lockout": m}, scenario=three) for m in (4.0, 3.0))
    assert [verdict(c, "below_lockout") for c in (inside, outside)] == ["pass", "fail"]
    assert outside.check("below_lockout").limit[0] == 2.0


@pytest.mark.parametrize(("lockout", "counts"), [(2.0, 1.0), (3.0, 2.0), (4.0, 3.0), (5.0, 3.0), (10.0, 3.0)])
def test_the_largest_admissible_count_is_proposed(lockout, counts):
    """Operations to lockout − 1, and at most 3."""
    found = checks_of(backup={"operations_to_lockout": lockout, "fast_operations": 0.0})
    assert found.proposal.counts[0] == counts
    assert verdict(found, "below_lockout") == "pass"


def test_a_backup_that_never_recloses_admits_no_counts():
    """1 operation − 1 = 0 counts: below the least setting."""
    found = checks_of(backup={"operations_to_lockout": 1.0, "fast_operations": 0.0})
    assert np.isnan(found.proposal.counts[0])
    assert verdict(found, "below_lockout") == "fail"


def test_series_counts():
    """Three counts at the head. In: 2 + 1 = 3 asked by the one below. Out: 3 + 1 = 4."""
    inside, outside = (checks_of(below=[{"section_id": "sub", "device": "sectionalizer", "counts": c}])
                       for c in (2.0, 3.0))
    assert [verdict(c, "series_counts") for c in (inside, outside)] == ["pass", "review"]


def test_a_sectionalizer_beyond_a_recloser_in_the_lateral_counts_for_that_one():
    """In series only where both count the same openings."""
    rows = [{"section_id": "r", "device": "lateral_recloser"},
            {"section_id": "s", "parent_id": "r", "device": "sectionalizer", "counts": 3.0}]
    assert verdict(checks_of(below=rows), "series_counts") == "pass"
    assert checks_of(below=rows).proposal.counts_below[0] == 0.0


def test_a_recloser_at_the_head_gives_way():
    """Its place taken by a sectionalizer, the one below counts for the backup too: 3 + 1 = 4 > 3."""
    found = checks_of({"device": "lateral_recloser", "fuse_link": ""},
                      below=[{"section_id": "s", "device": "sectionalizer", "counts": 3.0}])
    assert verdict(found, "series_counts") == "review"


def test_fuses_below():
    """Two fast operations, so 2 + 1 = 3 counts let a fuse below melt. In: 3. Out: 2. No fuse: nothing to race."""
    fused = [{"section_id": "sub", "device": "fuse"}]
    three, two = (Scenario("S", None, "sectionalizer", c) for c in (3, 2))
    assert verdict(checks_of(below=fused, scenario=three), "fuses_below") == "pass"
    assert verdict(checks_of(below=fused, scenario=two), "fuses_below") == "review"
    assert verdict(checks_of(scenario=two), "fuses_below") == "pass"
    blocked = Scenario("S", None, "sectionalizer", 2, fast_operations=0)
    assert verdict(checks_of(below=fused, scenario=blocked), "fuses_below") == "pass"


def test_dead_time():
    """Recognition 0.1 s + drop-out 0.2 s = 0.3 s. In: 0.3 s. Out: 0.29 s, where the first dead time is the one in
    which it opens (one count), or the longest one is no longer."""
    once = Scenario("Once", None, "sectionalizer", 1)
    inside, outside = (checks_of(backup={"dead_time_s": s}, scenario=once) for s in (0.3, 0.29))
    assert [verdict(c, "dead_time") for c in (inside, outside)] == ["pass", "fail"]
    none_longer = {"dead_time_s": 0.29, "longest_dead_time_s": 0.29}
    assert verdict(checks_of(backup=none_longer), "dead_time") == "fail"


def test_a_first_dead_time_that_is_counted_but_too_short_to_open_in():
    """Three counts. 0.1 s is recognised and a later dead time of 0.3 s may do: review. 0.09 s is not recognised."""
    def of(first: float, longest: float) -> str:
        return verdict(checks_of(backup={"dead_time_s": first, "longest_dead_time_s": longest}), "dead_time")

    assert [of(0.1, 0.3), of(0.1, 0.29), of(0.09, 0.3)] == ["review", "fail", "fail"]


def test_sequence():
    """Four operations, two fast: dead times 0.5 + 5 + 5 s, then one fast and two delayed clearings after
    the first opening, 0.075 + 1 + 1 s: 12.575 s. In: a memory of 12.575 s. Near: 12.57 s, for three counts
    are reached at the third opening, after 0.5 + 5 + 0.075 + 1 = 6.575 s. Out: 6.57 s."""
    inside, near, last, outside = (checks_of(memory_s=s) for s in (12.575, 12.57, 6.575, 6.57))
    assert [verdict(c, "sequence") for c in (inside, near, last, outside)] == ["pass", "review", "review", "fail"]
    assert inside.check("sequence").value[0] == pytest.approx(12.575, rel=1e-14)


def test_sequence_of_two_operations_and_of_a_slow_first_dead_time():
    """Two operations, none fast: 0.5 + 1 = 1.5 s. Three with a first dead time of 8 s, which the
    others then have too: 8 + 8 + 2·1 = 18 s."""
    two = checks_of(backup={"operations_to_lockout": 2.0, "fast_operations": 0.0})
    three = checks_of(backup={"operations_to_lockout": 3.0, "fast_operations": 0.0, "dead_time_s": 8.0})
    assert two.check("sequence").value[0] == pytest.approx(1.5)
    assert three.check("sequence").value[0] == pytest.approx(18.0)


def test_the_longest_dead_time_of_the_device_goes_before_the_study_s():
    """0.5 + 2·15 + 0.075 + 2·1 = 32.575 s where the device states 15 s, whatever the assumption; 0.5 + 2·0.5 +
    2.075 = 3.575 s where it states 0.5 s."""
    def value(longest: float, assumed: float) -> float:
        found = checks_of(backup={"longest_dead_time_s": longest}, longest_dead_time_s=assumed)
        return float(found.check("sequence").value[0])

    assert [value(15.0, 5.0), value(0.5, 5.0), value(NAN, 5.0)] == pytest.approx([32.575, 3.575, 12.575])
    assert verdict(checks_of(backup={"longest_dead_time_s": 30.0}), "sequence") == "fail"


def test_backfeed():
    """One phase of 12.47/√3 = 7.2 kV: 0.3 A is 2.16 kVA. In: 1 kW + 1.15 kvar = 2.15 kVA, 0.2986 A.
    Out: 1 kW + 1.17 kvar = 2.17 kVA, 0.3014 A."""
    inside, outside = (checks_of({"generation_kw": 1.0}, below=[{"section_id": "sub", "capacitor_kvar": q}])
                       for q in (1.15, 1.17))
    assert [verdict(c, "backfeed") for c in (inside, outside)] == ["pass", "review"]
    assert inside.check("backfeed").value[0] == pytest.approx(0.2986, abs=5e-5)
    assert outside.check("backfeed").value[0] == pytest.approx(0.3014, abs=5e-5)


def test_backfeed_over_three_phases():
    """6.47 kVA over three phases of 12.47 kV: 6.47/(√3·12.47) = 0.29955 A. 6.49 kVA: 0.30048 A."""
    inside, outside = (checks_of({"phases": 3.0, "generation_kw": p}) for p in (6.47, 6.49))
    assert [verdict(c, "backfeed") for c in (inside, outside)] == ["pass", "review"]


def test_insulation():
    """The device has 110 kV. In: 110 kV asked. Out: 125 kV asked."""
    inside, outside = (checks_of({"bil_kv": kv}) for kv in (110.0, 125.0))
    assert [verdict(c, "insulation") for c in (inside, outside)] == ["pass", "fail"]


def test_insulation_of_a_higher_voltage_is_not_the_study_s():
    """34.5 kV in a study of 12.47 kV without a level of its own; with 12.47 kV the study's 95 kV holds."""
    assert verdict(checks_of({"system_kv": 34.5}), "insulation") == "unknown"
    assert verdict(checks_of({"system_kv": 34.5, "bil_kv": 110.0}), "insulation") == "pass"
    assert verdict(checks_of({"system_kv": 12.47}), "insulation") == "pass"


def test_momentary():
    """Withstand 12 500 A. In: 1.6·7812.5 A = 12 500 A. Out: 1.6·7813 A = 12 500.8 A."""
    inside, outside = (checks_of({"fault_current_source_a": a}) for a in (7812.5, 7813.0))
    assert [verdict(c, "momentary") for c in (inside, outside)] == ["pass", "fail"]


def test_short_time():
    """Withstand 6300 A. In: 6300 A at the tap. Out: 6301 A."""
    inside, outside = (checks_of({"fault_current_source_a": a}) for a in (6300.0, 6301.0))
    assert [verdict(c, "short_time") for c in (inside, outside)] == ["pass", "fail"]


def test_existing_fuse_load():
    """A link of 80 A. In: 80 A. Out: 80.1 A."""
    inside, outside = (checks_of({"peak_load_a": a}) for a in (80.0, 80.1))
    assert [verdict(c, "fuse_load") for c in (inside, outside)] == ["pass", "review"]


def test_existing_fuse_saving():
    """Fast clearing 0.075 s = 0.75·0.1 s: 80K melts in 0.1 s at 1180 A. In: 1179 A at the tap. Out: 1181 A."""
    inside, outside = (checks_of({"fault_current_source_a": a}) for a in (1179.0, 1181.0))
    assert [verdict(c, "fuse_saving") for c in (inside, outside)] == ["pass", "review"]
    assert inside.ceiling_a[0] == pytest.approx(1180.0)
    blocked = checks_of({"fault_current_source_a": 1181.0}, backup={"fast_operations": 0.0})
    assert verdict(blocked, "fuse_saving") == "pass"


def test_existing_fuse_coordination():
    """Pickup 2·20 A = 40 A asks for 40K. At 0.075 s 40K saves to 565 A, 65K to 918 A.

    In: 40K at 564 A. Out: 65K there, larger than asked; 40K at 566 A, where 65K is asked.
    """
    def of(link: str, tap: float, load: float = 20.0, **backup: float) -> str:
        return verdict(checks_of({"fuse_link": link, "peak_load_a": load, "fault_current_source_a": tap}, backup),
                       "fuse_coordination")

    assert [of("40K", 564.0), of("65K", 564.0), of("40K", 566.0), of("65K", 566.0)] == [
        "pass", "review", "review", "pass"]
    # 2·20.1 A = 40.2 A is above 40 A
    assert [of("40K", 564.0, 20.1), of("65K", 564.0, 20.1)] == ["review", "pass"]
    # 40T melts in 0.1 s at 1040 A: among links of type T 40 A does to 1039 A
    assert [of("40T", 1039.0), of("40T", 1041.0)] == ["pass", "review"]
    # intermediate links among themselves: 50K stands 40 A and saves to 719 A, 30K does not stand it
    assert [of("50K", 718.0), of("50K", 720.0), of("30K", 300.0)] == ["pass", "review", "review"]
    # nothing to save where fast tripping is blocked: pickup alone asks, and a larger link is as good
    assert [of(link, 6000.0, fast_operations=0.0) for link in ("25K", "40K", "65K")] == ["review", "pass", "pass"]


def test_existing_fuse_that_no_link_can_replace():
    """200K saves to 3880 A at 0.075 s; at 4000 A no link of type K is saved."""
    found = checks_of({"fault_current_source_a": 4000.0})
    assert verdict(found, "fuse_coordination") == "review"
    assert "no link" in found.check("fuse_coordination").reason[0]


def test_the_existing_fuse_does_not_decide():
    """A wrong link speaks for a conversion, not against it."""
    found = checks_of({"fuse_link": "6K"})
    assert [verdict(found, k) for k in ("fuse_load", "fuse_coordination")] == ["review", "review"]
    assert overall(found) == "pass"


def test_a_lateral_without_a_fuse_has_nothing_to_say_of_one():
    found = checks_of({"device": "sectionalizer", "fuse_link": "6K"})
    for key in ("fuse_load", "fuse_saving", "fuse_coordination"):
        assert verdict(found, key) == "pass"
        assert np.isnan(found.check(key).margin[0])


def settings_rows(*rows: tuple[str, str, float, float], curve: str = "definite") -> pd.DataFrame:
    """Rows of settings.csv: element, operation, pickup (A), dial."""
    return pd.DataFrame([{"section_id": "backup", "element": element, "operation": operation, "pickup_a": pickup,
                          "curve": curve, "time_dial": dial, "added_time_s": 0.0}
                         for element, operation, pickup, dial in rows])


def test_the_backup_trips_on_every_fault_beyond():
    """The smallest current is 200 A. A minimum trip of 200 A trips on it; a pickup of 200 A does not (model §8)."""
    stated = [checks_of(backup={"minimum_trip_a": a}) for a in (200.0, 201.0, NAN)]
    assert [verdict(c, "backup_trips") for c in stated] == ["pass", "fail", "unknown"]
    assert overall(stated[1]) == "fail"
    assert verdict(checks_of({"fault_current_end_a": NAN}), "backup_trips") == "unknown"
    settings = [checks_of(settings=settings_rows(("phase", "delayed", a, 0.3))) for a in (199.0, 200.0, 1200.0)]
    assert [verdict(c, "backup_trips") for c in settings] == ["pass", "fail", "fail"]


def test_openings_after_the_fast_ones_are_by_delayed_elements():
    """Fast elements pick up at 150 A, delayed ones at 300 A. With two fast operations two counts are reached."""
    settings = settings_rows(("phase", "fast", 150.0, 0.05), ("ground", "delayed", 300.0, 0.5))
    three = checks_of(settings=settings)
    assert three.check("backup_trips").limit[0] == 300.0
    assert verdict(three, "backup_trips") == "fail"
    two = checks_of(settings=settings, scenario=Scenario("two", None, "sectionalizer", 2))
    assert two.check("backup_trips").limit[0] == 150.0
    assert verdict(two, "backup_trips") == "pass"


def test_the_sequence_takes_the_backup_s_own_clearing_times():
    """Four operations, two fast: 0.5 + 2·5 s of dead times, one fast clearing, two delayed ones. A delayed element is
    the slowest at the smallest current, 200 A: very inverse, pickup 100 A, u = 2, 7.028 s at dial 1."""
    settings = pd.concat([settings_rows(("phase", "fast", 100.0, 0.2)), settings_rows(
        ("phase", "delayed", 100.0, 1.0), curve="ieee_very_inverse")])
    found = checks_of(settings=settings)
    assert found.check("sequence").value[0] == pytest.approx(10.5 + 0.2 + 2 * 7.028, abs=2e-3)
    assert verdict(found, "sequence") == "pass"             # 24.76 s of 25 s
    assert verdict(checks_of(settings=settings, memory_s=24.0), "sequence") == "review"
    never = checks_of(settings=settings_rows(("phase", "fast", 100.0, 0.2), ("phase", "delayed", 250.0, 0.2)))
    assert verdict(never, "sequence") == "fail"
    assert np.isinf(never.check("sequence").value[0])


def test_a_mixed_scenario_is_judged_with_the_counts_of_each_lateral():
    mixed = Scenario("mixed", {"tap": Conversion("sectionalizer", 1)})
    found = checks_of(scenario=mixed, below=[{"section_id": "branch", "device": "fuse"}])
    assert found.proposal.counts.tolist() == [1.0]
    assert verdict(found, "fuses_below") == "review"        # within the two fast operations


@pytest.mark.parametrize(("link", "delayed", "wanted"), [("100K", 0.2, "review"), ("100K", 60.0, "pass"),
                                                         ("", 0.2, "pass")])
def test_fuses_below_by_the_curves_of_the_delayed_operation(link, delayed, wanted):
    """Between 900 and 1200 A a link 100K melts in more than 0.2 s and in far less than 60 s; of a link that is not
    known the rule without curves holds."""
    settings = settings_rows(("phase", "fast", 150.0, 0.05), ("phase", "delayed", 150.0, delayed))
    found = checks_of({"fault_current_source_a": 6000.0, "fault_current_end_a": 5000.0}, settings=settings, below=[
        {"section_id": "branch", "device": "fuse", "fuse_link": link, "fault_current_source_a": 1200.0,
         "fault_current_end_a": 900.0}])
    assert verdict(found, "fuses_below") == wanted
