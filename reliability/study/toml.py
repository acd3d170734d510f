"""study.toml as a tree of values, with the line of each key so that a problem can name its place."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from reliability.schema.problems import Problem, Problems, StudyError

MOST_TOML_BYTES = 4 * 2**20
MOST_MISTAKES = 20      # lines that are no TOML, after which no more are looked for
_HEADER = re.compile(r"(\[\[?)([^\[\]]+)\]")
_TWICE = re.compile(r"Cannot (overwrite a value|declare \(.*\) twice)")  # how tomllib puts it
_DEFINED_TWICE = "a key or table of this name is already defined above"
_KEY = re.compile(r"""("[^"]*"|'[^']*'|[A-Za-z0-9_\-. ]+)\s*=""")


@dataclass(frozen=True)
class Toml:
    """data: what the file says. lines: dotted path of a key (an entry of a list counted from 1) → its line.

    unread: paths of keys whose lines are no TOML; no other problem of such a key is noted.
    """

    file: str
    data: dict[str, Any]
    lines: dict[str, int] = field(default_factory=dict)
    problems: Problems = field(default_factory=Problems)
    unread: frozenset[str] = frozenset()

    def wrong(self, path: str, value: object, rule: str, remedy: str) -> None:
        """Note a problem of the key at `path`, such as faults.cv or scenarios[2].device."""
        if path not in self.unread:
            self.problems.add(Problem(self.file, rule, remedy, line_of(self.lines, path), path, shown(value)))

    def lost(self, table: str) -> bool:
        """Whether a line of a table, or of a list's entries, is among those that are no TOML."""
        return any(path.startswith((f"{table}.", f"{table}[")) for path in self.unread)


def line_of(lines: Mapping[str, int], path: str) -> int | None:
    """The line of a key or, where it is not plainly written, of the table that holds it; None where neither is."""
    while path:
        if path in lines:
            return lines[path]
        path = path.rpartition(".")[0]
    return None


def read_toml(file: str, content: bytes) -> Toml:
    """Parse, each line that is no TOML by itself set aside and noted as a problem.

    StudyError with what was noted and the first mistake that concerns more than its own line.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        raise StudyError([Problem(file, "the text is not UTF-8", "save it as UTF-8", row)]) from None
    lines, mistakes, rows = text.split("\n"), Problems(), set[int]()
    while True:
        try:
            data, places = tomllib.loads("\n".join(lines)), _lines(text)
            return Toml(file, data, places, mistakes, frozenset(p for p, row in places.items() if row in rows))
        except RecursionError:
            raise StudyError([Problem(file, "lists or tables are nested too deeply", "flatten them")]) from None
        except ValueError as error:
            mistakes.add(problem := _not_toml(file, text, str(error)))
            if problem.row is None or len(mistakes) == MOST_MISTAKES or not _alone(lines[problem.row - 1], problem):
                raise StudyError(mistakes.listed) from None
            rows.add(problem.row)
            lines[problem.row - 1] = ""


def _alone(line: str, problem: Problem) -> bool:
    """Whether a line that stopped the reading is a key with a mistake of its own, so that the next can be read."""
    if not _KEY.match(line.strip()):
        return False
    if problem.rule.endswith(_DEFINED_TWICE):
        return True
    try:
        tomllib.loads(line)
    except (ValueError, RecursionError):
        return True
    return False


def _not_toml(file: str, text: str, message: str) -> Problem:
    """The problem of a text that is no TOML. message: that of tomllib."""
    line = re.search(r"line (\d+)", message)
    row = int(line[1]) if line else text.count("\n") + 1 if "end of document" in message else None
    rule = re.sub(r"\s*\(at .*\)$", "", message.splitlines()[0])
    written = text.split("\n")[row - 1].strip() if row else None
    if not _TWICE.search(rule):
        remedy = ("write key = value: text in quotation marks, numbers with a decimal point and without unit, per cent "
                  "sign or signs between thousands")
    elif written and written.startswith("[["):
        remedy = f"write {written} in two brackets above each of them, the first one too"
    else:
        remedy = "keep one of the two"
    return Problem(file, f"not valid TOML: {_TWICE.sub(_DEFINED_TWICE, rule)}", remedy, row, value=written or None)


def _lines(text: str) -> dict[str, int]:
    """Line of each plainly written key; a key inside an inline table is found under the table's own key."""
    lines: dict[str, int] = {}
    counts: dict[str, int] = {}
    table = ""
    for number, line in enumerate(text.split("\n"), 1):       # as tomllib counts
        line = line.strip()
        if header := _HEADER.match(line):
            table = header[2].replace('"', "").replace("'", "").replace(" ", "")
            if header[1] == "[[":
                counts[table] = counts.get(table, 0) + 1
                table += f"[{counts[table]}]"
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            name = key[1].strip("\"' ")
            lines.setdefault(f"{table}.{name}" if table else name, number)
    return lines


def shown(value: object) -> str:
    """A value as the user may have written it."""
    try:
        return value if isinstance(value, str) else _written(value)
    except (ValueError, RecursionError):  # an integer of too many digits, or too deep a list
        return "…"


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_written, value))}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_written(v)}" for key, v in value.items()) + " }"
    return str(value)
