"""A study's folder opened: every file read, everything checked, every problem told together."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from reliability.schema.columns import CURVES, FEEDERS, LATERALS, OUTAGES, SECTIONS, SETTINGS, Column
from reliability.schema.nearest import SURE, Names
from reliability.schema.problems import Problem, Problems, StudyError
from reliability.study.cost_table import MOST_BYTES as COST_TABLE_BYTES
from reliability.study.cost_table import CostTable, default_cost_table, parse_cost_table
from reliability.study.flat import flat_records
from reliability.study.headers import ColumnMap, Table, match_headers
from reliability.study.network_checks import check_scenarios, check_settled_laterals
from reliability.study.overcurrent import read_curves
from reliability.study.record_settings import record_settings
from reliability.study.records import type_table
from reliability.study.sections import CheckedSections, check_sections
from reliability.study.settings import Settings, read_settings
from reliability.study.study import Study
from reliability.study.tables import read_bytes, read_rows
from reliability.study.toml import MOST_BYTES, Toml, line_of, read_toml

SETTINGS_FILE = "study.toml"


@dataclass
class _Desk:
    """What is gathered while a folder is read."""

    folder: Path
    problems: Problems = field(default_factory=Problems)
    contents: dict[str, bytes] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def open_study(folder: str | Path) -> Study:
    """Read and check the study in `folder`. Raises StudyError with every problem of every file."""
    desk = _Desk(Path(folder))
    _check_folder(desk.folder)
    toml, settings = _settings(desk)
    checked = outages = curves = None
    if toml is not None or b"columns" not in desk.contents.get(SETTINGS_FILE, b""):
        # With a broken study.toml that maps headers, the tables' headers would all seem unknown.
        curves_table = _table(desk, "curves", CURVES, settings.columns)
        curves = None if curves_table is None else read_curves(curves_table, desk.problems)
        checked = _sections(desk, settings, curves)
        outages = _table(desk, "outages", OUTAGES, settings.columns)
    costs = default_cost_table()
    if toml is not None:
        desk.notes += _check_against_network(toml, settings, checked)
        costs = _cost_table(desk, toml, settings) or costs
        desk.problems.kept[:0] = toml.problems.kept
    desk.problems.raise_if_any((SETTINGS_FILE, *desk.contents))
    return Study(
        name=settings.name, currency=settings.currency, sections=checked.sections, network=checked.network,
        values=settings.values, uncertain=settings.uncertain, scenarios=settings.scenarios,
        outages=None if outages is None else outage_frame(outages),
        outages_file="outages.csv" if outages is None else outages.file,
        section_tables=checked.tables, settings=checked.settings, curves=curves, cost_table=costs,
        extra=settings.extra, lines=toml.lines, notes=(*desk.notes, *checked.notes),
        folder=desk.folder, inputs_sha256=digest(desk.contents),
    )


def _check_against_network(toml: Toml, settings: Settings, checked: CheckedSections | None) -> tuple[str, ...]:
    """Check what study.toml says of sections, of sound ones all of it; returns what should be known."""
    network, notes = checked.network if checked else None, ()
    if checked is not None:
        notes = check_scenarios(toml, settings.scenarios, checked.sections["section_id"].tolist(), network,
                                settings.values)
    if network is not None:
        check_settled_laterals(toml, settings.extra.get("laterals", {}), network)
    try:
        record_settings(settings.values, settings.extra, network)
    except StudyError as error:
        toml.problems.take(StudyError([replace(p, row=line_of(toml.lines, p.column)) for p in error.problems]))
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


def _check_folder(folder: Path) -> None:
    try:
        found = folder.is_dir()
        there = found or folder.exists()
        if found:
            next(folder.iterdir(), None)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "unreadable name"
        raise StudyError([Problem(str(folder), f"cannot be read ({reason})", "check the folder's permissions")]) \
            from error
    if not found:
        rule = "this is a file, not a study folder" if there else "there is no such folder"
        raise StudyError([Problem(str(folder), rule, f"name the folder that holds {SETTINGS_FILE}")])


def _settings(desk: _Desk) -> tuple[Toml | None, Settings]:
    if not _there(desk, SETTINGS_FILE):
        near = _misnamed(desk.folder, SETTINGS_FILE)
        hint = f"rename '{near}' to it" if near else 'add it; name = "…" is all it needs'
        desk.problems.add(Problem(SETTINGS_FILE, "the file is missing", hint))
        return None, Settings()
    try:
        desk.contents[SETTINGS_FILE] = read_bytes(desk.folder / SETTINGS_FILE, MOST_BYTES)
        toml = read_toml(SETTINGS_FILE, desk.contents[SETTINGS_FILE])
    except StudyError as error:
        desk.problems.take(error)
        return None, Settings()
    return toml, read_settings(toml)


def _sections(desk: _Desk, settings: Settings, curves: pd.DataFrame | None) -> CheckedSections | None:
    of_devices = _table(desk, "settings", SETTINGS, settings.columns)
    has = {name: _file_of(desk, name) is not None for name in ("sections", "feeders", "laterals")}
    if has["sections"] and (has["feeders"] or has["laterals"]):
        desk.problems.add(Problem(_file_of(desk, "sections"), "there are both sections and feeders or laterals",
                                  "keep the sections, or the two others"))
    if has["sections"]:
        table = _table(desk, "sections", SECTIONS, settings.columns)
        if table is None:
            return None
        return check_sections(type_table(table, SECTIONS, desk.problems), settings.values, desk.problems,
                              curves=curves, settings=of_devices)
    if not has["feeders"] and not has["laterals"]:
        near = _misnamed(desk.folder, "sections.csv") or _misnamed(desk.folder, "sections.xlsx")
        old = _misnamed(desk.folder, "sections.xls")
        hint = (f"rename '{near}' to sections{Path(near).suffix.casefold()}" if near else
                f"save '{old}' as sections.xlsx" if old else
                "add it, or sections.xlsx, or feeders.csv and laterals.csv, or give your table such a name")
        desk.problems.add(Problem("sections.csv", "the file is missing", hint))
        return None
    for name, other in (("feeders", "laterals"), ("laterals", "feeders")):
        if not has[name]:
            desk.problems.add(Problem(f"{name}.csv", "the file is missing", f"add it: {other} alone are no network"))
    feeders = _table(desk, "feeders", FEEDERS, settings.columns)
    laterals = _table(desk, "laterals", LATERALS, settings.columns)
    if feeders is None or laterals is None:
        return None
    return check_sections(flat_records(feeders, laterals, desk.problems), settings.values, desk.problems,
                          sources=len(feeders), curves=curves, settings=of_devices)


def _table(desk: _Desk, name: str, columns: tuple[Column, ...], maps: Mapping[str, ColumnMap]) -> Table | None:
    """Text of one table, None where there is no such file or it cannot be read."""
    file = _file_of(desk, name)
    if file is None:
        return None
    if file.endswith(".csv") and _there(desk, f"{name}.xlsx"):
        desk.problems.add(Problem(f"{name}.xlsx", f"there is {name}.csv too", "keep one of the two"))
    try:
        desk.contents[file] = read_bytes(desk.folder / file)
        rows = read_rows(file, desk.contents[file])
    except StudyError as error:
        desk.problems.take(error)
        return None
    table = match_headers(rows, columns, name, maps.get(name, ColumnMap()), desk.problems)
    desk.notes.extend(table.notes)
    return table


def _cost_table(desk: _Desk, toml: Toml, settings: Settings) -> CostTable | None:
    """The user's own table of interruption costs; None where there is none, or it has problems."""
    file = settings.values["interruption_costs"]
    if file is None:
        return None
    key, remedy = "costs.interruption_costs", "put the table into the study folder and write its name alone"
    if file != Path(file).name:
        toml.wrong(key, file, "the table must lie in the study folder", remedy)
        return None
    if not _there(desk, file):
        others = [name for name in _listing(desk.folder) if name not in desk.contents]
        toml.wrong(key, file, "there is no such file in the study folder", Names(others).suggest(file, remedy))
        return None
    try:
        desk.contents[file] = read_bytes(desk.folder / file, COST_TABLE_BYTES)
        return parse_cost_table(file, desk.contents[file])
    except StudyError as error:
        desk.problems.take(error)
    return None


def _file_of(desk: _Desk, name: str) -> str | None:
    return next((file for file in (f"{name}.csv", f"{name}.xlsx") if _there(desk, file)), None)


def _there(desk: _Desk, name: str) -> bool:
    try:
        return (desk.folder / name).exists() or (desk.folder / name).is_symlink()
    except (OSError, ValueError):
        return False


def _misnamed(folder: Path, name: str) -> str | None:
    """A file of the same kind that seems to be `name` misspelt."""
    wanted = Path(name)
    stems = {Path(n).stem: n for n in _listing(folder) if Path(n).suffix.casefold() == wanted.suffix}
    near = Names(stems).nearest(wanted.stem, likeness=SURE)
    return stems[near] if near else None


def _listing(folder: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir())[:1000]
    except OSError:
        return []
