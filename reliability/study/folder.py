"""A study opened: every table read, everything checked, every problem told together."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from reliability.network.tree import Network
from reliability.schema.columns import CURVES, FEEDERS, LATERALS, OUTAGES, SECTIONS, SETTINGS, Column
from reliability.schema.problems import Problem, StudyError
from reliability.study.cost_table import CostTable, cost_table_of, default_cost_table
from reliability.study.files import SETTINGS_FILE, FolderReader
from reliability.study.flat import flat_records
from reliability.study.headers import ColumnMap, Table, match_headers
from reliability.study.network_checks import check_scenarios, check_settled_laterals
from reliability.study.overcurrent import read_curves
from reliability.study.reader import Reader
from reliability.study.record_settings import record_settings
from reliability.study.records import type_table
from reliability.study.sections import CheckedSections, check_sections
from reliability.study.settings import Settings, read_settings
from reliability.study.study import Study
from reliability.study.toml import Toml

__all__ = ["SETTINGS_FILE", "check_against_network", "digest", "open_study", "outage_frame", "own_cost_table",
           "read_study"]


def open_study(folder: str | Path) -> Study:
    """Read and check the study in `folder`. Raises StudyError with every problem of every file."""
    reader = FolderReader(folder)
    reader.check()
    return read_study(reader)


def read_study(reader: Reader) -> Study:
    """The study that a reader gives, checked. Raises StudyError with every problem of every table."""
    found, toml = reader.found, reader.settings()
    settings = Settings() if toml is None else read_settings(toml)
    checked = outages = curves = None
    if toml is not None or b"columns" not in found.contents.get(SETTINGS_FILE, b""):
        # With a broken study.toml that maps headers, the tables' headers would all seem unknown.
        points = _table(reader, "curves", CURVES, settings.columns)
        curves = None if points is None else read_curves(points, found.problems)
        checked = _sections(reader, settings, curves)
        outages = _table(reader, "outages", OUTAGES, settings.columns)
    costs = default_cost_table()
    if toml is not None:
        found.notes += check_against_network(toml, settings, checked and checked.sections["section_id"].tolist(),
                                             checked and checked.network)
        costs = own_cost_table(reader, toml, settings) or costs
        found.problems.kept[:0] = toml.problems.kept
    found.problems.raise_if_any((SETTINGS_FILE, *found.contents))
    return Study(
        name=settings.name, currency=settings.currency, sections=checked.sections, network=checked.network,
        values=settings.values, uncertain=settings.uncertain, scenarios=settings.scenarios,
        outages=None if outages is None else outage_frame(outages),
        outages_file="outages.csv" if outages is None else outages.file,
        section_tables=checked.tables, settings=checked.settings, curves=curves, cost_table=costs,
        extra=settings.extra, lines=toml.lines, notes=(*found.notes, *checked.notes),
        folder=reader.folder, inputs_sha256=digest(found.contents),
    )


def check_against_network(toml: Toml, settings: Settings, ids: list[str] | None,
                          network: Network | None) -> tuple[str, ...]:
    """Check what study.toml says of sections, of sound ones all of it; returns what should be known.

    ids: section_id of each record, None where they could not be read. network: None where sections have problems.
    """
    notes: tuple[str, ...] = ()
    if ids is not None:
        notes = check_scenarios(toml, settings.scenarios, ids, network, settings.values)
    if network is not None:
        check_settled_laterals(toml, settings.extra.get("laterals", {}), network)
    try:
        record_settings(settings.values, settings.extra, network)
    except StudyError as error:
        for problem in error.problems:
            toml.wrong(problem.column, problem.value, problem.rule, problem.remedy)
    return notes


def digest(contents: Mapping[str, bytes]) -> str:
    """SHA-256 over names, sizes and bytes of the input files, in the order of their names."""
    total = hashlib.sha256()
    for name in sorted(contents):
        total.update(f"{name}\n{len(contents[name])}\n".encode())
        total.update(contents[name])
    return total.hexdigest()


def outage_frame(table: Table) -> pd.DataFrame:
    """Outage records as text columns of `columns.OUTAGES`, "" where blank, and `row`, the spreadsheet row."""
    blank = [""] * len(table)
    frame = pd.DataFrame({c.name: pd.Series(table.cells.get(c.name, blank), dtype="str") for c in OUTAGES})
    frame["row"] = np.array(table.rows, int)
    return frame


def _sections(reader: Reader, settings: Settings, curves: pd.DataFrame | None) -> CheckedSections | None:
    problems, of_devices = reader.found.problems, _table(reader, "settings", SETTINGS, settings.columns)
    has = {name: reader.name_of(name) is not None for name in ("sections", "feeders", "laterals")}
    if has["sections"] and (has["feeders"] or has["laterals"]):
        problems.add(Problem(reader.name_of("sections"), "there are both sections and feeders or laterals",
                             "keep the sections, or the two others"))
    if has["sections"]:
        table = _table(reader, "sections", SECTIONS, settings.columns)
        if table is None:
            return None
        return check_sections(type_table(table, SECTIONS, problems), settings.values, problems, curves=curves,
                              settings=of_devices)
    if not has["feeders"] and not has["laterals"]:
        reader.report_no_network()
        return None
    for name, other in (("feeders", "laterals"), ("laterals", "feeders")):
        if not has[name]:
            reader.report_missing(name, f"add it: {other} alone are no network")
    feeders = _table(reader, "feeders", FEEDERS, settings.columns)
    laterals = _table(reader, "laterals", LATERALS, settings.columns)
    if feeders is None or laterals is None:
        return None
    return check_sections(flat_records(feeders, laterals, problems), settings.values, problems, sources=len(feeders),
                          curves=curves, settings=of_devices)


def _table(reader: Reader, name: str, columns: tuple[Column, ...], maps: Mapping[str, ColumnMap]) -> Table | None:
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
