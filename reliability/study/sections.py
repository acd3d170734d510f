"""Typed line sections: checks of the network, and the values of blank cells."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.network.device_settings import DELAYED_OPERATION, FAST_OPERATION, fast_slower_at_a, later_than_above_a
from reliability.network.devices import BACKS_UP, HEADS_LATERAL, codes_of
from reliability.network.forest import cycles, depth_first, nearest, topmost
from reliability.network.model import Model
from reliability.network.protection import (
    Protection,
    counts_too_many,
    fast_not_below_lockout,
    most_counts,
    protection,
)
from reliability.network.tree import Network, build_network
from reliability.schema.columns import SECTIONS
from reliability.schema.devices import BY_NAME
from reliability.schema.nearest import Names
from reliability.schema.problems import Problem, Problems, or_less, shorten
from reliability.schema.values import Assumptions
from reliability.study.headers import TextTable
from reliability.study.links import bad_links
from reliability.study.notes import alike_notes, feeder_notes, notes, source_notes
from reliability.study.overcurrent import (
    fast_slower_notes,
    later_notes,
    links_with_curves,
    read_overcurrent_settings,
    settings_notes,
)
from reliability.study.records import TypedColumns

ZERO_WHERE_BLANK = ("equipment_fault_rate", "load_kw", "tie_probability")
CYCLE_SHOWN = 40
_SETTINGS = ("operations_to_lockout", "fast_operations", "counts")
_FOLLOWED = ("section_id", "parent_id", "device", "construction", *_SETTINGS)   # what a scenario is checked against
SECTION_COLUMNS = tuple(c.name for c in SECTIONS if not c.name.endswith("_mi"))


@dataclass(frozen=True)
class CheckedSections:
    """Checked sections, the tables they come from (without their cells), their network, and notes on them.

    network: without settings where there are problems, None where what a scenario changes may be wrong in it.
    settings: those of overcurrent devices, None without a table of them.
    """

    sections: pd.DataFrame
    tables: tuple[TextTable, ...]
    network: Network | None
    settings: pd.DataFrame | None
    notes: tuple[str, ...]


def check_sections(records: TypedColumns, values: Assumptions, problems: Problems, sources: int | None = None,
                   curves: pd.DataFrame | None = None, settings: TextTable | None = None,
                   curves_unread: bool = False) -> CheckedSections | None:
    """Check records of `columns.SECTIONS` against each other, fill blanks, and build the network.

    values: assumptions by key, for the settings a device leaves blank.
    sources: number of records at the beginning among which all parents are (the flat form); None: among all.
    curves: time-current curves by points, read. settings: the table of overcurrent settings, not yet read.
    curves_unread: there are curves that cannot be read, so that no link or curve is called unknown.
    Every problem is noted; None where the tree cannot be followed.
    """
    table = records.tables[0]
    if not len(records):
        if not table.missing:
            problems.add(Problem(table.file, "there is no section", "add a row a line section below the header"))
        return None
    if not curves_unread:
        bad_links(records, problems, () if curves is None else links_with_curves(curves))
    if any(t.missing & {"section_id", "parent_id", "feeder_id", "lateral_id"} for t in records.tables):
        return None
    noted = notes(records.columns)
    before = len(problems)
    parent = _parents(records, sources, problems)
    _report_roots(records, len(records) if sources is None else sources, problems)
    followed = len(problems) == before and not records.unsure(*_FOLLOWED).any()
    given = ~np.isnan(records.columns["phases"])
    _fill(records, parent)
    noted += feeder_notes(records.columns, parent) + source_notes(records.columns, parent)
    for name in ("section_id", "feeder_id"):
        noted += alike_notes(name, records.columns[name].tolist())
    _report_phases(records, parent, given, problems)
    _report_tripping(records, problems)
    _report_ties(records, problems)
    _report_dead_times(records, problems)
    frame = pd.DataFrame({name: records.columns[name] for name in SECTION_COLUMNS})
    overcurrent = None
    if settings is not None:
        curve_names = None if curves_unread else () if curves is None else curves["curve"].unique()
        overcurrent = read_overcurrent_settings(settings, curve_names, frame[["section_id", "device"]], problems)
    # with a problem in a curve or setting the network is built without them, so that the other checks can go on
    network = build_network(frame, parent, *((overcurrent, curves) if not problems else (None, None)))
    before = len(problems)
    as_built = protection(Model(network, values))
    _report_settings(records, network, as_built, problems)
    followed &= len(problems) == before
    tables = tuple(replace(t, cells={}) for t in records.tables)
    if settings is not None and overcurrent is not None and not problems:
        noted += settings_notes(overcurrent, settings.file) + _slower_notes(network, as_built, settings.file)
    return CheckedSections(frame, tables, network if followed or not problems else None, overcurrent, noted)


def check_settings(sections: pd.DataFrame, tables: tuple[TextTable, ...], network: Network, values: Assumptions,
                   problems: Problems) -> None:
    """Note settings of checked sections that contradict each other at other values of the assumptions.

    sections, tables, network: see `CheckedSections`.
    """
    numbers = {name: sections[name].to_numpy(float) for name in _SETTINGS}
    columns = {name: sections[name].to_numpy(object) for name in ("section_id", "device")} | numbers
    texts = {name: [f"{x:g}" if x == x else "" for x in column.tolist()] for name, column in numbers.items()}
    whole, start = [], 0
    for table in tables or (TextTable("sections.csv", {}, list(range(2, len(sections) + 2)), {}),):
        cells = {name: column[start:start + len(table)] for name, column in texts.items()}
        whole.append(replace(table, cells=cells))
        start += len(table)
    sure = {name: np.zeros(len(sections), bool) for name in columns}
    records = TypedColumns(columns, sure, tuple(whole), ({},) * len(whole))
    _report_settings(records, network, protection(Model(network, values)), problems)


def _parents(records: TypedColumns, sources: int | None, problems: Problems) -> np.ndarray:
    """Row of each record's parent, −1 at a source.

    Ids used twice, parents that do not exist and cycles are reported; a record without a known parent, and one of
    each cycle, is then taken as a source, so that the other checks can go on.
    """
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
    parent = np.maximum(np.array(up, int), -1)
    if len(depth_first(parent)[0]) < len(parent):
        found = cycles(parent)
        _report_cycles(records, found, problems)
        parent[[min(cycle) for cycle in found]] = -1
    return parent


def _report_cycles(records: TypedColumns, found: list[tuple[int, ...]], problems: Problems) -> None:
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

    problems.each(range(len(found)), lambda k: records.problem(
        min(found[k]), "parent_id", None, f"parents form a cycle: {named(found[k])}",
        "give one of them a parent nearer the source, or leave its parent blank if it is the source"))


def _report_roots(records: TypedColumns, sources: int, problems: Problems) -> None:
    device, parents = records.columns["device"], records.columns["parent_id"]
    roots = (parents == "") & (np.arange(len(parents)) < sources)
    broken = np.flatnonzero(roots & ~BACKS_UP[codes_of(device)] & ~records.unsure("device"))
    problems.each(broken, lambda i: records.problem(
        i, "device", None, "a section without a parent needs a breaker or recloser",
        "write the device, or the parent_id if this is no source"))


def _slower_notes(network: Network, as_built: Protection, file: str) -> tuple[str, ...]:
    """Notes on devices whose fast elements are slower than the delayed ones at fault currents of their zone, and on
    lateral reclosers that are no faster there than the device above them."""
    at = np.flatnonzero(network.settings_of >= 0)
    known = np.stack([network.column["fault_current_end_a"], network.column["fault_current_source_a"]])
    zone = as_built.reclosing_device
    low, high = np.full(len(network), np.inf), np.full(len(network), -np.inf)
    inside = np.flatnonzero(~np.isnan(known).any(axis=0))
    np.minimum.at(low, zone[inside], known[:, inside].min(axis=0))
    np.maximum.at(high, zone[inside], known[:, inside].max(axis=0))
    some = at[np.isfinite(low[at])]
    slower = fast_slower_at_a(network.settings, network.settings_of[some], low[some], high[some])
    fast, names, above = as_built.fast, network.ids.astype(str), as_built.backup
    at = some[~BACKS_UP[network.device[some]] & (above[some] >= 0)]
    at = at[(network.settings_of[above[at]] >= 0) & (fast[above[at]] > 0)]
    own, other = network.settings_of[at], network.settings_of[above[at]]
    kind = np.where(fast[at] > 0, FAST_OPERATION, DELAYED_OPERATION)
    later = later_than_above_a(network.settings, own, kind, other, low[at], high[at])
    return (*fast_slower_notes(names[some].tolist(), slower, file), *later_notes(names[at].tolist(), later, file))


def _fill(records: TypedColumns, parent: np.ndarray) -> None:
    """Fill blank cells, from the sources outwards where the value depends on the parent."""
    columns = records.columns
    for name in ZERO_WHERE_BLANK:
        columns[name] = np.nan_to_num(columns[name])
    half = np.isnan(columns["fault_current_source_a"]) ^ np.isnan(columns["fault_current_end_a"])
    for name in ("fault_current_source_a", "fault_current_end_a"):
        columns[name] = np.where(half, np.nan, columns[name])
    source = parent < 0
    head = topmost(parent, HEADS_LATERAL[codes_of(columns["device"])]) == np.arange(len(parent))
    columns["phases"] = _inherited(parent, np.where(np.isnan(columns["phases"]) & head, 1.0, np.where(
        np.isnan(columns["phases"]) & source, 3.0, columns["phases"])))
    named = np.where(source & (columns["feeder_id"] == ""), columns["section_id"], columns["feeder_id"])
    columns["feeder_id"] = named[nearest(parent, named != "")]


def _inherited(parent: np.ndarray, values: np.ndarray) -> np.ndarray:
    """`values` (n,), each NaN replaced by the nearest one above it that is none."""
    return values[nearest(parent, ~np.isnan(values))]


def _report_phases(records: TypedColumns, parent: np.ndarray, given: np.ndarray, problems: Problems) -> None:
    """given: where the file states the phases."""
    phases, ids, up = records.columns["phases"], records.columns["section_id"], parent
    broken = (up >= 0) & (phases > phases[up]) & ~records.unsure("phases")
    problems.each(np.flatnonzero(broken), lambda i: records.problem(
        i, "phases", None, f"more phases than its parent {shorten(ids[up[i]], 40)}, which has {phases[up[i]]:g}"
        + ("" if given[up[i]] else " (left blank: 1 at the head of a lateral, elsewhere its parent's, 3 at a source)"),
        "correct the phases of one of the two" if given[up[i]] else "state the phases of both"))


def _report_tripping(records: TypedColumns, problems: Problems) -> None:
    device, tripping = records.columns["device"].tolist(), records.columns["tripping"].tolist()
    broken = [i for i, (d, t) in enumerate(zip(device, tripping, strict=True))
              if t and d in BY_NAME and t not in BY_NAME[d].trippings]

    def remedy(i: int) -> str:
        possible = BY_NAME[device[i]].trippings
        return f"write {' or '.join(possible)}, or leave it blank" if possible else "leave it blank"

    problems.each(broken, lambda i: records.problem(
        i, "tripping", None, f"a {BY_NAME[device[i]].label.lower()} has no such tripping", remedy(i)))


def _report_ties(records: TypedColumns, problems: Problems) -> None:
    names, known = records.columns["tie_section_id"].tolist(), Names(records.columns["section_id"].tolist())
    ids = set(records.columns["section_id"].tolist())
    lost = [i for i, name in enumerate(names) if name and name not in ids]
    problems.each(lost, lambda i: records.problem(
        i, "tie_section_id", names[i], "no section has this section_id",
        known.suggest(names[i], "name the section on the other side of the tie, or leave it blank")))
    own = [i for i, (name, section) in enumerate(zip(names, records.columns["section_id"].tolist(), strict=True))
           if name and name == section]
    problems.each(own, lambda i: records.problem(
        i, "tie_section_id", names[i], "the section itself is on this side of the tie",
        "name the section on the other side, or leave it blank"))


def _report_dead_times(records: TypedColumns, problems: Problems) -> None:
    first, longest = records.columns["dead_time_s"], records.columns["longest_dead_time_s"]
    broken = (longest < first) & ~records.unsure("dead_time_s", "longest_dead_time_s")
    problems.each(np.flatnonzero(broken), lambda i: records.problem(
        i, "longest_dead_time_s", None, f"the longest dead time ({longest[i]:g} s) is below the shortest "
        f"({first[i]:g} s)", "exchange the two, or correct one"))


def _report_settings(records: TypedColumns, network: Network, as_built: Protection, problems: Problems) -> None:
    """Settings of the protection as built (in positions of the network) that contradict each other."""
    columns, ids, row = records.columns, records.columns["section_id"], network.row

    def stated(i: int, name: str, number: float) -> str:
        given = columns[name][i] == columns[name][i]
        return f"{number:g}" if given else f"{number:g} from [protection]"

    def rows_sure(at: np.ndarray, *names: str) -> np.ndarray:
        return at[~records.unsure(*names)[row[at]]]

    def fast_problem(at: int) -> Problem:
        i, lockout = row[at], int(as_built.lockout[at])
        return records.problem(
            i, "fast_operations", None,
            f"fast operations ({stated(i, 'fast_operations', as_built.fast[at])}) must be below operations to lockout "
            f"({stated(i, 'operations_to_lockout', lockout)})",
            f"write {or_less(lockout - 1)}, or more operations to lockout")

    def counts_problem(at: int) -> Problem:
        i, backup, most = row[at], row[as_built.backup[at]], int(most_counts(as_built)[at])
        return records.problem(
            i, "counts", None,
            f"counts ({stated(i, 'counts', as_built.counts[at])}) are above operations to lockout − 1 of the device "
            f"above it, {shorten(ids[backup], 40)} ({stated(backup, 'operations_to_lockout', most + 1)})",
            f"write {or_less(most)}" if most else "a sectionalizer needs a device above it that recloses")

    settings = ("operations_to_lockout", "fast_operations", "device")
    problems.each(_by_row(rows_sure(fast_not_below_lockout(as_built), *settings), row), fast_problem)
    counts = rows_sure(counts_too_many(as_built), "counts", "device")
    unsure: np.ndarray = records.unsure(*settings)[row[as_built.backup[counts]]]
    counts = counts[~unsure]
    problems.each(_by_row(counts, row), counts_problem)


def _by_row(at: np.ndarray, row: np.ndarray) -> np.ndarray:
    """Positions of the network in the order of the user's rows."""
    return at[np.argsort(row[at], kind="stable")]
