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
from reliability.report.blocks import Block, Column, Missing, Points, Section, Table, Text, summary_table
from reliability.report.content import Content, Recorded
from reliability.report.figures import Figure, Name, pointer, say
from reliability.report.places import place_columns, with_names
from reliability.report.sections_like_days import compared

NO_RECORDS = "the study has no outage records"
BRING = "Bring outages.csv with the study."
INDICES = (Column("saifi", "SAIFI", "index", "1/yr"), Column("saidi_min", "SAIDI", "minutes", "min/yr"),
           Column("caidi_min", "CAIDI", "minutes", "min"), Column("maifi", "MAIFI", "index", "1/yr"),
           Column("maifi_e", "MAIFI_E", "index", "1/yr"))
ALL, WITHOUT = "all events", "without major event days"
VIEW = Column("view", "Days counted")


def missing(key: str, title: str, what: str) -> Section:
    """The section of a study without outage records."""
    return Section(key, title, (Missing(f"{what}: {NO_RECORDS}.", BRING),))


def years(content: Content | Recorded) -> Section:
    """Indices by year with and without major event days."""
    title, history = "Indices by year", content.history
    if history is None:
        return missing("years", title, title)
    table = Table("years", "Indices by year, with and without major event days", (
        Column("year", "Year"), VIEW, *INDICES, Column("asai", "ASAI", "asai"),
        Column("customers_served", "Customers", "count"),
        Column("days", "Major event days", "any"), Column("remark", "Remark")), records.years_frame(history), "Years",
        60)
    chart = [charts.years(history, index) for index in ("saidi_min", "saifi")]
    short = [] if len(history.records.years) >= 5 else [Missing(
        f"Five to ten years: the records cover {len(history.records.years)}.",
        "Bring earlier records where they exist.")]
    return Section("years", title, (
        *chart, table, *short, _experience(history),
        Missing("A benchmark or standard of the regulator: the study states none.",
                "Compare the table above with it.")))


def _experience(history: History) -> Table:
    """CEMI and CELID of the system."""
    frame = pd.concat([
        view.customers.xs("", level="feeder_id").rename_axis("year").reset_index().assign(view=name)
        for name, view in ((ALL, history.every_event), (WITHOUT, history.without_major_events))], ignore_index=True)
    names = [c for c in frame.columns if c.startswith(("cemi_", "celid_"))]
    labels = {c: c.replace("cemi_", "CEMI-").replace("celid_", "CELID-") for c in names}
    frame = frame.sort_values(["year", "view"], kind="stable", ignore_index=True).astype({"year": str})
    return Table("experience", "Share of customers by number and length of interruptions", (
        Column("year", "Year"), VIEW, *(Column(c, labels[c], "share") for c in names)), frame, "CEMI and CELID",
        note="Placed at the sections that the records name; CELID-t: one interruption of t hours or more.")


def feeders(content: Content) -> Section:
    """Indices by feeder, observed and modelled."""
    history = content.history
    blocks: list[Block] = []
    if history is None:
        blocks.append(Missing(f"Observed indices by feeder: {NO_RECORDS}.", BRING))
    else:
        blocks += observed_feeders(history)
    blocks.append(_modelled(content))
    blocks.append(Missing("Operating areas: the study names none, so each feeder stands for its own.",
                          "Give feeders of one area the same feeder_id to report by area."))
    return Section("feeders", "Indices by feeder and area", tuple(blocks))


def observed_feeders(history: History) -> list[Block]:
    """Indices by feeder from the records, and feeders with many outages."""
    return [Table("feeders", "Indices by feeder and year, the latest year first", (
        Column("year", "Year"), Column("feeder_id", "Feeder"), VIEW, *INDICES), records.feeders_frame(history),
        "Feeders", min(2 * len(history.records.network.feeder_ids), 60), file="history.json"), _many(history)]


def _many(history: History) -> Block:
    frame = records.most_interruptions(history)
    if not len(frame):
        return Text(say("On no feeder did a section see more than {n} sustained outages in a year.",
                        n=Figure(records.MANY, "count")))
    title = f"Feeders with customers who may have had more than {records.MANY} sustained outages in a year"
    return Table("many", title, (Column("year", "Year"), Column("feeder_id", "Feeder"),
                                 Column("outages", "Most outages at or above a section", "count")),
                 frame, "Many outages")


def _modelled(content: Content) -> Block:
    names = list(content.at("scenarios", 0, "feeders") or {})
    rows = [(name, pointer("scenarios", 0, "feeders", name)) for name in names]
    columns = [(c, f"/{c.key}") for c in (*INDICES, Column("asai", "ASAI", "asai"),
                                         Column("customers_served", "Customers", "count"))]
    return summary_table("modelled-feeders", "Modelled indices by feeder, as built", content.summary,
                         Column("feeder_id", "Feeder"), rows, columns, sheet="Modelled feeders", shown=40)


def events(content: Content | Recorded) -> Section:
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


def causes(content: Content | Recorded) -> Section:
    """Causes, all years."""
    if content.history is None:
        return missing("causes", "Causes", "Causes")
    return Section("causes", "Causes", (charts.causes(content.history), Table(
        "causes", "Sums over all years", (
            Column("cause", "Cause"), Column("interruptions", "Customer interruptions", "count"),
            Column("customer_minutes", "Customer-minutes", "count"),
            Column("share", "Share of customer-minutes", "share"),
            Column("minutes_without", "Customer-minutes without major event days", "count")),
        records.causes_frame(content.history), "Causes", 25)))


def excluded(content: Content | Recorded) -> Section:
    """Days excluded as major event days."""
    title, history = "Excluded days", content.history
    if history is None:
        return missing("excluded", title, title)
    frame = records.excluded_days(history)
    blocks: list[Block] = [Text(say(
        "Days are set apart as listed in the study." if history.major_events.method == "fixed" else
        "Days are set apart by the 2.5 β method: a day whose SAIDI is above the threshold of its year is a major event "
        "day."))]
    blocks.append(charts.daily(history))
    blocks.append(Table("thresholds", "Thresholds", (
        Column("year", "Year"), Column("t_med", "T_MED", "minutes", "min"), Column("alpha", "α", "index"),
        Column("beta", "β", "index"), Column("days_used", "Days used", "count"), Column("note", "Note")),
        history.major_events.thresholds.reset_index().astype({"year": str}), "Thresholds"))
    if len(frame):
        n = len(frame)
        blocks.insert(1, Text(say("{n} {days} excluded; they stay in every index “all events”.", n=Figure(n, "count"),
                                  days=noun_for(n, "day is", "days are"))))
        blocks.append(Table("excluded", "Excluded days", (
            Column("day", "Day"), Column("saidi_min", "SAIDI", "minutes", "min"),
            Column("threshold", "Threshold", "minutes", "min"), Column("customers", "Customers interrupted", "count"),
            Column("share", "Share of customers served", "share"),
            Column("customer_minutes", "Customer-minutes", "count"),
            Column("largest", "Largest event, share", "share"), Column("event", "Largest event"),
            Column("cause", "Main cause"), Column("feeders", "Feeders hit"), Column("restored", "Last restored")),
            frame, "Excluded days"))
        if words := caution(history.single_events):
            blocks.append(Text((words,)))
    else:
        blocks.append(Text(say("No day is excluded.")))
    return Section("excluded", title, tuple(blocks))


def accuracy(content: Content | Recorded) -> Section:
    """How good the records are."""
    history = content.history
    if history is None:
        return missing("accuracy", "Data accuracy", "Data accuracy")
    cautions = history.cautions[1:]
    return Section("accuracy", "Data accuracy", (
        *findings_and_model(content), Points(tuple((c,) for c in cautions)) if cautions else
        Text(say("The period is covered in full."))))


def findings_and_model(content: Content | Recorded) -> list[Block]:
    """Findings in the records, and the comparison with the model."""
    history = content.history
    if history is None:
        return []
    findings = history.records.findings
    total = len(content.study.outages) if content.study.outages is not None else 0
    frame = pd.DataFrame({
        "what": [f.title for f in findings], "count": np.array([f.count for f in findings], dtype=float),
        "share": np.array([f.count / total if total else np.nan for f in findings], dtype=float),
        "treatment": [f.treatment for f in findings], "rows": [_pairs(f.pairs) or _rows(f.rows) for f in findings]})
    blocks: list[Block] = [Text(say("Of {n} rows of {file}, {used} are kept; some of these are left out of the "
                                    "indices, as listed. Rows may show more than one finding.",
                                  n=Figure(total, "count"), file=Name(content.study.outages_file),
                                  used=Figure(len(history.records.steps), "count")))]
    blocks.append(Table("findings", "Findings in the records", (
        Column("what", "Finding"), Column("count", "Rows", "count"), Column("share", "Share", "share"),
        Column("treatment", "What was done"), Column("rows", "Rows of the file")), frame, "Findings", 40)
        if len(findings) else Text(say("No finding.")))
    if history.operations.findings:
        blocks.append(Points(tuple((line,) for line in finding_lines(history.operations.findings, content.study))))
    return blocks + compared(history)


def _pairs(pairs: tuple[str, ...], most: int = 6) -> str:
    more = f"; … ({shown(len(pairs), 'count')} in total)" if len(pairs) > most else ""
    return "; ".join(pairs[:most]) + more


def _rows(rows: np.ndarray, most: int = 12) -> str:
    more = f", … ({shown(len(rows), 'count')} in total)" if len(rows) > most else ""
    return ", ".join(str(int(r)) for r in rows[:most]) + more
