"""Places of a page that are drawn once more is known: what stood there before stays until then, and nothing moves."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from reliability.ui import figure


class Slot:
    """A place that is drawn later in a run, or several times; `look.css` keeps room by its key where sizes vary.

    An empty element would take away at once what the last run drew there. A container leaves it until something new is
    drawn, and what is not drawn again goes when the run ends.
    """

    def __init__(self, key: str) -> None:
        self._block = st.container(key=key)
        self._inside: DeltaGenerator | None = None
        self._drawn: list[tuple[go.Figure, str]] = []

    def again(self) -> DeltaGenerator:
        """The place, for one element or one container, which replaces the one before."""
        if self._inside is None:
            self._inside = self._block.empty()
        return self._inside

    def chart(self, picture: go.Figure, alt: str, name: str, key: str) -> None:
        """A picture that a run may draw several times; one like the last, as where nothing varies, is left standing."""
        if self._drawn[-1:] != [(picture, alt)]:
            self._drawn.append((picture, alt))
            with self.again().container():
                figure.chart(picture, alt, pd.DataFrame, name, f"{key}_{len(self._drawn)}", csv=False)
