"""What the crews are to do: the laterals chosen with year and status, in the order in which they are driven to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np
import pandas as pd

from reliability.business.chosen_checks import lateral_places
from reliability.history.reporting import first_year as first_of_programme
from reliability.network.application import ApplicationChecks
from reliability.network.application_catalogue import PASS, REVIEW
from reliability.network.travel import travel_order
from reliability.report.status_totals import READY
from reliability.schema.devices import SECTIONALIZER
from reliability.study.plan_view import PlanView

HOLD_MARK, NO_SHEET = "HOLD", "no sheet"
PROBABILITY = "probability_npv_positive"      # a column that a selection may have
NO_YEAR = 0
NO_JOBS = pd.DataFrame(columns=["what", "section_id", "device", "counts", "units", "fast_operations_of_backup"])


@dataclass(frozen=True)
class WorkPack:
    """The laterals of a plan as work.

    checks: of all laterals, with the settings chosen for each. jobs: a row a lateral to convert, in order of travel:
    lateral_id, at (its place in `checks`), year of the programme (NO_YEAR: none), device, units, counts, status
    (READY; HOLD_MARK where its verdict is not pass; NO_SHEET for a device other than a sectionalizer), releasable
    (whether a signature may release it: no check fails and nothing is unknown) and PROBABILITY, NaN where it was not
    computed. resets: a row a backup whose fast operations change: backup_id, year, fast_operations. view: the network
    in plan, None without routes; miles: lengths are in miles. actuators_per_year: used up by operations beyond today's,
    on the average; None where that was not computed. first_year: of the programme in the calendar, None where it is not
    known.
    """

    study_name: str
    checks: ApplicationChecks
    jobs: pd.DataFrame
    resets: pd.DataFrame
    view: PlanView | None = None
    miles: bool = False
    actuators_per_year: float | None = None
    first_year: int | None = None

    def stated(self, key: str) -> str:
        """What the study states under a key of [report]; "" where it states nothing."""
        value = cast(Mapping[str, object], self.checks.values).get(key)
        return "" if value is None else str(value)

    def year_name(self, year: int, short: bool = False) -> str:
        """A year of the programme in words: the calendar's where the study states the first; "" where none has any."""
        if year == NO_YEAR:
            return ("No year" if short else "No year in the programme") if (self.jobs["year"] != NO_YEAR).any() else ""
        return f"Year {year}" if self.first_year is None else f"{self.first_year + year - 1} (year {year})"

    @cached_property
    def with_sheet(self) -> pd.DataFrame:
        """The jobs that have a sheet, in their order, from 0."""
        return self.jobs[self.jobs["status"] != NO_SHEET].reset_index(drop=True)


def work_pack(checks: ApplicationChecks, selection: pd.DataFrame | None, programme: pd.DataFrame | None = None, *,
              study_name: str = "", view: PlanView | None = None, miles: bool = False,
              actuators_per_year: float | None = None, first_year: int | None = None) -> WorkPack:
    """The pack of a selection checked by `checks_of_selection`; years are those of programme.csv where it is given.

    selection: None for a pack without a job. first_year: of the programme, where the study does not state it.

    A crew's year comes first, then the feeder, then the way along it (`travel_order`); what the programme does not
    have comes last. Raises KeyError for ids that are no laterals.
    """
    selection = NO_JOBS if selection is None else selection
    is_lateral = selection["what"] == "lateral"
    jobs = _jobs(checks, selection[is_lateral], _years(programme, "lateral"))
    changed = selection[~is_lateral]
    resets = pd.DataFrame({"backup_id": changed["section_id"].astype(str),
                           "year": _year_of(changed["section_id"], _years(programme, "backup settings")),
                           "fast_operations": changed["fast_operations_of_backup"].astype(float)})
    return WorkPack(study_name, checks, jobs, resets.reset_index(drop=True), view, miles, actuators_per_year,
                    first_of_programme(checks.values, None) if first_year is None else first_year)


def _jobs(checks: ApplicationChecks, chosen: pd.DataFrame, years: pd.Series) -> pd.DataFrame:
    network, at = checks.network, lateral_places(checks.lateral_ids, chosen["section_id"])
    head = checks.proposal.head[at]
    has_sheet = (chosen["device"] == SECTIONALIZER).to_numpy()
    verdict = checks.verdict[at]
    year = _year_of(chosen["section_id"], years)
    jobs = pd.DataFrame({
        "lateral_id": chosen["section_id"].to_numpy().astype(str), "at": at, "year": year,
        "feeder_id": network.feeder_ids[network.feeder[head]].astype(str),
        "device": chosen["device"].to_numpy(), "units": chosen["units"].to_numpy(dtype=float),
        "counts": chosen["counts"].to_numpy(dtype=float),
        "status": np.where(~has_sheet, NO_SHEET, np.where(verdict == PASS, READY, HOLD_MARK)),
        "releasable": verdict <= REVIEW,
        PROBABILITY: chosen[PROBABILITY].to_numpy(dtype=float) if PROBABILITY in chosen else np.nan,
    })
    last = np.where(year == NO_YEAR, np.iinfo(np.int64).max, year)
    order = np.lexsort((travel_order(network)[head], network.feeder[head], last))
    return jobs.iloc[order].reset_index(drop=True)


def _years(programme: pd.DataFrame | None, what: str) -> pd.Series:
    """First year of each section_id in a programme."""
    if programme is None or programme.empty:
        return pd.Series(dtype=np.int64)
    rows = programme[programme["what"] == what]
    return rows.groupby(rows["section_id"].astype(str))["year"].min()


def _year_of(ids: pd.Series, years: pd.Series) -> np.ndarray:
    return ids.astype(str).map(years).fillna(NO_YEAR).to_numpy().astype(np.int64)
