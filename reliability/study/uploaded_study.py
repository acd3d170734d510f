"""Files of a study out of uploaded tables whose headers have been matched."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from pathlib import Path

import pandas as pd
import tomlkit

from reliability.schema.columns import COLUMN_TABLES
from reliability.schema.problems import Problem, Problems
from reliability.study.folder import SETTINGS_FILE
from reliability.study.header_names import column_map, exact_name, guess_table, in_both_units, match_names
from reliability.study.spreadsheet_cells import report_ids
from reliability.study.study import Study
from reliability.study.tables import Rows, read_rows
from reliability.study.template import settings_text
from reliability.study.toml_edit import parse_settings

NETWORK_TABLES = ("sections", "laterals", "feeders")
PHASE_LETTERS = r"(?i)(?=.*[ABC])[ABC]?[ -]?[ABC]?[ -]?[ABC]?[ -]?N?"       # common practice, no source


def study_files(tables: dict[str, tuple[str, bytes]], maps: dict[str, dict[str, str]], settings: bytes | None,
                title: str) -> dict[str, bytes]:
    """Files of a study, by name.

    tables: table → (uploaded file, content). maps: table → {header: our column, "" to ignore it}.
    Phases given by their letters become numbers (`with_phases_counted`).
    settings: study.toml to build on, None for a new one called `title`.
    """
    if settings is None:
        document = tomlkit.parse(settings_text())
        document["name"] = title or "A study"
    else:
        document = parse_settings(settings)
    columns = document.get("columns", tomlkit.table())
    for table, chosen in maps.items():
        names, ignored = column_map(chosen)
        entry = tomlkit.table()
        entry.update(names)
        if ignored:
            entry["ignore"] = ignored
        columns.pop(table, None)
        if len(entry):
            columns[table] = entry
    if len(columns):
        document["columns"] = columns
    counted = {table: with_phases_counted(*file, maps.get(table, {})) for table, file in tables.items()}
    files = {f"{table}{Path(name).suffix.casefold()}": content for table, (name, content) in counted.items()}
    return files | {SETTINGS_FILE: tomlkit.dumps(document).encode()}


def own_table(headers: Collection[str]) -> str:
    """The table of a study's own network that these headers are by name, of NETWORK_TABLES; "" for none."""
    names = {exact_name(h) for h in headers}
    return next((table for table in NETWORK_TABLES if all(
        not names.isdisjoint(in_both_units(c.name)) for c in COLUMN_TABLES[table] if c.required)), "")


def probable_own_table(file: str, headers: Collection[str]) -> str:
    """As `own_table`, for headers that probably are those of such a table, every required one among them."""
    table = guess_table(file, headers)
    matched = match_names(headers, COLUMN_TABLES[table])
    return table if table in NETWORK_TABLES and not missing_columns(table, matched) else ""


def unmatched_outages(study: Study) -> str:
    """Why its outage records cannot be used: none names a section of the network; "" where one does."""
    if study.outages is None or not len(study.outages):
        return ""
    named = study.outages["section_id"][study.outages["section_id"] != ""]
    if not len(named) or named.isin(study.sections["section_id"]).any():
        return ""
    return (f"none of {len(named)} outage records names a section of the network, the first names {named.iloc[0]}; map "
            "the column that names sections")


def missing_columns(table: str, chosen: dict[str, str]) -> list[str]:
    """Required columns of a table that no header stands for, in neither unit of length."""
    given = set(chosen.values())
    return [c.name for c in COLUMN_TABLES[table] if c.required and given.isdisjoint(in_both_units(c.name))]


def replaced_tables(tables: dict[str, tuple[str, bytes]]) -> list[str]:
    """Tables of a study that give way to uploaded ones: those themselves, and the other form of the network."""
    replaced = {"sections": ["sections", "feeders", "laterals"], "feeders": ["feeders", "sections"],
                "laterals": ["laterals", "sections"], "outages": ["outages"],
                "settings": ["settings"], "curves": ["curves"], "operations": ["operations"]}
    return sorted({name for table in tables for name in replaced[table]})


def with_phases_counted(name: str, content: bytes, chosen: dict[str, str]) -> tuple[str, bytes]:
    """A table with the letters of phases, as exports of asset systems give them, replaced by their number.

    Nothing is changed where a cell of the column is neither blank nor letters, or where the file holds ids as numbers
    that CSV would not tell from text; rows keep their numbers.
    """
    header = next((h for h, column in chosen.items() if column == "phases"), None)
    if header is None:
        return name, content
    rows = read_rows(name, content)
    at = rows.headers.index(header) if header in rows.headers else None
    doubtful = Problems()
    for k, column in ((rows.headers.index(h), c) for h, c in chosen.items() if h in rows.headers):
        report_ids(column, rows.columns[k], rows.kinds.get(k, ()), lambda *_: Problem(name, "", ""), doubtful)
    if at is None or doubtful or not has_phase_letters(pd.Series(rows.columns[at], dtype="str")):
        return name, content
    rows.columns[at][:] = [str(len(set(cell.upper()) & set("ABC"))) if cell else "" for cell in rows.columns[at]]
    return Path(name).with_suffix(".csv").name, _rows_bytes(rows)


def has_phase_letters(cells: pd.Series) -> bool:
    """Whether every cell that is not blank names phases by A, B and C, with or without a neutral."""
    given = cells[cells != ""]
    return len(given) > 0 and bool(given.str.fullmatch(PHASE_LETTERS).all())


def _rows_bytes(rows: Rows) -> bytes:
    """Rows as CSV, each at its number: blank lines stand where they stood."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    line = 1
    for number, record in zip(rows.numbers, rows.records, strict=True):
        text.write("\n" * (number - line))
        writer.writerow(record)
        line = number + 1
    return text.getvalue().encode()
