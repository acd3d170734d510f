"""Breakers where feeders begin, and names that rows of one device or span a phase have in common."""

from __future__ import annotations

import json

import pytest

from reliability.intake import Recipe, import_exports
from reliability.schema.problems import StudyError
from tests.intake.small import CUSTOMERS, sections, take

SPANS = """segment_id,from_node,to_node,length_km,phases,feeder_id
M1,N1,N2,1,ABC,FA
M2,N2,N3,1,ABC,FA
Q1,N1,N50,1,ABC,FB
"""
TWO = "node_id,feeder_id\nN1,FA\nN1,FB\n"
SERVED = "transformer_id,segment_id,customers\nX1,M2,5\nX9,Q1,3\n"


def two_feeders(tmp_path, devices: str, recipe: Recipe | None = None, spans: str = SPANS):
    return take(tmp_path, recipe or Recipe(), segments=spans, sources=TWO, customers=SERVED, outages=None,
                devices=devices)


def heads(imported) -> dict[str, str]:
    found = sections(imported)
    found = found[found["device"] == "breaker"]
    return dict(zip(found["device_id"].astype(str), found["feeder_id"].astype(str), strict=True))


def test_breakers_at_one_node_head_a_feeder_each(tmp_path):
    imported = two_feeders(tmp_path, "device_id,node_id,device,phases\nBA,N1,breaker,ABC\nBB,N1,breaker,ABC\n")
    assert heads(imported) == {"BA": "FA", "BB": "FB"}
    assert imported.report.findings.ids("breakers_in_order") == ("BA before M1", "BB before Q1")


def test_a_name_says_which(tmp_path):
    imported = two_feeders(tmp_path, "device_id,node_id,device,phases\nCB-FB,N1,breaker,ABC\nCB-X,N1,breaker,ABC\n")
    assert heads(imported) == {"CB-FB": "FB", "CB-X": "FA"}


def test_a_part_of_a_number_is_no_name(tmp_path):
    spans = SPANS.replace("FA", "F1").replace("FB", "F10")
    imported = take(tmp_path, segments=spans, sources=TWO.replace("FA", "F1").replace("FB", "F10"), customers=SERVED,
                    outages=None, devices="device_id,node_id,device,phases\nCB-F10,N1,breaker,ABC\nX,N1,breaker,ABC\n")
    assert heads(imported) == {"CB-F10": "F10", "X": "F1"}
    assert imported.report.findings.ids("breakers_in_order") == ("X before M1",)


def test_where_they_differ_it_is_asked_and_the_recipe_answers(tmp_path):
    devices = ("device_id,node_id,device,phases,operations_to_lockout\nBA,N1,breaker,ABC,4\n"
               "BB,N1,breaker,ABC,3\n")
    with pytest.raises(StudyError, match=r"which segment each heads is open \(M1, Q1\)") as raised:
        two_feeders(tmp_path / "a", devices)
    assert '[network] place = { "BA" = "…" }' in str(raised.value)
    answered = two_feeders(tmp_path / "b", devices, Recipe(place={"BA": "Q1", "BB": "M1"}))
    assert heads(answered) == {"BA": "FB", "BB": "FA"}


def test_more_breakers_than_lines_are_asked_about(tmp_path):
    rows = "".join(f"B{k},N1,breaker,ABC\n" for k in range(3))
    with pytest.raises(StudyError, match="several breakers stand at the node"):
        two_feeders(tmp_path, f"device_id,node_id,device,phases\n{rows}")


def test_two_breakers_before_one_line_are_one_device(tmp_path):
    spans = "".join(line for line in SPANS.splitlines(True) if not line.startswith("Q1"))
    imported = take(tmp_path, segments=spans, sources="node_id,feeder_id\nN1,FA\n", outages=None,
                    customers="transformer_id,segment_id,customers\nX1,M2,5\n",
                    devices="device_id,node_id,device,phases\nBA,N1,breaker,ABC\nBB,N1,breaker,ABC\n")
    assert heads(imported) == {"BA": "FA"}
    assert imported.report.findings.ids("alias") == ("BB",)


@pytest.mark.parametrize("turned", [False, True])
def test_a_breaker_at_the_free_end_of_a_line_that_a_tap_touches_is_a_source(tmp_path, turned):
    """Whichever way the line is drawn."""
    main = [[-90.0, 40.0], [-89.98, 40.0]]
    features = [{"type": "Feature", "properties": {"segment_id": name, "phases": phases, "device": device,
                                                   "feeder_id": "F", "customers": customers},
                 "geometry": {"type": "LineString", "coordinates": line}} for name, phases, device, customers, line in (
        ("m", 3, "breaker", 50, main[::-1] if turned else main),
        ("n", 3, "", 20, [[-89.98, 40.0], [-89.97, 40.0]]),
        ("t", 1, "fuse", 10, [[-89.993, 40.0], [-89.993, 40.01]]))]
    (tmp_path / "segments.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}),
                                               encoding="utf-8")
    found = import_exports(tmp_path).tables["sections"].set_index("section_id")
    assert found["customers"].sum() == 80
    assert found.loc["m", "device"] == "breaker"
    assert found["parent_id"].eq("").sum() == 1


@pytest.mark.parametrize(("suffix", "phases"), [("-{}", True), ("_{}", True), (" {}", False), (".{}", False)])
def test_rows_of_a_phase_each_are_known_by_what_their_names_have_in_common(tmp_path, suffix, phases):
    def rows(text: str, name: str) -> str:
        return "".join(text.format(name + suffix.format(p), p if phases else "") for p in "ABC")

    spans = ("segment_id,from_node,to_node,length_m,feeder_id,phases\n" + rows("{},BUS,N1,1000,F1,{}\n", "M1")
             + rows("{},N1,N2,2000,F1,{}\n", "M2"))
    devices = "device_id,segment_id,device,phases\n" + rows("{},M1,breaker,{}\n", "BR")
    outages = ("event_id,device_id,started,restored,customers\nE1,BR,2024-05-01T10:00,2024-05-01T12:00,5\n"
               "E2,M2,2024-06-01T10:00,2024-06-01T12:00,5\n")
    imported = take(tmp_path, segments=spans, devices=devices, outages=outages,
                    customers="transformer_id,segment_id,customers\nX1,M2,7\n")
    found = sections(imported)
    assert found["customers"].sum() == 7
    assert found["device"].tolist()[0] == "breaker"
    assert len(found) == 1
    assert imported.tables["outages"]["section_id"].ne("").all()


def test_an_outage_that_names_a_pole_and_a_transformer_goes_by_the_pole(tmp_path):
    segments = ("segment_id,from_node,to_node,length_m,phases,feeder_id,pole_id\nM1,BUS,N1,1000,ABC,F1,P1\n"
                "M2,N1,N2,2000,ABC,F1,P2\nT1,N1,N3,500,A,F1,P3\nT2,N3,N4,300,A,F1,P4\n")
    outages = ("event_id,pole_id,transformer_id,started,restored,customers\n"
               "E1,P3,X1,2024-05-01T10:00,2024-05-01T12:00,5\n")
    imported = take(tmp_path, segments=segments, outages=outages, customers=CUSTOMERS)
    assert imported.tables["outages"]["section_id"].tolist() == ["T1"]
