"""Names of sections: that of the first segment; what stands where, by every name that the exports use."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.intake.customers import SectionLoads, section_lookup
from reliability.intake.device_rows import pole_places
from reliability.intake.merging import Runs
from reliability.intake.placing import ON_LINE, Tree
from reliability.intake.spans import Spans


@dataclass(frozen=True)
class Named:
    """Names. base: (n,) section_id that each section of the tree has become part of. ids: (runs,) section_id of
    each."""

    base: np.ndarray
    ids: np.ndarray


def name_sections(tree: Tree, spans: Spans, runs: Runs) -> Named:
    """A name for each run, all of them different."""
    heads = runs.head
    line = tree.why[heads] == ON_LINE
    names = np.where(line, spans.whole[np.maximum(tree.span[heads], 0)], "")
    taken = dict.fromkeys(names[line].tolist(), 1)
    seen: set[str] = set()
    result = names.tolist()
    for k in np.flatnonzero(line) if spans.piece.any() or len(taken) < int(line.sum()) else ():
        result[k] = _different(result[k], seen, ())
    for k in np.flatnonzero(~line):
        section = int(heads[k])
        on = tree.span[section]
        name = tree.names.get(section) or f"{spans.ids[on] if on >= 0 else 'node'} {tree.kinds[section]}"
        result[k] = _different(name, seen, taken)
    ids = np.array(result, dtype=object)
    return Named(ids[runs.run], ids)


def _different(name: str, seen: set[str], taken: dict[str, int] | tuple[()]) -> str:
    result, number = name, 1
    while result in seen or result in taken:
        number += 1
        result = f"{name} ({number})"
    seen.add(result)
    return result


def segment_sections(tree: Tree, spans: Spans, runs: Runs, named: Named, up: np.ndarray) -> pd.DataFrame:
    """segment_id, section_id, order (from 0 at the source), reversed, of every fed segment."""
    line = np.flatnonzero((tree.why == ON_LINE) & ~spans.inserted[np.maximum(tree.span, 0)])
    span = tree.span[line]
    frame = pd.DataFrame({"segment_id": spans.whole[span], "section_id": named.base[line], "order": runs.order[line],
                          "reversed": up[span] != spans.ends[span, 0]})
    if spans.alias:
        pieces = pd.Series(range(len(span))).groupby(spans.whole[span]).agg(list).to_dict()
        at = {int(s): pieces[spans.whole[s]] if spans.piece[s] else [k] for k, s in enumerate(span)}
        rows = [(name, *frame.iloc[k, 1:]) for name, s in spans.alias.items() for k in at.get(s, [])]
        frame = pd.concat([frame, pd.DataFrame(rows, columns=frame.columns)], ignore_index=True)
    return frame.sort_values(["section_id", "order"], kind="stable").reset_index(drop=True)


def places(tree: Tree, spans: Spans, served: SectionLoads, named: Named) -> pd.DataFrame:
    """kind, name, section_id of every device, transformer and pole of the exports that has a section."""
    on_span, at_node = pole_places(spans)
    poles = {p: int(tree.of_span[s]) for p, s in on_span.items()} | {p: int(tree.node[n]) for p, n in at_node.items()}
    parts = []
    for kind, section_of in (("device", tree.device_at), ("transformer", served.section_of), ("pole", poles)):
        names = np.array(list(section_of), dtype=object)
        at = np.array(list(section_of.values()), int).reshape(len(names))
        some = (at >= 0) & (names != "")
        parts.append(pd.DataFrame({"kind": kind, "name": names[some], "section_id": named.base[at[some]]}))
    return pd.concat(parts, ignore_index=True)


def section_names(tree: Tree, spans: Spans, named: Named) -> dict[str, str]:
    """Name of a segment or device in the exports → section_id; a segment goes before a device of the same name."""
    segments = {n: str(named.base[s]) for n, s in section_lookup(spans, tree).items() if s >= 0}
    return {n: str(named.base[s]) for n, s in tree.device_at.items() if n} | segments
