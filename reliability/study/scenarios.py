"""The scenarios of study.toml, by themselves and against the network."""

from __future__ import annotations

from typing import Any

import numpy as np

from reliability.schema.columns import MOST_COUNTS
from reliability.schema.devices import LATERAL_DEVICES, SECTIONALIZER
from reliability.schema.nearest import Names
from reliability.schema.problems import or_less
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study.protection import Protection, converted, counts_too_many
from reliability.study.toml import Toml

KEYS = ("name", "laterals", "device", "counts", "fast_operations", "applicable_only")


def read_scenarios(toml: Toml) -> tuple[Scenario, ...]:
    """Scenarios of the file, "As built" first; problems are noted in `toml.problems`."""
    entries = toml.data.get("scenarios", [])
    if not isinstance(entries, list):
        toml.wrong("scenarios", entries, "scenarios must be a list of tables", "write [[scenarios]] above each")
        return (Scenario(AS_BUILT),)
    scenarios = [Scenario(AS_BUILT)]
    names: set[str] = set()
    for k, entry in enumerate(entries, 1):
        path = f"scenarios[{k}]"
        if not isinstance(entry, dict):
            toml.wrong(path, entry, "a scenario must be a table", "write [[scenarios]] and its keys below")
            continue
        scenario = _read_one(toml, path, entry)
        if scenario is None:
            continue
        folded = scenario.name.casefold()
        if folded == AS_BUILT.casefold() and folded not in names:
            if scenario != Scenario(scenario.name):
                toml.wrong(f"{path}.name", scenario.name, f"'{AS_BUILT}' changes nothing", "choose another name")
        elif folded in names:
            toml.wrong(f"{path}.name", scenario.name, "two scenarios have this name", "choose another name")
        else:
            scenarios.append(scenario)
        names.add(folded)
    return tuple(scenarios)


def _read_one(toml: Toml, path: str, entry: dict[str, Any]) -> Scenario | None:
    before = len(toml.problems)
    for key in entry:
        if key not in KEYS:
            toml.wrong(f"{path}.{key}", key, "unknown key of a scenario", Names(KEYS).suggest(key, "remove it"))
    name = entry.get("name")
    if not isinstance(name, str) or not name.strip():
        toml.wrong(path, name if name is not None else "", "the scenario has no name", 'write name = "…"')
    device = entry.get("device")
    if device is not None and device not in LATERAL_DEVICES:
        listed = "write one of " + ", ".join(f'"{d}"' for d in LATERAL_DEVICES)
        toml.wrong(f"{path}.device", device, "unknown device of a lateral",
                   Names(LATERAL_DEVICES).suggest(device, listed) if isinstance(device, str) else listed)
    elif device is None and ("laterals" in entry or "counts" in entry):
        device = SECTIONALIZER
    only = entry.get("applicable_only", False)
    if not isinstance(only, bool):
        toml.wrong(f"{path}.applicable_only", only, "must be true or false",
                   "write true or false without quotation marks")
    laterals = _laterals(toml, f"{path}.laterals", entry.get("laterals", "all"))
    counts = _whole(toml, f"{path}.counts", entry.get("counts"), 1, MOST_COUNTS)
    fast = _whole(toml, f"{path}.fast_operations", entry.get("fast_operations"), 0, 9)
    if len(toml.problems) > before:
        return None
    return Scenario(name.strip(), laterals if device else (), device, counts, fast, only)


def _laterals(toml: Toml, path: str, raw: object) -> tuple[str, ...] | None:
    """Ids, or None for all of them."""
    if isinstance(raw, str) and raw.strip().casefold() == "all":
        return None
    if not isinstance(raw, list):
        toml.wrong(path, raw, 'laterals must be "all" or a list of section ids', 'write laterals = ["…", "…"]')
        return ()
    for item in raw:
        if not isinstance(item, str):
            toml.wrong(path, item, "a section id must be text", "write it in quotation marks")
            return ()
    return tuple(dict.fromkeys(item.strip() for item in raw))


def _whole(toml: Toml, path: str, raw: object, low: int, high: int) -> int | None:
    if raw is None:
        return None
    whole = isinstance(raw, int | float) and not isinstance(raw, bool) and low <= raw <= high and raw == int(raw)
    if not whole:
        toml.wrong(path, raw, f"must be a whole number from {low} to {high}", "write one number, no range")
        return None
    return int(raw)


def check_scenarios(toml: Toml, scenarios: tuple[Scenario, ...], ids: list[str],
                    plan: Protection | None) -> None:
    """Note what the scenarios ask of a network that it cannot do.

    ids: section_id of each record; plan: the protection as built, None where the sections have problems
    of their own: then only laterals that are no section at all are noted.
    """
    place = {section: i for i, section in enumerate(ids)}
    is_head = np.full(len(ids), plan is None)
    if plan is not None:
        is_head[plan.heads()] = True
    names = Names(np.array(ids, object)[is_head])
    for path, scenario in _placed(toml, scenarios):
        named = _wanted(toml, path, scenario, place, is_head, names)
        if plan is None:
            continue
        wanted = plan.heads() if scenario.laterals is None else named
        _check_fast(toml, path, scenario, ids, plan)
        if scenario.device is None or wanted is None:
            continue
        after = converted(plan, wanted, scenario.device, scenario.counts)
        broken = counts_too_many(after)
        if scenario.applicable_only:  # a lateral that cannot take the device then stays as it is
            broken = np.setdiff1d(broken, wanted)
        key = f"{path}.counts" if scenario.counts else f"{path}.device"
        for i in broken[:5]:
            lockout = int(after.lockout[after.backup[i]])
            toml.wrong(key, ids[i],
                       f"{after.counts[i]:g} counts at section {ids[i]} are above operations to lockout − 1 "
                       f"of the device above it, {ids[after.backup[i]]} ({lockout})",
                       f"set counts to {or_less(lockout - 1)}" if lockout > 1 else
                       "a sectionalizer needs a device above it that recloses: leave this lateral out")
        if len(broken) > 5:
            toml.wrong(key, scenario.name, f"{len(broken) - 5} more laterals have too many counts",
                       "lower counts, or list the laterals that can take them")


def _placed(toml: Toml, scenarios: tuple[Scenario, ...]):
    """Each scenario that the file gives, with its path there."""
    entries = toml.data.get("scenarios", [])
    paths = {str(e.get("name", "")).strip(): f"scenarios[{k}]" for k, e in enumerate(entries, 1) if isinstance(e, dict)}
    return [(paths[s.name], s) for s in scenarios if s.name in paths and s.name != AS_BUILT]


def _wanted(toml: Toml, path: str, scenario: Scenario, place: dict[str, int], is_head: np.ndarray,
            names: Names) -> np.ndarray | None:
    wanted, shown = [], 0
    for section in scenario.laterals or ():
        i = place.get(section)
        if i is not None and is_head[i]:
            wanted.append(i)
            continue
        shown += 1
        if i is None:
            toml.wrong(f"{path}.laterals", section, "no section has this id",
                       names.suggest(section, "write the section_id at the head of a lateral"))
        else:
            toml.wrong(f"{path}.laterals", section, "this section is not the head of a lateral",
                       "write a section headed by a fuse, sectionalizer or lateral_recloser with none of them above")
    return np.array(wanted, int) if not shown else None


def _check_fast(toml: Toml, path: str, scenario: Scenario, ids: list[str], plan: Protection) -> None:
    fast = scenario.fast_operations
    if fast is None:
        return
    broken = np.flatnonzero(plan.three_phase & (plan.lockout <= fast))
    if len(broken):
        i = broken[0]
        more = f" and {len(broken) - 1} more" if len(broken) > 1 else ""
        toml.wrong(f"{path}.fast_operations", fast,
                   f"must be below operations to lockout of section {ids[i]} ({plan.lockout[i]:g}){more}",
                   f"write {or_less(int(plan.lockout[broken].min()) - 1)}")
