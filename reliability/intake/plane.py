"""One plane for the geometry of an export, in metres, whatever coordinate systems its layers have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from reliability.intake.decisions import PLACE, Decision
from reliability.intake.layers import WGS84, Shapes

LINE_GEOMETRY, MULTI_LINE = 1, 5
SCALE_TOLERANCE = 0.005         # of lengths; the zones of surveys stay within a thousandth. Our choice


@dataclass(frozen=True)
class Plane:
    """A plane in metres. crs: its coordinate system; stated: the recipe's, for layers that state none."""

    crs: Any
    stated: str

    def onto(self, shapes: Shapes) -> np.ndarray:
        """(rows,) geometry of a layer in the plane."""
        import shapely
        from pyproj import Transformer
        transform = Transformer.from_crs(system_of(shapes, self.stated), self.crs, always_xy=True)
        flat = shapely.force_2d(shapes.shapes)
        return np.asarray(shapely.transform(flat, lambda c: np.column_stack(transform.transform(c[:, 0], c[:, 1]))))

    def km(self, lines: np.ndarray) -> np.ndarray:
        """Lengths of lines in km."""
        import shapely
        return np.asarray(shapely.length(lines)) / 1000.0

    def degrees(self, lines: np.ndarray) -> list[np.ndarray | None]:
        """(points, 2) longitude and latitude of each line, WGS 84; None where there is none."""
        import shapely
        from pyproj import Transformer
        some = np.flatnonzero([g is not None for g in lines])
        points, of = shapely.get_coordinates(lines[some], return_index=True)
        transform = Transformer.from_crs(self.crs, WGS84, always_xy=True)
        both = np.column_stack(transform.transform(points[:, 0], points[:, 1]))
        result: list[np.ndarray | None] = [None] * len(lines)
        for row, part in zip(some, np.split(both, np.flatnonzero(np.diff(of)) + 1), strict=True):
            result[int(row)] = part
        return result


def system_of(shapes: Shapes, stated: str) -> str:
    """Name of a layer's coordinate system: the layer's own, else the recipe's; the recipe's also where the layer's are
    degrees and its coordinates cannot be, as in GeoJSON that was written without regard to RFC 7946."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError
    try:
        wrong = bool(shapes.crs) and _no_degrees(CRS.from_user_input(shapes.crs), shapes)
    except CRSError:
        wrong = True
    return stated if stated and (wrong or not shapes.crs) else shapes.crs


def _no_degrees(crs: Any, shapes: Shapes) -> bool:
    """Whether a system has degrees and the coordinates of a layer cannot be any."""
    import shapely
    box = shapely.total_bounds(shapes.shapes)
    return bool(crs.is_geographic and (np.abs(box[[0, 2]]).max() > 360 or np.abs(box[[1, 3]]).max() > 90))


def plane_of(layers: Sequence[Shapes], stated: str, decisions: list[Decision]) -> Plane | None:
    """The plane of some layers; None where a layer's coordinate system is open, which goes to `decisions`."""
    import shapely
    from pyproj import CRS, Transformer
    from pyproj.exceptions import CRSError
    names = []
    middle = []
    for shapes in layers:
        if all(g is None for g in shapes.shapes):
            continue
        name = system_of(shapes, stated)
        try:
            crs = CRS.from_user_input(name) if name else None
        except CRSError:
            crs = None
        box = shapely.total_bounds(shapes.shapes)
        if crs is None or _no_degrees(crs, shapes):
            why = ("the coordinate system is open" if not name else "this coordinate system is not known" if crs is None
                   else "coordinates are no degrees, as the system states")
            asked = Decision(PLACE, "geometry", "coordinate_system", name, why,
                             "[join] coordinate_system = \"EPSG:…\"")
            if asked not in decisions:
                decisions.append(asked)
            continue
        names.append(crs)
        to_degrees = Transformer.from_crs(crs, WGS84, always_xy=True)
        middle.append(to_degrees.transform((box[0] + box[2]) / 2, (box[1] + box[3]) / 2))
    if decisions or not names:
        return None
    longitude, latitude = np.median(np.array(middle), axis=0)
    if (all(c == names[0] for c in names) and names[0].is_projected and names[0].axis_info[0].unit_name == "metre"
            and _true_to_scale(names[0], longitude, latitude)):
        return Plane(names[0], stated)
    return Plane(CRS.from_proj4(f"+proj=aeqd +lat_0={latitude:.6f} +lon_0={longitude:.6f} +datum=WGS84 +units=m"),
                 stated)


def _true_to_scale(crs: Any, longitude: float, latitude: float) -> bool:
    """Whether a metre of a projection is one on the ground there, which one of web maps has at the equator alone."""
    from pyproj import Proj
    factors = Proj(crs).get_factors(longitude, latitude)
    return bool(max(abs(factors.meridional_scale - 1.0), abs(factors.parallel_scale - 1.0)) < SCALE_TOLERANCE)


def lines_of(shapes: np.ndarray) -> np.ndarray:
    """Each geometry as one line, None where it is none or cannot be."""
    import shapely
    kinds = shapely.get_type_id(shapes)
    result = shapes.copy()
    result[kinds != LINE_GEOMETRY] = None
    multi = np.flatnonzero(kinds == MULTI_LINE)
    if multi.size:
        joined = shapely.line_merge(shapes[multi])
        apart = shapely.get_type_id(joined) == MULTI_LINE
        for k in np.flatnonzero(apart):
            joined[k] = shapely.linestrings(shapely.get_coordinates(joined[k]))
        result[multi] = joined
    some = np.flatnonzero([g is not None for g in result])
    bad = ~np.isfinite(shapely.length(result[some])) | (shapely.get_num_points(result[some]) < 2)
    result[some[bad]] = None
    return result


def parts_apart(shapes: np.ndarray) -> np.ndarray:
    """(rows,) lines of several parts that do not meet: `lines_of` joins them one after the other."""
    import shapely
    multi = np.flatnonzero(shapely.get_type_id(shapes) == MULTI_LINE)
    apart = np.zeros(len(shapes), bool)
    apart[multi] = shapely.get_type_id(shapely.line_merge(shapes[multi])) == MULTI_LINE
    return apart


def split_line(line: Any, points: np.ndarray) -> tuple[list[Any], np.ndarray]:
    """A line cut at the places nearest to some points: the pieces in its direction, and each point's share of its
    length."""
    import shapely
    from shapely.ops import substring
    share = np.asarray(shapely.line_locate_point(line, shapely.points(points), normalized=True))
    bounds = np.r_[0.0, np.sort(share), 1.0]
    return [substring(line, a, b, normalized=True) for a, b in pairwise(bounds)], share
