"""Rows of operations.csv: what the counters and logs of reclosing devices say, typed and checked.

A date without a time of day is its midnight, so that the spans between readings on dates join without a gap. A span
that is ignored and begins and ends on one date, or is given by that date alone, is the whole day.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.formats import count
from reliability.schema.columns import COUNTER, EVENT, IGNORE, OPERATIONS
from reliability.schema.problems import Problems
from reliability.study.cells import choice_column, number_column, require, text_column
from reliability.study.headers import TextTable
from reliability.study.reclosing import on_reclosing_devices
from reliability.study.timestamps import (
    BLANK_TIME,
    GOOD,
    ZONE_REMEDY,
    Timestamps,
    rarer_form,
    read_timestamps,
)
from reliability.study.unread_times import report_unused

OPERATIONS_FILE = "operations.csv"
_COLUMN = {c.name: c for c in OPERATIONS}
_DAY = np.timedelta64(1, "D")


def read_operation_rows(table: TextTable, date_order: str, sections: pd.DataFrame | None, problems: Problems,
                        zone: str = "") -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Rows of a table of `columns.OPERATIONS`, those with a problem left out, in the order of the file, and notes.

    date_order, zone: as history.date_order and time_zone. sections: `section_id` and `device` of each section, None
    where they could not be read. The frame has section_id, from and to (datetime64[s]; `to` of an event NaT),
    operations (float: steps, or openings of an event; NaN only where an ignored span states none), kind, and row,
    the one in the user's file. Reported: cells that cannot be read, sections without a reclosing device, spans that
    do not go forward, counters without an end or steps, events with an end or without an opening.
    """
    numbers, wrong = number_column(table, _COLUMN["operations"], problems)
    kinds = np.array(choice_column(table, _COLUMN["kind"], problems), object)
    sound = np.full(len(table), not table.missing) & ~wrong
    sound &= np.array([bool(kind) or not text for kind, text in zip(kinds, text_column(table, "kind"), strict=True)],
                      bool)
    require(table, ("section_id",), problems)
    placed = np.array(text_column(table, "section_id"), object) != ""
    if sections is not None:
        placed &= on_reclosing_devices(table, sections, problems)
    begin, end = _times(table, date_order, zone, problems)
    kinds = np.where(kinds == "", np.where(end.status == BLANK_TIME, EVENT, COUNTER), kinds)
    sound &= placed & (begin.status == GOOD) & np.isin(end.status, (GOOD, BLANK_TIME))
    until = np.where((kinds == IGNORE) & begin.date_only & ((end.status == BLANK_TIME) | (end.local == begin.local)),
                     begin.local + _DAY, end.local)
    sound &= _sound_rows(table, kinds, begin.local, until, end.status == BLANK_TIME, numbers, problems)
    numbers = np.where((kinds == EVENT) & np.isnan(numbers), 1.0, numbers)
    frame = pd.DataFrame({
        "section_id": text_column(table, "section_id"), "from": begin.local, "to": until, "operations": numbers,
        "kind": kinds, "row": np.array(table.rows, dtype=np.int64)})
    return frame[sound].reset_index(drop=True), _notes(table, begin, end, zone)


def _notes(table: TextTable, begin: Timestamps, end: Timestamps, zone: str) -> tuple[str, ...]:
    """Notes on times with an offset from UTC, and on dates of two forms."""
    offsets = int((~np.isnan(begin.offset_s) | ~np.isnan(end.offset_s)).sum())
    mixed = int(rarer_form([begin, end]).sum())
    what = f"converted to the local time of {zone}" if zone else f"read as written; to have them local, {ZONE_REMEDY}"
    notes = [f"{table.file}: {count(offsets, 'row')} with an offset from UTC: {what}."] if offsets else []
    if mixed:
        notes.append(f"{table.file}: {count(mixed, 'row')} with dates of another form than most of the file: some "
                     "begin with the year, others do not; each is read by its own form.")
    return tuple(notes)


def _times(table: TextTable, date_order: str, zone: str, problems: Problems) -> tuple[Timestamps, Timestamps]:
    """The two columns of times; reported: those that cannot be read, a blank start, dates of two readings."""
    texts = {name: text_column(table, name) for name in ("from", "to")}
    columns = [pd.Series(cells, dtype="str", name=table.headers.get(name, name)) for name, cells in texts.items()]
    (begin, end), doubtful = read_timestamps(columns, date_order, table.file, np.array(table.rows, dtype=np.int64),
                                              zone)
    problems.add(*doubtful)
    report_unused({str(column.name): (cells, times) for column, cells, times in
                   zip(columns, texts.values(), (begin, end), strict=True)}, table.file, table.rows, problems)
    require(table, ("from",), problems)
    return begin, end


def _sound_rows(table: TextTable, kinds: np.ndarray, begin: np.ndarray, until: np.ndarray, open_end: np.ndarray,
                numbers: np.ndarray, problems: Problems) -> np.ndarray:
    """Where a record keeps the rules of its kind, (records,) bool; the others are reported.

    kinds: resolved. begin, until: datetime64[s], NaT where not known. open_end: no end is written. numbers: NaN blank.
    """
    ends, steps = text_column(table, "to"), text_column(table, "operations")
    counter, event, ignored = (kinds == kind for kind in (COUNTER, EVENT, IGNORE))
    blank = np.array([not text for text in steps], bool)
    rules = (
        (counter & open_end, "to", ends, "a counter reading needs the end of its span",
         f"give to, or write {EVENT} as the kind"),
        (counter & blank, "operations", steps, "a counter reading needs its steps",
         "write how far the counter moved between the two readings, 0 where it did not"),
        (event & ~open_end, "to", ends, "an event has no end", f"leave to blank, or write {COUNTER} as the kind"),
        (event & (numbers == 0), "operations", steps, "an event has one opening or more",
         "remove the row, or leave the cell blank for one opening"),
        (ignored & np.isnat(until) & open_end & ~np.isnat(begin), "to", ends, "a span to ignore needs its end",
         "give to, or as from the date of one whole day"),
        (~event & (until <= begin), "to", ends, "the span does not go forward",
         "give the later reading as to; a counter that went back rolled over or was replaced"),
    )
    sound = np.ones(len(table), bool)
    for broken, name, cells, rule, remedy in rules:
        _report(table, broken, name, cells, rule, remedy, problems)
        sound &= ~broken
    return sound


def _report(table: TextTable, broken: np.ndarray, name: str, cells: list[str], rule: str, remedy: str,
            problems: Problems) -> None:
    problems.each(np.flatnonzero(broken), lambda i: table.problem(i, name, cells[i], rule, remedy))
