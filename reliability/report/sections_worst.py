"""Section on the worst feeders and laterals: by the records where there are any, the model beside them, and what is
proposed for each."""

from __future__ import annotations

import pandas as pd

from reliability.formats import percent
from reliability.history.history import History
from reliability.history.panels import EVENTS
from reliability.history.worst_circuits import WORST_SHARE, Circuits
from reliability.report import actions, charts_history, records_reported, sections_map
from reliability.report.blocks import Block, Column, Heading, Missing, Section, Table, Text, summary_table, words
from reliability.report.content import Content, RecordedContent
from reliability.report.figures import Figure, figure, pointer, say
from reliability.report.places import place_columns, with_names
from reliability.report.records import momentary_note
from reliability.report.sections_laterals import AMOUNT_COLUMNS

WORST_TITLE = "Worst feeders and laterals, and what is proposed"
SHOWN_FEEDERS, SHOWN_LATERALS = 25, 30
FEWEST_FEEDERS = 3      # below it a rank correlation says nothing
ACTION = Column("action", "Proposed and target year, or why none")
_PAIRS = (("saifi", "SAIFI", "index", "1/yr"), ("saidi_min", "SAIDI", "minutes", "min/yr"),
          ("caidi_min", "CAIDI", "minutes", "min"), ("maifi_e", "MAIFI_E", "index", "1/yr"),
          (EVENTS, "Outages", "ratio", "1/yr"))


def worst(content: Content) -> Section:
    """Worst feeders and laterals, and what is proposed for each."""
    history = content.history
    if history is None:
        blocks: list[Block] = [
            Missing("The worst feeders and laterals by the records: the study has no outage records, so they are "
                    "ranked by the model."),
            Heading("Feeders"), _modelled_feeders(content, None), Heading("Laterals"), *_modelled_laterals(content)]
    else:
        found = history.reported
        feeders, laterals = _with_action(content, found.feeders), _lateral_actions(content, found.laterals)
        blocks = [_rule(history), *_agreement(history),
                  Heading("Feeders"), feeder_table(found.feeders, feeders, momentary_note(history)),
                  _modelled_feeders(content, found.feeders),
                  Heading("Laterals"), lateral_table(history, found.laterals, laterals), *_modelled_laterals(content)]
    return Section("worst", WORST_TITLE, (*blocks, *sections_map.outages_map(content)))


def recorded(content: RecordedContent) -> Section:
    """The worst feeders and laterals of the records, without what is proposed."""
    history = content.history
    found = history.reported
    return Section("worst", "Worst feeders and laterals", (
        _rule(history), Heading("Feeders"), feeder_table(found.feeders, None, momentary_note(history)),
        Heading("Laterals"),
        charts_history.worst_laterals(history), lateral_table(history, found.laterals, None),
        words("What is proposed for each, with its target year, stands in the report of a run of the study.")))


def _rule(history: History) -> Text:
    found, complete = history.reported, history.records.settings.momentary_complete
    return Text(say(
        "Ranked by the records without major event days: feeders by {year}, laterals by the means of {years}, as one "
        "year holds few events of a lateral. The tables are in the order of the best of three ranks, by SAIFI, by "
        "SAIDI and by number of interruptions (outages), rank 1 the worst; equal ones by the sum of the three. Among "
        "the worst are the first {share} by an index, at least one feeder and one lateral; the indices are SAIFI, "
        "SAIDI, CAIDI{m} and number of interruptions. A lateral's indices are of the events recorded on it over the "
        "customers at and below its head; momentary events are recorded at the device that recloses. In cells with two "
        "figures the first is without, the second with major event days.",
        year=str(found.feeders.years[-1]), years=_span(found.laterals.years), share=percent(WORST_SHARE),
        m=", MAIFI_E" if complete else ""))


def _span(years: tuple[int, ...]) -> str:
    return str(years[0]) if len(years) == 1 else f"{years[0]} to {years[-1]}"


def _agreement(history: History) -> list[Block]:
    """How far the model ranks the feeders as the records do, on the same kind of days and in the same years."""
    found = history.calibration and (history.calibration.ordinary or history.calibration.every_day)
    if not found:
        return []
    both = found.feeders.drop(index="")[["observed_saidi_min", "modelled_saidi_min"]].dropna().rank()
    if len(both) < FEWEST_FEEDERS:
        return []
    agreement = float(both["observed_saidi_min"].corr(both["modelled_saidi_min"]))      # of ranks, which is Spearman's
    return [Text(say("By SAIDI of {days} the model ranks the feeders otherwise than the records of {year} do: rank "
                     "correlation {r}. The records rank; the model's figures stand beside them." if agreement < 0.5 else
                     "By SAIDI of {days} the model ranks the feeders much as the records of {year} do: rank "
                     "correlation {r}.",
                     days=found.days, year=_span(tuple(found.years)), r=Figure(agreement, "ratio", signed=True)))]


def _pair_columns(keys: tuple[str, ...], sheet_only: tuple[str, ...] = ()) -> list[Column]:
    """Without / with major event days in one cell of the page, a column each on the sheet."""
    columns = []
    for key, label, kind, unit in _PAIRS:
        if key in keys and key not in sheet_only:
            columns.append(Column(key, label, kind, unit, high=f"{key}_all", between=" / ", where="page"))
        columns += [Column(key, f"{label} without major event days", kind, unit, where="sheet"),
                    Column(f"{key}_all", f"{label} all events", kind, unit, where="sheet")]
    return columns


_RANKS = (Column("ranks", "Rank by SAIFI / SAIDI / outages", where="page"),
          *(Column(f"rank_{key}", f"Rank by {name}", "whole", where="sheet") for key, name in (
              ("saifi", "SAIFI"), ("saidi_min", "SAIDI"), (EVENTS, "outages"))))
_WORST = (Column("worst_by", "Among the worst 5 % by", where="sheet"),
          Column("worst_either", "Among the worst 5 % by", where="page"),
          Column("worst_by_all", "With major events by", where="sheet"),
          Column("years_worst", "Years among the worst"), Column("years_worst_by", "Years and by what", where="sheet"))


def _ranked(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with its three ranks in one text, and by what a circuit is among the worst, with major event days only
    where without them it is by nothing.
    """
    keys = [f"rank_{key}" for key in ("saifi", "saidi_min", EVENTS)]
    ranks = frame[keys].astype(int).astype(str).agg(" / ".join, axis=1) if len(frame) else ""
    only = "with major event days: " + frame["worst_by_all"].astype(str)
    either = frame["worst_by"].where((frame["worst_by"] != "") | (frame["worst_by_all"] == ""), only)
    return frame.assign(ranks=ranks, worst_either=either)


def feeder_table(circuits: Circuits, action: list[str] | None, note: str = "") -> Table:
    """Feeders ranked by the records; action: what is proposed for each, None for no such column."""
    frame = _ranked(records_reported.circuits_frame(circuits, "feeder_id"))
    columns = (Column("feeder_id", "Feeder"), *_RANKS, *_pair_columns(tuple(k for k, *_ in _PAIRS)), *_WORST)
    if action is not None:
        frame, columns = frame.assign(action=action), (*columns, ACTION)
    title = f"Feeders by the records of {_span(circuits.years)}, in the order of their best rank"
    return Table("recorded-feeders", title, columns, frame, "Worst feeders", SHOWN_FEEDERS, note, file="history.json")


def lateral_table(history: History, circuits: Circuits, action: list[str] | None) -> Block:
    """Laterals among the worst of any ranking of the records."""
    network = history.records.network
    frame = _ranked(records_reported.circuits_frame(circuits, "section_id"))
    if action is not None:
        frame = frame.assign(action=action)
    frame = frame[(frame["worst_by"] != "") | (frame["worst_by_all"] != "")].reset_index(drop=True)
    if not len(frame):
        return Text(say("No event is recorded on a lateral in {years}.", years=_span(circuits.years)))
    feeder = dict(zip(network.ids.astype(str), network.feeder_ids[network.feeder], strict=True))
    frame = with_names(network, frame.assign(feeder_id=frame["section_id"].astype(str).map(feeder)), "section_id")
    columns = (*place_columns(network, frame, "section_id", "Lateral"), Column("feeder_id", "Feeder"),
               Column("customers_served", "Customers", "count"), *_RANKS,
               *_pair_columns(("saifi", "saidi_min", EVENTS)), *_WORST)
    if action is not None:
        columns = (*columns, ACTION)
    title = f"Laterals among the worst 5 % by the records of {_span(circuits.years)}"
    return Table("recorded-laterals", title, columns, frame, "Worst laterals", SHOWN_LATERALS, file="history.json")


def _with_action(content: Content, circuits: Circuits) -> list[str]:
    return actions.feeder_actions(content, [str(name) for name in circuits.table.index])


def _lateral_actions(content: Content, circuits: Circuits) -> list[str]:
    """Action for each lateral of the records, in their order."""
    frame = actions.laterals_frame(content)
    found = dict(zip(frame["lateral_id"].astype(str), frame["action"], strict=True))
    return [found.get(str(name), "") for name in circuits.table.index]


def _modelled_ranks(content: Content, names: list[str]) -> pd.DataFrame:
    """Ranks of the feeders by the model, as built, 1 the worst: saifi, saidi_min; index: name."""
    def value(name: str, index: str) -> float:
        return figure(content.summary, pointer("scenarios", 0, "feeders", name, index), "index").value or 0.0

    values = {index: pd.Series({n: value(n, index) for n in names}, dtype=float) for index in ("saifi", "saidi_min")}
    return pd.DataFrame({index: v.rank(ascending=False, method="min") for index, v in values.items()})


def _modelled_feeders(content: Content, circuits: Circuits | None) -> Table:
    """Modelled feeders: beside the records in their order, without records the worst first with what is proposed."""
    names = [str(n) for n in content.at("scenarios", 0, "feeders") or {}]
    ranks = _modelled_ranks(content, names)
    if circuits is None:
        best, total = ranks.min(axis=1), ranks.sum(axis=1)
        order = sorted(names, key=lambda n: (best[n], total[n]))
    else:
        order = [str(n) for n in circuits.table.index if str(n) in ranks.index]
    table = summary_table(
        "worst-feeders", "Feeders by the model, as built" + (", the worst first" if circuits is None else
                                                             ", in the order of the records"),
        content.summary, Column("feeder_id", "Feeder"), [(n, pointer("scenarios", 0, "feeders", n)) for n in order], (
            (Column("saifi", "SAIFI", "index", "1/yr"), "/saifi"),
            (Column("saidi_min", "SAIDI", "minutes", "min/yr"), "/saidi_min"),
            (Column("maifi_e", "MAIFI_E", "index", "1/yr"), "/maifi_e"),
            (Column("customers_served", "Customers", "count"), "/customers_served")))
    added = {"rank_saifi": ranks["saifi"][order].to_list(), "rank_saidi": ranks["saidi_min"][order].to_list()}
    more = [Column("rank_saifi", "Rank by SAIFI", "whole"), Column("rank_saidi", "Rank by SAIDI", "whole")]
    if circuits is None:
        added["action"] = actions.feeder_actions(content, order)
        more.append(ACTION)
    else:
        added["recorded"] = circuits.table["rank_saidi_min"].loc[order].to_list()
        more.append(Column("recorded", "Rank by SAIDI in the records", "whole"))
    paths = None if table.paths is None else table.paths.assign(**dict.fromkeys(added, ""))
    return Table(table.key, table.title, (*table.columns, *more), table.frame.assign(**added),
                 "Feeders by the model" if circuits else "Worst feeders", SHOWN_FEEDERS, paths=paths)


def _modelled_laterals(content: Content) -> list[Block]:
    """Laterals by what the faults on them add to everybody's indices, in the model."""
    network = content.study.network
    frame = with_names(network, actions.laterals_frame(content), "lateral_id")
    if not len(frame):
        return [Missing("Laterals: the network has none.")]
    columns = [*place_columns(network, frame, "lateral_id", "Lateral"), Column("feeder_id", "Feeder"), *AMOUNT_COLUMNS,
               Column("ranks", "Rank by SAIFI / SAIDI / call-outs", where="page"),
               *(Column(key, f"Rank by {name}", "whole", where="sheet") for key, name in (
                   ("rank_saifi", "SAIFI"), ("rank_saidi", "SAIDI"), ("rank_callouts", "call-outs")))]
    if "observed" in frame:
        columns.append(Column("observed", "Outages recorded", "index", "1/yr"))
    if frame["npv_converted"].notna().any():
        columns.append(Column("npv_converted", "NPV if converted", "money", content.currency))
    columns.append(ACTION)
    return [Table("laterals", f"Laterals by the model: among the worst {actions.WORST} of any ranking", tuple(columns),
                  frame, "Laterals", actions.worst_shown(frame),
                  whole="Every lateral by the model, with its ranks",
                  note="Ranked by what the faults on a lateral add a year, to everybody, under today's protection.")]
