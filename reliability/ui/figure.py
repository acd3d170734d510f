"""Pictures and tables with what belongs to them: an alternative text and the data as CSV."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

import pandas as pd
import plotly.graph_objects as go
import streamlit as st

from reliability.ui.text import plain

CONFIG = {"displayModeBar": False, "responsive": True}


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """A table as UTF-8 CSV in which no cell is a formula."""
    from reliability.cells import safe_frame
    return safe_frame(frame).to_csv(index=False, lineterminator="\n").encode("utf-8-sig")


def csv_button(name: str, data: Callable[[], pd.DataFrame], key: str) -> None:
    """Download of a table, made when it is asked for."""
    st.download_button(f"{plain(name)}, CSV", data=lambda: csv_bytes(data()), file_name=f"{key}.csv", mime="text/csv",
                       key=f"csv_{key}", on_click="ignore", type="tertiary", icon=":material/download:")


def chart(figure: go.Figure, alt: str, data: Callable[[], pd.DataFrame], name: str, key: str, *,
          on_select: Literal["ignore", "rerun"] = "ignore", csv: bool = True) -> Any:
    """Draw a figure in the app's own colours; returns what is selected in it, if asked for.

    alt: what the picture shows, in words. data: its numbers, as a table. csv: whether their
    download stands below; a picture that is drawn several times in one run brings it once.
    """
    selection = st.plotly_chart(figure, theme=None, key=f"chart_{key}" if csv else None, config=CONFIG, alt=alt,
                                on_select=on_select, selection_mode="points")
    if csv:
        csv_button(name, data, key)
    return selection


def table(frame: pd.DataFrame, name: str, key: str, *, height: int | None = None, **options: Any) -> Any:
    """A table to look at and to download."""
    if height:
        options["height"] = height
    shown = st.dataframe(frame, hide_index=True, key=f"table_{key}", alt=name, **options)
    csv_button(name, lambda: frame, key)
    return shown
