"""What all pictures of the app share: how a figure, its axes and its patterns are put to plotly."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from zlib import crc32

import numpy as np
import plotly.graph_objects as go

from reliability.formats import SEPARATORS, exact
from reliability.report.chart import DASHED, DOTTED, SOLID
from reliability.report.palette import GREY, GRID, INK, PAPER

PLOTLY_DASHES = {SOLID: "solid", DASHED: "dash", DOTTED: "dot"}
BUTTONS = 48                       # pixels at the right of a picture that can be enlarged, for its buttons
FEW_DECADES = 2                    # up to so many have ticks between the powers of ten
BAR_GAP = 0.35                     # of the room of a category
PLOTLY_FONT = '"Source Sans", Arial, sans-serif'
# of a picture in which a point is picked: what the framework would set itself, and draw the picture again for
PICKED: dict[str, object] = {"hovermode": "closest", "dragmode": "pan", "clickmode": "event+select"}


def picture(traces: list[dict[str, object]], arrangement: dict[str, object]) -> go.Figure:
    """A figure of plain descriptions; plotly's own check of each of them would take longer than all the rest.

    The framework hands every figure to plotly twice, the second time as a copy, once it has measured its room
    (`look.css` keeps that whole pixels). plotly draws all of it again unless it finds the copy to be the same: where
    the data have a revision and are lists, and where there is no template. Lists of the same revision it takes for the
    same, so that the revision follows what is in them.
    """
    data = [_listed(trace) for trace in traces]
    revision = crc32(repr((data, _listed(arrangement))).encode())
    figure = go.Figure({"data": data, "layout": {"template": {}, "datarevision": revision} | arrangement},
                       _validate=False)
    figure.layout.template = None       # one that is left out from the start would be the library's own
    return figure


def _listed(described: Mapping[str, object]) -> dict[str, object]:
    """A description with lists for its arrays, also of what it holds."""
    return {key: value.tolist() if isinstance(value, np.ndarray) else
            _listed(value) if isinstance(value, Mapping) else value for key, value in described.items()}


def pattern(shape: str) -> dict[str, object]:
    """A bar's pattern as plotly wants it."""
    return {"shape": shape, "fillmode": "overlay", "fgcolor": PAPER, "fgopacity": 0.8, "solidity": 0.25, "size": 7}


def layout(height: int, large: bool = False, **more: object) -> dict[str, object]:
    """What all figures share."""
    size = 19 if large else 14
    base: dict[str, object] = {
        "height": round(height * (1.25 if large else 1.0)), "font": {"family": PLOTLY_FONT, "size": size, "color": INK},
        "paper_bgcolor": PAPER, "plot_bgcolor": PAPER, "margin": {"l": 10, "r": 10, "t": 36, "b": 10},
        "hoverlabel": {"font": {"size": size, "family": PLOTLY_FONT}}, "bargap": BAR_GAP, "separators": SEPARATORS,
        "legend": {"orientation": "h", "yanchor": "bottom", "y": 1.02, "xanchor": "left", "x": 0},
    }
    return base | more


def axis(title: str, **more: object) -> dict[str, object]:
    """An axis with its title, and room made for labels."""
    return {"title": {"text": title}, "automargin": True, "gridcolor": GRID, "zerolinecolor": GREY, "linecolor": GREY,
            "ticks": "outside", "tickcolor": GREY} | more


def log_axis(title: str, values: Iterable[float], **more: object) -> dict[str, object]:
    """A logarithmic axis whose ticks are written in full: at 1, 2 and 5, or powers of ten alone where those are many.

    values: what is drawn along it; of what is not above 0 nothing is drawn.
    """
    drawn = np.array([v for v in values if np.isfinite(v) and v > 0.0] or [1.0])
    first, last = int(np.floor(np.log10(drawn.min()))), int(np.ceil(np.log10(drawn.max())))
    steps = (1, 2, 5) if last - first <= FEW_DECADES else (1,)
    ticks = [step * 10.0 ** k for k in range(first - 1, last + 2) for step in steps]
    return axis(title, **{"type": "log", "tickmode": "array", "tickvals": ticks,
                          "ticktext": [exact(t) for t in ticks]} | more)


def upright(at: float, **line: object) -> dict[str, object]:
    """A line across the whole height of a picture at one value of its horizontal axis."""
    return {"type": "line", "x0": at, "x1": at, "y0": 0, "y1": 1, "yref": "paper", "line": line}


CLOSE_LABELS = 0.24                       # of an axis: names of lines so close would be printed over one another


def named_lines(at: Mapping[str, float], span: float) -> tuple[list[dict[str, object]], list[dict[str, object]]]:
    """Dotted upright lines and their names above the picture: a name close to the one before stands a line higher.

    at: where each stands. span: length of the horizontal axis, in its unit.
    """
    shapes, notes, level, before = [], [], 0, float("-inf")
    for name, x in sorted(at.items(), key=lambda item: item[1]):
        level = level + 1 if x - before < CLOSE_LABELS * span else 0
        before = x
        shapes.append(upright(x, color=GREY, width=1.5, dash="dot"))
        notes.append({"x": x, "y": 1, "yref": "paper", "text": name, "showarrow": False, "yanchor": "bottom",
                      "yshift": 18 * level})
    return shapes, notes
