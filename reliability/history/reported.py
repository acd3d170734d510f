"""What a yearly report asks of the records beyond the indices by year: circuits, areas, rolling means, causes."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.history.cause_years import causes_with_trend
from reliability.history.completeness import completeness
from reliability.history.outages import Records
from reliability.history.panels import Panel, SystemParts, area_parts, cause_parts, feeder_parts, lateral_parts, panel
from reliability.history.reporting import full_years, reporting_year, years_shown
from reliability.history.rolling import means_of_years, rolling_months
from reliability.history.worst_circuits import Circuits, rank_circuits
from reliability.network.areas import areas_of
from reliability.study.study import Study

YEARS_OF_LATERALS = 3       # a single year holds too few events of a lateral; our choice
THREE, FIVE = 3, 5


@dataclass(frozen=True)
class BothViews:
    """The same of all events, and of those that did not begin on a major event day."""

    every_event: pd.DataFrame
    without: pd.DataFrame


@dataclass(frozen=True)
class Reported:
    """What the records say for a report of one year.

    year: the reporting year, None where the records cover none in full and the study states none. shown: the year
    whose figures stand for it, the last that the records cover up to then. feeders: of that year; laterals: means of up
    to three years. areas: yearly sums by operating area, of all events and without major event days, None where no
    section states one. months: see `rolling_months`. three_years, five_years: see `means_of_years`. causes: see
    `causes_with_trend`. completeness: see there.
    """

    year: int | None
    shown: int
    feeders: Circuits
    laterals: Circuits
    areas: tuple[Panel, Panel] | None
    months: BothViews
    three_years: BothViews
    five_years: BothViews
    causes: pd.DataFrame
    completeness: pd.DataFrame


def report_records(study: Study, records: Records, sums: pd.DataFrame, ordinary: np.ndarray,
                   years: BothViews, unclassified: Collection[int]) -> Reported:
    """Everything above; sums: `observed.tally`. ordinary: (n,) steps of events that began on no major event day.

    years: indices by year. unclassified: years without a threshold, which enter no mean of days without major events.
    """
    everything = np.ones(len(sums), dtype=bool)

    def both(parts: SystemParts) -> tuple[Panel, Panel]:
        return panel(records, sums, everything, parts), panel(records, sums, ordinary, parts)

    def means(span: int) -> BothViews:
        return BothViews(means_of_years(years.every_event, span, records.partial),
                         means_of_years(years.without, span, {*records.partial, *unclassified}))

    areas = areas_of(records.network)
    shown = years_shown(study.values, records, 1)
    return Reported(
        year=reporting_year(study.values, records), shown=shown[-1],
        feeders=rank_circuits(*both(feeder_parts(records)), shown),
        laterals=rank_circuits(*both(lateral_parts(records)), years_shown(study.values, records, YEARS_OF_LATERALS)),
        areas=None if areas is None else both(area_parts(records, areas)),
        months=BothViews(rolling_months(sums, records), rolling_months(sums[ordinary], records)),
        three_years=means(THREE), five_years=means(FIVE),
        causes=causes_with_trend(*both(cause_parts(records)), full_years(records)),
        completeness=completeness(study, records))
