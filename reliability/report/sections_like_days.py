"""The part of "Data accuracy" that holds the records against the model, on the same kind of days."""

from __future__ import annotations

import pandas as pd

from reliability.history.calibration import ALL_DAYS, Comparison
from reliability.history.history import History
from reliability.report import charts_history as charts
from reliability.report.blocks import Block, Column, Missing, Table, Text
from reliability.report.plain_words import SPOKEN_KINDS

_FEEDERS = (
    Column("feeder_id", "Feeder"), Column("observed_saifi", "SAIFI recorded", "index"),
    Column("modelled_saifi", "SAIFI modelled", "index"), Column("saifi_ratio", "Ratio", "ratio"),
    Column("saifi_low", "90 % interval", "ratio", high="saifi_high"),
    Column("observed_saidi_min", "SAIDI recorded", "minutes", "min"),
    Column("modelled_saidi_min", "SAIDI modelled", "minutes", "min"), Column("saidi_ratio", "Ratio", "ratio"),
    Column("saidi_low", "90 % interval", "ratio", high="saidi_high"))
_TIMES = (
    Column("days", "Days"), Column("kind", "Kind"), Column("events", "Events", "count"),
    Column("observed_hours", "Mean recorded", "hours", "h"), Column("modelled_hours", "Mean modelled", "hours", "h"),
    Column("ratio", "Ratio", "ratio"), Column("low", "90 % interval", "ratio", high="high"))


def compared(history: History) -> list[Block]:
    """Recorded against modelled indices and restoration times, and the factors that are offered."""
    found = history.calibration
    if found is None:
        return [Missing("A comparison of modelled with recorded indices: it was not made in this run.")]
    both = [c for c in (found.every_day, found.ordinary) if c is not None]
    blocks: list[Block] = [Text((found.verdict,), "Modelled against recorded"), charts.against_model(found)]
    blocks += [_by_feeder(c, found.note if c is both[-1] else "") for c in both]
    times = pd.concat([c.times.reset_index().assign(days=c.days.capitalize()) for c in both], ignore_index=True)
    times["kind"] = [SPOKEN_KINDS.get(str(kind), str(kind)) for kind in times["kind"]]
    if len(times):
        blocks.append(Table("calibration_times", "Recorded and modelled restoration times of single events, to the "
                            "last customer", _TIMES, times, "Restoration compared"))
    return blocks


def _by_feeder(found: Comparison, note: str) -> Table:
    frame = found.feeders.rename(index={"": "System"}).rename_axis("feeder_id").reset_index()
    every = found.days == ALL_DAYS
    years = ", ".join(map(str, found.years))
    return Table("calibration" if every else "calibration_ordinary", f"Modelled indices against the recorded ones, "
                 f"{found.days} ({years})", _FEEDERS, frame, "Calibration" if every else "Calibration, other days", 30,
                 note=note)
