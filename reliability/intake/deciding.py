"""Decisions of an import put into its recipe, one after another or every suggestion at once; no page is drawn here."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

from reliability.formats import count as counted
from reliability.formats import exact
from reliability.intake.decisions import COLUMN, KIND, NUMBER, UNIT, WORD, Decision
from reliability.intake.importing import Prepared
from reliability.intake.kinds import IGNORE, SEGMENTS, TABLE_KINDS, Field, field_of
from reliability.intake.recipe import FileRule, Recipe
from reliability.intake.recognise import Recognised, rule_of
from reliability.intake.typed import Word
from reliability.intake.units import Plausibility, units_of
from reliability.intake.words import Meaning, as_stated, known_meaning

NOTHING_TAKEN, LEFT_OUT = "nothing", "leave out"
EVERY_KIND = (*TABLE_KINDS, IGNORE)
_JOINED = ("started", "restored")


@dataclass(frozen=True)
class ColumnRow:
    """A header as it is shown: what it stands for ("" nothing), and whether that is a guess that nobody confirmed."""

    header: str
    name: str
    guess: bool
    first_values: tuple[str, ...]


def column_rows(one: Recognised) -> list[ColumnRow]:
    """Every header of a table in its order."""
    meant = {h: (m.name, m.guess) for m in one.matches for h in m.headers}
    guesses = {d.column: d.suggestion for d in one.decisions if d.step == COLUMN and d.suggestion and d.column}
    return [ColumnRow(h, *meant.get(h, (guesses.get(h, "").partition(" in ")[0], h in guesses)),
                      tuple(one.first_values(h)[:3])) for h in one.table.columns]


def required_missing(one: Recognised) -> list[str]:
    """Columns that the kind needs and no header stands for."""
    return [d.value for d in one.decisions if d.missing]


def with_kind(recipe: Recipe, one: Recognised, kind: str) -> Recipe:
    """The recipe with another kind for a table; its columns are recognised again."""
    file, table = one.patterns
    return _put(recipe, one, FileRule(file, kind, table))


def confirmed_kind(recipe: Recipe, one: Recognised) -> Recipe:
    """The recipe with a table's kind and every column as it is recognised or guessed now."""
    return _put(recipe, one, _confirmed(one))


def with_columns(recipe: Recipe, one: Recognised, chosen: Mapping[str, str]) -> Recipe:
    """The recipe with other meanings for some headers of a table. chosen: header → our column, "" for none.

    A date and a time of day that stand for one time are joined in the table's order; of two headers for another column
    the one chosen now has it. The rest of the table stays as it is, guesses as guesses.
    """
    return _put(recipe, one, _changed(one, chosen))


def _changed(one: Recognised, chosen: Mapping[str, str]) -> FileRule:
    before = {r.header: r.name for r in column_rows(one) if not r.guess or r.header in _joined(one)}
    taken = {field_named(one.kind, n).name for n in chosen.values() if n and n not in _JOINED}
    meant = {**{h: "" if n in taken else n for h, n in before.items()}, **chosen}
    columns: dict[str, tuple[str, ...]] = {}
    for header in one.table.columns:
        if name := meant.get(header, ""):
            columns[name] = (*columns.get(name, ()), header)
    file, table = one.patterns
    old = one.rule if one.rule is not None else FileRule(file, one.kind, table)
    units = {m.name: m.unit for m in one.matches if m.unit and m.name in columns and _measured(one.kind, m.name)}
    open_ = {r.header for r in column_rows(one) if r.guess and r.header not in meant}
    aside = tuple(h for h in one.table.columns if not meant.get(h) and h not in open_ and h not in old.leave_out)
    return replace(old, columns=columns, units=units, ignore=aside)


def with_unit(recipe: Recipe, one: Recognised, name: str, unit: str) -> Recipe:
    """The recipe with the unit of one of our columns of a table."""
    match = one.match(name)
    rule = _changed(one, dict.fromkeys(match.headers if match is not None else (), name))
    return _put(recipe, one, replace(rule, units={**rule.units, name: unit}))


def with_decimal(recipe: Recipe, one: Recognised, sign: str) -> Recipe:
    """The recipe with the decimal sign of a table's numbers, "" where they show it themselves."""
    return _put(recipe, one, replace(_changed(one, {}), decimal=sign))


def with_words(recipe: Recipe, kind: str, column: str, meanings: Mapping[str, Meaning]) -> Recipe:
    """The recipe with meanings for some words of a column."""
    values = {k: dict(v) for k, v in recipe.values.items()}
    of = values.setdefault(kind, {})
    of[column] = {**of.get(column, {}), **meanings}
    return replace(recipe, values=values)


def accepted_as_shown(prepared: Prepared) -> Recipe:
    """The recipe with every suggestion of this state taken; words of columns that it decides have yet to be seen.

    While a table has no kind, no column is put down as ignored: it may hold that table's names.
    """
    recipe, open_ = prepared.recipe, bool(kind_open(prepared))
    for one in prepared.recognised:
        if one.kind and (one.guess or any(d.step == COLUMN and d.suggestion for d in one.decisions)):
            rule = _confirmed(one)
            recipe = _put(recipe, one, replace(rule, ignore=None) if open_ else rule)
    return with_suggested_words(recipe, prepared)


def with_suggested_words(recipe: Recipe, prepared: Prepared) -> Recipe:
    """The recipe with every suggested meaning of the words that are open."""
    for word in prepared.typed.words:
        if word.meaning is None and word.suggested is not None:
            recipe = with_words(recipe, word.kind, word.column, {word.word: word.suggested})
    return recipe


def suggested(prepared: Prepared) -> list[Decision]:
    """What is open and has a suggestion that can be taken as it is."""
    return [d for d in prepared.decisions if d.suggestion and d.step in (KIND, COLUMN, WORD)]


def open_by_step(prepared: Prepared, confirmed: Collection[str] = ()) -> dict[str, int]:
    """How many decisions are open about columns (kinds included), units and words. confirmed: see `measured`."""
    steps = [d.step for d in prepared.decisions]
    return {"columns": steps.count(KIND) + steps.count(COLUMN) + len(kind_open(prepared)),
            "units": sum(m.open for m in measured(prepared, confirmed)) + steps.count(NUMBER),
            "words": steps.count(WORD)}


def kind_open(prepared: Prepared) -> list[str]:
    """Tables whose kind is neither recognised nor decided."""
    return [one.table.name for one in prepared.recognised if not one.kind and one.rule is None]


def not_ready(prepared: Prepared, confirmed: Collection[str] = ()) -> list[str]:
    """Why these exports cannot become a study yet; empty where nothing stands in the way so far."""
    open_ = open_by_step(prepared, confirmed)
    unknown = kind_open(prepared)
    reasons = [f"the kind of {name} is open: choose it, or that it is not used" for name in unknown]
    columns = open_["columns"] - len(unknown)
    reasons += [f"{counted(n, 'decision')} on {what} open" for n, what in (
        (columns, "kinds and columns"), (open_["units"], "units"), (open_["words"], "words")) if n]
    reasons += [f"{p}" for p in prepared.problems.listed]
    if not any(one.kind == SEGMENTS for one in prepared.recognised):
        reasons.append("no table holds segments")
    return reasons


def word_groups(prepared: Prepared) -> dict[tuple[str, str], list[Word]]:
    """Words by kind and column: columns with open words first, in them the open words, the most frequent first."""
    groups: dict[tuple[str, str], list[Word]] = {}
    for word in prepared.typed.words:
        groups.setdefault((word.kind, word.column), []).append(word)
    for group in groups.values():
        group.sort(key=lambda w: (w.meaning is not None, -w.rows, w.word))
    return dict(sorted(groups.items(), key=lambda g: -sum(w.rows for w in g[1] if w.meaning is None)))


def field_named(kind: str, column: str) -> Field:
    """The definition of one of our columns; ValueError where the kind has none of the name."""
    found = field_of(kind, column)
    if found is None:
        raise ValueError(f"{column} is no column of {kind}")
    return found[0]


def said(of: Field, meaning: Meaning | None) -> str:
    """A meaning in words; "" where it is open."""
    if meaning is None:
        return ""
    stated: Any = as_stated(of, meaning)
    if meaning.leave_out:
        return LEFT_OUT
    if isinstance(stated, Mapping):
        return ", ".join(str(v) if name == of.name else f"{name} {v}" for name, v in stated.items())
    if isinstance(stated, bool):
        return "yes" if stated else "no"
    return exact(stated) if isinstance(stated, int | float) else str(stated) or NOTHING_TAKEN


def meanings_of(of: Field, words: list[Word]) -> dict[str, Meaning]:
    """Every meaning that a word of a column may be given, by its words: choices, then those of other words."""
    choices = of.column.choices or (("1", "2", "3") if of.name == "phases" else ())
    listed = [m for c in choices if (m := known_meaning(of, c)) is not None]
    listed += [m for w in words for m in (w.suggested, w.meaning) if m is not None]
    listed += [Meaning(), Meaning(leave_out=True)]
    return {said(of, m): m for m in listed}


def _confirmed(one: Recognised) -> FileRule:
    rule = rule_of(one)
    columns = dict(rule.columns)
    for row in column_rows(one):
        if row.guess and row.name and row.name not in columns:
            columns[row.name] = (row.header,)
    used = {h for theirs in columns.values() for h in theirs}
    return replace(rule, columns=columns, ignore=tuple(h for h in rule.ignore or () if h not in used))


def _joined(one: Recognised) -> set[str]:
    """Headers that together make one column: they stay together when another header is decided."""
    return {h for m in one.matches if len(m.headers) > 1 for h in m.headers}


def _measured(kind: str, name: str) -> bool:
    return bool(field_named(kind, name).measure)


def _put(recipe: Recipe, one: Recognised, rule: FileRule) -> Recipe:
    """The recipe with a rule in place of the one by which a table was recognised, added where there was none."""
    files = [rule if r == one.rule else r for r in recipe.files]
    return replace(recipe, files=tuple(files if one.rule is not None else [*files, rule]), stated=True)


@dataclass(frozen=True)
class UnitColumn:
    """A column with a unit.

    unit: as stated, ours where our name states it. open: somebody has to say which it is, or that it is right although
    it is implausible.
    """

    one: Recognised
    name: str
    header: str
    unit: str
    units: tuple[str, ...]
    open: bool
    plausibility: Plausibility | None

    @property
    def key(self) -> str:
        """What names this column in this unit, for its confirmation."""
        return f"{self.one.table.name}: {self.name} in {self.unit}"


def measured(prepared: Prepared, confirmed: Collection[str] = ()) -> list[UnitColumn]:
    """Every column with a unit, the open ones first. confirmed: keys of those that are right although implausible."""
    doubts = {(table, column): said_ for table, column, said_, _ in prepared.typed.units}
    open_ = {(d.table, d.value) for d in prepared.decisions if d.step == UNIT}
    open_ |= {(d.table, d.column) for d in prepared.decisions if d.step == UNIT}
    rows = []
    for one in prepared.recognised:
        for match in one.matches:
            of = field_named(one.kind, match.name)
            if of.measure:
                known = units_of(of.measure)
                said_ = doubts.get((one.table.name, match.name))
                row = UnitColumn(one, match.name, match.headers[0], match.unit or known[0], known,
                                 (one.table.name, match.name) in open_, said_)
                doubted = said_ is not None and not said_.plausible
                rows.append(replace(row, open=(row.open or doubted) and row.key not in confirmed))
    return sorted(rows, key=lambda r: not r.open)
