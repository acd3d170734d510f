"""What exports brought and the import does not use, and what it read as something else: a line each."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reliability.intake.recipe_names import idle_entries
from reliability.intake.recognise import looks_like
from reliability.study.header_names import exact_name

if TYPE_CHECKING:
    from reliability.intake.importing import Prepared
    from reliability.intake.recognise import Recognised


_NUMBER = re.compile(r"[-+]?\d[\d.,]*")
_SHOWN = 5      # of each kind of thing, in a line


def unused_headers(one: Recognised) -> list[str]:
    """Headers of a table that stand for nothing, and that no recipe names to be ignored or to leave out rows by."""
    rule = one.rule
    known = set() if rule is None else {exact_name(h) for h in (*(rule.ignore or ()), *rule.leave_out)}
    open_ = {d.column for d in one.decisions}
    return [h for h in one.unused if exact_name(h) not in known and h not in open_]


@dataclass(frozen=True)
class Unlisted:
    """Headers of a table that a recipe neither maps nor ignores, each with the column of ours that it looks like, ""
    for none, and the header that stands for this already."""

    table: str
    headers: tuple[tuple[str, str, str], ...]

    def __str__(self) -> str:
        return f"{self.table}: " + ", ".join(
            f"{h} (looks like {name}, for which {other} stands)" if name else h for h, name, other in self.headers)


def unlisted(prepared: Prepared) -> list[Unlisted]:
    """What a recipe that lists no ignored columns leaves unused, table by table, in one list."""
    found = []
    for one in prepared.recognised:
        if one.kind and one.rule is not None and one.rule.ignore is None and (headers := unused_headers(one)):
            found.append(Unlisted(one.table.name, tuple((h, *_like(one, h)) for h in headers)))
    return found


def _like(one: Recognised, header: str) -> tuple[str, str]:
    """The column of ours that a header probably stands for, and the header that stands for it now."""
    name = looks_like(one.kind, header)
    match = one.match(name)
    return (name, " + ".join(match.headers)) if match is not None else ("", "")


def notes(prepared: Prepared) -> list[str]:
    """A line for each file that is not read, table of no kind, table with headers that stand for nothing, and for what
    the reader of a file had to say."""
    found = prepared.recognised
    lines = [f"{name}: not read" for name in prepared.exports.ignored]
    lines += [note.rstrip(".") for one in found for note in one.table.notes]
    lines += [f"{one.table.name}: of no kind, so not used (headers: {', '.join(one.table.columns)})"
              for one in found if not one.kind and one.rule is None]
    lines += [f"{one.table.name}: headers that stand for nothing, so not used: {', '.join(unused)}"
              for one in found if one.kind and (unused := unused_headers(one))]
    lines += [f"{one.table.name}: a number among the headers ({', '.join(numbers)}), as where the row of headers is "
              "missing"
              for one in found if one.kind and (numbers := [h for h in unused_headers(one) if _NUMBER.fullmatch(h)])]
    lines += [f"{table}: {what}: {', '.join(which[:_SHOWN])}" + (
        f" and {len(which) - _SHOWN} more" if len(which) > _SHOWN else "")
        for (table, what), which in prepared.typed.read_as.items()]
    lines += idle_entries(prepared.recipe, found)
    return [f"{line}." for line in dict.fromkeys(lines)]
