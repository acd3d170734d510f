"""An .xlsx workbook into rows of text, read in a process of its own with bounded memory and time."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from reliability.formats import count
from reliability.schema.problems import Problem, StudyError, shorten
from reliability.xlsx import process
from reliability.xlsx.process import ALL_SHEETS, TOO_LARGE

# Our bounds: a sheet of some fifteen million cells is read within them.
MOST_UNPACKED = 600 * 2**20
MOST_MEMORY = 3 * 2**30
MOST_SECONDS = 120.0
_SMALL = 2 * 2**20
_SHOWN = 5      # sheets named in a note
_SAVE = "open it in a spreadsheet and save it as .xlsx, or as CSV UTF-8"
_NOT_ONE = ("not an .xlsx workbook that can be read", _SAVE)
_TOO_LARGE = ("the workbook unpacks into far too much", "keep the table alone, delete empty formatted rows and columns")
_START = ("import sys; sys.path += sys.argv[1:3]; from reliability.xlsx.process import main; "
          "sys.exit(main(*sys.argv[3:]))")


@dataclass(frozen=True)
class Sheet:
    """A sheet: its rows as text, the kind of each cell (a letter each, see `xlsx.process`), and whether it has cells.

    rows and kinds are empty where the sheet was not read, as those that are hidden.
    """

    name: str
    visible: bool
    filled: bool
    rows: list[list[str]]
    kinds: list[str]
    hidden_rows: int
    hidden_columns: int


def read_workbook(name: str, content: bytes, most_cells: int) -> tuple[Sheet, tuple[str, ...]]:
    """The sheet that holds the table of the file `name`, and notes on what was not read.

    It is the visible sheet called like the file, else the first visible one with cells. Whole numbers are without
    decimals, dates and times as ISO 8601; an error stands as its text, and what has no value as `xlsx` writes it.
    StudyError where the bytes are no workbook, where it unpacks into too much, or no visible sheet has cells.
    """
    sheets = _sheets(name, content, most_cells, Path(name).stem)
    chosen = next((s for s in sheets if s.rows), None)
    others = [s for s in sheets if s.filled and s is not chosen]
    if chosen is None:
        hidden = [s for s in others if not s.visible]
        if hidden:
            raise StudyError([Problem(name, f"the visible sheets are empty, hidden ones are not ({_named(hidden)})",
                                      "show the sheet that holds the table")])
        return sheets[0], ()
    return chosen, _notes(name, chosen, others)


def read_sheets(name: str, content: bytes, most_cells: int) -> list[Sheet]:
    """Every sheet, the visible ones with their rows; see `read_workbook`."""
    return list(_sheets(name, content, most_cells, ALL_SHEETS))


def _notes(name: str, chosen: Sheet, others: list[Sheet]) -> tuple[str, ...]:
    """What a reader of the results must know of the choice of a sheet."""
    notes = []
    for visible, kind in ((True, "visible sheet"), (False, "hidden sheet")):
        left = [s for s in others if s.visible == visible]
        if left:
            notes.append(f"{name}: the sheet '{shorten(chosen.name, 40)}' was read, {count(len(left), kind)} not "
                         f"({_named(left)}).")
    return (*notes, *hidden_notes(name, chosen))


def hidden_notes(name: str, sheet: Sheet) -> tuple[str, ...]:
    """Notes on hidden rows, as of a filter, and hidden columns, none where there are none. name: how messages call the
    table."""
    hidden = ((sheet.hidden_rows, "hidden row"), (sheet.hidden_columns, "hidden column"))
    return tuple(f"{name}: {count(number, what)} read like the others; delete those that are not meant."
                 for number, what in hidden if number)


def _named(sheets: list[Sheet]) -> str:
    return ", ".join(shorten(s.name, 40) for s in sheets[:_SHOWN]) + (", …" if len(sheets) > _SHOWN else "")


def _sheets(name: str, content: bytes, most_cells: int, wanted: str) -> tuple[Sheet, ...]:
    """Sheets as the process gives them; StudyError where it gives none, or ends without an answer."""
    return (_small if len(content) <= _SMALL else _read)(name, content, most_cells, wanted)


def _read(name: str, content: bytes, most_cells: int, wanted: str) -> tuple[Sheet, ...]:
    library = find_spec("python_calamine")
    if library is None or library.origin is None:
        raise StudyError([Problem(name, "python-calamine is not installed",
                                  "install it: pip install -r requirements.txt")])
    folders = [str(Path(process.__file__).parents[2]), str(Path(library.origin).parents[1])]
    limits = [str(MOST_MEMORY), str(most_cells), str(MOST_UNPACKED)]
    try:
        run = subprocess.run([sys.executable, "-I", "-S", "-c", _START, *folders, *limits, wanted],  # noqa: S603
                             input=content, capture_output=True, check=False, timeout=MOST_SECONDS)
    except subprocess.TimeoutExpired:
        raise StudyError([Problem(name, f"the workbook takes more than {MOST_SECONDS:g} s to read", _SAVE)]) from None
    # an allocation that fails in the reader ends its process
    if run.returncode in (TOO_LARGE, -signal.SIGABRT, -signal.SIGKILL):
        raise StudyError([Problem(name, *_TOO_LARGE)])
    if run.returncode:
        raise StudyError([Problem(name, *_NOT_ONE)])
    unread = {"rows": [], "kinds": [], "hidden_rows": 0, "hidden_columns": 0}
    return tuple(Sheet(**unread | sheet) for sheet in json.loads(run.stdout))


_small = lru_cache(maxsize=8)(_read)    # pages of the app read the same upload again and again
