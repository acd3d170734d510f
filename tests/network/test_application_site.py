"""What stands around the device, and settings of its backup: each check just in, just out, and with its input missing.

The lateral that is changed cell by cell, and the assumptions, are in tests/network/laterals.py.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.network.application import check_laterals
from reliability.network.model import Model
from reliability.network.tree import build_network
from reliability.schema.columns import SETTINGS
from reliability.schema.scenarios import Scenario
from tests.network.laterals import ALL, BACKUP, LATERAL, VALUES, checks_of, overall, verdict
from tests.networks import study_of

NAN = np.nan


def settings_of(*rows: tuple[str, str, float], device: str = "backup") -> pd.DataFrame:
    """Rows of (element, operation, pickup) of one device."""
    names = [c.name for c in SETTINGS]
    return pd.DataFrame([(device, element, operation, pickup, "definite", 0.1, 0.0)
                         for element, operation, pickup in rows], columns=names)


def reason(checks, key: str) -> str:
    return checks.check(key).reason[0]


# --- the backup's settings ---------------------------------------------------------------


def test_the_least_pickup_of_phase_and_ground_is_the_minimum_trip():
    """Actuating current 80 A. In: a ground pickup of 100 A, 0.8·100 A = 80 A. Out: 99 A.

    What the section states does not matter then.
    """
    def of(ground: float, stated: float = NAN, operation: str = "delayed"):
        settings = settings_of(("phase", "fast", 560.0), ("phase", "delayed", 400.0), ("ground", operation, ground))
        return checks_of(backup={"minimum_trip_a": stated}, settings=settings)

    assert [verdict(of(a), "minimum_trip") for a in (100.0, 99.0)] == ["pass", "fail"]
    assert [verdict(of(a, operation="fast"), "minimum_trip") for a in (100.0, 99.0)] == ["pass", "fail"]
    assert [verdict(of(a, stated), "minimum_trip") for a, stated in ((100.0, 50.0), (99.0, 600.0))] == ["pass", "fail"]
    assert of(99.0).check("minimum_trip").limit[0] == pytest.approx(79.2)
    assert of(99.0).proposal.minimum_trip_a[0] == 99.0


def test_the_minimum_trip_counts_for_a_device_without_rows():
    other = settings_of(("phase", "fast", 10.0), device="another")
    assert verdict(checks_of(settings=other), "minimum_trip") == "pass"
    assert verdict(checks_of(backup={"minimum_trip_a": NAN}, settings=other), "minimum_trip") == "unknown"


def test_fault_currents_are_those_stated_times_the_factor():
    """400 A to 200 A; half of it is 200 A to 100 A = 1.25·80 A. In: 0.5. Near: 0.49, 98 A. Out: 0.39, 78 A."""
    assert [verdict(checks_of(fault_current_factor=f), "sees_faults") for f in (0.5, 0.49, 0.39)] == [
        "pass", "review", "fail"]
    # 1.6·400 A·19.53 = 12 499 A, 1.6·400 A·19.54 = 12 506 A; 400 A·15.75 = 6300 A; 80K saves to 1180 A = 2.95·400 A
    assert [verdict(checks_of(fault_current_factor=f), "momentary") for f in (19.53, 19.54)] == ["pass", "fail"]
    assert [verdict(checks_of(fault_current_factor=f), "short_time") for f in (15.75, 15.76)] == ["pass", "fail"]
    assert [verdict(checks_of(fault_current_factor=f), "fuse_saving") for f in (2.94, 2.96)] == ["pass", "review"]


# --- inrush ------------------------------------------------------------------------------


def test_inrush():
    """Actuating current 80 A. 10 × √3·57.5 kVA/12.47 kV = 79.87 A; of 57.7 kVA 80.14 A."""
    inside, outside = (checks_of({"connected_kva": kva}, inrush_restraint="no") for kva in (57.5, 57.7))
    assert [verdict(c, "inrush") for c in (inside, outside)] == ["pass", "fail"]
    assert inside.check("inrush").value[0] == pytest.approx(79.866, abs=1e-3)
    assert "healthy lateral" in reason(outside, "inrush")
    assert not outside.applicable[0]


def test_inrush_is_a_matter_of_the_restraint():
    """Above the actuating current: held through, not held through, and not known."""
    found = [checks_of({"connected_kva": 200.0}, inrush_restraint=r) for r in ("yes", "no", "")]
    assert [verdict(c, "inrush") for c in found] == ["pass", "fail", "review"]
    assert [bool(c.applicable[0]) for c in found] == [True, False, True]
    assert "data sheet" in reason(found[2], "inrush")


def test_inrush_of_sections_below_of_phases_and_of_voltages():
    """√3·90 kVA/(3·12.47 kV) = 4.167 A, tenfold 41.67 A, though 30 of it stand in a branch; at 24.94 kV half of it.

    On two phases √3·90/(2·12.47) = 6.250 A.
    """
    def value(phases: float, **head: float) -> float:
        found = checks_of({"phases": phases, "connected_kva": 60.0} | head,
                          below=[{"section_id": "sub", "device": "fuse", "connected_kva": 30.0}])
        return float(found.check("inrush").value[0])

    assert [value(3.0), value(2.0), value(3.0, system_kv=24.94)] == pytest.approx([41.670, 62.504, 20.835], abs=1e-3)
    halved = checks_of(inrush_multiple=5.0).check("inrush").value[0]
    assert halved == pytest.approx(checks_of().check("inrush").value[0] / 2)


@pytest.mark.parametrize("restraint", ["yes", "no", ""])
def test_transformers_not_known_are_never_a_pass(restraint):
    served = {"section_id": "sub", "customers": 3.0}
    blank = {"connected_kva": NAN}
    for found in (checks_of(blank, inrush_restraint=restraint),
                  checks_of(below=[served], inrush_restraint=restraint),
                  checks_of({"peak_load_a": NAN}, inrush_restraint=restraint)):
        assert verdict(found, "inrush") == "unknown"
        assert overall(found) == "unknown"
    # a section that serves nobody has no transformer to state
    assert verdict(checks_of(below=[{"section_id": "sub"}], inrush_restraint=restraint), "inrush") == "pass"


def test_a_gap_does_not_hide_inrush_that_is_out_already():
    served = [{"section_id": "sub", "customers": 3.0}]
    found = [verdict(checks_of({"connected_kva": 200.0}, below=served, inrush_restraint=r), "inrush")
             for r in ("yes", "no", "")]
    assert found == ["unknown", "fail", "review"]


# --- three-phase customers ---------------------------------------------------------------


def test_three_phase_customers_below_a_device_that_opens_by_phase():
    three = {"phases": 3.0, "customers": 9.0}
    none, some = (checks_of(three | {"customers_three_phase": k}) for k in (0.0, 2.0))
    assert [verdict(c, "three_phase_customers") for c in (none, some)] == ["pass", "review"]
    assert some.check("three_phase_customers").value[0] == 2.0
    deeper = checks_of(three, below=[{"section_id": "sub", "phases": 3.0, "customers": 4.0,
                                      "customers_three_phase": 4.0}])
    assert (verdict(deeper, "three_phase_customers"), deeper.check("three_phase_customers").value[0]) == ("review", 4.0)


def test_a_sectionalizer_that_opens_all_phases_takes_three_phase_customers():
    stands = {"device": "sectionalizer", "phases": 3.0, "customers": 9.0, "customers_three_phase": 2.0}
    found = [checks_of(stands | {"tripping": t}) for t in ("three_phase", "single_phase")]
    assert [verdict(c, "three_phase_customers") for c in found] == ["pass", "review"]
    # of a fuse that gives way nothing stays
    assert verdict(checks_of(stands | {"device": "fuse"}), "three_phase_customers") == "review"


def test_a_lateral_that_states_no_three_phase_customers_is_not_known_to_have_none():
    def of(**tap: float) -> str:
        study = study_of([BACKUP, LATERAL | {"phases": 3.0, "customers": 9.0} | tap], **VALUES)
        frame = study.sections.assign(customers_three_phase=NAN)
        found = check_laterals(Model(build_network(frame), study.values), ALL)
        return verdict(found, "three_phase_customers")

    assert [of(), of(phases=1.0), of(customers=0.0)] == ["unknown", "pass", "pass"]


# --- cable -------------------------------------------------------------------------------


def test_a_lateral_underground():
    """The head has 2 km. In: 2 of 4 km. Out: 2.1 of 4.1 km. An overhead one says nothing of cable."""
    def of(km: float):
        return checks_of(below=[{"section_id": "sub", "length_km": km, "construction": "underground"}])

    inside, outside = of(2.0), of(2.1)
    assert [verdict(c, "underground") for c in (inside, outside, checks_of())] == ["pass", "review", "pass"]
    assert outside.check("underground").value[0] == pytest.approx(2.1 / 4.1)
    assert "part of the lateral is underground" in reason(inside, "underground")
    assert "part" not in reason(checks_of(), "underground")
    assert verdict(checks_of(below=[{"section_id": "sub", "length_km": 2.0, "construction": "underground"}],
                             underground_share=0.4), "underground") == "review"


def test_a_head_underground_fails_whatever_its_share():
    for length in (2.0, 0.0):
        found = checks_of({"construction": "underground", "length_km": length}, below=[{"section_id": "overhead"}])
        assert verdict(found, "underground") == "fail"
        assert not found.applicable[0]
    assert verdict(checks_of({"construction": "overhead"}), "underground") == "pass"


# --- ties --------------------------------------------------------------------------------


def tied(tie: dict[str, object], at: str = "main", **other: object):
    """The lateral, with three counts, whose zone has a tie to another source of four operations."""
    rows = [BACKUP, LATERAL, {"section_id": "main", "parent_id": "backup", "length_km": 1.0},
            {"section_id": "far", "device": "recloser", "operations_to_lockout": 4.0, "fast_operations": 0.0} | other,
            {"section_id": "away", "parent_id": "far", "length_km": 1.0}]
    study = study_of([row | (tie if row["section_id"] == at else {}) for row in rows], **VALUES)
    checks = check_laterals(study.model, ALL)
    assert checks.lateral_ids.tolist() == ["tap"]
    return checks


def test_a_tie_without_a_name_asks_for_review():
    """On the main of the zone, or in the lateral itself; none in another source's zone."""
    for at in ("main", "tap"):
        found = tied({"tie_probability": 0.8}, at)
        assert verdict(found, "ties") == "review"
        assert "that source's device" in reason(found, "ties")
    for found in (tied({}), tied({"tie_probability": 0.0}), tied({"tie_probability": 0.8}, "away")):
        assert verdict(found, "ties") == "pass"
        assert "no tie" in reason(found, "ties")


def test_a_tie_that_names_its_other_side():
    """Three counts. In: four operations behind the tie. Out: three."""
    tie = {"tie_probability": 0.8, "tie_section_id": "away"}
    inside, outside = tied(tie), tied(tie, operations_to_lockout=3.0)
    assert [verdict(c, "ties") for c in (inside, outside)] == ["pass", "review"]
    assert outside.check("ties").limit[0] == 2.0
    assert "locks out first" in reason(outside, "ties")


def test_of_several_ties_the_least_operations_count_and_a_nameless_one_is_not_forgotten():
    def of(lockout: float, name: str) -> str:
        rows = [BACKUP, LATERAL | {"tie_probability": 1.0, "tie_section_id": "far"},
                {"section_id": "main", "parent_id": "backup", "tie_probability": 0.5, "tie_section_id": name},
                {"section_id": "far", "device": "recloser", "operations_to_lockout": lockout, "fast_operations": 0.0},
                {"section_id": "weak", "device": "recloser", "operations_to_lockout": 2.0, "fast_operations": 0.0}]
        study = study_of(rows, **VALUES)
        return reason(check_laterals(study.model, ALL), "ties")

    assert "too" in of(4.0, "far")
    assert "locks out first" in of(4.0, "weak")
    assert "does not name" in of(4.0, "")
    assert "locks out first" in of(3.0, "")


# --- reclosing off -----------------------------------------------------------------------


def test_reclosing_off_is_a_finding_with_its_share():
    """The backup's own share goes before the study's; it does not decide."""
    never, study, own = (checks_of(), checks_of(reclosing_off_share=0.01),
                         checks_of(backup={"reclosing_off_share": 0.02}, reclosing_off_share=0.01))
    assert [verdict(c, "reclosing_off") for c in (never, study, own)] == ["pass", "review", "review"]
    assert [c.check("reclosing_off").value[0] for c in (never, study, own)] == [0.0, 0.01, 0.02]
    assert verdict(checks_of(backup={"reclosing_off_share": 0.0}, reclosing_off_share=0.01), "reclosing_off") == "pass"
    assert [overall(c) for c in (never, study, own)] == ["pass"] * 3
    assert all("no sectionalizer" in reason(c, "reclosing_off") for c in (never, study, own))


def test_counts_of_nested_reclosers_belong_to_their_own_backup():
    """A recloser at the head gives way; one further down keeps the sectionalizer below it for itself."""
    below = [{"section_id": "r", "device": "lateral_recloser"},
             {"section_id": "s", "parent_id": "r", "device": "sectionalizer", "counts": 3.0},
             {"section_id": "f", "parent_id": "r", "device": "fuse"}]
    found = checks_of({"device": "lateral_recloser", "fuse_link": ""}, below=below,
                      scenario=Scenario("S", None, "sectionalizer"))
    assert found.lateral_ids.tolist() == ["tap", "r", "s", "f"]
    assert found.proposal.counts_below.tolist() == [0.0, 3.0, 0.0, 0.0]
    assert found.proposal.fuse_below.tolist() == [False, True, False, False]
