"""Headers of a user's table matched to our column names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from reliability.schema.columns import ColumnRule
from reliability.schema.nearest import Names
from reliability.schema.problems import Problem, Problems
from reliability.study.decimals import doubtful_signs, may_hold_thousands
from reliability.study.header_names import exact_name, in_both_units, match_names
from reliability.study.spreadsheet_cells import report_ids, report_troubles
from reliability.study.tables import SHORT_ROW, Rows

TITLE_ROWS = 20  # so many rows above the header are looked through


@dataclass(frozen=True)
class ColumnMap:
    """`[columns.…]` of study.toml: our name → the user's header, and headers to ignore."""

    names: Mapping[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()


@dataclass(frozen=True)
class TextTable:
    """A table of text under our column names.

    cells: column → text of each record, "" where blank; only columns that the file has.
    rows: spreadsheet row of each record. headers: our name → the header in the file.
    missing: required columns that the file does not have.
    decimal_comma: a comma in a number is its decimal sign. doubtful: signs that may separate thousands.
    """

    file: str
    cells: Mapping[str, list[str]]
    rows: list[int]
    headers: Mapping[str, str]
    missing: frozenset[str] = frozenset()
    decimal_comma: bool = False
    doubtful: str = ""
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.rows)

    def problem(self, record: int, column: str, value: str | None, rule: str, remedy: str) -> Problem:
        """A problem at one record, placed in the user's file under the user's header."""
        return Problem(self.file, rule, remedy, self.rows[record], self.headers.get(column, column), value)


def match_headers(rows: Rows, columns: tuple[ColumnRule, ...], table: str, mapped: ColumnMap,
                  problems: Problems) -> TextTable:
    """Text columns under our names.

    table: name of the table, as under [columns] in study.toml. mapped: what that states of it.
    Spaces around, case, and spaces or hyphens for underscores make no difference to a header.
    Reported: unknown, missing and repeated columns, mapped headers that the file does not have, records with more cells
    than there are headers, cells that a spreadsheet has lost or changed.
    """
    headers, first = rows.headers, rows.numbers[0]
    known = [c.name for c in columns]
    if not mapped.names and (lower := _header_below(rows, known)):
        problems.add(Problem(rows.file, "none of the headers is a known column",
                             f"remove the rows above row {lower}, which seems to hold the headers", first, headers[0]))
        return TextTable(rows.file, {}, [], {}, frozenset(c.name for c in columns if c.required))
    place, unknown = _placed(rows, known, table, mapped, problems)
    free = [c for c in columns if place.keys().isdisjoint(in_both_units(c.name))]
    missing = frozenset(c.name for c in free if c.required)
    meant = match_names([headers[at] for at in unknown], columns, place)
    _report_unmatched(rows, unknown, meant, [c.name for c in free if c.name in missing - set(mapped.names)], table,
                      problems)
    _ragged(rows, problems)
    _report_cells(rows, place, columns, table, problems)
    cells = {name: rows.columns[at] for name, at in place.items()}
    numbers = [cells[c.name] for c in columns if c.name in cells and c.kind in ("number", "whole")]
    whole = [cells[c.name] for c in columns if c.name in cells and may_hold_thousands(c)]
    notes = rows.notes
    if rows.decimal_comma and any("," in text for texts in numbers for text in texts):
        notes += (f"{rows.file}: cells are separated by semicolons; a comma in a number was read as its decimal sign.",)
    return TextTable(rows.file, cells, rows.numbers[1:], {name: headers[at] for name, at in place.items()}, missing,
                     rows.decimal_comma, doubtful_signs(numbers, whole, rows.decimal_comma), notes)


def _placed(rows: Rows, known: list[str], table: str, mapped: ColumnMap,
            problems: Problems) -> tuple[dict[str, int], list[int]]:
    """Position in the file of each column that is mapped or named exactly, and positions of unknown headers.

    known: names of the columns of the table.
    """
    headers, first = rows.headers, rows.numbers[0]
    positions = _positions(rows, problems)
    place: dict[str, int] = {}
    unknown: list[int] = []
    taken = {exact_name(h) for h in mapped.ignore}
    for name, header in mapped.names.items():
        at = positions.get(exact_name(header))
        if at is None:
            problems.add(Problem(rows.file, f"the header mapped to {name} in [columns.{table}] is not in the file",
                                 Names(h for h in headers if h).suggest(header, "write a header of the file there"),
                                 first, header))
        else:
            place[name] = at
            taken.add(exact_name(header))
    for folded, at in positions.items():
        if folded in taken:
            continue
        if folded not in known:
            unknown.append(at)
        elif folded in place:
            problems.add(_twice(rows.file, first, headers[at], headers[place[folded]]))
        else:
            place[folded] = at
    return place, unknown


def _positions(rows: Rows, problems: Problems) -> dict[str, int]:
    """Folded header → position; repeated headers and cells below a blank one are reported."""
    headers, first = rows.headers, rows.numbers[0]
    positions: dict[str, int] = {}
    for at, header in enumerate(headers):
        folded = exact_name(header)
        if not folded:
            record, cell = next(((k, c) for k, c in enumerate(rows.columns[at]) if c), (None, ""))
            if record is not None:
                problems.add(Problem(rows.file, f"column {at + 1} has cells but no header", "give it a header",
                                     rows.numbers[record + 1], None, cell))
        elif folded in positions:
            problems.add(_twice(rows.file, first, header, headers[positions[folded]]))
        else:
            positions[folded] = at
    return positions


def _twice(file: str, row: int, header: str, other: str) -> Problem:
    named = "" if header == other else f", also as '{other}'"
    return Problem(file, f"the column is there twice{named}", "remove or rename one of the two", row, header)


def _report_unmatched(rows: Rows, unknown: list[int], meant: Mapping[str, str], missing: list[str], table: str,
                      problems: Problems) -> None:
    """Headers that are no column, each with the column it may stand for, and required columns that are not there.

    unknown: positions of those headers. meant: header → the column it may stand for.
    """
    first, place = rows.numbers[0], f"under [columns.{table}] in study.toml"
    header_of = {name: header for header, name in meant.items()}
    for header in (rows.headers[at] for at in unknown):
        rename = (f"did you mean '{meant[header]}'? Rename it, or" if header in meant else
                  "rename it to the column it stands for, or")
        problems.add(Problem(rows.file, "unknown column", f"{rename} map it or list it in ignore {place}", first,
                             header))
    for name in missing:
        units = in_both_units(name)
        meant_for = next((n for n in units if n in header_of), None)
        remedy = (f"add it, or map your header to it {place}" if meant_for is None else
                  f"did you mean '{header_of[meant_for]}'? Rename that header to {meant_for}, or map it {place}")
        problems.add(Problem(rows.file, f"the required column {' or '.join(units)} is missing", remedy, first, name))


def _header_below(rows: Rows, known: list[str]) -> int | None:
    """Row among the first records that holds names of columns where the headers hold none, as under a title."""
    names = set(known)
    if names & set(map(exact_name, rows.headers)):
        return None
    for k in range(min(len(rows.numbers) - 1, TITLE_ROWS)):
        if names & {exact_name(cells[k]) for cells in rows.columns}:
            return rows.numbers[k + 1]
    return None


def _report_cells(rows: Rows, place: Mapping[str, int], columns: tuple[ColumnRule, ...], table: str,
                  problems: Problems) -> None:
    """Cells of text that a spreadsheet has lost or changed; those of other columns are reported when they are typed.

    Of the outage records none is typed before they are studied.
    """
    for name, at in place.items():
        column = next(c for c in columns if c.name == name)

        def problem(k: int, rule: str, remedy: str, at: int = at) -> Problem:
            return Problem(rows.file, rule, remedy, rows.numbers[k + 1], rows.headers[at], rows.columns[at][k])

        if table == "outages" or (column.kind not in ("number", "whole") and not column.choices):
            report_troubles(rows.columns[at], problem, problems)
        if column.kind == "text" and not column.choices:
            report_ids(name, rows.columns[at], rows.kinds.get(at, ()), problem, problems)


def _ragged(rows: Rows, problems: Problems) -> None:
    """Records with more cells than headers, or with fewer."""
    def last(k: int) -> str:
        return next(filter(None, (cells[k] for cells in reversed(rows.columns))), "")

    problems.each(range(len(rows.too_long)), lambda k: Problem(
        rows.file, f"more cells than the {len(rows.headers)} headers",
        "put a cell that holds the separator into quotation marks", rows.numbers[rows.too_long[k][0] + 1], None,
        rows.too_long[k][1]))
    problems.each(rows.too_short, lambda k: Problem(rows.file, *SHORT_ROW, rows.numbers[k + 1], None, last(k)))
