"""Figures in large type, with their change: one piece of markup for all that stand together.

The framework's own element comes as a program of its own, one element a figure; beside a simulation
that reports its progress a browser gets round to it last, and the figures are what people wait for.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from reliability.formats import DASH, number
from reliability.report.palette import SERIES, series

SMALLEST_CHANGE = 5e-4                      # a change, as a share of the figure, that is shown as none


@dataclass(frozen=True)
class TileFigure:
    """A figure with its name; change: in words, and whether it is less (−1), more (1) or neither (0)."""

    name: str
    value: str
    change: str = ""
    direction: int = 0


@dataclass(frozen=True)
class Tile:
    """What a tile is about, its figures, money in a line each, and what comes in later.

    turn: where its gain turns, None for a tile without. odds: how sure its gain is, in words, and the figure.
    """

    title: str
    under: str
    figures: Sequence[TileFigure]
    money: Sequence[TileFigure] = ()
    turn: str | None = None
    odds: tuple[str, str] = ("", "")


def direction(change: float, value: float) -> int:
    """Whether a change is less (−1), more (1), or too small beside the value to matter (0)."""
    if abs(change) < SMALLEST_CHANGE * max(abs(value), 1e-12):
        return 0
    return -1 if change < 0 else 1


def figures_html(figures: Iterable[TileFigure]) -> str:
    """A list of names and figures; every text is taken as text."""
    return f'<dl class="figures">{"".join(map(_figure, figures))}</dl>'


def tiles_html(shown: Iterable[Tile]) -> str:
    """Tiles as many in a row as there is room for, each in the colour of its bars; every text is taken as text."""
    return f'<div class="tiles">{"".join(_tile(at, tile) for at, tile in enumerate(shown))}</div>'


def _tile(at: int, tile: Tile) -> str:
    lines = "".join(f"<p>{html.escape(m.name)} <b>{html.escape(m.value)}</b></p>" for m in tile.money)
    if tile.turn is not None:
        text, figure = map(html.escape, tile.odds)
        lines += f'<p class="turn">{html.escape(tile.turn)}</p><p class="odds">{text} <b>{figure}</b></p>'
    colour = next(k for k, (of, _) in enumerate(SERIES) if of == series(at)[0])
    return (f'<div class="tile tile-{colour}"><p class="tile-title">'
            f"<b>{html.escape(tile.title)}</b> {html.escape(tile.under)}</p>{figures_html(tile.figures)}{lines}</div>")


def per_avoided(case: Mapping[str, Any], currency: str) -> str:
    """What a customer interruption and a customer-minute avoided cost, in one line.

    case: a scenario's business case, with cost_per_ci_avoided and cost_per_cmi_avoided (None for none).
    """
    each = [number(case[key]) for key in ("cost_per_ci_avoided", "cost_per_cmi_avoided")]
    return DASH if each == [DASH, DASH] else f"{each[0]} and {each[1]} {currency}"


def row(figures: Iterable[TileFigure], wide: bool = False, place: DeltaGenerator | None = None) -> DeltaGenerator:
    """Figures side by side in columns of one width, whatever they are, so that none moves another.

    wide: of columns that hold a range of money. place: that of a row drawn before, which this one replaces; returns it.
    """
    body = f'<div class="figure-row{" wide" if wide else ""}">{figures_html(figures)}</div>'
    return st.html(body) if place is None else place.html(body)


def _figure(figure: TileFigure) -> str:
    arrow, kind = {-1: ("↓ ", "less"), 0: ("", "same"), 1: ("↑ ", "more")}[figure.direction]
    change = f'<dd class="figure-change {kind}">{arrow}{html.escape(figure.change)}</dd>' if figure.change else ""
    return (f'<div><dt>{html.escape(figure.name)}</dt><dd class="figure-value">{html.escape(figure.value)}</dd>'
            f"{change}</div>")
