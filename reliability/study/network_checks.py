"""What study.toml states about the network: scenarios, and laterals forced into the choice or out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from reliability.formats import count
from reliability.network.conversions import conversions, may_convert
from reliability.network.devices import BACKS_UP, COUNTS, RECLOSES
from reliability.network.model import Model
from reliability.network.protection import Protection, counts_too_many, most_counts, protection
from reliability.network.tree import Network
from reliability.schema.nearest import Names
from reliability.schema.problems import or_less
from reliability.schema.scenarios import AS_BUILT, FORCED_IN, FORCED_OUT, PROPOSED, Scenario, proposed_position
from reliability.schema.values import Assumptions
from reliability.study.toml import Toml

LATERALS_SHOWN = 5  # laterals of one scenario with too many counts


def check_scenarios(toml: Toml, scenarios: tuple[Scenario, ...], ids: list[str], network: Network | None,
                    values: Assumptions) -> tuple[str, ...]:
    """Note what the scenarios state that cannot be on this network; returns notes on what they change.

    ids: section_id of each record. network: None where its own devices or settings have problems: then only
    laterals that are no section at all are noted. Problems are noted in `toml.problems`.
    """
    known = set(ids)
    heads = known if network is None else set(network.ids[network.candidates].astype(str))
    names = Names(sorted(heads))
    notes: list[str] = []
    wrong = {path for path, entry in _entries(toml) if not _check_laterals(toml, path, entry, known, heads, names)}
    for path, scenario in _placed(toml, scenarios):
        if network is None:
            continue
        sound = path not in wrong
        sound &= _check_fast(toml, path, scenario, network, values)
        if sound:
            after = protection(Model(network, values), replace(scenario, applicable_only=False))
            _check_counts(toml, path, scenario, network, after)
            notes += _changed_notes(scenario, network, after)
    return tuple(notes)


def _placed(toml: Toml, scenarios: tuple[Scenario, ...]) -> list[tuple[str, Scenario]]:
    """Each scenario that the file gives, with its path there."""
    paths = {str(entry.get("name", "")).strip(): path for path, entry in _entries(toml)}
    return [(paths[s.name], s) for s in scenarios if s.name in paths and s.name != AS_BUILT]


def _entries(toml: Toml) -> list[tuple[str, Mapping[str, object]]]:
    """Each scenario as it is written, sound or not, with its path."""
    entries = toml.data.get("scenarios", [])
    numbered = enumerate(entries if isinstance(entries, list) else (), 1)
    return [(f"scenarios[{k}]", entry) for k, entry in numbered if isinstance(entry, dict)]


def _check_laterals(toml: Toml, path: str, entry: Mapping[str, object], known: set[str], heads: set[str],
                    names: Names) -> bool:
    """Whether every lateral that a scenario names is one that can be converted."""
    laterals = entry.get("laterals")
    named = laterals if isinstance(laterals, list | tuple | dict) else ()
    stated = dict.fromkeys(name.strip() for name in named if isinstance(name, str))
    wrong = [section for section in stated if section not in heads]
    for section in wrong:
        if section not in known:
            toml.wrong(f"{path}.laterals", section, "no section has this id",
                       names.suggest(section, "write the section_id at the head of a lateral"))
        else:
            toml.wrong(f"{path}.laterals", section, "the device of this section cannot be converted",
                       "write a section headed by a fuse, sectionalizer or lateral_recloser whose next device above "
                       "recloses")
    return not wrong


def _check_counts(toml: Toml, path: str, scenario: Scenario, network: Network, after: Protection) -> None:
    """Sectionalizers that the scenario leaves as they are, below a device that it changes."""
    broken = counts_too_many(after)
    broken = broken[np.argsort(network.row[broken], kind="stable")]
    for i in broken[:LATERALS_SHOWN]:
        section, backup, most = network.ids[i], network.ids[after.backup[i]], int(most_counts(after)[i])
        left = f"leave {network.ids[_changed_above(network, after, i)]} as it is"
        toml.wrong(f"{path}.laterals", section,
                   f"{after.counts[i]} counts at section {section} are above operations to lockout − 1 "
                   f"of the device that would stand above it, {backup} ({most + 1})",
                   f"set its counts to {or_less(most)} in the sections, or {left}" if most else left)
    if len(broken) > LATERALS_SHOWN:
        toml.wrong(f"{path}.laterals", scenario.name,
                   f"{len(broken) - LATERALS_SHOWN} more sectionalizers have too many counts",
                   "lower their counts, or list the laterals that can be converted")


def _changed_above(network: Network, after: Protection, section: int) -> int:
    """Position of what the scenario changes nearest above a section, its backup at the furthest."""
    above, backup = int(network.parent[section]), int(after.backup[section])
    while above != backup and after.device[above] == network.device[above]:
        above = int(network.parent[above])
    return above


def _changed_notes(scenario: Scenario, network: Network, after: Protection) -> list[str]:
    """Counts that had to be lowered, devices that stay as they are, and laterals that are never converted."""
    if scenario.device is None and not isinstance(scenario.laterals, Mapping):
        return []
    notes = []
    asked = conversions(network, scenario)
    counting = COUNTS[asked.device]
    unchanged = asked.head[(after.device[asked.head] != asked.device)]
    installed = asked.head[counting & (after.device[asked.head] == asked.device)]
    stated_counts = asked.counts[np.isin(asked.head, installed)]
    lowered = installed[after.counts[installed] < np.nan_to_num(stated_counts)]
    underground = np.setdiff1d(network.candidates, may_convert(network))
    if isinstance(scenario.laterals, tuple | Mapping):
        underground = underground[np.isin(network.ids[underground].astype(str), list(scenario.laterals))]
    for at, text in ((lowered, "counts are lowered to one less than the operations to lockout of the device above"),
                     (unchanged, "not converted: the device above has a single operation, in which no sectionalizer "
                                 "opens"),
                     (underground, "not converted: underground")):
        if at.size:
            ids = ", ".join(map(str, network.names[at[:LATERALS_SHOWN]])) + (" …" if at.size > LATERALS_SHOWN else "")
            notes.append(f"Scenario {scenario.name}: {count(at.size, 'lateral')} ({ids}): {text}.")
    return notes


def _check_fast(toml: Toml, path: str, scenario: Scenario, network: Network, values: Assumptions) -> bool:
    """Whether the fast operations of a scenario are below each device's operations to lockout."""
    fast = scenario.fast_operations
    if fast is None:
        return True
    as_built = protection(Model(network, values))
    if isinstance(fast, Mapping):
        return _check_fast_by_device(toml, f"{path}.fast_operations", fast, network, as_built)
    broken = np.flatnonzero(BACKS_UP[network.device] & (as_built.lockout <= fast))
    if len(broken):
        i = broken[np.argmin(network.row[broken])]
        more = f" and {len(broken) - 1} more" if len(broken) > 1 else ""
        toml.wrong(f"{path}.fast_operations", fast,
                   f"must be below operations to lockout of section {network.ids[i]} ({as_built.lockout[i]}){more}",
                   f"write {or_less(int(as_built.lockout[broken].min()) - 1)}")
    return not len(broken)


def _check_fast_by_device(toml: Toml, path: str, fast: Mapping[str, int], network: Network,
                          as_built: Protection) -> bool:
    place = {str(name): i for i, name in enumerate(network.ids)}
    devices = Names(network.ids[RECLOSES[network.device]].astype(str))
    sound = True
    for name, number in fast.items():
        i = place.get(name)
        if i is None or not RECLOSES[network.device[i]]:
            rule = "no section has this id" if i is None else "the device of this section does not reclose"
            toml.wrong(f"{path}.{name}", name, rule, devices.suggest(name, "name a breaker or recloser"))
        elif number >= as_built.lockout[i]:
            toml.wrong(f"{path}.{name}", number,
                       f"must be below operations to lockout of section {name} ({as_built.lockout[i]})",
                       f"write {or_less(int(as_built.lockout[i]) - 1)}")
        else:
            continue
        sound = False
    return sound


def check_proposed(toml: Toml, scenarios: tuple[Scenario, ...], values: Assumptions) -> None:
    """Note a proposed scenario that the study does not have, or one beside a scenario called "Proposed"."""
    name, path = values["proposed"], "choice.proposed"
    if name is None or toml.lost("scenarios"):
        return
    written = (str(entry.get("name", "")).strip() for _, entry in _entries(toml))   # with those that have problems
    own = [n for n in dict.fromkeys((*(s.name for s in scenarios), *written)) if n not in ("", AS_BUILT)]
    if name.casefold() not in [n.casefold() for n in own]:
        toml.wrong(path, name, "no scenario of the study has this name",
                   Names(own).suggest(name, "name a scenario of the study, or leave it out"))
    elif name.casefold() != PROPOSED.casefold() and proposed_position(scenarios) is not None:
        toml.wrong(path, name, f"the study has a scenario called '{PROPOSED}' beside it", "rename that scenario")


def check_forced_laterals(toml: Toml, forced: Mapping[str, object], network: Network) -> None:
    """Note laterals of [choice.laterals] that are none, or neither forced in nor forced out."""
    heads = set(network.ids[may_convert(network)].astype(str))
    names = Names(sorted(heads))
    for name, value in forced.items():
        path = f"choice.laterals.{name}"
        if value not in (FORCED_IN, FORCED_OUT):
            toml.wrong(path, value, 'a lateral is forced "in" or "out"', 'write "in" or "out"')
        if name not in heads:
            toml.wrong(path, name, "this section heads no lateral that can be converted",
                       names.suggest(name, "name a lateral's head"))
