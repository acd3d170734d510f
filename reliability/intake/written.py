"""The tables of the study, as they are written."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from reliability.intake.findings import AMBER, DEVICE, Findings
from reliability.intake.kinds import CURVE_ROWS, OPERATION_ROWS, SETTINGS_ROWS
from reliability.intake.merging import Runs
from reliability.intake.named import Named
from reliability.intake.operation_times import iso_operations
from reliability.intake.outages import Outages
from reliability.intake.placing import Tree
from reliability.intake.recipe import Recipe
from reliability.intake.sections import blank_unknown_links
from reliability.intake.spelling import taken_for
from reliability.intake.typed import Typed
from reliability.schema.columns import SECTIONS
from reliability.schema.devices import DEVICE_TABLE

RECLOSING = tuple(d.name for d in DEVICE_TABLE if d.recloses)
_WHOLE = ("customers", "customers_residential", "customers_small_ci", "customers_large_ci", "customers_three_phase",
          "phases", "counts", "operations_to_lockout", "fast_operations", "faults_observed")


def written_tables(frame: pd.DataFrame, tree: Tree, runs: Runs, named: Named, other: np.ndarray,
                   outages: Outages | None, typed: Typed, section_of: Mapping[str, str], recipe: Recipe,
                   findings: Findings) -> dict[str, pd.DataFrame]:
    """Name of each table → frame. frame: merged columns, a row a run. other: (n,) section on the other side of a
    tie."""
    curves = typed.frame(CURVE_ROWS)
    blank_unknown_links(frame, curves)
    sections = _sections(frame, tree, runs, named, other)
    reclosing = set(sections["section_id"][sections["device"].isin(RECLOSING)])
    tables = {"sections": sections}
    if outages is not None:
        tables["outages"] = _outages(outages, named)
    for name, kind in (("operations", OPERATION_ROWS), ("settings", SETTINGS_ROWS)):
        if kind in typed.frames:
            rows = typed.frame(kind)
            tables[name] = _by_device(iso_operations(rows, recipe) if kind == OPERATION_ROWS else rows, section_of,
                                      reclosing, name, findings)
    if CURVE_ROWS in typed.frames:
        tables["curves"] = curves.drop(columns=["file", "row"])
    return {name: table for name, table in tables.items() if len(table)}


def _sections(frame: pd.DataFrame, tree: Tree, runs: Runs, named: Named, other: np.ndarray) -> pd.DataFrame:
    parent = tree.parent[runs.head]
    frame = frame.copy()
    frame["section_id"] = pd.Series(named.ids, dtype=object)
    frame["parent_id"] = pd.Series(np.where(parent >= 0, named.base[np.maximum(parent, 0)], ""), dtype=object)
    beyond = np.full(len(runs.head), -1)
    some = np.flatnonzero(other >= 0)
    beyond[runs.run[some]] = other[some]
    text = frame["tie_section_id"].to_numpy(object)
    frame["tie_section_id"] = pd.Series(np.where((text == "") & (beyond >= 0), named.base[np.maximum(beyond, 0)], text),
                                        dtype=object)
    frame["customers"] = frame["customers"].fillna(0.0)
    names = [c.name for c in SECTIONS if c.name in frame]
    needed = ("section_id", "parent_id", "device", "feeder_id", "length_km", "customers", "phases")
    kept = [n for n in names if n in needed or not _is_blank(frame[n])]
    result = frame[kept].copy()
    for name in _WHOLE:
        if name in result:
            result[name] = result[name].astype("Int64")
    return result


def _is_blank(column: pd.Series) -> bool:
    return bool(column.isna().all()) if column.dtype.kind == "f" else bool((column == "").all())


def _outages(outages: Outages, named: Named) -> pd.DataFrame:
    frame = outages.frame.copy()
    section = np.where(outages.section >= 0, named.base[np.maximum(outages.section, 0)], "")
    frame.insert(1, "section_id", pd.Series(section, dtype=object))
    frame["customers"] = frame["customers"].round().astype("Int64")
    return frame


def _by_device(rows: pd.DataFrame, section_of: Mapping[str, str], reclosing: set[str], name: str,
               findings: Findings) -> pd.DataFrame:
    """Rows of a table by device as rows by section. reclosing: section_ids of the devices that may have such rows."""
    stated = rows["device_id"].where(rows["device_id"] != "", rows["segment_id"])
    spelt = taken_for(set(stated.tolist()) - set(section_of) - {""}, section_of)
    section = np.array([section_of.get(name, spelt.get(name, "")) for name in stated], dtype=object)
    findings.add("devices", f"{name}_spelling", f"Names in the {name} that differ from the network's in case, spaces, "
                 "punctuation or zeros of a number: taken for those", AMBER, spelt, DEVICE)
    lost = section == ""
    findings.add("devices", f"{name}_not_placed", f"Rows of {name} whose device is not in the network: left out", AMBER,
                 stated[lost], DEVICE)
    other = ~lost & ~np.isin(section.astype(str), list(reclosing))
    findings.add("devices", f"{name}_not_reclosing", f"Rows of {name} of devices that do not reclose: left out", AMBER,
                 stated[other], DEVICE)
    lost |= other
    columns = [c for c in rows.columns if c not in ("device_id", "segment_id", "file", "row")]
    result = rows.loc[~lost, columns].copy()
    result.insert(0, "section_id", pd.Series(section[~lost], index=result.index, dtype=object))
    kept = [c for c in result.columns if c in ("section_id", "pickup_a") or not (result[c] == "").all()]
    return result[kept].reset_index(drop=True)


