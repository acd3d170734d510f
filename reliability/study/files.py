"""The files of a study's folder, found and read."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from reliability.schema.columns import COLUMN_TABLES
from reliability.schema.nearest import SURE, Names
from reliability.schema.problems import Problem, StudyError
from reliability.study import routes, segments
from reliability.study.cost_table import MOST_COST_BYTES as COST_TABLE_BYTES
from reliability.study.reader import Gathered
from reliability.study.tables import Rows, read_bytes, read_rows
from reliability.study.toml import MOST_TOML_BYTES, Toml, read_toml

SETTINGS_FILE = "study.toml"
RECIPE_FILE = "import.toml"
# What may lie beside a study's tables: taken along wherever the study goes, and only read.
COMPANIONS = (routes.ROUTES_FILE, f"{segments.SEGMENT_TABLE}.csv", RECIPE_FILE)


def digest(contents: Mapping[str, bytes]) -> str:
    """SHA-256 over names, sizes and bytes of input files, in the order of their names; 64 hexadecimal digits."""
    total = hashlib.sha256()
    for name in sorted(contents):
        total.update(f"{name}\n{len(contents[name])}\n".encode())
        total.update(contents[name])
    return total.hexdigest()


class FolderReader:
    """Reads a study from its folder; see `Reader`."""

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)
        self.found = Gathered()

    def check(self) -> None:
        """Raise StudyError where there is no folder, or it cannot be looked into."""
        folder = self.folder
        try:
            is_folder = folder.is_dir()
            exists = is_folder or folder.exists()
            if is_folder:
                next(folder.iterdir(), None)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "unreadable name"
            raise StudyError([Problem(str(folder), f"cannot be read ({reason})", "check the folder's permissions")]) \
                from error
        if not is_folder:
            rule = "this is a file, not a study folder" if exists else "there is no such folder"
            raise StudyError([Problem(str(folder), rule, f"name the folder that holds {SETTINGS_FILE}")])

    def settings(self) -> Toml | None:
        """study.toml as a tree of values."""
        if not self._exists(SETTINGS_FILE):
            misnamed = self._misnamed(SETTINGS_FILE)
            remedy = f"rename '{misnamed}' to it" if misnamed else 'add it; name = "…" is all it needs'
            self.found.problems.add(Problem(SETTINGS_FILE, "the file is missing", remedy))
            return None
        try:
            return read_toml(SETTINGS_FILE, self._read(SETTINGS_FILE, MOST_TOML_BYTES))
        except StudyError as error:
            self.found.problems.take(error)
            return None

    def name_of(self, table: str) -> str | None:
        """The file that holds a table."""
        return next((file for file in (f"{table}.csv", f"{table}.xlsx") if self._exists(file)), None)

    def rows(self, table: str) -> Rows | None:
        """Rows of the file that holds a table."""
        file = self.name_of(table) or f"{table}.csv"
        if file.endswith(".csv") and self._exists(f"{table}.xlsx"):
            self.found.problems.add(Problem(f"{table}.xlsx", f"there is {table}.csv too", "keep one of the two"))
        try:
            return read_rows(file, self._read(file))
        except StudyError as error:
            self.found.problems.take(error)
            return None

    def cost_rows(self, name: str, toml: Toml) -> Rows | None:
        """Rows of the table of interruption costs that the study names."""
        key, remedy = "costs.interruption_costs", "put the table into the study folder and write its name alone"
        if name != Path(name).name:
            toml.wrong(key, name, "the table must lie in the study folder", remedy)
            return None
        if not self._exists(name):
            others = [other for other in _listing(self.folder) if other not in self.found.contents]
            toml.wrong(key, name, "there is no such file in the study folder", Names(others).suggest(name, remedy))
            return None
        try:
            return read_rows(name, self._read(name, COST_TABLE_BYTES))
        except StudyError as error:
            self.found.problems.take(error)
            return None

    def routes(self) -> bytes | None:
        """Content of routes.geojson."""
        if not self._exists(routes.ROUTES_FILE):
            return None
        try:
            return self._read(routes.ROUTES_FILE)
        except StudyError as error:
            self.found.problems.take(error)
            return None

    def report_missing(self, table: str, remedy: str) -> None:
        """Note that the file of a table is missing."""
        self.found.problems.add(Problem(f"{table}.csv", "the file is missing", remedy))

    def report_no_network(self) -> None:
        """Note that there is no network, and which file may be meant for one."""
        misnamed = self._misnamed("sections.csv") or self._misnamed("sections.xlsx")
        old = self._misnamed("sections.xls")
        remedy = (f"rename '{misnamed}' to sections{Path(misnamed).suffix.casefold()}" if misnamed else
                  f"save '{old}' as sections.xlsx" if old else
                  "add it, or sections.xlsx, or feeders.csv and laterals.csv, or give your table such a name")
        self.report_missing("sections", remedy)

    def _read(self, file: str, *most: int) -> bytes:
        content = read_bytes(self.folder / file, *most)
        self.found.contents[file] = content
        return content

    def _exists(self, name: str) -> bool:
        try:
            return (self.folder / name).exists() or (self.folder / name).is_symlink()
        except (OSError, ValueError):
            return False

    def _misnamed(self, name: str) -> str | None:
        """A file of the same kind that seems to be `name` misspelt."""
        wanted = Path(name)
        stems = {Path(n).stem: n for n in _listing(self.folder)
                 if Path(n).suffix.casefold() == wanted.suffix
                 and Path(n).stem not in COLUMN_TABLES.keys() - {wanted.stem}}
        stem = Names(stems).nearest(wanted.stem, likeness=SURE)
        return stems[stem] if stem else None


def _listing(folder: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir())[:1000]
    except OSError:
        return []
