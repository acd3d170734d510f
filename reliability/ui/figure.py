"""Pictures and tables with what belongs to them: an alternative text and the data as CSV."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Literal

import pandas as pd
import plotly.graph_objects as go
import streamlit as st

from reliability.formats import DASH, grid_format
from reliability.ui.text import plain

CONFIG = {"displayModeBar": False, "responsive": True}
ZOOM = {"displayModeBar": True, "responsive": True, "scrollZoom": True, "displaylogo": False,
        "modeBarButtons": [["zoomIn2d", "zoomOut2d", "resetScale2d"]]}


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """A table as UTF-8 CSV in which no cell is a formula."""
    from reliability.cells import csv_text
    return csv_text(frame).encode("utf-8-sig")


def csv_button(name: str, data: Callable[[], pd.DataFrame], key: str) -> None:
    """Download of a table, made when it is asked for."""
    st.download_button(f"{plain(name)}, CSV", data=lambda: csv_bytes(data()), file_name=f"{key}.csv", mime="text/csv",
                       key=f"csv_{key}", on_click="ignore", type="tertiary", icon=":material/download:")


def chart(figure: go.Figure, alt: str, data: Callable[[], pd.DataFrame], name: str, key: str, *,
          on_select: Literal["ignore", "rerun"] = "ignore", csv: bool = True, zoom: bool = False) -> Any:
    """Draw a figure in the app's own colours; returns what is selected in it, if asked for.

    alt: what the picture shows, in words. data: its numbers, as a table. csv: whether their
    download stands below; a picture that is drawn several times in one run brings it once. zoom: the wheel enlarges
    it, and there are buttons to enlarge it and to put it back.
    """
    selection = st.plotly_chart(figure, theme=None, key=f"chart_{key}" if csv else None,
                                config=ZOOM if zoom else CONFIG, alt=alt,
                                on_select=on_select, selection_mode="points")
    if csv:
        csv_button(name, data, key)
    return selection


def table(frame: pd.DataFrame, name: str, key: str, *, height: int | None = None, **options: Any) -> Any:
    """A table to look at and to download; what does not exist is a dash, and a column's name is in words."""
    if height:
        options["height"] = height
    options["column_config"] = _in_words(frame, options.get("column_config", {}))
    shown = st.dataframe(_rounded(frame, options["column_config"]), hide_index=True, key=f"table_{key}", alt=name,
                         placeholder=DASH, **options)
    csv_button(name, lambda: frame, key)
    return shown


def _in_words(frame: pd.DataFrame, config: Mapping[str, Any]) -> dict[str, Any]:
    """The layout of each column, with words for a label where it has none."""
    layouts = {str(c): config.get(str(c), {}) for c in frame.columns}
    words = {c: layout | {"label": c.replace("_", " ")} for c, layout in layouts.items()
             if isinstance(layout, dict) and layout.get("label") is None}
    return dict(config) | words


def _rounded(frame: pd.DataFrame, config: Mapping[str, Any]) -> pd.DataFrame:
    """Rounded where the layout has thousands and no decimals: a browser would write decimals all the same."""
    whole = [c for c, layout in config.items() if isinstance(layout, dict) and c in frame
             and (layout.get("type_config") or {}).get("format") == grid_format("count")]
    return frame.assign(**{c: frame[c].astype(float).round() for c in whole})
