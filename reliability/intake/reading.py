"""Exports read: every file, sheet and layer as a table of text, nothing interpreted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from reliability.intake.layers import GEOMETRY_SUFFIXES, Layer, Shapes, read_layers
from reliability.intake.titles import header_row, text_header_line, text_lines, title_notes
from reliability.schema.problems import Problem, Problems, StudyError
from reliability.study.files import RECIPE_FILE, SETTINGS_FILE
from reliability.study.tables import MOST_CELLS, SHORT_ROW, Rows, decode, read_bytes, read_rows, rows_of
from reliability.study.workbook import Sheet, hidden_notes, read_sheets

_TABLE_SUFFIXES = (".csv", ".txt", ".tsv", ".xlsx")
_MOST_BYTES = 2**31
_PARTS = (".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".xml", ".qpj")    # read with their .shp


@dataclass(frozen=True)
class ExportTable:
    """A table of an export as text under its own headers.

    file, table: file, and the sheet or layer in it ("" where the file has one table only). columns: header → (rows,)
    object array of text, "" where blank. rows: (rows,) numbers as a spreadsheet counts. shapes: the geometry of the
    rows, None without. placed_by: headers that it was made of, which are no columns any more. decimal_comma: a comma
    in a number is its decimal sign.
    """

    file: str
    table: str
    columns: dict[str, np.ndarray]
    rows: np.ndarray
    shapes: Shapes | None = None
    decimal_comma: bool = False
    notes: tuple[str, ...] = ()
    kinds: Mapping[str, Sequence[str]] = field(default_factory=dict)
    placed_by: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def name(self) -> str:
        """How the table is called in messages."""
        return f"{self.file}, {self.table}" if self.table else self.file

    @property
    def frame(self) -> pd.DataFrame:
        """The table as a frame of text."""
        return pd.DataFrame(self.columns, index=pd.Index(self.rows, name="row"))


@dataclass(frozen=True)
class Exports:
    """Tables of an export, the study's settings where they are among them, and files that were left aside."""

    tables: tuple[ExportTable, ...]
    settings: bytes | None = None
    ignored: tuple[str, ...] = ()
    contents: dict[str, int] = field(default_factory=dict)


def read_exports(paths: str | Path | Iterable[str | Path]) -> Exports:
    """Read a folder of exports, or some files. Raises StudyError with every file that cannot be read."""
    if isinstance(paths, str | Path):
        folder = Path(paths)
        if not folder.exists():
            raise StudyError([Problem(str(folder), "there is no such folder",
                                      "name the folder that holds the exports")])
        paths = sorted(folder.iterdir()) if folder.is_dir() else [folder]
    tables: list[ExportTable] = []
    ignored: list[str] = []
    sizes: dict[str, int] = {}
    settings, problems = None, Problems()
    given = list(map(Path, paths))
    lines = {path.stem.casefold() for path in given if path.suffix.casefold() == ".shp"}
    for path in given:
        part = path.suffix.casefold() in _PARTS and any(path.name.casefold().startswith(f"{s}.") for s in lines)
        if path.name.startswith(".") or part:
            continue
        if path.is_dir():
            ignored.append(f"{path.name}/ (a folder: name its files, or import it by itself)")
            continue
        try:
            if path.name == SETTINGS_FILE:
                settings = read_bytes(path)
            elif path.suffix.casefold() in (*_TABLE_SUFFIXES, *GEOMETRY_SUFFIXES):
                tables += _tables(path, ignored)
                sizes[path.name] = path.stat().st_size
            elif path.name != RECIPE_FILE:
                ignored.append(path.name)
        except StudyError as error:
            problems.take(error)
    problems.raise_if_any()
    if not tables:
        raise StudyError([Problem(str(given[0]) if given else "exports", "no table is here",
                                  "name a folder with CSV, XLSX, GeoJSON, GeoPackage or shapefiles")])
    return Exports(tuple(tables), settings, tuple(ignored), sizes)


def _tables(path: Path, ignored: list[str]) -> list[ExportTable]:
    """Tables of a file; sheets that are hidden, and layers of nothing, are named in `ignored`."""
    if path.suffix.casefold() in GEOMETRY_SUFFIXES:
        layers = read_layers(path)
        filled = [layer for layer in layers if layer.columns or len(layer.shapes)]
        if not filled:
            raise StudyError([Problem(path.name, "no feature is in the file", "export the layer again")])
        ignored.extend(f"{path.name}, {layer.name} (no feature)" for layer in layers
                       if not layer.columns and not len(layer.shapes))
        return [_from_layer(path.name, layer) for layer in filled]
    content = read_bytes(path, _MOST_BYTES)
    if path.suffix.casefold() != ".xlsx":
        return [_from_rows("", _text_rows(path.name, content))]
    sheets = read_sheets(path.name, content, MOST_CELLS)
    ignored.extend(f"{path.name}, {sheet.name} (hidden)" for sheet in sheets if sheet.filled and not sheet.visible)
    sheets = [sheet for sheet in sheets if any(map(any, sheet.rows))]
    if not sheets:
        raise StudyError([Problem(path.name, "the file is empty", "give it a header row and its records")])
    several = len(sheets) > 1
    return [_from_sheet(path.name, sheet, several) for sheet in sheets]


def _from_sheet(file: str, sheet: Sheet, several: bool) -> ExportTable:
    """The table of a sheet, blank rows in the place of what stands above its headers."""
    name, at = f"{file}, {sheet.name}" if several else file, header_row(sheet.rows)
    rows = [[""] * len(sheet.rows[at])] * at + list(sheet.rows[at:])
    return replace(_from_rows(sheet.name if several else "", rows_of(file, rows, sheet.kinds)),
                   notes=(*title_notes(name, sheet.rows, at), *hidden_notes(name, sheet)))


def _text_rows(file: str, content: bytes) -> Rows:
    """Rows of a text, blank lines in the place of what stands above its headers."""
    if not content.strip():
        return read_rows(file, content)
    text, notes = decode(file, content)
    at = text_header_line(text)
    if not at:
        return read_rows(file, content)
    lines = text_lines(text)
    rows = read_rows(file, ("\n" * at + "".join(lines[at:])).encode())
    titles = title_notes(file, [[line.strip(" ,;\t\r\n")] for line in lines], at)
    return replace(rows, notes=(*notes, *rows.notes, *titles))


def _from_rows(table: str, rows: Rows) -> ExportTable:
    columns: dict[str, np.ndarray] = {}
    kinds: dict[str, Sequence[str]] = {}
    for at, (header, cells) in enumerate(zip(rows.headers, rows.columns, strict=True)):
        if header or any(cells):
            name = _distinct(header or "(no header)", columns)
            columns[name] = np.array(cells, dtype=object)
            if at in rows.kinds:
                kinds[name] = rows.kinds[at]
    if rows.too_long:
        k, cell = rows.too_long[0]
        raise StudyError([Problem(rows.file, f"more cells than the {len(rows.headers)} headers",
                                  "put a cell that holds "
                                  "the separator into quotation marks", rows.numbers[k + 1], None, cell)])
    if rows.too_short:
        raise StudyError([Problem(rows.file, *SHORT_ROW, rows.numbers[rows.too_short[0] + 1])])
    return ExportTable(rows.file, table, columns, np.array(rows.numbers[1:], dtype=np.int64),
                       decimal_comma=rows.decimal_comma, notes=rows.notes, kinds=kinds)


def _from_layer(file: str, layer: Layer) -> ExportTable:
    some = any(g is not None for g in layer.shapes.shapes)
    return ExportTable(file, layer.name, layer.columns, np.arange(1, len(layer.shapes) + 1),
                       layer.shapes if some else None, kinds=layer.kinds)


def _distinct(header: str, taken: dict[str, np.ndarray]) -> str:
    name, number = header, 1
    while name in taken:
        number += 1
        name = f"{header} ({number})"
    return name
