"""A matplotlib figure written as SVG in one drawing.

Saving a figure whose parts are laid out draws it twice, the first time for its layout alone, and measures every text
again for each figure. Here it is laid out once, and a text that was measured is known.
"""

from __future__ import annotations

import io
from functools import lru_cache
from typing import Any

from matplotlib.backends.backend_svg import FigureCanvasSVG, RendererSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextToPath

from reliability.report.plot_layout import POINTS_PER_INCH

TEXTS_KNOWN = 20_000
_NO_DATE = {"Date": None, "Creator": None, "Format": None, "Type": None}


class _Canvas(FigureCanvasSVG):
    """A canvas that is laid out with the renderer that it is drawn with."""

    drawn_by: RendererSVG

    def get_renderer(self) -> RendererSVG:
        return self.drawn_by


class _Renderer(RendererSVG):
    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> tuple[float, float, float]:
        return _measured(s, prop.copy(), ismath)


@lru_cache(TEXTS_KNOWN)
def _measured(text: str, font: FontProperties, is_math: Any) -> tuple[float, float, float]:
    """Width, height and descent of a text; font: a copy that nobody changes."""
    found: tuple[float, float, float] = TextToPath().get_text_width_height_descent(text, font, is_math)
    return found


def svg_of(figure: Figure) -> str:
    """The figure as SVG text without a date."""
    out = io.StringIO()
    canvas = _Canvas(figure)
    figure.set_dpi(POINTS_PER_INCH)
    wide, high = (float(side) * POINTS_PER_INCH for side in figure.get_size_inches())
    canvas.drawn_by = _Renderer(wide, high, out, image_dpi=POINTS_PER_INCH, metadata=_NO_DATE)
    figure.draw(canvas.drawn_by)
    canvas.drawn_by.finalize()
    return out.getvalue()
