"""The program that reads a workbook: from standard input, as JSON to standard output."""

from __future__ import annotations

import datetime as dt
import io
import json
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

from reliability.xlsx.archive import Broken, Large, Parts, sheet_parts
from reliability.xlsx.notable import (
    hidden_columns,
    hidden_rows,
    holds_twice,
    is_filled,
    names_no_string,
    notable_cells,
    number_formats,
    with_known_errors,
)

if TYPE_CHECKING:
    from python_calamine import CalamineSheet

NOT_ONE, TOO_LARGE = 3, 4     # exit status; 1 and 2 are Python's own
ALL_SHEETS = "*"
MERGED = "#MERGED"            # text of a cell that is covered by a merged one
# Kinds of cells, one letter a cell: text, a whole number that spreadsheets keep in all its digits, another number, one
# that its format shows otherwise, a day or time, true or false.
TEXT_CELL, WHOLE_CELL, NUMBER_CELL, SHOWN_OTHERWISE, TIME_CELL, FLAG_CELL = "twnfdb"
FIRST_INEXACT = 1e15          # spreadsheets keep fifteen digits of a number
_MOST_MERGED_ROWS = 100_000

Texts = list[list[str]]


def cell_text(cell: object) -> tuple[str, str]:
    """Text of a cell and its kind: whole numbers without decimals, dates and times as ISO 8601."""
    if isinstance(cell, str):
        return cell.strip(), TEXT_CELL
    if isinstance(cell, bool):
        return ("true" if cell else "false"), FLAG_CELL
    if isinstance(cell, float):
        whole = cell.is_integer() and abs(cell) < FIRST_INEXACT
        return (str(int(cell)), WHOLE_CELL) if whole else (repr(cell), NUMBER_CELL)
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat(), TIME_CELL
    return ("", TEXT_CELL) if cell is None else (str(cell),
                                                 TIME_CELL if isinstance(cell, dt.timedelta) else NUMBER_CELL)


def rows_text(rows: Iterable[list[object]]) -> tuple[Texts, Texts]:
    """Texts and kinds of rows of cells."""
    texts, kinds = [], []
    for row in rows:
        if all(type(cell) is str for cell in row):
            texts.append([str(cell).strip() for cell in row])
            kinds.append([TEXT_CELL] * len(row))
        else:
            pairs = [*map(cell_text, row)]
            texts.append([text for text, _ in pairs])
            kinds.append([kind for _, kind in pairs])
    return texts, kinds


def read(content: bytes, most_cells: int, most_unpacked: int, wanted: str) -> list[dict[str, object]]:
    """Sheets of a workbook: each with its name, whether it is visible and has cells, and rows, kinds and the numbers of
    hidden rows and columns where it is read. Read are all visible ones, or one: that of the wanted name, else the first
    with cells.
    """
    from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    parts = Parts(content, most_unpacked)
    places, styles = sheet_parts(parts), number_formats(parts)
    book = CalamineWorkbook.from_filelike(io.BytesIO(content))
    about = book.sheets_metadata
    if len(about) != len(places):
        raise Broken
    sheets: dict[int, dict[str, object]] = {}
    for k, sheet in enumerate(about):
        if sheet.typ == SheetTypeEnum.WorkSheet:
            if places[k] not in parts:
                raise Broken
            sheets[k] = {"name": sheet.name, "visible": sheet.visible == SheetVisibleEnum.Visible,
                         "filled": is_filled(parts.read(places[k]))}
    if not sheets:
        raise Broken
    for k in _to_read(sheets, wanted):
        xml = parts.read(places[k])
        if names_no_string(xml) or holds_twice(xml):
            raise Broken
        try:
            found = book.get_sheet_by_index(k)
        except CalamineError:
            found = _with_newer_errors(parts, places[k], k)
        if found.total_height * found.total_width > most_cells:
            raise Large
        blank: list[object] = [""] * (found.start[1] if found.start else 0)
        texts, kinds = rows_text(blank + row for row in found.iter_rows())
        _write_notable(texts, kinds, notable_cells(xml, styles), most_cells)
        _write_merged(texts, kinds, found.merged_cell_ranges or [])
        width = max(map(len, texts), default=0)
        sheets[k] |= {"rows": texts, "kinds": ["".join(row) for row in kinds], "hidden_rows": hidden_rows(xml),
                      "hidden_columns": hidden_columns(xml, width)}
    return list(sheets.values())


def _with_newer_errors(parts: Parts, place: str, k: int) -> CalamineSheet:
    """Sheet k, which lies in a part, where its reader fails on errors that it does not know."""
    from python_calamine import CalamineWorkbook

    known = with_known_errors(parts.read(place))
    return CalamineWorkbook.from_filelike(io.BytesIO(parts.packed(place, known))).get_sheet_by_index(k)


def _to_read(sheets: dict[int, dict[str, object]], wanted: str) -> list[int]:
    visible = [k for k, sheet in sheets.items() if sheet["visible"]]
    if wanted == ALL_SHEETS:
        return visible
    filled = [k for k in visible if sheets[k]["filled"]]
    named = [k for k in filled if str(sheets[k]["name"]).strip().casefold() == wanted.casefold()]
    return (named or filled)[:1]


def _write_notable(texts: Texts, kinds: Texts, notable: dict[tuple[int, int], str | int], most_cells: int) -> None:
    """Write errors and missing values into the texts, and numbers as they are shown where that is with zeros before."""
    width = max(map(len, texts), default=0)
    for (row, column), what in notable.items():
        if isinstance(what, str):
            width = max(width, column + 1)
            if (row + 1) * width > most_cells:
                raise Large
            _widen(texts, kinds, row, width)
            texts[row][column], kinds[row][column] = what, TEXT_CELL
        elif row < len(texts) and column < len(texts[row]) and kinds[row][column] in (WHOLE_CELL, NUMBER_CELL):
            text = texts[row][column]
            if what > 0 and text.isdigit():
                texts[row][column] = text.zfill(what)
            else:
                kinds[row][column] = SHOWN_OTHERWISE


def _widen(texts: Texts, kinds: Texts, row: int, width: int) -> None:
    """Make room for a row and a column that the reader left away, since nothing has a value there."""
    for rows, blank in ((texts, ""), (kinds, TEXT_CELL)):
        rows.extend([] for _ in range(row + 1 - len(rows)))
        rows[row].extend(blank for _ in range(width - len(rows[row])))


def _write_merged(texts: Texts, kinds: Texts, ranges: list[tuple[tuple[int, int], tuple[int, int]]]) -> None:
    """Write MERGED into what merged cells cover, below the first row that holds anything.

    A merged cell that stands alone in its row is a title or a remark. One that is blank hides what it covers all the
    same, and only that.
    """
    first = next((k for k, row in enumerate(texts) if any(row)), len(texts))
    for (top, left), (bottom, right) in ranges:
        if top >= len(texts) or left >= len(texts[top]):
            continue
        if top == bottom and sum(map(bool, texts[top])) <= 1:
            continue
        width, filled = len(texts[top]), bool(texts[top][left])
        last = bottom if filled else min(bottom, len(texts) - 1)
        for row in range(max(top, first + 1), min(last, top + _MOST_MERGED_ROWS) + 1):
            _widen(texts, kinds, row, width)
            for column in range(left, min(right + 1, width)):
                if (row, column) != (top, left) and (filled or texts[row][column]):
                    texts[row][column], kinds[row][column] = MERGED, TEXT_CELL


def bound(memory: int) -> None:
    """Bound the memory (bytes) of this process, and let it be the first to end where the machine runs out."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    try:
        with open("/proc/self/oom_score_adj", "w", encoding="ascii") as score:
            score.write("1000")
    except OSError:
        pass


def main(memory: str, most_cells: str, most_unpacked: str, wanted: str) -> int:
    """Read standard input, write JSON to standard output; returns the exit status.

    memory, most_cells, most_unpacked: see `bound` and `read`. wanted: a sheet's name, or ALL_SHEETS.
    """
    try:
        bound(int(memory))
        sheets = read(sys.stdin.buffer.read(), int(most_cells), int(most_unpacked), wanted)
        sys.stdout.write(json.dumps(sheets))
        sys.stdout.flush()
    except (MemoryError, Large):
        return TOO_LARGE
    except BaseException:
        # A panic inside the reader is no Exception; whatever it says, the file is not readable.
        return NOT_ONE
    return 0
