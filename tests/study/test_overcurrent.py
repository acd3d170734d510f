"""Tables of overcurrent settings and of curves by points: read, filled and checked."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.network.curves import points_by_name
from reliability.network.device_settings import device_settings, fast_slower_at_a
from reliability.schema.columns import CURVES, SETTINGS, ColumnRule
from reliability.schema.curves import INVERSE
from reliability.schema.problems import Problem, Problems
from reliability.study import open_study
from reliability.study.headers import ColumnMap, match_headers
from reliability.study.links import bad_links
from reliability.study.overcurrent import (
    fast_slower_notes,
    links_with_curves,
    read_curves,
    read_overcurrent_settings,
    rising_notes,
    settings_notes,
)
from reliability.study.records import TypedColumns
from reliability.study.tables import read_rows

HEAD = "section_id,element,operation,pickup_a,curve,time_dial,added_time_s"
SECTIONS = pd.DataFrame({"section_id": ["main", "mid", "tap", "solid", "lr"],
                         "device": ["breaker", "recloser", "fuse", "", "lateral_recloser"]})
GOOD = "main,phase,fast,400,iec_very_inverse,0.05,0.04"


def settings(*lines: str, head: str = HEAD, names: tuple[str, ...] = (), mapped: ColumnMap | None = None,
             sections: pd.DataFrame | None = SECTIONS) -> tuple[pd.DataFrame, list[Problem]]:
    """The frame and the problems of settings.csv."""
    problems = Problems()
    rows = read_rows("settings.csv", "\n".join((head, *lines)).encode())
    table = match_headers(rows, SETTINGS, "settings", mapped or ColumnMap(), problems)
    return read_overcurrent_settings(table, names, sections, problems), problems.listed


def curves(*lines: str) -> tuple[pd.DataFrame, list[Problem]]:
    """The frame and the problems of curves.csv."""
    problems = Problems()
    rows = read_rows("curves.csv", "\n".join(("curve,current_a,time_s", *lines)).encode())
    return read_curves(match_headers(rows, CURVES, "curves", ColumnMap(), problems), problems), problems.listed


def only(problems: list[Problem]) -> Problem:
    assert len(problems) == 1, [str(p) for p in problems]
    return problems[0]


def test_blanks_are_filled_and_names_are_written_in_one_way():
    frame, problems = settings(GOOD, "lr,Ground,DELAYED,70,IEC Very-Inverse,0.5,", "mid,phase,delayed,300,My  CURVE,,",
                               "mid,phase,fast,300,definite,0.06,0.03", names=("my curve",))
    assert not problems
    assert list(frame) == [c.name for c in SETTINGS]
    assert frame["element"].tolist() == ["phase", "ground", "phase", "phase"]
    assert frame["curve"].tolist() == ["iec_very_inverse", "iec_very_inverse", "my curve", "definite"]
    assert frame["time_dial"].tolist() == [0.05, 0.5, 1.0, 0.06]
    assert frame["added_time_s"].tolist() == [0.04, 0.0, 0.0, 0.03]
    assert frame["pickup_a"].dtype == float


def test_the_users_headers_are_mapped():
    frame, problems = settings("main,phase,fast,400,definite,1", head="Device,element,operation,Trip,curve,time_dial",
                               mapped=ColumnMap({"section_id": "Device", "pickup_a": "Trip"}))
    assert not problems
    assert frame["pickup_a"].tolist() == [400.0]


def test_the_frame_makes_settings_of_devices():
    points, problems = curves("slow,100,9", "slow,1000,1")
    frame, more = settings(GOOD, "main,phase,delayed,400,slow,,0.04", names=tuple(points["curve"].unique()))
    assert not problems + more
    found = device_settings(frame, points_by_name(points))
    assert (len(found), len(found.elements)) == (1, 2)


def test_no_rows_are_no_settings():
    frame, problems = settings()
    assert not problems
    assert len(frame) == 0
    assert settings_notes(frame) == ()


@pytest.mark.parametrize(("line", "column", "rule", "remedy"), [
    ("mian,phase,fast,400,definite,1,", "section_id", "no section has this section_id", "did you mean 'main'?"),
    ("tap,phase,fast,400,definite,1,", "section_id", "the device here (fuse) does not reclose",
     "name a section with a breaker or recloser or lateral recloser, or remove the row"),
    ("solid,phase,fast,400,definite,1,", "section_id", "the device here (none) does not reclose", "remove the row"),
    (",phase,fast,400,definite,1,", "section_id", "a value is required here", "fill in section_id"),
    ("main,earth,fast,400,definite,1,", "element", "unknown element", "write one of phase, ground"),
    ("main,phase,slow,400,definite,1,", "operation", "unknown operation", "write one of fast, delayed"),
    ("main,phase,fast,0,definite,1,", "pickup_a", "must be above 0 and at most 100\u202f000", "pickup_a (A)"),
    ("main,phase,fast,1e6,definite,1,", "pickup_a", "must be above 0 and at most 100\u202f000", "pickup_a (A)"),
    ("main,phase,fast,,definite,1,", "pickup_a", "a value is required here", "fill in pickup_a"),
    ("main,phase,fast,400,definite,0,", "time_dial", "must be above 0 and at most 1\u202f000", "time_dial"),
    ("main,phase,fast,400,definite,1,-1", "added_time_s", "must lie between 0 and 10", "added_time_s (s)"),
    ("main,phase,fast,400,definite,1,50", "added_time_s", "must lie between 0 and 10", "added_time_s (s)"),
    ("main,phase,fast,400,definite,,", "time_dial", "definite needs a time dial", "for definite the time in s"),
    ("main,phase,fast,400,iec_very_invers,1,", "curve", "unknown curve", "did you mean 'iec_very_inverse'?"),
    ("main,phase,fast,400,fst curve,1,", "curve", "unknown curve", "did you mean 'fast curve'?"),
    ("main,phase,fast,400,,1,", "curve", "a value is required here", "fill in curve"),
])
def test_each_rule_of_settings(line, column, rule, remedy):
    frame, problems = settings("mid,phase,fast,400,definite,1,", line, names=("fast curve",))
    found = only(problems)
    assert (found.file, found.row, found.column, found.rule) == ("settings.csv", 3, column, rule)
    assert remedy in found.remedy
    assert frame["section_id"].tolist() == ["mid"]


def test_a_curve_unlike_any_is_answered_by_the_known_ones():
    remedy = only(settings("main,phase,fast,400,xyz,1,")[1]).remedy
    assert all(name in remedy for name in INVERSE)
    assert "add its points" in remedy


def test_rows_given_twice_are_named_with_the_first():
    frame, problems = settings(GOOD, "main,ground,fast,100,definite,1,", "main,phase,FAST,300,definite,1,",
                               "main,phase,fast,300,definite,1,")
    assert [(p.row, p.value) for p in problems] == [(4, "main"), (5, "main")]
    assert problems[0].rule == "its phase element has a row for fast operations already in row 2"
    assert len(frame) == 2


def test_all_problems_are_reported_at_once():
    _, problems = settings("tap,phase,never,-3,what,1,", GOOD, GOOD)
    assert {(p.row, p.column) for p in problems} == {(2, "section_id"), (2, "operation"), (2, "pickup_a"), (2, "curve"),
                                                     (4, "section_id")}


def test_without_sections_their_rules_say_nothing():
    assert not settings("anything,phase,fast,400,definite,1,", sections=None)[1]


def test_a_missing_column_is_reported_once():
    frame, problems = settings("main,phase,fast,400", head="section_id,element,operation,pickup_a")
    assert only(problems).rule == "the required column curve is missing"
    assert len(frame) == 0


def test_curves_are_read_whatever_their_case_and_links_in_one_way():
    frame, problems = curves("Fast A,100,1", "fast  a,200,0.5", "k65 Melting,130,250", "65 K clearing,150,260",
                             "65K MELTING,900,0.1", "65K clearing,1100,0.12")
    assert not problems
    assert frame["curve"].tolist() == ["Fast A", "Fast A", "65K melting", "65K clearing", "65K melting", "65K clearing"]
    assert links_with_curves(frame) == ("65K",)
    assert points_by_name(frame)["65K melting"].current_a.tolist() == [130.0, 900.0]


@pytest.mark.parametrize(("lines", "row", "column", "rule", "remedy"), [
    (("a,100,1",), 2, "curve", "a curve needs two points or more", "add a row a point"),
    (("a,100,1", "a,100,0.5"), 3, "current_a", "the currents of 'a' must rise from row to row", "each current once"),
    (("a,100,1", "a,90,1", "a,200,0.5"), 3, "current_a", "the currents of 'a' must rise from row to row", "in order"),
    (("a,100,1", "a,200,0"), 3, "time_s", "must be above 0 and at most 1\u202f000\u202f000", "time_s (s)"),
    (("a,100,1", "a,-1,1"), 3, "current_a", "must be above 0 and at most 1\u202f000\u202f000", "current_a (A)"),
    (("definite,100,1",), 2, "curve", "this is the name of a built-in curve", "a name of its own"),
    (("IEC very inverse,100,1",), 2, "curve", "this is the name of a built-in curve", "a name of its own"),
    (("65K melting,100,1", "65K melting,200,0.5"), 2, "curve", "a link needs both its curves",
     "add the points of '65K clearing'"),
    (("65K clearing,100,1", "65K clearing,200,0.5"), 2, "curve", "a link needs both its curves",
     "add the points of '65K melting'"),
    (("big melting,100,1", "big melting,200,0.5"), 2, "curve", "not readable as the curve of a fuse link",
     "like 65K melting"),
])
def test_each_rule_of_curves(lines, row, column, rule, remedy):
    found = curves(*lines)[1][0]
    assert (found.file, found.row, found.column, found.rule) == ("curves.csv", row, column, rule)
    assert remedy in found.remedy
    assert len({(p.row, p.column) for p in curves(*lines)[1]}) == (2 if lines[0].startswith("big") else 1)


def test_a_time_that_rises_with_the_current_is_noted():
    frame, problems = curves("flat,100,2", "flat,200,2", "up,100,2", "up,200,3", "up,300,4", "down,50,9", "down,60,1")
    assert not problems
    assert rising_notes(frame, "mine.csv") == (
        "mine.csv: 1 curve with a time that rises with the current (up at 200 A): look at these points.",)
    assert rising_notes(frame[frame["curve"] != "up"]) == ()


@pytest.mark.parametrize(("point", "early"), [("200,0.5", False), ("200,0.49", True), ("141.421356237,0.7", True),
                                              ("90,100", True), ("1000,0.5", False), ("1000,0.4", True)])
def test_a_link_may_not_clear_before_it_melts(point, early):
    """Melting from 1 s at 100 A to 0.5 s at 200 A, √0.5 = 0.707 s half way; never below 100 A."""
    current = float(point.split(",")[0])
    rest = "65K clearing,5000,0.5" if current > 50 else ""
    problems = curves("65K melting,100,1", "65K melting,200,0.5", f"65K clearing,{point}", rest)[1]
    assert [(p.row, p.rule) for p in problems] == ([(4, "65K would clear here before it melts")] if early else [])


def test_a_section_may_hold_a_link_of_which_the_study_has_curves():
    problems = Problems()
    columns = (ColumnRule("section_id", "text"), ColumnRule("fuse_link", "text"))
    rows = read_rows("sections.csv", b"section_id,fuse_link\na,e10\nb,12E\n")
    table = match_headers(rows, columns, "sections", ColumnMap(), problems)
    records = TypedColumns({"fuse_link": np.array(["e10", "12E"], object),
                            "device": np.array(["fuse", "fuse"], object)}, {},
                           (table,))
    bad_links(records, problems, own=("10E",))
    assert records.columns["fuse_link"].tolist() == ["10E", "12E"]
    assert only(problems.listed).row == 3


def test_devices_with_fast_rows_alone_are_noted():
    frame, _ = settings(GOOD, "mid,ground,fast,100,definite,1,", "mid,phase,delayed,400,definite,1,",
                        "lr,ground,fast,70,definite,1,")
    assert settings_notes(frame) == (
        "settings.csv: 2 of 3 devices with fast rows only (main, lr): their delayed operations use the fast curves, "
        "and fuses beyond them rarely melt.",)
    assert settings_notes(frame[frame["section_id"] == "mid"]) == ()


def test_fast_rows_slower_than_delayed_ones_are_noted_where_faults_are():
    """Definite 0.5 s beside IEC very inverse 13.5/(I/400 − 1) s: slower above 28 · 400 = 11 200 A."""
    frame, _ = settings("main,phase,fast,400,definite,0.5,", "main,phase,delayed,400,iec_very_inverse,1,",
                        "mid,ground,fast,200,definite,0.1,", "mid,phase,delayed,100,definite,1,",
                        "lr,phase,fast,70,definite,1,")
    found = device_settings(frame, {})
    at = np.array([found.of_section[s] for s in ("main", "main", "mid", "mid", "lr", "main")])
    low = np.array([500.0, 500, 250, 50, 50, np.nan])
    high = np.array([11_000.0, 12_000, 900, 190, 900, np.nan])
    current = fast_slower_at_a(found, at, low, high)
    # mid: a three-phase fault has no fast row; below 200 A no fault has one
    assert current == pytest.approx([np.nan, 12_000, 900, 190, np.nan, np.nan], nan_ok=True)
    assert fast_slower_notes(["main", "mid"], current[[1, 2]]) == (
        "settings.csv: 2 of 2 devices with fast rows that are slower than the delayed ones at fault currents of their "
        "zone (main at 12\u202f000 A, mid at 900 A): a fast operation clears there by the delayed rows.",)
    assert fast_slower_notes(["main"], current[:1]) == ()


def test_a_lateral_recloser_no_faster_than_the_fast_curve_above_is_noted(tmp_path):
    """Fast 0.08 s above; its own first operation is delayed, 0.05 s or, on IEC very inverse of 70 A, 13.5/(I/70 − 1) s,
    which is under 0.08 s from 11 882 A on alone."""
    rows = ("section_id,parent_id,device,length_km,customers,fault_current_source_a,fault_current_end_a\n"
            "main,,breaker,1,10,2000,1500\nlr,main,lateral_recloser,1,5,1200,400\n")
    late = "settings.csv: 1 of 1 lateral recloser with settings clears no sooner than a fast operation of the device "
    for name, own, fast, noted in (
            ("quick", "definite,0.05", 2, False), ("slow", "iec_very_inverse,1", 2, True),
            ("blocked", "iec_very_inverse,1", 0, False)):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "sections.csv").write_text(rows)
        (folder / "study.toml").write_text(f'name = "x"\n[protection]\nfast_operations = {fast}\n')
        (folder / "settings.csv").write_text(
            "section_id,element,operation,pickup_a,curve,time_dial\nmain,phase,fast,300,definite,0.08\n"
            f"main,phase,delayed,300,definite,0.5\nlr,phase,delayed,70,{own}\n")
        found = [n for n in open_study(folder).notes if n.startswith(late)]
        assert len(found) == noted, name
        assert not noted or "(lr at 1\u202f200 A)" in found[0]
