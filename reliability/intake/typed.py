"""Recognised tables into typed frames, one a kind: rows left out, words translated, numbers in our units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from reliability.formats import exact
from reliability.intake.decisions import NUMBER, UNIT, WORD, Decision
from reliability.intake.durations import with_colons
from reliability.intake.kinds import DEVICE_COLUMNS, FIELDS, IDS, SEGMENTS, Field, field_of
from reliability.intake.layers import Shapes
from reliability.intake.recipe import Recipe
from reliability.intake.recognise import Recognised
from reliability.intake.thousands import PlainNumbers, plain_numbers
from reliability.intake.total_rows import described, total_rows
from reliability.intake.units import Plausibility, factor, plausibility
from reliability.intake.words import Meaning, as_stated, doubtful_phases, known_meaning, suggestion, toml_text, word_key
from reliability.schema.columns import KM_PER_MILE, ColumnRule
from reliability.schema.problems import Problem, Problems
from reliability.study.cells import number_column, says_unknown
from reliability.study.decimals import may_hold_thousands
from reliability.study.headers import TextTable
from reliability.study.spreadsheet_cells import report_ids, report_troubles

# By what a row is called, the first that it has.
ROW_NAMES = ("event_id", "customer_id", "transformer_id", "device_id", "segment_id", "node_id")
OPEN_WORD = "what this word means is open"
THIRD_PHASE = "alone it is the second phase, beside R and Y of its column probably the third"


@dataclass(frozen=True)
class Word:
    """A distinct word of a column: how often it occurs, what it means (None: open) and what it probably means."""

    kind: str
    column: str
    word: str
    rows: int
    meaning: Meaning | None
    suggested: Meaning | None


@dataclass
class Typed:
    """Typed rows of every kind.

    frames: kind → frame; text as object columns with "" where blank, numbers as float in our units with NaN, `file`
    (name of the table) and `row`. shapes: kind → geometry of the rows, where any table has one. words: every distinct
    word. units: (table, column, plausibility, unit). left_out: (table, reason) → names of the rows that are
    left out; rows_left_out: kind → how many. read_as: (table, what was read as something else) → which.
    """

    frames: dict[str, pd.DataFrame] = field(default_factory=dict)
    shapes: dict[str, list[tuple[int, Shapes]]] = field(default_factory=dict)
    words: list[Word] = field(default_factory=list)
    units: list[tuple[str, str, Plausibility, str]] = field(default_factory=list)
    left_out: dict[tuple[str, str], list[str]] = field(default_factory=dict)
    rows_left_out: dict[str, int] = field(default_factory=dict)
    read_as: dict[tuple[str, str], list[str]] = field(default_factory=dict)
    decisions: list[Decision] = field(default_factory=list)
    headers: dict[tuple[str, str], str] = field(default_factory=dict)

    def frame(self, kind: str) -> pd.DataFrame:
        """Rows of a kind with every one of its columns, blank where no table has it."""
        found = self.frames.get(kind)
        return empty_frame(kind) if found is None else found


def empty_frame(kind: str) -> pd.DataFrame:
    """A frame of a kind without rows."""
    return _whole(kind, {}, 0).assign(file="", row=0)


def typed_tables(found: Sequence[Recognised], recipe: Recipe, problems: Problems) -> Typed:
    """Every recognised table typed; cells that cannot be read go to `problems`, open words and units to `decisions`."""
    typed = Typed()
    parts: dict[str, list[pd.DataFrame]] = {}
    seen: dict[tuple[str, str], dict[str, list[Any]]] = {}
    for one in found:
        if not one.kind:
            continue
        frame, shapes = _typed_table(one, recipe, typed, seen, problems)
        offset = sum(map(len, parts.get(one.kind, [])))
        parts.setdefault(one.kind, []).append(frame)
        if shapes is not None:
            typed.shapes.setdefault(one.kind, []).append((offset, shapes))
    typed.frames = {kind: frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True)
                    for kind, frames in parts.items()}
    _note_words(seen, typed)
    return typed


def _typed_table(one: Recognised, recipe: Recipe, typed: Typed, seen: dict[tuple[str, str], dict[str, list[Any]]],
                 problems: Problems) -> tuple[pd.DataFrame, Shapes | None]:
    table, kind = one.table, one.kind
    keep = _left_out(one, typed, problems)
    fields = {f.name: f for f in FIELDS[kind]}
    cells = {m.name: joined_cells(one, m.headers)[keep] for m in one.matches if m.name in fields}
    rows = table.rows[keep]
    dropped = np.zeros(len(rows), bool)
    for name in list(cells):
        if fields[name].word or recipe.meanings(kind, name):
            dropped |= _translate(fields[name], kind, one, cells, recipe, seen)
    if dropped.any():
        names = _row_names(one, np.flatnonzero(keep)[dropped])
        typed.left_out.setdefault((table.name, "by a word"), []).extend(names)
        keep[np.flatnonzero(keep)[dropped]] = False
        cells = {name: column[~dropped] for name, column in cells.items()}
        rows = rows[~dropped]
    typed.rows_left_out[kind] = typed.rows_left_out.get(kind, 0) + int((~keep).sum())
    _report_cells(one, fields, cells, rows, keep, problems)
    columns = _numbers(one, fields, cells, rows, typed, problems)
    frame = _whole(kind, columns, len(rows))
    frame["file"], frame["row"] = table.name, rows
    shapes = None if table.shapes is None else Shapes(table.shapes.shapes[keep], table.shapes.crs)
    typed.headers.update({(table.name, m.name): " + ".join(m.headers) for m in one.matches})
    return frame, shapes


def _report_cells(one: Recognised, fields: Mapping[str, Field], cells: Mapping[str, np.ndarray], rows: np.ndarray,
                  keep: np.ndarray, problems: Problems) -> None:
    """Cells of text that a spreadsheet has lost or changed; an unknown word is open in any case.

    cells, rows: of the rows that stay; keep: where these are in the table.
    """
    for match in one.matches:
        of = fields.get(match.name)
        if of is None or of.word or of.column.kind in ("number", "whole"):
            continue
        header, texts = " + ".join(match.headers), cells[match.name].tolist()

        def problem(k: int, rule: str, remedy: str, header: str = header, texts: list[str] = texts) -> Problem:
            return Problem(one.table.name, rule, remedy, int(rows[k]), header, texts[k])

        report_troubles(texts, problem, problems)
        if of.column.kind == "text" and len(match.headers) == 1:
            kinds = one.table.kinds.get(match.headers[0])
            report_ids(match.name, texts, () if kinds is None else np.asarray(kinds)[keep].tolist(), problem, problems)


def joined_cells(one: Recognised, headers: tuple[str, ...]) -> np.ndarray:
    """Cells of one header, or of two that make one, a space between; a date's empty time of day goes."""
    cells = one.table.columns[headers[0]]
    if len(headers) == 1:
        return cells
    texts = pd.Series(cells, dtype="str").str.replace(r"[T ]00:00(?::00(?:\.0+)?)?$", "", regex=True)
    for header in headers[1:]:
        more = pd.Series(one.table.columns[header], dtype="str").str.replace(r"^\d{4}-\d\d-\d\d[T ](?=\d)", "",
                                                                             regex=True)
        texts = (texts + " " + more).str.strip()
    return texts.to_numpy(dtype=object)


def _row_names(one: Recognised, at: np.ndarray) -> list[str]:
    """What rows of a table are called: by the first name that the row has, else by its number."""
    columns = (IDS[SEGMENTS],) if one.kind == SEGMENTS else ROW_NAMES
    ids = [joined_cells(one, match.headers) for name in columns if (match := one.match(name)) is not None]
    return [next((str(column[k]) for column in ids if column[k]), f"row {one.table.rows[k]}") for k in at.tolist()]


def _left_out(one: Recognised, typed: Typed, problems: Problems) -> np.ndarray:
    """Rows that stay, (rows,) bool, by the recipe's leave_out; a new word of such a column that sounds like the same is
    a problem."""
    totals = total_rows(one)
    if totals.any():
        typed.read_as[(one.table.name, "rows of totals, not counted")] = [
            described(one, k) for k in np.flatnonzero(totals).tolist()]
    keep = ~totals
    by_key = {word_key(h): h for h in one.table.columns}
    for header, words in (one.rule.leave_out if one.rule else {}).items():
        column = one.table.columns.get(by_key.get(word_key(header), ""))
        if column is None:
            continue
        keys = {word_key(w) for w in words}
        out = np.array([word_key(w) in keys for w in column], bool) & keep
        typed.left_out[(one.table.name, f"{header} {', '.join(words)}")] = _row_names(one, np.flatnonzero(out))
        keep &= ~out
        status = field_of(one.kind, "status")
        guesses = {w: suggestion(status[0], w) for w in pd.unique(column[keep])} if status else {}
        problems.add(*(Problem(
            one.table.name, "a word that leave_out does not name and that sounds as if such rows were left out too",
            f"name it in leave_out, or map {header} as status and give every word of it a meaning under "
            f"[values.{one.kind}.status]", int(one.table.rows[np.flatnonzero(keep & (column == w))[0]]), header, str(w))
            for w, guess in guesses.items() if guess and guess.leave_out))
    return keep


def _translate(of: Field, kind: str, one: Recognised, cells: dict[str, np.ndarray], recipe: Recipe,
               seen: dict[tuple[str, str], dict[str, list[Any]]]) -> np.ndarray:
    """Put the meanings of a column's words in their place; returns where a row is left out, (rows,) bool."""
    column = cells[of.name]
    codes, words = pd.factorize(column)
    counts = np.bincount(codes, minlength=len(words))
    stated = {word_key(w): m for w, m in recipe.meanings(kind, of.name).items()}
    meanings: list[Meaning | None] = []
    noted = seen.setdefault((kind, of.name), {})
    doubts = doubtful_phases(words) if of.name == "phases" else {}
    for word, rows in zip(words, counts.tolist(), strict=True):
        meaning = stated.get(word_key(word)) if word_key(word) or not word else None
        if meaning is None and word not in doubts:
            meaning = known_meaning(of, word) if of.word else Meaning({of.name: word})
        entry = noted.setdefault(word_key(word), [word, 0, meaning, of, one.table.name, doubts.get(word)])
        entry[1] += rows
        if meaning is None:
            entry[2], entry[5] = None, doubts.get(word)
        meanings.append(meaning)
    out = np.array([m is not None and m.leave_out for m in meanings], bool)
    names = {of.name} | {name for m in meanings if m for name in m.values}
    for name in names:
        texts = np.array([(m.values.get(name, "") if m else "") for m in meanings] or [""], dtype=object)[codes]
        if name == of.name:
            cells[name] = texts
        else:
            before = cells.get(name)
            cells[name] = texts if before is None else np.where(before == "", texts, before)
    gone: np.ndarray = out[codes] if len(words) else np.zeros(len(column), bool)
    if kind == SEGMENTS and of.name in DEVICE_COLUMNS:
        for name in DEVICE_COLUMNS:
            if name in cells and name != "location":
                cells[name] = np.where(gone, "", cells[name])
        return np.zeros(len(column), bool)
    return gone


def _note_words(seen: Mapping[tuple[str, str], dict[str, list[Any]]], typed: Typed) -> None:
    """Every distinct word with how often it occurs; those without a meaning are open."""
    for (kind, column), words in seen.items():
        for word, rows, meaning, of, table, doubt in words.values():
            if not of.word:
                continue
            guess = None if meaning is not None else Meaning({of.name: doubt}) if doubt else suggestion(of, word)
            typed.words.append(Word(kind, column, word, rows, meaning, guess))
            if meaning is None:
                text = "" if guess is None else toml_text(as_stated(of, guess))
                typed.decisions.append(Decision(WORD, table, f"{kind}.{column}", word,
                                                THIRD_PHASE if doubt else OPEN_WORD, text, rows, kind))
    typed.words.sort(key=lambda w: (w.meaning is not None, w.kind, w.column, -w.rows))


def _numbers(one: Recognised, fields: Mapping[str, Field], cells: dict[str, np.ndarray], rows: np.ndarray, typed: Typed,
             problems: Problems) -> dict[str, np.ndarray]:
    """Typed columns; numbers in our units."""
    table = one.table
    numeric = {n: fields[n] for n in cells if fields[n].column.kind in ("number", "whole")}
    texts = {n: _without_unknowns(one, n, cells[n].tolist(), rows, typed) for n in numeric}
    hours = {n: _durations(one, n, texts, typed) for n, of in numeric.items() if of.measure == "time"}
    whole = [n for n in numeric if may_hold_thousands(fields[n].column)]
    headers = {m.name: " + ".join(m.headers) for m in one.matches}
    plain = plain_numbers(texts, whole, table.decimal_comma, one.rule.decimal if one.rule is not None else "")
    _note_thousands(one, plain, headers, typed)
    like = TextTable(table.name, plain.texts, rows.tolist(), headers, frozenset(), table.decimal_comma, plain.doubtful)
    settled = replace(like, doubtful="")
    columns: dict[str, np.ndarray] = {n: c for n, c in cells.items() if n not in numeric}
    for name, of in numeric.items():
        unit, scale = _unit(one, of)
        column = of.column if scale == 1.0 else ColumnRule(name, unit=unit, low=of.column.low, above=of.column.above)
        numbers, _ = number_column(settled if name in plain.settled else like, column, problems)
        columns[name] = numbers * scale if scale != 1.0 else numbers
        if name in hours:
            columns[name] = np.where(np.isnan(hours[name]), columns[name], hours[name])
        _doubt(one, of, columns[name], unit, typed)
    return columns


def _without_unknowns(one: Recognised, name: str, texts: list[str], rows: np.ndarray, typed: Typed) -> list[str]:
    """Cells of numbers, blank where they say in a word that nothing is known; these are noted."""
    unknown = {t for t in set(texts) if says_unknown(t)}
    if not unknown:
        return texts
    at = [k for k, t in enumerate(texts) if t in unknown]
    match = one.match(name)
    header = name if match is None else " + ".join(match.headers)
    typed.read_as.setdefault((one.table.name, "cells that say in a word that nothing is known: blank"), []).extend(
        f"row {rows[k]}, {header} {texts[k]}" for k in at)
    return ["" if t in unknown else t for t in texts]


def _durations(one: Recognised, name: str, texts: dict[str, list[str]], typed: Typed) -> np.ndarray:
    """Hours (n,) of durations with a colon, which are taken out of `texts` and noted; NaN elsewhere."""
    match, before = one.match(name), texts[name]
    texts[name], hours = with_colons(before, match.unit if match is not None else "")
    at = np.flatnonzero(~np.isnan(hours))
    if at.size:
        typed.read_as[(one.table.name, "durations with a colon")] = [
            f"{name} {before[at[0]]} as {exact(round(float(hours[at[0]]), 4))} h"]
    return hours


def _note_thousands(one: Recognised, plain: PlainNumbers, headers: Mapping[str, str], typed: Typed) -> None:
    """Note numbers that are read otherwise than they stand, and ask once a table where they have two readings."""
    if plain.read:
        typed.read_as[(one.table.name, "numbers with separated thousands or another decimal sign")] = [
            f"{headers[name]} {cell} as {number}" for name, (cell, number) in plain.read.items()]
    for name, cell in list(plain.open.items())[:1]:
        typed.decisions.append(Decision(NUMBER, one.table.name, headers[name], cell, "a comma or point may separate "
                                        "thousands or be the decimal sign", "", kind=one.kind))


def _unit(one: Recognised, of: Field) -> tuple[str, float]:
    match = one.match(of.name)
    unit = match.unit if match is not None else ""
    if not of.measure or not unit:
        return of.column.unit, 1.0
    if of.measure == "length" and unit == "mi":
        return unit, KM_PER_MILE
    return unit, factor(of.measure, unit) or 1.0


def _doubt(one: Recognised, of: Field, numbers: np.ndarray, unit: str, typed: Typed) -> None:
    """Note what a column's median says about its unit; implausible and nowhere stated, it is open."""
    said = plausibility(of, numbers) if of.measure else None
    if said is None:
        return
    typed.units.append((one.table.name, of.name, said, unit))
    match = one.match(of.name)
    if not said.plausible and match is not None and match.guess:
        typed.decisions.append(Decision(UNIT, one.table.name, of.name, unit, "the unit is implausible for this column",
                                        str(said), int(np.isfinite(numbers).sum()), one.kind))


def _whole(kind: str, columns: Mapping[str, np.ndarray], rows: int) -> pd.DataFrame:
    """A frame of a kind with every column: blank text, NaN and untyped geometry where none is given."""
    full: dict[str, Any] = {}
    for f in FIELDS[kind]:
        if f.name in columns:
            full[f.name] = columns[f.name]
        elif f.column.kind in ("number", "whole"):
            full[f.name] = np.full(rows, np.nan)
        else:
            full[f.name] = np.full(rows, "", dtype=object)
    frame = pd.DataFrame({n: pd.Series(c, dtype=object if c.dtype == object else None) for n, c in full.items()})
    return frame

