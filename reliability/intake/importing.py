"""An import from exports to a study: only calls."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from reliability.intake.absorb import absorb_edges
from reliability.intake.breakers_apart import breakers_apart
from reliability.intake.computed_currents import with_computed_currents
from reliability.intake.customers import SectionLoads, place_customers
from reliability.intake.decisions import COLUMN, KIND, PLACE, Decision, Undecided, in_order, require_none, require_sound
from reliability.intake.device_rows import Devices, build_devices, on_entry, with_switch
from reliability.intake.feeders import feeder_names, note_renamed
from reliability.intake.findings import Findings
from reliability.intake.kinds import CUSTOMERS, DEVICE_ROWS, OUTAGE_ROWS, SEGMENTS, SOURCES
from reliability.intake.merging import find_runs, merged
from reliability.intake.named import name_sections, places, section_names, segment_sections
from reliability.intake.named_elsewhere import places_by_cells
from reliability.intake.notes import unlisted
from reliability.intake.open_points import OpenPoint, hang, open_spans, open_switches
from reliability.intake.outages import Outages, open_times, place_outages
from reliability.intake.outcome import Imported
from reliability.intake.placing import Tree, head_sources, place_devices
from reliability.intake.reading import Exports, read_exports
from reliability.intake.recipe import Recipe
from reliability.intake.recipe_names import check_network_names, check_zone, unknown_sources
from reliability.intake.recognise import Recognised, recognise, rule_of
from reliability.intake.reporting import import_report
from reliability.intake.routes import section_routes, segment_routes
from reliability.intake.sections import base_frame, note_mains
from reliability.intake.settings import study_settings
from reliability.intake.shaping import Shaped, shaped_points, shaped_segments
from reliability.intake.sources import Sources, find_sources, source_ends
from reliability.intake.spans import Spans, build_spans
from reliability.intake.spelling import respelt
from reliability.intake.ties import Ties, find_ties, put_ties
from reliability.intake.typed import Typed, typed_tables
from reliability.intake.walk import Walk, walk
from reliability.intake.written import written_tables
from reliability.schema.problems import Problem, Problems, StudyError

NO_RECIPE = Recipe(stated=False)
Progress = Callable[[str], None]


@dataclass(frozen=True)
class Prepared:
    """Exports under a recipe, as far as they have been understood: what a step-by-step page shows.

    recognised: kinds and columns. typed: rows, words and units. decisions: what is open. problems: cells and headers
    that have to be corrected in the exports or the recipe.
    """

    exports: Exports
    recipe: Recipe
    recognised: tuple[Recognised, ...]
    typed: Typed
    decisions: tuple[Decision, ...]
    problems: Problems

    @property
    def complete_recipe(self) -> Recipe:
        """The recipe with an entry for every table as it was recognised, words that needed no decision left out."""
        rules = [rule_of(one) if one.kind else one.rule for one in self.recognised]
        # tables that one pattern names are one entry
        named = {(r.file, r.table, r.kind): r for r in reversed(rules) if r is not None}
        return replace(self.recipe, files=tuple(reversed(named.values())), stated=True)


def prepare(exports: Exports, recipe: Recipe = NO_RECIPE) -> Prepared:
    """Kinds, columns, words and units of exports under a recipe; raises nothing, see `Prepared`."""
    problems = Problems()
    check_zone(recipe, problems)
    found = places_by_cells(recognise(exports.tables, recipe, problems))
    typed = typed_tables(found, recipe, problems)
    decisions = [d for one in found for d in one.decisions] + typed.decisions
    return Prepared(exports, recipe, tuple(found), typed, in_order(decisions), problems)


def import_exports(folder: str | Path | Iterable[str | Path], recipe: Recipe = NO_RECIPE, name: str = "",
                   on_progress: Progress = lambda stage: None) -> Imported:
    """A study of the exports in a folder or of some files. Raises StudyError with what is wrong or still open."""
    on_progress("reading")
    return import_study(prepare(read_exports(folder), recipe), name, on_progress)


@dataclass
class _Network:
    """What the steps of tracing hand on."""

    spans: Spans
    devices: Devices
    walked: Walk
    points: list[OpenPoint]
    tree: Tree
    feeder: np.ndarray
    up: np.ndarray
    served: SectionLoads
    ties: Ties
    decisions: list[Decision] = field(default_factory=list)


def import_study(prepared: Prepared, name: str = "", on_progress: Progress = lambda stage: None) -> Imported:
    """A study of prepared exports. Raises StudyError with everything that is open, or wrong in the exports."""
    try:
        return _imported(prepared, name, on_progress)
    except StudyError as error:
        raise _with_what_else_is_wrong(error, prepared) from None


def _with_what_else_is_wrong(error: StudyError, prepared: Prepared) -> StudyError:
    """An error with what does not hang on what it stopped before: names of segments, nodes of sources, times."""
    typed, recipe, found = prepared.typed, prepared.recipe, list[Problem]()
    rows = typed.frames.get(OUTAGE_ROWS)
    times = [] if rows is None or not len(rows) else open_times(rows, recipe)
    if SEGMENTS in typed.frames and not any(map(_about_lines, prepared.decisions)):
        found += _wrong_lines(typed, recipe, asked_about_sources=any(p.column == "sources" for p in error.problems))
    more = [p for p in found if p not in error.problems]
    if isinstance(error, Undecided) and not more:
        return Undecided((*error.decisions, *(d for d in times if d not in error.decisions)))
    more += [d.problem for d in times if d.problem not in error.problems]
    return StudyError([*error.problems, *more], error.count - len(error.problems))


def _about_lines(decision: Decision) -> bool:
    """Whether what is open bears on which rows are a span, and between which nodes."""
    words = tuple(f"{SEGMENTS}.{name}" for name in ("phases", "normal_state"))
    return decision.step in (KIND, COLUMN, PLACE) or decision.column in words


def _wrong_lines(typed: Typed, recipe: Recipe, asked_about_sources: bool) -> list[Problem]:
    """Problems of the segments' names, and of nodes where feeders are to begin that no segment has."""
    decisions, problems = list[Decision](), Problems()
    shaped = shaped_segments(typed, recipe, Findings(), decisions)
    if decisions:
        return []
    spans = build_spans(shaped.frame, shaped.routes(), _by_parent(typed), Findings(), problems)
    sources = typed.frame(SOURCES)
    nodes = sources["node_id"].to_numpy(object)
    roots = source_ends(spans)
    lost = [k for k, node in enumerate(nodes.tolist()) if node and node not in roots and spans.node(node) < 0]
    if len(lost) == len(sources) and not asked_about_sources:
        problems.each(lost, lambda k: Problem(
            str(sources["file"].iloc[k]), "no segment has this node, so no feeder can begin there",
            "name a node of the segments", int(sources["row"].iloc[k]), "node_id", str(nodes[k])))
    return [*problems.listed, *(d.problem for d in unknown_sources(recipe.sources, spans))]


def _by_parent(typed: Typed) -> set[str]:
    """Names of the tables of segments whose rows name their parent."""
    return {table for table, name in typed.headers if name == "parent_id"}


def _imported(prepared: Prepared, name: str, on_progress: Progress) -> Imported:
    _settled(prepared)
    findings, recipe = Findings(), prepared.recipe
    for (table, why), names in prepared.typed.left_out.items():
        findings.add("rows", "left_out", f"{table}: rows left out, {why}", "green", names, "row")
    findings.add("rows", "table_unused", "Tables that are of no kind: not used", "amber",
                 [one.table.name for one in prepared.recognised if not one.kind and one.rule is None], "table")
    findings.add("rows", "table_ignored", "Tables that the recipe ignores", "green",
                 [one.table.name for one in prepared.recognised if not one.kind and one.rule is not None], "table")
    findings.add("rows", "file_unused", "Files and sheets that are not read", "amber", prepared.exports.ignored, "file")
    findings.add("rows", "placed_by", "Tables whose rows have their place by coordinates in columns", "green",
                 [f"{t.name}: {', '.join(t.placed_by)}" for t in (one.table for one in prepared.recognised)
                  if t.placed_by], "table")
    for (table, what), which in prepared.typed.read_as.items():
        findings.add("rows", "read_as", f"{table}: {what}", "green", which, "row")
    aside = {f"{of.table}: {header}" for of in unlisted(prepared) for header, *_ in of.headers}
    findings.add("rows", "column_unlisted", "Columns that the recipe neither maps nor ignores: not used", "amber",
                 sorted(aside), "column")
    unused = [f"{one.table.name}: {h}" for one in prepared.recognised if one.kind for h in one.unused]
    findings.add("rows", "column_unused", "Columns that stand for nothing of ours: not used", "green",
                 [name for name in unused if name not in aside], "column")
    for table, column, said, unit in prepared.typed.units:
        if not said.plausible:
            findings.add("rows", "unit", f"{table}: the unit ({unit}) is implausible for this column: {said}", "red",
                         [column], "column")
    on_progress("tracing")
    network = _trace(prepared, findings, on_progress)
    on_progress("placing outages")
    outages = _outages(prepared, network, findings)
    on_progress("merging")
    return _finish(prepared, network, outages, findings, name or "A study", recipe)


def _settled(prepared: Prepared) -> None:
    """Raise StudyError where anything is open or wrong."""
    problems = Problems()
    problems.listed += prepared.problems.listed
    problems.hidden = prepared.problems.hidden
    require_sound(problems, prepared.decisions)
    if SEGMENTS not in prepared.typed.frames:
        require_none([Decision("kind", "exports", "", "segments", "no table holds segments")])


def _trace(prepared: Prepared, findings: Findings, on_progress: Progress) -> _Network:
    typed, recipe, problems = prepared.typed, prepared.recipe, Problems()
    decisions: list[Decision] = []
    shaped = shaped_segments(typed, recipe, findings, decisions)
    require_none(decisions)
    spans = build_spans(shaped.frame, shaped.routes(), _by_parent(typed), findings, problems)

    def rows(kind: str) -> pd.DataFrame:
        return respelt(shaped_points(typed, kind, shaped, recipe, findings), kind, spans, findings)

    devices, spans = build_devices(rows(DEVICE_ROWS), spans, recipe.place, findings, problems)
    check_network_names(recipe, typed.frame(DEVICE_ROWS)["device_id"], spans, devices, problems)
    require_sound(problems, unknown_sources(recipe.sources, spans))
    spans, devices, points = open_spans(spans, devices, recipe.open, findings)
    sources, open_ = find_sources(rows(SOURCES), recipe.sources, spans, devices, findings)
    require_none(open_)
    on_progress("walking")
    walked = walk(spans, sources.nodes, ~spans.open, with_switch(spans, devices), findings)
    if not len(walked.depth_order):
        raise StudyError([Problem("segments", "no segment is energised by a source",
                                  "check the nodes of sources and segments, and what is open")])
    points += [OpenPoint(int(s), str(spans.ids[s]), False) for s in walked.cut]
    devices = open_switches(devices, walked.cut)
    devices = on_entry(devices, spans, walked.depth_order)
    spans, devices, walked = absorb_edges(spans, devices, walked)
    on_progress("placing devices and customers")
    return _placed(prepared, shaped, spans, devices, walked, points, sources, findings)


def _placed(prepared: Prepared, shaped: Shaped, spans: Spans, devices: Devices, walked: Walk, points: list[OpenPoint],
            sources: Sources, findings: Findings) -> _Network:
    typed, recipe = prepared.typed, prepared.recipe
    feeder_at = _stated_feeders(sources.nodes, sources.feeders, walked)
    hung = hang(spans, walked, points, feeder_at)
    up = walked.up.copy()
    up[hung.span] = hung.node
    spans = with_computed_currents(spans, up, walked.into, sources, recipe.fault_resistance_ohm, findings)
    fed = np.concatenate([walked.depth_order, hung.span])
    devices, open_ = breakers_apart(spans, up, walked.into, fed, devices, findings)
    require_none(open_)
    tree = place_devices(spans, up, walked.into, fed, devices, findings)
    names = feeder_names(tree, spans, sources, findings)
    tree, root = head_sources(tree, names, findings)
    of_root = {r: names.get(r) or tree.names.get(r) or str(spans.whole[tree.span[r]]) for r in np.unique(root).tolist()}
    feeder = np.array([of_root[r] for r in root.tolist()], dtype=object)
    note_renamed(tree, spans, feeder, findings)
    customers = shaped_points(typed, CUSTOMERS, shaped, recipe, findings)
    served = place_customers(respelt(customers, CUSTOMERS, spans, findings), spans, tree, findings)
    ties = find_ties(spans, walked, points, hung, tree, feeder, recipe.ties, devices, findings)
    return _Network(spans, devices, walked, points, tree, feeder, up, served, ties)


def _stated_feeders(nodes: np.ndarray, feeders: tuple[tuple[str, ...], ...], walked: Walk) -> np.ndarray:
    """(nodes,) name of the feeder that a source states, as text, "" where it states none or several."""
    name = {int(n): f[0] if len(f) == 1 else "" for n, f in zip(nodes, feeders, strict=True)}
    return np.array([name.get(s, "") for s in walked.source.tolist()], dtype=object)


def _outages(prepared: Prepared, network: _Network, findings: Findings) -> Outages | None:
    rows = prepared.typed.frames.get(OUTAGE_ROWS)
    if rows is None or not len(rows):
        return None
    problems, decisions = Problems(), network.decisions
    outages = place_outages(rows, network.spans, network.tree, network.served, prepared.recipe, findings, problems,
                            decisions)
    problems.raise_if_any()
    require_none(decisions)
    return outages


def _finish(prepared: Prepared, network: _Network, outages: Outages | None, findings: Findings, name: str,
            recipe: Recipe) -> Imported:
    spans, tree = network.spans, network.tree
    frame = base_frame(tree, spans, network.up, network.served, network.feeder, findings)
    other = put_ties(frame, network.ties)
    runs = find_runs(tree, frame)
    rows = merged(frame, runs)
    named = name_sections(tree, spans, runs)
    section_of = section_names(tree, spans, named)
    tables = written_tables(rows, tree, runs, named, other, outages, prepared.typed, section_of,
                            recipe, findings)
    parent = np.where(tree.parent[runs.head] >= 0, runs.run[np.maximum(tree.parent[runs.head], 0)], -1)
    note_mains(rows, parent, findings)
    report = import_report(prepared.typed, spans, tree, network.feeder, rows, parent, network.devices,
                           network.served, outages, findings)
    settings = study_settings(prepared.exports.settings, recipe.study, name, recipe.time_zone, section_of,
                              frozenset(named.ids.tolist()))
    return Imported(tables, settings, prepared.complete_recipe,
                    segment_sections(tree, spans, runs, named, network.up), places(tree, spans, network.served, named),
                    report, network.ties.frame, section_routes(tree, spans, runs, named, network.up),
                    segment_routes(spans))
