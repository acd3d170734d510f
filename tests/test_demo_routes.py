"""Where the demo's lines run: lengths, joints and the place on the globe."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

FOLDER = Path(__file__).parents[1] / "data" / "demo"
METRES_PER_DEGREE = 40_007_863 / 360     # of a meridian, from memory; at the equator the parallel is 0.7 % longer


@pytest.fixture(scope="module")
def lines() -> dict[str, np.ndarray]:
    features = json.loads((FOLDER / "routes.geojson").read_text(encoding="utf-8"))["features"]
    return {f["properties"]["section_id"]: np.array(f["geometry"]["coordinates"]) for f in features}


def test_each_section_has_a_line_as_long_as_it_is(demo, lines):
    """Within 1 %, the difference of meridian and parallel, or two metres, as coordinates have six decimals."""
    assert set(lines) == set(demo.sections["section_id"])
    length = [METRES_PER_DEGREE * np.linalg.norm(np.diff(lines[name], axis=0), axis=1).sum()
              for name in demo.sections["section_id"]]
    assert length == pytest.approx(1000 * demo.sections["length_km"].to_numpy(), rel=0.01, abs=2.0)


def test_a_line_begins_where_the_one_that_feeds_it_ends(demo, lines):
    for name, parent in zip(demo.sections["section_id"], demo.sections["parent_id"], strict=True):
        if parent:
            assert lines[name][0].tolist() == lines[parent][-1].tolist(), name


def test_the_place_is_at_sea(lines):
    """Around 0.9° N, 3° E, in the Gulf of Guinea."""
    points = np.concatenate(list(lines.values()))
    assert (np.abs(points - [3.0, 0.9]) < 0.5).all()
