"""Which records are compared with which days of the model."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.history.calibration import Calibration, RecordedFigures, calibration, compare
from reliability.history.durations import event_hours
from reliability.history.major_events import MajorEvents
from reliability.history.model_days import ModelDays
from reliability.history.observed import feeder_indices, yearly_indices
from reliability.history.outages import Records
from reliability.schema.values import Assumptions
from reliability.study.record_settings import FIXED


def compare_like_days(records: Records, events: MajorEvents, sums: pd.DataFrame, model: ModelDays,
                      values: Assumptions) -> Calibration | None:
    """Records against the model on all days and on days without major events; None where neither can be compared.

    sums: of all steps. Years covered in full count, where there are any; planned interruptions never do.
    """
    unplanned = ~records.steps["planned"].to_numpy()
    ordinary = unplanned & ~np.isin(sums["day"].to_numpy(), events.days.index.to_numpy())
    years = [int(y) for y in records.years]
    classified = [y for y in years if events.has_verdict(y)] if events.method != FIXED else []
    notes = ["Planned interruptions are left out of this comparison, as the model holds faults only."
             if values["planned_included"] else "Neither the records nor the model hold planned interruptions."]
    every_day = by_day = None
    if values["storms_included"]:
        every_day = compare(_recorded(records, sums, unplanned, years), model, None)
    else:
        notes.append("The records leave out major storms, so they are not compared with the model of all days.")
    if classified:
        recorded = _recorded(records, sums, ordinary, classified)
        earlier = events.thresholds["years_used"].loc[list(recorded.years)].astype(int).tolist()
        by_day = compare(recorded, model, earlier)
        notes.append("The model of days without major events is a long simulation of its own days, told apart by the "
                     "same rule. It has no storms: where storms hold more of a year's faults, the records' other days "
                     "hold fewer of them.")
    elif events.method == FIXED:
        notes.append("Major event days are listed by hand: there is no model of the other days.")
    else:
        notes.append("No year has a threshold: days without major events cannot be told apart.")
    return calibration(every_day, by_day, " ".join(notes))


def _recorded(records: Records, sums: pd.DataFrame, keep: np.ndarray, years: list[int]) -> RecordedFigures:
    """Recorded figures of the years covered in full, or of all where none is. keep: (n,) steps that count."""
    full = [y for y in years if y not in records.partial]
    years = full or years
    used = keep & np.isin(records.steps["year"].to_numpy(), years)
    feeders = feeder_indices(sums[used], records)
    feeders = feeders[feeders.index.get_level_values("year").isin(years)]
    system = yearly_indices(sums[used], records).loc[years]
    return RecordedFigures(tuple(years), feeders.groupby("feeder_id")[["saifi", "saidi_min"]].mean(),
                           system[["saifi", "saidi_min"]], event_hours(records, used), bool(full))
