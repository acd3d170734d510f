"""Scenarios written into study.toml as they are, mixed choices and settings of single devices too."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import count

import tomlkit
from tomlkit.items import AoT, Table

from reliability.schema.scenarios import Conversion, Scenario
from reliability.study.toml_edit import EVERY_LATERAL


def add_scenario(text: str, scenario: Scenario) -> tuple[str, str]:
    """study.toml with one more scenario, and its name: the scenario's with the first number that no other one has."""
    document = tomlkit.parse(text)
    taken = {str(entry.get("name", "")).casefold() for entry in document.get("scenarios", [])}
    title = next(f"{scenario.name} {k}" for k in count(1) if f"{scenario.name} {k}".casefold() not in taken)
    entries = document.get("scenarios")
    if not isinstance(entries, AoT):
        entries = tomlkit.aot()
        for entry in document.pop("scenarios", []):
            entries.append(_as_table(entry))
        document["scenarios"] = entries
    entries.append(_entry(replace(scenario, name=title)))
    return tomlkit.dumps(document), title


def set_scenarios(text: str, scenarios: Sequence[Scenario]) -> str:
    """study.toml with other scenarios in place of its own; "As built" is left out of them."""
    document = tomlkit.parse(text)
    document.pop("scenarios", None)
    entries = tomlkit.aot()
    for scenario in scenarios:
        entries.append(_entry(scenario))
    if len(entries):
        document["scenarios"] = entries
    return tomlkit.dumps(document)


def _as_table(entry: Mapping[str, object]) -> Table:
    table = tomlkit.table()
    table.update(entry)
    return table


def _entry(scenario: Scenario) -> Table:
    """A scenario as a table: keys first, then tables of its laterals and of its fast operations."""
    entry = tomlkit.table()
    entry["name"] = scenario.name
    tables: dict[str, Table] = {}
    alike = _alike(scenario)
    if alike.device is not None:
        entry["device"] = alike.device
    if isinstance(alike.laterals, Mapping):
        tables["laterals"] = _conversions(alike.laterals)
    elif alike.device is not None:
        entry["laterals"] = EVERY_LATERAL if alike.laterals is None else list(alike.laterals)
    if alike.counts is not None:
        entry["counts"] = alike.counts
    if isinstance(alike.fast_operations, Mapping):
        tables["fast_operations"] = _as_table(alike.fast_operations)
    elif alike.fast_operations is not None:
        entry["fast_operations"] = alike.fast_operations
    if alike.applicable_only:
        entry["applicable_only"] = True
    list(tables.values() or [entry])[-1].add(tomlkit.nl())
    for key, table in tables.items():
        entry[key] = table
    return entry


def _alike(scenario: Scenario) -> Scenario:
    """A mixed choice in which every lateral gets the same, as a list of laterals with one device and counts."""
    if not isinstance(scenario.laterals, Mapping) or not scenario.laterals:
        return scenario
    first, *others = {Conversion(c.device or scenario.device, scenario.counts if c.counts is None else c.counts)
                      for c in scenario.laterals.values()}
    if others:
        return scenario
    return replace(scenario, laterals=tuple(scenario.laterals), device=first.device, counts=first.counts)


def _conversions(laterals: Mapping[str, Conversion]) -> Table:
    table = tomlkit.table()
    for head, conversion in laterals.items():
        each = tomlkit.inline_table()
        each.update({key: value for key, value in (("device", conversion.device), ("counts", conversion.counts))
                     if value is not None})
        table[head] = each
    return table
