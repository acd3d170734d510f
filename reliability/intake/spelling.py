"""Names of places that one table spells otherwise than the network: taken for those where one alone can be meant."""

from __future__ import annotations

from collections.abc import Collection, Iterable

import pandas as pd

from reliability.intake.findings import AMBER, Findings
from reliability.intake.spans import Spans
from reliability.intake.words import word_key

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
            meant = _meant(set(rows[column].tolist()) - known - {""}, known)
            changed += [f"{name} for {ours}" for name, ours in meant.items()]
            rows[column] = rows[column].replace(meant) if meant else rows[column]
    findings.add("rows", f"spelling_{of}", f"Names of places in the {of} that differ from the network's in case, "
                 "spaces or punctuation: taken for those", AMBER, dict.fromkeys(changed), "name")
    return rows


def _meant(names: Iterable[str], known: Collection[str]) -> dict[str, str]:
    """Name → the known one of the same letters and digits, where there is one only."""
    wanted = {name: word_key(name) for name in names}
    keys = set(wanted.values())
    spelt: dict[str, list[str]] = {}
    for name in sorted(known) if wanted else ():
        if (key := word_key(name)) in keys:
            spelt.setdefault(key, []).append(name)
    return {name: spelt[key][0] for name, key in wanted.items() if key and len(spelt.get(key, ())) == 1}
