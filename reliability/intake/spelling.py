"""Names of places that one table spells otherwise than the network: taken for those where one alone can be meant."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Mapping
from typing import TypeVar

import pandas as pd

from reliability.intake.findings import AMBER, Findings
from reliability.intake.spans import Spans
from reliability.intake.words import number_key, word_key

Place = TypeVar("Place", bound=Hashable)
_POLES = ("pole_id", "from_pole", "to_pole", "location")


def respelt(rows: pd.DataFrame, of: str, spans: Spans, findings: Findings) -> pd.DataFrame:
    """Rows with the names of segments, nodes and poles as the network has them; what differs is listed.

    of: what the rows are, for the message.
    """
    segments = {*map(str, spans.ids[~spans.inserted]), *spans.alias}
    nodes = {*map(str, spans.nodes)}
    poles = {str(p) for name in _POLES for p in set(spans.frame[name].tolist()) if p}
    changed: list[str] = []
    rows = rows.copy()
    for column, known in (("segment_id", segments), ("node_id", nodes), ("from_node", nodes), ("to_node", nodes),
                          ("pole_id", poles)):
        if column in rows and known:
            taken = taken_for(set(rows[column].tolist()) - known - {""}, {name: name for name in known})
            changed += [f"{name} for {ours}" for name, ours in taken.items()]
            rows[column] = rows[column].replace(taken) if taken else rows[column]
    findings.add("rows", f"spelling_{of}", f"Names of places in the {of} that differ from the network's in case, "
                 "spaces, punctuation or zeros of a number: taken for those", AMBER, dict.fromkeys(changed), "name")
    return rows


def taken_for(names: Collection[str], places: Mapping[str, Place]) -> dict[str, Place]:
    """Name → the place of what differs from it in case, spaces or punctuation, or else in the zeros of a number."""
    spelt = meant(sorted(names), places, word_key)
    return spelt | meant([name for name in sorted(names) if name not in spelt], places, number_key)


def meant(names: Iterable[str], places: Mapping[str, Place], key_of: Callable[[str], str],
          key_of_known: Callable[[str], str] | None = None) -> dict[str, Place]:
    """Name → the place of the known names with the same key ("" is none), where that is one only.

    places: known name → its place. key_of: of a name, as the letters and digits in it; key_of_known: of a known one.
    """
    wanted = {name: key for name in names if (key := key_of(name))}
    keys = set(wanted.values())
    found: dict[str, set[Place]] = {}
    for known, place in places.items() if wanted else ():
        if (key := (key_of_known or key_of)(known)) in keys:
            found.setdefault(key, set()).add(place)
    return {name: next(iter(found[key])) for name, key in wanted.items() if len(found.get(key, ())) == 1}
