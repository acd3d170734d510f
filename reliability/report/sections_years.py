"""Section on the indices by year: means, trend, benchmark, and twelve months that end with each month."""

from __future__ import annotations

import pandas as pd

from reliability.history.history import History
from reliability.report import charts_history as charts
from reliability.report import records, records_reported
from reliability.report.blocks import Block, Column, Missing, Section, Table, Text
from reliability.report.content import Content, RecordedContent
from reliability.report.figures import Figure, joined, say
from reliability.report.records import ALL_EVENTS, WITHOUT
from reliability.report.sections_history import INDEX_COLUMNS, VIEW, missing
from reliability.study.report_settings import benchmarks

MONTHS_SHOWN = 24
TREND_RULE = ("Trend: a straight line through the years covered in full, tested at 90 %; “none shown” where the years "
              "vary as much by themselves. Without major event days it leaves out years without a threshold.")


def years(content: Content | RecordedContent) -> Section:
    """Indices by year with and without major event days, their means, trend and benchmark."""
    title, history = "Indices by year", content.history
    if history is None:
        return missing("years", title, title)
    table = Table("years", "Indices by year, with and without major event days", (
        Column("year", "Year"), VIEW, *INDEX_COLUMNS, Column("asai", "ASAI", "asai"),
        Column("customers_served", "Customers", "count"),
        Column("days", "Major event days", "any"), Column("remark", "Remark")), records.years_frame(history), "Years",
        60, records.momentary_note(history))
    chart = [charts.years(history, index) for index in ("saidi_min", "saifi")]
    short = [] if len(history.records.years) >= 5 else [Missing(
        f"Five to ten years: the records cover {len(history.records.years)}.")]
    return Section("years", title, (*chart, *_against(history), table, *short, *_rolling(history),
                                    _experience(history)))


def _against(history: History) -> list[Block]:
    """The reporting year against its means and the benchmark."""
    frame, year = records_reported.index_frame(history), history.reported.shown
    stated = benchmarks(history.study.values)
    columns = [Column("index", "Index"), Column("view", "Days counted"), Column("unit", "Unit"),
               Column("year", str(year), "three_digits"), Column("three", "Three-year mean", "three_digits"),
               Column("five", "Five-year mean", "three_digits"),
               Column("change", f"{year} against five years", "share", signed=True), Column("trend", "Trend")]
    if stated:
        columns += [Column("benchmark", "Benchmark", "three_digits"),
                    Column("against", "Against benchmark", "share", signed=True)]
    columns += [Column(key, label, "three_digits") for key, label in (
        ("standard", "Standard"), ("standard_three", "Standard of three years")) if frame[key].notna().any()]
    blocks: list[Block] = [*_verdicts(history, frame), Table(
        "against", f"{year} against means and benchmark", tuple(columns), frame, "Trend and benchmark",
        note=records.momentary_note(history, TREND_RULE))]
    if not stated:
        blocks.append(Missing("A benchmark or standard of the regulator: not stated by the utility."))
    return blocks


def _verdicts(history: History, frame: pd.DataFrame) -> list[Text]:
    """Each benchmark and standard, and whether the year keeps to it, in words."""
    held = frame[frame["benchmark"].notna()]
    if not len(held):
        return []
    kind = {"SAIDI": "minutes", "CAIDI": "minutes"}
    sentences = [say("{index} {view}: {value} {unit}, {apart} {side} the benchmark of {benchmark}.", index=row["index"],
                     view=row["view"], value=Figure(row["year"], kind.get(row["index"], "index")), unit=row["unit"],
                     apart=Figure(abs(row["against"]), "share"), side="above" if row["against"] > 0 else "below",
                     benchmark=Figure(row["benchmark"], kind.get(row["index"], "index")))
                 for row in held.to_dict("records")]
    for key, of, value in (("standard", "standard", "year"), ("standard_three", "standard of three years", "three")):
        sentences += [say("{index} {view}: the {of} of {most} is {kept}.", index=row["index"], view=row["view"], of=of,
                          most=Figure(row[key], kind.get(row["index"], "index")),
                          kept="kept" if row[value] <= row[key] else "not kept")
                      for row in held[held[[key, value]].notna().all(axis=1)].to_dict("records")]
    source = history.study.values["benchmark_source"]
    return [Text(joined([*sentences, *([(f"Benchmarks: {source}.",)] if source else [])]), "Against the benchmark")]


def _rolling(history: History) -> list[Block]:
    """Twelve months that end with each month, and three-year means."""
    months, means = records_reported.months_frame(history), records_reported.means_frame(history)
    if not len(months):
        return [Missing("Rolling twelve months: the records cover less than twelve months in full.")]
    pairs = (("saifi", "SAIFI", "index", "1/yr"), ("saidi_min", "SAIDI", "minutes", "min/yr"),
             ("caidi_min", "CAIDI", "minutes", "min"), ("maifi_e", "MAIFI_E", "index", "1/yr"))
    columns = (Column("month", "Twelve months to"), *(
        Column(key + end, f"{label}, {view}", kind, unit) for end, view in (("", WITHOUT), ("_all", ALL_EVENTS))
        for key, label, kind, unit in pairs))
    blocks: list[Block] = [charts.rolling(history), Table(
        "rolling", "Rolling twelve months, the latest first", columns, months, "Rolling twelve months", MONTHS_SHOWN,
        note=records.momentary_note(history, "An event belongs to the month in which it began. A month's sum is "
                                    "divided by the customers served in its year."), file="history.json")]
    if len(means):
        blocks.append(Table("three-years", "Three-year means, the latest first", (
            Column("years", "Years"), VIEW, *INDEX_COLUMNS), means, "Three-year means",
                            note=records.momentary_note(history),
            file="history.json"))
    else:
        blocks.append(Missing("Three-year means: fewer than three consecutive years are covered in full."))
    return blocks


def _experience(history: History) -> Table:
    """CEMI and CELID of the system."""
    frame = pd.concat([
        view.customers.xs("", level="feeder_id").rename_axis("year").reset_index().assign(view=name)
        for name, view in ((ALL_EVENTS, history.every_event), (WITHOUT, history.without_major_events))],
                      ignore_index=True)
    names = [c for c in frame.columns if c.startswith(("cemi_", "celid_"))]
    labels = {c: c.replace("cemi_", "CEMI-").replace("celid_", "CELID-") for c in names}
    frame = frame.sort_values(["year", "view"], kind="stable", ignore_index=True).astype({"year": str})
    return Table("experience", "Share of customers by number and length of interruptions", (
        Column("year", "Year"), VIEW, *(Column(c, labels[c], "share") for c in names)), frame, "CEMI and CELID",
        note="Placed at the sections that the records name; CELID-t: one interruption of t hours or more.")
