"""Columns whose headers say nothing and whose cells are names of another table: where a row stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reliability.intake.contents import id_found
from reliability.intake.decisions import COLUMN, Decision
from reliability.intake.kinds import CUSTOMERS, DEVICE_ROWS, IDS, OUTAGE_ROWS, PLACE_COLUMNS, REQUIRED, SEGMENTS
from reliability.intake.recognise import Match, Recognised
from reliability.intake.words import word_key
from reliability.study.header_names import exact_name

SHARE_OF_NAMES = 0.8     # of a column's names that another table must have for it to be a place (our choice)
# Column of a kind → the tables and columns whose names it may hold, the surest first.
_HELD: dict[str, tuple[tuple[str, str, tuple[str, ...]], ...]] = {
    DEVICE_ROWS: (("segment_id", SEGMENTS, ("segment_id",)), ("node_id", SEGMENTS, ("from_node", "to_node"))),
    CUSTOMERS: (("segment_id", SEGMENTS, ("segment_id",)), ("node_id", SEGMENTS, ("from_node", "to_node"))),
    OUTAGE_ROWS: (("device_id", DEVICE_ROWS, ("device_id",)), ("segment_id", SEGMENTS, ("segment_id",)),
                  ("transformer_id", CUSTOMERS, ("transformer_id",))),
}
_OWN = {**IDS, CUSTOMERS: "transformer_id"}


def places_by_cells(found: Sequence[Recognised]) -> list[Recognised]:
    """Tables with a guess at the column that says where their rows stand, then at their id, where no header does."""
    found = list(found)
    for kind in _HELD:          # devices before the outages that name them
        found = [_placed(one, found) if one.kind == kind else one for one in found]
    return found


def _placed(one: Recognised, found: Sequence[Recognised]) -> Recognised:
    have = {m.name for m in one.matches} | {d.suggestion for d in one.decisions if d.step == COLUMN}
    places = {CUSTOMERS: PLACE_COLUMNS - {_OWN[CUSTOMERS]},
              OUTAGE_ROWS: PLACE_COLUMNS | {"device_id"}}.get(one.kind, PLACE_COLUMNS)
    known = set() if one.rule is None else {exact_name(h) for h in (*(one.rule.ignore or ()), *one.rule.leave_out)}
    used = {h for m in one.matches for h in m.headers} | {d.column for d in one.decisions if d.step == COLUMN}
    free = [h for h in one.unused if h not in used and exact_name(h) not in known]
    if not have & places and one.table.shapes is None:
        for name, kind, columns in _HELD[one.kind]:
            header = _holding(one, free, _names(found, kind, columns))
            if header:
                one, have = _with(one, header, name), have | {name}
                free.remove(header)
                break
    own = _OWN.get(one.kind, "")
    if own and not have & {own, "customer_id"} and (header := id_found(free, one.table.columns)):
        one = _with(one, header, own)
    return one


def _names(found: Sequence[Recognised], kind: str, columns: Sequence[str]) -> set[str]:
    """Names in some columns of all tables of a kind, as `word_key` has them."""
    headers = [(one, h) for one in found if one.kind == kind for h in (
        *(m.headers[0] for m in one.matches if m.name in columns),
        *(d.column for d in one.decisions if d.step == COLUMN and d.suggestion in columns))]
    return {word_key(str(name)) for one, h in headers for name in set(one.table.columns[h].tolist()) if name}


def _holding(one: Recognised, headers: Sequence[str], names: set[str]) -> str:
    """The first header nearly all of whose cells with text are among some names, "" for none."""
    for header in headers:
        given = [str(c) for c in one.table.columns[header].tolist() if c]
        keys = {text: word_key(text) in names for text in set(given)}
        if names and len(keys) > 1 and np.mean([keys[text] for text in given]) >= SHARE_OF_NAMES:
            return header
    return ""


def _with(one: Recognised, header: str, name: str) -> Recognised:
    """The table with a guess more: as what it has without a recipe, as a suggestion under one."""
    groups = {" or ".join(group) for group in REQUIRED[one.kind] if name in group}
    rest = tuple(d for d in one.decisions if not (d.missing and d.value in groups))
    why = "what this column stands for is open" if one.rule is None else "a column that the recipe does not know"
    asked = Decision(COLUMN, one.table.name, header, header, why, name, kind=one.kind)
    if one.rule is not None:
        return replace(one, decisions=(*rest, asked))
    return replace(one, matches=(*one.matches, Match((header,), name, True)), decisions=(*rest, asked),
                   unused=tuple(h for h in one.unused if h != header))
