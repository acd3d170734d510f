"""Files of rows: CSV or XLSX into rows of text, nothing interpreted."""

from __future__ import annotations

import codecs
import csv
import io
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from reliability.schema.problems import Problem, StudyError
from reliability.study.workbook import read_workbook

MOST_TABLE_BYTES = 200 * 2**20
MOST_CELLS = 40_000_000
MOST_COLUMNS = 500
SHORT_ROW = ("fewer cells than headers, so that cells may stand under a wrong one",
             "write the separator for each blank cell as well")
BLOCK = 4096  # records turned into columns at a time: few enough to stay in the processor's cache
_SPACES = "".join(c for c in map(chr, range(0x3001)) if c.isspace())  # all that str.strip takes away
_WIDE_ENCODINGS = (codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_SAVE_AS = "save it as CSV UTF-8"


@dataclass(frozen=True)
class Rows:
    """A header row and the records below it, as stripped text; blank rows are left out.

    columns: for each header the cells below it, "" where a record is short. numbers: the row of the headers, then
    of each record, counted as a spreadsheet does. too_long: records with more cells than headers, and the first
    cell that is too many. too_short: records of a text with fewer cells than its last header that is not blank.
    decimal_comma: cells are separated by semicolons, so that a comma inside a number is its decimal sign. kinds: of
    columns whose cells were not all text in the first place, by position, a letter for each record, see
    `xlsx.process`.
    """

    file: str
    headers: list[str]
    columns: list[list[str]]
    numbers: list[int]
    too_long: tuple[tuple[int, str], ...] = ()
    too_short: tuple[int, ...] = ()
    decimal_comma: bool = False
    notes: tuple[str, ...] = ()
    kinds: Mapping[int, Sequence[str]] = field(default_factory=dict)

    @property
    def records(self) -> list[list[str]]:
        """The headers and the records, row by row, each as wide as the headers."""
        return [self.headers, *map(list, zip(*self.columns, strict=True))]


def read_bytes(path: Path, most: int = MOST_TABLE_BYTES) -> bytes:
    """The content of a regular file of at most `most` bytes; StudyError otherwise.

    A link that leads out of the file's folder is not followed: a study that somebody sends may not
    have files of this machine read.
    """
    try:
        if not path.is_file():
            raise StudyError([Problem(path.name, "not a file", "put a file of this name here")])
        if path.is_symlink() and path.resolve().parent != path.parent.resolve():
            raise StudyError([Problem(path.name, "a link that leads out of the folder", "put a copy of the file here")])
        with path.open("rb") as stream:
            content = stream.read(most + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "unreadable name"
        raise StudyError([Problem(path.name, f"cannot be read ({reason})", "check the file and its permissions")]) \
            from error
    if len(content) > most:
        rule = f"larger than {most // 2**20} MB"
        raise StudyError([Problem(path.name, rule, "split the study or leave out what it does not need")])
    return content


def read_rows(name: str, content: bytes) -> Rows:
    """Rows of a table from the bytes of a .csv or .xlsx file called `name`; StudyError where it cannot be read."""
    if not content.strip():
        raise StudyError([_empty(name)])
    if name.casefold().endswith(".xlsx"):
        sheet, notes = read_workbook(name, content, MOST_CELLS)
        return replace(rows_of(name, sheet.rows, sheet.kinds), notes=notes)
    text, notes = decode(name, content)
    separator = _separator(text)
    if separator == "," and "|" in (header := _first_line(text)) and "," not in header:
        raise StudyError([Problem(name, "the cells of a row are separated by |",
                                  "save it with commas, semicolons or tabs between cells")])
    rows = _plain_rows(name, text, separator) or rows_of(name, _csv_records(name, text, separator))
    return replace(rows, decimal_comma=separator == ";", notes=notes)


def _empty(name: str) -> Problem:
    return Problem(name, "the file is empty", "give it a header row and its records")


def decode(name: str, content: bytes) -> tuple[str, tuple[str, ...]]:
    """Text of UTF-8, with or without a byte-order mark, or else Windows-1252; and a note where it was the latter."""
    if content.startswith(b"PK\x03\x04"):
        raise StudyError([Problem(name, "this is no text but a workbook or zip file",
                                  "name a workbook .xlsx, or save it as CSV UTF-8")])
    if content.startswith(_WIDE_ENCODINGS):
        raise StudyError([Problem(name, "the text is UTF-16 or UTF-32, neither UTF-8 nor Windows-1252", _SAVE_AS)])
    if b"\0" in content:
        row = content.count(b"\n", 0, content.index(b"\0")) + 1
        raise StudyError([Problem(name, "a NUL character, so that the text is neither UTF-8 nor Windows-1252", _SAVE_AS,
                                  row=row)])
    try:
        return content.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        pass
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        raise StudyError([Problem(name, "the text is neither UTF-8 nor Windows-1252", _SAVE_AS, row=row)]) from None
    return text, (f"{name}: not UTF-8, read as Windows-1252; check names with accents.",)


def _first_line(text: str) -> str:
    """The first line that is not blank."""
    return next((line for line in text[:65536].splitlines() if line.strip()), "")


def _separator(text: str) -> str:
    """The character that separates the cells of the header row: a comma unless only another one is there."""
    header = _first_line(text)
    if "," in header:
        return ";" if header.count(";") > header.count(",") else ","
    return ";" if ";" in header else "\t" if "\t" in header else ","


def _plain_rows(name: str, text: str, separator: str) -> Rows | None:
    """Rows of the usual file, without quotation marks, blank or uneven rows; None for any other.

    Such a text is cut into cells at once, several times faster than row by row.
    """
    if '"' in text:
        return None
    lines = text.replace("\r\n", "\n").rstrip("\n").split("\n")
    width = lines[0].count(separator) + 1
    blank = separator + _SPACES
    usual = (width <= MOST_COLUMNS and width * len(lines) <= MOST_CELLS and "\r" not in text.replace("\r\n", "\n")
             and max(map(len, lines)) <= csv.field_size_limit()
             and set(map(str.count, lines, itertools.repeat(separator))) == {width - 1}
             and all(map(str.strip, lines, itertools.repeat(blank))))
    if not usual:
        return None
    cells = list(map(str.strip, separator.join(lines).split(separator)))
    headers = cells[:width]
    return Rows(name, headers, [cells[at + width::width] for at in range(width)], list(range(1, len(lines) + 1)))


def _csv_records(name: str, text: str, separator: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    records: list[list[str]] = []
    cells = 0
    try:
        for record in reader:
            records.append(list(map(str.strip, record)))
            cells += len(record)
            if cells > MOST_CELLS:
                raise StudyError([Problem(name, f"more than {MOST_CELLS} cells", "split the study")])
    except csv.Error as error:
        rule, remedy = _csv_trouble(str(error))
        raise StudyError([Problem(name, rule, remedy, row=len(records) + 1)]) from None
    return records


def _csv_trouble(message: str) -> tuple[str, str]:
    if "field larger" in message:
        return "a cell of more than 131072 characters", "close the quotation mark that opened it, or shorten it"
    if "end of data" in message:
        return "a quotation mark is opened and never closed", "close it, or write a quotation mark in a cell twice"
    return "there is a quotation mark inside a quoted cell", "write a quotation mark inside a quoted cell twice"


def rows_of(name: str, records: list[list[str]], kinds: Sequence[str] = ()) -> Rows:
    """Rows of records, the first of which that is not blank holds the headers; StudyError where there is none.

    kinds: of the cells of each record, see `Rows`.
    """
    numbers = [k for k, record in enumerate(records, 1) if any(record)]
    records = [record for record in records if any(record)]
    if not records:
        raise StudyError([_empty(name)])
    headers, records = records[0], records[1:]
    if len(headers) > MOST_COLUMNS:
        raise StudyError([Problem(name, f"more than {MOST_COLUMNS} columns", "leave out those the study does not need",
                                  row=numbers[0])])
    width = len(headers)
    too_long = tuple((k, next(filter(None, r[width:]))) for k, r in enumerate(records)
                     if len(r) > width and any(r[width:]))
    named = max(k for k, header in enumerate(headers, 1) if header)
    too_short = () if kinds else tuple(k for k, r in enumerate(records) if len(r) < named)
    columns: list[list[str]] = [[] for _ in headers]
    for start in range(0, len(records), BLOCK):
        block = [r[:width] if len(r) >= width else r + [""] * (width - len(r)) for r in records[start:start + BLOCK]]
        for column, cells in zip(columns, zip(*block, strict=True), strict=True):
            column.extend(cells)
    letters = zip(*(kinds[k - 1] for k in numbers[1:]), strict=True) if kinds else ()
    return Rows(name, headers, columns, numbers, too_long, too_short, kinds=dict(enumerate(letters)))
