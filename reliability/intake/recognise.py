"""Which kind each table of an export is, and which of our columns its headers stand for; guesses are marked."""

from __future__ import annotations

import fnmatch
import glob
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from reliability.intake.contents import (
    are_ids,
    contradicted,
    id_found,
    links_found,
    named_as,
    times_of_day,
    words_found,
)
from reliability.intake.coordinates import with_places
from reliability.intake.decisions import COLUMN, KIND, UNIT, Decision
from reliability.intake.kinds import (
    CUSTOMERS,
    DEVICE_ROWS,
    FIELDS,
    IDS,
    IGNORE,
    PLACE_COLUMNS,
    REQUIRED,
    SEGMENTS,
    SOURCES,
    TABLE_KINDS,
    Field,
    field_of,
    names_of,
)
from reliability.intake.reading import ExportTable
from reliability.intake.recipe import FileRule, Recipe
from reliability.intake.units import unit_in_header, unit_name, units_of
from reliability.schema.columns import ColumnRule
from reliability.schema.problems import Problem, Problems
from reliability.study.header_names import exact_name, match_names

FIRST_VALUES = 5
_SYSTEM_IDS = ("globalid", "objectid", "gid", "uuid", "fid", "ogc_fid")
# Headers that geographic systems add by themselves; common practice, no source. They are never guessed to be ours.
_SYSTEM = frozenset(("objectid", "globalid", "fid", "ogc_fid", "shape_length", "shape_leng", "shape_len",
                     "shape__length",
                     "shape_area", "shape", "gid", "uuid", "index", "(no_header)"))
CUSTOMER_PLACES = ("segment_id", "node_id", "pole_id")
NO_LENGTH = 0.5     # off the share of known headers of a table of spans that has no length (ours)


@dataclass(frozen=True)
class Match:
    """What one header stands for. name: ours, "" for none. guess: nobody has said so. unit: stated, "" where not."""

    headers: tuple[str, ...]
    name: str
    guess: bool = False
    unit: str = ""


@dataclass(frozen=True)
class Recognised:
    """A table with its kind and columns.

    kind: "" where it is not known. guess: the kind is a guess. matches: our columns, each with the headers that make
    it. unused: headers that stand for nothing. rule: the recipe's, None without.
    """

    table: ExportTable
    kind: str
    guess: bool = False
    matches: tuple[Match, ...] = ()
    unused: tuple[str, ...] = ()
    rule: FileRule | None = None
    decisions: tuple[Decision, ...] = field(default=())

    @property
    def patterns(self) -> tuple[str, str]:
        """What finds this table again: the recipe's pattern of its file, else the file's name; and its sheet or layer.
        A bracket in a name is no pattern."""
        return glob.escape(self.table.file) if self.rule is None else self.rule.file, glob.escape(self.table.table)

    def match(self, name: str) -> Match | None:
        """The match of one of our columns."""
        return next((m for m in self.matches if m.name == name), None)

    def first_values(self, header: str) -> list[str]:
        """The first values of a column that are not blank."""
        cells = self.table.columns[header]
        return [str(c) for c in cells[cells != ""][:FIRST_VALUES]]


def recognise(tables: Sequence[ExportTable], recipe: Recipe, problems: Problems) -> list[Recognised]:
    """Kind and columns of every table: by the recipe, by our own names, else guessed and left open.

    problems: gets patterns of the recipe that no table matches and mapped headers that a table does not have.
    """
    found: list[Recognised] = []
    used: set[int] = set()
    ruled = {t.file for t in tables for rule in recipe.files if _fits_file(t, rule)}
    for one in tables:
        rules = [(k, rule) for k, rule in enumerate(recipe.files) if _fits(one, rule)]
        used.update(k for k, _ in rules)
        table = _placed(one, [rule for _, rule in rules], recipe)
        if rules:
            found += [_by_rule(table, rule, problems) for _, rule in rules]
        else:
            found.append(_by_headers(table, table.file in ruled))
    for k, rule in enumerate(recipe.files):
        if k not in used:
            sheet = f", table {rule.table}" if rule.table else ""
            problems.add(Problem("import.toml", f"no file of the exports matches this pattern{sheet}",
                                 "name a file that is there, or remove the entry", None, f"files[{k + 1}]", rule.file))
    found = _customers_with_places(found)
    in_segments = any(one.kind == SEGMENTS and one.match("device_id") and not one.match("device") for one in found)
    return [_placed_elsewhere(one) for one in found] if recipe.place or in_segments else found


def _placed(table: ExportTable, rules: Sequence[FileRule], recipe: Recipe) -> ExportTable:
    """A table with the geometry in its columns, where nothing else says the place or their coordinate system is known:
    nobody is asked for the system of coordinates that nothing needs."""
    known = {exact_name(h) for rule in rules for h in (
        *(rule.ignore or ()), *rule.leave_out, *(h for theirs in rule.columns.values() for h in theirs))}
    found = with_places(table, known) if table.shapes is None else None
    if found is None or found.shapes is None:
        return table
    bare = replace(found, shapes=None)
    kind = rules[0].kind if rules else max((_kind(bare), _kind(found)), key=lambda k: (k.certain, k.score)).name
    if kind not in (SEGMENTS, DEVICE_ROWS, CUSTOMERS, SOURCES) or found.shapes.lines != (kind == SEGMENTS):
        return table
    if found.shapes.crs or recipe.coordinate_system:
        return found
    one = _by_rule(bare, rules[0], Problems()) if rules else _by_headers(bare, False)
    nowhere = kind == CUSTOMERS and not any(map(one.match, ("customer_id", *CUSTOMER_PLACES)))
    return found if one.kind != kind or nowhere or any(d.missing for d in one.decisions) else table


def _placed_elsewhere(one: Recognised) -> Recognised:
    """A table of devices whose places the recipe states, or the segments that name them, needs no column for them."""
    if one.kind != DEVICE_ROWS:
        return one
    return replace(one, decisions=tuple(d for d in one.decisions if not (
        d.step == COLUMN and d.column == CUSTOMER_PLACES[0] and not d.suggestion)))


def _customers_with_places(found: Sequence[Recognised]) -> list[Recognised]:
    """Tables of customers that name only a transformer need another table that says where transformers stand."""
    placed = [one.table.shapes is not None or any(one.match(name) for name in CUSTOMER_PLACES) for one in found]
    if any(own for own, one in zip(placed, found, strict=True) if one.kind == CUSTOMERS):
        return list(found)
    return [one if one.kind != CUSTOMERS or one.match("transformer_id") is None else
            replace(one, decisions=(*one.decisions, Decision(
                COLUMN, one.table.name, CUSTOMER_PLACES[0], " or ".join(CUSTOMER_PLACES),
                f"{CUSTOMERS} need this column, and no header stands for it", kind=CUSTOMERS))) for one in found]


def rule_of(recognised: Recognised) -> FileRule:
    """The entry of a recipe that says what has been recognised, every header either used or ignored."""
    fields = {m.name: m for m in recognised.matches if m.name}
    units = {}
    for name, match in fields.items():
        of = field_of(recognised.kind, name)
        if match.unit and of is not None and of[0].measure:
            units[name] = match.unit
    rule = recognised.rule
    leave_out = {} if rule is None else dict(rule.leave_out)
    ignore = [h for h in recognised.unused if h not in leave_out]
    file, table = recognised.patterns
    return FileRule(file, recognised.kind, table,
                    {name: m.headers for name, m in fields.items()}, units, leave_out, tuple(ignore),
                    "" if rule is None else rule.decimal)


def _fits_file(table: ExportTable, rule: FileRule) -> bool:
    return fnmatch.fnmatch(table.file.casefold(), rule.file.casefold())


def _fits(table: ExportTable, rule: FileRule) -> bool:
    return _fits_file(table, rule) and (
        not rule.table or not table.table or fnmatch.fnmatch(table.table.casefold(), rule.table.casefold()))


def _by_rule(table: ExportTable, rule: FileRule, problems: Problems) -> Recognised:
    if rule.kind == IGNORE:
        return Recognised(table, "", unused=tuple(table.columns), rule=rule)
    headers = {exact_name(h): h for h in table.columns}
    matches: list[Match] = []
    used: set[str] = set()
    for name, theirs in rule.columns.items():
        of = field_of(rule.kind, name)
        lost = [h for h in theirs if exact_name(h) not in headers]
        for header in lost:
            problems.add(Problem(table.name, f"the recipe maps this header to {name}, and the table does not have it",
                                 f"its headers are {', '.join(list(table.columns)[:12])}", None, name, header))
        if of is not None and not lost:
            placed = tuple(headers[exact_name(h)] for h in theirs)
            used.update(placed)
            stated = rule.units.get(name) or rule.units.get(of[0].name) or of[1]
            matches.append(Match(placed, of[0].name, unit=unit_name(stated) if stated else ""))
    known = {exact_name(h) for h in (*rule.leave_out, *(rule.ignore or ()))}
    for word in rule.leave_out:
        if exact_name(word) not in headers:
            problems.add(Problem(table.name,
                                 "the recipe leaves out rows by this header, and the table does not have it",
                                 "correct the recipe", None, None, word))
    free = [h for h in table.columns if h not in used and exact_name(h) not in known]
    taken = {m.name for m in matches}
    exact, guessed = _headers(rule.kind, free, taken, table)
    matches += [replace(m, unit=m.unit or rule.units.get(m.name, "")) for m in exact]
    rest = [h for h in free if all(h not in m.headers for m in exact)]
    meant = {m.headers[0]: m.name for m in guessed}
    new = [h for h in rest if rule.ignore is not None or h in meant]
    decisions = tuple(Decision(
        COLUMN, table.name, h, h, "a column that the recipe does not know", meant.get(h, ""),
        kind=rule.kind) for h in new)
    return Recognised(table, rule.kind, False, tuple(matches), tuple(h for h in table.columns if h not in used and all(
        h not in m.headers for m in exact)), rule, decisions + _open(table, rule.kind, matches, set(meant.values())))


def _by_headers(table: ExportTable, beside: bool) -> Recognised:
    """A table that no rule names. beside: a rule names another table of its file."""
    kind, certain, _ = _kind(table)
    if not kind or (beside and not certain):
        return Recognised(table, "", True, unused=tuple(table.columns))
    exact, guessed = _headers(kind, list(table.columns), set(), table)
    matches = [*exact, *guessed]
    unused = tuple(h for h in table.columns if all(h not in m.headers for m in matches))
    decisions = [] if certain else [Decision(KIND, table.name, "", table.name, "the kind of this table is open", kind,
                                             len(table))]
    decisions += [Decision(COLUMN, table.name, m.headers[0], m.headers[0], "what this column stands for is open",
                           m.name + (f" in {m.unit}" if m.unit else ""), kind=kind) for m in guessed]
    return Recognised(table, kind, not certain, tuple(matches), unused, None,
                      tuple(decisions) + _open(table, kind, matches))


def _headers(kind: str, headers: Iterable[str], taken: set[str], table: ExportTable, certain: bool = True
             ) -> tuple[list[Match], list[Match]]:
    """Headers that are named as ours, and those that probably stand for one of ours. certain: whether the kind is
    known, so that names of anything are those of its rows."""
    exact: list[Match] = []
    rest: list[str] = []
    system: list[str] = []
    taken = set(taken)
    for header in headers:
        found = field_of(kind, exact_name(header))
        if found is not None and found[0].name not in taken and not _names_devices(found[0], table.columns[header]):
            taken.add(found[0].name)
            exact.append(Match((header,), found[0].name, unit=found[1]))
        else:
            (system if exact_name(header) in _SYSTEM else rest).append(header)
    columns = [c for f in FIELDS[kind] for c in (f.column, *(replace(f.column, name=a) for a, _ in f.alias))]
    closed = {n for f in FIELDS[kind] if f.name in taken for n in (f.name, *(a for a, _ in f.alias))}
    guessed = _guessed(kind, rest, columns, closed, taken, table)
    if certain:
        guessed += _id_by_cells(kind, [h for h in rest if all(h not in m.headers for m in guessed)], taken, table)
    names = IDS.get(kind)
    own = [h for h in system if exact_name(h) in _SYSTEM_IDS]
    if names and names not in taken and own:     # a system's own number, where there is no other
        guessed.append(Match((own[0],), names, True))
    return exact, guessed


def looks_like(kind: str, header: str) -> str:
    """The column of ours that a header probably stands for by its name alone, "" for none."""
    if exact_name(header) in _SYSTEM:
        return ""
    columns = [c for f in FIELDS[kind] for c in (f.column, *(replace(f.column, name=a) for a, _ in f.alias))]
    found = field_of(kind, match_names([header], columns).get(header, ""))
    return "" if found is None else found[0].name


def _names_devices(of: Field, cells: np.ndarray) -> bool:
    """Whether cells under a header for kinds of devices are names of devices instead."""
    return of.name == "device" and are_ids(of, cells)


def _guessed(kind: str, headers: list[str], columns: Sequence[ColumnRule], closed: set[str], taken: set[str],
             table: ExportTable) -> list[Match]:
    """Guesses by the headers' words, none that the cells contradict, then by the cells themselves."""
    fields = {f.name: f for f in FIELDS[kind]}
    guessed: list[Match] = []
    meant = match_names(headers, columns, closed)
    own = next((h for h, n in meant.items() if n == IDS.get(kind)), "")
    ids = frozenset(table.columns[own].tolist()) if own else frozenset()
    for header, name in meant.items():
        of = field_of(kind, name)
        if of is not None and _names_devices(of[0], table.columns[header]):
            of = field_of(kind, "device_id")
        if of is not None and of[0].name not in taken and not contradicted(fields, of[0].name, header, table.columns,
                                                                           ids):
            taken.add(of[0].name)
            guessed.append(Match((header,), of[0].name, True, of[1] or unit_in_header(of[0].measure, header)))
    rest = [h for h in headers if all(h not in m.headers for m in guessed)]
    for header, name in words_found(kind, rest, table.columns, taken).items():
        taken.add(name)
        guessed.append(Match((header,), name, True))
    rest = [h for h in rest if all(h not in m.headers for m in guessed)]
    for header, name in links_found(kind, rest, table.columns, taken).items():
        taken.add(name)
        rest.remove(header)
        guessed.append(Match((header,), name, True))
    clocks = times_of_day({m.name: m.headers[0] for m in guessed}, rest, table.columns)
    return [replace(m, headers=(*m.headers, clocks[m.name])) if m.name in clocks else m for m in guessed]


def _id_by_cells(kind: str, headers: list[str], taken: set[str], table: ExportTable) -> list[Match]:
    """The one column of names that differ as the id of a kind's rows, where no header says which it is."""
    key = IDS.get(kind, "")
    if not key or key in taken or not (header := id_found(headers, table.columns)):
        return []
    taken.add(key)
    return [Match((header,), key, True)]


def _open(table: ExportTable, kind: str, matches: Sequence[Match], suggested: Collection[str] = ()
          ) -> tuple[Decision, ...]:
    """Columns that are missing, and units that nobody has stated. suggested: columns that are asked about already."""
    have = {m.name for m in matches} | set(suggested)
    decisions = []
    for group in REQUIRED[kind]:
        if have.isdisjoint(group) and not (table.shapes is not None and PLACE_COLUMNS & set(group)
                                           and group != ("segment_id",)):
            decisions.append(Decision(COLUMN, table.name, group[0], " or ".join(group),
                                      f"{kind} need this column, and no header stands for it", kind=kind))
    for m in matches:
        of = _of(kind, m.name)
        if of.measure and not m.unit and not _unit_in_name(of):
            decisions.append(Decision(UNIT, table.name, m.headers[0], m.name, "the unit of this column is open",
                                      " or ".join(units_of(of.measure)), kind=kind))
    return tuple(decisions)


def _unit_in_name(of: Field) -> bool:
    """Whether our name states the unit, so that a header that is ours by name needs no other word."""
    return of.name.endswith(("_a", "_kw", "_kva", "_kwh", "_per_km"))


def _of(kind: str, name: str) -> Field:
    found = field_of(kind, name)
    if found is None:
        raise ValueError(f"{name} is no column of {kind}")
    return found[0]


class _Kind(NamedTuple):
    """The kind of a table, "" where nothing fits, whether its names say so without a guess, and how well it fits."""

    name: str
    certain: bool
    score: float = np.inf


def _kind(table: ExportTable) -> _Kind:
    stem = Path(table.file).stem.casefold()
    names = {exact_name(h) for h in table.columns}
    for kind in TABLE_KINDS:
        if re.fullmatch(rf"{kind}(?:[\W_\d].*)?", stem) or exact_name(table.table) == kind:
            return _Kind(kind, True)
    scores = {kind: _score(kind, table) for kind in TABLE_KINDS}
    best = max(scores, key=lambda k: scores[k])
    complete = [k for k in TABLE_KINDS
                if all(names & set(group) for group in REQUIRED[k]) and names <= set(names_of(k))]
    if complete == [best]:
        return _Kind(best, True)
    return _Kind(best if scores[best] >= 1.0 else "", False, scores[best])


def _score(kind: str, table: ExportTable) -> float:
    """How well a table's headers fit a kind: required groups that it has, then how many of its headers are known."""
    exact, guessed = _headers(kind, list(table.columns), set(), table, certain=False)
    have = {m.name for m in (*exact, *guessed)}
    groups = [bool(have & set(group)) or (table.shapes is not None and bool(PLACE_COLUMNS & set(group)))
              for group in REQUIRED[kind] if group != ("device",)]      # what a device is may stand in the spans
    if table.shapes is not None:
        lines = table.shapes.lines
        if lines != (kind == SEGMENTS) or (not lines and kind not in (DEVICE_ROWS, CUSTOMERS)):
            return 0.0
    known = (len(exact) + 0.7 * len(guessed)) / max(len(table.columns), 1)
    if kind == SEGMENTS and table.shapes is None and "length" not in have:
        known -= NO_LENGTH      # a table of devices names spans too, but no span without a length is worth a table
    named = 0.6 if named_as(kind, f"{Path(table.file).stem} {table.table}") else 0.0
    whole = 2.0 if all(groups) else -1.0
    return named + whole + float(np.mean(groups)) * 0.5 + known * 2.0


def columns_of(kind: str) -> tuple[ColumnRule, ...]:
    """Definitions of a kind's columns."""
    return tuple(f.column for f in FIELDS[kind])
