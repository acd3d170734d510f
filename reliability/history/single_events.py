"""Major event days that are mostly one event: in a small utility a single lockout is not a storm."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.formats import count
from reliability.history.major_events import MajorEvents
from reliability.history.outages import Records

MOST_OF_A_DAY = 0.5      # of the customer-minutes of a day


def single_events(records: Records, sums: pd.DataFrame, events: MajorEvents, ids: pd.Series) -> pd.DataFrame:
    """The largest event of each major event day: a row a day, ascending.

    sums: see `observed.tally`. ids: event_id by spreadsheet row. Columns: event_id, section_id ("" unknown),
    customer_minutes (of the event), share (0-1 of the day's), mostly_one (share of MOST_OF_A_DAY or more).
    """
    major = np.isin(sums["day"].to_numpy(), events.days.index.to_numpy())
    steps = records.steps[major].reset_index(drop=True)
    part = pd.DataFrame({"day": sums["day"].to_numpy()[major], "event": steps["event"].to_numpy(),
                         "minutes": sums["customer_minutes"].to_numpy()[major], "row": steps["row"].to_numpy(),
                         "section": steps["section"].to_numpy()})
    by_event = part.groupby(["day", "event"], sort=True).agg(
        minutes=("minutes", "sum"), row=("row", "first"), section=("section", "first")).reset_index()
    total = by_event.groupby("day")["minutes"].transform("sum")
    largest = by_event.loc[by_event.groupby("day")["minutes"].idxmax()]
    share = (largest["minutes"] / total.loc[largest.index]).to_numpy()
    section = largest["section"].to_numpy(dtype=int)
    return pd.DataFrame({
        "event_id": ids.reindex(largest["row"]).to_numpy(), "section_id": np.where(
            section >= 0, records.network.ids[section], ""),
        "customer_minutes": largest["minutes"].to_numpy(), "share": share, "mostly_one": share >= MOST_OF_A_DAY,
    }, index=pd.Index(largest["day"].to_numpy(), name="day"))


def caution(found: pd.DataFrame) -> str:
    """What that means for the days set apart; "" where no day is mostly one event."""
    n, days = int(found["mostly_one"].sum()), len(found)
    if not n:
        return ""
    return (f"On {n} of {count(days, 'major event day')} one event holds half or more of the customer-minutes: a "
            "single lockout or a long repair rather than a storm. Figures without major event days leave such events "
            "out.")
