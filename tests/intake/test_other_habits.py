"""Exports of utilities that write things otherwise than the demo's: read alike, or asked about; never otherwise."""

from __future__ import annotations

from pathlib import Path

import pytest

from reliability.intake import NO_RECIPE, Imported, Recipe, import_study, prepare, read_exports
from tests.intake.small import SEGMENTS, accepted, sections, take, write


def ids(imported: Imported, key: str) -> tuple[str, ...]:
    return imported.report.findings.ids(key)


def take_guessed(folder: Path, recipe: Recipe = NO_RECIPE, **texts: str | None) -> Imported:
    """The small exports, changed, imported with every suggestion taken."""
    exports = read_exports(write(folder, **texts))
    return import_study(prepare(exports, accepted(exports, recipe)))


@pytest.mark.parametrize("ends", [
    "From Pole,To Pole", "From Structure,To Structure", "Upstream Pole,Downstream Pole", "from_pole,to_pole",
    "From Node,To Node", "Start Pole,End Pole", "From Junction,To Junction"])
def test_poles_at_both_ends_of_spans_are_the_nodes_where_lines_join(tmp_path, ends):
    imported = take_guessed(tmp_path, segments=SEGMENTS.replace("from_node,to_node", ends))
    assert sections(imported)["parent_id"].to_dict() == {"M1": "", "M2": "M1", "T1": "M1"}
    assert bool(ids(imported, "poles_as_nodes")) == ("Node" not in ends and "Junction" not in ends)


def test_devices_and_outages_find_the_poles_where_spans_join(tmp_path):
    imported = take_guessed(tmp_path, segments=SEGMENTS.replace("from_node,to_node", "From Pole,To Pole"),
                            devices="device_id,pole_id,device,phases\nB1,BUS,breaker,\nFU1,N1,fuse,A\n",
                            outages="event_id,pole_id,started,restored,customers\n"
                                    "E1,N3,2024-05-01T10:00:00,2024-05-01T12:00:00,5\n")
    assert sections(imported)["device"].to_dict() == {"M1": "breaker", "M2": "", "T1": "fuse"}
    assert imported.tables["outages"]["section_id"].tolist() == ["T1"]


def test_devices_stand_between_two_poles(tmp_path):
    imported = take_guessed(tmp_path, segments=SEGMENTS.replace("from_node,to_node", "From Pole,To Pole"), outages=None,
                            devices="Device No,From Structure,To Structure,Type\nB1,BUS,N1,Breaker\nFU1,N1,N3,Fuse\n")
    assert sections(imported)["device"].to_dict() == {"M1": "breaker", "M2": "", "T1": "fuse"}


def test_poles_beside_nodes_stay_names_of_places(tmp_path):
    rows = "".join(f"{line},P{k},P{k}\n" for k, line in enumerate(SEGMENTS.splitlines()[1:]))
    imported = take(tmp_path, segments=SEGMENTS.splitlines()[0] + ",from_pole,to_pole\n" + rows)
    assert sections(imported)["parent_id"].to_dict() == {"M1": "", "M2": "M1", "T1": "M1"}
    assert ids(imported, "poles_as_nodes") == ()
