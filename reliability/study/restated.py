"""Tables of sections with other numbers in some columns, as files that the study can be opened with."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from reliability.schema.columns import KM_PER_MILE
from reliability.study.headers import TextTable
from reliability.study.study import Study
from reliability.study.text_tables import frame_bytes, rows_frame

_KM, _MI = "_per_km", "_per_mi"


def may_restate(study: Study) -> bool:
    """Whether the tables of sections can be written again: there are files, and a comma is no decimal sign in them."""
    tables = study.section_tables
    return bool(tables) and not any(table.decimal_comma for table in tables)


def restated_tables(study: Study, files: Mapping[str, bytes],
                    columns: Mapping[str, np.ndarray]) -> tuple[dict[str, bytes], list[str]]:
    """Files of sections with other numbers, and the names of sheets whose place a CSV takes.

    files: content of the study's files by name. columns: name → (n,) in the order of `Study.sections`, per kilometre;
    NaN leaves a cell as it is. Other cells stay as they are written. Raises ValueError where `may_restate` says no.
    """
    if not may_restate(study):
        raise ValueError("the tables of sections cannot be written again")
    changed: dict[str, bytes] = {}
    first = 0
    for table in study.section_tables:
        rows = slice(first, first + len(table))
        first += len(table)
        if all(np.isnan(values[rows]).all() for values in columns.values()):
            continue
        frame = rows_frame(table.file, files[table.file])
        for name, values in columns.items():
            _put(frame, table, name, values[rows])
        changed[f"{Path(table.file).stem}.csv"] = frame_bytes(frame)
    return changed, [t.file for t in study.section_tables if f"{Path(t.file).stem}.csv" in changed.keys() - {t.file}]


def _put(frame: pd.DataFrame, table: TextTable, name: str, values: np.ndarray) -> None:
    """Numbers into their column, which is added where the file has none."""
    header, per_mile = table.headers.get(name), name.replace(_KM, _MI)
    if header is None and per_mile in table.headers:
        header, values = table.headers[per_mile], values * KM_PER_MILE
    known = ~np.isnan(values)
    if header is None and known.any():
        header = name
        frame[header] = ""
    if header is not None:
        texts = [f"{v:.0f}" if v.is_integer() else repr(v) for v in values[known].tolist()]
        frame.loc[np.array(table.rows)[known], header] = texts
