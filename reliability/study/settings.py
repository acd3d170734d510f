"""study.toml into typed assumptions, scenarios and header maps, every problem at once."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from reliability.formats import exact
from reliability.schema.assumption_types import Assumption, AssumptionKind, Range
from reliability.schema.assumptions import ASSUMPTION_TABLES, ASSUMPTIONS, BY_KEY, EXACT_TABLES, defaults
from reliability.schema.columns import COLUMN_TABLES as FILES
from reliability.schema.free_tables import FREE_TABLES, LISTS, OF_TABLES
from reliability.schema.nearest import Names
from reliability.schema.problems import Problem, or_less
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.schema.values import Assumptions, as_assumptions
from reliability.study.headers import ColumnMap
from reliability.study.report_settings import EarlierPlan, check_report, read_plans
from reliability.study.scenarios import read_scenarios
from reliability.study.toml import Toml, shown

SHARES_TOLERANCE = 1e-6
TOP_KEYS = ("name", "currency", "scenarios", "columns")
_RANGE = ("low", "likely", "high")


@dataclass(frozen=True)
class Settings:
    """What study.toml states; what it leaves out has its default."""

    name: str = ""
    currency: str = "USD"
    values: Assumptions = field(default_factory=defaults)
    stated_ranges: Mapping[str, Range] = field(default_factory=dict)
    scenarios: tuple[Scenario, ...] = (Scenario(AS_BUILT),)
    columns: Mapping[str, ColumnMap] = field(default_factory=dict)
    extra: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    plans: tuple[EarlierPlan, ...] = ()


def read_settings(toml: Toml, before: Settings | None = None) -> Settings:
    """Settings of a parsed study.toml; problems are noted in `toml.problems`.

    before: the settings that hold where the file states nothing, or something wrong; None: the defaults.
    """
    before = before or Settings()
    names = Names((*TOP_KEYS, *ASSUMPTION_TABLES))
    for key in toml.data:
        if key not in TOP_KEYS and key not in ASSUMPTION_TABLES:
            toml.wrong(key, key, "unknown key or table",
                       f"move it under [{BY_KEY[key].table}]" if key in BY_KEY else names.suggest(key, "remove it"))
    stated: dict[str, object] = dict(before.values)
    ranges = dict(before.stated_ranges)
    for table in ASSUMPTION_TABLES:
        _read_table(toml, table, stated, ranges)
    values = as_assumptions(stated)
    if not toml.unread:
        _check_fast(toml, values)
        check_report(toml, values)
    return Settings(_name(toml), _text(toml, "currency", before.currency), values, ranges,
                    read_scenarios(toml), _columns(toml), _free_tables(toml, before.extra),
                    read_plans(toml, before.plans))


def _name(toml: Toml) -> str:
    if "name" not in toml.data and "name" not in toml.unread:
        toml.problems.add(Problem(toml.file, "the study has no name", 'begin the file with name = "…"', None, "name"))
    return _text(toml, "name", "")


def _text(toml: Toml, key: str, default: str) -> str:
    value = toml.data.get(key, default)
    if not isinstance(value, str) or (key in toml.data and not value.strip()):
        toml.wrong(key, value, f"{key} must be text", f'write {key} = "…"')
        return default
    return value.strip()


def _read_table(toml: Toml, table: str, values: dict[str, object], ranges: dict[str, Range]) -> None:
    entries = toml.data.get(table, {})
    if not isinstance(entries, dict):
        toml.wrong(table, entries, f"{table} must be a table", f"write [{table}] on a line and its keys below")
        return
    known = {a.key: a for a in ASSUMPTIONS if a.table == table}
    free = FREE_TABLES.get(table, {}) | LISTS.get(table, {})
    names = Names((*known, *free))
    for key, raw in entries.items():
        path = f"{table}.{key}"
        if key in free:
            continue
        if key in known:
            for name in [name for name in ranges if name.partition(".")[0] == key]:
                del ranges[name]  # what is stated now replaces an earlier range
            read = _READ[known[key].kind](toml, path, raw, known[key], ranges)
            if read is not None:
                values[key] = read
        elif key in BY_KEY:
            toml.wrong(path, key, "unknown key in this table", f"move it under [{BY_KEY[key].table}]")
        else:
            elsewhere = names.nearest(key) or Names(BY_KEY).nearest(key)
            toml.wrong(path, key, "unknown key", f"did you mean '{elsewhere}'?" if elsewhere else "remove it")


def _free_tables(toml: Toml, before: Mapping[str, Mapping[str, object]]) -> dict[str, Mapping[str, object]]:
    """Tables whose keys are the user's own; their values are text, numbers or days, read where they are used."""
    found: dict[str, Mapping[str, object]] = dict(before)
    for table, free in FREE_TABLES.items():
        entries = toml.data.get(table)
        if not isinstance(entries, dict):
            continue
        for key in free:
            raw, path = entries.get(key, before.get(key, {})), f"{table}.{key}"
            if not isinstance(raw, dict):
                toml.wrong(path, raw, "must be a table", f"write [{path}] and below it {free[key]}")
                continue
            for name, value in raw.items():
                if not _is_one(value, key):
                    toml.wrong(f"{path}.{name}", value, "must be one value", f"write {free[key]}")
            found[key] = {name: value for name, value in raw.items() if _is_one(value, key)}
    return found


def _is_one(value: object, key: str) -> bool:
    """Whether a value of a free table is of the form that the table takes."""
    return not isinstance(value, list) and (not isinstance(value, dict) or key in OF_TABLES)


def _number(toml: Toml, path: str, raw: object, a: Assumption, ranges: dict[str, Range],
            key: str | None = None) -> float | None:
    """A number or the mean of a range; the range is noted under `key`."""
    if not isinstance(raw, dict):
        number = _bounded(toml, path, raw, a)
        return None if number is None else float(number)
    if a.table in EXACT_TABLES:
        toml.wrong(path, raw, "may not be a range", f"write one number ({a.unit})")
        return None
    for part in raw:
        if part not in _RANGE:
            toml.wrong(f"{path}.{part}", part, "unknown key of a range", Names(_RANGE).suggest(part, "remove it"))
    missing = [part for part in _RANGE if part not in raw]
    if missing:
        toml.wrong(path, raw, f"a range needs {', '.join(missing)} too", "write { low = …, likely = …, high = … }")
    if missing or len(raw) > len(_RANGE):
        return None
    low, likely, high = (_bounded(toml, f"{path}.{part}", raw[part], a) for part in _RANGE)
    if low is None or likely is None or high is None:
        return None
    if not low <= likely <= high:
        toml.wrong(path, raw, "low ≤ likely ≤ high must hold", "put the three in order")
        return None
    found = Range(float(low), float(likely), float(high))
    ranges[key or a.key] = found
    return found.mean if low < high else found.low


def _bounded(toml: Toml, path: str, raw: object, a: Assumption) -> int | float | None:
    """The number as it is written, a large integer with every digit; None where it is none or out of bounds."""
    unit = f" ({a.unit})" if a.unit else ""
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        toml.wrong(path, raw, "must be a number", f"write {a.key} as a number{unit}, without quotation marks")
    elif not is_finite(raw):
        toml.wrong(path, raw, "the number is not finite", f"write a finite number{unit}")
    elif (a.low is not None and raw < a.low) or (a.high is not None and raw > a.high):
        toml.wrong(path, raw, bounds_rule(a), f"correct it: {a.label}{unit}: {a.help}")
    else:
        return raw
    return None


def bounds_rule(a: Assumption) -> str:
    """Between which numbers an assumption must lie, in words."""
    written = "{:.10g}".format if a.table in EXACT_TABLES else exact      # no space within a calendar year
    low, high = ("" if bound is None else written(bound) for bound in (a.low, a.high))
    if low and high:
        return f"must lie between {low} and {high}"
    return f"must be at least {low}" if low else f"must be at most {high}"


def is_finite(number: int | float) -> bool:
    """Whether a number is finite and, where it is an integer, not too large for a float."""
    try:
        return math.isfinite(number)
    except OverflowError:
        return False


def _whole(toml: Toml, path: str, raw: object, a: Assumption, ranges: dict[str, Range]) -> int | None:
    if isinstance(raw, dict):
        toml.wrong(path, raw, "may not be a range", f"write one whole number, like {a.default or 1000}")
        return None
    number = _bounded(toml, path, raw, a)
    if number is None:
        return None
    if number != int(number):
        toml.wrong(path, raw, "must be a whole number", f"correct it: {a.label} ({a.unit}): {a.help}")
        return None
    return int(number)


def _shares(toml: Toml, path: str, raw: object, a: Assumption,
            ranges: dict[str, Range]) -> tuple[float, ...] | None:
    """Three shares that sum to 1, ranges at their mean."""
    if not isinstance(raw, list) or len(raw) != 3:
        toml.wrong(path, raw, "must be a list of three shares", f"write {a.key} = {shown(a.default)}")
        return None
    of_shares: dict[str, Range] = {}
    read = [_number(toml, f"{path}[{k}]", item, a, of_shares, f"{a.key}.{k - 1}") for k, item in enumerate(raw, 1)]
    shares = tuple(share for share in read if share is not None)
    if len(shares) < len(raw):
        return None
    total = math.fsum(shares)
    if abs(total - 1.0) > SHARES_TOLERANCE:
        mean = " (a range counts with its mean)" if of_shares else ""
        toml.wrong(path, raw, f"the shares must sum to 1{mean}, not {total:.6g}", "change one of them")
        return None
    ranges.update(of_shares)
    return shares


def _choice(toml: Toml, path: str, raw: object, a: Assumption, ranges: dict[str, Range]) -> str | None:
    if isinstance(raw, str) and raw in a.choices:
        return raw
    listed = "write one of " + ", ".join(f'"{c}"' for c in a.choices)
    toml.wrong(path, raw, f"unknown {a.key}", Names(a.choices).suggest(raw, listed) if isinstance(raw, str) else listed)
    return None


def _plain_text(toml: Toml, path: str, raw: object, a: Assumption, ranges: dict[str, Range]) -> str | None:
    """Text; a day or a list of days, which TOML writes without quotation marks, as text of ISO 8601."""
    if isinstance(raw, list) and raw and all(isinstance(item, str | dt.date) for item in raw):
        raw = ", ".join(map(str, raw))
    if isinstance(raw, dt.date):
        raw = raw.isoformat()
    if isinstance(raw, str) and raw.strip():
        return raw.strip()
    toml.wrong(path, raw, "must be text", f'write {a.key} = "…", or leave the key out')
    return None


def _flag(toml: Toml, path: str, raw: object, a: Assumption, ranges: dict[str, Range]) -> bool | None:
    if isinstance(raw, bool):
        return raw
    toml.wrong(path, raw, "must be true or false", f"write {a.key} = true or {a.key} = false, without quotation marks")
    return None


_READ: Mapping[AssumptionKind, Callable[[Toml, str, object, Assumption, dict[str, Range]], object]] = {
    "number": _number, "whole": _whole, "shares": _shares, "choice": _choice, "text": _plain_text, "flag": _flag}


def _check_fast(toml: Toml, values: Assumptions) -> None:
    fast, lockout = values["fast_operations"], values["operations_to_lockout"]
    given = toml.data.get("protection")
    if fast >= lockout and isinstance(given, dict):
        key, value = ("fast_operations", fast) if "fast_operations" in given else ("operations_to_lockout", lockout)
        toml.wrong(f"protection.{key}", value,
                   f"fast_operations ({fast}) must be below operations_to_lockout ({lockout})",
                   f"write fast_operations = {or_less(lockout - 1)}, or more operations to lockout")


def _columns(toml: Toml) -> dict[str, ColumnMap]:
    tables = toml.data.get("columns", {})
    if not isinstance(tables, dict):
        toml.wrong("columns", tables, "columns must hold a table a file", "write [columns.sections] and its keys below")
        return {}
    maps = {}
    for table, entries in tables.items():
        path = f"columns.{table}"
        if table not in FILES:
            toml.wrong(path, table, "unknown table", Names(FILES).suggest(table, f"use one of {', '.join(FILES)}"))
        elif not isinstance(entries, dict):
            toml.wrong(path, entries, "must be a table", f"write [{path}] and below it our name = \"your header\"")
        else:
            maps[table] = _column_map(toml, path, entries, Names(c.name for c in FILES[table]))
    return maps


def _column_map(toml: Toml, path: str, entries: dict[str, Any], names: Names) -> ColumnMap:
    ignore = entries.get("ignore", [])
    if not isinstance(ignore, list) or not all(isinstance(h, str) for h in ignore):
        toml.wrong(f"{path}.ignore", ignore, "must be a list of headers", 'write ignore = ["…", "…"]')
        ignore = []
    found: dict[str, str] = {}
    for name, header in entries.items():
        if name == "ignore":
            continue
        if name not in names.known:
            toml.wrong(f"{path}.{name}", name, "unknown column", names.suggest(name, "remove it"))
        elif not isinstance(header, str) or not header.strip():
            toml.wrong(f"{path}.{name}", header, "must be a header of your file", f'write {name} = "…"')
        elif header.strip().casefold() in {h.casefold() for h in found.values()}:
            toml.wrong(f"{path}.{name}", header, "the header is mapped twice", "map each header to one name")
        else:
            found[name] = header.strip()
    return ColumnMap(found, tuple(ignore))
