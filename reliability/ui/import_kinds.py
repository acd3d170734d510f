"""What a table of an import may be, in words, and whether the files are tables of a study already."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from reliability.intake.kinds import (
    CURVE_ROWS,
    CUSTOMERS,
    DEVICE_ROWS,
    FIELDS,
    IGNORE,
    OPERATION_ROWS,
    OUTAGE_ROWS,
    REQUIRED,
    SEGMENTS,
    SETTINGS_ROWS,
    SOURCES,
)
from reliability.schema.columns import COLUMN_TABLES
from reliability.study import StudyError, uploads
from reliability.study.text_tables import rows_frame
from reliability.study.uploaded_study import NETWORK_TABLES, own_table, probable_own_table
from reliability.ui import figure, import_draft
from reliability.ui.import_draft import Draft

KIND_NAMES = {SEGMENTS: "segments: spans of line", DEVICE_ROWS: "devices: protective and switching",
              CUSTOMERS: "customers: transformers or meters", SOURCES: "sources: where feeders begin",
              OUTAGE_ROWS: "outages: outage records",
              OPERATION_ROWS: "operations: counter readings and momentary events",
              SETTINGS_ROWS: "settings: overcurrent settings of reclosing devices",
              CURVE_ROWS: "curves: time-current curves by points", IGNORE: "not used"}
OWN_NAMES = {"sections": "sections: a study's own table of the network", "feeders": "feeders: a study's own, flat form",
             "laterals": "laterals: a study's own, flat form"}
RECORD_KINDS = {OUTAGE_ROWS, OPERATION_ROWS, SETTINGS_ROWS, CURVE_ROWS}


def is_own(draft: Draft) -> bool:
    """Whether the files are tables of a study: its network, or records alone that go to a network that is there."""
    try:
        if any(own_kind(draft, name) in NETWORK_TABLES for name in draft.tables):
            return True
        found = import_draft.prepared_of(draft).recognised
    except StudyError:
        return False
    if any(draft.own.get(one.table.file, {}).get("table") == "" or one.rule is not None for one in found):
        return False
    return all(one.kind in RECORD_KINDS or (not one.kind and probable_own_table(one.table.file,
                                                                                list(one.table.columns)))
               for one in found)


def own_kind(draft: Draft, name: str) -> str:
    """Which of a study's own tables of the network a file is: as decided, else by its headers; "" for none."""
    if name in draft.own:
        return str(draft.own[name].get("table", ""))
    return own_table(_headers(draft.token, name)) if name.casefold().endswith((".csv", ".xlsx")) else ""


@st.cache_data(max_entries=64, show_spinner=False)
def _headers(token: str, name: str) -> list[str]:
    """Headers of a file with one table, none where it cannot be read."""
    try:
        return [str(h) for h in rows_frame(name, (uploads.folder_of(token) / name).read_bytes()).columns]
    except (StudyError, OSError):
        return []


def kinds_guide() -> None:
    """The columns that each kind may have."""
    with st.expander("Kinds of tables and their columns", expanded=True):
        names = {**KIND_NAMES, **OWN_NAMES}
        kinds = [*FIELDS, *OWN_NAMES]
        kind = str(st.segmented_control("Table", kinds, default=SEGMENTS, key="columns_of", required=True))
        st.caption(f"{names[kind]}.")
        figure.table(_columns(kind), f"Columns of {kind}", "columns", height=380,
                     column_config={"meaning": st.column_config.TextColumn(width="large")})


def _columns(kind: str) -> pd.DataFrame:
    if kind in OWN_NAMES:
        return pd.DataFrame([{"column": c.name, "required": "yes" if c.required else "", "unit": c.unit,
                              "meaning": c.help} for c in COLUMN_TABLES[kind]])
    required = {name: " or ".join(group) for group in REQUIRED[kind] for name in group}
    return pd.DataFrame([{"column": f.name, "required": required.get(f.name, ""), "unit": f.column.unit,
                          "meaning": f.column.help} for f in FIELDS[kind]])
