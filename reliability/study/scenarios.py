"""The scenarios of study.toml, by themselves and against the network."""

from __future__ import annotations

from collections.abc import Mapping

from reliability.schema.columns import MOST_COUNTS
from reliability.schema.devices import LATERAL_DEVICES, SECTIONALIZER
from reliability.schema.nearest import Names
from reliability.schema.scenarios import AS_BUILT, Conversion, Scenario
from reliability.study.toml import Toml

CONVERSION_KEYS = ("device", "counts")
SCENARIO_KEYS = ("name", "laterals", "device", "counts", "fast_operations", "applicable_only")


def read_scenarios(toml: Toml) -> tuple[Scenario, ...]:
    """Scenarios of the file, "As built" first; problems are noted in `toml.problems`."""
    entries = toml.data.get("scenarios", [])
    if not isinstance(entries, list):
        remedy = "write [[scenarios]], in two brackets, above the keys of each"
        toml.wrong("scenarios", entries, "scenarios must be a list of tables", remedy)
        return (Scenario(AS_BUILT),)
    scenarios = [Scenario(AS_BUILT)]
    names: set[str] = set()
    for k, entry in enumerate(entries, 1):
        path = f"scenarios[{k}]"
        if not isinstance(entry, dict):
            toml.wrong(path, entry, "a scenario must be a table", "write [[scenarios]] and its keys below")
            continue
        scenario, name = _read_one(toml, path, entry), str(entry.get("name", "")).strip()
        folded = name.casefold()
        if folded and folded in names:
            toml.wrong(f"{path}.name", name, "two scenarios have this name", "choose another name")
        elif folded == AS_BUILT.casefold():
            if scenario is not None and scenario != Scenario(scenario.name):
                toml.wrong(f"{path}.name", name, f"'{AS_BUILT}' changes nothing", "choose another name")
        elif scenario is not None:
            scenarios.append(scenario)
        names.add(folded)
    return tuple(scenarios)


def _read_one(toml: Toml, path: str, entry: Mapping[str, object]) -> Scenario | None:
    """One scenario; None where it has a problem, which is noted."""
    before = len(toml.problems)
    for key in entry:
        if key not in SCENARIO_KEYS:
            toml.wrong(f"{path}.{key}", key, "unknown key of a scenario",
                       Names(SCENARIO_KEYS).suggest(key, "remove it"))
    name = entry.get("name")
    if f"{path}.name" not in toml.unread and (not isinstance(name, str) or not name.strip()):
        toml.wrong(path, name if name is not None else "", "the scenario has no name", 'write name = "…"')
        name = ""
    device = _device(toml, f"{path}.device", entry.get("device"))
    if device is None and ("laterals" in entry or "counts" in entry):
        device = SECTIONALIZER
    only = entry.get("applicable_only", False)
    if not isinstance(only, bool):
        toml.wrong(f"{path}.applicable_only", only, "must be true or false",
                   "write true or false without quotation marks")
        only = False
    laterals = _laterals(toml, f"{path}.laterals", entry.get("laterals", "all"))
    counts = _whole(toml, f"{path}.counts", entry.get("counts"), 1, MOST_COUNTS)
    fast = _fast_operations(toml, f"{path}.fast_operations", entry.get("fast_operations"))
    if len(toml.problems) > before or not isinstance(name, str) or toml.lost(path):
        return None
    return Scenario(name.strip(), laterals if device else (), device, counts, fast, only)


def _device(toml: Toml, path: str, raw: object) -> str | None:
    if raw is None or (isinstance(raw, str) and raw in LATERAL_DEVICES):
        return raw
    listed = "write one of " + ", ".join(f'"{d}"' for d in LATERAL_DEVICES)
    toml.wrong(path, raw, "unknown device of a lateral",
               Names(LATERAL_DEVICES).suggest(raw, listed) if isinstance(raw, str) else listed)
    return None


def _laterals(toml: Toml, path: str, raw: object) -> tuple[str, ...] | dict[str, Conversion] | None:
    """Section ids, the conversion of each in a mixed choice, or None for all laterals."""
    if isinstance(raw, str) and raw.strip().casefold() == "all":
        return None
    if isinstance(raw, dict):
        return {name.strip(): _conversion(toml, f"{path}.{name}", entry) for name, entry in raw.items()}
    if not isinstance(raw, list):
        toml.wrong(path, raw, 'laterals must be "all", a list of section ids, or a table of them',
                   'write laterals = ["…", "…"], or laterals = { "…" = { device = "…", counts = … } }')
        return ()
    for item in raw:
        if not isinstance(item, str):
            toml.wrong(path, item, "a section id must be text", "write it in quotation marks")
    return tuple(dict.fromkeys(item.strip() for item in raw if isinstance(item, str)))


def _conversion(toml: Toml, path: str, entry: object) -> Conversion:
    if not isinstance(entry, dict):
        toml.wrong(path, entry, "must be a table", "write { device = \"…\", counts = … }")
        return Conversion()
    for key in entry:
        if key not in CONVERSION_KEYS:
            toml.wrong(f"{path}.{key}", key, "unknown key of a conversion",
                       Names(CONVERSION_KEYS).suggest(key, "remove it"))
    return Conversion(_device(toml, f"{path}.device", entry.get("device")),
                      _whole(toml, f"{path}.counts", entry.get("counts"), 1, MOST_COUNTS))


def _fast_operations(toml: Toml, path: str, raw: object) -> int | dict[str, int] | None:
    """Of every breaker and recloser, or by the section_id of a reclosing device."""
    if not isinstance(raw, dict):
        return _whole(toml, path, raw, 0, 9)
    read = {name.strip(): _whole(toml, f"{path}.{name}", number, 0, 9) for name, number in raw.items()}
    return {name: number for name, number in read.items() if number is not None}


def _whole(toml: Toml, path: str, raw: object, low: int, high: int) -> int | None:
    if raw is None:
        return None
    if isinstance(raw, int | float) and not isinstance(raw, bool) and low <= raw <= high and raw == int(raw):
        return int(raw)
    toml.wrong(path, raw, f"must be a whole number from {low} to {high}", "write one number, no range")
    return None
