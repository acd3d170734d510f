"""The two documents as lists of sections, in the order in which they are read."""

from __future__ import annotations

from collections.abc import Sequence

from reliability.report import sections_areas as areas
from reliability.report import sections_business as business
from reliability.report import sections_conversions as conversions
from reliability.report import sections_coordination as coordination
from reliability.report import sections_definitions as definitions
from reliability.report import sections_history as history
from reliability.report import sections_laterals as laterals
from reliability.report import sections_model as model
from reliability.report import sections_records as records
from reliability.report import sections_summary as summary
from reliability.report import sections_worst as worst
from reliability.report import sections_years as years
from reliability.report.blocks import Document, Section
from reliability.report.content import Content, RecordedContent
from reliability.report.reporting import cover_facts
from reliability.report.sentences_summary import decision

REPORT_SECTIONS = (
    summary.summary, laterals.selection, model.scenarios, business.business, business.drivers,
    definitions.definitions, years.years, areas.feeders, worst.worst, history.events, history.causes,
    history.excluded, conversions.conversions, history.accuracy,
    laterals.application, coordination.coordination, model.method, model.assumptions, model.limits,
    model.reproducibility,
)
HISTORY_SECTIONS = (
    records.overview, definitions.definitions, years.years, history.excluded, areas.recorded, history.events,
    history.causes, worst.recorded, records.rates, records.device_fit, records.times, records.accuracy,
    conversions.conversions, records.reproducibility,
)


def sections(content: Content) -> list[Section]:
    """Every section of the report of a study; a part that is missing is named where it would stand."""
    return [make(content) for make in REPORT_SECTIONS]


def report(content: Content, made: Sequence[Section] | None = None) -> Document:
    """The report of a study; made: `sections(content)`, where they have been made already."""
    return Document("Reliability report and proposal", str(content.summary.get("study") or content.study.name),
                    made or sections(content), "workbook.xlsx",
                    cover_facts(content.study, content.history, content.summary), decision(content))


def outage_history(recorded: RecordedContent) -> Document:
    """What the outage records of a study say."""
    return Document("Outage history", recorded.study.name, [make(recorded) for make in HISTORY_SECTIONS])
