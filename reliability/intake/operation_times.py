"""Times of counter readings and events, by the same rules as those of outages."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.intake.decisions import require_none
from reliability.intake.outages import iso_text, known_zone, time_decisions, unreadable_times
from reliability.intake.recipe import Recipe
from reliability.study.timestamps import GOOD, read_timestamps

_TIMES = ("from", "to")


def iso_operations(rows: pd.DataFrame, recipe: Recipe) -> pd.DataFrame:
    """Rows of operations with times as ISO 8601 where they are written otherwise. Raises Undecided where the order of
    dates, the time zone or a century is open, or a time cannot be read."""
    if not len(rows):
        return rows
    zone = known_zone(recipe)
    timestamps, problems = read_timestamps([rows[c] for c in _TIMES], recipe.date_order, str(rows["file"].iloc[0]),
                                           rows["row"].to_numpy(int), zone, recipe.century)
    require_none(time_decisions(problems, "operations"))
    require_none(d for column, times in zip(_TIMES, timestamps, strict=True)
                 for d in unreadable_times(rows, column, times.status, "operations", always=True))
    rows = rows.copy()
    for column, times in zip(_TIMES, timestamps, strict=True):
        other = (times.status == GOOD) & ~times.year_first
        stamped = ~np.isnan(times.offset_s) & (not zone)
        rows[column] = np.where(other, iso_text(times, stamped), rows[column].to_numpy(object))
    return rows
