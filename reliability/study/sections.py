"""Typed line sections: the checks of the network a study brings, and what blanks stand for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.schema.columns import SECTIONS
from reliability.schema.devices import BREAKER, LATERAL_DEVICES, RECLOSER
from reliability.schema.nearest import Names
from reliability.schema.problems import Problem, Problems, or_less, shorten
from reliability.study.headers import Table
from reliability.study.links import bad_links
from reliability.study.notes import notes
from reliability.study.protection import Protection, counts_too_many, fast_not_below, protection
from reliability.study.records import Records
from reliability.study.tree import Tree, plant

ZERO_WHERE_BLANK = ("equipment_fault_rate", "load_kw", "tie_probability")
CYCLE_SHOWN = 40
COLUMNS = tuple(c.name for c in SECTIONS if not c.name.endswith("_mi"))


@dataclass(frozen=True)
class Network:
    """Checked sections, the tables they come from (without their cells), their tree, their protection as
    built, and what should be known of them."""

    sections: pd.DataFrame
    tables: tuple[Table, ...]
    tree: Tree
    protection: Protection
    notes: tuple[str, ...]


def check_sections(records: Records, values: Mapping[str, object], problems: Problems,
                   sources: int | None = None) -> Network | None:
    """Check records of `columns.SECTIONS` against each other, fill blanks, and give the network.

    values: assumptions by key, for the settings a device leaves blank.
    sources: where parents stand among the first so many records only (the flat form).
    Every problem is noted; None where the tree cannot be followed.
    """
    table = records.tables[0]
    if not len(records):
        if not table.missing:
            problems.add(Problem(table.file, "there is no section", "add a row a line section below the header"))
        return None
    bad_links(records, problems)
    if any(t.missing & {"section_id", "parent_id", "feeder_id", "lateral_id"} for t in records.tables):
        return None
    noted = notes(records.columns)
    tree = _tree(records, sources, problems)
    _report_cycles(records, tree, problems)
    _report_roots(records, len(records) if sources is None else sources, problems)
    given = ~np.isnan(records.columns["phases"])
    _fill(records, tree)
    _report_phases(records, tree, given, problems)
    frame = pd.DataFrame({name: records.columns[name] for name in COLUMNS})
    plan = protection(frame, tree, values)
    _report_settings(records, plan, problems)
    tables = tuple(replace(t, cells={}) for t in records.tables)
    return Network(frame, tables, tree, plan, noted)


def _tree(records: Records, sources: int | None, problems: Problems) -> Tree:
    """Parents by place; ids used twice and parents that do not exist are reported."""
    ids = records.columns["section_id"].tolist()
    parents = records.columns["parent_id"].tolist()
    first: dict[str, int] = {}
    again = [i for i, section in enumerate(ids) if section and first.setdefault(section, i) != i]
    problems.each(again, lambda i: records.problem(
        i, "section_id", ids[i], f"this id is used already in {records.where(first[ids[i]], i)}",
        "give each its own id"))
    known = first if sources is None else {s: i for s, i in first.items() if i < sources}
    up = [known.get(p, -2) if p else -1 for p in parents]
    lost = [i for i, p in enumerate(up) if p == -2]
    names = Names(known)
    kind = "section has this section_id" if sources is None else "feeder has this feeder_id"
    problems.each(lost, lambda i: records.problem(
        i, "parent_id", parents[i], f"no {kind}",
        names.suggest(parents[i], "name the one towards the source, or leave it blank at a source"
                      if sources is None else "name a feeder of the feeders' table")))
    return plant(np.maximum(np.array(up, int), -1))


def _report_cycles(records: Records, tree: Tree, problems: Problems) -> None:
    ids = records.columns["section_id"]

    def named(cycle: tuple[int, ...]) -> str:
        start = cycle.index(min(cycle))
        turned = cycle[start:] + cycle[:start] + (cycle[start],)
        half = CYCLE_SHOWN // 2
        if len(turned) <= CYCLE_SHOWN:
            return " → ".join(shorten(ids[i], 40) for i in turned)
        words = [shorten(ids[i], 40) for i in turned[:half] + turned[-half:]]
        words.insert(half, f"… {len(turned) - 2 * half} more …")
        return " → ".join(words)

    cycles = tree.cycles
    problems.each(range(len(cycles)), lambda k: records.problem(
        min(cycles[k]), "parent_id", None, f"parents form a cycle: {named(cycles[k])}",
        "let one of them hang from a section nearer the source, or leave its parent blank if it is the source"))


def _report_roots(records: Records, sources: int, problems: Problems) -> None:
    device, parents = records.columns["device"], records.columns["parent_id"]
    roots = (parents == "") & (np.arange(len(parents)) < sources)
    broken = np.flatnonzero(roots & (device != BREAKER) & (device != RECLOSER) & ~records.unsure("device"))
    problems.each(broken, lambda i: records.problem(
        i, "device", None, "a section without a parent needs a breaker or recloser",
        "write the device, or the parent_id if this is no source"))


def _fill(records: Records, tree: Tree) -> None:
    """What blanks stand for, from the sources outwards where it depends on the parent."""
    columns = records.columns
    for name in ZERO_WHERE_BLANK:
        columns[name] = np.nan_to_num(columns[name])
    ids, phases = columns["section_id"].tolist(), columns["phases"].tolist()
    lateral = np.isin(columns["device"], LATERAL_DEVICES).tolist()
    parents = tree.parent.tolist()
    root = list(range(len(ids)))
    for i in tree.order.tolist():
        p = parents[i]
        if p >= 0:
            root[i] = root[p]
            lateral[i] = lateral[i] or lateral[p]
        if phases[i] != phases[i]:
            usual = 1.0 if lateral[i] else 3.0
            phases[i] = min(usual, phases[p]) if p >= 0 else usual
    columns["phases"] = np.array(phases, float)
    half = np.isnan(columns["fault_current_source_a"]) ^ np.isnan(columns["fault_current_end_a"])
    for name in ("fault_current_source_a", "fault_current_end_a"):
        columns[name] = np.where(half, np.nan, columns[name])
    feeder = columns["feeder_id"].tolist()
    columns["feeder_id"] = np.array([f or ids[root[i]] for i, f in enumerate(feeder)], object)


def _report_phases(records: Records, tree: Tree, given: np.ndarray, problems: Problems) -> None:
    """given: where the file states the phases."""
    phases, ids, up = records.columns["phases"], records.columns["section_id"], tree.parent
    broken = (up >= 0) & (phases > phases[up]) & ~records.unsure("phases")
    problems.each(np.flatnonzero(broken), lambda i: records.problem(
        i, "phases", None, f"more phases than its parent {shorten(ids[up[i]], 40)}, which has {phases[up[i]]:g}"
        + ("" if given[up[i]] else " (left blank: 1 below a lateral device, else 3)"),
        "correct the phases of one of the two" if given[up[i]] else "state the phases of both"))


def _report_settings(records: Records, plan: Protection, problems: Problems) -> None:
    columns, ids = records.columns, records.columns["section_id"]

    def told(i: int, name: str, number: float) -> str:
        given = columns[name][i] == columns[name][i]
        return f"{number:g}" if given else f"{number:g} from [protection]"

    unsure = records.unsure("operations_to_lockout", "fast_operations", "device")
    fast = fast_not_below(plan)
    problems.each(fast[~unsure[fast]], lambda i: records.problem(
        i, "fast_operations", None,
        f"fast operations ({told(i, 'fast_operations', plan.fast[i])}) must be below operations to lockout "
        f"({told(i, 'operations_to_lockout', plan.lockout[i])})", _fast_remedy(plan.lockout[i])))
    unsure_counts = records.unsure("counts", "device")
    counts = counts_too_many(plan)
    quiet = unsure_counts[counts] | unsure[plan.backup[counts]]

    def counts_problem(i: int) -> Problem:
        behind = int(plan.backup[i])
        most = int(plan.lockout[behind]) - 1
        return records.problem(
            i, "counts", None, f"counts ({told(i, 'counts', plan.counts[i])}) are above operations to lockout − 1 "
            f"of the device above it, {shorten(ids[behind], 40)} ({told(behind, 'operations_to_lockout', most + 1)})",
            f"write {or_less(most)}" if most else "a sectionalizer needs a device above it that recloses")

    problems.each(counts[~quiet], counts_problem)


def _fast_remedy(lockout: float) -> str:
    return f"write {or_less(int(lockout) - 1)}, or more operations to lockout"


