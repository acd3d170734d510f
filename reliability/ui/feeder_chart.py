"""The picture of a feeder: its one-line diagram with laterals coloured by what a scenario brings them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import plotly.graph_objects as go

from reliability.network.tree import NO_DEVICE, Network
from reliability.report.map_classes import NO_LATERAL, Classed
from reliability.report.palette import GREY, INK, PLUM
from reliability.schema.devices import DEVICES
from reliability.ui import symbols
from reliability.ui.lengths import KM
from reliability.ui.one_line import Layout, Line, connections, lay_out, runs
from reliability.ui.plotting import BUTTONS, PICKED, PLOTLY_DASHES, PLOTLY_FONT, axis, layout, picture
from reliability.ui.text import label

ROW_PX, TALLEST_DRAWING = 21, 600          # pixels a row, and of a drawing: with more rows they lie closer
NAMED_ROW_PX = 11                  # pixels a row from which names have room
LEGENDS_HEIGHT, BOTTOM = 56, 120              # pixels for the two keys
LABELLED_AT_MOST = 130
Described = dict[str, object]      # a trace, shape or note as plotly reads it


def feeder_chart(network: Network, feeder: int, device: np.ndarray, classed: Classed, chosen: str | None = None,
                 large: bool = False, unit: tuple[str, float] = (KM, 1.0)) -> go.Figure:
    """One-line diagram of a feeder; the points can be picked and carry the section id of the lateral's head.

    device: (n,) codes of the devices that stand in the scenario. chosen: section_id of the lateral looked at. unit: of
    lengths, and how many kilometres it has.
    """
    places = lay_out(network, feeder)
    places = replace(places, x0=places.x0 / unit[1], x1=places.x1 / unit[1])
    at = places.sections
    lateral = network.unit[at]
    height = min(max(300, ROW_PX * places.rows + LEGENDS_HEIGHT + BOTTOM), TALLEST_DRAWING)
    roomy = (height - LEGENDS_HEIGHT - BOTTOM) / max(places.rows, 1) >= NAMED_ROW_PX
    shapes, notes = _devices(places, device[at])
    key_shapes, key_notes = _key(sorted({int(d) for d in device[at] if d != NO_DEVICE}),
                                 height - LEGENDS_HEIGHT - BOTTOM)
    shapes += [symbols.source(float(places.x0[k]), int(places.row[k]))
               for k in np.flatnonzero(places.x0 <= 1e-9).tolist()] + key_shapes
    reach = float(places.x1.max(initial=1.0))
    return picture(
        [*_main(places, lateral < 0), *_laterals(places, lateral, classed),
         _pickable(network, places, lateral, classed, chosen, roomy)],
        layout(height, False, **PICKED, margin={"l": 10, "r": BUTTONS, "t": LEGENDS_HEIGHT, "b": BOTTOM},
               modebar={"orientation": "v"}, shapes=shapes,
               annotations=notes + key_notes, legend={
                   "orientation": "h", "yanchor": "bottom", "y": 1.0, "x": 0,
                   "title": {"text": f"<b>{label(classed.legend, 80)}</b>", "side": "top"}},
               font={"family": PLOTLY_FONT, "size": 17 if large else 14, "color": INK},
               xaxis=axis(f"Distance from the source, {unit[0]} (short sections drawn longer)", showgrid=False,
                          zeroline=False, range=[-0.03 * reach, 1.09 * reach]),
               yaxis={"visible": False, "range": [float(places.row.min(initial=0)) - 0.8,
                                                  float(places.row.max(initial=0)) + 0.8]}))


def _lines(line: Line, style: dict[str, object], name: str = "") -> Described:
    return {"type": "scatter", "x": line[0], "y": line[1], "mode": "lines", "line": style, "name": name,
            "hoverinfo": "skip", "showlegend": bool(name)}


def _main(places: Layout, which: np.ndarray) -> list[Described]:
    return [_lines(connections(places, np.ones(len(places.row), dtype=bool)), {"color": INK, "width": 1.2}),
            _lines(runs(places, which), {"color": INK, "width": 4}, "main")]


def _laterals(places: Layout, lateral: np.ndarray, classed: Classed) -> list[Described]:
    of_section = np.where(lateral >= 0, classed.of_head[lateral], NO_LATERAL)
    return [_lines(runs(places, of_section == k), {"color": c.colour, "width": c.width, "dash": PLOTLY_DASHES[c.dash]},
                   c.name)
            for k, c in enumerate(classed.classes) if (of_section == k).any()]


def _devices(places: Layout, device: np.ndarray) -> tuple[list[Described], list[Described]]:
    """Symbols of the devices, and the letters in them."""
    shapes, letters = [], []
    inset = 0.35 * float(np.median(places.x1 - places.x0)) if len(device) else 0.0
    for k in np.flatnonzero(device != NO_DEVICE).tolist():
        x = float(places.x0[k]) + min(inset, 0.5 * float(places.x1[k] - places.x0[k]))
        y, name = int(places.row[k]), DEVICES[device[k]]
        shapes += symbols.shapes(name, x, y)
        letters += _letter(name, x, y)
    return shapes, letters


def _letter(device: str, x: float, y: float, **more: object) -> list[Described]:
    text, colour = symbols.letter(device)
    return [{"x": x, "y": y, "text": f"<b>{text}</b>", "showarrow": False, "font": {"size": 10, "color": colour},
             **more}] if text else []


def _key(present: list[int], plot_height: float) -> tuple[list[Described], list[Described]]:
    """The symbols with their names, below the axis."""
    y, shapes, notes = -98.0 / plot_height, [], []
    on_paper = {"xref": "paper", "yref": "paper"}
    for k, code in enumerate(present):
        name, x = DEVICES[code], 0.02 + 0.135 * k
        shapes += [s | on_paper for s in symbols.shapes(name, x, y)]
        notes += _letter(name, x, y, xanchor="center", yanchor="middle", **on_paper)
        notes.append({"text": name.replace("_", " "), "x": x, "y": y, "xshift": 14, "xanchor": "left",
                      "yanchor": "middle", "showarrow": False, **on_paper})
    return shapes, notes


def _pickable(network: Network, places: Layout, lateral: np.ndarray, classed: Classed,
              chosen: str | None, roomy: bool) -> Described:
    """Points at the laterals' far ends: their names where there is room, hover texts, and something to click."""
    at = places.sections
    head_at = {int(h): k for k, h in enumerate(at.tolist()) if lateral[k] == h}
    heads = list(head_at)
    ends: dict[int, float] = {}                    # right end of what stands on the head's own row
    for k in np.flatnonzero(lateral >= 0).tolist():
        head = int(lateral[k])
        if places.row[k] == places.row[head_at[head]]:
            ends[head] = max(ends.get(head, 0.0), float(places.x1[k]))
    rows = {h: int(places.row[k]) for h, k in head_at.items()}
    above = {h: int(network.unit[network.parent[h]]) for h in heads if network.parent[h] >= 0}
    followed = {up for h, up in above.items() if rows.get(up) == rows[h]}     # another lateral goes on in their row
    ids = [str(network.ids[h]) for h in heads]
    names, text = network.names[heads], [classed.text[k] for k in network.candidate_index[heads].tolist()]
    hover = [f"<b>{label(i)}</b><br>{int(network.customers_below[h])} customers<br>{label(said, 120)}"
             for h, i, said in zip(heads, names, text, strict=True)]
    all_named = roomy and len(heads) <= LABELLED_AT_MOST
    named = {"text": [label(n, 16) if all_named or i == chosen else "" for i, n in zip(ids, names, strict=True)],
             "mode": "markers+text"}
    return {
        "type": "scatter", "x": [ends[h] for h in heads], "y": list(rows.values()), **named,
        "textposition": ["top left" if h in followed else "middle right" for h in heads],
        "textfont": {"size": 11, "color": INK}, "hovertext": hover, "hoverinfo": "text",
        "customdata": ids, "name": "Lateral", "showlegend": False,
        "marker": {"size": [13 if i == chosen else 8 for i in ids],
                   "color": [PLUM if i == chosen else GREY for i in ids],
                   "line": {"color": INK, "width": [2 if i == chosen else 0.5 for i in ids]},
                   "symbol": ["diamond" if i == chosen else "circle" for i in ids]},
        "selected": {"marker": {"opacity": 1}}, "unselected": {"marker": {"opacity": 1}}}
