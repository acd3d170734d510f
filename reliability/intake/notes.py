"""What exports brought and the import does not use, and what it read as something else: a line each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reliability.intake.recipe_names import idle_entries
from reliability.study.header_names import exact_name

if TYPE_CHECKING:
    from reliability.intake.importing import Prepared
    from reliability.intake.recognise import Recognised


_SHOWN = 5      # of each kind of thing, in a line


def unused_headers(one: Recognised) -> list[str]:
    """Headers of a table that stand for nothing, and that no recipe names to be ignored or to leave out rows by."""
    rule = one.rule
    known = set() if rule is None else {exact_name(h) for h in (*(rule.ignore or ()), *rule.leave_out)}
    open_ = {d.column for d in one.decisions}
    return [h for h in one.unused if exact_name(h) not in known and h not in open_]


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
    lines += [f"{table}: {what}: {', '.join(which[:_SHOWN])}" + (
        f" and {len(which) - _SHOWN} more" if len(which) > _SHOWN else "")
        for (table, what), which in prepared.typed.read_as.items()]
    lines += idle_entries(prepared.recipe, found)
    return [f"{line}." for line in dict.fromkeys(lines)]
