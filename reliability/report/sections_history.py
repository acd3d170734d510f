"""Sections on the outage records: years, feeders, events, causes, excluded days, accuracy."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.formats import noun_for, shown
from reliability.history.device_events import finding_lines
from reliability.history.history import History
from reliability.history.single_events import caution
from reliability.report import charts_history as charts
from reliability.report import records
from reliability.report.blocks import Block, Bullets, Column, Missing, Section, Table, Text
from reliability.report.content import Content, RecordedContent
from reliability.report.figures import Figure, Name, say
from reliability.report.places import place_columns, with_names
from reliability.report.plain_words import without_keys
from reliability.report.sections_like_days import compared
from reliability.schema.problems import shorten

NO_RECORDS = "the study has no outage records"
INDEX_COLUMNS = (Column("saifi", "SAIFI", "index", "1/yr"), Column("saidi_min", "SAIDI", "minutes", "min/yr"),
                 Column("caidi_min", "CAIDI", "minutes", "min"), Column("maifi", "MAIFI", "index", "1/yr"),
                 Column("maifi_e", "MAIFI_E", "index", "1/yr"))
VIEW = Column("view", "Days counted")


def missing(key: str, title: str, what: str) -> Section:
    """The section of a study without outage records."""
    return Section(key, title, (Missing(f"{what}: {NO_RECORDS}."),))


def events(content: Content | RecordedContent) -> Section:
    """The ten largest events."""
    title = "Ten largest events"
    if content.history is None:
        return missing("events", title, title)
    network = content.history.records.network
    frame = with_names(network, records.largest_events(content.history), "section_id")
    return Section("events", title, (Table("events", "Largest events by customer-minutes", (
        Column("started", "Began"), *place_columns(network, frame, "section_id", "Section"),
        Column("feeder_id", "Feeder"),
        Column("cause", "Cause"),
        Column("customers", "Customers interrupted", "count"), Column("customer_minutes", "Customer-minutes", "count"),
        Column("saidi_min", "SAIDI", "minutes", "min"), Column("hours", "Last restored after", "amount", "h"),
        Column("major", "Major event day")), frame, "Largest events"),))


def causes(content: Content | RecordedContent) -> Section:
    """Causes over all years: events, interruptions, minutes and trend."""
    if content.history is None:
        return missing("causes", "Causes", "Causes")
    full = [y for y in content.history.records.years if int(y) not in content.history.records.partial]
    last = f" in {int(full[-1])}" if full else " in the last year"
    return Section("causes", "Causes", (charts.causes(content.history), Table(
        "causes", "Sums over all years, and the trend of the events", (
            Column("cause", "Cause"), Column("events", "Events", "count"),
            Column("interruptions", "Customer interruptions", "count"),
            Column("customer_minutes", "Customer-minutes", "count"),
            Column("share", "Share of customer-minutes", "share"),
            Column("events_without", "Events without major event days", "count", where="sheet"),
            Column("interruptions_without", "Customer interruptions without major event days", "count", where="sheet"),
            Column("minutes_without", "Customer-minutes without major event days", "count"),
            Column("events_per_year", "Events a year*", "amount"), Column("events_last", f"Events{last}*", "count"),
            Column("change_per_year", "Change a year*", "share", signed=True), Column("trend", "Trend*")),
        records.causes_frame(content.history), "Causes", 25,
        note="An event is one with a sustained interruption. *Without major event days, of years covered in full; the "
             "change is the slope of a straight line over the mean. Trend: that slope tested at 90 %.")))


def excluded(content: Content | RecordedContent) -> Section:
    """Days excluded as major event days."""
    title, history = "Excluded days", content.history
    if history is None:
        return missing("excluded", title, title)
    frame = records.excluded_days(history)
    blocks: list[Block] = [Text(say(
        "Days are set apart as listed in the study." if history.major_events.method == "fixed" else
        "Days are set apart by the 2.5 β method: a day whose SAIDI is above the threshold of its year is a major event "
        "day."))]
    stated = content.study.values["exclusions"]
    blocks.append(Text((shorten(stated, 1000),), "Application and approval") if stated else
                  Missing("Application and approval of these exclusions: not stated by the utility."))
    blocks.append(charts.daily(history))
    blocks.append(Table("thresholds", "Thresholds", (
        Column("year", "Year"), Column("t_med", "T_MED", "index", "min"), Column("alpha", "α", "index"),
        Column("beta", "β", "index"), Column("days_used", "Days used", "count"), Column("note", "Note")),
        history.major_events.thresholds.reset_index().astype({"year": str}), "Thresholds"))
    if len(frame):
        n = len(frame)
        blocks.insert(1, Text(say("{n} {days} excluded; they stay in every index “all events”.", n=Figure(n, "count"),
                                  days=noun_for(n, "day is", "days are"))))
        blocks.append(Table("excluded", "Excluded days", (
            Column("day", "Day"), Column("saidi_min", "SAIDI", "index", "min"),
            Column("threshold", "Threshold", "index", "min"), Column("excess", "Above it by", "three_digits", "min"),
            Column("customers", "Customers interrupted", "count", where="sheet"),
            Column("share", "Share of customers served", "share"),
            Column("customer_minutes", "Customer-minutes", "count"),
            Column("largest", "Largest event, share", "share"), Column("event", "Largest event", where="sheet"),
            Column("cause", "Main cause"), Column("feeders", "Feeders hit"), Column("restored", "Last restored")),
            frame, "Excluded days"))
        if words := caution(history.single_events):
            blocks.append(Text((words,)))
    else:
        blocks.append(Text(say("No day is excluded.")))
    return Section("excluded", title, tuple(blocks))


def accuracy(content: Content | RecordedContent) -> Section:
    """How good the records are."""
    history = content.history
    if history is None:
        return missing("accuracy", "Data accuracy", "Data accuracy")
    cautions = history.cautions[1:]
    return Section("accuracy", "Data accuracy", (
        completeness(history), *findings_and_model(content), Bullets(tuple((c,) for c in cautions)) if cautions else
        Text(say("The period is covered in full."))))


COMPLETE = {
    "started": ("Start time", "left out of everything"),
    "restored": ("Restore time", "left out of the indices; counted as a fault"),
    "customers": ("Customers interrupted", "left out of the indices; counted as a fault"),
    "section_id": ("Section", "in the system's indices, in no feeder's, area's or lateral's"),
    "cause": ("Cause", "under the cause as recorded"),
    "fault_kind": ("Temporary or permanent", "neither; told by cause and device where that is possible"),
}


def completeness(history: History) -> Table:
    """Rows that lack a value, by column."""
    frame = history.reported.completeness.reset_index()
    frame["label"] = [COMPLETE[c][0] for c in frame["column"]]
    frame["counted"] = [COMPLETE[c][1] for c in frame["column"]]
    return Table("completeness", "Rows of the outage records without a usable value", (
        Column("label", "What is missing or unknown"), Column("column", "Column", where="sheet"),
        Column("rows", "Rows", "count"), Column("share", "Share of all rows", "share"),
        Column("counted", "How such rows count")), frame, "Completeness")


def findings_and_model(content: Content | RecordedContent) -> list[Block]:
    """Findings in the records, and the comparison with the model."""
    history = content.history
    if history is None:
        return []
    findings = history.records.findings
    total = len(content.study.outages) if content.study.outages is not None else 0
    frame = pd.DataFrame({
        "what": [f.title for f in findings], "count": np.array([f.count for f in findings], dtype=float),
        "share": np.array([f.count / total if total else np.nan for f in findings], dtype=float),
        "treatment": [without_keys(f.treatment) for f in findings],
        "rows": [_pairs(f.pairs) or _rows(f.rows) for f in findings]})
    blocks: list[Block] = [Text(say("Of {n} rows of {file}, {used} are kept; some of these are left out of the "
                                    "indices, as listed. Rows may show more than one finding.",
                                  n=Figure(total, "count"), file=Name(content.study.outages_file),
                                  used=Figure(len(history.records.steps), "count")))]
    blocks.append(Table("findings", "Findings in the records", (
        Column("what", "Finding"), Column("count", "Rows", "count"), Column("share", "Share", "share"),
        Column("treatment", "What was done"), Column("rows", "Rows of the file")), frame, "Findings", 40)
        if len(findings) else Text(say("No finding.")))
    if history.operations.findings:
        blocks.append(Bullets(tuple((line,) for line in finding_lines(history.operations.findings, content.study))))
    return blocks + compared(history)


def _pairs(pairs: tuple[str, ...], most: int = 6) -> str:
    more = f"; … ({shown(len(pairs), 'count')} in total)" if len(pairs) > most else ""
    return "; ".join(pairs[:most]) + more


def _rows(rows: np.ndarray, most: int = 12) -> str:
    more = f", … ({shown(len(rows), 'count')} in total)" if len(rows) > most else ""
    return ", ".join(str(int(r)) for r in rows[:most]) + more
