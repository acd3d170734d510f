"""study.toml of an imported study: what the exports brought, the recipe's answers, and names turned into sections."""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from typing import Any

import tomlkit

from reliability.study.toml_edit import parse_settings


def study_settings(given: bytes | None, answers: Mapping[str, Any], name: str, zone: str, section_of: Mapping[str, str],
                   ids: frozenset[str]) -> str:
    """study.toml as text.

    given: the one among the exports. answers: the recipe's [study]. name: of a study that has none. zone: time zone of
    the records, "" for none. section_of: name in the exports → section_id; ids: every section_id.
    """
    document = tomlkit.document() if given is None else parse_settings(given)
    if "name" not in document and "name" not in answers:
        document["name"] = name
    _merge(document, answers)
    if zone and "time_zone" not in document.get("history", {}):
        _merge(document, {"history": {"time_zone": zone}})
    document.pop("columns", None)      # the tables that are written have our own headers
    _rename(document, section_of, ids)
    return tomlkit.dumps(document)


def with_settings(text: str, values: Mapping[str, Any]) -> str:
    """study.toml with values of some keys, table by table."""
    document = parse_settings(text.encode())
    _merge(document, values)
    return tomlkit.dumps(document)


def _merge(into: MutableMapping[str, Any], values: Mapping[str, Any]) -> None:
    for key, value in values.items():
        if isinstance(value, Mapping) and isinstance(into.get(key), MutableMapping):
            _merge(into[key], value)
        else:
            into[key] = value


def _rename(document: tomlkit.TOMLDocument, section_of: Mapping[str, str], ids: frozenset[str]) -> None:
    """Sections that the settings name by a device or segment of the exports, by their section_id."""
    def of(name: object) -> object:
        return name if name in ids else section_of.get(str(name), name)

    for scenario in document.get("scenarios", []):
        laterals, fast = scenario.get("laterals"), scenario.get("fast_operations")
        if isinstance(laterals, list) and any(of(x) != x for x in laterals):
            scenario["laterals"] = [of(x) for x in laterals]
        for table in (laterals, fast):
            _rename_keys(table, of)
    _rename_keys(document.get("choice", {}).get("laterals"), of)
    _rename_keys(document.get("history", {}).get("conversions"), of)


def _rename_keys(table: object, of: Any) -> None:
    if isinstance(table, MutableMapping):
        for key in [k for k in table if of(k) != k]:
            table[str(of(key))] = table.pop(key)
