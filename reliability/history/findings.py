"""Irregularities in the outage records: counted, with their rows and their treatment."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from reliability.study.time_forms import FORMS, not_read

ROWS_LISTED = 5
DURATION_NOT_KNOWN = ("Left out of the indices, as the duration is not known; still a fault recorded at its section, "
                      "unless a device that recloses stands there, where it may have been a momentary event.")
CUSTOMERS_NOT_KNOWN = "Left out of the indices; still a fault recorded at its section."
# One place for every finding: its title, then the treatment of its rows.
TREATMENTS: dict[str, tuple[str, str]] = {
    "missing_started": (
        "No start time",
        "Left out of everything: the day and the year are not known."),
    "started_not_a_date": (
        "Start time not a date",
        "Left out of everything: the day and the year are not known."),
    "started_far_year": (
        "Start before 1950 or after 2099",
        "Left out of everything: taken as a placeholder or an error."),
    "duplicate_rows": (
        "Row repeats an earlier one in every column",
        "Left out; the first of the equal rows counts."),
    "missing_event_id": (
        "No event_id",
        "Each such row is an event of its own."),
    "event_id_reused": (
        "event_id used again more than a day after the earlier event ended",
        "Taken as another event."),
    "missing_restored": (
        "No restore time",
        DURATION_NOT_KNOWN),
    "restored_not_a_date": (
        "Restore time not a date",
        DURATION_NOT_KNOWN),
    "restored_far_year": (
        "Restore before 1950 or after 2099",
        DURATION_NOT_KNOWN),
    "restored_before_started": (
        "Restored before started",
        DURATION_NOT_KNOWN),
    "clock_change": (
        "Clocks changed during the interruption",
        "The elapsed time is used. Without history.time_zone only a restoration up to an hour before the start, "
        "on a Sunday night of March to May or September to November, can be recognized: an hour is added. With "
        "it, a time in the repeated hour is read as the first of the two, unless the restoration would precede the "
        "start; such durations may be wrong by an hour."),
    "skipped_hour": (
        "A time that the clocks of history.time_zone never showed, as they were put forward",
        "The duration is that between the times as written, and may be wrong by an hour. The times may be of another "
        "zone, or of standard time all year."),
    "utc_offset": (
        "Time with an offset from UTC",
        "Every time has one, and history.time_zone is not stated: the day is that of the time as written; the duration "
        "allows for the offsets."),
    "utc_offset_converted": (
        "Time with an offset from UTC",
        "Converted to the local time of history.time_zone."),
    "mixed_date_forms": (
        "Date of another form than most of the file",
        "Some dates begin with the year, others do not; each is read by its own form. A spreadsheet set to another "
        "country turns only those dates round that exist with day and month exchanged, and leaves the others as text: "
        "compare such rows with their source."),
    "half_of_day": (
        "Time of day from 1:00 to 12:59, as all others of the file",
        "Read as written. AM and PM seem to be lost: half of the times are then wrong by twelve hours, and so are "
        "durations and days. Export the times again with a clock of 24 hours, or with AM and PM."),
    "date_without_time": (
        "Date without a time of day",
        "Read as midnight; the duration is accurate to a day, and not known where both are the same day."),
    "over_30_days": (
        "Longer than 30 days",
        "Used as recorded; a wrong month or year is likely and raises SAIDI."),
    "missing_customers": (
        "No number of customers",
        CUSTOMERS_NOT_KNOWN),
    "customers_not_a_number": (
        "Customers not a whole number of 0 or more",
        CUSTOMERS_NOT_KNOWN),
    "customers_above_served": (
        "More customers than the section's source serves",
        "Reduced to the customers served there (all of them where the section is unknown)."),
    "customers_above_section": (
        "More customers than at and below the section named",
        "Used as recorded: the section is taken as the place of the fault; a device nearer the source opened."),
    "overlapping_steps": (
        "Steps of one event overlap",
        "Taken as different customers, as recorded; where the event would then have more customers off at one "
        "time than its source serves, all its sustained steps are reduced in proportion."),
    "repeated_event": (
        "Same outage under two event_ids",
        "Left out; the earlier one counts. Both outages are at one place, overlap in time and have as many customers, "
        "and together more than are served there, or they begin or end within five minutes of each other. "
        "A key of the study (history.count_duplicates_once) counts both."),
    "repeated_event_counted": (
        "Same outage under two event_ids, it seems",
        "Counted twice, as the study asks (history.count_duplicates_once)."),
    "goes_on": (
        "Begins before an outage of the same place and customers has ended, and lasts longer",
        "Taken as one outage with the earlier: nobody is interrupted again, and the minutes count from its end. Both "
        "have as many customers, and together more than are served there. A key of the study "
        "(history.count_duplicates_once) counts both in full."),
    "goes_on_counted": (
        "Begins before an outage of the same place and customers has ended, and lasts longer",
        "Counted in full beside the earlier one, as the study asks (history.count_duplicates_once)."),
    "inside_another": (
        "Begins inside the outage of a device above",
        "Customers who were off already are not interrupted again, and their minutes count from the end of the outage "
        "above; how many that are follows from the customers of both and those served there. Still a fault recorded at "
        "its section. A key of the study (history.count_duplicates_once) counts both in full."),
    "inside_another_counted": (
        "Begins inside the outage of a device above",
        "Customers who were off already are counted twice, as the study asks (history.count_duplicates_once)."),
    "around_another": (
        "Begins while an outage of a device below is open",
        "Customers who were off already are not interrupted again, and their minutes count once; how many that are "
        "follows from the customers of all and those served there. A key of the study "
        "(history.count_duplicates_once) counts all in full."),
    "around_another_counted": (
        "Begins while an outage of a device below is open",
        "Customers who were off already are counted twice, as the study asks (history.count_duplicates_once)."),
    "unknown_section": (
        "section_id not in the network",
        "Counts in the system's indices, in no feeder's and no lateral's."),
    "blank_section": (
        "No section_id",
        "Counts in the system's indices, in no feeder's and no lateral's."),
    "unknown_fault_kind": (
        "fault_kind neither temporary, permanent nor blank",
        "Taken as blank: not known."),
    "unknown_planned": (
        "planned neither true, false nor blank",
        "Taken as not planned, and counted."),
    "planned_left_out": (
        "Planned",
        "Left out of everything: history.include_planned is false."),
    "far_from_others": (
        "Years away from all other records",
        "Left out of everything: a wrong year is likely. Where the records do cover the time between, "
        "history.records_from and history.records_to say so."),
    "long_gap": (
        "A long time without a record before or after",
        "Taken as covered and without outages, though chance does not make it among so many records. If those of that "
        "time are missing, indices and learned rates are too low: bring them, or state a period without it with "
        "history.records_from and history.records_to."),
    "outside_period": (
        "Outside history.records_from … history.records_to",
        "Left out of everything: the study says that the records do not cover that day."),
}


@dataclass(frozen=True)
class Finding:
    """One kind of irregularity; `rows` (m,) are spreadsheet row numbers, the header being row 1.

    pairs: of outages found twice, each with its event_ids and rows: "E2 (row 9) as E1 (row 5)". example: the first
    text that is no date, and why.
    """

    code: str
    rows: np.ndarray
    pairs: tuple[str, ...] = ()
    example: str = ""

    @property
    def count(self) -> int:
        """Number of rows it was found in."""
        return len(self.rows)

    @property
    def title(self) -> str:
        """The irregularity in a few words."""
        return TREATMENTS[self.code][0]

    @property
    def treatment(self) -> str:
        """How its rows are treated."""
        return TREATMENTS[self.code][1]


def messages(findings: Iterable[Finding], file: str) -> list[str]:
    """One line a finding: its rows in the user's file, the irregularity and its treatment; then the forms of times that
    are read, where some are of none."""
    findings = list(findings)
    lines = [f"{file}: {listed_rows(f.rows)}: {f.title}{_some(f.pairs)}{f.example and f', such as {f.example}'}. "
             f"{f.treatment}" for f in findings]
    return [*lines, f"{file}: of dates and times {FORMS}."] if any(f.example for f in findings) else lines


def with_example(finding: Finding, texts: Mapping[int, str]) -> Finding:
    """The finding with its first text that is no date, and why. texts: of the column, by row."""
    text = texts[int(finding.rows[0])]
    return replace(finding, example=f"{text} ({not_read(text)})")


def _some(pairs: tuple[str, ...]) -> str:
    """The first few pairs, for a message."""
    more = f" and {len(pairs) - ROWS_LISTED} more" if len(pairs) > ROWS_LISTED else ""
    return f": {', '.join(pairs[:ROWS_LISTED])}{more}" if pairs else ""


def listed_rows(rows: np.ndarray) -> str:
    """The first few of some rows, for a message."""
    more = f" and {len(rows) - ROWS_LISTED} more" if len(rows) > ROWS_LISTED else ""
    return f"{'row' if len(rows) == 1 else 'rows'} {', '.join(map(str, rows[:ROWS_LISTED]))}{more}"


def collect(marks: dict[str, np.ndarray], row: np.ndarray) -> tuple[Finding, ...]:
    """Findings from masks (n,) by code over the rows whose spreadsheet numbers are `row` (n,)."""
    found = ((code, row[marks[code]]) for code in TREATMENTS if code in marks)
    return tuple(Finding(code, np.sort(rows)) for code, rows in found if len(rows))
