"""Section on the indices by feeder and operating area, recorded and modelled."""

from __future__ import annotations

from reliability.history.history import History
from reliability.history.panels import EVENTS
from reliability.network.areas import areas_of
from reliability.report import records, records_reported
from reliability.report.blocks import Block, Column, Heading, Missing, Section, Table, Text, summary_table
from reliability.report.content import Content, RecordedContent
from reliability.report.figures import Figure, pointer, say
from reliability.report.sections_history import INDEX_COLUMNS, NO_RECORDS, VIEW

OF_AREAS = tuple(c for c in INDEX_COLUMNS if c.key != "maifi")
NO_AREAS = Missing("Operating areas: no section states one.",
                   "Fill the column area of sections.csv; a feeder may span several areas.")


def feeders(content: Content) -> Section:
    """Indices by feeder and area, observed and modelled."""
    history = content.history
    blocks: list[Block] = [Heading("Areas")]
    if areas_of(content.study.network) is None:
        blocks.append(NO_AREAS)
    else:
        blocks += observed_areas(history) if history else []
        blocks.append(_modelled(content, "areas", "Area"))
    blocks.append(Heading("Feeders"))
    if history is None:
        blocks.append(Missing(f"Recorded indices by area and feeder: {NO_RECORDS}."))
    else:
        blocks += observed_feeders(history)
    blocks.append(_modelled(content, "feeders", "Feeder"))
    return Section("feeders", "Indices by feeder and area", tuple(blocks))


def recorded(content: RecordedContent) -> Section:
    """Indices by feeder and area from the records alone."""
    return Section("feeders", "Indices by feeder and area", (
        Heading("Areas"), *observed_areas(content.history), Heading("Feeders"), *observed_feeders(content.history)))


def observed_areas(history: History) -> list[Block]:
    """Indices by area from the records."""
    frame = records_reported.areas_frame(history)
    if not len(frame):
        return [NO_AREAS]
    return [Table("areas", "Indices by area and year, the latest year first", (
        Column("year", "Year"), Column("area", "Area"), VIEW, *OF_AREAS,
        Column(EVENTS, "Interruptions recorded", "count"), Column("customers_served", "Customers", "count")), frame,
        "Areas", 18, note=records.momentary_note(
            history, "Where a feeder spans areas, the customers of an outage are taken to be spread over them as those "
            "served at and below its place are; its interruption counts in each."), file="history.json")]


def observed_feeders(history: History) -> list[Block]:
    """Indices by feeder from the records, and feeders with many outages."""
    return [Table("feeders", "Indices by feeder and year, the latest year first", (
        Column("year", "Year"), Column("feeder_id", "Feeder"), VIEW, *INDEX_COLUMNS), records.feeders_frame(history),
        "Feeders", min(2 * len(history.records.network.feeder_ids), 60), records.momentary_note(history),
        file="history.json"), many(history)]


def many(history: History) -> Block:
    """Circuits whose customers may have had more than twelve sustained outages in a year."""
    frame = records.most_interruptions(history)
    if not len(frame):
        return Text(say("On no feeder did a section see more than {n} sustained outages in a year (California "
                        "D.96-09-045).", n=Figure(records.MANY_OUTAGES, "count")))
    title = (f"Feeders with customers who may have had more than {records.MANY_OUTAGES} sustained outages in a year "
             f"(California "
             "D.96-09-045)")
    return Table("many", title, (Column("year", "Year"), Column("feeder_id", "Feeder"),
                                 Column("outages", "Most outages at or above a section", "count")),
                 frame, "Many outages")


def _modelled(content: Content, kind: str, label: str) -> Block:
    names = list(content.at("scenarios", 0, kind) or {})
    rows = [(name, pointer("scenarios", 0, kind, name)) for name in names]
    columns = [(c, f"/{c.key}") for c in (*INDEX_COLUMNS, Column("asai", "ASAI", "asai"),
                                         Column("customers_served", "Customers", "count"))]
    key = "area" if kind == "areas" else "feeder_id"
    return summary_table(f"modelled-{kind}", f"Modelled indices by {label.lower()}, as built", content.summary,
                         Column(key, label), rows, columns, sheet=f"Modelled {kind}", shown=40)
