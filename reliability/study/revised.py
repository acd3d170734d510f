"""A checked study with other assumptions or one more scenario, checked again; its network stays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from reliability.schema.assumptions import BY_KEY
from reliability.schema.values import as_assumptions
from reliability.study.arguments import Arguments, scenario_entries, stated
from reliability.study.cost_table import default_cost_table
from reliability.study.files import FolderReader, digest
from reliability.study.folder import check_against_network, own_cost_table
from reliability.study.frames import COSTS, FrameReader, with_costs_named
from reliability.study.reader import Reader
from reliability.study.sections import check_settings
from reliability.study.settings import Settings, read_settings
from reliability.study.study import Study


def with_assumptions(study: Study, changes: Mapping[str, object]) -> Study:
    """See `Study.with_assumptions`."""
    changes, costs = with_costs_named(changes)
    arguments = stated(changes, name=study.name, scenarios=scenario_entries(study.scenarios))
    cleared = {key for key, value in changes.items() if value is None and key in BY_KEY}
    before = Settings(
        currency=study.currency,
        values=as_assumptions(dict(study.values) | {key: BY_KEY[key].default for key in cleared}),
        stated_ranges={key: known for key, known in study.stated_ranges.items()
                       if key.partition(".")[0] not in cleared},
        extra=study.extra, plans=study.plans)
    tables = {COSTS: costs}
    reader = FrameReader(tables, arguments) if costs is not None or study.folder is None else FolderReader(study.folder)
    return _checked(study, arguments, before, reader, changed_costs=COSTS in changes)


def with_scenario(study: Study, entry: Mapping[str, object]) -> Study:
    """See `Study.with_scenario`. entry: the scenario as study.toml states it, None for what it leaves out."""
    arguments = stated({}, name=study.name, scenarios=scenario_entries([*study.scenarios, entry]))
    before = Settings(currency=study.currency, values=study.values, stated_ranges=study.stated_ranges,
                      extra=study.extra, plans=study.plans)
    return _checked(study, arguments, before, FrameReader({}, arguments))


def _checked(study: Study, arguments: Arguments, before: Settings, reader: Reader,
             changed_costs: bool = False) -> Study:
    """The study with what the arguments state. Raises StudyError with every problem of it."""
    settings = read_settings(arguments, before)
    problems = arguments.problems
    check_settings(study.sections, study.section_tables, study.network, settings.values, problems)
    notes = check_against_network(arguments, settings, study.sections["section_id"].tolist(), study.network)
    costs = study.cost_table
    if changed_costs:
        costs = own_cost_table(reader, arguments, settings) or default_cost_table()
        problems.listed += reader.found.problems.listed
        problems.hidden += reader.found.problems.hidden
    problems.raise_if_any((arguments.file,))
    contents = {"before": study.inputs_sha256.encode(), "changes": repr(arguments.data).encode(),
                **{name: content for name, content in reader.found.contents.items() if name != arguments.file}}
    return replace(study, values=settings.values, stated_ranges=settings.stated_ranges, scenarios=settings.scenarios,
                   extra=settings.extra, plans=settings.plans, cost_table=costs,
                   notes=tuple(dict.fromkeys((*study.notes, *notes))),
                   inputs_sha256=digest(contents))
