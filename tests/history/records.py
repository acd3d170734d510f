"""Outage records and the small studies they belong to, for the tests of this room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from reliability.history.major_events import YEARS_BACK
from reliability.history.model_days import CALLOUT_KINDS, ModelDays, YearSums
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


def model_days(saifi: Mapping[str, float], saidi: Mapping[str, float], customers: Mapping[str, float] | None = None,
               cv: float = 0.1, ordinary: float = 1.0, hours: float = 2.0, years: int = 400) -> ModelDays:
    """Days of a model with these indices by feeder, whose years vary by `cv`, and minutes a little beside.

    ordinary: share that days without major events hold. hours: to restore, of every kind.
    """
    names = sorted(saifi)
    served = np.array([1000.0 if customers is None else customers[f] for f in names])
    rng = np.random.default_rng(3)

    def factors(of: float) -> np.ndarray:
        sigma = np.sqrt(np.log1p(of ** 2))
        return np.exp(rng.standard_normal(years) * sigma - sigma ** 2 / 2)[:, None]

    common, beside = factors(cv), factors(0.02)
    ci = common * served * np.array([saifi[f] for f in names])
    cmi = common * beside * served * np.array([saidi[f] for f in names])
    feeders = pd.DataFrame({"saifi": [saifi[f] for f in names], "saidi_min": [saidi[f] for f in names]}, index=names)
    events = np.full(len(CALLOUT_KINDS), 100)
    sums = YearSums(ci, cmi, hours * events, events)
    part = YearSums(ordinary * ci, ordinary * cmi, hours * events, events)
    return ModelDays(feeders, served, sums, dict.fromkeys(range(1, YEARS_BACK + 1), part))
