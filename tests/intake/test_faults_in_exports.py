"""Faults in exports: each found, counted, listed by id; nothing dropped in silence; what is refused is refused."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.intake import Recipe
from reliability.schema.problems import StudyError
from tests.intake.small import SEGMENTS, sections, take

RING = "+R1,N2,N4,3000,A,,F1\n"
SECOND = {"segments": "+M9,BUS2,N9,1000,ABC,,F2\nL9,N9,N2,200,ABC,,F2\n", "devices": "+B9,M9,,breaker,,,\n",
          "sources": "+BUS2,F2\n"}


def noted(imported, key):
    return imported.report.findings.ids(key)


def balanced(imported):
    balance = imported.report.balance
    np.testing.assert_allclose(balance["in"], balance["out"] + balance["listed"])


def test_without_a_fault_nothing_is_amber_or_red(tmp_path):
    imported = take(tmp_path)
    assert [n.key for n in imported.report.findings.noted if n.state != "green"] == []
    assert imported.report.state == "green"
    assert sections(imported)["parent_id"].to_dict() == {"M1": "", "M2": "M1", "T1": "M1"}
    assert sections(imported).loc["T1", ["length_km", "customers"]].tolist() == [0.8, 5]
    assert imported.tables["outages"]["section_id"].tolist() == ["T1", "M2", "T1"]


def test_a_ring_is_opened_where_the_shortest_lengths_meet(tmp_path):
    imported = take(tmp_path, segments=RING)
    assert noted(imported, "ring") == ("R1",)
    assert imported.report.state == "red"
    balanced(imported)
    assert "tie_probability" not in sections(imported)


def test_a_ring_is_opened_at_its_only_switch(tmp_path):
    imported = take(tmp_path, segments=RING, devices="+SW,M2,,switch,,,\n")
    assert noted(imported, "ring") == ("M2",)
    assert sections(imported).loc["T1", "length_km"] == pytest.approx(3.8)
    balanced(imported)


def test_the_switch_that_opens_a_ring_stands_open_as_if_the_recipe_had_confirmed_it(tmp_path):
    found = [sections(take(tmp_path / name, Recipe(open=opened), segments=RING, devices="+SW,R1,,switch,,,\n"))
             for name, opened in (("found", ()), ("confirmed", ("SW",)))]
    assert "switch" not in found[0]["device"].tolist()
    assert found[0]["length_km"].to_dict() == found[1]["length_km"].to_dict()


def test_a_switch_at_a_node_between_two_segments_of_a_ring_opens_it(tmp_path):
    imported = take(tmp_path, segments=RING, devices="+SW,,N4,switch,,,\n")
    assert noted(imported, "ring") in (("T2",), ("R1",))
    balanced(imported)


def test_a_ring_is_opened_where_the_recipe_says(tmp_path):
    imported = take(tmp_path, Recipe(open=("T2",)), segments=RING)
    assert noted(imported, "ring") == ()
    assert noted(imported, "tie_within") == ("T2",)


def test_segments_fed_from_two_sources_are_listed(tmp_path):
    imported = take(tmp_path, **SECOND)
    assert len(noted(imported, "fed_twice")) == 1
    assert sections(imported)["feeder_id"].unique().tolist() == ["F1", "F2"]
    balanced(imported)


def test_an_open_segment_between_feeders_is_a_tie_on_both_sides(tmp_path):
    changed = SECOND | {"segments": SECOND["segments"].replace("ABC,,F2\n", "ABC,open,F2\n").replace(
        "M9,BUS2,N9,1000,ABC,open", "M9,BUS2,N9,1000,ABC,")}
    imported = take(tmp_path, Recipe(ties={"L9": 0.7}), **changed)
    found = sections(imported)
    assert noted(imported, "tie") == ("L9",)
    assert found.loc[["M2", "M9"], "tie_probability"].tolist() == [0.7, 0.7]
    assert found.loc["M9", "length_km"] == pytest.approx(1.2)       # the open line hangs on the side of its feeder
    assert found.loc["M2", "tie_section_id"] == "M9"
    balanced(imported)


def test_islands_are_listed_with_their_customers(tmp_path):
    imported = take(tmp_path, segments="+I1,Z1,Z2,700,A,,F1\n", customers="+X9,I1,,,4,1,10\n")
    assert noted(imported, "island") == ("I1",)
    assert noted(imported, "customers_not_placed") == ("X9",)
    assert sections(imported)["customers"].sum() == 15
    balanced(imported)


def test_customers_in_the_rows_of_segments_count_and_are_listed_where_they_are_not_energised(tmp_path):
    head, *rows = SEGMENTS.splitlines()
    wider = "\n".join([head + ",customers", *(f"{r},{k}" for k, r in enumerate(rows)), "I1,Z1,Z2,700,A,,F1,9"]) + "\n"
    imported = take(tmp_path, segments=wider, customers=None, outages=None)
    assert sections(imported)["customers"].to_dict() == {"M1": 0, "M2": 1, "T1": 5}
    assert noted(imported, "customers_not_placed") == ("I1",)
    balanced(imported)


def test_a_device_on_nothing_is_listed(tmp_path):
    imported = take(tmp_path, devices="+FU9,NOWHERE,,fuse,,,\nFU8,,N99,fuse,,,\nFU7,,N4,fuse,,,\n")
    assert set(noted(imported, "device_on_nothing")) == {"FU9", "FU8"}
    assert noted(imported, "device_not_fed") == ("FU7",)


def test_one_id_with_different_ends_is_refused(tmp_path):
    with pytest.raises(StudyError, match=r"segments.csv: row 6, column segment_id: 'T2': one id with different ends"):
        take(tmp_path, segments="+T2,N3,N5,300,A,,F1\n")


def test_rows_that_repeat_another_count_once(tmp_path):
    imported = take(tmp_path, segments="+T2,N3,N4,300,A,,F1\n")
    assert noted(imported, "duplicate") == ("T2",)
    assert sections(imported).loc["T1", "length_km"] == 0.8


def test_a_missing_length_is_0_and_listed(tmp_path):
    imported = take(tmp_path, segments=SEGMENTS.replace("N4,300", "N4,"))
    assert noted(imported, "no_length") == ("T2",)
    assert sections(imported).loc["T1", "length_km"] == 0.5


def test_a_length_of_0_is_listed(tmp_path):
    assert noted(take(tmp_path, segments=SEGMENTS.replace("N4,300", "N4,0")), "zero_length") == ("T2",)


def test_a_segment_on_one_node_is_dropped_and_its_customers_go_to_the_node(tmp_path):
    imported = take(tmp_path, segments="+Z,N4,N4,50,A,,F1\n", customers="+X9,Z,,,4,1,10\n")
    assert noted(imported, "loop") == ("Z",)
    assert sections(imported).loc["T1", "customers"] == 9
    balanced(imported)


def test_an_implausible_unit_is_listed(tmp_path):
    imported = take(tmp_path, segments=SEGMENTS.replace("length_m", "length_mi"))
    assert "unit" in imported.report.findings
    assert imported.report.state == "red"


def test_outages_that_match_nothing_are_refused(tmp_path):
    with pytest.raises(StudyError, match="none of 1 outages matches the network"):
        take(tmp_path, outages="event_id,device_id,started,restored,customers\nE1,D9,2024-05-01T10:00:00,"
             "2024-05-01T12:00:00,5\n")


def test_outages_that_are_not_placed_are_listed(tmp_path):
    imported = take(tmp_path, outages="+E4,D9,,,,2024-07-01T10:00:00,2024-07-01T12:00:00,5,,false\n"
                    "E5,,,,F1,2024-07-02T10:00:00,2024-07-02T12:00:00,5,,false\n")
    assert noted(imported, "outages_not_placed") == ("E4 (D9)",)
    assert noted(imported, "outages_by_feeder") == ("E5",)
    assert imported.tables["outages"]["section_id"].tolist()[-2:] == ["", ""]
    matched = imported.report.matched.set_index("key")
    assert matched.loc["outages", ["matched", "of", "state"]].tolist() == [3, 5, "red"]


def test_faults_of_outages_are_listed(tmp_path):
    imported = take(tmp_path, outages="+D1,FU1,,,,2024-05-01T10:00:00,2024-05-01T11:00:00,5,,false\n"
                    "N1,FU1,,,,2024-08-01T10:00:00,,5,,false\nR1,FU1,,,,2024-08-02T10:00:00,2024-08-02T09:00:00,5,,false\n"
                    "O1,,M2,,,2024-06-01T10:30:00,2024-06-01T12:00:00,10,,false\n")
    for key, ids in (("outage_duplicate", ("D1",)), ("no_end_time", ("N1",)), ("end_before_start", ("R1",))):
        assert noted(imported, key) == ids
    assert "O1" in noted(imported, "outage_overlap")


def test_phases_that_grow_are_bounded_and_listed(tmp_path):
    imported = take(tmp_path, segments=SEGMENTS.replace("300,A", "300,ABC"))
    assert noted(imported, "phases_grow") == ("T2 (3) fed by T1 (1)",)
    assert sections(imported).loc["T1", "phases"] == 1


def test_no_source_is_refused(tmp_path):
    with pytest.raises(StudyError, match="no source"):
        take(tmp_path, sources=None, devices=None, outages=None)


def test_the_free_end_of_a_breaker_s_segment_is_a_source(tmp_path):
    imported = take(tmp_path, sources=None)
    assert noted(imported, "source_by_breaker") == ("BUS",)
    assert sections(imported)["parent_id"].to_dict() == {"M1": "", "M2": "M1", "T1": "M1"}
    assert sections(imported)["feeder_id"].unique().tolist() == ["F1"]


def test_networks_that_meet_at_open_points_alone_have_a_source_each(tmp_path):
    tie = "M9,BUS2,N9,1000,ABC,,\nM8,N9,N8,1000,ABC,,\n"
    segments = (SEGMENTS + tie).replace(",F1\n", ",\n")
    for name, more, opened in (("device", "+B9,M9,,breaker,,,\nSW,TIE,,switch,,open,\n", ()),
                               ("recipe", "+B9,M9,,breaker,,,\n", ("TIE",))):
        imported = take(tmp_path / name, Recipe(open=opened, stated=False), sources=None, devices=more,
                        segments=segments + "TIE,N2,N8,100,ABC,,\n")
        assert noted(imported, "source_by_breaker") == ("BUS", "BUS2")
        assert noted(imported, "tie") == (opened or ("SW",))


def test_segments_that_all_lack_a_parent_are_a_source_each(tmp_path):
    imported = take(tmp_path, segments="segment_id,parent_id,length_m,phases\nM1,,100,3\nK1,,200,3\n", sources=None,
                    devices="device_id,segment_id,device\nR1,M1,recloser\nR2,K1,recloser\n", outages=None,
                    customers="transformer_id,segment_id,customers\nX,M1,4\n")
    assert sections(imported)["parent_id"].to_dict() == {"M1": "", "K1": ""}


def test_a_source_without_a_breaker_gets_one_named_after_the_feeder(tmp_path):
    imported = take(tmp_path, devices="device_id,segment_id,device\nFU1,T1,fuse\n", outages=None)
    assert noted(imported, "no_breaker") == ("F1",)
    assert sections(imported).loc["F1", ["device", "length_km", "phases"]].tolist() == ["breaker", 0.0, 3]
    assert sections(imported).loc["M1", "parent_id"] == "F1"


def test_every_breaker_headed_tree_from_one_node_is_a_feeder(tmp_path):
    imported = take(tmp_path, segments="+K1,BUS,K9,400,ABC,,F2\n", devices="+B2,K1,,breaker,,,\n")
    assert sections(imported)["feeder_id"].to_dict() == {"M1": "F1", "M2": "F1", "T1": "F1", "K1": "F2"}


def test_the_source_s_name_of_a_feeder_wins_and_the_others_are_listed(tmp_path):
    imported = take(tmp_path, sources="node_id,feeder_id\nBUS,North\n")
    assert sections(imported)["feeder_id"].unique().tolist() == ["North"]
    assert set(noted(imported, "feeder_renamed")) == {"M1", "M2", "T1", "T2"}


def test_rows_of_each_conductor_are_one_span(tmp_path):
    rows = "".join(f"M2-{p},N1,N2,2000,{p},,F1\n" for p in "ABC")
    imported = take(tmp_path, segments=SEGMENTS.replace("M2,N1,N2,2000,ABC,,F1\n", rows),
                    customers="transformer_id,segment_id,customers\nX1,M2-B,10\nX2,T2,5\n",
                    outages=None)
    found = sections(imported)
    assert found.loc["M2-A", ["length_km", "phases", "customers"]].tolist() == [2.0, 3, 10]
    assert set(imported.segment_sections["segment_id"]) >= {"M2-A", "M2-B", "M2-C"}


def test_one_device_a_phase_is_one_device_with_aliases(tmp_path):
    rows = "device_id,segment_id,device,phases\nB1,M1,breaker,\n" + "".join(f"FU1-{p},M2,fuse,{p}\n" for p in "ABC")
    imported = take(tmp_path, devices=rows, outages="event_id,device_id,started,restored,customers\n"
                    "E1,FU1-C,2024-05-01T10:00:00,2024-05-01T12:00:00,5\n")
    assert sections(imported).loc["M2", ["device", "device_id"]].tolist() == ["fuse", "FU1-A"]
    assert imported.tables["outages"]["section_id"].tolist() == ["M2"]


def test_several_kinds_on_a_segment_stand_source_first(tmp_path):
    imported = take(tmp_path, devices="+SW1,T1,,switch,,,\nSZ1,T1,,sectionalizer,,,\n")
    found = sections(imported)
    assert found.loc["T1", ["device", "parent_id", "length_km"]].tolist() == ["switch", "FU1", 0.8]
    assert found.loc["FU1", ["device", "parent_id", "length_km", "phases"]].tolist() == ["fuse", "SZ1", 0.0, 1]
    assert found.loc["SZ1", ["device", "parent_id"]].tolist() == ["sectionalizer", "M1"]
    assert noted(imported, "fuse_beside") == ("T1",)


def test_a_device_at_a_node_stands_before_the_one_segment_whose_phases_match(tmp_path):
    imported = take(tmp_path, devices="device_id,node_id,device,phases\nB1,BUS,breaker,\nFU1,N1,fuse,A\n")
    assert sections(imported)["device"].to_dict() == {"M1": "breaker", "M2": "", "T1": "fuse"}


def test_a_device_at_a_node_of_several_heads_all_of_them(tmp_path):
    imported = take(tmp_path, devices="device_id,node_id,device\nB1,BUS,breaker\nR1,N1,recloser\n", outages=None)
    found = sections(imported)
    assert noted(imported, "device_heads_all") == ("R1",)
    assert found.loc["R1", ["device", "parent_id", "length_km", "phases"]].tolist() == ["recloser", "M1", 0.0, 3]
    assert found.loc[["M2", "T1"], "parent_id"].tolist() == ["R1", "R1"]


def test_a_device_between_two_nodes_stands_on_the_segment_behind_it(tmp_path):
    segments = SEGMENTS.replace("T1,N1,N3", "T1,N1b,N3")
    imported = take(tmp_path, segments=segments, devices="device_id,from_node,to_node,segment_id,device\n"
                    "B1,,,M1,breaker\nFU1,N1b,N1,,fuse\n")
    assert sections(imported).loc["T1", ["device", "device_id", "parent_id"]].tolist() == ["fuse", "FU1", "M1"]


def test_meters_on_a_transformer_count_one_each(tmp_path):
    rows = "transformer_id,customer_id,segment_id,customers\nX1,,M2,10\nX2,,T2,\n" + "".join(
        f"X2,meter {k},,\n" for k in range(7))
    assert sections(take(tmp_path, customers=rows))["customers"].to_dict() == {"M1": 0, "M2": 10, "T1": 7}


def test_classes_add_up_where_the_customers_are_not_stated(tmp_path):
    imported = take(tmp_path, outages=None,
                    customers="transformer_id,segment_id,customers_residential,customers_small_ci\nX1,M2,4,1\n")
    assert sections(imported).loc["M2", "customers"] == 5


def test_two_files_of_one_kind_are_one(tmp_path):
    first, *rest = SEGMENTS.splitlines(keepends=True)
    imported = take(tmp_path, segments=first + "".join(rest[:2]), segments_2__csv=first + "".join(rest[2:]))
    assert len(sections(imported)) == 3


def test_nothing_is_written_into_a_folder_that_is_there(tmp_path):
    imported = take(tmp_path / "exports")
    imported.save(tmp_path / "study")
    before = sorted(p.name for p in (tmp_path / "study").iterdir())
    with pytest.raises(StudyError, match="already"):
        imported.save(tmp_path / "study")
    assert sorted(p.name for p in (tmp_path / "study").iterdir()) == before
    assert {"sections.csv", "outages.csv", "study.toml", "import.toml", "segment_sections.csv"} <= set(before)


def test_conductors_that_name_parents_are_one_span_under_all_their_names(tmp_path):
    rows = "segment_id,parent_id,length_m,phases\nM1,,1000,ABC\n" + "".join(f"L-{p},M1,500,{p}\n" for p in "ABC") + (
        "K-A,M1,300,A\nK-B,L-B,200,B\nK2-A,L-A,100,A\nK2-B,L-B,100,B\n")
    imported = take(tmp_path, segments=rows, devices="device_id,segment_id,device\nB1,M1,breaker\n", sources=None,
                    customers="transformer_id,segment_id,customers\nX,L-C,4\nY,K2-B,2\n",
                    outages="event_id,segment_id,started,restored,customers\n"
                            "E1,L-B,2024-05-01T10:00:00,2024-05-01T12:00:00,5\n")
    found = sections(imported)
    assert found["length_km"].to_dict() == {"M1": 1.0, "L-A": 0.5, "K-A": 0.3, "K-B": 0.2, "K2-A": 0.1}
    assert found.loc["L-A", ["phases", "customers"]].tolist() == [3, 4]
    assert found.loc["K2-A", ["phases", "customers", "parent_id"]].tolist() == [2, 2, "L-A"]
    assert imported.tables["outages"]["section_id"].tolist() == ["L-A"]


@pytest.mark.parametrize(("changed", "said"), [
    ({"segments": "+,N4,N5,3,A,,F1\n"}, "a segment needs an id"),
    ({"segments": "+Q1,N4,N5,three,A,,F1\n"}, "row 6, column length_m: 'three': not a number"),
    ({"segments": "+Q1,N4,N5,-3,A,,F1\n"}, "must not be negative"),
    ({"segments": "segment_id,from_node,to_node,length_m\nA,BUS,BUS,3\n", "devices": None, "outages": None},
     "no segment is energised"),
    ({"devices": "+Z,T2,,FUSE-65K,,,\n"}, "'FUSE-65K': what this word means is open"),
    ({"devices": "+FU1,M2,,fuse,40K,,A\n"}, "one id with different contents"),
    ({"customers": "transformer_id,segment_id,customers\nX,M2,3.5\n"}, "must be a whole number"),
    ({"segments": "segment_id,from_node,length_m\nM1,BUS,3\nT1,BUS,3\nM2,BUS,3\n"},
     "'to_node or parent_id or to_pole': segments need this column"),
    ({"customers": "transformer_id,customers\nX1,4\n", "outages": None},
     "'segment_id or node_id or pole_id': customers need this column"),
    ({"segments": "segment_id,length_m\nA,3\n"}, "'from_node or parent_id or from_pole': segments need this column"),
    ({"devices": "device_id,segment_id,device,counts,operations_to_lockout,fast_operations\nB1,M1,breaker,,2,1\n"
      "S1,T1,sectionalizer,3,,\n", "outages": None}, "above operations to lockout"),
])
def test_what_is_refused_is_said_and_nothing_is_written(tmp_path, changed, said):
    with pytest.raises(StudyError) as error:
        take(tmp_path, **changed).study()
    assert said in str(error.value)


@pytest.mark.parametrize(("changed", "key", "ids"), [
    ({"segments": "+Q1,N4,,3,A,,F1\n"}, "no_end", ("Q1",)),
    ({"customers": "+X1,M2,,,10,20,50\n"}, "customers_repeated", ("X1",)),
    ({"customers": "+X3,M2,,,,7,25\n"}, "customers_not_stated", ("X3",)),
    ({"devices": "+Z,T2,,fuse,999K,,\n"}, "link_unknown", ("999K",)),
    ({"devices": "+FU1,T1,,fuse,40K,,A\n"}, "device_duplicate", ("FU1",)),
    ({"sources": "+NOPE,F9\n"}, "source_nowhere", ("NOPE",)),
    ({"outages": "+E9,FU1,,,,yesterday,,1,,\n"}, "time_unreadable", ("E9",)),
    ({"outages": "+E9,fu-1,,,,2024-05-01T10:00:00,2024-05-01T11:00:00,1,,\n"}, "spelling", ("fu-1",)),
    ({"notes__csv": "hello,world\n1,2\n"}, "table_unused", ("notes.csv",)),
    ({"customers": None, "outages": None, "devices": "+Q,T2,,switch,,open,\n"}, "open_dead", ("Q",)),
])
def test_what_is_imported_is_listed(tmp_path, changed, key, ids):
    imported = take(tmp_path, **changed)
    assert noted(imported, key) == ids
    imported.study()


def test_names_that_a_spreadsheet_would_run_stay_harmless(tmp_path):
    imported = take(tmp_path, segments="+=1+1,N4,N5,3,A,,F1\n", devices="+=2+2,=1+1,,fuse,25K,,\n")
    assert b"\n=1+1" not in imported.files["sections.csv"]
    assert len(imported.study().sections) == 4


def test_fuses_on_a_main_are_listed(tmp_path):
    assert noted(take(tmp_path / "a", devices="+FU0,M1,,fuse,100K,,\nFU9,M2,,fuse,40K,,\n"), "fuse_on_main") == ("FU0",)


@pytest.mark.parametrize(("recipe", "chance"), [(Recipe(stated=False), 0.7), (Recipe(stated=False, ties={"TIE": 0.5}),
                                                                              0.5)])
def test_the_chance_that_an_open_segment_states_holds_on_both_sides_until_the_recipe_says_another(tmp_path, recipe,
                                                                                                  chance):
    segments = (SEGMENTS + "K1,BUS2,K2,900,ABC,,F2\nTIE,N2,K2,80,ABC,open,F1\n").replace("\n", ",\n").replace(
        "feeder_id,", "feeder_id,tie_probability").replace("open,F1,", "open,F1,0.7")
    found = sections(take(tmp_path, recipe, segments=segments, devices="+B2,K1,,breaker,,,\n", sources="+BUS2,F2\n"))
    assert sorted(found["tie_probability"].dropna()) == [chance, chance]


def test_a_source_at_a_node_that_no_segment_has_is_named(tmp_path):
    with pytest.raises(StudyError, match="no segment has a node called NOBUS, where feeders are stated to begin"):
        take(tmp_path, sources="node_id,feeder_id\nNOBUS,F1\n")


def test_no_time_after_noon_is_told(tmp_path):
    times = [f"2024-05-{i + 1:02} {i % 12 + 1:02}" for i in range(24)]
    hours = [f"E{i},FU1,{time}:10,{time}:40,5" for i, time in enumerate(times)]
    outages = "event_id,device_id,started,restored,customers\n" + "\n".join(hours) + "\n"
    found = take(tmp_path / "half", outages=outages).report.findings
    assert len(found.ids("hours_of_half_a_day")) == 24
    sound = take(tmp_path / "whole", outages=outages.replace(" 12:", " 13:"))
    assert not sound.report.findings.ids("hours_of_half_a_day")
