"""Results of the outage records of a study, computed once for the command line and the app."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from reliability.cautions import CAUTION
from reliability.formats import count
from reliability.history.calibration import Calibration
from reliability.history.conversions import BeforeAfter, before_after
from reliability.history.customer_indices import customer_indices
from reliability.history.durations import restoration_times
from reliability.history.like_days import compare_like_days
from reliability.history.major_events import MajorEvents, major_events
from reliability.history.model_days import ModelDays
from reliability.history.observed import cause_indices, daily_indices, feeder_indices, tally, yearly_indices
from reliability.history.operations import Operations, read_operations
from reliability.history.outages import Records, event_ids, read_records
from reliability.history.panels import feeder_parts
from reliability.history.pilot import Pilot, pilot_of
from reliability.history.rates import LearnedRates, learn_rates
from reliability.history.reported import BothViews, Reported, report_records
from reliability.history.single_events import caution, single_events
from reliability.schema.values import Assumptions
from reliability.study.record_settings import FIXED
from reliability.study.study import Study

MOST_NAMED = 6


@dataclass(frozen=True)
class View:
    """Indices of one selection of events: see `observed` and `customer_indices` for rows and columns."""

    years: pd.DataFrame
    feeders: pd.DataFrame
    causes: pd.DataFrame
    customers: pd.DataFrame


@dataclass(frozen=True)
class History:
    """Results of the outage records.

    every_event, without_major_events: indices of all events, and of those that did not begin on a major
        event day. daily: see `observed.daily_indices`. single_events: the largest event of each major event day.
    times: see `durations`.
    worst_laterals: see `worst_laterals`. operations: what counters and logs of reclosing devices say.
    calibration: None where no modelled indices were given. conversions: None without any. pilot: what a pilot would
        need, None where the records allow no plan.
    cautions: sentences that belong with the figures. sums: what each step adds, see `tally`; ordinary: (n,) steps of
        events that began on no major event day. learned_before: rates learned already, None without.
    """

    study: Study
    records: Records
    every_event: View
    without_major_events: View
    daily: pd.DataFrame
    major_events: MajorEvents
    single_events: pd.DataFrame
    times: pd.DataFrame
    worst_laterals: pd.DataFrame
    operations: Operations
    calibration: Calibration | None
    conversions: BeforeAfter | None
    pilot: Pilot | None
    cautions: tuple[str, ...]
    sums: pd.DataFrame
    ordinary: np.ndarray
    learned_before: LearnedRates | None = None

    @cached_property
    def reported(self) -> Reported:
        """Circuits, areas, rolling means, causes and completeness; computed when first asked for."""
        years = BothViews(self.every_event.years, self.without_major_events.years)
        return report_records(self.study, self.records, self.sums, self.ordinary, years,
                              self.major_events.unclassified(self.records.years))

    @cached_property
    def learned(self) -> LearnedRates:
        """What the records tell of fault rates; computed when it is first asked for."""
        return self.learned_before or learn_rates(self.study, self.records, self.operations)

    def __repr__(self) -> str:
        years, steps = self.records.years, self.records.steps
        return (f"History: {int(years[0])} to {int(years[-1])}, {count(len(steps), 'restoration step')}, "
                f"{count(len(self.major_events.days), 'major event day')}")


def read_history(study: Study, modelled: ModelDays | None = None, records: Records | None = None,
                 learned: LearnedRates | None = None) -> History:
    """Indices, thresholds and the rest from the outage records of `study`; rates are learned when they are asked for.

    modelled: days of the study's model, to compare with. records: those of the study, where they have been read
    already; learned: what they tell of rates, where that is known already. Raises StudyError where there are no
    records, or where a key must say how to read them.
    """
    records = records or read_records(study)
    operations = read_operations(study, records)
    sums = tally(records)
    daily = daily_indices(sums, records)
    events = major_events(daily, records.years, records.partial, records.settings)
    ordinary = ~np.isin(sums["day"].to_numpy(), events.days.index.to_numpy())
    blind = _blind_feeders(records, sums, operations)
    every_event = _view(records, sums, np.ones(len(sums), bool), blind)
    without = every_event if ordinary.all() else _view(records, sums, ordinary, blind)
    expected = records.settings.expected_rate_ratio
    single = single_events(records, sums, events, event_ids(study))
    effect = 1.0 - float(study.values["temporary_fraction"]) if expected is None else expected
    return History(
        study=study, records=records, every_event=every_event, without_major_events=without, daily=daily,
        major_events=events, single_events=single, times=restoration_times(records, ordinary),
        worst_laterals=worst_laterals(records, sums), operations=operations,
        calibration=None if modelled is None else compare_like_days(records, events, sums, modelled, study.values),
        conversions=before_after(records, effect, study.values["line_fault_rate_per_km"], study.values["seed"]),
        pilot=pilot_of(records, effect),
        cautions=(*_cautions(records, events), *_unseen(records, blind), *_only_in_operations(operations),
                  *filter(None, [caution(single)]), *_what_is_recorded(study.values, records)),
        sums=sums, ordinary=ordinary, learned_before=learned)


def _view(records: Records, sums: pd.DataFrame, keep: np.ndarray, blind: np.ndarray) -> View:
    """Indices of the steps (n,) to keep; blind: (f,) feeders whose momentary events are not recorded."""
    used, momentary = sums[keep], ["maifi", "maifi_e"]
    years, feeders, causes = (of(used, records) for of in (yearly_indices, feeder_indices, cause_indices))
    feeders.loc[np.tile(blind, len(records.years)), momentary] = np.nan
    if blind.all() and not sums["momentary_interruptions"].any():
        years[momentary], causes[momentary] = np.nan, np.nan
    return View(years, feeders, causes, customer_indices(records, keep))


def _blind_feeders(records: Records, sums: pd.DataFrame, operations: Operations) -> np.ndarray:
    """(f,) feeders of which the outage records hold no momentary event, though some may have been or were."""
    events = operations.events
    at = records.network.feeder[events.loc[events["source"] == "operations", "device"].to_numpy(dtype=np.int64)]
    elsewhere = np.bincount(at, minlength=len(records.network.feeder_ids)) > 0
    return ~feeder_parts(records).momentary_seen(sums) & (elsewhere | (not records.settings.momentary_complete))


def worst_laterals(records: Records, sums: pd.DataFrame) -> pd.DataFrame:
    """Laterals by sustained unplanned events recorded on them, most first.

    Columns: feeder_id, events, events_per_year, customer_interruptions, customer_minutes; index:
    section_id of the lateral's head.
    """
    network, steps = records.network, records.steps
    section = steps["section"].to_numpy()
    lateral = np.where(section >= 0, network.unit[section], -1)
    part = sums.assign(lateral=lateral, event=steps["event"])
    part = part[(lateral >= 0) & (steps["sustained"] & steps["counted"] & ~steps["planned"]).to_numpy(dtype=bool)]
    table = part.groupby("lateral").agg(events=("event", "nunique"), customer_interruptions=("interruptions", "sum"),
                                        customer_minutes=("customer_minutes", "sum"))
    head = table.index.to_numpy(dtype=int)
    table.insert(0, "feeder_id", network.feeder_ids[network.feeder[head]])
    table.insert(2, "events_per_year", table["events"] / records.period_years)
    table.index = pd.Index(network.ids[head], name="section_id")
    return table.sort_values(["events", "customer_minutes"], ascending=False, kind="stable")


def _cautions(records: Records, events: MajorEvents) -> tuple[str, ...]:
    cautions = [CAUTION]
    for gap in (f for f in records.findings if f.code == "long_gap"):
        cautions.append(f"No record for a long time: {', '.join(gap.pairs)}. That time is taken as covered; if its "
                        "records are missing, indices and learned rates are too low.")
    if records.partial:
        cautions.append(f"Covered in part: {_listed(records.partial)}. Indices of such a year are sums over the part "
                        "covered, not scaled to a year.")
    if events.method == FIXED:
        cautions.append("Major event days are those listed in history.major_event_days.")
        days = records.settings.major_event_days
        if len(idle := days[~np.isin(days, events.days.index.to_numpy().astype("datetime64[D]"))]):
            cautions.append(f"No interruption is recorded on {', '.join(map(str, idle))}, listed there.")
    elif len(records.settings.major_event_days):
        listed = count(len(records.settings.major_event_days), "day")
        cautions.append(f"history.major_event_days lists {listed}, not used: history.major_event_method does not say "
                        '"fixed".')
    without = [str(y) for y in events.unclassified(records.years)]
    if without:
        cautions.append(f"There is no threshold of major event days for {', '.join(without)}: in "
                        f"{'that year' if len(without) == 1 else 'those years'} no day counts as a major event day, "
                        "and the indices with and without major event days are equal.")
    missing = [str(y) for y, s in zip(records.years, records.served.stated, strict=True) if not s]
    if missing and records.served.stated.any():
        cautions.append(f"Customers served in {', '.join(missing)} are not stated: the number in the sections is used.")
    elif missing:
        cautions.append("Customers served in every year are the number in the sections.")
    if not records.settings.time_zone:
        cautions.append("No time zone is given: durations over a clock change may be wrong by an hour.")
    if records.settings.include_planned and records.steps["planned"].any():
        cautions.append("The indices of the records include planned interruptions.")
    return tuple(cautions)


def _only_in_operations(operations: Operations) -> tuple[str, ...]:
    """That events of operations.csv are in no index, as nobody says how many customers they had."""
    only = int((operations.events["source"] == "operations").sum())
    if not only:
        return ()
    return (f"{count(only, 'momentary event')} of reclosing devices {'is' if only == 1 else 'are'} not in the outage "
            "records: MAIFI and MAIFI_E of the records leave out what is there alone; learned rates do not.",)


def _unseen(records: Records, blind: np.ndarray) -> tuple[str, ...]:
    """Feeders (f,) whose momentary events are not recorded, in words."""
    if not blind.any():
        return ()
    feeders = records.network.feeder_ids[blind]
    if blind.all():
        return ("No momentary interruption is in the outage records of any feeder: they say nothing of MAIFI and "
                "MAIFI_E.",)
    named = ", ".join(feeders[:MOST_NAMED]) + (" …" if len(feeders) > MOST_NAMED else "")
    return (f"No momentary interruption is in the outage records of {count(len(feeders), 'feeder')} ({named}): MAIFI "
            "and MAIFI_E there are not known from the records, and the system's are too low.",)


def _what_is_recorded(values: Assumptions, records: Records) -> tuple[str, ...]:
    """What [records] says is missing from the records."""
    cautions = []
    if not values["planned_included"]:
        marked = int(records.steps["planned"].sum())
        cautions.append("The study says that the records hold no planned work: their indices are those of faults alone."
                        + (f" {count(marked, 'row')} marked planned {'is' if marked == 1 else 'are'} there "
                           "nevertheless." if marked else ""))
    if not values["storms_included"]:
        cautions.append("The study says that the records leave out major storms: all their indices, those with major "
                        "event days too, are those of days without such storms, and thresholds are too low.")
    return tuple(cautions)


def _listed(partial: Mapping[int, str]) -> str:
    return "; ".join(f"{year} {part}" for year, part in partial.items())
