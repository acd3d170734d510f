"""The picture of a feeder: its one-line diagram with laterals coloured by what a scenario brings them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from reliability.network.tree import NO_DEVICE, Network
from reliability.study.columns import DEVICES
from reliability.ui import symbols
from reliability.ui.one_line import Layout, connections, lay_out, runs
from reliability.ui.palette import GREY, INK, axis, layout
from reliability.ui.text import label, number

ROW_PX = 21
TOP, BOTTOM = 56, 120              # pixels for the two keys
LABELLED_AT_MOST = 130
# classes of benefit: darker and thicker is more; a loss is orange
STEPS = ("#b9c7d6", "#86a3c3", "#4d79ab", "#1b4f8a", "#0c2c55")
WIDTHS = (2.0, 2.6, 3.2, 4.0, 5.0)
LOSS = "#c8640a"


@dataclass(frozen=True)
class Benefit:
    """What colours the laterals: one value a lateral's head, (n,) NaN elsewhere; more is better."""

    title: str
    unit: str
    values: np.ndarray


def benefit_classes(values: np.ndarray) -> tuple[np.ndarray, list[float]]:
    """Class of each value (−1 a loss, −2 nothing, 0 … 4), and the upper ends of the classes 0 … 3."""
    gains = values[values > 0]
    ends = np.unique(np.quantile(gains, (0.2, 0.4, 0.6, 0.8))).tolist() if gains.size else []
    classes = np.searchsorted(ends, values, side="left") if ends else np.zeros(len(values), dtype=int)
    classes = np.where(np.abs(values) <= 1e-9, -2, np.minimum(classes, len(STEPS) - 1))
    return np.where(values < -1e-9, -1, classes), ends


def feeder_chart(network: Network, feeder: int, device: np.ndarray, benefit: Benefit, chosen: str | None = None,
                 large: bool = False) -> go.Figure:
    """One-line diagram of a feeder; the points can be picked and carry the section id of the lateral's head.

    device: (n,) codes of the devices that stand in the scenario.
    """
    places = lay_out(network, feeder)
    figure = go.Figure()
    at = places.sections
    lateral = network.lateral[at]
    _main(figure, places, lateral < 0)
    _laterals(figure, network, places, lateral, benefit)
    _devices(figure, network, places, device[at])
    _pickable(figure, network, places, lateral, benefit, chosen)
    height = max(300, ROW_PX * places.rows + TOP + BOTTOM)
    _key(figure, sorted({int(d) for d in device[at] if d != NO_DEVICE}), height - TOP - BOTTOM)
    reach = float(places.x1.max(initial=1.0))
    figure.update_layout(
        **layout(height, False, hovermode="closest", margin={"l": 10, "r": 10, "t": TOP, "b": BOTTOM}, legend={
            "orientation": "h", "yanchor": "bottom", "y": 1.0, "x": 0,
            "title": {"text": f"<b>{benefit.title}, {benefit.unit}</b>  "}}),
        xaxis=axis("Distance from the source, km (short sections drawn longer)", showgrid=False, zeroline=False,
                   range=[-0.03 * reach, 1.09 * reach]),
        yaxis={"visible": False, "range": [places.row.min(initial=0) - 0.8, places.row.max(initial=0) + 0.8]})
    if large:
        figure.update_layout(font={"size": 17})
    return figure


def _main(figure: go.Figure, places: Layout, which: np.ndarray) -> None:
    x, y = connections(places, np.ones(len(places.row), dtype=bool))
    figure.add_scatter(x=x, y=y, mode="lines", line={"color": INK, "width": 1.2}, showlegend=False, hoverinfo="skip")
    x, y = runs(places, which)
    figure.add_scatter(x=x, y=y, mode="lines", line={"color": INK, "width": 4}, name="main", hoverinfo="skip")
    for k in np.flatnonzero(places.x0 <= 1e-9).tolist():
        figure.add_shape(symbols.source(float(places.x0[k]), int(places.row[k])))


def _laterals(figure: go.Figure, network: Network, places: Layout, lateral: np.ndarray, benefit: Benefit) -> None:
    heads = network.lateral_heads
    found, ends = benefit_classes(benefit.values[heads])
    of_head = np.full(len(network), 0)
    of_head[heads] = found
    classes = np.where(lateral >= 0, of_head[np.maximum(lateral, 0)], -3)
    low = 0.0
    for c in range(len(STEPS)):
        top = ends[c] if c < len(ends) else None
        name = f"up to {number(top, 2)}" if top is not None else f"above {number(low, 2)}"
        low = top if top is not None else low
        which = classes == c
        if which.any() and (c <= len(ends)):
            x, y = runs(places, which)
            figure.add_scatter(x=x, y=y, mode="lines", line={"color": STEPS[c], "width": WIDTHS[c]}, hoverinfo="skip",
                               name=name)
    for c, name, line in ((-2, "none", {"color": GREY, "width": 1.3}),
                          (-1, "worse than today", {"color": LOSS, "width": 3, "dash": "dot"})):
        if (classes == c).any():
            x, y = runs(places, classes == c)
            figure.add_scatter(x=x, y=y, mode="lines", line=line, hoverinfo="skip", name=name)


def _devices(figure: go.Figure, network: Network, places: Layout, device: np.ndarray) -> None:
    shapes, letters = list(figure.layout.shapes), []
    inset = 0.35 * float(np.median(places.x1 - places.x0)) if len(device) else 0.0
    for k in np.flatnonzero(device != NO_DEVICE).tolist():
        name = DEVICES[device[k]]
        x = float(places.x0[k]) + min(inset, 0.5 * float(places.x1[k] - places.x0[k]))
        shapes += symbols.shapes(name, x, int(places.row[k]))
        text, colour = symbols.letter(name)
        if text:
            letters.append({"x": x, "y": int(places.row[k]), "text": f"<b>{text}</b>", "showarrow": False,
                            "font": {"size": 10, "color": colour}})
    figure.update_layout(shapes=shapes, annotations=letters)


def _key(figure: go.Figure, present: list[int], plot_height: float) -> None:
    """The symbols with their names, below the axis."""
    y, shapes, notes = -98.0 / plot_height, [], []
    for k, code in enumerate(present):
        name, x = DEVICES[code], 0.02 + 0.135 * k
        shapes += [s | {"xref": "paper", "yref": "paper"} for s in symbols.shapes(name, x, y)]
        text, colour = symbols.letter(name)
        if text:
            notes.append({"text": f"<b>{text}</b>", "x": x, "y": y, "xref": "paper", "yref": "paper",
                          "xanchor": "center",
                          "yanchor": "middle", "showarrow": False, "font": {"size": 10, "color": colour}})
        notes.append({"text": name.replace("_", " "), "x": x, "y": y, "xref": "paper", "yref": "paper", "xshift": 14,
                      "xanchor": "left", "yanchor": "middle", "showarrow": False})
    figure.update_layout(shapes=[*figure.layout.shapes, *shapes], annotations=[*figure.layout.annotations, *notes])


def _pickable(figure: go.Figure, network: Network, places: Layout, lateral: np.ndarray, benefit: Benefit,
              chosen: str | None) -> None:
    """Points at the laterals' far ends: their names, hover texts, and something to click."""
    at = places.sections
    head_at = {int(h): k for k, h in enumerate(at.tolist()) if lateral[k] == h}
    heads = list(head_at)
    ends = {}                                     # right end of what stands on the head's own row
    for k in np.flatnonzero(lateral >= 0).tolist():
        head = int(lateral[k])
        if places.row[k] == places.row[head_at[head]]:
            ends[head] = max(ends.get(head, 0.0), float(places.x1[k]))
    x, y = [ends[h] for h in heads], [int(places.row[head_at[h]]) for h in heads]
    ids = [str(network.ids[h]) for h in heads]
    hover = [f"<b>{label(i)}</b><br>{int(network.customers_below[h])} customers<br>{benefit.title}: "
             f"{number(benefit.values[h])} {benefit.unit}" for h, i in zip(heads, ids, strict=True)]
    names = [label(i, 16) for i in ids] if len(heads) <= LABELLED_AT_MOST else None
    figure.add_scatter(
        x=x, y=y, mode="markers+text" if names else "markers", text=names, textposition="middle right",
        textfont={"size": 11, "color": INK}, hovertext=hover, hoverinfo="text", customdata=ids, name="Lateral",
        marker={"size": [13 if i == chosen else 8 for i in ids],
                "color": ["#c8640a" if i == chosen else GREY for i in ids],
                "line": {"color": INK, "width": [2 if i == chosen else 0.5 for i in ids]},
                "symbol": ["diamond" if i == chosen else "circle" for i in ids]},
        selected={"marker": {"opacity": 1}}, unselected={"marker": {"opacity": 1}}, showlegend=False)
