"""study.toml edited: assumptions and scenarios as tables, and back; comments and the rest stay as written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd
import tomlkit

from reliability.formats import exact
from reliability.schema.assumption_types import Assumption, Range
from reliability.schema.assumptions import ASSUMPTIONS, BY_KEY
from reliability.schema.default_ranges import default_range
from reliability.schema.scenarios import FORCED_IN, FORCED_OUT
from reliability.study.conversion_words import from_words, in_words
from reliability.study.folder import SETTINGS_FILE
from reliability.study.toml import read_toml

LOW, VALUE, HIGH, BY_DEFAULT = "low", "value", "high", "default range"
SCENARIO_COLUMNS = ("name", "laterals", "device", "counts", "fast_operations", "applicable_only")
OF_EACH = ("laterals", "fast_operations")       # may be a table with an entry a lateral or device
EVERY_LATERAL = "all"


def assumptions_frame(document: tomlkit.TOMLDocument) -> pd.DataFrame:
    """Every assumption with what the study states of it; blank where it has its default."""
    rows, off = [], _get(document, BY_KEY["default_ranges"]) is False
    for a in ASSUMPTIONS:
        stated = _get(document, a)
        low = high = ""
        if isinstance(stated, dict):
            low, high = _text(stated.get("low", "")), _text(stated.get("high", ""))
            stated = stated.get("likely", "")
        around = "" if low or high or off else _default_range(a, stated)
        rows.append({"assumption": a.label, LOW: low, VALUE: "" if stated is None else _text(stated), HIGH: high,
                     BY_DEFAULT: around, "unit": a.unit, "default": "" if a.default is None else _stated(a.default),
                     "group": a.table, "meaning": a.help, "source": a.source})
    return pd.DataFrame(rows, index=pd.Index([a.key for a in ASSUMPTIONS], name="key"), dtype="str")


def _default_range(a: Assumption, stated: object) -> str:
    """The default range around what is stated, or around the default, as text; "" for none."""
    known = default_range(a.key, a.default if stated is None else stated)
    return "" if known is None else " to ".join(exact(float(f"{end:.3g}")) for end in (known.low, known.high))


def with_assumptions(text: str, before: pd.DataFrame, after: pd.DataFrame) -> str:
    """study.toml with the changed rows of the table of assumptions; everything else stays as it is written."""
    document = tomlkit.parse(text)
    for a in ASSUMPTIONS:
        cells = _cells(after, a.key)
        if cells == _cells(before, a.key):
            continue
        low, value, high = cells
        if not value and not low and not high:
            if a.table in document:
                document[a.table].pop(a.key, None)
            continue
        if a.table not in document:
            document[a.table] = tomlkit.table()
        if low or high:
            triple = tomlkit.inline_table()
            triple.update({"low": _value(low, a), "likely": _value(value, a), "high": _value(high, a)})
            document[a.table][a.key] = triple
        else:
            document[a.table][a.key] = _value(value, a)
    return tomlkit.dumps(document)


def _cells(frame: pd.DataFrame, key: str) -> list[str]:
    """Low, value and high of an assumption in the table of assumptions, as text."""
    row = frame.loc[key].fillna("").astype(str)
    return [str(row[name]).strip() for name in (LOW, VALUE, HIGH)]


def differences(before: tomlkit.TOMLDocument, after: tomlkit.TOMLDocument) -> list[str]:
    """Each assumption that is stated otherwise, in words with what is stated now, and whether the scenarios differ."""
    old, new = assumptions_frame(before), assumptions_frame(after)
    said = []
    for a in ASSUMPTIONS:
        low, value, high = now = _cells(new, a.key)
        if now != _cells(old, a.key):
            said.append(f"{a.label}: {value or 'the default'}" + (f" ({low} to {high})" if low or high else ""))
    return said + ([] if scenarios_frame(before).equals(scenarios_frame(after)) else ["scenarios"])


def set_name(text: str, name: str) -> str:
    """study.toml of a study called `name`."""
    document = tomlkit.parse(text)
    document["name"] = name.strip() or "A study"
    return tomlkit.dumps(document)


def set_values(text: str, values: Mapping[str, float | int | str | Range | None]) -> str:
    """study.toml with values for some assumptions; None leaves a key out."""
    document = tomlkit.parse(text)
    for a in ASSUMPTIONS:
        if a.key in values and values[a.key] is None:
            if a.table in document:
                document[a.table].pop(a.key, None)
        elif a.key in values:
            if a.table not in document:
                document[a.table] = tomlkit.table()
            value = values[a.key]
            document[a.table][a.key] = _inline(vars(value)) if isinstance(value, Range) else value
    return tomlkit.dumps(document)


def set_forced(text: str, forced_in: Iterable[str], forced_out: Iterable[str]) -> str:
    """study.toml with the laterals that a choice always converts, and those that it never does."""
    document = tomlkit.parse(text)
    forced = dict.fromkeys(forced_in, FORCED_IN) | dict.fromkeys(forced_out, FORCED_OUT)
    if forced and "choice" not in document:
        document["choice"] = tomlkit.table()
    if "choice" in document:
        document["choice"].pop("laterals", None)
        if forced:
            document["choice"]["laterals"] = forced
    return tomlkit.dumps(document)


def scenarios_frame(document: tomlkit.TOMLDocument) -> pd.DataFrame:
    """Scenarios that the study states, as text; laterals separated by semicolons, see `conversion_words`."""
    rows = []
    for entry in document.get("scenarios", []):
        row = {name: "" if entry.get(name) is None else _text(entry[name]) for name in SCENARIO_COLUMNS}
        laterals = entry.get("laterals")
        row["laterals"] = "; ".join(map(str, laterals)) if isinstance(laterals, list) else row["laterals"]
        row |= {name: words for name in OF_EACH if isinstance(entries := entry.get(name), dict)
                and (words := in_words({str(k): _unwrapped(v) for k, v in entries.items()})) is not None}
        rows.append(row)
    return pd.DataFrame(rows, columns=list(SCENARIO_COLUMNS), dtype="str")


def _unwrapped(value: object) -> object:
    """A value of study.toml without what belongs to the document."""
    return value.unwrap() if isinstance(value, tomlkit.items.Item) else value


def with_scenarios(text: str, after: pd.DataFrame) -> str:
    """study.toml with its scenarios replaced by those of the table."""
    document = tomlkit.parse(text)
    document.pop("scenarios", None)
    entries = tomlkit.aot()
    for row in after.fillna("").astype(str).to_dict("records"):
        cells = {str(k): v.strip() for k, v in row.items()}
        if any(cells.values()):
            entries.append(_scenario(cells))
    if len(entries):
        document["scenarios"] = entries
    return tomlkit.dumps(document)


def _scenario(cells: dict[str, str]) -> tomlkit.items.Table:
    entry = tomlkit.table()
    for name, cell in cells.items():
        if not cell:
            continue
        if cell.startswith("{") and name in OF_EACH:
            entry[name] = _table_of(cell)
        elif name in OF_EACH and (of_each := from_words(cell, name == "fast_operations")) is not None:
            entry[name] = _inline(of_each)
        elif name == "laterals" and cell.casefold() != EVERY_LATERAL:
            entry[name] = [part.strip() for part in cell.split(";") if part.strip()]
        elif name in ("counts", "fast_operations"):
            entry[name] = _plain_number(cell)
        elif name == "applicable_only":
            entry[name] = {"true": True, "false": False}.get(cell.casefold(), cell)
        else:
            entry[name] = cell
    return entry


def parse_settings(content: bytes) -> tomlkit.TOMLDocument:
    """study.toml as a document with its comments; StudyError where it is no TOML."""
    read_toml(SETTINGS_FILE, content).problems.raise_if_any()
    return tomlkit.parse(content.decode("utf-8-sig"))


def _get(document: tomlkit.TOMLDocument, a: Assumption) -> object:
    table = document.get(a.table)
    return table.get(a.key) if isinstance(table, dict) else None


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return ", ".join(map(_text, value))
    return _inline(value).as_string() if isinstance(value, dict) else str(value)


def _stated(value: object) -> str:
    """A default as it is written for readers."""
    return exact(value) if isinstance(value, int | float) and not isinstance(value, bool) else _text(value)


def _inline(values: Mapping[str, object]) -> tomlkit.items.InlineTable:
    """A table on one line, tables in it too."""
    table = tomlkit.inline_table()
    table.update({key: _inline(value) if isinstance(value, dict) else value for key, value in values.items()})
    return table


def _table_of(cell: str) -> object:
    """A cell that spells a table on one line; what cannot be read stays text, so that the check names it."""
    try:
        return tomlkit.parse(f"table = {cell}")["table"]
    except tomlkit.exceptions.ParseError:
        return cell


def _value(cell: str, a: Assumption) -> object:
    """A cell as TOML: what cannot be read stays text, so that the check of the study names it."""
    if a.kind == "shares" and "," in cell and "{" not in cell:
        return [_plain_number(part) for part in cell.split(",")]
    if a.kind == "flag":
        return {"true": True, "false": False}.get(cell.casefold(), cell)
    return _plain_number(cell) if a.kind in ("number", "whole") else cell


def _plain_number(cell: str) -> int | float | str:
    for read in (int, float):
        try:
            return read(cell.strip())
        except ValueError:
            continue
    return cell.strip()

