"""Places of a page that are drawn once more is known: what stood there before stays until then, and nothing moves."""

from __future__ import annotations

import streamlit as st
from streamlit.delta_generator import DeltaGenerator


class Slot:
    """A place that is drawn later in a run, or several times; `look.css` keeps room by its key where sizes vary.

    An empty element would take away at once what the last run drew there. A container leaves it until something new is
    drawn, and what is not drawn again goes when the run ends.
    """

    def __init__(self, key: str) -> None:
        self._block = st.container(key=key)
        self._inside: DeltaGenerator | None = None

    def again(self) -> DeltaGenerator:
        """The place, for one element or one container, which replaces the one before."""
        if self._inside is None:
            self._inside = self._block.empty()
        return self._inside
