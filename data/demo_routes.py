"""Where the invented cooperative's lines run: on a plane in metres, and in longitude and latitude.

The place is made up, and lies at sea: around 0.9° N, 3° E, in the coordinate system EPSG:32631 (WGS 84, UTM zone 31 N).
Mains bend slowly away from their station. A lateral leaves the main to one side, the one of several directions that
crosses least of what stands already; lengths are those of the sections.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

SYSTEM = "EPSG:32631"
STATIONS = {"Alder Creek": (478_000.0, 94_000.0), "Millbrook": (503_000.0, 109_000.0),
            "Stonefield": (528_000.0, 91_000.0)}       # metres east and north
FIRST_HEADING = {"Alder Creek": 100.0, "Millbrook": 40.0, "Stonefield": 65.0}   # degrees from east, of the first feeder
PIECES = 4                        # straight ones in a line
BEND = 9.0                        # degrees between two of them, standard deviation
CLEARANCE_M = 120.0               # nearer to another line is crowded
REACH_M = 4000.0                  # lines farther away are not looked at
TURNS = {"lateral": np.array([90.0, -90, 70, -70, 110, -110, 50, -50, 130, -130, 30, -30]),
         "branch": np.array([75.0, -75, 55, -55, 95, -95, 35, -35]), "on": np.array([0.0, 15, -15, 30, -30])}


class Plane:
    """Straight pieces that stand already, (m, 4) metres: x and y of both ends."""

    def __init__(self) -> None:
        self.pieces = np.zeros((0, 4))

    def add(self, line: np.ndarray) -> None:
        self.pieces = np.concatenate([self.pieces, np.hstack([line[:-1], line[1:]])])

    def draw(self, start: np.ndarray, degrees: np.ndarray, km: float) -> tuple[np.ndarray, float]:
        """Of k lines of equal pieces, their directions (k, p), the best one, and the direction in which it ends."""
        angles, pieces = np.radians(degrees), degrees.shape[1]
        steps = 1000.0 * km / pieces * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
        line = self.best(start + np.concatenate([np.zeros((len(steps), 1, 2)), np.cumsum(steps, axis=1)], axis=1))
        self.add(line)
        last = line[-1] - line[-2]
        return line, float(np.degrees(np.arctan2(last[1], last[0])))

    def best(self, lines: np.ndarray) -> np.ndarray:
        """Of k lines (k, p, 2) from one point the first that crosses and crowds least."""
        centre = lines[0, 0]
        near = self.pieces[(np.abs(self.pieces[:, :2] - centre) < REACH_M).all(axis=1)]
        if not len(near):
            return lines[0]
        crossings = _crossings(lines, near)
        middle, ends = 0.5 * (near[:, :2] + near[:, 2:]), lines[:, 1:]
        apart = np.linalg.norm(ends[:, :, None] - middle[None, None], axis=-1).min(axis=2)
        return lines[np.argmin(10 * crossings + (apart < CLEARANCE_M).sum(axis=1))]


def _crossings(lines: np.ndarray, pieces: np.ndarray) -> np.ndarray:
    """How many pieces each of k lines (k, p, 2) crosses; what merely touches its first point does not count."""
    a, b = lines[:, :-1, None], lines[:, 1:, None]
    c, d = pieces[None, None, :, :2], pieces[None, None, :, 2:]

    def side(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> np.ndarray:
        return (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (q[..., 1] - p[..., 1]) * (r[..., 0] - p[..., 0])

    away = a + 0.02 * (b - a)       # the first piece begins on another line
    crosses = (side(away, b, c) * side(away, b, d) < 0) & (side(c, d, away) * side(c, d, b) < 0)
    return crosses.sum(axis=(1, 2))


def routes(rng: np.random.Generator, rows: list[dict]) -> dict[str, np.ndarray]:
    """Points (PIECES + 1, 2) in metres of each section's line from its source end, by section_id.

    rows: of sections.csv, parents first.
    """
    plane, found, heading = Plane(), {}, {}
    feeders = {area: list(dict.fromkeys(r["feeder_id"] for r in rows if r["area"] == area)) for area in STATIONS}
    first = {feeder: FIRST_HEADING[area] + 360.0 * k / len(names)
             for area, names in feeders.items() for k, feeder in enumerate(names)}
    for row in sorted(rows, key=lambda r: ("-M" not in r["section_id"])):      # mains first, so that taps avoid them
        name, parent = row["section_id"], row["parent_id"]
        start = found[parent][-1] if parent else np.array(STATIONS[row["area"]])
        bends = np.cumsum(rng.normal(0.0, BEND, PIECES))
        if "-M" in name:
            towards = first[row["feeder_id"]]
            ahead = towards + 0.6 * (heading.get(parent, towards) - towards)
            turns = np.zeros(1)
        else:
            ahead = heading[parent]
            turns = TURNS["branch" if "s" in name else "on" if name.endswith("a") else "lateral"]
            bends = bends - bends[0]
        line, heading[name] = plane.draw(start, ahead + turns[:, None] + bends, row["length_km"])
        found[name] = line
        if "-M" in name:   # without a jump of a whole turn from the direction of the feeder
            heading[name] += 360.0 * round((ahead - heading[name]) / 360.0)
    return found


def longitude_latitude(points: np.ndarray) -> np.ndarray:
    """Degrees of points (…, 2) in metres of UTM zone 31 N.

    Series of the transverse Mercator projection, J. P. Snyder, Map Projections: A Working Manual, USGS Professional
    Paper 1395, 1987, equations 8-12 to 8-25; from memory, to a millimetre here against another program.
    """
    a, e2, k0, central = 6_378_137.0, 0.006_694_379_990_14, 0.9996, 3.0
    ep2 = e2 / (1 - e2)
    x, y = points[..., 0] - 500_000.0, points[..., 1]
    mu = y / k0 / (a * (1 - e2 / 4 - 3 * e2 ** 2 / 64 - 5 * e2 ** 3 / 256))
    e1 = (1 - np.sqrt(1 - e2)) / (1 + np.sqrt(1 - e2))
    phi = (mu + (3 * e1 / 2 - 27 * e1 ** 3 / 32) * np.sin(2 * mu)
           + (21 * e1 ** 2 / 16 - 55 * e1 ** 4 / 32) * np.sin(4 * mu) + 151 * e1 ** 3 / 96 * np.sin(6 * mu))
    sin2, t, c = np.sin(phi) ** 2, np.tan(phi) ** 2, ep2 * np.cos(phi) ** 2
    n, r = a / np.sqrt(1 - e2 * sin2), a * (1 - e2) / (1 - e2 * sin2) ** 1.5
    d = x / (n * k0)
    latitude = phi - n * np.tan(phi) / r * (d ** 2 / 2 - (5 + 3 * t + 10 * c - 4 * c ** 2 - 9 * ep2) * d ** 4 / 24)
    longitude = (d - (1 + 2 * t + c) * d ** 3 / 6) / np.cos(phi)
    return np.stack([central + np.degrees(longitude), np.degrees(latitude)], axis=-1)


def write_routes(path: Path, lines: dict[str, np.ndarray]) -> None:
    """A LineString a section, WGS 84 (GeoJSON, RFC 7946), a feature a line of text."""
    features = [{"type": "Feature", "properties": {"section_id": name}, "geometry": {
        "type": "LineString", "coordinates": longitude_latitude(line).round(6).tolist()}}
        for name, line in lines.items()]
    path.write_text(feature_collection(features), encoding="utf-8")


def feature_collection(features: list[dict], **members: object) -> str:
    """GeoJSON with a feature a line."""
    head = json.dumps({"type": "FeatureCollection", **members})[:-1]
    return head + ', "features": [\n' + ",\n".join(json.dumps(f) for f in features) + "\n]}\n"
