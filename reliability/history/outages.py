"""Outage records as typed steps, matched to the network, with every irregularity counted.

A row is a restoration step: its customers were interrupted from `started` to `restored`.
The steps of an event are different customers. Up to five minutes a step is momentary, longer
it is sustained (IEEE Std 1366-2012, definitions; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.history.findings import TREATMENTS, Finding, collect, with_example
from reliability.history.found_twice import found_twice
from reliability.history.gaps import far_from_others, long_gaps
from reliability.history.served import Served, customers_served
from reliability.network.tree import Network
from reliability.schema.columns import OUTAGES
from reliability.schema.problems import Problem, Problems, StudyError
from reliability.study.cells import LARGEST_NUMBER, parse_numbers
from reliability.study.event_ids import DAY_SECONDS, MOMENTARY_SECONDS, numbered_events
from reliability.study.outage_rows import outage_times
from reliability.study.record_settings import RecordSettings, record_settings
from reliability.study.study import Study
from reliability.study.timestamps import (
    BLANK_TIME,
    FAR,
    UNREADABLE,
    Timestamps,
    clean,
    elapsed_seconds,
    half_of_day,
    rarer_form,
)

MANY_UNKNOWN = 20                        # rows whose sections are all unknown are no chance; our choice
UNKNOWN_KIND, TEMPORARY, PERMANENT_RECORD = -1, 0, 1
_KINDS = {"": UNKNOWN_KIND, "temporary": TEMPORARY, "permanent": PERMANENT_RECORD}
_FLAGS = {"": False} | dict.fromkeys(("true", "yes", "y", "t", "1"), True) | dict.fromkeys(
    ("false", "no", "n", "f", "0"), False)


@dataclass(frozen=True)
class Records:
    """Outage records of a study, read and checked.

    steps: a row a restoration step whose start is known, in the file's order:
        row (spreadsheet number), event (code), place (code of what section_id says; an
        event's own where blank), section (position in the network, −1 unknown), started
        (datetime64[s]), event_started, day (of event_started), year, seconds (NaN unknown),
        customers (NaN unknown), cause (code into `causes`), kind (−1 unknown, 0 temporary,
        1 permanent), planned, counted (enters the indices), sustained, already_off and off_seconds
        (customers who were off under another record, and for how long yet; see `found_twice`).
    years: calendar years covered, ascending. first_day, last_day: (datetime64[D]) of the
        records' period; partial: years of which it covers a part only.
    """

    steps: pd.DataFrame
    causes: np.ndarray
    network: Network
    served: Served
    settings: RecordSettings
    findings: tuple[Finding, ...]
    years: np.ndarray
    first_day: np.datetime64
    last_day: np.datetime64
    partial: Mapping[int, str]

    @property
    def period_years(self) -> float:
        """Length of the period that the records cover, years of 365.25 days."""
        return float((self.last_day - self.first_day).astype(int) + 1) / 365.25


def records_of(study: Study) -> Records | None:
    """The outage records of a study, None where it has none. Raises StudyError for records that cannot be read."""
    return read_records(study) if study.outages is not None and len(study.outages) else None


def read_records(study: Study) -> Records:
    """Outage records of `study`; StudyError where there are none, where a key must say how to read them, or
    where too many of their times cannot be read."""
    settings = record_settings(study.values, study.extra, study.network)
    frame, row = _text(study)
    problems = Problems()
    timestamps = outage_times(frame, row, study.outages_file, settings.date_order, settings.time_zone, problems)
    problems.raise_if_any()
    network = study.network
    marks: dict[str, np.ndarray] = {}
    steps, causes = _typed(frame, row, timestamps, network, settings, marks)
    steps = steps[_usable(steps, settings, marks)].reset_index(drop=True)
    findings = tuple(with_example(f, dict(zip(row.tolist(), frame[name], strict=True)))
                     if (name := f.code.removesuffix("_not_a_date")) in frame else f for f in collect(marks, row))
    if not len(steps):
        raise StudyError([Problem(study.outages_file, "no row can be used: " + "; ".join(
            f"{f.title.lower()} ({f.count})" for f in findings), "correct the rows, or the keys of [history]")])
    _refuse_unplaced(study, frame, steps)
    steps, reused = _event_starts(steps)
    first, last, years, partial = _period(steps, settings)
    findings += long_gaps(steps["day"].to_numpy().astype("datetime64[D]"), steps["row"].to_numpy(), first, last)
    served = customers_served(network, settings.served_by_year, years)
    steps, excess = _limit_customers(steps, network, served)
    findings += collect(reused | excess, steps["row"].to_numpy())
    ids = dict(zip(row.tolist(), frame["event_id"], strict=True))
    steps, twice = _counted_once(steps, network, served, settings, ids)
    findings = _in_order(findings + twice)
    return Records(steps, causes, network, served, settings, findings, years, first, last, partial)


def _refuse_unplaced(study: Study, frame: pd.DataFrame, steps: pd.DataFrame) -> None:
    """StudyError where many records name sections and the network has none of these."""
    named = frame["section_id"][frame["section_id"] != ""]
    if len(named) >= MANY_UNKNOWN and not (steps["section"] >= 0).any():
        raise StudyError([Problem(study.outages_file, f"none of {len(named)} rows names a section of the network",
                                  "write the section_id of sections.csv, or import the outages with the network",
                                  column="section_id", value=str(named.iloc[0]))])


def _text(study: Study) -> tuple[pd.DataFrame, np.ndarray]:
    """The records as clean text with every column, and their spreadsheet row numbers."""
    frame = study.outages
    if frame is None or not len(frame):
        raise StudyError([Problem(study.outages_file, "the study has no outage records",
                                  "add outages.csv or outages.xlsx")])
    blank = pd.Series([""] * len(frame), dtype="str")
    text = pd.DataFrame({c.name: clean(frame[c.name]) if c.name in frame else blank for c in OUTAGES})
    row = frame["row"].to_numpy(dtype=np.int64) if "row" in frame else np.arange(len(frame)) + 2
    return text, row


def event_ids(study: Study) -> pd.Series:
    """event_id as recorded, by spreadsheet row."""
    frame, row = _text(study)
    return pd.Series(frame["event_id"].to_numpy(), index=row)


def _typed(frame: pd.DataFrame, row: np.ndarray, timestamps: list[Timestamps], network: Network,
           settings: RecordSettings,
           marks: dict[str, np.ndarray]) -> tuple[pd.DataFrame, np.ndarray]:
    """Typed steps of every row (nothing left out yet) and the causes; marks irregular rows."""
    started, restored = timestamps
    for name, code in (("missing", BLANK_TIME), ("not_a_date", UNREADABLE), ("far_year", FAR)):
        for column, times in (("started", started), ("restored", restored)):
            key = f"missing_{column}" if code == BLANK_TIME else f"{column}_{name}"
            marks[key] = times.status == code
    marks["date_without_time"] = started.date_only | restored.date_only
    offset = "utc_offset_converted" if settings.time_zone else "utc_offset"
    marks[offset] = ~np.isnan(started.offset_s) | ~np.isnan(restored.offset_s)
    marks["mixed_date_forms"] = rarer_form(timestamps)
    marks["half_of_day"] = half_of_day(timestamps)
    seconds, marks["clock_change"], marks["skipped_hour"] = elapsed_seconds(started, restored, settings.time_zone)
    marks["restored_before_started"] = seconds < 0
    a_day = started.date_only & restored.date_only & (seconds == 0)
    seconds = np.where((seconds < 0) | a_day, np.nan, seconds)
    marks["over_30_days"] = seconds > 30 * DAY_SECONDS
    customers = _customers(frame["customers"], marks)
    section, section_code = _sections(frame["section_id"], network, marks)
    event = pd.factorize(frame["event_id"])[0]
    marks["missing_event_id"] = nameless = (frame["event_id"] == "").to_numpy(dtype=bool)
    event = np.where(nameless, len(frame) + np.arange(len(frame)), event)
    cause, causes = pd.factorize(frame["cause"])
    kind = _mapped(frame["fault_kind"], _KINDS, UNKNOWN_KIND, "unknown_fault_kind", marks)
    planned = _mapped(frame["planned"], _FLAGS, False, "unknown_planned", marks).astype(bool)
    return pd.DataFrame({
        "row": row, "event": event, "place": np.where(section_code < 0, len(frame) + event, section_code),
        "section": section, "started": started.local, "ended": restored.local, "seconds": seconds,
        "customers": customers, "cause": cause, "kind": kind, "planned": planned,
    }), np.asarray(causes, dtype=object)


def _customers(text: pd.Series, marks: dict[str, np.ndarray]) -> np.ndarray:
    number, _ = parse_numbers(text.tolist())
    marks["missing_customers"] = (text == "").to_numpy(dtype=bool)
    whole = (number >= 0) & (number <= LARGEST_NUMBER) & (number == np.floor(number))
    marks["customers_not_a_number"] = ~whole & ~marks["missing_customers"]
    return np.where(whole, number, np.nan)


def _sections(text: pd.Series, network: Network, marks: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Position in the network, −1 unknown, and a code of the text, −1 where blank."""
    code, names = pd.factorize(text)
    at = {str(name): i for i, name in enumerate(network.ids)}
    position = np.array([at.get(str(name), -1) for name in names], dtype=np.int64)[code]
    blank = (text == "").to_numpy(dtype=bool)
    marks["blank_section"] = blank
    marks["unknown_section"] = (position < 0) & ~blank
    return position, np.where(blank, -1, code)


def _mapped(text: pd.Series, meaning: Mapping[str, int], otherwise: int, code: str,
            marks: dict[str, np.ndarray]) -> np.ndarray:
    """Meaning of each text; `otherwise`, and a mark, where it has none."""
    index, names = pd.factorize(text)
    lowered = [str(name).lower() for name in names]
    marks[code] = np.array([name not in meaning for name in lowered], dtype=bool)[index]
    return np.array([meaning.get(name, otherwise) for name in lowered])[index]


def _usable(steps: pd.DataFrame, settings: RecordSettings, marks: dict[str, np.ndarray]) -> np.ndarray:
    """Mask (n,) of the rows that are a step of some event at a known time; marks those left out."""
    known = ~np.isnat(steps["started"].to_numpy())
    # a blank id or section has a code of its own in each row, and would hide that the rows are equal
    compared = steps.drop(columns="row").assign(
        event=steps["event"].where(~marks["missing_event_id"], -1),
        place=steps["place"].where(~marks["blank_section"], -1))
    repeated = _repeats(compared)
    marks["duplicate_rows"] = repeated & known
    known &= ~repeated
    day = steps["started"].to_numpy().astype("datetime64[D]")
    outside = np.zeros(len(steps), bool)
    if settings.records_from is not None:
        outside |= day < settings.records_from
    if settings.records_to is not None:
        outside |= day > settings.records_to
    marks["outside_period"] = outside & known
    known &= ~outside
    marks["far_from_others"] = far = np.zeros(len(steps), bool)
    far[known] = far_from_others(day[known], settings)
    known &= ~far
    marks["planned_left_out"] = steps["planned"].to_numpy() & known & (not settings.include_planned)
    return known & ~marks["planned_left_out"]


def _repeats(frame: pd.DataFrame) -> np.ndarray:
    """Rows equal to an earlier one; most differ in event and start, which is quick to check."""
    close = frame.duplicated(["event", "started"], keep=False).to_numpy()
    repeated = np.zeros(len(frame), bool)
    repeated[close] = frame[close].duplicated().to_numpy()
    return repeated


def _event_starts(steps: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, np.ndarray]]:
    """Steps with the start, day and year of their event; an id used again is another event."""
    started = steps["started"].to_numpy().astype("datetime64[s]")
    over = started + np.nan_to_num(steps["seconds"].to_numpy()).astype("timedelta64[s]")
    event, reused = numbered_events(steps["event"].to_numpy(), started, over)
    begun = pd.Series(steps["started"].to_numpy().astype(np.int64)).groupby(event).transform("min").to_numpy()
    begun = begun.astype("datetime64[s]")
    seconds, customers = steps["seconds"].to_numpy(), steps["customers"].to_numpy()
    return steps.assign(
        event=event, event_started=begun, day=begun.astype("datetime64[D]").astype("datetime64[s]"),
        year=begun.astype("datetime64[Y]").astype(int) + 1970,
        counted=~np.isnan(seconds) & ~np.isnan(customers), sustained=seconds > MOMENTARY_SECONDS,
    ), {"event_id_reused": reused}


def _period(steps: pd.DataFrame, settings: RecordSettings) -> tuple[np.datetime64, np.datetime64, np.ndarray,
                                                                    dict[int, str]]:
    """First and last day covered, the years, and those of them that are covered in part.

    Where no key says so, whole years are covered, unless the records go over more than a
    year and the days without a record at either end would be a chance of under one in a
    thousand at the rate at which days with records follow each other (our assumption).
    """
    days = np.unique(steps["day"].to_numpy().astype("datetime64[D]"))
    first, last = days[0], days[-1]
    span = float((last - first).astype(int) + 1)
    year_start = first.astype("datetime64[Y]").astype("datetime64[D]")
    year_end = (last.astype("datetime64[Y]") + 1).astype("datetime64[D]") - 1
    usual_gap = span / len(days)

    def too_long(gap: np.timedelta64) -> bool:
        return span > 365 and float(gap.astype(int)) > max(31.0, -np.log(0.001) * usual_gap)

    begin = first if too_long(first - year_start) else year_start
    end = last if too_long(year_end - last) else year_end
    begin = begin if settings.records_from is None else settings.records_from
    end = end if settings.records_to is None else settings.records_to
    years = np.arange(begin.astype("datetime64[Y]").astype(int), end.astype("datetime64[Y]").astype(int) + 1) + 1970
    partial: dict[int, str] = {}
    if begin > begin.astype("datetime64[Y]").astype("datetime64[D]"):
        partial[int(years[0])] = f"covered from {begin}"
    if end < (end.astype("datetime64[Y]") + 1).astype("datetime64[D]") - 1:
        before = partial.get(int(years[-1]), "covered")
        partial[int(years[-1])] = f"{before} to {end}"
    return begin, end, years, partial


def _limit_customers(steps: pd.DataFrame, network: Network,
                     served: Served) -> tuple[pd.DataFrame, dict[str, np.ndarray]]:
    """Steps with no more customers than are served, row by row and then event by event; marks both."""
    customers = steps["customers"].to_numpy().copy()
    section, year = steps["section"].to_numpy(), steps["year"].to_numpy()
    growth = np.maximum(served.growth[year - served.years[0]], 1.0)
    roots = np.flatnonzero(network.parent < 0)
    root = np.where(section >= 0, roots[np.searchsorted(roots, section, side="right") - 1], -1)
    most = growth * np.where(section >= 0, network.customers_below[root], served.now)
    marks = {"customers_above_served": customers > most,
             "customers_above_section": (section >= 0) & (customers > growth * network.customers_below[section])
             & (customers <= most)}
    customers = np.where(customers > most, most, customers)

    marks["overlapping_steps"] = overlap = np.zeros(len(steps), bool)
    used = (steps["sustained"] & steps["counted"]).to_numpy()
    key = steps["event"].to_numpy().astype(np.int64) * (len(network) + 1) + root + 1
    at = np.flatnonzero(used)
    at = at[pd.Series(key[at]).duplicated(keep=False).to_numpy()]
    if at.size:
        total = _off_at_once(steps.iloc[at], customers[at], key[at])
        above = total > most[at] * (1.0 + 1e-9)
        overlap[at[above]] = True
        customers[at[above]] *= most[at][above] / total[above]
        overlap[at] |= _later_starts(steps.iloc[at])
    return steps.assign(customers=customers), marks


def _counted_once(steps: pd.DataFrame, network: Network, served: Served, settings: RecordSettings,
                  ids: Mapping[int, str]) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Steps with what was found twice counted once, where the study does not ask otherwise; and the findings.

    ids: event_id by spreadsheet row.
    """
    found = found_twice(steps, network, served)
    row, event = steps["row"].to_numpy(), steps["event"].to_numpy()
    first = dict(zip(event[::-1].tolist(), row[::-1].tolist(), strict=True))
    once = settings.count_duplicates_once
    findings = []
    for code, where, link in (("repeated_event", found.repeats, "as"), ("goes_on", found.goes_on, "goes on from"),
                              ("inside_another", found.inside, "inside"), ("around_another", found.around, "around")):
        at = np.flatnonzero(where)
        if at.size:
            pairs = dict.fromkeys(zip(event[at].tolist(), found.of_event[at].tolist(), strict=True))
            named = tuple(" ".join((_named(first[a], ids), link, _named(first[b], ids))) for a, b in pairs)
            findings.append(Finding(code if once else f"{code}_counted", np.sort(row[at]), named))
    off = np.where(once, found.already_off, 0.0)
    steps = steps.assign(already_off=off, off_seconds=np.where(once, found.off_seconds, 0.0))
    if once and found.goes_on.any():
        of = np.arange(event.max() + 1)
        at = np.flatnonzero(found.goes_on)
        for k in at[np.argsort(steps["started"].to_numpy()[at], kind="stable")].tolist():
            of[event[k]] = of[found.of_event[k]]         # the one that it goes on from may go on from another
        steps = steps.assign(event=np.where(found.goes_on, of[event], event))
    return steps[~(found.repeats & once)].reset_index(drop=True), tuple(findings)


def _named(row: int, ids: Mapping[int, str]) -> str:
    """An event by its id and first row."""
    return f"{ids[row] or 'without id'} (row {row})"


def _off_at_once(part: pd.DataFrame, customers: np.ndarray, key: np.ndarray) -> np.ndarray:
    """Most customers that the steps of an event have off at one time at one source, (n,) at each of its steps.

    A step that begins as another ends comes after it. key: (n,) of event and source.
    """
    group = pd.factorize(key)[0]
    start = part["started"].to_numpy().astype("datetime64[s]").astype(np.int64)
    end = start + np.maximum(part["seconds"].to_numpy(), 1.0).astype(np.int64)
    change, time, of = np.concatenate([customers, -customers]), np.concatenate([start, end]), np.tile(group, 2)
    order = np.lexsort((change, time, of))
    return pd.Series(change[order]).groupby(of[order]).cumsum().groupby(of[order]).max().to_numpy()[group]


def _later_starts(part: pd.DataFrame) -> np.ndarray:
    """Steps that start, at the place of an earlier step of their event, before that one has ended."""
    start = part["started"].to_numpy().astype(np.int64)
    end = start + part["seconds"].to_numpy().astype(np.int64)
    event, place = part["event"].to_numpy(), part["place"].to_numpy()
    order = np.lexsort((start, place, event))
    group = pd.factorize(pd.MultiIndex.from_arrays([event[order], place[order]]))[0]
    start, end = start[order], end[order]
    over = pd.Series(end).groupby(group).cummax().to_numpy()
    first = pd.Series(start).groupby(group).transform("min").to_numpy()
    same = np.append(False, group[1:] == group[:-1])
    result = np.zeros(len(part), bool)
    result[order] = same & (start > first) & (start < np.append(0, over[:-1]))
    return result


def _in_order(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    place = {code: i for i, code in enumerate(TREATMENTS)}
    return tuple(sorted(findings, key=lambda f: place[f.code]))


def mapped_kinds(records: Records) -> np.ndarray:
    """Kind of fault of each step (n,): as recorded, else as its cause is mapped in [history.causes]."""
    mapping = {name.casefold(): _KINDS[kind] for name, kind in records.settings.cause_kinds.items()}
    by_cause = np.array([mapping.get(str(c).casefold(), UNKNOWN_KIND) for c in records.causes], dtype=int)
    kind = records.steps["kind"].to_numpy()
    return np.where(kind == UNKNOWN_KIND, by_cause[records.steps["cause"].to_numpy()], kind)
