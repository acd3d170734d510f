"""Customers, load and transformers placed on sections; what cannot be placed is counted and not in N."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from reliability.intake.device_rows import pole_places
from reliability.intake.findings import AMBER, CUSTOMER, Findings, state_of_lost
from reliability.intake.kinds import SUMMED_COLUMNS
from reliability.intake.placing import Tree
from reliability.intake.spans import Spans
from reliability.intake.spelling import taken_for
from reliability.intake.units import HOURS_A_YEAR
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.study.records import CLASSES


@dataclass
class SectionLoads:
    """What hangs on the sections.

    sums: SUMMED_COLUMNS, (sections,) each, NaN where nothing is stated. rows, placed_rows, customers, placed_customers:
    totals in and placed. section_of: transformer's or meter's name → section, −1 where it is not placed.
    """

    sums: pd.DataFrame
    rows: int = 0
    placed_rows: int = 0
    customers: float = 0.0
    placed_customers: float = 0.0
    connected_kva: float = 0.0
    section_of: dict[str, int] = field(default_factory=dict)


def section_lookup(spans: Spans, tree: Tree) -> dict[str, int]:
    """Segment's name → section, −1 where it is not fed; a segment that was cut stands for its first piece."""
    at = np.flatnonzero(~spans.inserted)
    lookup = dict(zip(spans.ids[at].tolist(), tree.of_span[at].tolist(), strict=True))
    cut = at[spans.piece[at] > 0]
    # sections are numbered outwards from the source: the lowest number of a segment's pieces is its first
    numbers = pd.Series(np.where(tree.of_span[cut] < 0, len(tree), tree.of_span[cut])).groupby(spans.whole[cut]).min()
    lookup |= {str(name): int(k) if k < len(tree) else -1 for name, k in numbers.items()}
    return {name: lookup[str(spans.whole[s])] if spans.piece[s] else int(tree.of_span[s])
            for name, s in spans.alias.items()} | lookup


def node_sections(tree: Tree) -> np.ndarray:
    """(nodes,) section whose customers stand at each node: the one that ends there; at a source the first that
    begins."""
    node = tree.node.copy()
    roots = np.flatnonzero(tree.parent < 0)[::-1]
    at = tree.source[roots]
    fresh = node[at] < 0
    node[at[fresh]] = roots[fresh]
    return node


def place_customers(rows: pd.DataFrame, spans: Spans, tree: Tree, findings: Findings) -> SectionLoads:
    """Customers of rows of their own and of the segments' rows, added up by section."""
    rows = rows.reset_index(drop=True)
    place = _places(rows, spans, tree, findings)
    names = rows["transformer_id"].where(rows["transformer_id"] != "", rows["customer_id"]).to_numpy(object)
    numbers = _numbers(rows)
    own = _segment_rows(spans)
    section = np.concatenate([place, _at_source(own, spans, tree)])
    table = pd.concat([numbers, spans.frame.iloc[own][list(SUMMED_COLUMNS)]], ignore_index=True)
    table = _with_classes(table)
    served = SectionLoads(pd.DataFrame(index=range(len(tree))))
    for name in SUMMED_COLUMNS:
        column = table[name].to_numpy(float)
        given = ~np.isnan(column) & (section >= 0)
        total = np.full(len(tree), np.nan)
        total[np.unique(section[given])] = 0.0
        np.add.at(total, section[given], column[given])
        served.sums[name] = total
    customers = np.nan_to_num(table["customers"].to_numpy(float))
    served.rows, served.placed_rows = len(table), int((section >= 0).sum())
    served.customers, served.placed_customers = float(customers.sum()), float(customers[section >= 0].sum())
    served.connected_kva = float(np.nansum(table["connected_kva"].to_numpy(float)))
    lost = np.flatnonzero(section < 0)
    where = np.concatenate([rows["row"].to_numpy(int), spans.frame["row"].to_numpy(int)[own]])
    every = np.concatenate([names, spans.ids[own]])
    names_lost = [str(n) or f"row {r}" for n, r in zip(every[lost], where[lost], strict=True)]
    findings.add("customers", "customers_not_placed", "Customer rows whose place is not energised or not in the "
                 "network: not in N", state_of_lost(float(customers[lost].sum()), served.customers), names_lost,
                 CUSTOMER, customers=float(customers[lost].sum()))
    _note_rows(rows, numbers, names, findings)
    _note_places(place, names, findings)
    meters = rows.drop_duplicates(["customer_id", "transformer_id", "segment_id", "node_id", "pole_id"])["customer_id"]
    findings.add("customers", "meter_twice", "Meters listed at several places: each row is counted", AMBER,
                 meters[(meters != "") & meters.duplicated()], CUSTOMER)
    served.section_of = dict(zip(names[::-1].tolist(), place[::-1].tolist(), strict=True))
    return served


def _note_rows(rows: pd.DataFrame, numbers: pd.DataFrame, names: np.ndarray, findings: Findings) -> None:
    """List rows that repeat another, and those that say how many customers they have neither by number nor by meters
    that hang on them."""
    hung = _hung(rows)
    metered = np.isin(names.astype(str), rows["transformer_id"][hung].to_numpy(str))
    bare = numbers["customers"].isna().to_numpy() & ~hung & ~metered
    findings.add("customers", "customers_not_stated", "Rows that do not say how many customers they have: taken as 0",
                 AMBER, [str(names[k]) or f"row {rows['row'].iloc[k]}" for k in np.flatnonzero(bare)], CUSTOMER)
    again = rows.drop(columns=["file", "row"]).duplicated().to_numpy(bool) & (names != "")
    findings.add("customers", "customers_repeated", "Rows of customers that repeat another row: both are counted",
                 AMBER, names[again], CUSTOMER)


def _note_places(place: np.ndarray, names: np.ndarray, findings: Findings) -> None:
    """List names that stand at several places. place: (rows,) section of each row."""
    table = pd.DataFrame({"name": names.astype(str), "place": place})
    table = table[(table["name"] != "") & (table["place"] >= 0)]
    several = table.groupby("name", sort=False)["place"].nunique()
    findings.add("customers", "customers_at_several_places", "One transformer or meter at several places: each "
                 "row is counted where it stands, outages that name one are placed at its first", AMBER,
                 several.index[several > 1], CUSTOMER)


def _segment_rows(spans: Spans) -> np.ndarray:
    """Spans whose own row brings customers or load, once where the segment was cut."""
    some = spans.frame[list(SUMMED_COLUMNS)].notna().any(axis=1).to_numpy() & (spans.piece <= 1)
    return np.flatnonzero(some)


def _at_source(own: np.ndarray, spans: Spans, tree: Tree) -> np.ndarray:
    """Section of the customers in the rows of some spans: of one that was cut, its piece nearest the source."""
    section = tree.of_span[own].copy()
    cut = np.flatnonzero(spans.piece[own] > 0)
    if cut.size:
        lookup = section_lookup(spans, tree)
        section[cut] = [lookup[str(name)] for name in spans.whole[own[cut]].tolist()]
    return section


def _places(rows: pd.DataFrame, spans: Spans, tree: Tree, findings: Findings) -> np.ndarray:
    """Section of each row, −1 for none: by segment, node, pole, or the transformer that another row places."""
    lookup = section_lookup(spans, tree)
    segments, nodes, poles = (rows[c].to_numpy(object) for c in ("segment_id", "node_id", "pole_id"))
    place = np.array([lookup.get(s, -1) if s else -1 for s in segments.tolist()], int).reshape(len(rows))
    if "exact" in rows:         # points: on the piece on which they stand, whichever of a segment's is its first
        line = np.flatnonzero(~spans.inserted)
        own = dict(zip(spans.ids[line].tolist(), tree.of_span[line].tolist(), strict=True))
        for k in np.flatnonzero(rows["exact"].to_numpy(bool)).tolist():
            place[k] = own.get(segments[k], place[k])
    at_node = node_sections(tree)
    by_node = (place < 0) & (nodes != "") & (segments == "")
    if by_node.any():
        code = spans.nodes.get_indexer(pd.Index(nodes[by_node], dtype=object))
        place[by_node] = np.where(code >= 0, at_node[code], -1)
    by_loop = (place < 0) & (segments != "")
    if by_loop.any():
        loops = np.flatnonzero(spans.ends[:, 0] == spans.ends[:, 1])
        of_loop = dict(zip(spans.ids[loops].tolist(), at_node[spans.ends[loops, 0]].tolist(), strict=True))
        place[by_loop] = [of_loop.get(s, -1) for s in segments[by_loop].tolist()]
    by_pole = (place < 0) & (poles != "") & (segments == "") & (nodes == "")
    if by_pole.any():
        on_span, pole_node = pole_places(spans)
        place[by_pole] = [int(at_node[pole_node[p]]) if p in pole_node else
                          int(tree.of_span[on_span[p]]) if p in on_span else -1 for p in poles[by_pole].tolist()]
    hung = _hung(rows)
    if hung.any():
        transformers = rows["transformer_id"].to_numpy(object)
        of = dict(zip(transformers[~hung].tolist(), place[~hung].tolist(), strict=True))
        spelt = taken_for(set(transformers[hung].tolist()) - set(of), of)
        place[hung] = [of.get(t, spelt.get(t, -1)) for t in transformers[hung].tolist()]
        findings.add("customers", "spelling_transformers", "Transformers that meters spell otherwise than their own "
                     "table, in case, spaces, punctuation or zeros of a number: taken for those", AMBER, spelt,
                     CUSTOMER)
    return place


def _hung(rows: pd.DataFrame) -> np.ndarray:
    """Rows that name a transformer and no place of their own."""
    bare = np.ones(len(rows), bool)
    for c in ("segment_id", "node_id", "pole_id"):
        bare &= (rows[c] == "").to_numpy(bool)
    return bare & (rows["transformer_id"] != "").to_numpy(bool)


def _numbers(rows: pd.DataFrame) -> pd.DataFrame:
    """SUMMED_COLUMNS of the rows: a meter counts 1, energy becomes load, a class word says whose customers they are."""
    numbers = rows[list(SUMMED_COLUMNS)].copy()
    summed = numbers[list(CLASSES)].sum(axis=1, min_count=1)
    numbers["customers"] = numbers["customers"].fillna(summed)
    meter = (rows["customer_id"] != "").to_numpy(bool) & numbers["customers"].isna().to_numpy()
    hung = _hung(rows)
    numbers.loc[meter | (hung & numbers["customers"].isna().to_numpy()), "customers"] = 1.0
    kw = numbers["load_kw"].to_numpy(float)
    numbers["load_kw"] = np.where(np.isnan(kw), rows["energy_kwh"].to_numpy(float) / HOURS_A_YEAR, kw)
    _not_twice(rows, numbers, hung)
    word = rows["customer_class"].to_numpy(object)
    blank = numbers[list(CLASSES)].isna().all(axis=1).to_numpy()
    for name, wanted in zip(CLASSES, CUSTOMER_CLASSES, strict=True):
        at = blank & (word == wanted)
        numbers.loc[at, name] = numbers.loc[at, "customers"]
    return numbers


def _not_twice(rows: pd.DataFrame, numbers: pd.DataFrame, hung: np.ndarray) -> None:
    """Of meters on a transformer that states its customers, or its load, these are not counted again."""
    if not hung.any() or hung.all():
        return
    transformers = rows["transformer_id"].to_numpy(object)
    for names in (["customers", *CLASSES], *([name] for name in SUMMED_COLUMNS if not name.startswith("customers"))):
        counted = set(transformers[~hung & (numbers[names[0]] > 0).to_numpy()].tolist())
        numbers.loc[hung & np.isin(transformers.astype(str), list(counted)), names] = np.nan


def _with_classes(table: pd.DataFrame) -> pd.DataFrame:
    """Where any row states classes, those that state none are residential, so that classes sum to customers."""
    if table[list(CLASSES)].isna().all(axis=None):
        return table
    blank = table[list(CLASSES)].isna().all(axis=1) & table["customers"].notna()
    table.loc[blank, CLASSES[0]] = table.loc[blank, "customers"]
    return table

