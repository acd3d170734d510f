"""Arguments of Python calls as study.toml would state them, so that the same checks read both."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, is_dataclass, replace

import numpy as np
import pandas as pd

from reliability.schema.assumptions import ASSUMPTION_TABLES, BY_KEY
from reliability.schema.free_tables import FREE_TABLES, LISTS
from reliability.schema.nearest import Names
from reliability.schema.problems import Problem
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study.settings import TOP_KEYS, read_settings
from reliability.study.text_cells import cell_text
from reliability.study.toml import Toml

_FREE = {key: table for tables in (FREE_TABLES, LISTS) for table, free in tables.items() for key in free}
_HOME = {key: a.table for key, a in BY_KEY.items()} | _FREE
_PARTS = ("low", "likely", "high")


@dataclass(frozen=True)
class Arguments(Toml):
    """What a call states; a problem of it names the argument, as there are no lines."""

    def wrong(self, path: str, value: object, rule: str, remedy: str) -> None:
        """Note a problem of the key at `path`, such as faults.cv or scenarios[2].device."""
        super().wrong(path, value, rule, remedy)
        problem = self.problems.listed.pop()
        table, _, key = path.partition(".")
        if table.startswith("scenarios["):
            at = int(table.removeprefix("scenarios[").removesuffix("]")) - 1
            problem = replace(problem, file=_scenario_name(self.data["scenarios"][at], at), column=key or None)
        elif table in ASSUMPTION_TABLES and key:
            problem = replace(problem, column=key)
        self.problems.add(problem)


def _scenario_name(entry: object, at: int) -> str:
    name = entry.get("name") if isinstance(entry, Mapping) else None
    return f"scenario '{name}'" if isinstance(name, str) and name.strip() else f"scenario {at + 1}"


def stated(assumptions: Mapping[str, object], **top: object) -> Arguments:
    """Arguments with assumptions by key, and the keys at the top of study.toml.

    assumptions: numbers, text, true or false; a range as a `Range`, a dict or a tuple of low, likely and high; three
    shares as a sequence. A table of study.toml may be given as a dict under its name. None leaves a key at its default.
    """
    arguments = Arguments("assumptions", dict(top))
    for key, value in assumptions.items():
        if key in TOP_KEYS:
            arguments.wrong(key, key, "no assumption has this key", "leave it out here")
        elif key in ASSUMPTION_TABLES:
            _state(arguments, key, value)
        elif key not in _HOME:
            near = _HOME.get(Names(BY_KEY).nearest(key) or "")  # where it may belong, and is looked for
            _state(arguments, near, {key: value}) if near else arguments.data.setdefault(key, value)
        elif value is not None:
            _state(arguments, _HOME[key], {key: value})
    return arguments


def _state(arguments: Arguments, table: str, entries: object) -> None:
    """Add entries to a table; what is no table, or was given in place of one, is left for the reader to refuse."""
    before = arguments.data.get(table, {})
    if isinstance(entries, Mapping) and isinstance(before, dict):
        entries = {str(k): toml_form(v, str(k)) for k, v in entries.items() if v is not None or k not in _HOME}
        arguments.data[table] = before | entries
    elif isinstance(before, dict):
        arguments.data[table] = entries


def check_assumptions(assumptions: Mapping[str, object]) -> None:
    """Raise StudyError where assumptions, by key, are not what study.toml could state; None is left out."""
    arguments = stated(assumptions, name="Study")
    read_settings(arguments)
    arguments.problems.raise_if_any()


def toml_form(value: object, key: str = "") -> object:
    """A value as the reader of TOML gives it: plain numbers, lists and dicts. key: of the assumption it is for."""
    if isinstance(value, np.generic):
        value = value.item()
    if is_dataclass(value) and not isinstance(value, type):  # a Range
        value = {name: part for name, part in asdict(value).items() if part is not None}
    if isinstance(value, np.ndarray | pd.Series | pd.Index):
        value = value.tolist()
    kind = BY_KEY[key].kind if key in BY_KEY else ""
    if isinstance(value, tuple) and len(value) == len(_PARTS) and kind == "number":
        value = dict(zip(_PARTS, value, strict=True))
    if isinstance(value, list | tuple):
        return [toml_form(item, _an_element(key)) for item in value]
    if isinstance(value, Mapping):
        return {str(k): toml_form(v) for k, v in value.items()}
    return value


def _an_element(key: str) -> str:
    """An assumption of the kind that an element of another is of: a share may be a range itself."""
    return "temporary_fraction" if key in BY_KEY and BY_KEY[key].kind == "shares" else ""


def scenario_entry(scenario: object) -> object:
    """A scenario as study.toml states it; anything else as it is, for the reader to refuse."""
    if isinstance(scenario, Scenario):
        converts = scenario.device or isinstance(scenario.laterals, Mapping)
        laterals = "all" if scenario.laterals is None else scenario.laterals
        scenario = {"name": scenario.name, "laterals": laterals if converts else None,
                    "device": scenario.device, "counts": scenario.counts,
                    "fast_operations": scenario.fast_operations, "applicable_only": scenario.applicable_only}
    if not isinstance(scenario, Mapping):
        return scenario
    entry = {str(k): toml_form(v) for k, v in scenario.items() if v is not None}
    named = entry.get("laterals")
    if isinstance(named, list):
        entry["laterals"] = [cell_text(section) for section in named]
    return entry


def scenario_entries(scenarios: Iterable[Scenario | Mapping[str, object]]) -> list[object]:
    """Scenarios as study.toml states them, without the one that changes nothing."""
    return [scenario_entry(s) for s in scenarios if s != Scenario(AS_BUILT)]


def not_a_frame(name: str, value: object) -> Problem:
    """The problem of a table that is no data frame."""
    return Problem(name, f"must be a data frame, not {type(value).__name__}",
                   "give a pandas.DataFrame; open_study reads the files of a folder")
