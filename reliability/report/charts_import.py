"""The map of an import: every segment with a geometry, and what its report lists marked on it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from reliability.formats import count
from reliability.intake import Imported
from reliability.intake.findings import AMBER, GREEN, RED, SEGMENT, Noted
from reliability.report.chart import CIRCLE, DASHED, DOTTED, SOLID, MapChart, MapLines, MapMarks, MapPlaces
from reliability.report.charts_map import with_margin
from reliability.report.palette import GREY, INK, ORANGE, PLUM
from reliability.study.plan_view import on_a_plane

# Class of a segment by the worst that is listed about it: name, colour, width, dash.
_IN, _DEAD, _AMBER, _RED = range(4)
_CLASSES = (("in the study", GREY, 1.2, SOLID), ("not energised", INK, 1.8, DOTTED),
            ("to be looked at (amber)", ORANGE, 2.4, SOLID), ("to be resolved (red)", PLUM, 3.0, DASHED))
_CLASS_OF = {GREEN: _AMBER, AMBER: _AMBER, RED: _RED}
_BROKEN = np.array([[np.nan, np.nan]])
MOST_TITLES = 4                     # of one segment, that a pointer finds


def import_map(imported: Imported, keys: Collection[str] | None = None) -> MapChart | None:
    """The network of the exports in plan; None where no segment has a geometry.

    Segments that the report lists amber or red are drawn over the others, devices and customers that it lists as marks
    where their section begins. keys: of the findings that are marked, None for all amber and red ones.
    """
    routes = {name: np.asarray(route, float) for name, route in imported.segment_routes.items()}
    if not routes:
        return None
    noted = [n for n in imported.report.findings.noted if (n.state != GREEN if keys is None else n.key in keys)]
    plane = _on_one_plane(routes)
    worst, titles = _by_segment(noted, plane)
    of = {name: worst.get(name, _IN) for name in plane}
    lines, said = [], []
    for k, (name, colour, width, dash) in enumerate(_CLASSES):
        here = [plane[n] for n, one in of.items() if one == k]
        if here:
            lines.append(_lines(name, here, colour, width, dash))
            said.append(f"{name}: {count(len(here), 'segment')}")
    points = np.concatenate(list(plane.values()))
    window = with_margin((float(points[:, 0].min()), float(points[:, 0].max()), float(points[:, 1].min()),
                          float(points[:, 1].max())))
    return MapChart("import-map", "Segments in plan", f"{'; '.join(said)}.", tuple(lines),
                    tuple(_marks(imported, noted, plane)), window, "Segments", places=_places(titles, plane))


def _on_one_plane(routes: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Name → (points, 2) metres east and north, all on one plane."""
    points = np.concatenate(list(routes.values()))
    x, y = on_a_plane(points[:, 0], points[:, 1])
    ends = np.cumsum([len(r) for r in routes.values()])[:-1]
    return dict(zip(routes, np.split(np.column_stack([x, y]), ends), strict=True))


def _by_segment(noted: Sequence[Noted], plane: Collection[str]) -> tuple[dict[str, int], dict[str, list[str]]]:
    """Segment → its class, and what is listed about it."""
    worst: dict[str, int] = {}
    titles: dict[str, list[str]] = {}
    for one in (n for n in noted if n.of == SEGMENT):
        here = _DEAD if one.key == "island" else _CLASS_OF[one.state]
        for name in one.ids:
            if name in plane:
                worst[name] = max(worst.get(name, _IN), here)
                titles.setdefault(name, []).append(one.title)
    return worst, titles


def _lines(name: str, routes: Sequence[np.ndarray], colour: str, width: float, dash: str) -> MapLines:
    parts = [part for route in routes for part in (route, _BROKEN)]
    points = np.concatenate(parts) if parts else np.empty((0, 2))
    return MapLines(name, points[:, 0], points[:, 1], colour, width, dash)


def _marks(imported: Imported, noted: Sequence[Noted], plane: dict[str, np.ndarray]) -> list[MapMarks]:
    """Devices and customers that are listed, where the first segment of their section begins."""
    first = imported.segment_sections.drop_duplicates("section_id").set_index("section_id")["segment_id"]
    marks = []
    for state, word, colour in ((AMBER, "amber", ORANGE), (RED, "red", PLUM)):
        names = {name for n in noted if n.of != SEGMENT and n.state == state for name in n.ids}
        places = imported.places[imported.places["name"].isin(names)].drop_duplicates("name")
        at = [plane[s][0] for s in first.reindex(places["section_id"]).dropna() if s in plane]
        if at:
            x, y = np.array(at).T
            marks.append(MapMarks(f"devices and customers ({word})", x, y, CIRCLE, colour, True, 6.0))
    return marks


def _places(titles: dict[str, list[str]], plane: dict[str, np.ndarray]) -> MapPlaces | None:
    if not titles:
        return None
    middle = np.array([plane[n][len(plane[n]) // 2] for n in titles])
    return MapPlaces(middle[:, 0], middle[:, 1], np.arange(len(titles)), list(titles),
                     [[n, *t[:MOST_TITLES]] for n, t in titles.items()])
