"""Layers of GeoJSON, GeoPackage and shapefiles: attributes as text, geometry as arrays of points.

The only place that loads geopandas and pyogrio, and only when a file with geometry is read or a route is written.
"""

from __future__ import annotations

import json
import warnings
import zipfile
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np

from reliability.schema.problems import Problem, StudyError
from reliability.study.text_cells import column_kinds, column_text

GEOMETRY_SUFFIXES = (".geojson", ".json", ".gpkg", ".shp", ".zip")
WGS84 = "EPSG:4326"
_GEOJSON = (".geojson", ".json")


@dataclass(frozen=True)
class Shapes:
    """Geometry of the rows of a layer.

    shapes: (rows,) of shapely's geometries, None where a row has none or an empty one. crs: name of the coordinate
    system, "" where the file states none.
    """

    shapes: np.ndarray
    crs: str

    def __len__(self) -> int:
        return len(self.shapes)

    @property
    def lines(self) -> bool:
        """Whether most of the rows are lines."""
        import shapely
        kinds = shapely.get_type_id(self.shapes)
        return bool(np.isin(kinds, (1, 5)).sum() * 2 > (kinds >= 0).sum())


@dataclass(frozen=True)
class Layer:
    """A layer: its name ("" where it is the file's only one), header → (rows,) object array of text, and geometry.

    kinds: of columns whose cells are not all text or whole numbers, see `column_kinds`.
    """

    name: str
    columns: dict[str, np.ndarray]
    shapes: Shapes
    kinds: dict[str, list[str]]


def read_layers(path: Path) -> list[Layer]:
    """Every layer of a file. Raises StudyError where it cannot be read."""
    try:
        import pyogrio
        found = [(address, str(name)) for address in _addresses(path) for name, _ in pyogrio.list_layers(address)]
        if not found:
            raise StudyError([Problem(path.name, "no layer is in the file", "export the layer again")])
        return [_layer(path, address, name, name if len(found) > 1 else "") for address, name in found]
    except ImportError as error:
        raise StudyError([Problem(path.name, "geopandas and pyogrio are not installed",
                                  "install them: pip install -r requirements.txt")]) from error
    except (OSError, ValueError, RuntimeError) as error:
        text = str(error).replace(str(path.resolve()), path.name).replace("/vsizip/", "")
        reason = text.splitlines()[0][:160] if text else type(error).__name__
        raise StudyError([Problem(path.name, f"the geometry cannot be read ({reason})",
                                  "export the layer again as GeoPackage, GeoJSON or a whole shapefile")]) from error


def _addresses(path: Path) -> list[str]:
    """What GDAL calls the data in a file: of an archive each folder with shapefiles and each other file with layers."""
    if path.suffix.casefold() != ".zip":
        return [str(path)]
    try:
        with zipfile.ZipFile(path) as archive:
            inside = [PurePosixPath(n) for n in archive.namelist() if not n.startswith(("__MACOSX/", "."))]
    except zipfile.BadZipFile as error:
        raise OSError("no zip archive") from error
    folders = dict.fromkeys(str(p.parent) for p in inside if p.suffix.casefold() == ".shp")
    files = [str(p) for p in inside if p.suffix.casefold() in (*_GEOJSON, ".gpkg")]
    return [f"/vsizip/{path.resolve()}/{'' if place == '.' else place}".rstrip("/") for place in (*folders, *files)]


def _layer(path: Path, address: str, layer: str, name: str) -> Layer:
    import geopandas as gpd
    import shapely

    # text of GeoJSON may look like a time to the library, as an id T0017 does
    as_text = {"DATE_AS_STRING": "YES"} if address.casefold().endswith(_GEOJSON) else {}
    with warnings.catch_warnings():         # of cells and geometry that are checked here, with messages of our own
        warnings.simplefilter("ignore")
        frame: Any = gpd.read_file(address, layer=layer, engine="pyogrio", on_invalid="ignore", **as_text)
    geometry = frame.geometry.to_numpy() if isinstance(frame, gpd.GeoDataFrame) else np.full(len(frame), None)
    geometry = np.array(geometry, dtype=object)
    geometry[shapely.is_empty(geometry)] = None
    attributes = [c for c in frame.columns if not isinstance(frame, gpd.GeoDataFrame) or c != frame.geometry.name]
    columns = {str(c): np.array(column_text(frame[c]), dtype=object) for c in attributes}
    kinds = {str(c): letters for c in attributes if (letters := column_kinds(frame[c])) is not None}
    stated = getattr(frame, "crs", None)
    crs = "" if stated is None else stated.to_string()
    if path.suffix.casefold() in _GEOJSON:
        crs = crs or WGS84      # RFC 7946, 4
    return Layer(name, columns, Shapes(geometry, crs), kinds)


def routes_text(ids: list[str], routes: list[np.ndarray | None]) -> str:
    """Routes as GeoJSON (RFC 7946): a LineString a section, longitude and latitude in degrees, WGS 84."""
    features = [{"type": "Feature", "properties": {"section_id": name},
                 "geometry": {"type": "LineString", "coordinates": np.round(points, 7).tolist()}}
                for name, points in zip(ids, routes, strict=True) if points is not None and len(points) > 1]
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, allow_nan=False)
