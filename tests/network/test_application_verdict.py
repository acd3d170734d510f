"""What the application checks come to: gaps in the inputs, the verdict, and what it settles elsewhere."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.network.application import LARGER, NO_LINK, SMALLER, check_laterals, wrong_links, wrong_links_said
from reliability.schema.columns import SETTINGS
from reliability.schema.scenarios import Scenario
from tests.network.laterals import ALL, BACKUP, LATERAL, VALUES, checks_of, overall, verdict
from tests.networks import study_of

NAN = np.nan
MISSING = [
    ("continuous_rating", {"peak_load_a": NAN}, {}), ("cold_load", {"peak_load_a": NAN}, {}),
    ("sees_faults", {"peak_load_a": NAN}, {}), ("sees_faults", {"fault_current_end_a": NAN}, {}),
    ("sees_faults", {"fault_current_source_a": NAN}, {}),
    ("minimum_trip", {}, {"minimum_trip_a": NAN}), ("minimum_trip", {"peak_load_a": NAN}, {}),
    ("dead_time", {}, {"dead_time_s": NAN}), ("sequence", {}, {"dead_time_s": NAN}),
    ("backfeed", {"generation_kw": NAN}, {}), ("backfeed", {"capacitor_kvar": NAN}, {}),
    ("momentary", {"fault_current_source_a": NAN}, {}), ("short_time", {"fault_current_source_a": NAN}, {}),
    ("fuse_load", {"fuse_link": ""}, {}), ("fuse_load", {"peak_load_a": NAN}, {}),
    ("fuse_saving", {"fuse_link": ""}, {}), ("fuse_saving", {"fault_current_source_a": NAN}, {}),
    ("fuse_coordination", {"fuse_link": ""}, {}), ("fuse_coordination", {"peak_load_a": NAN}, {}),
    ("fuse_coordination", {"fault_current_source_a": NAN}, {}),
]


@pytest.mark.parametrize(("key", "tap", "backup"), MISSING)
def test_a_missing_input_is_unknown_never_a_pass(key, tap, backup):
    found = checks_of(tap, backup)
    assert verdict(found, key) == "unknown"
    if not key.startswith("fuse_"):
        assert overall(found) == "unknown"


def test_a_gap_does_not_hide_what_is_already_out():
    """One solid tap sees 50 A, the other gives no currents; 3 kW below, capacitors not stated."""
    found = checks_of(below=[{"section_id": "weak", "fault_current_source_a": 100.0, "fault_current_end_a": 50.0},
                             {"section_id": "blank"}])
    assert verdict(found, "sees_faults") == "fail"
    assert found.unseen_share[0] > 0.0
    assert verdict(checks_of({"generation_kw": 3.0, "capacitor_kvar": NAN}), "backfeed") == "review"


def test_a_gap_hides_whether_a_small_margin_is_all():
    """99 A is in the margin; the tap without currents may be below the actuating current."""
    found = checks_of({"fault_current_end_a": 99.0}, below=[{"section_id": "blank"}])
    assert verdict(found, "sees_faults") == "unknown"
    assert np.isnan(found.unseen_share[0])


def test_the_gravest_check_is_the_verdict():
    """Fail over unknown over review over pass."""
    review, unknown, fail = {"generation_kw": 50.0}, {"dead_time_s": NAN}, {"minimum_trip_a": 50.0}
    assert overall(checks_of(review)) == "review"
    assert overall(checks_of(review, unknown)) == "unknown"
    assert overall(checks_of(review, unknown | fail)) == "fail"


def test_what_fails_is_not_applicable():
    """Unknown and review are left to the reader; counts that the backup does not admit are not."""
    def applicable(checks) -> list[bool]:
        return checks.applicable.tolist()

    assert applicable(checks_of()) == [True]
    assert applicable(checks_of({"generation_kw": 50.0}, {"dead_time_s": NAN})) == [True]
    assert applicable(checks_of(backup={"minimum_trip_a": 50.0})) == [False]
    # two operations admit one count, to which the scenario's two are lowered, not those that stand there
    two = {"operations_to_lockout": 2.0, "fast_operations": 0.0}
    assert applicable(checks_of(backup=two, sectionalizer_counts=2)) == [True]
    stands = {"device": "sectionalizer"}
    assert applicable(checks_of(stands, two, sectionalizer_counts=2)) == [False]
    assert applicable(checks_of(stands, two, sectionalizer_counts=1)) == [True]
    assert applicable(checks_of(backup=two | {"operations_to_lockout": 1.0})) == [False]
    recloser = Scenario("R", None, "lateral_recloser", applicable_only=True)
    assert applicable(checks_of(backup={"minimum_trip_a": 50.0}, scenario=recloser)) == [True]
    assert applicable(checks_of(backup={"minimum_trip_a": 50.0}, scenario=ALL)) == [False]


def test_the_counts_of_a_sectionalizer_that_stands_there_are_checked():
    """Stated 3 against 3 operations − 1; a scenario's own counts take their place."""
    stated = {"device": "sectionalizer", "counts": 3.0}
    backup = {"operations_to_lockout": 3.0}
    assert verdict(checks_of(stated, backup), "below_lockout") == "fail"
    two = Scenario("S", None, "sectionalizer", 2)
    assert verdict(checks_of(stated, backup, scenario=two), "below_lockout") == "pass"


# --- wrong links -------------------------------------------------------------------------


def test_wrong_links_are_counted_and_named():
    """Pickup 40 A and 300 A at the tap ask for 40K; 20 A load. 65K is larger, 25K smaller, at 4000 A none is saved."""
    rows = [BACKUP, *(LATERAL | {"section_id": name, "peak_load_a": 20.0, "fault_current_source_a": tap,
                                 "fuse_link": link} for name, link, tap in
                      (("right", "40K", 300.0), ("large", "65K", 300.0), ("small", "25K", 300.0),
                       ("none", "40K", 4000.0), ("blank", "", 300.0))),
            LATERAL | {"section_id": "counts", "device": "sectionalizer"}]
    study = study_of(rows, **VALUES | {"wrong_link_share": 0.05})
    found = check_laterals(study.model, ALL)
    links = wrong_links(found).set_index("lateral_id")
    assert links["finding"].to_dict() == {"large": LARGER, "small": SMALLER, "none": NO_LINK}
    assert links["asked_a"].tolist() == pytest.approx([40.0, 40.0, NAN], nan_ok=True)
    assert links["rating_a"].tolist() == [65.0, 25.0, 40.0]
    said = wrong_links_said(found)
    assert said.startswith("3 of 4 fuses")
    assert "assumes 5.0 % of all fuses" in said.replace("\u202f", " ").replace("\xa0", " ")
    assert len(wrong_links(checks_of({"device": "sectionalizer"}))) == 0


def test_the_existing_fuse_is_judged_by_the_settings_of_its_backup():
    """80K melts in 0.1 s at 1180 A, of which 0.75 may be used: a fast operation of 0.075 s saves it, one of 0.076 does
    not, whatever fast clearing time the study assumes. Pickup alone, 40 A, then asks for a larger link."""
    def of(time: float, link: str = "80K", pickup: float = 200.0):
        settings = pd.DataFrame([("backup", "phase", kind, pickup, "definite", t, 0.0)
                                 for kind, t in (("fast", time), ("delayed", 5.0))],
                                columns=[c.name for c in SETTINGS])
        tap = {"fault_current_source_a": 1180.0, "fuse_link": link, "peak_load_a": 20.0}
        return checks_of(tap, settings=settings, fast_clearing_time_s=9.0)

    assert [verdict(of(t), "fuse_saving") for t in (0.0749, 0.076)] == ["pass", "review"]
    assert [verdict(of(t), "fuse_coordination") for t in (0.0749, 0.076)] == ["pass", "review"]
    assert of(0.0749).check("fuse_coordination").limit[0] == 80.0
    assert of(0.001).check("fuse_coordination").limit[0] == 50.0
    assert np.isnan(of(0.0749).ceiling_a[0])
    # without a link the rule without settings holds, and knows no ceiling either
    assert verdict(of(0.0749, link=""), "fuse_saving") == "unknown"
    # an operation that does not pick up saves no fuse
    assert verdict(of(0.0749, pickup=1200.0), "fuse_saving") == "review"
