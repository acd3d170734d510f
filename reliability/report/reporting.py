"""The face of a report: its year, date, who prepared and approved it; and calendar years of the programme."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

import pandas as pd

from reliability.history.history import History
from reliability.history.reporting import first_year, reporting_year
from reliability.report.blocks import Block, Column, Missing, Table
from reliability.schema.problems import shorten
from reliability.study.study import Study

FACE_KEYS = (("date", "Date of the report"), ("prepared_by", "Prepared by"), ("approved_by", "Approved by"))
MOST_MOVED = 600        # letters of what a what-if has moved


def reported_year(study: Study, history: History | None) -> int | None:
    """The reporting year, see `history.reporting`."""
    return reporting_year(study.values, None if history is None else history.records)


def programme_year(study: Study, history: History | None, year: int) -> str:
    """The calendar year of a year of the programme (1 the first); "year 1" where the reporting year is not known."""
    first = first_year(study.values, None if history is None else history.records)
    return f"year {year}" if first is None else str(first + year - 1)


def calendar_years(study: Study, history: History | None, years: pd.Series) -> tuple[pd.Series, str]:
    """Years of the programme as calendar years, and how their column is called; as they are where that is not known."""
    first = first_year(study.values, None if history is None else history.records)
    return (years, "Year of the programme") if first is None else (years + first - 1, "Year")


def face_summary(study: Study, history: History | None) -> dict[str, Any]:
    """What summary.json and history.json hold of the face of a report, earlier plans among it."""
    values = study.values
    return {"reporting_year": reported_year(study, history),
            "first_year": first_year(values, None if history is None else history.records),
            "date": values["date"], "prepared_by": values["prepared_by"], "approved_by": values["approved_by"],
            "plans": [asdict(plan) for plan in study.plans]}


def cover_facts(study: Study, history: History | None, summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What stands on the cover of a report, blank where the study does not state it."""
    year = reported_year(study, history)
    stated = {"date": study.values["date"], "prepared_by": study.values["prepared_by"],
              "approved_by": study.values["approved_by"]}
    period = [] if history is None else [
        ("Records", f"{history.records.first_day} to {history.records.last_day}")]
    return [*moved_facts(study), ("Reporting year", "" if year is None else str(year)), *period,
            *((label, shorten(stated[key] or "", 200)) for key, label in FACE_KEYS),
            *([("Work pack revision", str(revision))] if (revision := (summary.get("choice") or {}).get(
                "work_pack_revision")) else []),
            ("Inputs", str(summary.get("inputs_sha256") or "")[:12]), ("Program version", str(summary.get("version")))]


def moved_facts(study: Study) -> list[tuple[str, str]]:
    """What a what-if has moved from the study that it began with; none of a study as it is stated."""
    moved = study.values["moved"]
    return [("What if: moved from the study", shorten(moved, MOST_MOVED))] if moved else []


def day_of(stated: str | None) -> datetime | None:
    """The day of a report as a point of time; None where it is no day of the calendar as ISO 8601 writes it."""
    try:
        return datetime.fromisoformat((stated or "").strip()[:10])
    except ValueError:
        return None


def face(study: Study, history: History | None) -> list[Block]:
    """What stands on the face of a report, and what of it is not stated."""
    stated = {"date": study.values["date"], "prepared_by": study.values["prepared_by"],
              "approved_by": study.values["approved_by"]}
    year = reported_year(study, history)
    rows = [*moved_facts(study), ("Reporting year", "" if year is None else str(year))]
    rows += [(label, shorten(stated[key] or "", 200)) for key, label in FACE_KEYS]
    frame = pd.DataFrame([row for row in rows if row[1]], columns=["what", "value"])
    blocks: list[Block] = []
    if len(frame):
        blocks.append(Table("face", "This report", (Column("what", "What"), Column("value", "Value")), frame))
    missing = [key for key, _ in FACE_KEYS if not stated[key]] + ([] if year else ["reporting_year"])
    if missing:
        named = {"reporting_year": "the reporting year", **{key: label.lower() for key, label in FACE_KEYS}}
        what = ", ".join(named[key] for key in missing)
        blocks.append(Missing(f"{what[0].upper()}{what[1:]}: not stated by the utility."))
    if history is not None and year is not None and history.reported.shown != year:
        blocks.append(Missing(f"Records of the whole of {year}: the figures of a single year are those of "
                              f"{history.reported.shown}."))
    return blocks
