"""Geometry into nodes: end points that are near become one node, taps that touch a line split it, points find a
place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from reliability.intake.decisions import Decision
from reliability.intake.findings import AMBER, GREEN, RED, Findings
from reliability.intake.kinds import DEVICE_ROWS, SEGMENTS, SOURCES, SUMMED_COLUMNS
from reliability.intake.layers import Shapes
from reliability.intake.plane import Plane, lines_of, parts_apart, plane_of, split_line
from reliability.intake.recipe import Recipe
from reliability.intake.spans import FROM_A, TO_A
from reliability.intake.typed import Typed
from reliability.intake.units import all_off

_LEAST_M = 1e-6     # ends that are equal up to rounding meet whatever the tolerance
_LONG_ENOUGH_KM, _ENOUGH = 0.01, 3    # segments of a file whose lengths are held against the geometry; our choice


@dataclass(frozen=True)
class Shaped:
    """Segments with the nodes that geometry gives them.

    frame: typed segments, cut where taps touch them: `piece` (0 for one that was not cut), `whole` (its name before).
    lines: (rows,) geometry in the plane, None without. plane: the plane. nodes: (m, 2) points; names: their names.
    """

    frame: pd.DataFrame
    lines: np.ndarray | None = None
    plane: Plane | None = None
    nodes: np.ndarray | None = None
    names: np.ndarray | None = None

    def routes(self) -> list[np.ndarray | None] | None:
        """(points, 2) longitude and latitude of each row, None without geometry."""
        return None if self.lines is None or self.plane is None else self.plane.degrees(self.lines)


def shaped_segments(typed: Typed, recipe: Recipe, findings: Findings, decisions: list[Decision]) -> Shaped:
    """Segments with named ends: as the rows state them, else by their geometry. Open coordinate systems go to
    `decisions`."""
    frame = typed.frame(SEGMENTS)
    frame = frame.assign(piece=0, whole=frame["segment_id"])
    parts = typed.shapes.get(SEGMENTS)
    if not parts:
        return Shaped(frame)
    plane = plane_of([shapes for kind in typed.shapes.values() for _, shapes in kind], recipe.coordinate_system,
                     decisions)
    if plane is None:
        return Shaped(frame)
    lines = np.full(len(frame), None, dtype=object)
    apart = np.zeros(len(frame), bool)
    for offset, shapes in parts:
        flat = plane.onto(shapes)
        lines[offset:offset + len(shapes)], apart[offset:offset + len(shapes)] = lines_of(flat), parts_apart(flat)
    located = np.array([g is not None for g in lines], bool)
    geometric = np.zeros(len(frame), bool)
    for offset, shapes in parts:
        geometric[offset:offset + len(shapes)] = True
    findings.add("topology", "no_geometry", "Segments whose geometry is missing or broken", RED,
                 frame["segment_id"].to_numpy(object)[geometric & ~located])
    findings.add("topology", "parts_apart", "Segments whose geometry has parts that do not meet: joined one after the "
                 "other", AMBER, frame["segment_id"].to_numpy(object)[apart])
    frame = _lengths(frame, lines, located, plane, parts, findings)
    at = np.flatnonzero(located)
    if not at.size:
        return Shaped(frame)
    points, cluster = _clusters(lines[at], recipe.tolerance_m)
    names, stated = _names(frame, at, cluster, len(points))
    frame, lines, cut = _cut(frame, lines, at, cluster, names, points, stated, recipe.tolerance_m)
    findings.add("topology", "cut", "Segments cut where a tap touches them", GREEN, cut)
    return Shaped(frame, lines, plane, points, names)


def _lengths(frame: pd.DataFrame, lines: np.ndarray, located: np.ndarray, plane: Plane, parts: list[tuple[int, Shapes]],
             findings: Findings) -> pd.DataFrame:
    """Lengths that are not stated taken from the geometry; stated ones that contradict it are listed.

    parts: first row and shapes of each file; one of them may have been read in a wrong unit.
    """
    drawn = np.full(len(frame), np.nan)
    drawn[located] = plane.km(lines[located])
    stated = frame["length"].to_numpy(float)
    missing = np.isnan(stated) & located
    findings.add("topology", "drawn_length", "Segments whose length was taken from their geometry", GREEN,
                 frame["segment_id"].to_numpy(object)[missing])
    with np.errstate(divide="ignore", invalid="ignore"):
        off = located & ~missing & (drawn > 0.05) & ((stated > 2 * drawn) | (stated < 0.5 * drawn))
    findings.add("topology", "length_differs", "Segments whose stated length is under half or over twice that of their "
                 "geometry", AMBER, frame["segment_id"].to_numpy(object)[off])
    off_alike: dict[str, list[np.ndarray]] = {}
    for start, shapes in parts:
        rows = np.arange(start, start + len(shapes))
        rows = rows[located[rows] & (drawn[rows] > _LONG_ENOUGH_KM) & (stated[rows] > 0.0)]
        if len(rows) >= _ENOUGH and (said := all_off(stated[rows] / drawn[rows])):
            off_alike.setdefault(said, []).append(rows)
    for said, of_files in off_alike.items():
        findings.add("topology", "length_unit", said, RED,
                     frame["segment_id"].to_numpy(object)[np.concatenate(of_files)])
    return frame.assign(length=np.where(missing, drawn, stated))


def _clusters(lines: np.ndarray, tolerance: float) -> tuple[np.ndarray, np.ndarray]:
    """(m, 2) points that stand for the nodes, and (lines, 2) node at the first and last point of each line."""
    import shapely
    first, last = shapely.get_point(lines, 0), shapely.get_point(lines, -1)
    ends = np.concatenate([shapely.get_coordinates(first), shapely.get_coordinates(last)])
    exact, of = np.unique(ends, axis=0, return_inverse=True)
    pairs = cKDTree(exact).query_pairs(max(tolerance, _LEAST_M), output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(exact), len(exact)))
    count, label = connected_components(graph, directed=False)
    points = np.empty((count, 2))
    points[label[::-1]] = exact[::-1]
    return points, label[of].reshape(2, -1).T


def _names(frame: pd.DataFrame, at: np.ndarray, cluster: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Name of each point: that of a node which a segment states there, else one of ours; and which rows state both
    ends."""
    ends = frame[["from_node", "to_node"]].to_numpy(object)[at]
    names = np.array([f"point {k + 1}" for k in range(count)], dtype=object)
    for side in (1, 0):
        some = np.flatnonzero(ends[:, side] != "")[::-1]
        names[cluster[some, side]] = ends[some, side]
    by_parent = (frame["parent_id"].to_numpy(object)[at] != "") & (ends == "").all(axis=1)
    return names, (ends != "").all(axis=1) | by_parent


def _cut(frame: pd.DataFrame, lines: np.ndarray, at: np.ndarray, cluster: np.ndarray, names: np.ndarray,
         points: np.ndarray, stated: np.ndarray, tolerance: float) -> tuple[pd.DataFrame, np.ndarray, list[str]]:
    """Rows with their ends named, cut at the points that lie on them."""
    ends = frame[["from_node", "to_node"]].to_numpy(object).copy()
    free = at[~stated]
    for side in (0, 1):
        blank = ends[free, side] == ""
        ends[free[blank], side] = names[cluster[~stated, side][blank]]
    frame = frame.assign(from_node=pd.Series(ends[:, 0], dtype=object), to_node=pd.Series(ends[:, 1], dtype=object))
    where = _touching(lines[free], cluster[~stated], points, tolerance)
    if not where:
        return frame, lines, []
    rows, shares, cells, parts = [], [], [], []
    for k, touched in where.items():
        row = int(free[k])
        pieces, share = split_line(lines[row], points[touched])
        order = np.argsort(share)
        way = [ends[row, 0], *names[np.array(touched)[order]], ends[row, 1]]
        bounds = np.r_[0.0, share[order], 1.0]
        for j in range(len(bounds) - 1):
            rows.append(row)
            shares.append((bounds[j], bounds[j + 1]))
            cells.append((way[j], way[j + 1], j + 1))
            parts.append(pieces[j])
    whole = np.setdiff1d(np.arange(len(frame)), rows)
    cut = _piece_rows(frame.iloc[rows].reset_index(drop=True), np.array(shares), cells)
    names_cut = list(dict.fromkeys(cut["whole"].tolist()))
    made = np.empty(len(parts), dtype=object)
    made[:] = parts
    return (pd.concat([frame.iloc[whole], cut], ignore_index=True), np.concatenate([lines[whole], made]), names_cut)


def _piece_rows(rows: pd.DataFrame, shares: np.ndarray, cells: list[tuple[str, str, int]]) -> pd.DataFrame:
    """Rows of the pieces: length and equipment faults by share, faults observed too as whole numbers, 1/current along
    the line, loads on the first piece."""
    start, end = shares.T
    first = np.array([c[2] for c in cells]) == 1
    rows["length"] = rows["length"] * (end - start)
    rows["equipment_fault_rate"] *= end - start
    rows["faults_observed"] = np.round(rows["faults_observed"] * end) - np.round(rows["faults_observed"] * start)
    a, b = 1 / rows[FROM_A].to_numpy(float), 1 / rows[TO_A].to_numpy(float)
    rows[FROM_A], rows[TO_A] = 1 / ((1 - start) * a + start * b), 1 / ((1 - end) * a + end * b)
    rows["from_node"] = pd.Series([c[0] for c in cells], dtype=object)
    rows["to_node"] = pd.Series([c[1] for c in cells], dtype=object)
    rows["piece"] = [c[2] for c in cells]
    rows["segment_id"] = pd.Series([n if k == 1 else f"{n} part {k}" for n, k in
                                    zip(rows["whole"], rows["piece"], strict=True)], dtype=object)
    for name in SUMMED_COLUMNS:
        rows[name] = np.where(first, rows[name], np.nan)
    return rows


def _touching(lines: np.ndarray, ends: np.ndarray, points: np.ndarray, tolerance: float) -> dict[int, list[int]]:
    """Line → points that lie on it between its ends."""
    import shapely
    tree = shapely.STRtree(lines)
    point, line = tree.query(shapely.points(points), predicate="dwithin", distance=max(tolerance, _LEAST_M))
    inside = (ends[line] != point[:, None]).all(axis=1)
    where: dict[int, list[int]] = {}
    for p, k in zip(point[inside].tolist(), line[inside].tolist(), strict=True):
        where.setdefault(k, []).append(p)
    return where


def shaped_points(typed: Typed, kind: str, shaped: Shaped, recipe: Recipe, findings: Findings) -> pd.DataFrame:
    """Rows of a kind; those that state no place but have a point get the node there, else the segment it stands on."""
    frame = typed.frame(kind)
    parts = typed.shapes.get(kind)
    if not parts or shaped.plane is None or shaped.lines is None or shaped.nodes is None or shaped.names is None:
        return frame
    import shapely
    places = [c for c in ("segment_id", "node_id", "pole_id", "from_node") if c in frame]
    bare = (frame[places] == "").all(axis=1).to_numpy(bool, copy=True)
    centre = np.full(len(frame), None, dtype=object)
    for offset, shapes in parts:
        centre[offset:offset + len(shapes)] = shapely.centroid(shaped.plane.onto(shapes))
    bare &= np.array([g is not None and not shapely.is_empty(g) for g in centre], bool)
    at = np.flatnonzero(bare)
    if not at.size:
        return frame
    near, node = map(np.asarray, cKDTree(shaped.nodes).query(shapely.get_coordinates(centre[at])))
    # a source begins at a node and nowhere else, so that it may stand as far from it as others from a line
    here = near <= max(recipe.reach_m if kind == SOURCES else recipe.tolerance_m, _LEAST_M)
    nodes = frame["node_id"].to_numpy(object, copy=True)
    nodes[at[here]] = shaped.names[node[here]]
    if kind == SOURCES:
        return frame.assign(node_id=pd.Series(nodes, dtype=object))
    rest = at[~here]
    rows = np.flatnonzero([g is not None for g in shaped.lines])
    found, line = shapely.STRtree(shaped.lines[rows]).query_nearest(centre[rest], max_distance=recipe.reach_m,
                                                                    all_matches=False)
    segments = frame["segment_id"].to_numpy(object, copy=True)
    segments[rest[found]] = shaped.frame["segment_id"].to_numpy(object)[rows[line]]
    ids = frame["device_id" if kind == DEVICE_ROWS else "transformer_id"].to_numpy(object)
    findings.add(kind, f"{kind}_by_distance",
                 f"Points of {kind} placed on the nearest segment within {recipe.reach_m:g} m", GREEN, ids[rest[found]],
                 kind.rstrip("s"))
    return frame.assign(node_id=pd.Series(nodes, dtype=object), segment_id=pd.Series(segments, dtype=object),
                        exact=np.isin(np.arange(len(frame)), rest[found]))
