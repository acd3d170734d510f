"""Names and words of a recipe that stand for nothing in the exports: refused under [network], told elsewhere.

A word of last year's exports may be missing this year and does no harm; an open point, a place, a source or the chance
of a tie that matches nothing is a decision that is lost.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from reliability.intake.decisions import NETWORK, Decision
from reliability.intake.device_rows import Devices, also_named
from reliability.intake.findings import NODE
from reliability.intake.kinds import field_of
from reliability.intake.reading import RECIPE_FILE
from reliability.intake.recipe import Recipe
from reliability.intake.recognise import Recognised
from reliability.intake.sources import source_ends
from reliability.intake.spans import Spans
from reliability.intake.typed import joined_cells
from reliability.intake.words import word_key
from reliability.schema.nearest import SURE, Names
from reliability.schema.problems import Problem, Problems
from reliability.study.header_names import exact_name
from reliability.study.timestamps import is_zone, zone_meant

_OF_LINE = "no segment or device of the exports has this name"


def check_network_names(recipe: Recipe, device_rows: Iterable[str], spans: Spans, devices: Devices, problems: Problems
                        ) -> None:
    """Problems for names under [network] open, place and ties that the exports do not have.

    device_rows: ids of the tables of devices, which alone can be placed.
    """
    line = {*map(str, spans.ids[~spans.inserted]), *spans.alias}
    both = {*line, *map(str, devices.ids), *also_named(devices)}
    of_tables = {*map(str, device_rows)}
    for key, names, known, rule in (
            ("open", recipe.open, both, _OF_LINE), ("ties", recipe.ties, both, _OF_LINE),
            ("place", recipe.place, of_tables, "no table of devices has this device"),
            ("place", recipe.place.values(), line, "no segment of the exports has this name")):
        _unknown(f"network.{key}", names, known, rule, problems)


def _unknown(key: str, names: Iterable[str], known: Collection[str], rule: str, problems: Problems) -> None:
    lost = [name for name in dict.fromkeys(names) if name not in known]
    nearest = Names(sorted(known) if lost else ())
    for name in lost:
        problems.add(Problem(RECIPE_FILE, rule, nearest.suggest(name, "correct the name, or take it out"), None, key,
                             name))


def idle_ties(names: Iterable[str], points: Iterable[str], cut: Collection[str], problems: Problems) -> None:
    """Problems for chances of ties that belong to no open point. points: names of those that there are; cut: names of
    those where a ring was opened that nobody has confirmed."""
    known = Names(sorted(points))
    listed = f"open points are {', '.join(known.known[:12])}" if known.known else "the network has no open point"
    for name in names:
        remedy = "name it under [network] open as well, if it is open" if name in cut else known.suggest(
            name, f"{listed}; correct the name, or take it out")
        problems.add(Problem(RECIPE_FILE, "a chance for a tie, and nothing says that this is open", remedy, None,
                             "network.ties", name))


def unknown_sources(nodes: Iterable[str], spans: Spans) -> list[Decision]:
    """What is asked where the recipe has feeders begin at nodes that no segment has."""
    roots = source_ends(spans)
    lost = [node for node in nodes if node not in roots and spans.node(node) < 0]
    known = Names(sorted(map(str, spans.nodes)) if lost else ())
    return [Decision(NETWORK, RECIPE_FILE, NODE, node, "network.sources: no segment has this node, so no feeder can "
                     "begin there", known.suggest(node, "correct the name, or take it out")) for node in lost]


def check_zone(recipe: Recipe, problems: Problems) -> None:
    """A problem where the recipe's time zone does not exist."""
    if not recipe.time_zone or is_zone(recipe.time_zone):
        return
    problems.add(Problem(RECIPE_FILE, "no time zone of this name", zone_meant(recipe.time_zone), None, "time.zone",
                         recipe.time_zone))


def idle_entries(recipe: Recipe, found: Iterable[Recognised]) -> list[str]:
    """A line for each entry of a recipe that no table, row or cell meets: words and columns under [values], and
    leave_out, units of [[files]]."""
    found = [one for one in found if one.kind]
    return [*_idle_values(recipe, found), *(line for one in found for line in _idle_rules(one))]


def _idle_values(recipe: Recipe, found: list[Recognised]) -> Iterator[str]:
    for kind, columns in recipe.values.items():
        for column, words in columns.items():
            cells = [joined_cells(one, m.headers) for one in found if one.kind == kind
                     for m in one.matches if m.name == column]
            key = f"{RECIPE_FILE}: [values.{kind}.{column}]"
            if not cells:
                yield f"{key}: no table has this column, so its words mean nothing"
                continue
            yield from _idle_words(key, words, {str(c) for of in cells for c in set(of.tolist())})


def _idle_words(key: str, words: Iterable[str], there: Collection[str]) -> Iterator[str]:
    """Words that no cell has, with the cell that is nearest where one is so near that it may be meant."""
    keys = {word_key(w) for w in there}
    lost = [w for w in words if word_key(w) not in keys]
    if not lost:
        return
    nearest = Names(sorted(there))
    said = [f'"{w}"' + (f" (there is {near})" if (near := nearest.nearest(w, SURE)) else "") for w in lost]
    yield f"{key}: words that no cell has: {', '.join(said)}"


def _idle_rules(one: Recognised) -> Iterator[str]:
    rule = one.rule
    if rule is None:
        return
    headers: Mapping[str, str] = {exact_name(h): h for h in one.table.columns}
    for header, words in rule.leave_out.items():
        column = headers.get(exact_name(header))
        if column is not None:
            yield from _idle_words(f"{one.table.name}: leave_out {header}", words,
                                   set(one.table.columns[column].tolist()))
    have = {m.name for m in one.matches}
    for name in rule.units:
        of = field_of(one.kind, name)
        if of is not None and of[0].name not in have:
            yield f"{one.table.name}: a unit for {name}, and no column stands for it"
