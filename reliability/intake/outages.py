"""Outage records placed on sections, with times in ISO 8601 and what is wrong with them counted."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.intake.customers import SectionLoads, node_sections, section_lookup
from reliability.intake.decisions import TIME, Decision
from reliability.intake.device_rows import pole_places
from reliability.intake.findings import AMBER, GREEN, OUTAGE, RED, Findings, state_of_lost
from reliability.intake.kinds import DEVICE_ROWS, FIELDS
from reliability.intake.placing import Tree
from reliability.intake.recipe import Recipe
from reliability.intake.spans import Spans
from reliability.intake.spelling import meant
from reliability.intake.words import number_key, suggestion, word_key
from reliability.schema.problems import Problem, Problems
from reliability.study.event_ids import MOMENTARY_SECONDS, numbered_events
from reliability.study.time_forms import FORMS, short_years
from reliability.study.timestamps import (
    ZONE_REMEDY,
    Timestamps,
    after,
    elapsed_seconds,
    half_of_day,
    is_zone,
    rarer_form,
    read_timestamps,
    that_need_offsets,
    with_offsets,
)
from reliability.study.unread_times import too_many, unused, why_unused

_LISTED = 5             # rows that a message names
_HALF = r"(?:^|\s)(?:0?[1-9]|1[0-2]):\d\d(?!.*[AaPp]\.?\s?[Mm])"     # before or after noon, where a clock has 12
_WORDED, _NUMBERED = re.compile(r"([A-Za-z]{2,}(?: [A-Za-z]{2,})*)[\s\-_.:#]*(\d\S*)"), re.compile(r"\d[\w\-./]*")
_DEVICE = next(f for f in FIELDS[DEVICE_ROWS] if f.name == "device")
_MOST_HOURS = 100 * 365.25 * 24      # of a duration, our choice: no placeholder, and within the calendar


@dataclass(frozen=True)
class Outages:
    """Outage records as in outages.csv (without section ids), (rows,) each.

    section: section of `Tree`, −1 where the place is unknown. started, restored: datetime64[s]. by: what placed each
    row, "" where nothing did. customer_minutes: NaN where unknown, and of rows that no index counts.
    """

    frame: pd.DataFrame
    section: np.ndarray
    started: np.ndarray
    restored: np.ndarray
    by: np.ndarray
    customer_minutes: np.ndarray


def place_outages(rows: pd.DataFrame, spans: Spans, tree: Tree, served: SectionLoads, recipe: Recipe,
                  findings: Findings,
                  problems: Problems, decisions: list[Decision]) -> Outages:
    """Outages by device, else segment, pole, transformer or node; by feeder alone their place is unknown.

    Refused: nothing of many rows matches the network.
    """
    rows = rows.reset_index(drop=True)
    section, by, names = _places(rows, spans, tree, served, findings)
    timestamps, stamped = _times(rows, recipe, findings, decisions)
    started, restored = (each.local.astype("datetime64[s]") for each in timestamps)
    customers, zone = rows["customers"].to_numpy(float), known_zone(recipe)
    event = rows["event_id"].to_numpy(object)
    several = rows["file"].nunique() > 1
    own = [f"{f}, row {r}" if several else f"row {r}" for f, r in zip(rows["file"], rows["row"], strict=True)]
    event = np.where(event == "", np.array(own, object), event)
    seconds = elapsed_seconds(*timestamps, zone)[0]
    if recipe.cumulative_steps:
        customers, falling = _steps(event, started, restored, customers)
        findings.add("outages", "steps_fall", "Steps with fewer customers than the step before them, though they are "
                     "said to count those restored so far: taken as none. Does the column count those still out, the "
                     "recipe's cumulative_steps is wrong", RED, event[falling], OUTAGE)
    frame = pd.DataFrame({
        "event_id": event, "started": iso_text(timestamps[0], stamped), "restored": iso_text(timestamps[1], stamped),
        "customers": customers, "cause": rows["cause"], "fault_kind": rows["fault_kind"], "planned": rows["planned"]})
    minutes = _counted_minutes(frame.assign(event_id=rows["event_id"]), event, section, seconds, findings)
    outages = Outages(frame, section, started, restored, by, minutes)
    placeable = names != ""
    lost = placeable & (section < 0)
    findings.add("outages", "outages_not_placed", "Outages whose place is not in the network: place unknown",
                 state_of_lost(int(lost.sum()), len(rows)),
                 _labels(event, names, lost), OUTAGE, minutes=float(np.nansum(minutes[lost])))
    by_feeder = ~placeable
    findings.add("outages", "outages_by_feeder", "Outages that name a feeder alone, or nothing: place unknown", AMBER,
                 event[by_feeder], OUTAGE, minutes=float(np.nansum(minutes[by_feeder])))
    if placeable.any() and not (section >= 0).any():
        problems.add(Problem(str(rows["file"][0]), f"none of {len(rows)} outages matches the network",
                             "map the column that names devices or segments of these exports", None, "device_id",
                             str(names[placeable][0])))
    _note_faults(outages, seconds, names, served.placed_customers or np.inf, findings)
    return outages


def _counted_minutes(frame: pd.DataFrame, event: np.ndarray, section: np.ndarray, seconds: np.ndarray,
                     findings: Findings) -> np.ndarray:
    """Customer-minutes of each row as the study counts them: none of a row that repeats another in every column, nor of
    one that ends before it begins. What is left out is listed with its minutes. event: what each row is called, which
    has an id in `frame` only where the export has one."""
    minutes = frame["customers"].to_numpy(float) * seconds / 60.0
    again = frame.assign(section=section).duplicated().to_numpy(bool)
    back = (seconds < 0) & ~again
    for key, title, out in (
            ("outage_repeated", "Rows that repeat another in every column: counted once", again),
            ("end_before_start", "Outages that end before they begin: no duration, no customer-minutes", back)):
        findings.add("outages", key, title, AMBER, event[out], OUTAGE, minutes=float(np.nansum(minutes[out])))
    return np.where(again | back, np.nan, minutes)


def _labels(event: np.ndarray, names: np.ndarray, at: np.ndarray) -> list[str]:
    return [f"{e} ({n})" for e, n in zip(event[at], names[at], strict=True)]


def _by_spelling(of: list[int | None], names: list[str], where: Mapping[str, int], findings: Findings) -> None:
    """Fill in places of names that are spelt otherwise than in the network, where only one name there can be meant."""
    for key, title, ours, theirs in (
            ("spelling", "in case, spaces or punctuation", word_key, word_key),
            ("number_zeros", "in the zeros of a number", number_key, number_key),
            ("number_alone", "by a word for the device before its number", _number, _plain),
            ("number_worded", "by a word for the device before its number", _plain, _number)):
        lost = [k for k, (section, name) in enumerate(zip(of, names, strict=True)) if section is None and name]
        if not lost:
            return
        taken = meant([names[k] for k in lost], where, theirs, ours)
        found = [k for k in lost if names[k] in taken]
        for k in found:
            of[k] = taken[names[k]]
        findings.add("outages", key, f"Names in the outages that differ from the network's {title}, where one alone "
                     "can be meant: taken for those", AMBER, [names[k] for k in found], OUTAGE)


def _number(name: str) -> str:
    """What stands behind a word for a device, as 1022 in FUSE 1022, "" without one."""
    match = _WORDED.fullmatch(name.strip())
    device = suggestion(_DEVICE, match[1]) if match else None
    return word_key(match[2]) if match and device is not None and device.values else ""


def _plain(name: str) -> str:
    """A name that is a number, perhaps in parts, and no word."""
    return word_key(name) if _NUMBERED.fullmatch(name.strip()) else ""


def _places(rows: pd.DataFrame, spans: Spans, tree: Tree, served: SectionLoads, findings: Findings
            ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Section of each row (−1 unknown), what placed it, and the name by which its place is stated."""
    at_node = node_sections(tree)
    on_span, pole_node = pole_places(spans)
    poles = {p: int(tree.of_span[s]) for p, s in on_span.items()} | {p: int(at_node[n]) for p, n in pole_node.items()}
    nodes = dict(zip(spans.nodes.tolist(), at_node.tolist(), strict=True)) if (rows["node_id"] != "").any() else {}
    segments = section_lookup(spans, tree)
    loops = np.flatnonzero(spans.ends[:, 0] == spans.ends[:, 1])
    segments |= dict(zip(spans.ids[loops].tolist(), at_node[spans.ends[loops, 0]].tolist(), strict=True))
    devices = tree.device_at | {}
    for n in np.flatnonzero(spans.inserted):
        devices.setdefault(str(spans.ids[n]), int(tree.of_span[n]))
    section, names = np.full(len(rows), -1), np.full(len(rows), "", object)
    by = np.full(len(rows), "", object)
    for column, where in (("device_id", devices), ("segment_id", segments), ("pole_id", poles),
                          ("transformer_id", served.section_of), ("node_id", nodes)):
        stated = rows[column].to_numpy(object)
        open_ = (section < 0) & (stated != "")
        if not open_.any():
            continue
        codes, distinct = pd.factorize(stated)
        # exports name a device in one column, whatever it is: a fuse, a segment or a transformer
        maps = (where, *(m for m in (devices, segments, served.section_of, poles) if m is not where))
        of = [next((m[d] for m in maps if d in m), None) for d in distinct.tolist()]
        _by_spelling(of, distinct.tolist(), where, findings)
        found = np.array([-1 if s is None else s for s in of] or [-1], int)[codes]
        section = np.where(open_, found, section)
        by = np.where(open_ & (found >= 0), column, by)
        names = np.where(names == "", stated, names)
    return section, by, names


def open_times(rows: pd.DataFrame, recipe: Recipe) -> list[Decision]:
    """What is open or cannot be read of the times of outages, whatever their places."""
    decisions: list[Decision] = []
    _times(rows, recipe, Findings(), decisions)
    return decisions


def _times(rows: pd.DataFrame, recipe: Recipe, findings: Findings, decisions: list[Decision]
           ) -> tuple[tuple[Timestamps, Timestamps], np.ndarray]:
    """Start and end of each row, and (rows,) whether they are written with their offsets from UTC: those that have one
    where no zone is known, and those that the clocks show twice where it is known which is meant."""
    zone = known_zone(recipe)
    timestamps, problems = read_timestamps([rows["started"], rows["restored"]], recipe.date_order, str(rows["file"][0]),
                                           rows["row"].to_numpy(int), zone, recipe.century)
    decisions += time_decisions(problems, "outages")
    event = rows["event_id"].to_numpy(object)
    stated = ~np.isnan(timestamps[0].offset_s) | ~np.isnan(timestamps[1].offset_s)
    findings.add("outages", "time_offset", "Times with an offset from UTC: " + (
        f"converted to the local time of {zone}" if zone else "as written"), GREEN if zone else AMBER, event[stated],
        OUTAGE)
    findings.add("outages", "date_forms", "Dates of another form than most of the file, each read by its own form: "
                 "compare them with their source", AMBER, event[rarer_form(timestamps)], OUTAGE)
    if recipe.clock == 12:
        bare = np.any([rows[c].astype(str).str.contains(_HALF) for c in ("started", "restored")], axis=0)
        findings.add("outages", "half_of_day", "Times without AM or PM, though [time] clock = 12: read as before noon, "
                     "twelve as noon", AMBER, event[bare], OUTAGE)
    findings.add("outages", "hours_of_half_a_day", "No time lies before 1:00 or after 12:59: AM and PM seem to be "
                 "lost, and half of the times to be wrong by twelve hours; export them with a clock of 24 hours", RED,
                 event[half_of_day(timestamps)], OUTAGE)
    started, restored = timestamps
    for column, timestamp in zip(("started", "restored"), timestamps, strict=True):
        bad = np.flatnonzero(unused(timestamp.status))
        if problems or not bad.size:
            continue
        decisions += unreadable_times(rows, column, timestamp.status, "outages")
        text = str(rows[column].iloc[bad[0]])
        findings.add("outages", "time_unreadable", f"Times that cannot be used, {column}: unknown; such as {text} "
                     f"({why_unused([text], timestamp.status[bad[:1]].tolist())[0]})", RED, event[bad], OUTAGE)
    hours = rows["duration"].to_numpy(float)
    by_duration = np.isnat(restored.local) & ~np.isnat(started.local) & ~np.isnan(hours)
    endless = by_duration & ~(hours < _MOST_HOURS)
    findings.add("outages", "endless_duration", "Durations of more than a century: no end is known", RED,
                 event[endless], OUTAGE)
    by_duration &= ~endless
    ends = after(started, np.where(by_duration, hours * 3600.0, np.nan), zone)
    restored = replace(restored, local=np.where(by_duration, ends.local, restored.local),
                       offset_s=np.where(by_duration, ends.offset_s, restored.offset_s))
    if not zone:
        return (started, restored), ~np.isnan(started.offset_s) | ~np.isnan(restored.offset_s)
    stamped = that_need_offsets((started, restored), zone)
    if stamped.any():
        started, restored = with_offsets(started, zone), with_offsets(restored, zone)
    return (started, restored), stamped


def time_decisions(problems: list[Problem], kind: str) -> list[Decision]:
    """What is asked where the order of dates or the time zone is not known."""
    return [Decision(TIME, p.file, p.column or "started", p.value or "", p.rule,
                     "[time] zone = \"America/Chicago\"" if p.remedy.startswith(ZONE_REMEDY) else
                     "[time] order = \"month_first\" or \"day_first\"", kind=kind) for p in problems]


def unreadable_times(rows: pd.DataFrame, column: str, status: np.ndarray, kind: str, always: bool = False
                     ) -> list[Decision]:
    """What is asked of each table and reason where years have two digits, or too many times cannot be used.

    status: (rows,) of `Timestamps`. always: also where they are few.
    """
    decisions = []
    files = rows["file"].to_numpy(object)
    for file in pd.unique(files[unused(status)]):
        of = files == file
        bad = np.flatnonzero(of & unused(status))
        texts = rows[column].iloc[bad].astype(str)
        short, why = short_years(texts), np.array(why_unused(texts.tolist(), status[bad].tolist()), object)
        asked = short | always | too_many(status[of])
        for reason in dict.fromkeys(why[asked].tolist()):
            at = np.flatnonzero(asked & (why == reason))
            decisions.append(_unreadable(str(file), column, texts.iloc[at[0]], reason, bool(short[at[0]]),
                                         rows["row"].iloc[bad[at]].to_numpy(int), kind))
    return decisions


def _unreadable(file: str, column: str, text: str, why: str, short: bool, row: np.ndarray, kind: str) -> Decision:
    """What is asked of times of one reason. row: (m,) numbers of their rows."""
    more = f" and {len(row) - _LISTED} more" if len(row) > _LISTED else ""
    where = f"{'row' if len(row) == 1 else 'rows'} {', '.join(map(str, row[:_LISTED].tolist()))}{more}"
    remedy = "[time] century = 2000, where such dates end with a year from 2000 to 2099" if short else FORMS
    return Decision(TIME, file, column, text, f"{why} ({where})", remedy, 0, kind)


def known_zone(recipe: Recipe) -> str:
    """The recipe's time zone, "" where it states none that exists."""
    return recipe.time_zone if is_zone(recipe.time_zone) else ""


def iso_text(timestamps: Timestamps, stamped: np.ndarray) -> np.ndarray:
    """Times as text, "" where unknown; a date alone stays one, an offset from UTC stays where `stamped` (rows,)."""
    times = timestamps.local
    written = np.datetime_as_string(times, unit="s").astype(object)
    written[np.isnat(times)] = ""
    only = timestamps.date_only
    written[only] = np.datetime_as_string(times[only], unit="D").astype(object)
    for k in np.flatnonzero(stamped & ~np.isnan(timestamps.offset_s) & (written != "")):
        minutes = int(timestamps.offset_s[k]) // 60
        written[k] += f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
    return written


def _steps(event: np.ndarray, started: np.ndarray, restored: np.ndarray, customers: np.ndarray
           ) -> tuple[np.ndarray, np.ndarray]:
    """Customers of each step, where the export counts those restored so far in the outage; and where they fall."""
    number, _ = numbered_events(pd.factorize(event)[0], started, restored)
    frame = pd.DataFrame({"event": number, "restored": restored, "customers": customers})
    ordered = frame.sort_values(["event", "restored"], kind="stable")
    so_far = ordered.groupby("event")["customers"].ffill()
    each = ordered["customers"] - so_far.groupby(ordered["event"]).shift().fillna(0.0)
    own = each.reindex(frame.index).to_numpy(float)
    return np.maximum(own, 0.0), own < 0.0


def _note_faults(outages: Outages, seconds: np.ndarray, names: np.ndarray, most: float, findings: Findings) -> None:
    """List what is odd about the records. most: customers of the whole network, infinite where none are stated."""
    frame, started = outages.frame, outages.started
    event = frame["event_id"].to_numpy(object)
    no_end = np.isnat(outages.restored)
    findings.add("outages", "no_end_time", "Outages without an end", AMBER, event[no_end], OUTAGE)
    findings.add("outages", "no_start", "Outages without a start", AMBER, event[np.isnat(started)], OUTAGE)
    first = pd.DataFrame({"event": event, "name": names, "start": started}).drop_duplicates("event")
    first = first[(first["name"] != "") & first["start"].notna()]
    again = first.duplicated(["name", "start"], keep="first").to_numpy()
    findings.add("outages", "outage_duplicate", "Outages of one place and start under two ids", AMBER,
                 first["event"][again], OUTAGE)
    findings.add("outages", "outage_overlap", "The same customers twice in overlapping outages of one place", AMBER,
                 _overlapping(outages, names), OUTAGE)
    findings.add("outages", "outage_above_served", "Outages of more customers than the whole network has", AMBER,
                 event[frame["customers"].to_numpy(float) > most], OUTAGE)
    momentary = (seconds <= MOMENTARY_SECONDS) & (seconds >= 0)
    findings.add("outages", "momentary", "Records of up to five minutes: momentary events are recorded", GREEN,
                 event[momentary], OUTAGE)


def _overlapping(outages: Outages, names: np.ndarray) -> list[str]:
    """Events that begin within the event before them at the same place."""
    table = pd.DataFrame({"event": outages.frame["event_id"], "name": names, "start": outages.started,
                          "end": outages.restored})
    table = table[(table["name"] != "") & table["start"].notna() & table["end"].notna()]
    spans_ = table.groupby(["name", "event"], sort=False).agg(start=("start", "min"), end=("end", "max")).reset_index()
    spans_ = spans_.sort_values(["name", "start"], kind="stable")
    latest = spans_.groupby("name")["end"].cummax().shift()
    same = spans_["name"] == spans_["name"].shift()
    inside = same & (spans_["start"] < latest)
    return [str(e) for e in spans_["event"][inside]]
