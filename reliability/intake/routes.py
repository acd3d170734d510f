"""Routes of segments and sections, from the source outwards."""

from __future__ import annotations

import numpy as np

from reliability.intake.merging import Runs
from reliability.intake.named import Named
from reliability.intake.placing import ON_LINE, Tree
from reliability.intake.spans import Spans


def segment_routes(spans: Spans) -> dict[str, np.ndarray]:
    """Segment → (points, 2) longitude and latitude, as drawn; of one that was cut each piece by its own name."""
    if spans.routes is None:
        return {}
    return {str(n): r for n, r in zip(spans.ids, spans.routes, strict=True) if r is not None}


def section_routes(tree: Tree, spans: Spans, runs: Runs, named: Named, up: np.ndarray) -> dict[str, np.ndarray]:
    """section_id → (points, 2) of its segments one after the other, outwards from the source."""
    if spans.routes is None:
        return {}
    line = np.flatnonzero(tree.why == ON_LINE)
    parts: dict[str, list[np.ndarray]] = {}
    for k in line[np.argsort(runs.order[line], kind="stable")].tolist():
        span = int(tree.span[k])
        route = spans.routes[span]
        if route is not None:
            parts.setdefault(str(named.base[k]), []).append(route if up[span] == spans.ends[span, 0] else route[::-1])
    return {name: np.concatenate(route) for name, route in parts.items()}
