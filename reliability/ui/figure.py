"""Pictures and tables with what belongs to them: an alternative text and the data as CSV."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, Literal

import pandas as pd
import plotly.graph_objects as go
import streamlit as st
from pandas.api.types import is_bool_dtype, is_numeric_dtype

from reliability.formats import DASH, TEXT_KIND, shown
from reliability.ui import download
from reliability.ui.headers import Header, header
from reliability.ui.text import plain

CONFIG = {"displayModeBar": False, "responsive": True}
ZOOM = {"displayModeBar": True, "responsive": True, "scrollZoom": False, "displaylogo": False,
        "modeBarButtons": [["zoomIn2d", "zoomOut2d", "resetScale2d"]]}
PINNED_FROM = 6                     # columns; the first of a wider table stays where the others are moved
WRITTEN_AT_MOST = 20_000            # cells; of a larger table the browser writes the numbers


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """A table as UTF-8 CSV in which no cell is a formula."""
    from reliability.cells import csv_text
    return csv_text(frame).encode("utf-8-sig")


def csv_button(name: str, data: Callable[[], pd.DataFrame], key: str) -> None:
    """Download of a table, made when it is asked for."""
    download.button(f"{plain(name)}, CSV", lambda: csv_bytes(data()), f"{key}.csv", "text/csv",
                    key=f"csv_{key}", type="tertiary", icon=":material/download:")


def chart(figure: go.Figure, alt: str, data: Callable[[], pd.DataFrame], name: str, key: str, *,
          on_select: Literal["ignore", "rerun"] = "ignore", csv: bool = True, zoom: bool = False) -> Any:
    """Draw a figure in the app's own colours; returns what is selected in it, if asked for.

    alt: what the picture shows, in words. data: its numbers, as a table. csv: whether their download stands below. key:
    of the picture, another for every time that it is drawn in one run (`slots.Slot.chart`). zoom: there are
    buttons to enlarge it and to put it back; the wheel scrolls the page.
    """
    selection = st.plotly_chart(figure, theme=None, key=f"chart_{key}",
                                config=ZOOM if zoom else CONFIG, alt=alt,
                                on_select=on_select, selection_mode="points")
    if csv:
        csv_button(name, data, key)
    return selection


def table(frame: pd.DataFrame, name: str, key: str, *, height: int | None = None,
          column_config: Mapping[str, Any] | None = None, data: Callable[[], pd.DataFrame] | None = None,
          **options: Any) -> Any:
    """A table to look at and to download: heads in words, numbers as everywhere, what does not exist a dash.

    column_config: by column a `Header` or its label where it is not that of `headers.COLUMN_HEADERS`, or a layout.
    data: what is downloaded, where that is not what is shown.
    """
    if height:
        options["height"] = height
    heads: dict[str, Header] = {}
    layouts: dict[str, Any] = {}
    for column in map(str, frame.columns):
        heads[column], layouts[column] = _laid_out(column, (column_config or {}).get(column))
    if len(frame.columns) > PINNED_FROM:        # what a row is about stays in sight
        first = str(frame.columns[0])
        layouts[first] = {**layouts[first], "pinned": True}
    drawn = st.dataframe(_written(frame, heads), hide_index=True, key=f"table_{key}", alt=name, placeholder=DASH,
                         column_config=layouts, **options)
    csv_button(name, data or (lambda: frame), key)
    return drawn


def _laid_out(column: str, given: Any) -> tuple[Header, dict[str, Any]]:
    """Head of a column and its layout."""
    head, layout = header(column), {}
    if isinstance(given, Header):
        head = Header(given.label or head.label, given.kind)
    elif isinstance(given, str):
        head = Header(given, head.kind)
    elif given:
        layout = given
        head = Header(given.get("label") or head.label, head.kind)
    return head, {**layout, "label": capital(head.label or column)}


def capital(words: str) -> str:
    """Words with a capital letter, a unit or a symbol in front left as it is."""
    first = words.replace(",", " ").split(" ")[0]
    return words if len(first) < 3 else words[0].upper() + words[1:]


def _written(frame: pd.DataFrame, heads: Mapping[str, Header]) -> Any:
    """The frame with its numbers as text of one format, by which a browser still sorts them as numbers."""
    numbers = [c for c in map(str, frame.columns) if is_numeric_dtype(frame[c]) and not is_bool_dtype(frame[c])]
    if not numbers or frame.size > WRITTEN_AT_MOST:
        return frame
    write: dict[Any, str | Callable[[object], str] | None] = {
        c: partial(shown, kind="any" if heads[c].kind == TEXT_KIND else heads[c].kind) for c in numbers}
    return frame.reset_index(drop=True).style.format(write, na_rep=DASH)
