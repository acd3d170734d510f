"""The report of an import: as a page, as a table with every id, and as an outline for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from reliability import __version__
from reliability.cautions import CAUTION
from reliability.cells import csv_text
from reliability.formats import count, noun_for, shown
from reliability.intake import Imported
from reliability.intake.findings import AMBER, GREEN, RED, Noted
from reliability.intake.outcome import REPORT_TABLE
from reliability.report.blocks import Bullets, Caution, Column, Document, Section, Table, Text, words
from reliability.report.charts_import import import_map
from reliability.report.figures import Figure, say
from reliability.report.page import page
from reliability.schema.devices import BY_NAME

PAGE = "import_report.html"
SOME_IDS = 12       # ids that the page names of one finding; the table has all
REPORT_PARTS = {"topology": "Topology", "devices": "Devices", "customers": "Customers", "outages": "Outages",
                "rows": "Rows and columns"}
STATE_WORDS = {GREEN: "Green: nothing that needs a look.", AMBER: "Amber: read what is listed before using the study.",
                RED: "Red: resolve what is listed before using the study."}


def import_document(imported: Imported, name: str) -> Document:
    """The report as a document: totals, what matched, what was noticed and where, what balances."""
    report = imported.report
    parts = [Section(key, title, _noted(key, [n for n in report.findings.noted if n.part == key]))
             for key, title in REPORT_PARTS.items() if any(n.part == key for n in report.findings.noted)]
    chart = import_map(imported)
    drawn = [] if chart is None else [Section("map", "Map", (chart,))]
    return Document("Import report", name, [_summary(imported), *drawn, _totals(imported), _matched(imported), *parts,
                                            _balance(imported)])


def report_files(imported: Imported, name: str = "Import") -> dict[str, bytes]:
    """Files of the report by name: the page, and the table with every id."""
    return {REPORT_TABLE: csv_text(report_table(imported)).encode(), PAGE: page(import_document(imported,
                                                                                                name)).encode()}


def _summary(imported: Imported) -> Section:
    report, whole = imported.report, imported.report.totals.iloc[-1]
    text = say("{sections} line sections of {km} km ({mi} mi) on {feeders} {noun}, {customers} customers, {laterals} "
               "laterals, made of the exports.", sections=Figure(float(whole["sections"]), "count"),
               km=Figure(float(whole["km"])), mi=Figure(float(whole["mi"])),
               feeders=Figure(len(report.totals) - 1, "count"), noun=noun_for(len(report.totals) - 1, "feeder"),
               customers=Figure(float(whole["customers"]), "count"), laterals=Figure(float(whole["laterals"]), "count"))
    worst = [n for n in report.findings.noted if n.state == RED]
    points = [Bullets(tuple((f"{n.title}: {shown(n.count, 'count')}.",) for n in worst))] if worst else []
    return Section("summary", "Summary", (Text(text, "Totals"), Text((STATE_WORDS[report.state],), "State"), *points,
                                          Caution((CAUTION,)),
                                          Text((f"Made by version {__version__}.",))))


def _totals(imported: Imported) -> Section:
    totals = imported.report.totals
    devices = [name for name in BY_NAME if totals[name].iloc[-1]]
    columns = [Column("feeder_id", "Feeder"), Column("km", "Length", "amount", "km"), Column("mi", "Length", "amount",
                                                                                             "mi"),
               Column("customers", "Customers", "count"), Column("connected_kva", "Transformers", "count", "kVA"),
               Column("laterals", "Laterals", "count"),
               *(Column(name, f"{BY_NAME[name].label}s" if not name.endswith("switch") else "Switches", "count")
                 for name in devices)]
    if "outages_per_year" in totals:
        columns += [Column("outages_per_year", "Outages", "amount", "1/yr"),
                    Column("customer_minutes_per_year", "Customer-minutes", "count", "1/yr")]
    last = pd.concat([totals.iloc[-1:], totals.iloc[:-1]], ignore_index=True)
    years = imported.report.facts.get("years", np.nan)
    note = ("" if years != years else
            f"Outages and customer-minutes are a year's, of the {shown(years, 'hours')} years that the records cover.")
    return Section("totals", "Totals by feeder", (Table("totals", "Totals by feeder", tuple(columns), last, note=note,
                                                        file="sections.csv"),))


def _matched(imported: Imported) -> Section:
    frame = imported.report.matched
    columns = (Column("what", "What"), Column("matched", "Matched", "count"), Column("of", "Of", "count"),
               Column("share", "Share", "share"), Column("state", "State"))
    return Section("matched", "What matched", (Table(
        "matched", "Shares of the exports that became part of the study", columns, frame[frame["of"] > 0],
        note="Under 95 % amber, under 80 % red. What is not placed is not in the number of customers served."),))


def _noted(key: str, noted: Sequence[Noted]) -> list[Table | Text]:
    order = {RED: 0, AMBER: 1, GREEN: 2}
    rows = sorted(noted, key=lambda n: order[n.state])
    frame = pd.DataFrame({"state": [n.state for n in rows], "title": [n.title for n in rows],
                          "count": [n.count for n in rows], "customers": [n.customers for n in rows],
                          "km": [n.km for n in rows], "minutes": [n.minutes for n in rows],
                          "ids": [_some(n) for n in rows]})
    columns = [Column("state", "State"), Column("title", "What"), Column("count", "Number", "count")]
    for name, label, kind, unit in (("customers", "Customers", "count", ""), ("km", "Length", "amount", "km"),
                                    ("minutes", "Customer-minutes", "count", "")):
        if frame[name].notna().any():
            columns.append(Column(name, label, kind, unit))
    return [Table(f"noted-{key}", REPORT_PARTS[key], (*columns, Column("ids", "Which")), frame, file=REPORT_TABLE,
                  note=f"Every id is in {REPORT_TABLE}.")]


def _some(noted: Noted) -> str:
    more = f" … {shown(noted.count - SOME_IDS, 'count')} more" if noted.count > SOME_IDS else ""
    return ", ".join(noted.ids[:SOME_IDS]) + more


def _balance(imported: Imported) -> Section:
    columns = (Column("quantity", "Quantity"), Column("in", "In the exports", "any"), Column("out", "In the study",
                                                                                             "any"),
               Column("listed", "Left out and listed", "any"))
    facts = imported.report.facts.get("planned_words", {})
    planned = [word for word, meaning in facts.items() if meaning == "true"]
    said = (f"Outages count as planned by the words {', '.join(planned)}." if planned else
            "No word of the outages counts as planned.")
    momentary = "momentary" in imported.report.findings
    return Section("balance", "What balances", (
        Table("balance", "Totals in equal totals out and what is listed", columns, imported.report.balance),
        words(said, "Momentary events are recorded." if momentary else "No momentary events are recorded.")))


def report_table(imported: Imported) -> pd.DataFrame:
    """Every line of the report with every id: part, state, key, what, count, of, share, ids."""
    report = imported.report
    rows: list[dict[str, object]] = []
    for m in report.matched.to_dict("records"):
        rows.append({"part": "matched", "state": m["state"], "key": m["key"], "what": m["what"], "count": m["matched"],
                     "of": m["of"], "share": m["share"]})
    for b in report.balance.to_dict("records"):
        rows.append({"part": "balance", "state": GREEN, "key": b["quantity"], "what": "out, of in; listed beside",
                     "count": b["out"], "of": b["in"], "listed": b["listed"]})
    for t in report.totals.to_dict("records"):
        rows.append({"part": "totals", "state": GREEN, "key": t["feeder_id"], "what": "sections",
                     "count": t["sections"],
                     "km": t["km"], "customers": t["customers"]})
    for n in report.findings.noted:
        rows.append({"part": n.part, "state": n.state, "key": n.key, "what": n.title, "count": n.count,
                     "customers": n.customers, "km": n.km, "customer_minutes": n.minutes, "ids": "; ".join(n.ids)})
    columns = ["part", "state", "key", "what", "count", "of", "share", "listed", "customers", "km", "customer_minutes",
               "ids"]
    return pd.DataFrame(rows).reindex(columns=columns)


def report_outline(imported: Imported) -> str:
    """The report in a few lines of text."""
    report, whole = imported.report, imported.report.totals.iloc[-1]
    lines = [f"{count(int(whole['sections']), 'section')}, {shown(whole['km'], 'amount')} km, "
             f"{count(int(whole['customers']), 'customer')}, {count(len(report.totals) - 1, 'feeder')}, "
             f"{count(int(whole['laterals']), 'lateral')}"]
    lines += [f"{m['state']}: {m['what']}: {shown(m['share'], 'share')}" for m in report.matched.to_dict("records")
              if m["of"]]
    lines += [f"{n.state}: {n.title}: {shown(n.count, 'count')}" for state in (RED,
                                                                               AMBER) for n in report.findings.noted
              if n.state == state]
    return "\n".join(lines)
