"""Causes: events, customer interruptions and minutes, and whether they become more."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from reliability.history.panels import EVENTS, Panel
from reliability.history.trends import trend

NOT_GIVEN = "(no cause given)"


def causes_with_trend(every_event: Panel, without: Panel, full: Sequence[int]) -> pd.DataFrame:
    """Sums by cause over all years, most customer-minutes first; index: cause, NOT_GIVEN where blank.

    Columns: events (with a sustained interruption; one with steps of two causes counts under both), interruptions,
    customer_minutes, share (of the minutes), events_without, interruptions_without, minutes_without (major event
    days), events_last (those of the last of the years `full`), events_per_year (mean of these), change_per_year and
    trend (of the events a year over the years covered in full, without major event days; see `trends`).
    """
    whole = np.isin(every_event.years, list(full))
    yearly = without.sums[EVENTS][whole]
    trends = [trend(column) for column in yearly.T]
    minutes = every_event.sums["customer_minutes"].sum(axis=0)
    total = minutes.sum()
    frame = pd.DataFrame({
        "events": every_event.sums[EVENTS].sum(axis=0), "interruptions": every_event.sums["interruptions"].sum(axis=0),
        "customer_minutes": minutes, "share": minutes / total if total else np.full(len(minutes), np.nan),
        "events_without": without.sums[EVENTS].sum(axis=0),
        "interruptions_without": without.sums["interruptions"].sum(axis=0),
        "minutes_without": without.sums["customer_minutes"].sum(axis=0),
        "events_last": yearly[-1] if len(yearly) else np.full(len(minutes), np.nan),
        "events_per_year": yearly.mean(axis=0) if len(yearly) else np.full(len(minutes), np.nan),
        "change_per_year": [t.per_year for t in trends], "trend": [t.verdict for t in trends],
    }, index=pd.Index([str(c) or NOT_GIVEN for c in every_event.names], name="cause"))
    return frame.sort_values("customer_minutes", ascending=False, kind="stable")
