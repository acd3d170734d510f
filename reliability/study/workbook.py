"""An .xlsx workbook into rows of text, after making sure that it does not unpack into something huge."""

from __future__ import annotations

import datetime as dt
import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator

from python_calamine import CalamineWorkbook

from reliability.schema.problems import Problem, StudyError

MOST_UNPACKED = 600 * 2**20
_PIECE = 2**20
_CELL = re.compile(rb"""\sr\s*=\s*["']([A-Z]{1,3})([0-9]{1,7})["']""")
_NOT_ONE = ("not an .xlsx workbook that can be read", "open it in a spreadsheet and save it as .xlsx, or as CSV UTF-8")
_TOO_LARGE = ("the workbook unpacks into far too much", "keep the table alone, delete empty formatted rows and columns")


def read_workbook(name: str, content: bytes, most_cells: int) -> list[list[str]]:
    """Rows of the first sheet, each cell as text: whole numbers without decimals, dates and times as ISO 8601.

    StudyError where the bytes are no workbook, or one that unpacks into too much.
    """
    _guard(name, content, most_cells)
    return next(_sheets(name, content))[1]


def read_sheets(name: str, content: bytes, most_cells: int) -> dict[str, list[list[str]]]:
    """Rows of every sheet by its name, see `read_workbook`."""
    _guard(name, content, most_cells)
    return dict(_sheets(name, content))


def _sheets(name: str, content: bytes) -> Iterator[tuple[str, list[list[str]]]]:
    """Name and rows of each sheet."""
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        for sheet in book.sheet_names:
            rows = book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
            yield sheet, [[_text(cell) for cell in row] for row in rows]
    except (KeyboardInterrupt, SystemExit, GeneratorExit):
        raise
    except BaseException as error:
        # A panic inside the reader is no Exception; whatever it says, the file is not readable.
        raise StudyError([Problem(name, *_NOT_ONE)]) from error


def _text(cell: object) -> str:
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    return "" if cell is None else str(cell)


def _guard(name: str, content: bytes, most_cells: int) -> None:
    """Unpack every part in pieces, keeping none, and measure: size, and the corner that the cells span.

    The reader lays a sheet out as a full rectangle, so two far-apart cells cost as much as all between them.
    """
    total, rows, columns = 0, 0, 0
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
        for part in parts:
            tail = b""
            for piece in _unpacked(content, part):
                total += len(piece)
                if total > MOST_UNPACKED:
                    raise StudyError([Problem(name, *_TOO_LARGE)])
                if "sheet" in part.filename.casefold():
                    for letters, digits in _CELL.findall(tail + piece):
                        rows, columns = max(rows, int(digits)), max(columns, _column(letters))
                    tail = piece[-32:]
    except (zipfile.BadZipFile, zlib.error, struct.error, ValueError, OSError, NotImplementedError, EOFError) as error:
        raise StudyError([Problem(name, *_NOT_ONE)]) from error
    if rows * columns > most_cells:
        raise StudyError([Problem(name, *_TOO_LARGE)])


def _unpacked(content: bytes, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """Pieces of one part as its bytes really unpack, whatever sizes the archive declares."""
    start = part.header_offset
    name_length, extra_length = struct.unpack("<HH", content[start + 26:start + 30])
    start += 30 + name_length + extra_length
    packed = content[start:start + part.compress_size]
    if part.compress_type == zipfile.ZIP_STORED:
        yield packed
        return
    if part.compress_type != zipfile.ZIP_DEFLATED:
        raise ValueError("packed in a way that workbooks are not")
    engine = zlib.decompressobj(-15)
    while not engine.eof:
        piece = engine.decompress(packed, _PIECE)
        packed = engine.unconsumed_tail
        if not piece and not packed:
            return
        yield piece


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return number
