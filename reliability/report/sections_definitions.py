"""Section on the reporting period and the terms used; the face of the report stands in it."""

from __future__ import annotations

import pandas as pd

from reliability.history.history import History
from reliability.report.blocks import Block, Bullets, Column, Missing, Section, Table, Text
from reliability.report.content import Content, RecordedContent
from reliability.report.definitions import CLAUSES_FROM_MEMORY, DEFINITIONS, MOMENTARY_DEFINITION, STANDARD
from reliability.report.figures import Figure, say
from reliability.report.reporting import face

DEFINITIONS_TITLE = "Reporting period and definitions"


def definitions(content: Content | RecordedContent) -> Section:
    """Face of the report, reporting period and the terms used."""
    history = content.history
    period: Block = Missing("The reporting period: the study has no outage records.")
    if history is not None:
        period = _period(history)
    frame = pd.DataFrame(DEFINITIONS, columns=["term", "definition", "clause"])
    table = Table("definitions", f"Terms ({STANDARD}; {CLAUSES_FROM_MEMORY})", (
        Column("term", "Term"), Column("definition", "Definition"), Column("clause", "Clause")), frame, "Definitions")
    return Section("definitions", DEFINITIONS_TITLE, (*face(content.study, history), period, Bullets((
        (MOMENTARY_DEFINITION,),
        ("Durations are compared with five minutes, also where a jurisdiction counts an interruption of exactly five "
         "minutes as sustained.",),
        ("Indices with and without major event days are both given; section “Data accuracy” lists what else is "
         "excluded.",))), table))


def _period(history: History) -> Text:
    records = history.records
    return Text(say("Outage records from {first} to {last}: {n} restoration steps; {customers} customers served in the "
                    "last year.", first=str(records.first_day), last=str(records.last_day),
                    n=Figure(len(records.steps), "count"),
                    customers=Figure(float(records.served.total[-1]), "count")))
