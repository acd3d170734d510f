"""The demo's lines as a geographic system has them: spans between nodes, in feet, drawn either way."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

FEET_PER_KM = 1000.0 / 0.3048     # of the international foot
SPAN_KM, MOST_SPANS = 0.45, 4     # a section has about one span for each SPAN_KM
TURNED = 0.4                      # share of spans that are drawn towards the source
CONDUCTORS = {"main": "336.4 ACSR 26/7", "lateral": "1/0 ACSR 6/1", "end": "#4 ACSR 6/1", "cable": "1/0 AL URD"}
# Theirs → ours, of what every span of a section repeats, and of what its first and its last alone have.
EVERY = {"LINE_FAULTS_KM": "line_fault_rate_per_km", "TEMP_SHARE": "temporary_fraction", "REPAIR_H": "repair_hours",
         "OP_AREA": "area", "FEEDER": "feeder_id"}
FIRST = {"PEAK_A": "peak_load_a", "LOCATION": "location", "GEN_KW": "generation_kw", "CAP_KVAR": "capacitor_kvar"}


@dataclass(frozen=True)
class Lines:
    """spans: properties of each, `line` its points in metres. of_section: their ids, from the source on. node: at the
    far end of each section, and "AREA" of each station. letters: phases of each section."""

    spans: list[dict]
    of_section: dict[str, list[str]]
    node: dict[str, str]
    letters: dict[str, str]


def segments(rng: np.random.Generator, rows: list[dict], lines: dict[str, np.ndarray]) -> Lines:
    """Spans of all sections, in an order that tells nothing. rows: parents first. lines: (p, 2) of each section."""
    letters, node, of_section = phase_letters(rng, rows), {}, {}
    pieces = {row["section_id"]: int(rng.integers(1, min(MOST_SPANS, 1 + int(row["length_km"] / SPAN_KM)) + 1))
              for row in rows}
    count = sum(pieces.values())
    span_names = iter(f"P{k:05d}" for k in rng.permutation(count) + 1)
    node_names = iter(f"N{k:05d}" for k in rng.permutation(count + len(rows)) + 1)
    spans: list[dict] = []
    for row in rows:
        name, k = row["section_id"], pieces[row["section_id"]]
        if not row["parent_id"]:
            node.setdefault(row["area"], next(node_names))
        nodes = [node[row["parent_id"] or row["area"]], *(next(node_names) for _ in range(k))]
        node[name] = nodes[-1]
        made = _spans(rng, row, k, lines[name], letters[name])
        for i, span in enumerate(made):
            span |= {"SEG_ID": next(span_names), "FROM_NODE": nodes[i], "TO_NODE": nodes[i + 1]}
        of_section[name] = [span["SEG_ID"] for span in made]
        spans += [_turned(span) if rng.random() < TURNED else span for span in made]
    return Lines([spans[k] for k in rng.permutation(len(spans))], of_section, node, letters)


def phase_letters(rng: np.random.Generator, rows: list[dict]) -> dict[str, str]:
    """The phases of each section, some of those of its parent."""
    found: dict[str, str] = {}
    for row in rows:
        above = found.get(row["parent_id"], "ABC")
        chosen = sorted(rng.choice(list(above), row["phases"], replace=False)) if len(above) > row["phases"] else above
        found[row["section_id"]] = "".join(chosen)
    return found


def _spans(rng: np.random.Generator, row: dict, k: int, line: np.ndarray, letters: str) -> list[dict]:
    """Spans of one section from its source end on, without ids."""
    cuts = ((np.arange(1, k) + rng.uniform(-0.35, 0.35, k - 1)) / k).round(3).tolist()
    shares = [0.0, *cuts, 1.0]
    whole = row["length_km"] * FEET_PER_KM
    feet = [round(whole * (b - a), 2) for a, b in pairwise(shares)]
    feet[-1] = round(whole - sum(feet[:-1]), 8)
    currents = [_current(row, share) for share in shares]
    kind = ("cable" if row.get("construction") else "main" if "-M" in row["section_id"] else
            "lateral" if row["device"] and "s" not in row["section_id"] else "end")
    spans = []
    for i in range(k):
        span = {"LENGTH_FT": feet[i], "PHASING": letters, "CONDUCTOR": CONDUCTORS[kind],
                "CONSTR": "UG" if row.get("construction") else "OH", "IF_FROM": currents[i], "IF_TO": currents[i + 1],
                "line": part_of(line, shares[i], shares[i + 1])}
        span |= {theirs: row.get(ours, "") for theirs, ours in EVERY.items()}
        if i == 0:
            span |= {theirs: row.get(ours, "") for theirs, ours in FIRST.items() if row.get(ours)}
            if row["device"] == "fuse":
                span |= {"PROT": f"FUSE-{row['fuse_link']}" if row.get("fuse_link") else "FUSE",
                         "DEV_NO": row["device_id"]}
        if i == k - 1:
            span["TIE_SHARE"] = row.get("tie_probability", "")
        spans.append(span)
    return spans


def _current(row: dict, share: float) -> float | str:
    """Fault current at a share of the length: 1/I changes evenly from end to end."""
    ends = row["fault_current_source_a"], row["fault_current_end_a"]
    if "" in ends:
        return ""
    if share in (0.0, 1.0):
        return ends[int(share)]
    return round(1.0 / ((1.0 - share) / ends[0] + share / ends[1]), 1)


def part_of(line: np.ndarray, begin: float, end: float) -> np.ndarray:
    """The points of a line of equal pieces between two shares of it, (p, 2)."""
    at = np.linspace(0.0, 1.0, len(line))
    inside = line[(at > begin + 1e-9) & (at < end - 1e-9)]
    ends = [[np.interp(share, at, line[:, axis]) for axis in (0, 1)] for share in (begin, end)]
    return np.concatenate([ends[:1], inside, ends[1:]])


def _turned(span: dict) -> dict:
    """The same span drawn the other way."""
    return span | {"FROM_NODE": span["TO_NODE"], "TO_NODE": span["FROM_NODE"], "IF_FROM": span["IF_TO"],
                   "IF_TO": span["IF_FROM"], "line": span["line"][::-1]}
