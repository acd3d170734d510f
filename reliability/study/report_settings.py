"""The table [report] of study.toml: what a report states on its face, and the plans of earlier reports."""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date

from reliability.schema.nearest import Names
from reliability.schema.values import Assumptions
from reliability.study.timestamps import FIRST_YEAR, LAST_YEAR
from reliability.study.toml import Toml

ALL_LATERALS = "all"
EARLIER_PLAN_KEYS = ("name", "year", "promised", "done", "cost", "laterals")
MOST_COST = 1e12
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


@dataclass(frozen=True)
class EarlierPlan:
    """A plan of an earlier report: what was promised, what was done.

    cost: what it cost, in the study's currency, None where not stated. laterals: section ids of its conversions, "all"
    for those of `[history.conversions]` altogether, () where it names none. number: its place among the plans of the
    file, from 1.
    """

    name: str
    year: int
    promised: str
    done: str = ""
    cost: float | None = None
    laterals: tuple[str, ...] | str = ()
    number: int = 0


def check_report(toml: Toml, values: Assumptions) -> None:
    """Note what cannot be right among the keys of [report] together."""
    given = toml.data.get("report")
    if not isinstance(given, dict):
        return
    day, year, first = values["date"], values["reporting_year"], values["first_year"]
    if day is not None and not is_day(day):
        toml.wrong("report.date", day, "not a day", "write it like 2026-03-31")
    if year is not None and first is not None and first <= year and {"reporting_year", "first_year"} & set(given):
        toml.wrong("report.first_year", first, f"must come after reporting_year ({year})",
                   f"write first_year = {year + 1}, or a later year")


def is_day(text: str) -> bool:
    """Whether a text is a day of the calendar, as ISO 8601 writes it."""
    with suppress(ValueError):
        return bool(_DAY.fullmatch(text) and date.fromisoformat(text))
    return False


def benchmarks(values: Assumptions) -> dict[str, float]:
    """The benchmarks stated, by index."""
    stated = {"saifi": values["benchmark_saifi"], "saidi_min": values["benchmark_saidi_min"],
              "caidi_min": values["benchmark_caidi_min"], "maifi_e": values["benchmark_maifi_e"]}
    return {index: float(value) for index, value in stated.items() if value is not None}


def standards(values: Assumptions) -> tuple[float, float]:
    """How far above its benchmark an index of a year, and a mean of three years, may be; NaN where none is stated."""
    year, three = values["standard_above_benchmark"], values["standard_above_benchmark_three_years"]
    return float("nan") if year is None else year, float("nan") if three is None else three


def read_plans(toml: Toml, before: tuple[EarlierPlan, ...]) -> tuple[EarlierPlan, ...]:
    """Plans of the file, `before` where it states none; problems are noted in `toml.problems`."""
    table = toml.data.get("report")
    if not isinstance(table, dict) or "plans" not in table:
        return before
    entries = table["plans"]
    if not isinstance(entries, list):
        toml.wrong("report.plans", entries, "plans must be a list of tables", "write [[report.plans]] above each")
        return before
    read = [_read_one(toml, k, entry) for k, entry in enumerate(entries, 1)]
    return tuple(plan for plan in read if plan is not None)


def _read_one(toml: Toml, number: int, entry: object) -> EarlierPlan | None:
    """One plan; None where it has a problem, which is noted."""
    path = f"report.plans[{number}]"
    if not isinstance(entry, dict):
        toml.wrong(path, entry, "a plan must be a table", "write [[report.plans]] and its keys below")
        return None
    before = len(toml.problems)
    for key in entry:
        if key not in EARLIER_PLAN_KEYS:
            toml.wrong(f"{path}.{key}", key, "unknown key of a plan",
                       Names(EARLIER_PLAN_KEYS).suggest(key, "remove it"))
    name, promised = (_text(toml, path, entry, key, needed=True) for key in ("name", "promised"))
    done = _text(toml, path, entry, "done", needed=False)
    year, cost = _year(toml, path, entry), _cost(toml, path, entry)
    laterals = _laterals(toml, f"{path}.laterals", entry.get("laterals", []))
    if len(toml.problems) > before or year is None:
        return None
    return EarlierPlan(name, year, promised, done, cost, laterals, number)


def _text(toml: Toml, path: str, entry: Mapping[str, object], key: str, needed: bool) -> str:
    raw = entry.get(key)
    if f"{path}.{key}" in toml.unread:
        return ""
    if raw is None and needed:
        toml.wrong(path, "", f"the plan has no {key}", f'write {key} = "…"')
    elif raw is not None and (not isinstance(raw, str) or (needed and not raw.strip())):
        toml.wrong(f"{path}.{key}", raw, "must be text", f'write {key} = "…"')
    return raw.strip() if isinstance(raw, str) else ""


def _year(toml: Toml, path: str, entry: Mapping[str, object]) -> int | None:
    raw = entry.get("year")
    if f"{path}.year" in toml.unread:
        return None
    if raw is None:
        toml.wrong(path, "", "the plan has no year", "write year = 2022")
    elif isinstance(raw, bool) or not isinstance(raw, int) or not FIRST_YEAR <= raw <= LAST_YEAR:
        toml.wrong(f"{path}.year", raw, f"must be a year from {FIRST_YEAR} to {LAST_YEAR}", "write it like 2022")
    else:
        return raw
    return None


def _cost(toml: Toml, path: str, entry: Mapping[str, object]) -> float | None:
    raw = entry.get("cost")
    if raw is None:
        return None
    if isinstance(raw, bool) or not isinstance(raw, int | float) or not 0 <= raw <= MOST_COST:
        toml.wrong(f"{path}.cost", raw, "must be an amount of money of 0 or more",
                   "write one number, without currency and quotation marks")
        return None
    return float(raw)


def _laterals(toml: Toml, path: str, raw: object) -> tuple[str, ...] | str:
    if isinstance(raw, str) and raw.strip().casefold() == ALL_LATERALS:
        return ALL_LATERALS
    if isinstance(raw, list) and all(isinstance(item, str) for item in raw):
        return tuple(dict.fromkeys(item.strip() for item in raw))
    toml.wrong(path, raw, f'laterals must be "{ALL_LATERALS}" or a list of section ids', 'write laterals = ["…", "…"]')
    return ()


def check_plans(toml: Toml, plans: tuple[EarlierPlan, ...], conversions: Mapping[str, object]) -> None:
    """Note the laterals of plans that no key of `[history.conversions]` is for: nothing can be verified of them."""
    names = Names(conversions)
    for plan in plans:
        path = f"report.plans[{plan.number}].laterals"
        if plan.laterals == ALL_LATERALS and not conversions:
            toml.wrong(path, ALL_LATERALS, "history.conversions names no lateral",
                       "list the converted laterals with their days under [history.conversions]")
        for lateral in plan.laterals if isinstance(plan.laterals, tuple) else ():
            if lateral not in conversions:
                toml.wrong(path, lateral, "not a lateral of history.conversions",
                           names.suggest(lateral, "list it with its day under [history.conversions]"))
