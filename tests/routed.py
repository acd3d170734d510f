"""Routes for studies to test on: an invented plan of a network, as GeoJSON and as a study's files."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from reliability.network.tree import Network
from reliability.schema.problems import Problems
from reliability.study.plan_view import EARTH_RADIUS_M
from reliability.study.routes import ROUTES_FILE, read_routes
from reliability.study.study import Study

MIDDLE = (-100.5, 45.2)            # longitude, latitude: an invented place
BENDS = 2                          # between the ends of a line
STEP = 0.55                        # radians between a section and the one it leaves


def plan_of(network: Network, seed: int = 0) -> list[np.ndarray]:
    """Points (p, 2) in metres of each section's line, from its source end: lengths as stated, directions drawn."""
    rng = np.random.default_rng(seed)
    length = 1000.0 * np.nan_to_num(network.column["length_km"])
    roots = np.cumsum(network.parent < 0)
    across = max(int(np.sqrt(roots[-1])), 1)
    lines: list[np.ndarray] = []
    heading = np.zeros(len(network))
    for i, parent in enumerate(network.parent.tolist()):
        on_main = network.unit[i] < 0
        turn = rng.normal(0.0, 0.1) if on_main else rng.choice([-1, 1]) * rng.uniform(STEP, 3 * STEP)
        heading[i] = turn + (heading[parent] if parent >= 0 else rng.uniform(0.0, 2 * np.pi))
        start = lines[parent][-1] if parent >= 0 else 12_000.0 * np.array([(roots[i] - 1) % across,
                                                                          (roots[i] - 1) // across])
        along = np.linspace(0.0, length[i], BENDS + 2)[:, None] * [np.cos(heading[i]), np.sin(heading[i])]
        lines.append(start + along)
    return lines


def geojson_of(network: Network, seed: int = 0) -> dict[str, object]:
    """The same in WGS 84, a feature a section."""
    features = []
    for name, line in zip(network.ids, plan_of(network, seed), strict=True):
        latitude = MIDDLE[1] + np.degrees(line[:, 1] / EARTH_RADIUS_M)
        longitude = MIDDLE[0] + np.degrees(line[:, 0] / EARTH_RADIUS_M / np.cos(np.radians(MIDDLE[1])))
        features.append({"type": "Feature", "properties": {"section_id": str(name)}, "geometry": {
            "type": "LineString", "coordinates": np.column_stack([longitude, latitude]).round(7).tolist()}})
    return {"type": "FeatureCollection", "features": features}


def write_routes(folder: Path, study: Study, seed: int = 0) -> None:
    """Put routes beside a study's files."""
    (folder / "routes.geojson").write_text(json.dumps(geojson_of(study.network, seed)), encoding="utf-8")


def with_routes(study: Study, seed: int = 0) -> Study:
    """The study with such routes, as if it had been read with them."""
    document = json.dumps(geojson_of(study.network, seed)).encode()
    routes, _ = read_routes(ROUTES_FILE, document, study.sections["section_id"].tolist(), Problems())
    return replace(study, routes=routes)
