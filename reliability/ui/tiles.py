"""Figures in large type, with their change: one piece of markup a tile.

The framework's own element comes as a program of its own, one element a figure; beside a simulation
that reports its progress a browser gets round to it last, and the figures are what people wait for.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import streamlit as st

from reliability.formats import DASH, number
from reliability.report.palette import SERIES, series

NOTHING = 5e-4                      # a change, as a share of the figure, that is shown as none


@dataclass(frozen=True)
class Figure:
    """A figure with its name; change: in words, and whether it is less (−1), more (1) or neither (0)."""

    name: str
    value: str
    change: str = ""
    direction: int = 0


def direction(change: float, value: float) -> int:
    """Whether a change is less (−1), more (1), or too small beside the value to matter (0)."""
    if abs(change) < NOTHING * max(abs(value), 1e-12):
        return 0
    return -1 if change < 0 else 1


def key(scenario: int) -> str:
    """Key of the tile of scenario number `scenario`; `look.css` gives it the colour of its bars by the first number."""
    return f"tile_{SERIES.index(series(scenario))}_{scenario}"


def figures_html(figures: Iterable[Figure]) -> str:
    """A list of names and figures; every text is taken as text."""
    return f'<dl class="figures">{"".join(map(_figure, figures))}</dl>'


def tile_html(title: str, under: str, figures: Iterable[Figure], money: Iterable[Figure] = ()) -> str:
    """A tile: what it is about, its figures two in a row, and money in a line each."""
    lines = "".join(f"<p>{html.escape(m.name)} <b>{html.escape(m.value)}</b></p>" for m in money)
    return (f'<div class="tile"><p class="tile-title"><b>{html.escape(title)}</b> {html.escape(under)}</p>'
            f"{figures_html(figures)}{lines}</div>")


def per_avoided(case: Mapping[str, Any], currency: str) -> str:
    """What a customer interruption and a customer-minute avoided cost, in one line.

    case: a scenario's business case, with cost_per_ci_avoided and cost_per_cmi_avoided (None for none).
    """
    each = [number(case[key]) for key in ("cost_per_ci_avoided", "cost_per_cmi_avoided")]
    return DASH if each == [DASH, DASH] else f"{each[0]} and {each[1]} {currency}"


def row(figures: Iterable[Figure], wide: bool = False) -> None:
    """Figures side by side in columns of one width, whatever they are, so that none moves another.

    wide: of columns that hold a range of money.
    """
    st.html(f'<div class="figure-row{" wide" if wide else ""}">{figures_html(figures)}</div>')


def _figure(figure: Figure) -> str:
    arrow, kind = {-1: ("↓ ", "less"), 0: ("", "same"), 1: ("↑ ", "more")}[figure.direction]
    change = f'<dd class="figure-change {kind}">{arrow}{html.escape(figure.change)}</dd>' if figure.change else ""
    return (f'<div><dt>{html.escape(figure.name)}</dt><dd class="figure-value">{html.escape(figure.value)}</dd>'
            f"{change}</div>")
