"""The report as a list of sections, in the order in which it is read."""

from __future__ import annotations

from reliability.report import sections_business as business
from reliability.report import sections_history as history
from reliability.report import sections_laterals as laterals
from reliability.report import sections_model as model
from reliability.report.blocks import Section
from reliability.report.content import Content

ORDER = (
    model.summary, model.definitions, history.years, history.feeders, history.events, history.causes, history.excluded,
    laterals.worst, model.method, model.assumptions, model.scenarios, laterals.selection, business.business,
    business.drivers, laterals.application, history.accuracy, history.conversions, model.limits, model.reproducibility,
)


def sections(content: Content) -> list[Section]:
    """Every section; a part that is missing is named where it would stand."""
    return [make(content) for make in ORDER]
