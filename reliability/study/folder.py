"""A study opened: every table read, everything checked, every problem reported together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pandas as pd

from reliability.network.tree import Network
from reliability.schema.columns import CURVES, FEEDERS, LATERALS, OPERATIONS, OUTAGES, SECTIONS, SETTINGS, ColumnRule
from reliability.schema.problems import Problem, Problems, StudyError
from reliability.study.archive import consistent
from reliability.study.cost_table import CostTable, cost_table_of, default_cost_table
from reliability.study.files import SETTINGS_FILE, FolderReader, digest
from reliability.study.flat import flat_records
from reliability.study.headers import ColumnMap, TextTable, match_headers
from reliability.study.network_checks import check_forced_laterals, check_proposed, check_scenarios
from reliability.study.operations import OPERATIONS_FILE as OPERATIONS_FILE
from reliability.study.operations import read_operation_rows
from reliability.study.outage_rows import outage_frame, outage_times, report_doubtful_customers
from reliability.study.overcurrent import read_curves, read_overcurrent_settings, rising_notes
from reliability.study.plausibility import check_number_of_faults, unit_notes
from reliability.study.reader import Reader
from reliability.study.record_settings import record_settings
from reliability.study.records import type_table
from reliability.study.report_settings import check_plans
from reliability.study.routes import ROUTES_FILE as ROUTES_FILE
from reliability.study.routes import Routes, read_routes
from reliability.study.sections import CheckedSections, check_sections
from reliability.study.segments import SEGMENT_TABLE as SEGMENTS
from reliability.study.segments import read_segments
from reliability.study.settings import Settings, read_settings
from reliability.study.study import Study
from reliability.study.timestamps import DAY_FIRST, MONTH_FIRST, is_zone
from reliability.study.toml import Toml

__all__ = ["SETTINGS_FILE", "check_against_network", "open_study", "own_cost_table", "read_study"]


def open_study(folder: str | Path) -> Study:
    """Read and check the study in `folder`, every file from after the same change.

    Raises StudyError with every problem of every file, or where an interrupted change cannot be completed.
    """
    def read() -> Study:
        reader = FolderReader(folder)
        reader.check()
        return read_study(reader)

    return consistent(folder, read)


def read_study(reader: Reader) -> Study:
    """The study that a reader gives, checked. Raises StudyError with every problem of every table."""
    found, toml = reader.found, reader.settings()
    settings = Settings() if toml is None else read_settings(toml)
    checked = outages = curves = operations = None
    lost = b"columns" in found.contents.get(SETTINGS_FILE, b"") if toml is None else toml.lost("columns")
    if not lost:
        # With a broken study.toml that maps headers, the tables' headers would all seem unknown.
        points = _table(reader, "curves", CURVES, settings.columns)
        curves = None if points is None else read_curves(points, found.problems)
        found.notes += () if points is None or curves is None else rising_notes(curves, points.file)
        overcurrent = _table(reader, "settings", SETTINGS, settings.columns)
        unread = points is None and reader.name_of("curves") is not None
        checked = _sections(reader, settings, curves, overcurrent, unread)
        if checked is None and overcurrent is not None:     # what its own cells show, without the sections
            names = None if unread else () if curves is None else curves["curve"].unique()
            read_overcurrent_settings(overcurrent, names, None, found.problems)
        outages = _table(reader, "outages", OUTAGES, settings.columns)
        if outages is not None:
            report_doubtful_customers(outages, found.problems)
        operations = _operations(reader, settings, checked)
    routes, segments = _places(reader, None if checked is None else checked.sections["section_id"].tolist())
    costs = default_cost_table()
    if toml is not None:
        ids, network = (None, None) if checked is None else (checked.sections["section_id"].tolist(), checked.network)
        network = None if toml.unread else network          # what is checked against it may be in those lines
        found.notes += check_against_network(toml, settings, ids, network)
        costs = own_cost_table(reader, toml, settings) or costs
        found.problems.listed[:0] = toml.problems.listed
        if outages is not None and len(found.problems):     # else whoever reads the records tells of their times
            _report_times(outages, settings, found.problems)
    found.problems.raise_if_any((SETTINGS_FILE, *found.contents))
    if toml is None or checked is None or checked.network is None:
        raise RuntimeError("a study that cannot be read has no problem noted")
    study = Study(
        name=settings.name, currency=settings.currency, sections=checked.sections, network=checked.network,
        values=settings.values, stated_ranges=settings.stated_ranges, scenarios=settings.scenarios,
        outages=None if outages is None else outage_frame(outages),
        outages_file="outages.csv" if outages is None else outages.file,
        section_tables=checked.tables, settings=checked.settings, curves=curves, operations=operations,
        operations_file=reader.name_of("operations") or OPERATIONS_FILE, routes=routes, segments=segments,
        cost_table=costs,
        extra=settings.extra, plans=settings.plans, lines=toml.lines, notes=(*found.notes, *checked.notes),
        folder=reader.folder, inputs_sha256=digest(found.contents),
    )
    check_number_of_faults(study)
    return replace(study, notes=(*study.notes, *unit_notes(study, toml.file)))


def check_against_network(toml: Toml, settings: Settings, ids: list[str] | None,
                          network: Network | None) -> tuple[str, ...]:
    """Check what study.toml states about sections; returns notes for the reader of the results.

    ids: section_id of each record, None where they could not be read. network: None where what scenarios change may
    be wrong in it: then only ids that do not exist are looked for. Problems are noted in `toml.problems`.
    """
    notes: tuple[str, ...] = ()
    if ids is not None:
        notes = check_scenarios(toml, settings.scenarios, ids, network, settings.values)
    check_proposed(toml, settings.scenarios, settings.values)
    if network is not None:
        check_forced_laterals(toml, settings.extra.get("laterals", {}), network)
    check_plans(toml, settings.plans, settings.extra.get("conversions", {}))
    try:
        record_settings(settings.values, settings.extra, network)
    except StudyError as error:
        for problem in error.problems:
            toml.wrong(problem.column or "history", problem.value, problem.rule, problem.remedy)
    return notes


def _report_times(outages: TextTable, settings: Settings, problems: Problems) -> None:
    """What stands against the times of the outage records, beside all other problems of a study."""
    order, zone = (str(settings.values[key] or "").strip() for key in ("date_order", "time_zone"))
    if order in ("", DAY_FIRST, MONTH_FIRST) and (not zone or is_zone(zone)) and len(outages):
        frame = outage_frame(outages)
        outage_times(frame, frame["row"].to_numpy(), outages.file, order, zone, problems)


def _operations(reader: Reader, settings: Settings, checked: CheckedSections | None) -> pd.DataFrame | None:
    """Counter readings and events, checked; None where there is no such table or it cannot be read."""
    table = _table(reader, "operations", OPERATIONS, settings.columns)
    if table is None:
        return None
    zone = str(settings.values["time_zone"] or "").strip()
    frame, notes = read_operation_rows(
        table, str(settings.values["date_order"] or ""), None if checked is None else checked.sections,
        reader.found.problems, zone if is_zone(zone) else "")
    reader.found.notes.extend(notes)
    return frame


def _sections(reader: Reader, settings: Settings, curves: pd.DataFrame | None, overcurrent: TextTable | None,
              curves_unread: bool) -> CheckedSections | None:
    """Sections of a study, in either form, checked; None where they cannot be read or the tree cannot be followed."""
    problems = reader.found.problems
    sections_name, feeders_name, laterals_name = map(reader.name_of, ("sections", "feeders", "laterals"))
    if sections_name is not None:
        if feeders_name is not None or laterals_name is not None:
            problems.add(Problem(sections_name, "there are both sections and feeders or laterals",
                                 "keep the sections, or the two others"))
        table = _table(reader, "sections", SECTIONS, settings.columns)
        if table is None:
            return None
        return check_sections(type_table(table, SECTIONS, problems), settings.values, problems, curves=curves,
                              settings=overcurrent, curves_unread=curves_unread)
    if feeders_name is None and laterals_name is None:
        reader.report_no_network()
        return None
    if feeders_name is None:
        reader.report_missing("feeders", "add it: laterals alone are no network")
    if laterals_name is None:
        reader.report_missing("laterals", "add it: feeders alone are no network")
    feeders = _table(reader, "feeders", FEEDERS, settings.columns)
    laterals = _table(reader, "laterals", LATERALS, settings.columns)
    if feeders is None or laterals is None:
        return None
    return check_sections(flat_records(feeders, laterals, problems), settings.values, problems, sources=len(feeders),
                          curves=curves, settings=overcurrent, curves_unread=curves_unread)


def _places(reader: Reader, ids: list[str] | None) -> tuple[Routes | None, pd.DataFrame | None]:
    """Where the sections run and which segments they were made from; None each where the study does not say.

    ids: section_id of each record, None where they could not be read.
    """
    content = reader.routes()
    rows = reader.rows(SEGMENTS) if reader.name_of(SEGMENTS) is not None else None
    found, notes = (None, ()) if content is None else read_routes(ROUTES_FILE, content, ids or [],
                                                                  reader.found.problems)
    segments, more = (None, ()) if rows is None else read_segments(rows, ids or [], reader.found.problems)
    reader.found.notes.extend((*notes, *more))
    return found, segments


def _table(reader: Reader, name: str, columns: tuple[ColumnRule, ...],
           maps: Mapping[str, ColumnMap]) -> TextTable | None:
    """Text of one table, None where there is none or it cannot be read."""
    rows = reader.rows(name) if reader.name_of(name) is not None else None
    if rows is None:
        return None
    table = match_headers(rows, columns, name, maps.get(name, ColumnMap()), reader.found.problems)
    reader.found.notes.extend(table.notes)
    return table


def own_cost_table(reader: Reader, toml: Toml, settings: Settings) -> CostTable | None:
    """The user's own table of interruption costs; None where there is none, or it has problems."""
    name = settings.values["interruption_costs"]
    rows = None if name is None else reader.cost_rows(name, toml)
    if rows is None:
        return None
    try:
        return cost_table_of(rows)
    except StudyError as error:
        reader.found.problems.take(error)
    return None
