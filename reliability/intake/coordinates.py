"""Where the rows of a table stand, by coordinates in its columns: text of a geometry, or numbers in pairs of columns.

A text is well-known text (OGC 06-103r4, clause 7; from memory) or well-known binary as hexadecimal digits, with or
without the number of its coordinate system. Longitude and latitude are WGS 84, as in GeoJSON; x and y are of the
coordinate system that the recipe states.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from reliability.intake.layers import WGS84, Shapes
from reliability.intake.reading import ExportTable
from reliability.study.header_names import exact_name

READABLE = 0.9      # share of the cells with text that must be coordinates (our choice)
_WKT = re.compile(r"\s*(?:SRID\s*=\s*(\d+)\s*;)?\s*(?:MULTI)?(?:POINT|LINESTRING)\s*(?:Z|M|ZM)?\s*(?:\(|EMPTY)",
                  re.IGNORECASE)
_WKB = re.compile(r"\s*0[01](?:[0-9A-F]{2}){9,}\s*", re.IGNORECASE)
# Words in the headers of exports, east before north; our collection, common practice, no source.
_DEGREES = (("longitude", "lon", "long", "lng"), ("latitude", "lat"))
_METRIC = (("x", "easting", "east"), ("y", "northing", "north"))
_ENDS = (("from", "to"), ("start", "end"), ("begin", "end"), ("1", "2"))
_ABOUT = re.compile(r"gps|wgs_?84|coordinates?|coord|point|pt|deg|dd|[_\W]")


def with_places(table: ExportTable, but: Collection[str] = ()) -> ExportTable | None:
    """A table with the geometry that its columns hold, in place of these columns; None where they hold none.

    but: headers that stand for something else.
    """
    free = {h: cells for h, cells in table.columns.items() if exact_name(h) not in but}
    for headers, shapes in (*_texts(free), *_numbers(free, table.decimal_comma)):
        return replace(table, shapes=shapes, placed_by=headers,
                       columns={h: c for h, c in table.columns.items() if h not in headers},
                       kinds={h: k for h, k in table.kinds.items() if h not in headers})
    return None


def _texts(columns: dict[str, np.ndarray]) -> Iterator[tuple[tuple[str, ...], Shapes]]:
    """Columns whose cells are geometries as text."""
    for header, cells in columns.items():
        given = cells[cells != ""]
        for form in (_WKT, _WKB):
            if len(given) and form.match(given[0]) and np.mean([bool(form.match(c)) for c in given]) >= READABLE:
                yield (header,), _shapes_of(cells, form is _WKT)


def _shapes_of(cells: np.ndarray, text: bool) -> Shapes:
    import shapely
    texts: list[Any] = [cell or None for cell in cells.tolist()]
    if text:
        systems = {int(m[1]) for c in cells if (m := _WKT.match(c)) and m[1]}
        texts = [t and (t.partition(";")[2] or t) for t in texts]
        shapes = np.asarray(shapely.from_wkt(texts, on_invalid="ignore"))
    else:
        shapes = np.asarray(shapely.from_wkb(texts, on_invalid="ignore"))
        systems = set(np.unique(shapely.get_srid(shapes)).tolist()) - {-1, 0}
    shapes[shapely.is_empty(shapes)] = None
    return Shapes(shapes, f"EPSG:{systems.pop()}" if len(systems) == 1 else "")


def _numbers(columns: dict[str, np.ndarray], decimal_comma: bool) -> Iterator[tuple[tuple[str, ...], Shapes]]:
    """Columns of numbers: those of two ends make a line, those of one place a point."""
    named = {_bare(h): h for h in reversed(columns)}
    for words, crs in ((_DEGREES, WGS84), (_METRIC, "")):
        for ends in (*_ENDS, ("",)):
            headers = [[next((named[n] for word in of for n in (end + word, word + end) if n in named), "")
                        for of in words] for end in ends]
            if not all(map(all, headers)):
                continue
            points = np.stack([[_decimals(columns[h], decimal_comma) for h in pair] for pair in headers])
            if _are_places(points, [columns[h] for pair in headers for h in pair], bool(crs)):
                import shapely
                shapes = np.full(points.shape[2], None, dtype=object)
                some = np.flatnonzero(np.isfinite(points).all(axis=(0, 1)) & (points != 0.0).any(axis=1).all(axis=0))
                line = np.moveaxis(points[:, :, some], 2, 0)        # (rows, ends, 2)
                shapes[some] = shapely.linestrings(line) if len(ends) > 1 else shapely.points(line[:, 0])
                yield tuple(h for pair in headers for h in pair), Shapes(shapes, crs)


def _bare(header: str) -> str:
    """A header without what says nothing of which coordinate it is."""
    return _ABOUT.sub("", exact_name(header))


def _decimals(cells: np.ndarray, decimal_comma: bool) -> np.ndarray:
    """(rows,) numbers, NaN where a cell is none."""
    texts = pd.Series(cells, dtype="str")
    if decimal_comma:
        texts = texts.str.replace(",", ".")
    numbers: Any = pd.to_numeric(texts.where(texts != ""), errors="coerce")
    return np.asarray(numbers, dtype=float)


def _are_places(points: np.ndarray, cells: list[np.ndarray], degrees: bool) -> bool:
    """Whether coordinates (ends, 2, rows) can be what their headers say."""
    given = np.stack([column != "" for column in cells]).reshape(points.shape)
    good = np.isfinite(points) & given
    if not good.any() or good.sum() < READABLE * given.sum():
        return False
    return not degrees or bool(np.all(np.nanmax(np.abs(points), axis=(0, 2)) <= (360.0, 90.0)))
