"""Where the sections run: lines in longitude and latitude from routes.geojson (GeoJSON, RFC 7946)."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from reliability.formats import count, shown
from reliability.schema.problems import Problem, Problems, shorten
from reliability.study.text_cells import cell_text

ROUTES_FILE = "routes.geojson"
IDS_NAMED = 5                           # ids that a note names
WGS_84 = ("CRS84", "4326")          # in the name of a coordinate system: longitude and latitude as RFC 7946 has them
_REPROJECT = "give longitude, then latitude, in degrees of WGS 84 (EPSG:4326)"


@dataclass(frozen=True)
class Routes:
    """Lines of sections: l of them, with p points together; a section may have several or none.

    row: (l,) row of each line's section in the study's sections, ascending. start: (l + 1,) where the points of each
    line begin, and their number. longitude, latitude: (p,) degrees, WGS 84.
    """

    row: np.ndarray
    start: np.ndarray
    longitude: np.ndarray
    latitude: np.ndarray

    def lines_of(self, row: int) -> list[list[list[float]]]:
        """The lines of the section in a row, each as positions of longitude and latitude."""
        first, last = np.searchsorted(self.row, [row, row + 1]).tolist()
        return [np.column_stack([self.longitude[a:b], self.latitude[a:b]]).tolist()
                for a, b in zip(self.start[first:last].tolist(), self.start[first + 1:last + 1].tolist(), strict=True)]


def read_routes(file: str, content: bytes, section_ids: Sequence[str],
                problems: Problems) -> tuple[Routes | None, tuple[str, ...]]:
    """Routes of the sections, and notes on features of unknown sections and sections without a route.

    file: as messages name it. section_ids: (n,) in the study's order. None where no section has a route, or what the
    file holds cannot be read; every problem is noted, its row being the number of the feature.
    """
    features = _features(file, content, problems)
    if features is None:
        return None, ()
    place = {name: row for row, name in enumerate(section_ids)}
    rows: list[int] = []
    lines: list[np.ndarray] = []
    unknown: list[str] = []
    wrong: dict[str, list[Problem]] = {}
    for number, feature in enumerate(features, 1):
        name, found = _feature(file, number, feature, wrong)
        if name is None:
            continue
        if name in place:
            rows += [place[name]] * len(found)
            lines += found
        else:
            unknown.append(name)
    for listed in wrong.values():
        problems.each(range(len(listed)), listed.__getitem__)
    notes = _notes(file, unknown, len(place) - len(set(rows)), len(place))
    return (_routes(rows, lines) if rows else None), notes


def _features(file: str, content: bytes, problems: Problems) -> list[Any] | None:
    """Features of the collection; None where it is none."""
    try:
        document = json.loads(content.decode("utf-8-sig"), parse_constant=_no_number)
    except UnicodeDecodeError:
        problems.add(Problem(file, "the text is not UTF-8", "save it as UTF-8, as GeoJSON is"))
        return None
    except (ValueError, RecursionError) as error:
        reason = f"line {error.lineno}, {error.msg}" if isinstance(error, json.JSONDecodeError) else str(error)
        problems.add(Problem(file, f"no valid JSON ({shorten(reason, 60)})", "export it again as GeoJSON"))
        return None
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list) or document.get("type") != "FeatureCollection":
        problems.add(Problem(file, "no FeatureCollection", "give a GeoJSON FeatureCollection, a feature a section",
                             column="type", value=_written(document.get("type") if isinstance(document, dict)
                                                           else document)))
        return None
    system = document.get("crs")    # of GeoJSON before RFC 7946
    if system is not None and not any(name in json.dumps(system) for name in WGS_84):
        problems.add(Problem(file, "coordinates of another system than WGS 84", f"reproject it: {_REPROJECT}",
                             column="crs", value=_written(system)))
        return None
    return features


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _feature(file: str, number: int, feature: Any,
             problems: dict[str, list[Problem]]) -> tuple[str | None, list[np.ndarray]]:
    """section_id of a feature and its lines, (p, 2) degrees each; None where it has problems, noted by rule."""

    def wrong(column: str, value: object, rule: str, remedy: str) -> None:
        problems.setdefault(rule, []).append(Problem(file, rule, remedy, number, column, _written(value)))

    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        wrong("type", feature.get("type") if isinstance(feature, dict) else feature, "no Feature",
              "leave it out, or make it a Feature with a LineString")
        return None, []
    properties = feature.get("properties")
    name = properties.get("section_id") if isinstance(properties, dict) else None
    text = cell_text(name) if isinstance(name, str | int | float) else ""
    if not text:
        wrong("section_id", name, "the feature does not say which section it is",
              "give it properties.section_id as in the sections")
    geometry = feature.get("geometry")
    if geometry is None:                         # RFC 7946, 3.2: a feature without a place
        return text or None, []
    kind, coordinates = (geometry.get("type"), geometry.get("coordinates")) if isinstance(geometry, dict) else (
        geometry, None)
    if kind not in ("LineString", "MultiLineString"):
        wrong("geometry", kind, "neither a LineString nor a MultiLineString",
              "give the line that the section runs along, or null")
        return None, []
    parts = [coordinates] if kind == "LineString" else coordinates
    lines = [(part, _points(part)) for part in parts] if isinstance(parts, list) else [(parts, None)]
    sound = bool(text)
    for part, points in lines:
        if points is None:
            wrong("coordinates", part, "no line of two or more positions", _REPROJECT)
        elif (outside := (np.abs(points) > (180.0, 90.0)).any(axis=1)).any():
            wrong("coordinates", points[outside][0].tolist(), "neither longitude nor latitude in degrees",
                  f"reproject it: {_REPROJECT}")
        sound &= points is not None and not outside.any()
    return (text, [points for _, points in lines if points is not None]) if sound else (None, [])


def _points(line: Any) -> np.ndarray | None:
    """Positions of a line as (p, 2) numbers, heights left out; None where it is no line of numbers."""
    if not isinstance(line, list):
        return None
    try:
        points = np.array([position[:2] for position in line])
    except (TypeError, ValueError, KeyError):
        return None
    whole = points.ndim == 2 and points.shape[1] == 2 and len(points) >= 2 and points.dtype.kind in "if"
    return points.astype(float) if whole else None


def _written(value: object) -> str:
    """A value for a problem, its beginning where it is long."""
    return "" if value is None else value if isinstance(value, str) else shorten(json.dumps(
        value[:3] if isinstance(value, list) else value))


def _routes(rows: list[int], lines: list[np.ndarray]) -> Routes:
    row = np.array(rows, dtype=np.int64)
    order = np.argsort(row, kind="stable")
    lines = [lines[k] for k in order.tolist()]
    points = np.concatenate(lines)
    start = np.concatenate([[0], np.cumsum([len(line) for line in lines])])
    return Routes(row[order], start, points[:, 0], points[:, 1])


def _notes(file: str, unknown: list[str], without: int, sections: int) -> tuple[str, ...]:
    notes = []
    if unknown:
        names = ", ".join(shorten(name,
                                  40) for name in unknown[:IDS_NAMED]) + (" …" if len(unknown) > IDS_NAMED else "")
        notes.append(f"{file}: {count(len(unknown), 'feature')} of sections that the study does not have ({names}): "
                     "not drawn.")
    if without:
        notes.append(f"{file}: {shown(without, 'count')} of {count(sections, 'section')} without a route: "
                     "not on the map.")
    return tuple(notes)
