"""Files that were brought and are not a study yet: kept in the workspace, so that a reload loses nothing."""

from __future__ import annotations

import contextlib
import hashlib
import json
import shutil
from pathlib import Path

import pandas as pd
import tomlkit

from reliability.study import text_tables, toml_edit, workspace
from reliability.study.save import SETTINGS_FILE, create
from reliability.study.template import settings_text
from reliability.ui import suggest

HOME, PLAN = ".incoming", "plan.json"
PHASE_LETTERS = r"(?i)(?=.*[ABC])[ABC]?[ -]?[ABC]?[ -]?[ABC]?[ -]?N?"       # common practice, no source


def put(files: dict[str, bytes]) -> str:
    """Keep uploaded files; returns their token."""
    marks = (n.encode() + hashlib.sha256(c).digest() for n, c in sorted(files.items()))
    token = hashlib.sha256(b"".join(marks)).hexdigest()[:16]
    folder = workspace.root() / HOME / token
    if not folder.exists():
        workspace.root().mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            create(folder, {f"{i}-{_plain(name)}": content for i, (name, content) in enumerate(files.items())})
    return token


def get(token: str) -> dict[str, bytes] | None:
    """Files of a token by name, None where there are none."""
    folder = workspace.root() / HOME / token
    if not token.isalnum() or not folder.is_dir():
        return None
    return {f.name.partition("-")[2]: f.read_bytes() for f in sorted(folder.iterdir()) if f.name != PLAN}


def put_plan(token: str, plan: dict) -> None:
    """Remember what was decided about the files."""
    folder = workspace.root() / HOME / token
    draft = folder.with_suffix(".plan")
    draft.write_text(json.dumps(plan), encoding="utf-8")
    draft.replace(folder / PLAN)


def get_plan(token: str) -> dict:
    """What was decided about the files so far."""
    try:
        return json.loads((workspace.root() / HOME / token / PLAN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def replace(token: str, name: str, content: bytes) -> None:
    """Put a corrected table in the place of the one that was brought."""
    folder = workspace.root() / HOME / token
    old = next(f for f in folder.iterdir() if f.name.partition("-")[2] == name)
    new = folder / f"{old.name.partition('-')[0]}-{Path(name).stem}.csv"
    draft = folder.with_suffix(".draft")
    draft.write_bytes(content)
    draft.replace(new)
    if old != new:
        old.unlink()


def drop(token: str) -> None:
    """Forget files that have become a study."""
    shutil.rmtree(workspace.root() / HOME / token, ignore_errors=True)


def study_files(tables: dict[str, tuple[str, bytes]], maps: dict[str, dict[str, str]], settings: bytes | None,
                title: str) -> dict[str, bytes]:
    """Files of a study out of brought tables.

    tables: table → (file brought, content). maps: table → {header: our column, LEAVE aside}.
    Phases given by their letters become numbers (`with_phases_counted`).
    settings: study.toml to build on, None for a new one called `title`.
    """
    if settings is None:
        document = tomlkit.parse(settings_text())
        document["name"] = title or "A study"
    else:
        document = toml_edit.parse_settings(settings)
    columns = document.get("columns", tomlkit.table())
    for table, chosen in maps.items():
        names, ignored = suggest.column_map(chosen)
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


def with_phases_counted(name: str, content: bytes, chosen: dict[str, str]) -> tuple[str, bytes]:
    """A table with the letters of phases, as exports of asset systems give them, replaced by their number.

    Nothing is changed where a cell of the column is neither blank nor letters; its rows keep their places.
    """
    header = next((h for h, column in chosen.items() if column == "phases"), None)
    if header is None:
        return name, content
    rows = text_tables.rows_frame(name, content)
    cells = rows[header].str.strip()
    if not has_phase_letters(cells):
        return name, content
    rows[header] = [str(len(set(cell.upper()) & set("ABC"))) if cell else "" for cell in cells]
    return Path(name).with_suffix(".csv").name, rows.to_csv(index=False, lineterminator="\n").encode()


def has_phase_letters(cells: pd.Series) -> bool:
    """Whether every cell that is not blank names phases by A, B and C, with or without a neutral."""
    given = cells[cells != ""]
    return len(given) > 0 and bool(given.str.fullmatch(PHASE_LETTERS).all())


def _plain(name: str) -> str:
    """A file's name without anything a path could be made of."""
    return "".join(c if c.isalnum() or c in "._- " else "_" for c in Path(name).name)[-80:] or "file.csv"
