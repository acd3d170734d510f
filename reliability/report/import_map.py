"""The map of an import: segments as drawn, with those that need a look."""

from __future__ import annotations

import numpy as np

from reliability.formats import count
from reliability.intake import Imported
from reliability.intake.findings import AMBER, RED, SEGMENT
from reliability.report.chart import DASHED, DOTTED, MapChart, MapLines
from reliability.report.palette import GREY, INK, ORANGE, PLUM
from reliability.study.plan_view import on_a_plane

MARGIN = 0.04       # of the extent, around what is drawn
LEAST_M = 100.0
NOT_ENERGISED = "not energised"
_CLASSES = (("in the study", GREY, 1.2, "solid"), (NOT_ENERGISED, INK, 1.8, DOTTED),
            ("to be looked at (amber)", ORANGE, 2.4, "solid"), ("to be resolved (red)", PLUM, 3.0, DASHED))


def import_map(imported: Imported) -> MapChart | None:
    """Segments in plan by what was noticed about them; None where the exports have no geometry."""
    routes = imported.segment_routes
    if not routes:
        return None
    names = list(routes)
    points = np.concatenate([routes[n] for n in names])
    x, y = on_a_plane(points[:, 0], points[:, 1])
    ends = np.cumsum([len(routes[n]) for n in names])
    of = classes_of(imported, names)
    lines = []
    for k, (name, colour, width, dash) in enumerate(_CLASSES):
        chosen = np.flatnonzero(of == k)
        if len(chosen):
            lines.append(MapLines(name, *_broken(x, y, ends, chosen), colour, width, dash))
    text = "; ".join(f"{name}: {count(int((of == k).sum()), 'segment')}" for k, (name, *_) in enumerate(_CLASSES)
                     if (of == k).any())
    return MapChart("import-map", "Segments in plan", f"{text}.", tuple(lines), (), _window(x, y), "Segments")


def classes_of(imported: Imported, names: list[str]) -> np.ndarray:
    """(n,) class of each segment: the worst of what was noticed about it."""
    topology = [n for n in imported.report.findings.noted if n.part == "topology" and n.of == SEGMENT]
    dead = set(imported.report.findings.ids("island"))
    amber = {i for n in topology if n.state == AMBER and n.key != "island" for i in n.ids}
    red = {i for n in topology if n.state == RED and n.key != "island" for i in n.ids}
    return np.array([3 if n in red else 2 if n in amber else 1 if n in dead else 0 for n in names], int)


def _broken(x: np.ndarray, y: np.ndarray, ends: np.ndarray, chosen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points of the lines chosen, with a place that is not a number after each."""
    starts = np.append(0, ends[:-1])
    at = np.concatenate([np.append(np.arange(starts[k], ends[k]), -1) for k in chosen])
    gap = at < 0
    return np.where(gap, np.nan, x[at]), np.where(gap, np.nan, y[at])


def _window(x: np.ndarray, y: np.ndarray) -> tuple[float, float, float, float]:
    room = MARGIN * max(float(np.ptp(x)), float(np.ptp(y)), LEAST_M)
    return float(x.min()) - room, float(x.max()) + room, float(y.min()) - room, float(y.max()) + room
