"""Outage records and the small studies they belong to, for the tests of this room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from reliability.schema.columns import OUTAGES
from reliability.study.study import Study
from tests.networks import study_of

TWO_FEEDERS = (
    {"section_id": "A", "parent_id": "", "device": "breaker", "customers": 600, "length_km": 5.0},
    {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 200, "length_km": 2.0},
    {"section_id": "A1x", "parent_id": "A1", "device": "fuse", "customers": 50, "length_km": 1.0},
    {"section_id": "A2", "parent_id": "A", "device": "fuse", "customers": 150, "length_km": 3.0},
    {"section_id": "B", "parent_id": "", "device": "breaker", "customers": 1000, "length_km": 8.0},
)   # 1000 customers on feeder A, 1000 on feeder B


def frame(rows: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Rows as the reader of outages.csv leaves them: every column as text, and the spreadsheet row."""
    names = [c.name for c in OUTAGES]
    full = [{name: str(r.get(name, "")) for name in names} for r in rows]
    return pd.DataFrame(full, columns=names, dtype="str").assign(row=range(2, len(rows) + 2))


def study(rows: Sequence[Mapping[str, object]], sections=TWO_FEEDERS, extra: Mapping | None = None,
          **values: object) -> Study:
    """A study of `sections` with outage records; `extra` are the free tables of [history]."""
    return replace(study_of(sections, **values), outages=frame(rows), extra=extra or {})


def outage(event: str, started: str, restored: str, customers: object, section: str = "A1", **cells: object) -> dict:
    """One row of outages.csv."""
    return {"event_id": event, "section_id": section, "started": started, "restored": restored,
            "customers": customers, **cells}
