"""A described map drawn by plotly: it can be moved and enlarged, and what a pointer finds can be clicked.

All lines of a class are one path, a shape of the layout: as a trace each line would be an element of the page, and a
browser is slow with twenty thousand. A trace without a point stands for the class in the key.
"""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from reliability.report.chart import (
    CIRCLE,
    CROSS,
    DIAMOND,
    METRES_PER_KM,
    METRES_PER_MILE,
    SQUARE,
    TRIANGLE,
    MapChart,
    MapLines,
    MapMarks,
    MapPlaces,
    scale_bar,
)
from reliability.report.map_thinning import thinned
from reliability.report.palette import INK, PAPER, see_through
from reliability.ui.plotting import BUTTONS, PICKED, PLOTLY_DASHES, layout, picture
from reliability.ui.text import label

PLOTLY_SYMBOLS = {SQUARE: "square", DIAMOND: "diamond", TRIANGLE: "triangle-up", CIRCLE: "circle", CROSS: "x-thin"}
FINEST_SHARE = 1 / 4000                  # of the width of the picture: a bend that is smaller is left out
SCALE_BAR_AT = (0.02, -0.03)             # of the window, from its lower left corner: below what is drawn
BAR_ROOM = 0.06                    # of the window, below it
# Room for both keys. A frame that made room for them itself would be fitted to the network twice, and too large.
MAP_MARGINS: dict[str, int] = {"l": 10, "r": BUTTONS, "t": 100, "b": 74, "autoexpand": False}
KEYS_HEIGHT = MAP_MARGINS["t"] + MAP_MARGINS["b"]
FRAME_SHAPE, LEAST_HEIGHT = 2.2, 380    # width over height of a frame as it is asked for; pixels
LEGEND: dict[str, object] = {"orientation": "h", "x": 0, "itemclick": False, "itemdoubleclick": False}

Trace = dict[str, object]


def map_figure(chart: MapChart, large: bool, height: int) -> go.Figure:
    """The map on the screen, in kilometres or miles from its lower left corner, as large as its frame allows.

    height: of the frame, in pixels; that of a network much wider than it is tall is lower.
    """
    unit = METRES_PER_MILE if chart.miles else METRES_PER_KM
    west, east, south, north = chart.window

    def placed(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return (x - west) / unit, (y - south) / unit

    traces = [_key(line) for line in chart.lines if line.name]
    traces += [_at(*placed(marks.x, marks.y)) | _marks(marks) for marks in chart.marks]
    if chart.places is not None:
        traces.append(_at(*placed(chart.places.x, chart.places.y)) | _places(chart.places))
    bar, notes = _scale(chart.window, chart.miles, unit)
    finest = FINEST_SHARE * (east - west)
    shapes = [*(_line(line, *placed(*thinned(line.x, line.y, finest))) for line in chart.lines), bar]
    tall = (north - south) / unit
    ends = [(0.0, (east - west) / unit), (-BAR_ROOM * tall, tall)]
    across, up = ({"visible": False, "range": list(end)} for end in ends)
    return picture(traces, layout(
        _fitting(height, chart.window), large, **PICKED, shapes=shapes, annotations=notes, hoverdistance=30,
        margin=MAP_MARGINS, modebar={"orientation": "v"},
        # the frame keeps its size; of the two ranges one is made longer until both have one scale
        xaxis=across | {"constrain": "range"},
        yaxis=up | {"scaleanchor": "x", "scaleratio": 1, "constrain": "range"},
        legend=LEGEND | {"yanchor": "bottom", "y": 1.01,
                         "title": {"text": f"<b>{label(chart.legend, 80)}</b>", "side": "top"}},
        legend2=LEGEND | {"yanchor": "top", "y": -0.01}))


def _fitting(height: int, window: tuple[float, float, float, float]) -> int:
    """Height of a frame in which a window leaves little room above and below, at most `height`."""
    west, east, south, north = window
    needed = KEYS_HEIGHT + FRAME_SHAPE * height * (north - south) / (east - west)
    return min(height, max(round(needed), LEAST_HEIGHT))


def _style(line: MapLines) -> Trace:
    return {"color": line.colour, "width": line.width, "dash": PLOTLY_DASHES[line.dash]}


def _key(line: MapLines) -> Trace:
    return {"type": "scatter", "x": [None], "y": [None], "mode": "lines", "name": label(line.name, 60),
            "hoverinfo": "skip", "line": _style(line)}


def _line(line: MapLines, x: np.ndarray, y: np.ndarray) -> Trace:
    """One path of all lines of a class."""
    gap = np.isnan(x)
    verbs = np.where(np.append(True, gap[:-1]), "M", "L")
    path = "".join(f"{verb}{a:.7g},{b:.7g}" for verb, a, b, broken in
                   zip(verbs.tolist(), x.tolist(), y.tolist(), gap.tolist(), strict=True) if not broken)
    return {"type": "path", "path": path, "line": _style(line), "layer": "below"}


def _at(x: np.ndarray, y: np.ndarray) -> Trace:
    return {"type": "scatter", **{way: [float(f"{v:.7g}") for v in at.tolist()] for way, at in (("x", x), ("y", y))}}


def _marks(marks: MapMarks) -> Trace:
    border = {"color": marks.colour, "width": 2 if marks.shape == CROSS else 1.4}
    trace: Trace = {"mode": "markers", "name": label(marks.name, 60), "hoverinfo": "skip",
                    "showlegend": bool(marks.name), "legend": "legend2", "marker": {
                        "symbol": PLOTLY_SYMBOLS[marks.shape], "size": 1.3 * marks.size, "line": border,
                        "color": marks.colour if marks.filled else PAPER, "opacity": 1},
                    "selected": {"marker": {"opacity": 1}}, "unselected": {"marker": {"opacity": 1}}}
    if marks.labels is not None:
        trace |= {"mode": "markers+text", "text": [label(t, 30) for t in marks.labels], "textposition": "top right"}
    return trace


def _places(places: MapPlaces) -> Trace:
    """Points that nobody sees, with something to say and to click."""
    texts = ["<br>".join([f"<b>{label(lines[0], 60)}</b>", *(label(line, 120) for line in lines[1:])])
             for lines in places.texts]
    return {"mode": "markers", "name": "Laterals", "showlegend": False, "hoverinfo": "text",
            "hovertext": [texts[k] for k in places.picks.tolist()],
            "customdata": [places.ids[k] for k in places.picks.tolist()],
            # one of them is drawn, all are found
            "marker": {"size": 9, "opacity": 0, "color": INK, "maxdisplayed": 1},
            "selected": {"marker": {"opacity": 0}}, "unselected": {"marker": {"opacity": 0}}}


def _scale(window: tuple[float, float, float, float], miles: bool, unit: float) -> tuple[Trace, list[Trace]]:
    """The bar of a round length, which moves and grows with the map, and its words."""
    length, words = scale_bar(window, miles)
    west, east, south, north = window
    x, y = SCALE_BAR_AT[0] * (east - west) / unit, SCALE_BAR_AT[1] * (north - south) / unit
    tick = 0.008 * (east - west) / unit
    end = x + length / unit
    path = f"M {x} {y + tick} L {x} {y} L {end} {y} L {end} {y + tick}"
    return ({"type": "path", "path": path, "line": {"color": INK, "width": 2.5}},
            [{"x": (x + end) / 2, "y": y, "text": label(words), "showarrow": False, "yanchor": "bottom", "yshift": 2,
              "bgcolor": see_through(PAPER, 0.8)}])
