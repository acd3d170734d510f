"""The map of an import: every segment is on it, and what the report lists is marked."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from reliability.intake import import_exports
from reliability.report.charts_import import import_map

ENDS = {"M1": ((0.0, 45.0), (0.01, 45.0)), "T1": ((0.01, 45.0), (0.01, 45.01)), "X9": ((0.5, 45.0), (0.51, 45.0))}


def exports(folder: Path) -> Path:
    """A main, a tap whose current is not stated, and a segment that nothing feeds."""
    features = [{"type": "Feature", "properties": {"segment_id": name, "phases": "ABC", "length_m": 800,
                                                   "device": "breaker" if name == "M1" else ""},
                 "geometry": {"type": "LineString", "coordinates": ends}} for name, ends in ENDS.items()]
    folder.mkdir()
    (folder / "segments.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    (folder / "sources.csv").write_text("node_id,feeder_id\npoint 1,F1\n")
    (folder / "customers.csv").write_text("transformer_id,segment_id,customers\nC1,T1,4\nC2,X9,3\n")
    return folder


@pytest.fixture(scope="module")
def imported(tmp_path_factory):
    return import_exports(exports(tmp_path_factory.mktemp("exports") / "files"))


def count_lines(lines) -> int:
    return int(np.isnan(lines.x).sum())


def test_every_segment_is_drawn_and_islands_are_marked(imported):
    chart = import_map(imported)
    drawn = {lines.name: count_lines(lines) for lines in chart.lines}
    assert sum(drawn.values()) == 3
    assert drawn["not energised"] == 1
    place = chart.places
    assert "X9" in place.ids
    assert any("no source energises" in t for t in place.texts[list(place.ids).index("X9")])
    west, east, south, north = chart.window
    dead = next(lines for lines in chart.lines if lines.name == "not energised")
    assert west < np.nanmin(dead.x)
    assert np.nanmax(dead.x) < east
    assert south < np.nanmin(dead.y) < north


def test_one_finding_alone_can_be_marked(imported):
    assert [lines.name for lines in import_map(imported, ()).lines] == ["in the study"]
    assert "not energised" in [lines.name for lines in import_map(imported, ("island",)).lines]


def test_without_geometry_there_is_no_map(tmp_path):
    from tests.intake.small import take
    assert import_map(take(tmp_path)) is None
