"""The recipe of an import: every decision, as written in import.toml and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import tomlkit

from reliability.formats import exact
from reliability.intake.kinds import FIELDS, IGNORE, LEAVE_OUT, TABLE_KINDS, field_of
from reliability.intake.reading import RECIPE_FILE
from reliability.intake.units import factor
from reliability.intake.words import Meaning, as_meaning, as_stated, known_meaning
from reliability.schema.nearest import Names
from reliability.schema.problems import StudyError
from reliability.study.cells import parse_numbers
from reliability.study.timestamps import DAY_FIRST, MONTH_FIRST
from reliability.study.toml import Toml, read_toml

VERSION = 1
TOLERANCE_M, REACH_M = 0.5, 15.0
_MOST = 1e6         # metres of a tolerance or ohms of a fault, our choice: far beyond any
LEFT_OPEN = "?"     # stands in a recipe that was made to be filled in where an answer is needed
_FILE_KEYS = ("file", "table", "kind", "columns", "units", "leave_out", "ignore", "decimal")
_TABLES: dict[str, tuple[str, ...]] = {
    "join": ("tolerance_m", "reach_m", "coordinate_system"), "time": ("order", "clock", "zone", "century"),
    "network": ("sources", "open", "place", "ties", "fault_resistance_ohm"), "outages": ("cumulative_steps",),
}
_FREE = ("values", "study", "questions")


@dataclass(frozen=True)
class FileRule:
    """What the tables that match a pattern are.

    file: a pattern of file names; table: sheet or layer, "" for any. columns: ours → theirs, two of which are joined
    by a space. units: by our column. leave_out: their column → words whose rows are left out. ignore: their columns
    that are known and not used; None where the recipe does not say. decimal: the decimal sign of its numbers, "" where
    they show it.
    """

    file: str
    kind: str
    table: str = ""
    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    leave_out: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    ignore: tuple[str, ...] | None = None
    decimal: str = ""


@dataclass(frozen=True)
class Recipe:
    """Every decision of an import.

    values: kind → our column → word → meaning. sources: node → its feeders. open: segments or devices taken as open.
    place: device → segment. ties: open point → chance that the transfer can be carried. fault_resistance_ohm: of faults
    to ground, where their currents are computed. century: that of years of two digits, such as 2000. study: answers, a
    tree of values as in study.toml. questions: question → answer, for those that are no keys of study.toml.
    tolerance_m: end points this near are one node; reach_m: so far from a line a point stands on it. stated: whether
    there is a recipe at all.
    """

    files: tuple[FileRule, ...] = ()
    values: Mapping[str, Mapping[str, Mapping[str, Meaning]]] = field(default_factory=dict)
    tolerance_m: float = TOLERANCE_M
    reach_m: float = REACH_M
    coordinate_system: str = ""
    date_order: str = ""
    clock: int | None = None
    century: int | None = None
    time_zone: str = ""
    sources: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    open: tuple[str, ...] = ()
    place: Mapping[str, str] = field(default_factory=dict)
    ties: Mapping[str, float] = field(default_factory=dict)
    fault_resistance_ohm: float = 0.0
    cumulative_steps: bool = False
    study: Mapping[str, Any] = field(default_factory=dict)
    questions: Mapping[str, str] = field(default_factory=dict)
    stated: bool = True

    def meanings(self, kind: str, column: str) -> Mapping[str, Meaning]:
        """Word → meaning of one of our columns."""
        return self.values.get(kind, {}).get(column, {})

    @property
    def text(self) -> str:
        """The recipe as import.toml."""
        return tomlkit.dumps(_document(self))


def read_recipe(content: bytes, file: str = RECIPE_FILE) -> Recipe:
    """The recipe of import.toml. Raises StudyError with every key that cannot be read."""
    toml = read_toml(file, content)
    data = toml.data
    if data.get("version", VERSION) != VERSION:
        toml.wrong("version", data["version"], "this version of recipes is not known", f"write {VERSION}")
    _unknown(toml, data, ("version", "files", *_FREE, *_TABLES), "")
    for name, keys in _TABLES.items():
        _unknown(toml, _table(toml, data, name), keys, f"{name}.")
    join, time, network = (_table(toml, data, name) for name in ("join", "time", "network"))
    order, ties = time.get("order", ""), _table(toml, network, "ties", "network.")
    if order not in ("", DAY_FIRST, MONTH_FIRST):
        toml.wrong("time.order", order, "not an order of dates", f'write "{DAY_FIRST}" or "{MONTH_FIRST}"')
    if time.get("clock") not in (None, 12, 24):
        toml.wrong("time.clock", time["clock"], "a clock has 12 or 24 hours", "write 12 or 24")
    century = time.get("century")
    if century not in (None, 1900, 2000):
        toml.wrong("time.century", century, "not the first year of a century", "write 1900 or 2000")
    files = tuple(rule for k, entry in enumerate(data.get("files", ()), 1)
                  if (rule := _file_rule(toml, entry, f"files[{k}]")) is not None)
    recipe = Recipe(
        files=files, values=_values(toml, _table(toml, data, "values")),
        tolerance_m=_number(toml, join, "tolerance_m", TOLERANCE_M), reach_m=_number(toml, join, "reach_m", REACH_M),
        coordinate_system=_answered(toml, join, "coordinate_system", "join", 'the system, such as "EPSG:26915"'),
        date_order=str(order), clock=time.get("clock"), century=century,
        time_zone=_answered(toml, time, "zone", "time", 'the zone, such as "America/Chicago"'),
        sources=_sources(toml, network), open=_strings(network.get("open", ())),
        place={str(k): str(v) for k, v in _table(toml, network, "place", "network.").items()},
        ties={str(k): _chance(toml, k, value) for k, value in ties.items()},
        fault_resistance_ohm=_number(toml, network, "fault_resistance_ohm", 0.0, "network", "ohms"),
        cumulative_steps=_switch(toml, _table(toml, data, "outages"), "cumulative_steps", "outages"),
        study=_table(toml, data, "study"),
        questions={str(k): str(v) for k, v in _table(toml, data, "questions").items()})
    if toml.problems:
        raise StudyError(toml.problems.listed)
    return recipe


def _table(toml: Toml, data: Mapping[str, Any], name: str, path: str = "") -> dict[str, Any]:
    found = data.get(name, {})
    if isinstance(found, dict):
        return found
    toml.wrong(path + name, found, "must be a table", f"write [{path}{name}] and its keys below")
    return {}


def _answered(toml: Toml, table: Mapping[str, Any], key: str, name: str, what: str) -> str:
    value = str(table.get(key, ""))
    if value == LEFT_OPEN:
        toml.wrong(f"{name}.{key}", value, "left open", f"write {what}")
    return value


def _sources(toml: Toml, network: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """Node → its feeders; one stands for itself, several in a list."""
    sources = {str(k): _strings(v) for k, v in _table(toml, network, "sources", "network.").items()}
    if LEFT_OPEN in sources:
        toml.wrong("network.sources", LEFT_OPEN, "left open", 'write the nodes where feeders begin and their names, '
                   'such as { BUS3 = "F103", BUS4 = ["F104", "F105"] }')
    return sources


def _unknown(toml: Toml, data: Mapping[str, Any], known: tuple[str, ...], path: str) -> None:
    for key in data:
        if key not in known:
            toml.wrong(path + key, key, "unknown key", Names(known).suggest(key, f"known are {', '.join(known)}"))


def _number(toml: Toml, table: Mapping[str, Any], key: str, default: float, name: str = "join",
            unit: str = "metres") -> float:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < _MOST:
        rule = f"must be a number of {unit} from 0 to below {exact(_MOST)}"
        toml.wrong(f"{name}.{key}", value, rule, f"write one like {default}")
        return default
    return float(value)


def _chance(toml: Toml, key: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
        toml.wrong(f"network.ties.{key}", value, "must be a chance from 0 to 1", "write one like 0.8")
        return 0.0
    return float(value)


def _switch(toml: Toml, table: Mapping[str, Any], key: str, name: str) -> bool:
    value = table.get(key, False)
    if not isinstance(value, bool):
        toml.wrong(f"{name}.{key}", value, "must be true or false", "write true or false, without quotation marks")
    return value is True


def _strings(value: object) -> tuple[str, ...]:
    if isinstance(value, list | tuple):
        return tuple(str(v).strip() for v in value)
    return (str(value).strip(),)


def _file_rule(toml: Toml, entry: object, path: str) -> FileRule | None:
    if not isinstance(entry, dict) or not entry.get("file"):
        toml.wrong(path, str(entry), "names no file", 'write file = "a pattern of file names"')
        return None
    _unknown(toml, entry, _FILE_KEYS, f"{path}.")
    kind = str(entry.get("kind", ""))
    if kind == IGNORE:
        return FileRule(str(entry["file"]), kind, str(entry.get("table", "")))
    if kind not in TABLE_KINDS:
        toml.wrong(f"{path}.kind", kind, "not a kind of table", f"write one of {', '.join((*TABLE_KINDS, IGNORE))}")
        return None
    columns, units, out = (_table(toml, entry, name, f"{path}.") for name in ("columns", "units", "leave_out"))
    known = Names(f.name for f in FIELDS[kind])
    for name in (*columns, *units):
        if field_of(kind, name) is None:
            toml.wrong(f"{path}.columns.{name}", name, f"not a column of {kind}",
                       known.suggest(name, f"known are {', '.join(known.known)}"))
        elif columns.get(name) == LEFT_OPEN:
            toml.wrong(f"{path}.columns.{name}", LEFT_OPEN, "left open", f"write the header that has the {name}, or "
                       "take the key out and map another column of the same use")
    for name, unit in units.items():
        found = field_of(kind, name)
        if found is not None and (not found[0].measure or factor(found[0].measure, str(unit)) is None):
            toml.wrong(f"{path}.units.{name}", unit, "not a unit of this column",
                       "write one of ft, m, km, mi, A, kA, min, h, kW, MW, kVA, MVA that fits it")
    ignore, decimal = entry.get("ignore"), str(entry.get("decimal", ""))
    if decimal not in ("", ".", ","):
        toml.wrong(f"{path}.decimal", decimal, "not a decimal sign", 'write "." or ","')
    return FileRule(str(entry["file"]), kind, str(entry.get("table", "")),
                    {name: _strings(theirs) for name, theirs in columns.items()},
                    {name: str(unit) for name, unit in units.items()},
                    {name: _strings(words) for name, words in out.items()},
                    None if ignore is None else _strings(ignore), decimal)


def _values(toml: Toml, data: Mapping[str, Any]) -> dict[str, dict[str, dict[str, Meaning]]]:
    values: dict[str, dict[str, dict[str, Meaning]]] = {}
    for kind, columns in data.items():
        if kind not in TABLE_KINDS or not isinstance(columns, dict):
            toml.wrong(f"values.{kind}", kind, "not a kind of table", f"write one of {', '.join(TABLE_KINDS)}")
            continue
        for column, words in columns.items():
            found = field_of(kind, column)
            if found is None or not isinstance(words, dict):
                toml.wrong(f"values.{kind}.{column}", column, f"not a column of {kind} whose words are translated",
                           Names(f.name for f in FIELDS[kind] if f.word).suggest(column, "name one of ours"))
                continue
            of = found[0]
            meanings = {str(word): as_meaning(of, stated) for word, stated in words.items()}
            for word, meaning in meanings.items():
                for name, text in meaning.values.items():
                    _meaning(toml, kind, f"values.{kind}.{column}.{word}", name, text)
            values.setdefault(kind, {})[of.name] = meanings
    return values


def _meaning(toml: Toml, kind: str, path: str, name: str, text: str) -> None:
    """A word may mean only what our column can hold."""
    found = field_of(kind, name)
    if text == LEFT_OPEN:
        choices = () if found is None else found[0].column.choices
        toml.wrong(path, text, "left open", f"write what this word means: {', '.join((*choices, LEAVE_OUT))}, or a "
                   "blank for nothing")
        return
    if found is None:
        toml.wrong(path, name, f"not a column of {kind}",
                   Names(f.name for f in FIELDS[kind]).suggest(name, "name one of ours"))
        return
    if text and found[0].column.kind != "text":
        (number,), unreadable = parse_numbers([text])
        if unreadable or number < (found[0].column.low or 0.0):
            toml.wrong(path, text, "not a number that this column may have",
                       "write one from 0 up, or a blank where it is not known")
    choices = ("1", "2", "3", "ABC") if name == "phases" else found[0].column.choices
    if found[0].word and choices and text and known_meaning(found[0], text) is None:
        toml.wrong(path, text, f"not a value of {name}",
                   Names(choices).suggest(text, f"write one of {', '.join(choices)}"))


def _document(recipe: Recipe) -> tomlkit.TOMLDocument:
    document = tomlkit.document()
    document["version"] = VERSION
    _put(document, "join", {"tolerance_m": recipe.tolerance_m, "reach_m": recipe.reach_m,
                            "coordinate_system": recipe.coordinate_system})
    _put(document, "time", {"order": recipe.date_order, "clock": recipe.clock, "zone": recipe.time_zone,
                              "century": recipe.century})
    if recipe.files:
        files = tomlkit.aot()
        for rule in recipe.files:
            files.append(_file_entry(rule))
        document["files"] = files
    values = {kind: {column: {word: as_stated(_field(kind, column), meaning) for word, meaning in words.items()}
                     for column, words in columns.items() if words} for kind, columns in recipe.values.items()}
    values = {kind: columns for kind, columns in values.items() if columns}
    if values:
        document["values"] = _tables(values, 2)
    _put(document, "network", {"sources": {n: f[0] if len(f) == 1 else list(f) for n, f in recipe.sources.items()},
                               "open": list(recipe.open), "place": dict(recipe.place), "ties": dict(recipe.ties),
                               "fault_resistance_ohm": recipe.fault_resistance_ohm or None})
    _put(document, "outages", {"cumulative_steps": recipe.cumulative_steps or None})
    _put(document, "questions", dict(recipe.questions))
    if recipe.study:
        document["study"] = _tables(recipe.study, 1)
    return document


def _field(kind: str, column: str) -> Any:
    found = field_of(kind, column)
    if found is None:
        raise ValueError(f"{column} is no column of {kind}")
    return found[0]


def _file_entry(rule: FileRule) -> tomlkit.items.Table:
    entry = tomlkit.table()
    entry["file"] = rule.file
    if rule.table:
        entry["table"] = rule.table
    entry["kind"] = rule.kind
    for key, mapping in (("columns", {k: v[0] if len(v) == 1 else list(v) for k, v in rule.columns.items()}),
                         ("units", dict(rule.units)), ("leave_out", {k: list(v) for k, v in rule.leave_out.items()})):
        if mapping:
            entry[key] = _inline(mapping)
    if rule.decimal:
        entry["decimal"] = rule.decimal
    if rule.ignore is not None:
        entry["ignore"] = list(rule.ignore)
    return entry


def _put(document: tomlkit.TOMLDocument, name: str, values: Mapping[str, Any]) -> None:
    kept = {k: _inline(v) if isinstance(v, dict) else v for k, v in values.items() if v not in (None, "", {}, [])}
    if kept:
        table = tomlkit.table()
        table.update(kept)
        document[name] = table


def _tables(values: Mapping[str, Any], deep: int) -> tomlkit.items.Table:
    """Tables in tables, those below the depth `deep` on one line."""
    table = tomlkit.table(is_super_table=deep > 1)
    for key, value in values.items():
        table[key] = (_tables(value, deep - 1) if deep else _inline(value)) if isinstance(value, Mapping) else value
    return table


def _inline(values: Mapping[str, Any]) -> tomlkit.items.InlineTable:
    table = tomlkit.inline_table()
    table.update({k: _inline(v) if isinstance(v, Mapping) else v for k, v in values.items()})
    return table
