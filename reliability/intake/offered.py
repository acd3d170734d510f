"""A recipe to be filled in: what was recognised and guessed of exports, and a mark where an answer is needed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from reliability.intake.deciding import accepted_as_shown, suggested
from reliability.intake.decisions import KIND, NETWORK, NUMBER, PLACE, TIME, UNIT, WORD, Decision, Undecided
from reliability.intake.importing import Prepared, import_study, prepare
from reliability.intake.kinds import FIELDS, IGNORE, TABLE_KINDS, field_of
from reliability.intake.recipe import LEFT_OPEN, FileRule, Recipe
from reliability.intake.recognise import Recognised, rule_of
from reliability.intake.words import Meaning
from reliability.schema.problems import StudyError, shorten

ROUNDS = 4      # kinds bring columns, columns bring words; the last finds nothing
RECIPE_HEAD = f"""\
# Recipe of an import, to be looked through. Every suggestion is taken; "{LEFT_OPEN}" stands where an answer is needed.
"""


@dataclass(frozen=True)
class Offered:
    """A recipe to be filled in. text: as import.toml. guesses: how many suggestions were taken. questions: a line each;
    problems: why the exports cannot be imported whatever the recipe says."""

    text: str
    guesses: int
    questions: tuple[str, ...]
    problems: tuple[str, ...]


def offered_recipe(prepared: Prepared) -> Offered:
    """The recipe of exports with every suggestion taken and what remains open marked."""
    taken: list[Decision] = []
    for _ in range(ROUNDS):
        if not (found := suggested(prepared)):
            break
        taken += found
        prepared = prepare(prepared.exports, accepted_as_shown(prepared))
    open_ = list(prepared.decisions)
    unknown = [one for one in prepared.recognised if not one.kind and one.rule is None]
    problems = [str(p) for p in prepared.problems.listed]
    if not (open_ or unknown or problems):
        try:
            import_study(prepared)
        except Undecided as error:      # what shows only once the network is traced
            open_ = list(error.decisions)
        except StudyError as error:
            problems = error.lines()
    questions = [f"{one.table.name}: what this table is: {' or '.join((*TABLE_KINDS, IGNORE))}; then have a recipe "
                 "written once more with this one, for its columns" for one in unknown]
    questions += [_line(d, _choices(d)) for d in open_]
    recipe = _marked(prepared, open_)
    head = RECIPE_HEAD + _listed("To be answered", questions) + _listed("Guessed; correct what is wrong",
                                                                        _guesses(taken))
    return Offered(f"{head}\n{recipe.text}", len(taken), tuple(questions), tuple(problems))


def _guesses(taken: Iterable[Decision]) -> list[str]:
    """A line for each table and step: what was taken for what."""
    lines: dict[tuple[str, str], list[str]] = {}
    for d in taken:
        lines.setdefault((d.table, d.column if d.step == WORD else d.step), []).append(
            d.suggestion if d.step == KIND else f'"{d.value}" for {d.suggestion}')
    return [shorten(f"{table}: {of}: {', '.join(said)}", 2000) for (table, of), said in lines.items()]


def _line(decision: Decision, said: str) -> str:
    where = decision.table if decision.column in ("", decision.value) else f"{decision.table}: {decision.column}"
    rows = f" ({decision.rows} rows)" if decision.rows > 1 else ""
    return shorten(f'{where}: "{decision.value}"{rows}: {said}', 300)


def _choices(decision: Decision) -> str:
    """What a question may be answered with."""
    if decision.step == WORD:
        found = field_of(decision.kind, decision.column.partition(".")[2])
        choices = () if found is None else found[0].column.choices or ("1, 2, 3 or the letters A, B, C",)
        return f'{decision.question}: {", ".join(choices)}, "" for nothing, or leave_out'
    return f"{decision.question}{f': {decision.suggestion}' if decision.suggestion else ''}"


def _listed(title: str, lines: Iterable[str]) -> str:
    text = "".join(f"#   {line}\n" for line in lines)
    return f"# {title}:\n{text}" if text else f"# {title}: nothing.\n"


def _marked(prepared: Prepared, open_: Iterable[Decision]) -> Recipe:
    """The recipe with an entry for every table, and LEFT_OPEN where something is open."""
    recipe, open_ = prepared.recipe, list(open_)
    rules: dict[tuple[str, str, str], FileRule] = {}
    unknown = any(not one.kind and one.rule is None for one in prepared.recognised)    # may be what a column names
    for one in prepared.recognised:
        rule = _rule(one, [d for d in open_ if d.table == one.table.name and d.kind == one.kind])
        rules.setdefault((rule.file, rule.table, rule.kind), replace(rule, ignore=None) if unknown else rule)
    values = {kind: {column: dict(words) for column, words in of.items()} for kind, of in recipe.values.items()}
    for d in (d for d in open_ if d.step == WORD):
        column = d.column.partition(".")[2]
        values.setdefault(d.kind, {}).setdefault(column, {})[d.value] = Meaning({column: LEFT_OPEN})
    steps = {d.step: d.suggestion for d in open_ if d.step in (TIME, PLACE, NETWORK)}
    time = steps.get(TIME, "")
    return replace(
        recipe, files=tuple(rules.values()), values=values, stated=True,
        date_order=LEFT_OPEN if "[time] order" in time else recipe.date_order,
        time_zone=LEFT_OPEN if "[time] zone" in time else recipe.time_zone,
        coordinate_system=LEFT_OPEN if PLACE in steps else recipe.coordinate_system,
        sources={LEFT_OPEN: (LEFT_OPEN,)} if NETWORK in steps and not recipe.sources else recipe.sources)


def _rule(one: Recognised, open_: list[Decision]) -> FileRule:
    if not one.kind:
        file, table = one.patterns
        return one.rule or FileRule(file, LEFT_OPEN, table)
    rule = rule_of(one)
    known = {f.name for f in FIELDS[one.kind]}
    missing = {name: (LEFT_OPEN,) for d in open_ if d.missing and (name := d.value.partition(" or ")[0]) in known}
    units = {d.value: LEFT_OPEN for d in open_ if d.step == UNIT and d.value in known}
    decimal = LEFT_OPEN if any(d.step == NUMBER for d in open_) else rule.decimal
    return replace(rule, columns={**rule.columns, **missing}, units={**rule.units, **units}, decimal=decimal)
